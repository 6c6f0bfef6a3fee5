"""What ``map`` does: the readings to a map, shown, and written into machine.yaml when asked.

Why it exists: the map is shown with its uncertainty before anything rests on it.
"""

from __future__ import annotations

import argparse
from typing import TYPE_CHECKING, Any

import numpy as np

from logger.commands import Answer
from logger.commands._job import open_job
from logger.errors import NotAllowed
from logger.wording import amount, position, table

if TYPE_CHECKING:
    from analysis.table_map import TableMap
    from logger.machines import Machine
    from logger.wording import Units


def map_table(args: argparse.Namespace) -> Answer:
    """``truestroke map``."""
    from logger.description.table_map import as_yaml, line_of, understood, write

    job = open_job(args)
    if not args.readings:
        if args.write:
            raise NotAllowed("There is nothing to write.", "Give the readings: truestroke map --help")
        return _known(job.machine, args.units)
    y_mm, way, found = understood(args.readings, job.machine)
    line = line_of(y_mm, found)
    written = write(job, line) if args.write else None
    doubt = 2.0 * float(np.max(found.standard_uncertainty_mm))
    answer: dict[str, Any] = {
        "by": way,
        "y_mm": y_mm,
        "map": [{"x_mm": x, "height_mm": height, "standard_uncertainty_mm": u} for x, height, u in line.points],
        "peak_to_valley_mm": round(found.peak_to_valley_mm, 4),
        "uncertainty_mm": round(doubt, 4),
        "straightedge_peak_to_valley_mm": _own(found),
        "yaml": f"map: {as_yaml([line])}",
        "written": str(written) if written else None,
        "warnings": [],
    }
    return Answer(answer, _lines(found, answer, args.units))


def _own(found: TableMap) -> float | None:
    return None if found.straightedge_mm is None else round(float(np.ptp(found.straightedge_mm)), 4)


def _lines(found: TableMap, answer: dict[str, Any], units: Units) -> list[str]:
    doubt = answer["uncertainty_mm"]
    rows = [("at", "over the table's line")]
    rows += [
        (position(point["x_mm"], units), amount(point["height_mm"], 2 * point["standard_uncertainty_mm"], "mm", units))
        for point in answer["map"]
    ]
    lines = [
        f"table along y {position(answer['y_mm'], units)}, by {answer['by']}: "
        f"{amount(found.peak_to_valley_mm, doubt, 'mm', units, sign=False)} highest to lowest",
        *table(rows),
    ]
    if found.straightedge_mm is not None:
        own = amount(answer["straightedge_peak_to_valley_mm"], doubt, "mm", units, sign=False)
        lines.append(f"  the straightedge itself: {own} highest to lowest")
    if answer["written"]:
        return [*lines, f"  written into {answer['written']}; sweeps made before are read with it too."]
    return [*lines, "  For machine.yaml, under table: (or once more with --write)", f"    {answer['yaml']}"]


def _known(machine: Machine, units: Units) -> Answer:
    maps = [
        {
            "y_mm": line.y_mm,
            "from_mm": line.points[0][0],
            "to_mm": line.points[-1][0],
            "peak_to_valley_mm": round(max(p[1] for p in line.points) - min(p[1] for p in line.points), 4),
            "uncertainty_mm": round(2.0 * max(p[2] for p in line.points), 4),
        }
        for line in machine.table.map
    ]
    lines = [
        f"mapped along y {position(each['y_mm'], units)} from {position(each['from_mm'], units)} to "
        f"{position(each['to_mm'], units)}: "
        f"{amount(each['peak_to_valley_mm'], each['uncertainty_mm'], 'mm', units, sign=False)} highest to lowest"
        for each in maps
    ]
    return Answer({"maps": maps, "warnings": []}, lines or ["The table is not mapped: truestroke map --help"])
