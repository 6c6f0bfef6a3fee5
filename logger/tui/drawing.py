"""From a machine and what was found to the picture of its rail; the same for every screen and for print.

Why it exists: which bolts, which lines, which flags belong in the picture is decided once, so that the live screen and
the findings cannot show two different rails.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from analysis.results import Findings, Plan, Profile
from logger.tui.feed import Meaning
from logger.tui.scale import corridor
from logger.tui.widgets.rail import Bolt, Curve, Flag, RailPicture

if TYPE_CHECKING:
    from logger.machines import Machine, SetUp


@dataclass(frozen=True)
class Seen:
    """What is known of a machine at one moment: the newest findings, the plan, and the findings before."""

    findings: Findings | None = None
    plan: Plan | None = None
    before: Findings | None = None
    when: str = ""


NOTHING = Seen()


def set_up_zero(set_up: SetUp) -> float | None:
    """What the set-up shows on the table's plane (or when level); None: not known."""
    return set_up.zero_mm_per_m if set_up.kind == "level" else set_up.zero_mm


def meaning_of(set_up: SetUp, resolution: float | None) -> Meaning:
    """How this set-up's display figures become heights; ``resolution`` in mm or mm/m, None where not known."""
    level = set_up.kind == "level"
    step = resolution if resolution is not None else (0.01 if level else 0.001)
    return Meaning("mm/m" if level else "mm", set_up.kind, set_up.sense, set_up_zero(set_up), step)


def windows_of(machine: Machine, set_up: SetUp) -> tuple[tuple[float, float], ...]:
    """Stretches of the stroke in which the set-up reads; elsewhere its display shows its free rest."""
    from logger import findings

    return tuple(findings.windows_of(machine, set_up))


def place_of(name: str, set_up: SetUp) -> str:
    """``across, at 1100``: where the instrument sits, in a few words."""
    if set_up.kind == "fixed" and set_up.x_mm is not None:
        return f"{name}, at {set_up.x_mm:.0f}"
    if set_up.kind == "carried" and set_up.offset_mm is not None:
        return f"{name}, riding {set_up.offset_mm:+.0f} from the middle".replace("-", "−")
    return f"{name}, a level" if name == set_up.axis else f"{name}, a level for {set_up.axis}"


def curve_of(profile: Profile) -> Curve:
    """A profile as a curve; where only the shape is known it is laid about zero."""
    value = profile.value
    if not profile.zero_known and value.size:
        value = value - (float(np.min(value)) + float(np.max(value))) / 2
    return Curve(profile.x_mm, value, profile.uncertainty, profile.not_seen)


def band_of(machine: Machine, quantity: str) -> tuple[float, tuple[float, float] | None]:
    """How wide a profile may be, and where its mean may lie (None: anywhere)."""
    if quantity == "pitch":
        return machine.band.pitch_mm_per_m, None
    if quantity == "roll":
        return machine.band.roll_mm_per_m, None
    return machine.band.peak_to_valley_mm, machine.band.mean_mm


def live_limits(machine: Machine, quantity: str) -> tuple[float, float]:
    """The lines of the plain live bar: where the mean may lie, or the band about zero."""
    width, mean = band_of(machine, quantity)
    return mean if mean is not None else (-width / 2, width / 2)


def bolts_of(machine: Machine, plan: Plan | None, current: str = "", only: str = "") -> tuple[Bolt, ...]:
    """The bolts where they stand, with the plan's moves; ``only``: show this bolt's move and no other."""
    unseen = plan.unseen_bolts if plan else ()
    moves = {move.bolt: move.raise_mm for move in plan.moves} if plan else {}
    return tuple(
        Bolt(
            bolt.name,
            bolt.x_mm,
            bolt.y_mm,
            seen=bolt.name not in unseen,
            raise_mm=moves.get(bolt.name) if not only or bolt.name == only else None,
            current=bolt.name == current,
        )
        for bolt in machine.bolts
    )


def lines_for(machine: Machine, seen: Seen) -> tuple[float, float] | None:
    """The two lines a profile is drawn between."""
    findings = seen.findings
    if findings is None:
        return live_limits(machine, "height")
    width, mean = band_of(machine, findings.profile.quantity)
    value = curve_of(findings.profile).value
    if not findings.profile.zero_known:
        return corridor(value, width, None, 0.0)
    aim = None
    predicted = seen.plan.predicted if seen.plan else None
    if predicted is not None and predicted.value.size:
        aim = float((np.min(predicted.value) + np.max(predicted.value)) / 2)
    return corridor(value, width, mean, aim)


def flags_of(findings: Findings, lines: tuple[float, float]) -> tuple[Flag, ...]:
    """The spots that stand out of the lines, each with the height the picture has there.

    A spot's own value may be counted from a reference line; what is written beside the picture is the picture's.
    """
    curve = curve_of(findings.profile)
    if not curve.x_mm.size:
        return ()
    flags = [
        Flag(spot.kind, spot.x_mm, float(np.interp(spot.x_mm, curve.x_mm, curve.value))) for spot in findings.spots
    ]
    return tuple(f for f in flags if (f.value > lines[1] if f.kind == "high" else f.value < lines[0]))


def rail_picture(
    machine: Machine,
    seen: Seen,
    *,
    stands: str = "",
    current: str = "",
    moves: bool = True,
    expected: bool = False,
    before: bool = False,
) -> RailPicture:
    """The rail of ``machine`` with what was ``seen``; ``stands``: the set-up whose indicator is drawn standing."""
    findings, plan = seen.findings, seen.plan
    lines = lines_for(machine, seen)
    set_up = machine.set_ups.get(stands)
    predicted = plan.predicted if plan and expected else None
    return RailPicture(
        from_mm=machine.rail.from_mm,
        to_mm=machine.rail.to_mm,
        bolts=bolts_of(machine, plan if moves or current else None, current, only=current),
        curve=curve_of(findings.profile) if findings else None,
        band=lines,
        flags=flags_of(findings, lines) if findings and lines else (),
        places=tuple((place.name, place.x_mm) for place in machine.places) if not stands else (),
        stands_mm=set_up.x_mm if set_up is not None and set_up.kind == "fixed" else None,
        expected=Curve(predicted.x_mm, predicted.value, not_seen=findings.profile.not_seen if findings else ())
        if predicted is not None
        else None,
        before=curve_of(seen.before.profile) if before and seen.before is not None else None,
        unit=findings.profile.unit if findings else "mm",
    )
