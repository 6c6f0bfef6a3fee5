"""What ``load`` does: masses laid on one by one, a sweep with a load, and what they say of the supports.

Why it exists: both are kept in the journal as the same kind of evidence, and told in the same words.
"""

from __future__ import annotations

import argparse
import math
from typing import TYPE_CHECKING, Any

from logger.commands import Answer
from logger.commands._job import open_job, the_set_up
from logger.errors import NotAllowed
from logger.record.finding import find_recording
from logger.wording import amount, position

if TYPE_CHECKING:
    from analysis.load import Moved
    from logger.advising.loading import Stiffness
    from logger.job import Job
    from logger.wording import Units

HOW = (
    "A known mass (10 to 30 kg) shows how soft rail and brackets are before any",
    "bolt is turned:",
    "  1. Isolate and lock out the power. Mark the carriage's top over its first and",
    "     its last bearing.",
    "  2. Park it at one end of the stretch that the indicator reads, in the middle,",
    "     at the other end; clamp it at each. Never where it may tip.",
    "  3. Read; lay the mass on a mark without a knock; read; take it off: the",
    "     display must come back. Two people lift what is heavy; nothing that may",
    "     roll or slide; nobody leans on the machine.",
    "  4. At each park, in one command:",
    "     truestroke load 25kg@780:+0.120..+0.112mm 25kg@1420:+0.120..+0.109mm \\",
    "       --park 1100",
    "Or sweep empty, sweep with a typical panel on the carriage, then:",
    "     truestroke load --sweep N --mass 25",
)


def load(args: argparse.Namespace) -> Answer:
    """``truestroke load``."""
    job = open_job(args)
    for name in ("park", "y", "mass", "ahead"):
        value = getattr(args, name)
        if value is not None and not math.isfinite(value):
            raise NotAllowed(f"--{name} is not a number.", "Write it in mm (or kg).")
    if args.sweep is not None:
        return _swept(job, args)
    if args.loads:
        return _parked(job, args)
    return _known(job, args.units, args.set_up)


def _parked(job: Job, args: argparse.Namespace) -> Answer:
    from logger.advising.loading import loads_of, parked_load, parse, stiffness_of

    laid = [parse(text, job.machine) for text in args.loads]
    if args.park is None:
        raise NotAllowed("It is not said where the carriage stood.", "Add --park MM, its middle along the stroke.")
    set_up = the_set_up(job, args.set_up) if args.set_up else _newest_set_up(job)
    data = parked_load(job, laid, args.park, set_up, args.y, args.on_rail)
    job.append("load", **data)
    stiffness = stiffness_of(job, loads_of(job))
    rows = [
        {
            "mass_kg": each.mass_kg,
            "x_mm": each.x_mm,
            "park_mm": args.park,
            "set_up": set_up,
            "change_of_display": round(each.after - each.before, 4),
        }
        for each in laid
    ]
    lines = [f"{each.mass_kg:g} kg at {position(each.x_mm, args.units)}: recorded" for each in laid]
    return Answer(
        {"recorded": rows, **_stiffness_json(stiffness), "warnings": []}, [*lines, _stiffness_line(stiffness), *NEXT]
    )


NEXT = ("Next: truestroke bolts. What was learned from the mass is in its figures.",)


def _newest_set_up(job: Job) -> str:
    from logger.recording import open_recording

    swept = [record.sweeps[-1] for record in job.rounds() if record.sweeps]
    folders = {folder.name: folder for folder in job.recordings("sweep")}
    if swept and swept[-1] in folders:
        return open_recording(folders[swept[-1]]).set_up
    return the_set_up(job, None)


def _swept(job: Job, args: argparse.Namespace) -> Answer:
    from logger.advising.loading import empty_sweeps, loads_of, stiffness_of, swept_load

    if args.loads:
        raise NotAllowed("A load is parked or swept, not both at once.", "Give them in two commands.")
    if args.mass is None:
        raise NotAllowed("It is not said how heavy the load was.", "Add --mass KG.")
    name = find_recording(job, args.sweep).name
    empty = empty_sweeps(job, name)
    data, moved = swept_load(job, name, empty, args.mass, args.ahead, args.y)
    entry = next(e for e in job.standing_entries() if e.kind == "sweep" and e.data.get("sweep") == name)
    job.append("load", **data)
    job.withdraw(entry, f"it was swept with {args.mass:g} kg on the carriage")
    stiffness = stiffness_of(job, loads_of(job))
    answer = {
        "sweep": name,
        "empty": list(empty),
        "mass_kg": args.mass,
        **_moved_json(moved),
        "band_mm": job.machine.band.peak_to_valley_mm,
        **_stiffness_json(stiffness),
        "warnings": [],
    }
    lines = [_moved_line(job, moved, args), _stiffness_line(stiffness), *NEXT]
    return Answer(answer, lines)


def _moved_json(moved: Moved) -> dict[str, Any]:
    return {
        "moved": {
            "x_mm": [round(float(x), 1) for x in moved.s_mm],
            "change_mm": [round(float(v), 4) for v in moved.change],
            "uncertainty_mm": [round(float(u), 4) for u in moved.uncertainty],
        },
        "most_mm": round(moved.most, 4),
        "most_at_mm": round(moved.most_at_mm, 1),
        "peak_to_valley_mm": round(moved.spread, 4),
        "peak_to_valley_uncertainty_mm": round(moved.spread_uncertainty, 4),
    }


def _moved_line(job: Job, moved: Moved, args: argparse.Namespace) -> str:
    band = float(job.machine.band.peak_to_valley_mm)
    units: Units = args.units
    said = (
        f"{args.mass:g} kg moves the carriage by {amount(moved.most, None, 'mm', units)} at most (at "
        f"{position(moved.most_at_mm, units)}); the shape of its run by "
        f"{amount(moved.spread, moved.spread_uncertainty, 'mm', units, sign=False)}, "
        f"{100 * moved.spread / band:.0f} % of the band."
    )
    if moved.spread - moved.spread_uncertainty > band / 2:
        said += " That is more than half of it: align with such a panel on, or stiffen the brackets first."
    return said


def _known(job: Job, units: Units, set_up: str | None) -> Answer:
    from logger.advising.loading import loads_of, stiffness_of, where_to_lay

    warnings: list[str] = []
    loads = loads_of(job, warnings)
    stiffness = stiffness_of(job, loads)
    named = the_set_up(job, set_up) if set_up or len(job.machine.set_ups) == 1 else _newest_if_swept(job)
    where = where_to_lay(job.machine, named) if named else ()
    answer = {
        "loads": len(loads),
        **_stiffness_json(stiffness),
        "how": list(HOW),
        "set_up": named,
        "where": [{"park_mm": park, "x_mm": list(places)} for park, places in where],
        "warnings": warnings,
    }
    lines = [f"Here, read in set-up {named}:"] if where else []
    for park, places in where:
        on = " and then at ".join(position(x, units) for x in places)
        lines.append(f"  park at {position(park, units)}; the mass at {on}")
    return Answer(answer, [*HOW, *lines, _stiffness_line(stiffness), *[f"  note: {each}" for each in warnings]])


def _newest_if_swept(job: Job) -> str | None:
    return _newest_set_up(job) if any(record.sweeps for record in job.rounds()) else None


def _stiffness_json(stiffness: Stiffness) -> dict[str, Any]:
    def said(figures: tuple[float, float, float]) -> dict[str, float]:
        return dict(zip(("low", "middle", "high"), (round(each, 2) for each in figures), strict=True))

    return {
        "support_stiffness_kN_per_mm": said(stiffness.now_kN_per_mm),
        "believed_before_kN_per_mm": said(stiffness.before_kN_per_mm),
    }


def _stiffness_line(stiffness: Stiffness) -> str:
    low, middle, high = stiffness.now_kN_per_mm
    before = stiffness.before_kN_per_mm
    return (
        f"Supports give as if {middle:.1f} kN/mm stiff (95 in 100: {low:.1f} to {high:.1f}; before any mass "
        f"{before[0]:.1f} to {before[2]:.0f})."
    )
