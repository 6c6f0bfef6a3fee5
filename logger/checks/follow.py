"""What earlier corrections of the same check did, read from the journal: how much arrives, and how it drifts since.

Why it exists: the second correction of a machine should not be computed as if there had been no first. It prevents the
same too small move being made three times, a body that is held being turned on, and a strut's push being believed after
its first hour.

Nothing learned is stored: each taking works it out again from the entries.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING, Any

import numpy as np

from analysis.follow import Share, Trial, share_of
from analysis.relaxation import Drift, drift, next_look_h
from logger.checks.result import Result

if TYPE_CHECKING:
    from logger.checks.model import Check, Correction
    from logger.journal import JournalEntry

FOLLOWED = {"base": ("along_mm_per_m", "across_mm_per_m"), "twist": ("",), "sag": ("sag_mm",)}
"""Checks whose body follows its feet or strut only in part, and the figures that show it (empty: the value itself)."""
RELAXES = ("sag",)


@dataclass(frozen=True, slots=True)
class Look:
    """When to look again at something that gives way: not before ``due``; ``late`` when that has passed."""

    due: datetime
    late: bool


def with_what_was_learned(check: Check, result: Result, entries: Sequence[JournalEntry], now: datetime) -> Result:
    """The result with its corrections scaled by what earlier ones did, and with the drift since the last one."""
    notes: list[str] = list(result.notes)
    corrections, details = result.corrections, dict(result.details)
    if check.name in FOLLOWED:
        share = share_so_far(check, result, entries)
        details["scaled_by"] = 1.0
        if share.trials and corrections:
            corrections = _scaled(corrections, share, notes)
            details |= {"scaled_by": share.factor, "share": share.share}
    if check.name in RELAXES and (found := drift_since(check, result, entries, now)) is not None:
        details |= {"drift_mm": found.since_first}
        notes.append(_drift_words(found))
    return replace(result, corrections=corrections, notes=tuple(notes), details=details)


def share_so_far(check: Check, result: Result, entries: Sequence[JournalEntry]) -> Share:
    """Trials of the journal, and the one that ends with ``result``."""
    trials: list[Trial] = []
    before: tuple[dict[str, Any], float] | None = None
    part: float | None = None
    for entry in entries:
        data = entry.data
        if entry.kind != "taken" or data.get("check") != check.name:
            continue
        if data.get("adjusted") is True:
            part = (part or 0.0) + _number(data.get("part"), 1.0)
            continue
        if before is not None and part is not None:
            trials += _trials(check, before[0], data, part)
        before, part = (data, 0.0), None
    if before is not None and part is not None:
        now = {"value": result.verdict.value, "uncertainty": result.verdict.uncertainty, "details": result.details}
        trials += _trials(check, before[0], now, part)
    return share_of(trials)


def next_look(check: Check, entries: Sequence[JournalEntry], now: datetime) -> Look | None:
    """When something that was pushed wants measuring again; None where nothing was pushed, or it was followed through.

    The look is due from the hour after the last measurement that ``relaxation`` names.
    """
    if check.name not in RELAXES:
        return None
    pushed, looks = _since_pushed(check, entries)
    if pushed is None:
        return None
    elapsed = max(((look - pushed).total_seconds() / 3600.0 for look, _ in looks), default=0.0)
    hours = next_look_h(elapsed)
    if hours is None:
        return None
    due = pushed + timedelta(hours=hours)
    return Look(due, now >= due)


def drift_since(check: Check, result: Result, entries: Sequence[JournalEntry], now: datetime) -> Drift | None:
    """How the readings since the last push have moved, the new ones included."""
    pushed, looks = _since_pushed(check, entries)
    if pushed is None:
        return None
    fresh = {"details": result.details, "value": result.verdict.value, "uncertainty": result.verdict.uncertainty}
    looks = [*looks, (now, fresh)]
    if len(looks) < 2:
        return None
    (key,) = FOLLOWED[check.name][:1]
    hours = np.array([(time - pushed).total_seconds() / 3600.0 for time, _ in looks])
    values = np.array([_figure(data, key) for _, data in looks])
    doubts = np.array([_repeats_within(data) for _, data in looks])
    if not np.isfinite(values).all():
        return None
    return drift(hours, values, doubts, check.allowed.upper or 0.0)


def _since_pushed(
    check: Check, entries: Sequence[JournalEntry]
) -> tuple[datetime | None, list[tuple[datetime, dict[str, Any]]]]:
    pushed: datetime | None = None
    looks: list[tuple[datetime, dict[str, Any]]] = []
    for entry in entries:
        if entry.kind != "taken" or entry.data.get("check") != check.name:
            continue
        time = _time(entry.time)
        if time is None:
            continue
        if entry.data.get("adjusted") is True:
            pushed, looks = time, []
        elif pushed is not None:
            looks.append((time, entry.data))
    return pushed, looks


def _trials(check: Check, before: dict[str, Any], after: dict[str, Any], part: float) -> list[Trial]:
    found = []
    for key in FOLLOWED[check.name]:
        first, then = _figure(before, key), _figure(after, key)
        if not (np.isfinite(first) and np.isfinite(then)):
            continue
        scaled = _number(_details(before).get("scaled_by"), 1.0)
        doubts = (_repeats_within(each) for each in (before, after))
        found.append(Trial(first, next(doubts), then, next(doubts), first * scaled * part))
    # of two slopes the one that was mostly corrected tells; the other is noise over nearly nothing
    return [max(found, key=lambda trial: abs(trial.corrected))] if found else []


def _repeats_within(data: dict[str, Any]) -> float:
    """The uncertainty of a *change*: the table's own form is under the level before and after, and falls out."""
    details = _details(data)
    own = _number(details.get("sag_uncertainty_mm"), _number(data.get("uncertainty"), 0.0))
    return _number(details.get("repeat_uncertainty_mm_per_m"), own)


def _scaled(corrections: tuple[Correction, ...], share: Share, notes: list[str]) -> tuple[Correction, ...]:
    if share.held:
        notes.append(
            f"It hardly follows: {share.share:.0%} of what was done arrived. Something holds it (a brace, a bracket, a "
            "foot in the air): find that first, and turn no further."
        )
        return ()
    notes.append(
        f"Of what was done before, {share.share:.0%} ± {2.0 * share.standard_uncertainty:.0%} arrived; the moves here "
        "are scaled by it."
    )
    factor = share.factor
    return tuple(
        replace(
            each,
            move_mm=each.move_mm * factor,
            uncertainty_mm=None if each.uncertainty_mm is None else each.uncertainty_mm * factor,
            turns=None if each.turns is None else each.turns * factor,
        )
        for each in corrections
    )


def _drift_words(found: Drift) -> str:
    said = f"Since the first reading after the strut was moved: {found.since_first:+.3f} ± {found.uncertainty:.3f} mm"
    if not np.isfinite(found.by_next):
        return f"{said}; too early to say where it goes."
    tail = "that is within what is allowed" if found.settles else "that is more than what is allowed: push again later"
    return f"{said}; ten times as long would add {found.by_next:+.3f} mm, and {tail}."


def _figure(data: dict[str, Any], key: str) -> float:
    return _number(data.get("value") if not key else _details(data).get(key), float("nan"))


def _details(data: dict[str, Any]) -> dict[str, Any]:
    found = data.get("details")
    return found if isinstance(found, dict) else {}


def _number(value: Any, otherwise: float) -> float:
    if not isinstance(value, int | float) or isinstance(value, bool) or not np.isfinite(value):
        return otherwise
    return float(value)


def _time(text: str) -> datetime | None:
    try:
        time = datetime.fromisoformat(text.replace("Z", "+00:00"))
    except ValueError:
        return None
    return time if time.tzinfo is not None else time.replace(tzinfo=UTC)
