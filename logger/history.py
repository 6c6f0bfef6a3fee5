"""A job over months: every sweep and every check as a course, and what moved since the last good state.

Why it exists: a job's rounds answer "what now"; nobody can see in them that a foot has been sinking for a year. Here
each sweep is judged by itself, also those of one round: the comparison of two sweeps of an untouched machine is the
whole point. It prevents a turned bolt being told as creeping (a state of its own in the fit) and a change being claimed
that is within its uncertainty. The arithmetic is ``analysis.history``'s.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import TYPE_CHECKING

import numpy as np

from analysis.history import Course, Shift, at_places, course, sag, shifts
from logger.errors import NotAllowed
from logger.report.environment import hours_of, noted_in, temperature_at

if TYPE_CHECKING:
    from analysis.results import Findings, FloatArray
    from logger.checks.board import Taken
    from logger.checks.model import Check
    from logger.job import Job, TurnedBolt
    from logger.journal import JournalEntry

Progress = Callable[[int, int], object]
SET_DOWN_AGAIN = 0.0015
"""Standard uncertainty (mm; of a level five times as many mm/m) of setting the instrument up again, which no sweep
shows by itself; common practice, no source."""


@dataclass(frozen=True)
class Swept:
    """One sweep by itself: when (ISO 8601, and days since 1970), the state of the bolts, the temperature if noted."""

    name: str
    time: str
    day: float
    state: int
    temperature_C: float | None
    findings: Findings


@dataclass(frozen=True)
class Followed:
    """One figure over time: values (with standard uncertainties) at days, in states, and the course through them."""

    name: str
    unit: str
    days: FloatArray
    value: FloatArray
    standard_uncertainty: FloatArray
    state: FloatArray
    course: Course


@dataclass(frozen=True)
class Compared:
    """Two sweeps of one set-up: how far the height over each bolt changed, and what was turned between them."""

    before: Swept
    after: Swept
    shifts: tuple[Shift, ...]
    turned: tuple[TurnedBolt, ...]
    chance: float
    warnings: tuple[str, ...]

    @property
    def moved(self) -> bool:
        """Whether anything stands clear of its uncertainty."""
        return any(each.clear for each in self.shifts)


@dataclass(frozen=True)
class SetUpHistory:
    """One set-up: its sweeps, the height over each bolt, the sag between the outer seen bolts, peak to valley."""

    set_up: str
    unit: str
    sweeps: tuple[Swept, ...]
    bolts: tuple[Followed, ...]
    sag: Followed | None
    width: Followed
    since_good: Compared | None
    why_not: str


@dataclass(frozen=True)
class CheckHistory:
    """One typed check: its values, and the course between its adjustments."""

    check: Check
    taken: tuple[Taken, ...]
    followed: Followed


@dataclass(frozen=True)
class History:
    """The whole job over time."""

    set_ups: tuple[SetUpHistory, ...]
    checks: tuple[CheckHistory, ...]
    turned_days: tuple[float, ...]
    warnings: tuple[str, ...]


def history_of(job: Job, since: str = "", progress: Progress | None = None) -> History:
    """Everything of the job, or from the day ``since`` (2026-03-01) on. NotAllowed where nothing was measured."""
    entries = job.standing_entries()
    warnings = job.journal_faults()
    swept = _swept(job, entries, _day(since) if since else None, warnings, progress)
    by_set_up: dict[str, list[Swept]] = {}
    for each in swept:
        by_set_up.setdefault(each.findings.set_up, []).append(each)
    checks = _checks(entries, _day(since) if since else None)
    if not swept and not checks:
        raise NotAllowed(
            f"Nothing was measured{f' since {since}' if since else ''} in {job.folder}.",
            "Record a sweep (truestroke sweep) or a check (truestroke take) first.",
        )
    return History(
        tuple(_set_up(job, name, sweeps, entries) for name, sweeps in by_set_up.items()),
        checks,
        tuple(_days(entry.time) for entry in entries if entry.kind == "turned"),
        tuple(dict.fromkeys(warnings)),
    )


def compare(job: Job, before: str, after: str) -> Compared:
    """Two sweeps by name. NotAllowed where they cannot be compared."""
    entries = job.standing_entries()
    warnings: list[str] = []
    found = {each.name: each for each in _swept(job, entries, None, warnings, None, only=(before, after))}
    for name in (before, after):
        if name not in found:
            raise NotAllowed(
                f"{name} is no counted sweep of {job.folder}. {' '.join(warnings)}".strip(), "See history."
            )
    return _compared(job, found[before], found[after], entries)


# -- sweeps ------------------------------------------------------------------------------------------------------------


def _swept(
    job: Job,
    entries: Sequence[JournalEntry],
    since: float | None,
    warnings: list[str],
    progress: Progress | None,
    only: Sequence[str] = (),
) -> list[Swept]:
    from logger.judging.found import findings_of

    noted = noted_in(entries)
    listed = [(place, entry) for place, entry in enumerate(entries) if entry.kind == "sweep"]
    turns = [place for place, entry in enumerate(entries) if _changes_the_rail(entry)]
    out = []
    for done, (place, entry) in enumerate(listed, 1):
        name, day = entry.data.get("sweep"), _days(entry.time)
        wanted = isinstance(name, str) and (not only or name in only) and (since is None or day >= since)
        if wanted:
            state = sum(turn < place for turn in turns)
            for found in findings_of(job, [str(name)], warnings).values():
                out.append(Swept(str(name), entry.time, day, state, temperature_at(noted, entry.time), found))
        if progress is not None:
            progress(done, len(listed))
    return out


def _changes_the_rail(entry: JournalEntry) -> bool:
    """A turned bolt, or an adjustment of the rail or of something under it: after that it is another machine."""
    from logger.checks.table import all_below

    if entry.kind == "turned":
        return True
    name = entry.data.get("check")
    return entry.kind == "taken" and entry.data.get("adjusted") is True and name in ("rail", *all_below("rail"))


def _set_up(job: Job, name: str, sweeps: Sequence[Swept], entries: Sequence[JournalEntry]) -> SetUpHistory:
    first = sweeps[0].findings.profile
    seen = [bolt for bolt in job.machine.bolts if all(_sees(each.findings, bolt.x_mm) for each in sweeps)]
    again = SET_DOWN_AGAIN * (1.0 if first.unit == "mm" else 5.0)
    bolts = []
    for bolt in seen:
        at = [_at(each.findings, (bolt.x_mm,)) for each in sweeps]
        values = [(float(v[0]), float(np.hypot(np.sqrt(c[0, 0]), again))) for v, c in at]
        bolts.append(_followed(bolt.name, first.unit, sweeps, values))
    ends = (seen[0].x_mm, seen[-1].x_mm) if len(seen) > 1 else None
    sagging = None
    if ends is not None and first.quantity == "height" and all(_sees(s.findings, sum(ends) / 2) for s in sweeps):
        values = [_sag(each.findings, ends, again) for each in sweeps]
        sagging = _followed("sag", first.unit, sweeps, values)
    widths = [
        (s.findings.extremes.peak_to_valley, s.findings.extremes.peak_to_valley_uncertainty / 2.0) for s in sweeps
    ]
    good, why_not = _last_good(sweeps)
    return SetUpHistory(
        name,
        first.unit,
        tuple(sweeps),
        tuple(bolts),
        sagging,
        _followed("peak to valley", first.unit, sweeps, widths),
        _compared(job, good, sweeps[-1], entries) if good is not None else None,
        why_not,
    )


def _sag(found: Findings, ends: tuple[float, float], again: float) -> tuple[float, float]:
    profile = found.profile
    value, u = sag(profile.x_mm, profile.value, profile.covariance, *ends)
    return value, float(np.hypot(u, again))


def _sees(found: Findings, x_mm: float) -> bool:
    return bool(np.isfinite(_at(found, (x_mm,))[0][0]))


def _at(found: Findings, places_mm: Sequence[float]) -> tuple[FloatArray, FloatArray]:
    profile = found.profile
    return at_places(profile.x_mm, profile.value, profile.covariance, places_mm, profile.not_seen)


def _followed(name: str, unit: str, sweeps: Sequence[Swept], values: Sequence[tuple[float, float]]) -> Followed:
    days = np.array([each.day for each in sweeps])
    state = np.array([each.state for each in sweeps])
    warm = np.array([np.nan if each.temperature_C is None else each.temperature_C for each in sweeps])
    value, u = np.array(values, float).T
    return Followed(name, unit, days, value, u, state, course(days, value, u, state, warm))


def _last_good(sweeps: Sequence[Swept]) -> tuple[Swept | None, str]:
    """The newest sweep before the last one that was inside, or why there is none."""
    good = [each for each in sweeps[:-1] if each.findings.verdict.word == "inside"]
    if good:
        return good[-1], ""
    return None, "Only one sweep so far." if len(sweeps) == 1 else "None of the earlier sweeps was inside."


def _compared(job: Job, before: Swept, after: Swept, entries: Sequence[JournalEntry]) -> Compared:
    from analysis.moved import difference
    from logger.job import turned_in

    old, new = before.findings, after.findings
    if old.set_up != new.set_up:
        raise NotAllowed(
            f"{before.name} is of set-up {old.set_up} and {after.name} of {new.set_up}.", "Compare two of one set-up."
        )
    names = [bolt.name for bolt in job.machine.bolts]
    places = [bolt.x_mm for bolt in job.machine.bolts]
    again = SET_DOWN_AGAIN * (1.0 if new.profile.unit == "mm" else 5.0)
    apart = np.eye(len(places)) * again**2
    then, now = _at(old, places), _at(new, places)
    shape_only = not (old.profile.zero_known and new.profile.zero_known)
    found = shifts(names, places, (then[0], then[1] + apart), now, shape_only=shape_only)
    try:
        p, n = old.profile, new.profile
        chance = difference(p.x_mm, p.value, p.covariance, n.x_mm, n.value, n.covariance, again).chance
    except ValueError as few:
        raise NotAllowed(f"{before.name} and {after.name}: {few}", "Sweep the same stretch.") from few
    between = [entry for entry in entries if before.time < entry.time <= after.time]
    turned = tuple(move for entry in between if entry.kind == "turned" for move in turned_in(entry))
    said = []
    if shape_only:
        said.append("The zero was not known in both: only changes of shape can be seen.")
    if before.temperature_C is not None and after.temperature_C is not None:
        said.append(f"It was {before.temperature_C:.1f} °C then and {after.temperature_C:.1f} °C now.")
    else:
        said.append("The temperature was not noted both times: part of the change may be the season's.")
    return Compared(before, after, found, turned, chance, tuple(said))


# -- typed checks ------------------------------------------------------------------------------------------------------


def _checks(entries: Sequence[JournalEntry], since: float | None) -> tuple[CheckHistory, ...]:
    from logger.checks.board import history
    from logger.checks.table import BY_NAME, all_below

    taken, moved = history(entries)
    noted = noted_in(entries)
    out = []
    for name, each in taken.items():
        check = BY_NAME[name]
        kept = [t for t in each if since is None or _days(t.time) >= since]
        if not kept or not check.allowed.unit:
            continue
        under = {name, *all_below(name)}
        turns = [m.place for m in moved if m.check in under and "measured differently" not in m.how]
        days = np.array([_days(t.time) for t in kept])
        state = np.array([sum(turn < t.place for turn in turns) for t in kept])
        value = np.array([t.value for t in kept])
        u = np.maximum(np.array([t.uncertainty for t in kept]) / 2.0, 1e-9)
        temperatures = [temperature_at(noted, t.time) for t in kept]
        warm = np.array([np.nan if each is None else each for each in temperatures])
        fitted = course(days, value, u, state, warm)
        out.append(CheckHistory(check, tuple(kept), Followed(name, check.allowed.unit, days, value, u, state, fitted)))
    return tuple(out)


# -- time --------------------------------------------------------------------------------------------------------------


def _days(time: str) -> float:
    """Days since 1970; a time that cannot be read counts as the beginning, so that nothing is dropped silently."""
    hours = hours_of(time)
    return 0.0 if hours is None else hours / 24.0


def _day(since: str) -> float:
    try:
        at = datetime.fromisoformat(since)
    except ValueError as wrong:
        raise NotAllowed(f"--since '{since[:40]}' is no date.", "Write it as 2026-03-01.") from wrong
    return (at if at.tzinfo else at.replace(tzinfo=UTC)).timestamp() / 86400.0
