"""What ``history`` does: the courses of a job in words and pictures, and two sweeps compared.

Why it exists: numbers over time are soon a wall; what creeps, what only may, and what cannot be told stand apart here,
each with its uncertainty or its reason. Nothing is computed here.
"""

from __future__ import annotations

import argparse
from collections.abc import Sequence
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from logger.commands import Answer
from logger.commands._job import open_job
from logger.commands._progress import bar
from logger.errors import NotAllowed
from logger.record.finding import find_recording
from logger.wording import amount, plural, position, state, table

if TYPE_CHECKING:
    from analysis.history import Term
    from logger.history import CheckHistory, Compared, Followed, History, SetUpHistory
    from logger.job import Job
    from logger.report.shapes import Picture
    from logger.wording import Units

MOST_ROWS = 60


def history(args: argparse.Namespace) -> Answer:
    """``truestroke history``."""
    job = open_job(args)
    folder = Path(args.pictures) if args.pictures else None
    if folder is not None and folder.exists() and not folder.is_dir():
        raise NotAllowed(f"{folder} is a file, not a folder.", "Name another folder after --pictures.")
    args.terminal.progress("Reading the job ...")
    from logger import history as told
    from logger.history_json import as_json, compared_json

    if args.compare:
        names = [find_recording(job, each).name for each in args.compare]
        found = told.compare(job, *names)
        written = _write(args, {f"compare-{names[0]}-{names[1]}": _compared_picture(job, found, args.units)}, folder)
        lines = _compared_lines(found, args.units)
        return Answer({**compared_json(found), "pictures": written}, [*lines, *_said(written)])
    whole = told.history_of(job, args.since, bar(args.terminal, "sweeps"))
    written = _write(args, _pictures(job, whole, args.units), folder) if folder is not None else []
    lines = [line for each in whole.set_ups for line in _set_up_lines(each, args.units)]
    lines += [line for each in whole.checks for line in _check_lines(each, args.units)]
    lines += [f"note: {warning}" for warning in whole.warnings]
    return Answer({**as_json(whole), "pictures": written}, [*lines, *_said(written)])


def _said(written: Sequence[str]) -> list[str]:
    return [f"{plural(len(written), 'picture')} in {Path(written[0]).parent}"] if written else []


# -- lines -------------------------------------------------------------------------------------------------------------


def _set_up_lines(each: SetUpHistory, units: Units) -> list[str]:
    rows = [("when", "sweep", "state", "peak to valley", "mean", "temperature", "verdict")]
    for s in each.sweeps[-MOST_ROWS:]:
        ends = s.findings.extremes
        rows.append(
            (
                s.time[:10],
                s.name,
                str(s.state),
                amount(ends.peak_to_valley, ends.peak_to_valley_uncertainty, each.unit, units, sign=False),
                amount(ends.mean, ends.mean_uncertainty, each.unit, units, unknown="shape only"),
                "" if s.temperature_C is None else f"{s.temperature_C:.1f} °C",
                state(s.findings.verdict.word),
            )
        )
    left_out = len(each.sweeps) - MOST_ROWS
    lines = [f"{each.set_up}: {plural(len(each.sweeps), 'sweep')}"]
    lines += [f"  ({left_out} earlier ones are in --json)"] if left_out > 0 else []
    lines += table(rows)
    if len(each.sweeps) > 1:
        lines += [line for bolt in each.bolts for line in _course_lines(f"height over {bolt.name}", bolt, units)]
        if each.sag is not None:
            lines += _course_lines(f"sag between {each.bolts[0].name} and {each.bolts[-1].name}", each.sag, units)
        why = each.width.course.why
        lines += [f"  {said}" for said in why]
    if each.since_good is not None:
        lines += ["  since the last good state:", *[f"  {line}" for line in _compared_lines(each.since_good, units)]]
    else:
        lines.append(f"  no comparison with a good state: {each.why_not}")
    return lines


def _course_lines(name: str, each: Followed, units: Units) -> list[str]:
    out = []
    for term, per in ((each.course.per_year, "a year"), (each.course.per_C, "a degree Celsius")):
        if term is not None:
            out.append(f"  {name}: {_term(term, each.unit, units)} {per}{_clear(term)}")
    return out


def _term(term: Term, unit: str, units: Units) -> str:
    return amount(term.size, term.uncertainty, unit, units)


def _clear(term: Term) -> str:
    return "" if term.clear else " (not clear of its uncertainty)"


def _check_lines(each: CheckHistory, units: Units) -> list[str]:
    rows = [("when", "value", "verdict")]
    sign = each.check.allowed.lower is not None
    for t in each.taken[-MOST_ROWS:]:
        value = amount(t.value, t.uncertainty, each.followed.unit, units, sign=sign)
        rows.append((t.time[:10], value, state(t.verdict)))
    lines = [f"{each.check.name} ({each.check.title})", *table(rows)]
    return [*lines, *_course_lines(each.check.quantity, each.followed, units)] if len(each.taken) > 1 else lines


def _compared_lines(found: Compared, units: Units) -> list[str]:
    unit = found.after.findings.profile.unit
    before, after = found.before, found.after
    lines = [f"{before.name} ({before.time[:10]}) against {after.name} ({after.time[:10]})"]
    rows = [("over", "at", "change", "")]
    for shift in found.shifts:
        clear = "moved" if shift.clear else "not clear of its uncertainty"
        rows.append(
            (shift.place, position(shift.x_mm, units), amount(shift.change, shift.uncertainty, unit, units), clear)
        )
    lines += table(rows) if found.shifts else ["  none of the bolts was seen both times"]
    if found.turned:
        said = ", ".join(f"{m.bolt} {amount(m.raise_mm, m.uncertainty_mm, 'mm', units)}" for m in found.turned)
        lines.append(f"  turned between them: {said}")
    elif found.moved:
        lines.append("  no turn was recorded between them: something moved by itself, or was turned and not recorded")
    lines.append(f"  chance of such a difference if nothing had moved: {_chance(found.chance)}")
    return [*lines, *[f"  note: {warning}" for warning in found.warnings]]


def _chance(chance: float) -> str:
    return "less than 1 in 1000" if chance < 0.001 else f"{100 * chance:.1f} in 100"


# -- pictures ----------------------------------------------------------------------------------------------------------


def _pictures(job: Job, whole: History, units: Units) -> dict[str, Picture]:
    from logger.report.page import slug

    out = {}
    for each in whole.set_ups:
        own = slug(each.set_up)
        for followed in (*each.bolts, *((each.sag,) if each.sag is not None else ()), each.width):
            name = f"{own}-{slug(followed.name)}"
            out[name] = _course_picture(followed, whole.turned_days, units, f"{each.set_up}: {followed.name}")
        if each.since_good is not None:
            out[f"{own}-since-last-good"] = _compared_picture(job, each.since_good, units)
    for check in whole.checks:
        limits = (check.check.allowed.lower, check.check.allowed.upper)
        title = check.check.title
        out[f"check-{check.check.name}"] = _course_picture(check.followed, (), units, title, limits)
    return out


def _course_picture(
    each: Followed,
    turned: Sequence[float],
    units: Units,
    title: str,
    limits: tuple[float | None, float | None] = (None, None),
) -> Picture:
    from logger.report.strip_drawing import Dot, Line, draw_course

    dots = [
        Dot(float(d), float(v), 2.0 * float(u))
        for d, v, u in zip(each.days, each.value, each.standard_uncertainty, strict=True)
    ]
    fitted = []
    for number in each.course.states.tolist():
        mine = each.days[each.state == number]
        first, last = float(mine.min()), float(mine.max())
        if last > first:
            fitted.append(Line((first, each.course.value(first, number)), (last, each.course.value(last, number))))
    first, last = float(each.days.min()), float(each.days.max())
    ticks = [first + (last - first) * part for part in ((0.0, 0.25, 0.5, 0.75, 1.0) if last > first else (0.0,))]
    dates = [(day, f"{datetime(1970, 1, 1, tzinfo=UTC) + timedelta(days=day):%Y-%m-%d}") for day in ticks]
    return draw_course(dots, fitted, turned, dates, each.unit, units, title, limits)


def _compared_picture(job: Job, found: Compared, units: Units) -> Picture:
    from analysis.history import at_places
    from logger.rail_picture import Seen, rail_picture
    from logger.report.compare_drawing import draw_compared

    old, new = found.before.findings, found.after.findings
    rail = rail_picture(job.machine, Seen(new, before=old), moves=False, before=True)
    then, now = old.profile, new.profile
    v0, c0 = at_places(then.x_mm, then.value, then.covariance, now.x_mm.tolist(), then.not_seen)
    both = np.isfinite(v0)
    change = now.value[both] - v0[both]
    spread = 2.0 * np.sqrt(np.diag(c0)[both] + np.diag(now.covariance)[both])
    title = f"{found.after.name} against {found.before.name}, set-up {new.set_up}"
    return draw_compared(rail, now.x_mm[both], change, spread, found.shifts, units, title)


def _write(args: argparse.Namespace, drawn: dict[str, Picture], folder: Path | None) -> list[str]:
    if folder is None:
        return []
    from logger.commands._report import write_pictures

    return write_pictures(args, drawn, folder)
