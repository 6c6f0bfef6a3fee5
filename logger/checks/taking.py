"""From what is typed to a result, in the one way that command line and screen share.

Why it exists: a result needs more than the readings (what other checks gave, whether the two ends were swapped), and
both must ask the same questions. It prevents a fence corrected twice the wrong way: readings that came out the same
size with the other sign, though nothing was moved, are asked about, and so is a correction that made it worse.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from typing import TYPE_CHECKING

from logger.checks.board import Moved, Taken, history, known_values
from logger.checks.evaluate import evaluate
from logger.checks.feasible import DOUBTS, Feasible, of_result, room
from logger.checks.follow import with_what_was_learned
from logger.checks.table import all_below
from logger.checks.typed import FACTORS, Confirm, Typed
from logger.errors import NotAllowed

if TYPE_CHECKING:
    from logger.checks.model import Ask, Check, Readings
    from logger.checks.result import Result
    from logger.job import Job
    from logger.journal import JournalEntry
    from logger.machines import Machine


LARGEST = 20.0
"""What is usually larger (mm, mm/m) is a place or a size, and comes from another rule than the readings."""


@dataclass(frozen=True)
class Taking:
    """What was understood (ends put right where asked), the result, and whether such readings can decide the limit."""

    typed: Typed
    result: Result
    feasible: Feasible | None = None


def result_of(
    check: Check,
    typed: Typed,
    entries: Sequence[JournalEntry],
    machine: Machine,
    confirm: Confirm,
    job: Job | None = None,
    now: datetime | None = None,
) -> Taking:
    """The result of typed readings in a job whose standing journal entries are ``entries``.

    ``job`` is needed by the check that works on recordings (final), ``now`` by one that gives way again. NotAllowed
    where the ends look swapped and nobody could be asked; ends=right or ends=swapped settles it.
    """
    if check.name == "final" and job is not None:
        from logger.checks import final

        return Taking(typed, final.result_of(check, typed.readings, typed.allowed, job))
    typed = replace(typed, readings=replace(typed.readings, known=known_values(entries)))
    typed = _in_the_unit_meant(check, typed, machine, confirm)
    taking = _with_ends_right(check, typed, entries, machine, confirm)
    readings, allowed = taking.typed.readings, taking.typed.allowed
    result = with_what_was_learned(check, taking.result, entries, now or datetime.now(UTC))
    feasible = of_result(
        check, readings, allowed, result.verdict, lambda finer: evaluate(check, finer, allowed, machine).verdict
    )
    return replace(taking, result=result, feasible=feasible)


FAR_OUT = 30.0
"""So many times what is allowed is rather a wrong unit than a machine (common practice, no source)."""
BELIEVED = 5.0
"""So many times what is allowed is an ordinary machine that is out of adjustment."""


def _in_the_unit_meant(check: Check, typed: Typed, machine: Machine, confirm: Confirm) -> Typed:
    """Readings of usual size whose result no machine has: asked about, where another unit gives an ordinary one."""
    half = room(typed.allowed)
    asks = [ask for ask in check.asks if ask.key in typed.bare and ask.usual[1] <= LARGEST and ask.key not in DOUBTS]
    if half is None or half <= 0.0 or not asks:
        return typed
    value = evaluate(check, typed.readings, typed.allowed, machine).verdict.value
    if abs(value) <= FAR_OUT * half:
        return typed
    meant = {}
    for unit, factor in FACTORS[asks[0].unit].items():
        if factor >= 1.0 or any(ask.unit != asks[0].unit for ask in asks):
            continue
        readings = _scaled(typed.readings, asks, factor)
        try:
            other = evaluate(check, readings, typed.allowed, machine).verdict.value
        except NotAllowed:  # they would contradict one another: not this unit
            continue
        if abs(other) <= BELIEVED * half:
            meant[unit] = (f"{unit} (then {other:+.2g} {check.allowed.unit})", readings)
    if not meant:
        return typed
    times = f"{abs(value) / half:.0f} times what is allowed"
    said = f"{check.name} comes out at {value:+.3g} {check.allowed.unit}, {times}"
    named = " or ".join(words for words, _ in meant.values())
    for words, readings in meant.values():
        if confirm(f"{said}. Were the readings in {words}? [y/n]"):
            return replace(typed, readings=readings)
    unit = next(iter(meant))
    example = f"{asks[0].key}={typed.readings.numbers[asks[0].key][0]:g}"
    raise NotAllowed(
        f"{said}: were the readings in {named}?",
        f"Write the unit: {example}{unit}, or {example}{asks[0].unit} to mean just that.",
    )


def _scaled(readings: Readings, asks: Sequence[Ask], factor: float) -> Readings:
    keys = {ask.key for ask in asks}
    numbers = {k: tuple(v * factor for v in values) if k in keys else values for k, values in readings.numbers.items()}
    halves = {k: tuple(v * factor for v in values) if k in keys else values for k, values in readings.halves.items()}
    return replace(readings, numbers=numbers, halves=halves)


def _with_ends_right(
    check: Check, typed: Typed, entries: Sequence[JournalEntry], machine: Machine, confirm: Confirm
) -> Taking:
    result = evaluate(check, typed.readings, typed.allowed, machine)
    if not check.ends or "ends" in typed.readings.words:
        return Taking(typed, result)
    taken, moved = history(entries)
    position = typed.readings.words.get("position", "")
    before = [each for each in taken.get(check.name, []) if each.position == position]
    if not before:
        return Taking(typed, result)
    if _mirrored(check, before[-1], result, moved):
        said = (
            f"{check.name}: it comes out at {result.verdict.value:+.2f} {check.allowed.unit} after "
            f"{before[-1].value:+.2f}, and nothing was moved between"
        )
        if not confirm(f"{said}. Were the two ends swapped this time? [y/n]"):
            raise NotAllowed(
                f"{said}: were the two ends swapped?",
                "Write ends=swapped to put them right, ends=right to mean just that, or correct the earlier readings.",
            )
        readings = typed.readings.ends_swapped(check.ends)
        typed = replace(typed, readings=replace(readings, words={**readings.words, "ends": "swapped"}))
        return Taking(typed, evaluate(check, typed.readings, typed.allowed, machine))
    if _made_worse(check, before[-1], typed, result, moved):
        note = (
            f"It was {before[-1].value:+.2f} before the correction: that made it worse by as much as it should have "
            "made it better. Either the ends were swapped then, or the correction went the other way."
        )
        result = replace(result, notes=(note, *result.notes))
    return Taking(typed, result)


def _mirrored(check: Check, before: Taken, result: Result, moved: Sequence[Moved]) -> bool:
    """The same size with the other sign, clearly, and nothing it depends on was moved."""
    if any(move.place > before.place and move.check in {check.name, *all_below(check.name)} for move in moved):
        return False
    both = math.hypot(before.uncertainty, result.verdict.uncertainty)
    now = result.verdict.value
    return abs(now + before.value) <= both and abs(now - before.value) > 2.0 * both


def _made_worse(check: Check, before: Taken, typed: Typed, result: Result, moved: Sequence[Moved]) -> bool:
    if not any(move.place > before.place and move.check == check.name for move in moved):
        return False
    aim = typed.readings.maybe("wanted") or 0.0
    step = before.value - aim
    both = math.hypot(before.uncertainty, result.verdict.uncertainty)
    if abs(step) <= 2.0 * both:
        return False
    # Turned the wrong way it is 2 x before - aim; read with swapped ends as well, the same with the other sign.
    worse = before.value + step
    return min(abs(result.verdict.value - worse), abs(result.verdict.value + worse)) <= both + 0.3 * abs(step)
