"""What ``instrument --on-table`` does: a level laid along the table, so that on the carriage it reads against it.

Why it exists: a level on the carriage is trusted to tell the slope of the rail, and tells the slope of the floor with
it. It prevents the two from being mixed: what it shows along the table is taken once, with its uncertainty, and written
down with the set-up.
"""

from __future__ import annotations

import argparse
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from logger.commands import Answer
from logger.commands._numbers import numbers
from logger.errors import NotAllowed
from logger.wording import amount, position

if TYPE_CHECKING:
    from analysis.level import OnTable, Settled
    from logger.instruments import Instrument
    from logger.job import Job
    from logger.machines import Machine

MOST_PLACES = 40
SHORTEST_mm = 50.0
"""Feet nearer to each other than this lie on dirt and scraping marks, not on a table (common practice, no source)."""


def laid(
    args: argparse.Namespace, job: Job, set_up: str, instrument: Instrument, recorded: Callable[..., Any]
) -> Answer:
    """``truestroke instrument --on-table FROM,TO``."""
    from logger.judging.instrument_trial import known_to
    from logger.judging.on_table import on_table

    given = job.machine.set_up(set_up)
    if given.kind != "level" or given.axis != "pitch":
        raise NotAllowed(f"Set-up {set_up} is no level that shows pitch.", "Name one with --set-up.")
    low, high = _along(args.on_table, job.machine)
    places, name = _read(args, job, set_up, instrument, recorded)
    if not 1 <= len(places) <= MOST_PLACES:
        raise NotAllowed(f"{len(places)} places were read.", f"Allowed: 1 to {MOST_PLACES}, foot to foot.")
    if (high - low) / len(places) < SHORTEST_mm:
        raise NotAllowed(
            f"{len(places)} places over {high - low:g} mm leave {(high - low) / len(places):.0f} mm each.",
            f"Foot to foot each is as long as the level, at least {SHORTEST_mm:g} mm; give where it began and ended.",
        )
    shown = np.array([one.value for one in places])
    found = on_table(job.machine, given, shown, np.array([known_to(one) for one in places]), (low, high))
    facts = _facts(found, places, instrument, set_up, name, job.machine)
    job.append("level on table", **{key: value for key, value in facts.items() if key != "warnings"})
    return Answer(facts, _lines(found, facts, job, (low, high), args.units))


def _along(text: str, machine: Machine) -> tuple[float, float]:
    ends = numbers(text, "--on-table")
    table = machine.table
    if len(ends) != 2 or not table.from_mm <= ends[0] < ends[1] <= table.to_mm:
        raise NotAllowed(
            f"--on-table {text[:60]} is no stretch of the table, {table.from_mm:g} to {table.to_mm:g} mm.",
            "Give where the level's first foot and its last one lay, toward outfeed: --on-table FROM,TO.",
        )
    return ends[0], ends[1]


def _read(
    args: argparse.Namespace, job: Job, set_up: str, instrument: Instrument, recorded: Callable[..., Any]
) -> tuple[list[Settled], str]:
    """The settled readings, and the recording they are from."""
    from analysis.units import to_base
    from logger.judging.instrument_trial import LEVEL_TOLERANCE, settled_at_marks, typed_as_settled, wait_for_level_s

    if args.readings is not None:
        typed = [float(to_base(value, instrument.unit)) for value in numbers(args.readings, "--readings")]
        return [typed_as_settled(value, instrument.step) for value in typed], ""
    wait_s = wait_for_level_s(instrument.settle_s)
    recording = recorded(
        args, job, set_up, instrument, None,
        [
            "Isolate and lock out before hands go near blade or cutter. Lay the level at the table's infeed end, the "
            "same way round as on the carriage.",
            f"Press space, then hands off for {wait_s:g} s.",
            "Set it on foot to foot; space, hands off. After the last place: Enter.",
        ],
    )  # fmt: skip
    return settled_at_marks(recording, LEVEL_TOLERANCE, wait_s, MOST_PLACES), recording.name


def _facts(
    found: OnTable, places: list[Settled], instrument: Instrument, set_up: str, name: str, machine: Machine
) -> dict[str, Any]:
    warnings = [
        f"Reading {number} had not settled: {abs(one.left):.3f} mm/m were still to come, and the ± is wide for it."
        for number, one in enumerate(places, 1)
        if not one.settled
    ]
    if not machine.table.map:
        warnings.append(
            "The table is not mapped, and the ± is wide for it: how far it stands from its plane under the first and "
            "the last foot is in it (truestroke map)."
        )
    return {
        "instrument": instrument.name,
        "set_up": set_up,
        "recording": name,
        "on_table_mm_per_m": round(found.slope_mm_per_m, 4),
        "on_table_u_mm_per_m": max(round(found.standard_uncertainty_mm_per_m, 4), 1e-4),
        "readings_mm_per_m": [round(one.value, 4) for one in places],
        "warnings": warnings,
    }


def _lines(found: OnTable, facts: dict[str, Any], job: Job, along_mm: tuple[float, float], units: Any) -> list[str]:
    doubt = 2.0 * found.standard_uncertainty_mm_per_m
    low, high = (position(x, units) for x in along_mm)
    return [
        f"Along the table from {low} to {high} the level shows {amount(found.slope_mm_per_m, doubt, 'mm/m', units)}.",
        f"Write 'on_table_mm_per_m: {facts['on_table_mm_per_m']:g}, on_table_u_mm_per_m: "
        f"{facts['on_table_u_mm_per_m']:g}' under set_ups: {facts['set_up']}: in {Path(job.folder) / 'machine.yaml'}.",
        "Take it again when a foot, the level's zero or the way round it lies has changed.",
        *[f"  note: {warning}" for warning in facts["warnings"]],
    ]
