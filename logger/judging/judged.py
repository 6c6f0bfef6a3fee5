"""The verdict on a profile, and what the set-up could not see.

Why it exists: a verdict speaks of the swept stretch only, and of it only as far as the uncertainty and the evidence
carry. It prevents "inside" for half a sweep, for a sweep whose sign is in doubt, and for an indicator held sideways.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import TYPE_CHECKING

from analysis.contact import Interval
from analysis.results import Extremes, Profile, Verdict
from analysis.state import TABLE_mm as UNMAPPED_mm
from analysis.verdict import combine, judge

if TYPE_CHECKING:
    from logger.machines import Machine

MOST_MISSED = 0.1
"""Share of what a set-up can see that may be missing from an "inside"."""
FOOT_MM = 0.004
"""How far one place of a table nobody mapped stands off its plane, k = 1, where a stand is set to zero around its foot;
common practice, no source."""
TABLE_ALIKE_MM, TABLE_MM = UNMAPPED_mm
"""The same of its flatness along the line a carried tip touches, and the length over which it is alike."""


def verdict_on(machine: Machine, profile: Profile, ends: Extremes) -> Verdict:
    """Peak to valley and mean (a level: its change) against the machine's band, by ISO 14253-1."""
    band = machine.band
    if profile.quantity == "height":
        limits = [
            judge(
                ends.peak_to_valley,
                ends.peak_to_valley_uncertainty,
                None,
                band.peak_to_valley_mm,
                "mm",
                "peak to valley",
            )
        ]
        if ends.mean is not None and ends.mean_uncertainty is not None:
            limits.append(judge(ends.mean, ends.mean_uncertainty, *band.mean_mm, "mm", "mean height"))
        return combine(limits)
    if profile.quantity == "sideways":
        reason = (
            f"An indicator held sideways: the line wanders by {ends.peak_to_valley:.3f} mm in plan. "
            "No limit is set for that; the toe is judged by its own check."
        )
        return Verdict("cannot tell", ends.peak_to_valley, ends.peak_to_valley_uncertainty, None, None, "mm", reason)
    allowed = band.pitch_mm_per_m if profile.quantity == "pitch" else band.roll_mm_per_m
    name = f"change of {profile.quantity}"
    return judge(ends.peak_to_valley, ends.peak_to_valley_uncertainty, None, allowed, "mm/m", name)


def as_far_as_seen(verdict: Verdict, profile: Profile, windows: Sequence[Interval]) -> Verdict:
    """Inside needs nearly all that the set-up could see: a part that was not swept may hold the worst place.

    Outside stays outside: more of the rail can only make it worse.
    """
    missed = [
        (max(low, a), min(high, b)) for low, high in profile.not_seen for a, b in windows if min(high, b) > max(low, a)
    ]
    could = sum(high - low for low, high in windows)
    share = sum(high - low for low, high in missed) / could if could > 0 else 0.0
    if verdict.word != "inside" or share <= MOST_MISSED:
        return verdict
    stretches = ", ".join(f"{low:.0f} to {high:.0f} mm" for low, high in missed)
    reason = f"What was seen is inside, but {stretches} could be seen in this set-up and was not: sweep it again."
    return replace(verdict, word="cannot tell", reason=reason)


def unless_doubtful(verdict: Verdict, doubt: str) -> Verdict:
    """No verdict stands on a sweep whose sign is in doubt."""
    return replace(verdict, word="cannot tell", reason=doubt) if doubt else verdict


def not_seen_by(machine: Machine, set_up: str, profile: Profile) -> tuple[str, ...]:
    """What this set-up cannot see, in words."""
    out = [f"{low:.0f} to {high:.0f} mm of the stroke" for low, high in profile.not_seen]
    if profile.quantity == "sideways":
        return (*out, "height, pitch and roll (an indicator held sideways sees the line in plan only)")
    kind = machine.set_up(set_up).kind
    if kind == "fixed":
        out.append("tilt of the whole rail (one fixed stand cannot see it)")
    if kind == "carried" and not machine.table.map:
        out.append(
            f"the table's own flatness (no map): about {2 * TABLE_MM:.3f} mm of it may lie in these heights, "
            "and the peak to valley counts what it may hide"
        )
    if profile.quantity == "height":
        out.append("roll")
    else:
        out.append("height (a level sees tilt only)")
        out.append("roll" if profile.quantity == "pitch" else "pitch")
    if not profile.zero_known:
        out.append("mean height (the zero is not known)" if profile.quantity == "height" else "tilt against level")
    return tuple(out)
