"""The final sweep accepted, and the quick check against it: has anything moved, and what would explain it.

Why it exists: five minutes a month keep a machine true, if the sweep is held against the one that was accepted and not
against a memory of it. It prevents a comparison across turned bolts, noise called a change, and a bolt blamed for what
another one or the indicator's own zero explains as well.

The accepted state is the names of its sweeps in a ``taken`` entry (``accepted``); everything is worked out again from
the recordings.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

import numpy as np

from analysis.moved import Cause, Difference, causes, difference, joined, noticed_from, stands_out
from analysis.results import Verdict
from analysis.verdict import combine, judge
from logger.checks.model import Allowed, Check, Readings
from logger.checks.result import Result
from logger.errors import NotAllowed, NotUnderstood

if TYPE_CHECKING:
    from analysis.results import Findings, FloatArray
    from logger.job import Job
    from logger.journal import JournalEntry

ZERO, FOOT = "the indicator's own zero", "a foot (the body tilted or twisted)"
DOUBT = 0.25
"""A column of the response is not better known than that before it is learned (a part of it; common practice)."""


@dataclass(frozen=True)
class Compared:
    """One set-up's change since the accepted state, and its single causes, the best first."""

    set_up: str
    unit: str
    change: Difference
    causes: tuple[Cause, ...]
    columns: Mapping[str, FloatArray]
    noticed_from: Mapping[str, float]
    """How much of each cause such a comparison notices 19 times in 20."""


def result_of(check: Check, readings: Readings, allowed: Allowed, job: Job) -> Result:
    """Accept the newest sweeps, or compare the newest with the accepted ones. NotAllowed where there is nothing to."""
    if readings.words["state"] == "accept":
        return _accepted(job)
    compared = compare(job, readings.one("again") / 2.0)
    verdict = combine([_judged(each, allowed, job) for each in compared])
    notes = [sentence for each in compared for sentence in _say(each)]
    least = _noticed_from(compared, job)
    notes += [*_all_together(compared), *_not_seen(least)]
    details: dict[str, Any] = {"compared": [_details(each) for each in compared], "noticed_from_mm": least}
    return Result(verdict, (), tuple(notes), details)


def accepted_of(entries: Sequence[JournalEntry]) -> tuple[int, dict[str, list[str]]] | None:
    """(place in the journal, sweeps by set-up) of the state accepted last; None where there is none."""
    for place in range(len(entries) - 1, -1, -1):
        data = entries[place].data
        found = data.get("accepted") if entries[place].kind == "taken" and data.get("check") == "final" else None
        if isinstance(found, Mapping) and found:
            names = {
                str(set_up): [name for name in sweeps if isinstance(name, str)]
                for set_up, sweeps in found.items()
                if isinstance(sweeps, list)
            }
            return place, {set_up: sweeps for set_up, sweeps in names.items() if sweeps}
    return None


def compare(job: Job, again: float) -> tuple[Compared, ...]:
    """Every set-up swept both in the accepted state and since; ``again`` (k = 1) is what one more setting-up adds."""
    entries = job.standing_entries()
    kept = accepted_of(entries)
    if kept is None:
        raise NotAllowed("No state has been accepted yet.", "When everything is inside: take final state=accept.")
    place, accepted = kept
    turned = [entry for entry in entries[place:] if entry.kind == "turned"]
    if turned:
        raise NotAllowed(
            "Bolts were turned since the state was accepted, so it is another machine now.",
            "Bring it inside, then take final state=accept again.",
        )
    since = _by_set_up(job, [e.data["sweep"] for e in entries[place:] if _is_sweep(e)])
    newest = {set_up: sweeps[-1:] for set_up, sweeps in since.items()}  # older ones may show another state
    both = [set_up for set_up in newest if set_up in accepted]
    if not both:
        named = ", ".join(accepted)
        raise NotAllowed(
            f"Nothing was swept since then in a set-up of the accepted state ({named}).",
            f"Sweep one of them as then: truestroke sweep --set-up {next(iter(accepted))} ...",
        )
    return tuple(_compared(job, set_up, accepted[set_up], newest[set_up], again) for set_up in both)


def _accepted(job: Job) -> Result:
    entries = job.standing_entries()
    last_move = max((place for place, entry in enumerate(entries) if _moves(entry)), default=-1)
    by_set_up = _by_set_up(job, [e.data["sweep"] for e in entries[last_move + 1 :] if _is_sweep(e)])
    if not by_set_up:
        raise NotAllowed(
            "Nothing was swept since the last thing that was moved, so there is no state to accept.",
            "Sweep each set-up once more, then accept.",
        )
    named = ", ".join(f"{set_up} ({sweeps[-1][:4]})" for set_up, sweeps in by_set_up.items())
    verdict = Verdict("inside", 0.0, 0.0, None, None, "mm", f"Accepted as what true is: {named}.")
    notes = (f"Accepted: {named}. A quick check is one sweep in the same set-up, then take final state=compare.",)
    return Result(verdict, (), (*notes, *_nobody_looked(by_set_up, entries)), {"accepted": by_set_up})


def _nobody_looked(set_ups: Iterable[str], entries: Sequence[JournalEntry]) -> list[str]:
    """A warning for each set-up whose number nobody saw move as said: accepted, it would be wrong for good."""
    answers = {
        entry.data.get("set_up"): entry.data.get("moved_as_said")
        for entry in entries
        if entry.kind == "direction check"
    }
    return [
        f"Nobody saw the number move as said in set-up '{set_up}'. Move the tip or the level by hand before its next "
        "sweep (the sweep asks); if it counts the other way, this state is not what it says."
        for set_up in set_ups
        if answers.get(set_up) is not True
    ]


def _compared(job: Job, set_up: str, then: Sequence[str], now: Sequence[str], again: float) -> Compared:
    try:
        return compared_of(job, set_up, _findings(job, then), _findings(job, now), again)
    except ValueError as few:
        raise NotAllowed(f"{set_up}: {few}", "Sweep the same stretch as in the accepted state.") from few


def compared_of(job: Job, set_up: str, before: Findings, after: Findings, again: float) -> Compared:
    """What changed between two findings of one set-up; ValueError where they share too little."""
    old, new = before.profile, after.profile
    scale = 1.0 if new.unit == "mm" else 5.0
    change = difference(old.x_mm, old.value, old.covariance, new.x_mm, new.value, new.covariance, again * scale)
    columns = _columns(job, set_up, change.x_mm)
    found = causes(change, columns, DOUBT)
    change = replace(change, moved=change.moved or stands_out(found))
    return Compared(set_up, new.unit, change, found, columns, noticed_from(change, columns))


def together(compared: Sequence[Compared]) -> tuple[Cause, ...]:
    """Single causes of what every set-up shows, each with one amount for all: two set-ups tell bolts apart."""
    if len(compared) == 1:
        return compared[0].causes
    stacked = joined([each.change for each in compared])
    columns: dict[str, FloatArray] = {}
    for place, each in enumerate(compared):
        for name, column in each.columns.items():
            own = f"{name} ({each.set_up})" if name in (ZERO, FOOT) else name
            parts = columns.setdefault(own, np.zeros(0))
            before = sum(len(one.change.x_mm) for one in compared[:place])
            columns[own] = np.concatenate([parts, np.zeros(before - len(parts)), column])
    whole = {name: np.concatenate([c, np.zeros(len(stacked.x_mm) - len(c))]) for name, c in columns.items()}
    return causes(stacked, whole, DOUBT)


def _columns(job: Job, set_up: str, x_mm: FloatArray) -> dict[str, FloatArray]:
    """What 1 mm of each bolt, a foot (1 mm/m over the stroke) and the zero do to the reading at ``x_mm``."""
    from logger.advising.response import responses_of

    columns: dict[str, FloatArray] = {ZERO: np.ones(len(x_mm)), FOOT: (x_mm - float(x_mm.mean())) / 1000.0}
    try:
        known = responses_of(job, set_up)
    except (NotAllowed, NotUnderstood):
        return columns
    for place, bolt in enumerate(known.bolts):
        columns[bolt] = np.interp(x_mm, known.x_mm, known.learned[:, place])
    return columns


def _findings(job: Job, names: Sequence[str]) -> Findings:
    from logger.findings import find
    from logger.judging.agreed import agreed
    from logger.recording import open_recording

    folders = {folder.name: folder for folder in job.recordings()}
    missing = [name for name in names if name not in folders]
    if missing:
        raise NotAllowed(f"Sweep {missing[0]} is in the journal and not on the disk.", "Bring its folder back.")
    return find([open_recording(folders[name]) for name in names], agreed(job))


def _judged(each: Compared, allowed: Allowed, job: Job) -> Verdict:
    size, doubt = each.change.size, each.change.size_uncertainty
    if each.unit != "mm":  # a slope is judged as what it lifts over the carriage's bearings
        over = float(job.machine.carriage.bearing_span_mm) / 1000.0
        size, doubt = size * over, doubt * over
    return judge(size, doubt, allowed.lower, allowed.upper, "mm", f"change in set-up {each.set_up}")


def _say(each: Compared) -> list[str]:
    change = each.change
    size = f"{change.largest:+.3f} ± {change.largest_uncertainty:.3f} {each.unit}"
    where = f"{each.set_up}: {size} at {change.largest_x_mm:.0f}"
    if not change.moved:
        return [f"{where} at the most, no more than two sweeps of one machine differ: nothing moved."]
    said = [f"{where}: something moved."]
    fitting = [cause for cause in each.causes if cause.explains]
    if not fitting:
        best = each.causes[0]
        said.append(
            f"No single bolt, foot or zero explains it; {best.name} would take away {best.share:.0%}. Look for a loose "
            "bracket, dirt on the rail, or several that moved; then sweep every set-up and plan: truestroke bolts."
        )
        return said
    said.append(f"{_amount(fitting[0], each.unit)} would explain it ({fitting[0].share:.0%} of the change).")
    if len(fitting) > 1:
        others = ", ".join(_amount(cause, each.unit) for cause in fitting[1:4])
        said.append(f"So would {others}: turn nothing before another set-up tells them apart.")
    if fitting[0].name == ZERO:
        said.append("Set its zero on the table's plane again and sweep once more.")
    return said


def _all_together(compared: Sequence[Compared]) -> list[str]:
    """The one cause that fits every set-up at once, where there are several and something moved."""
    if len(compared) < 2 or not any(each.change.moved for each in compared):
        return []
    best = together(compared)[0]
    if best.name.startswith((ZERO, FOOT)):
        return [f"All set-ups together: {best.name} takes away most of it ({best.share:.0%})."]
    fits = "explains" if best.explains else "explains most, not all, of"
    return [f"All set-ups together: {_amount(best, 'mm')} {fits} it ({best.share:.0%})."]


UNSEEN_mm = 0.3
"""A bolt that may move by more than this unnoticed is not watched by such a check (common practice, no source)."""


def _noticed_from(compared: Sequence[Compared], job: Job) -> dict[str, float]:
    """How far each bolt must have moved to be noticed 19 times in 20, by the set-up that sees it best."""
    bolts = [bolt.name for bolt in job.machine.bolts]
    seen = {bolt: [each.noticed_from[bolt] for each in compared if bolt in each.noticed_from] for bolt in bolts}
    return {bolt: min(values) for bolt, values in seen.items() if values and np.isfinite(min(values))}


def _not_seen(least: Mapping[str, float]) -> list[str]:
    """Which bolts such a check does not watch: that nothing moved is said of the others only."""
    if not least:
        return []
    far = [bolt for bolt, amount in least.items() if amount > UNSEEN_mm]
    near = [amount for amount in least.values() if amount <= UNSEEN_mm]
    said = [f"A bolt that moved by {max(near):.2f} mm would have been noticed."] if near else []
    if far:
        said.append(
            f"Not so {', '.join(far)}: {'it' if len(far) == 1 else 'they'} may have moved by more than "
            f"{UNSEEN_mm:.1f} mm unseen from here. Another set-up sees more: sweep and accept it too."
        )
    return said


def _amount(cause: Cause, unit: str) -> str:
    if cause.name == ZERO:
        return f"{cause.name}, {cause.amount:+.3f} {unit},"
    if cause.name == FOOT:
        return f"{cause.name}, {cause.amount:+.2f} {unit} per m,"
    way = "higher" if cause.amount > 0 else "lower"
    return f"{cause.name} {way} by {abs(cause.amount):.3f} ± {cause.uncertainty:.3f} mm"


def _details(each: Compared) -> dict[str, Any]:
    suffix = "mm" if each.unit == "mm" else "mm_per_m"
    return {
        "set_up": each.set_up,
        "moved": each.change.moved,
        f"largest_{suffix}": each.change.largest,
        f"uncertainty_{suffix}": each.change.largest_uncertainty,
        "x_mm": each.change.largest_x_mm,
        "causes": [
            {"cause": cause.name, "amount": cause.amount, "uncertainty": cause.uncertainty, "explains": cause.explains,
             "share": cause.share}
            for cause in each.causes
        ],
    }  # fmt: skip


def _by_set_up(job: Job, names: Sequence[str]) -> dict[str, list[str]]:
    from logger.recording import open_recording

    folders = {folder.name: folder for folder in job.recordings()}
    found: dict[str, list[str]] = {}
    for name in names:
        if name in folders:
            set_up = open_recording(folders[name]).set_up
            if set_up in job.machine.set_ups and job.machine.set_up(set_up).direction == "height":
                found.setdefault(set_up, []).append(name)
    return found


def _is_sweep(entry: JournalEntry) -> bool:
    return entry.kind == "sweep" and isinstance(entry.data.get("sweep"), str)


def _moves(entry: JournalEntry) -> bool:
    return entry.kind == "turned" or (entry.kind == "taken" and entry.data.get("adjusted") is True)
