"""What was done to a bolt, as a person types it: ``B2=+0.12mm``, ``B4=-1/6turn``, ``B3@810:+0.036..+0.084mm``, or both.

Why it exists: the next round's advice rests on what was *really* turned. Three forms, because people know it in three
ways: the thread's travel, the turns of the wrench, or what the indicator showed before and after with the carriage
parked; where the display would not follow, a turn and the display together. It prevents a move with the wrong sign: in
the first two forms + always raises the rail, whichever way the thread turns; in the third the numbers are the display's
own.

Grammar::

    turn   = bolt "=" amount unit            unit: mm, in, thou, turn, turns, flat, flats
    parked = bolt "@" x ":" before ".." after [unit]    unit: mm (default), in, thou, mm/m
    both   = turn "@" x ":" before ".." after [unit]
    amount = sign number [ "/" number ]      a fraction such as -1/6
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterable
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Literal

from logger.errors import NotAllowed

if TYPE_CHECKING:
    from logger.machines import Bolt, Machine

MM_PER = {"mm": 1.0, "in": 25.4, "thou": 0.0254}
HAND_TURN = 1 / 36
"""A turn judged by eye against a mark on the wrench: ±10°, taken as k = 2 (common practice, no source)."""
HAND_MM = 0.01
"""Thread travel is seldom known better than a hundredth: backlash and lock nut (common practice, no source), k = 2."""
MOST_THREAD_MM = 20.0
"""Where travel_mm is not given: more than this is a slip of the keyboard (common practice, no source)."""

EXAMPLES = "B2=+0.12mm, B4=-1/6turn, B3@810:+0.036..+0.084mm or B4=-1/6turn@810:+0.036..+0.036mm"

_NUMBER = r"[+\-−]?\d{1,6}(?:[.,]\d{1,6})?"
_MOVE = re.compile(rf"(?P<bolt>[^=@]+)=(?P<amount>{_NUMBER})(?:/(?P<part>\d{{1,3}}))?\s*(?P<unit>[a-z]+)")
_DISPLAY = rf"@(?P<park>{_NUMBER}):(?P<before>{_NUMBER})\.\.(?P<after>{_NUMBER})\s*(?P<unit>[a-z/]*)"
_PARKED = re.compile(rf"(?P<bolt>[^=@]+){_DISPLAY}")
_BOTH = re.compile(rf"(?P<turn>(?P<bolt>[^=@]+)=[^@]+){_DISPLAY}")
_COUNTED = re.compile(rf"{_NUMBER}(?:/\d{{1,3}})?\s*(?P<unit>turns?|flats?)?")


@dataclass(frozen=True, slots=True)
class ParkedMove:
    """The display before and after one bolt, lock nut tight, in the instrument's own sign; mm or mm/m."""

    bolt: str
    park_mm: float
    before: float
    after: float


@dataclass(frozen=True, slots=True)
class TypedMove:
    """Thread travel of one bolt: ``raise_mm`` + up, with its expanded uncertainty; ``form`` thread or turns.

    ``parked``: what the display did meanwhile, where that was noted too.
    """

    bolt: str
    raise_mm: float
    uncertainty_mm: float
    form: Literal["thread", "turns"]
    parked: ParkedMove | None = None


def parse_all(texts: Iterable[str], machine: Machine) -> list[TypedMove | ParkedMove]:
    """Every move, in the order typed. Raises ``NotAllowed`` for the first that cannot be, or a bolt named twice.

    By a display a bolt may be turned again at the end of a round: each turn then has readings of its own.
    """
    moves = [parse(part, machine) for text in texts for part in text.split()]
    of_bolt = {name: [move for move in moves if move.bolt == name] for name in dict.fromkeys(m.bolt for m in moves)}
    for name, its in of_bolt.items():
        by_display = all(isinstance(move, ParkedMove) or move.parked is not None for move in its)
        if len(its) > 1 and not (by_display and len(set(its)) == len(its)):
            raise NotAllowed(
                f"{name} is named {len(its)} times.",
                "Give each bolt's whole move once; only turns by a display are given one by one, in their order.",
            )
    return moves


def parse(text: str, machine: Machine) -> TypedMove | ParkedMove:
    """One move. Raises ``NotAllowed`` saying which part is wrong; the bolt must exist and have thread left."""
    if matched := _PARKED.fullmatch(text):
        return _parked(matched, machine)
    if matched := _BOTH.fullmatch(text):
        turn = parse(matched["turn"], machine)
        assert isinstance(turn, TypedMove)  # without an "@" it is nothing else
        return replace(turn, parked=_parked(matched, machine))
    matched = _MOVE.fullmatch(text)
    if matched is None:
        raise NotAllowed(f"'{text}' is not understood as a move.", f"Write {EXAMPLES}.")
    bolt = machine.bolt(matched["bolt"])
    number = _value(matched["amount"])
    if matched["part"] is not None:
        if not int(matched["part"]):
            raise NotAllowed(f"'{text}' divides by zero.", f"Write {EXAMPLES}.")
        number /= int(matched["part"])
    return _typed(bolt, number, matched["unit"], text)


def counted(bolt: str, text: str, machine: Machine) -> TypedMove:
    """How far one bolt was turned, typed where the bolt is known: ``-1/4``, ``+0.2turns``, ``-2flats``; + raises.

    Raises ``NotAllowed`` as ``parse`` does; a length is refused, for it is not what a hand counts.
    """
    matched = _COUNTED.fullmatch(text.strip())
    if matched is None:
        raise NotAllowed(
            f"'{text}' is not understood as a part of a turn.",
            "Write -1/4, +5/4, -0.2 or, in flats, -2flats.",
        )
    move = parse(f"{bolt}={matched[0]}{'' if matched['unit'] else 'turn'}", machine)
    assert isinstance(move, TypedMove)  # without an "@" it is nothing else
    return move


def _typed(bolt: Bolt, number: float, unit: str, text: str) -> TypedMove:
    if unit in MM_PER:
        move = TypedMove(bolt.name, number * MM_PER[unit], HAND_MM, "thread")
    elif unit in ("turn", "turns", "flat", "flats"):
        turns = number if unit.startswith("turn") else number / bolt.flats
        hand_mm = HAND_TURN * bolt.travel_per_turn_mm
        move = TypedMove(bolt.name, turns * bolt.travel_per_turn_mm, math.hypot(hand_mm, HAND_MM), "turns")
    else:
        raise NotAllowed(f"'{text}': the unit '{unit}' is not known.", "Allowed: mm, in, thou, turn, flat.")
    _within_thread(bolt, move.raise_mm, text)
    return move


def _within_thread(bolt: Bolt, raise_mm: float, text: str) -> None:
    total = sum(bolt.travel_mm) if bolt.travel_mm is not None else MOST_THREAD_MM
    if abs(raise_mm) <= total:
        return
    allowed = (
        f"{total:g} mm in all (travel_mm in machine.yaml)"
        if bolt.travel_mm is not None
        else f"no more than {total:g} mm"
    )
    raise NotAllowed(
        f"'{text}' would move {bolt.name} by {raise_mm:+.2f} mm, and its thread has {allowed}.",
        "Check the number and its unit.",
    )


def _parked(matched: re.Match[str], machine: Machine) -> ParkedMove:
    bolt = machine.bolt(matched["bolt"])
    unit = matched["unit"] or "mm"
    if unit != "mm/m" and unit not in MM_PER:
        raise NotAllowed(f"'{matched[0]}': the unit '{unit}' is not known.", "Allowed: mm, in, thou, mm/m.")
    scale = MM_PER.get(unit, 1.0)
    park_mm = _value(matched["park"])
    low, high = machine.carriage.stroke_mm
    if not low <= park_mm <= high:
        raise NotAllowed(
            f"'{matched[0]}': {park_mm:g} mm is outside the stroke ({low:g} to {high:g} mm).",
            "The number after @ is where the carriage's middle was parked.",
        )
    return ParkedMove(bolt.name, park_mm, _value(matched["before"]) * scale, _value(matched["after"]) * scale)


def _value(text: str) -> float:
    return float(text.replace("−", "-").replace(",", "."))
