"""What ``seats`` does: leaves tried under every resting foot go into the journal, and what was felt last is told.

Why it exists: it is evidence of the state the machine is in now, and later turns are counted from there.
"""

from __future__ import annotations

import argparse
import math
from typing import Any

from logger.advising.seats import felt_data, felt_of, hung_words, parse_all, resting_names
from logger.commands import Answer
from logger.commands._job import open_job
from logger.errors import NotAllowed
from logger.job import Job
from logger.wording import position

HOW = (
    "Where the rail only rests on its bolts, some feet carry and some hang in the air:",
    "  1. Isolate and lock out the power. Park the carriage near the middle of its stroke, and clamp it.",
    "  2. Try feeler leaves between every foot and the rail, from the thinnest on; no finger goes in between.",
    "  3. truestroke seats B1=..0.05 B2=0.10..0.15 B3=..0.05 B4=..0.05 --park 1300",
    "     (B2: 0.10 goes, 0.15 does not. The others: not even 0.05 goes, they carry.)",
)


def seats(args: argparse.Namespace) -> Answer:
    """``truestroke seats``."""
    job = open_job(args)
    if args.park is not None and not math.isfinite(args.park):
        raise NotAllowed("--park is not a number.", "Write it in mm.")
    if not args.feet:
        return _known(job, args)
    found = parse_all(args.feet, job.machine)
    if args.park is None:
        raise NotAllowed("It is not said where the carriage stood.", "Add --park MM, its middle along the stroke.")
    job.append("seats", **felt_data(job.machine, found, args.park))
    told, lines = _told(job, args)
    return Answer({**told, "warnings": []}, [*lines, "Next: truestroke bolts. It counts on these feet from now on."])


def _known(job: Job, args: argparse.Namespace) -> Answer:
    rests = resting_names(job.machine)
    warnings: list[str] = []
    told, lines = _told(job, args, warnings)
    if not rests:
        lines = ["No foot of this machine only rests (kind: rest_only in machine.yaml): nothing to feel."]
    how = list(HOW) if rests else []
    return Answer({**told, "how": how, "warnings": warnings}, [*how, *lines, *[f"  note: {each}" for each in warnings]])


def _told(job: Job, args: argparse.Namespace, warnings: list[str] | None = None) -> tuple[dict[str, Any], list[str]]:
    felt = felt_of(job, warnings)
    if felt is None:
        return {"felt": None}, ["The feet were not felt yet."]
    names = [bolt.name for bolt in job.machine.bolts]
    rows = [
        {"bolt": name, "goes_mm": float(goes), "stops_mm": float(stops), "hangs": bool(hangs)}
        for name, goes, stops, hangs in zip(names, felt.goes_mm, felt.stops_mm, felt.hangs, strict=True)
        if not math.isnan(goes)
    ]
    line = f"Felt with the carriage at {position(felt.s_mm, args.units)}: {hung_words(felt, names)}"
    return {"felt": {"park_mm": felt.s_mm, "turned_before": felt.turns, "feet": rows}}, [line]
