"""What is wrong with the world, told from the rounds themselves: a round that made it worse, a set-up that cannot help.

Why it exists: a learner fits whatever it is given. It prevents a loop of rounds in which a wrong sign, an unrecorded
turn or an unmapped table is corrected again and again.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from analysis.state import table_denied
from analysis.units import reading_from_height
from logger.advising import inputs
from logger.errors import NotAllowed

if TYPE_CHECKING:
    from collections.abc import Iterable

    from analysis.results import Findings
    from logger.advising.inputs import State
    from logger.advising.turned import ParkedMove, TypedMove
    from logger.job import TurnedBolt
    from logger.machines import Machine

WORSE_PART = 1.2
"""A round that leaves more than this part of the peak to valley it began with went wrong."""
UNMOVED_mm = 0.003
"""A display that did no more than this did not follow (common practice, no source)."""
ONE_LINE_mm = 5.0
"""Bolts no further than this beside the rail's middle line do not roll it (common practice, no source)."""


def round_words(state: State, machine: Machine, main: str) -> tuple[str, ...]:
    """What the last round says against itself or against the set-up it was read in."""
    now = state.current[main]
    said = []
    before = state.previous.get(main)
    if before is not None:
        said += _worse(before, now)
    given = machine.set_ups.get(main)
    if given is not None and given.kind == "carried" and not machine.table.map:
        said.append(
            "The table's own flatness lies inside these readings: map it along this line with a straightedge, a level "
            "or a straightedge turned over (truestroke map), and it is subtracted with its uncertainty."
        )
    return (*said, *_table_words(state, machine))


def _table_words(state: State, machine: Machine) -> list[str]:
    """A level that cannot have shown on the table what is written: a foot was touched, its zero set, it was turned."""
    sweeps = next((each.sweeps for each in reversed(state.rounds) if each.sweeps), {})
    laid = [name for name, sweep in sweeps.items() if sweep.on_table is not None]
    if not laid:
        return []
    denied = table_denied(inputs.carriage_of(machine), list(sweeps.values()), bool(machine.table.map))
    if denied is None:
        return []
    given = machine.set_up(laid[0])  # in the display's own sign and zero, as it is written
    seen, said = (reading_from_height(slope, "level", given.zero_mm_per_m, given.sense) for slope in denied)
    return [
        f"By the stands the level would show {seen:+.3f} mm/m along the table, and {said:+.3f} is written "
        "(on_table_mm_per_m): it is not used. Was a foot touched, the level set to zero or turned round? Lay it there "
        "again: truestroke instrument --on-table."
    ]


def _worse(before: Findings, now: Findings) -> list[str]:
    was, is_now = before.extremes.peak_to_valley, now.extremes.peak_to_valley
    doubt = float(np.hypot(before.extremes.peak_to_valley_uncertainty, now.extremes.peak_to_valley_uncertainty))
    if is_now <= WORSE_PART * was or is_now - was <= doubt:
        return []
    unit = now.profile.unit
    return [
        f"The last round made it worse: {was:.3f} to {is_now:.3f} {unit} peak to valley in {now.set_up}. Check that "
        "every turn was recorded with its sign and its bolt, that each bolt's turning sense in machine.yaml is right, "
        "and that nothing else moved (stand, clamp, brace, dirt); take a wrong entry back before the next turn."
    ]


def refuse_roll_on_one_line(machine: Machine, main: str) -> None:
    """NotAllowed where roll is to be corrected by bolts that all stand under the rail's middle line."""
    given = machine.set_ups.get(main)
    if given is None or given.kind != "level" or given.axis != "roll":
        return
    y_mm = [bolt.y_mm for bolt in machine.bolts]
    if max(abs(y) for y in y_mm) <= ONE_LINE_mm:
        raise NotAllowed(
            f"All {len(y_mm)} bolts stand on one line under the rail's middle (y {min(y_mm):g} to {max(y_mm):g} mm): "
            "none of them rolls the carriage, so set-up "
            f"{main} shows a roll that no bolt takes out.",
            "Shim between rail and bracket on one side, or plan from a set-up that reads heights or pitch.",
        )


def thread_words(
    machine: Machine, state_lifts_mm: dict[str, float], moves: Iterable[TypedMove | ParkedMove]
) -> list[str]:
    """Bolts past the end of their thread, all moves so far added up: only said, for the record is the hand's."""
    said = []
    for move in moves:
        bolt, raise_mm = machine.bolt(move.bolt), getattr(move, "raise_mm", None)
        if bolt.travel_mm is None or raise_mm is None:
            continue
        down, up = bolt.travel_mm
        total = state_lifts_mm.get(bolt.name, 0.0) + raise_mm
        if not -down <= total <= up:
            said.append(
                f"{bolt.name} would stand {total:+.2f} mm from where it was found, and its thread has {down:g} down "
                f"and {up:g} up: check the moves recorded, or travel_mm in machine.yaml."
            )
    return said


def unmoved_words(machine: Machine, moves: Iterable[TurnedBolt]) -> list[str]:
    """Feet that only rest, told by a display that did not move: it says nothing of how far they were turned."""
    return [
        f"The display hardly moved while {move.bolt} was turned, and by it alone the bolt was not turned. Take the "
        f"entry back and give both, if it was: truestroke turned {move.bolt}=-1/4turn@{move.park_mm:g}:BEFORE..AFTER."
        for move in moves
        if move.form == "parked"
        and machine.bolt(move.bolt).kind == "rest_only"
        and None not in (move.park_mm, move.before, move.after)
        and abs((move.after or 0.0) - (move.before or 0.0)) < UNMOVED_mm
    ]


def lifts_so_far(job_rounds: Iterable[object]) -> dict[str, float]:
    """Thread travel of every bolt since the job began, from the journal's rounds."""
    total: dict[str, float] = {}
    for record in job_rounds:
        for move in getattr(record, "turned", ()):
            total[move.bolt] = total.get(move.bolt, 0.0) + move.raise_mm
    return total
