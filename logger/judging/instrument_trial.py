"""An instrument tried before a job: what its recording says of noise, drift and repeatability, and of a level's zero.

Why it exists: the command line, and whoever else asks, must judge a trial alike, and what was found must reach every
uncertainty. It prevents a trial that is printed and forgotten: the journal keeps it, and :func:`floor_for` finds the
one that belongs to a sweep.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict, dataclass, replace
from functools import lru_cache
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from analysis.instrument_check import Floor, Repeats, Still, come_back, floor_of, resolution_seen, stand_still
from analysis.level import Reversal, Settled, reversal, settle
from analysis.results import Extremes, Profile
from logger.description.channels import of_its_channel
from logger.errors import NotUnderstood

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from logger.recording import Recording

    Array = NDArray[np.float64]

KIND = "instrument check"
"""Kind of the journal's entry."""
APPROACH_S = 0.5
"""An approach is the mean of the readings in so long after its mark."""
BEFORE_FIRST_S = 1.0
"""So long before the first mark the hand may already have been at the tip."""
LEVEL_TOLERANCE = 0.01
"""mm/m: a level that creeps by less has settled (common practice, no source)."""
SWEEP_S = 60.0
"""A sweep of ordinary length, for the part that drift has in it."""


@dataclass(frozen=True)
class Trial:
    """What was found; ``still`` None where only approaches were typed in. Values in mm or mm/m."""

    unit: str
    still: Still | None
    repeats: Repeats
    floor: Floor
    approaches: tuple[float, ...]


def trial_of(recording: Recording, still_s: float, sides: Sequence[int]) -> Trial:
    """From one recording: the stretch before the first mark stood still, each mark is an approach (``sides``: +1 from
    below, -1 from above). Raises NotUnderstood where there is too little."""
    t_s, value = _read(recording)
    marks = recording.mark_t_s[: len(sides)]
    if not len(marks):
        raise NotUnderstood("No approach was marked.", "Press the space bar each time the tip stands.")
    quiet = (t_s <= t_s[0] + still_s) & (t_s < marks[0] - BEFORE_FIRST_S) if len(t_s) else np.zeros(0, bool)
    approaches = [_approach(t_s, value, float(mark)) for mark in marks]
    known = [(one, side) for one, side in zip(approaches, sides, strict=False) if one is not None]
    try:
        still = stand_still(t_s[quiet], value[quiet])
    except ValueError as fault:
        todo = "Leave the tip alone for longer before the first mark."
        raise NotUnderstood(f"Standing still: {fault}.", todo) from fault
    return _judged(recording.unit, still, known, recording.instrument.step)


def trial_of_typed(values: Sequence[float], sides: Sequence[int], unit: str, step: float | None) -> Trial:
    """From approaches that were typed in: no drift and no noise, what repeats is all there is."""
    return _judged(unit, None, list(zip(values, sides, strict=False)), step)


def _judged(unit: str, still: Still | None, known: Sequence[tuple[float, int]], step: float | None) -> Trial:
    values = np.array([one for one, _ in known])
    try:
        repeats = come_back(values, np.array([side for _, side in known]))
    except ValueError as fault:
        raise NotUnderstood(f"Coming back: {fault}.", "Come back to the same place ten times.") from fault
    stood = still or Still(0.0, resolution_seen(values), 0.0, 0.0, 0)
    return Trial(unit, still, repeats, floor_of(stood, repeats, step, SWEEP_S), tuple(values.tolist()))


def _read(recording: Recording) -> tuple[Array, Array]:
    """Times and values of the set-up's channel."""
    set_up = recording.machine.set_ups.get(recording.set_up)
    good = np.isfinite(recording.value)
    if set_up is not None:
        good &= of_its_channel(recording, set_up)
    return recording.t_s[good], recording.value[good]


def _approach(t_s: Array, value: Array, mark_s: float) -> float | None:
    inside = (t_s >= mark_s) & (t_s < mark_s + APPROACH_S)
    if inside.any():
        return float(value[inside].mean())
    later = np.flatnonzero((t_s >= mark_s) & (t_s < mark_s + 4 * APPROACH_S))
    return float(value[later[0]]) if len(later) else None


def as_data(trial: Trial) -> dict[str, Any]:
    """For the journal and for scripts: what is not known is None."""
    return {
        "unit": trial.unit,
        "still": None if trial.still is None else _finite(asdict(trial.still)),
        "repeats": _finite(asdict(trial.repeats)),
        "floor": {"standard_uncertainty": trial.floor.standard_uncertainty, "parts": trial.floor.parts},
        "approaches": [round(one, 6) for one in trial.approaches],
    }


def _finite(data: dict[str, Any]) -> dict[str, Any]:
    return {key: value if np.isfinite(value) else None for key, value in data.items()}


# -- a level's zero ----------------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Turned:
    """Two settled readings of a level, turned end for end between them, and what they say."""

    first: Settled
    second: Settled
    reversal: Reversal


def turned_of(recording: Recording, tolerance: float, wait_s: float) -> Turned:
    """From one recording with two marks: the level is left alone for ``wait_s`` after each, and settles. Raises
    NotUnderstood where it did not."""
    if len(recording.mark_t_s) < 2:
        said = f"{len(recording.mark_t_s)} of 2 readings were marked."
        raise NotUnderstood(said, "Mark one, turn the level, mark the other.")
    first, second, *_ = settled_at_marks(recording, tolerance, wait_s, 2)
    return turned_from(first, second)


def settled_at_marks(recording: Recording, tolerance: float, wait_s: float, most: int) -> list[Settled]:
    """What the level comes to after each of the first marks, until the next one at the latest. Raises NotUnderstood
    where too little came after one."""
    t_s, value = _read(recording)
    marks = recording.mark_t_s[: most + 1].tolist()
    settled = []
    for place, mark_s in enumerate(marks[:most]):
        end_s = min([mark_s + wait_s, *marks[place + 1 : place + 2]])
        inside = (t_s >= mark_s) & (t_s < end_s)
        try:
            settled.append(settle(t_s[inside], value[inside], tolerance))
        except ValueError as fault:
            raise NotUnderstood(f"Reading {place + 1}: {fault}.", f"Leave it alone for {wait_s:g} s.") from fault
    return settled


def wait_for_level_s(settle_s: float) -> float:
    """How long a level is left alone: ten of its time constants, at least three seconds (common practice)."""
    return max(10.0 * settle_s, 3.0)


def turned_from(first: Settled, second: Settled) -> Turned:
    """The same from two values. One that had not settled is known no better than half of the creep still to come, which
    the fit only guesses (common practice, no source)."""
    u = float(np.hypot(known_to(first), known_to(second))) / np.sqrt(2.0)
    return Turned(first, second, reversal(first.value, second.value, u))


def known_to(one: Settled) -> float:
    """Standard uncertainty of one reading, the creep still to come in it."""
    return float(np.hypot(one.standard_uncertainty, 0.0 if one.settled else one.left / 2))


def typed_as_settled(value: float, step: float | None) -> Settled:
    """A level read by eye: half a step either way (GUM 4.3.7)."""
    return Settled(value, (step or 0.0) / 2 / np.sqrt(3.0), float("nan"), 0.0, settled=True)


# -- the floor of every uncertainty ------------------------------------------------------------------------------------


def floor_for(recording: Recording) -> float | None:
    """The least standard uncertainty of a reading as the job's journal knows it for this instrument and set-up: from
    the last trial before the recording, else the first after it; None where there was none."""
    folder = getattr(recording, "folder", None)
    if folder is None:
        return None
    path = Path(folder).parent.parent / "journal.jsonl"
    try:
        state = path.stat()
    except OSError:
        return None
    name = recording.instrument.name
    trials = [
        one for one in _trials(path, state.st_mtime_ns, state.st_size) if one[1] == name and one[3] == recording.unit
    ]
    trials = [one for one in trials if one[2] == recording.set_up] or trials
    if not trials:
        return None
    before = [one for one in trials if one[0] <= recording.started_utc]
    return (before[-1] if before else trials[0])[4]


@lru_cache(maxsize=8)
def _trials(path: Path, _changed_ns: int, _size: int) -> list[tuple[str, str, str, str, float]]:
    """(time, instrument, set-up, unit, floor) of each standing trial; what is damaged is left out."""
    from logger.job import standing
    from logger.journal import Journal

    found = []
    for entry in standing(Journal(path).read().entries):
        floor = entry.data.get("floor")
        least = floor.get("standard_uncertainty") if isinstance(floor, dict) else None
        if entry.kind == KIND and isinstance(least, int | float) and 0 <= least < 1e3:
            told = (str(entry.data.get(key, "")) for key in ("instrument", "set_up", "unit"))
            found.append((entry.time, *told, float(least)))
    return found  # type: ignore[return-value]


def with_floor(profile: Profile, floor: float | None) -> Profile:
    """No station of the profile known better than the instrument was found to repeat; what is missing is added to each
    by itself, under the name ``instrument check``."""
    if not floor:
        return profile
    missing = np.maximum(floor**2 - np.diag(profile.covariance), 0.0)
    covariance = profile.covariance + np.diag(missing)
    return replace(
        profile,
        covariance=covariance,
        uncertainty=2.0 * np.sqrt(np.diag(covariance)),
        parts={**profile.parts, "instrument check": np.sqrt(missing)},
        reports={**profile.reports, "instrument_floor": floor},
    )


def extremes_with_floor(ends: Extremes, profile: Profile) -> Extremes:
    """Mean and peak to valley no better known than a reading (k = 2)."""
    least = 2.0 * profile.reports.get("instrument_floor", 0.0)
    mean = ends.mean_uncertainty
    return replace(
        ends,
        peak_to_valley_uncertainty=max(ends.peak_to_valley_uncertainty, least),
        mean_uncertainty=None if mean is None else max(mean, least),
    )
