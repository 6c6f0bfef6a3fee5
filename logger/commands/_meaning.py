"""What one reading means: a height with its state and what is to go, for lines, phone and sound alike.

Why it exists: the line in the terminal, the page on the phone and the beep are three ways to say one thing, and must
never say three. Raw readings keep the instrument's sign; heights are made by ``analysis.units`` and by nothing else.
"""

from __future__ import annotations

import argparse
from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from logger.wording import amount, raw, state

if TYPE_CHECKING:
    from analysis.results import Move
    from logger.instruments import Instrument
    from logger.machines import Machine, SetUp
    from logger.readings import Reading
    from logger.wording import Units


@dataclass(frozen=True, slots=True)
class Meant:
    """One reading understood: ``height`` in ``unit``; between ``low`` and ``high`` (None: no goal) nothing is to do.

    ``text`` says where it stands, ``display`` what the instrument itself shows, ``word`` what kind of figure it is.
    """

    height: float
    unit: str
    word: str
    text: str
    display: str
    low: float | None
    high: float | None
    target: float | None

    def line(self, units: Units) -> str:
        """The reading as part of one line."""
        return f"{self.word} {amount(self.height, None, self.unit, units)}  {self.text}  (indicator {self.display})"

    @property
    def to_go(self) -> float:
        """What is to go to the goal, + where it must still rise; 0 inside or without a goal."""
        if self.low is None or self.high is None or self.low <= self.height <= self.high:
            return 0.0
        return self.low - self.height if self.height < self.low else self.high - self.height


def meaning(
    machine: Machine, set_up: SetUp, instrument: Instrument, args: argparse.Namespace, move: Move | None
) -> Callable[[Reading], Meant]:
    """How readings of this set-up are understood, with the goal that ``args`` or the planned ``move`` set."""
    from analysis.units import base_unit, height_from_reading, to_base

    level = set_up.kind == "level"
    zero = set_up.zero_mm_per_m if level else set_up.zero_mm
    word = ("tilt" if level else "height") if zero is not None else "from an unknown zero"
    goal = _goal(machine, set_up, args, move)
    low, high, target = _limits(machine, set_up, args, move)

    def understand(reading: Reading) -> Meant:
        value = float(to_base(reading.value, reading.unit))
        height = float(height_from_reading(value, set_up.kind, zero, set_up.sense))
        unit = base_unit(reading.unit)
        return Meant(height, unit, word, goal(height, unit), as_shown(reading, instrument), low, high, target)

    return understand


def as_shown(reading: Reading, instrument: Instrument) -> str:
    """The display's own figure, with the decimals it has where its unit is the profile's."""
    step = instrument.resolution or (instrument.resolution_mm if instrument.unit == "mm" else None)
    return raw(reading.value, reading.unit, step if reading.unit == instrument.unit else None)


def _limits(
    machine: Machine, set_up: SetUp, args: argparse.Namespace, move: Move | None
) -> tuple[float | None, float | None, float | None]:
    """Between which heights nothing is to do, and the height aimed at."""
    if move is not None and move.height_target is not None:
        near = max(HERE_MM, 0.5 * (move.uncertainty or 0.0))
        return move.height_target - near, move.height_target + near, move.height_target
    if args.target is not None:
        return args.target - HERE_MM, args.target + HERE_MM, args.target
    if set_up.kind == "level" or set_up.zero_mm is None:
        return None, None, None
    return (*machine.band.mean_mm, None)


def _goal(machine: Machine, set_up: SetUp, args: argparse.Namespace, move: Move | None) -> Callable[[float, str], str]:
    if move is not None and move.height_target is not None and move.height_now is not None:
        planned, target = move.height_target - move.height_now, move.height_target
        return lambda height, unit: _bolt_to_go(target - height, planned, move, unit, args.units)
    if args.target is not None:
        return lambda height, unit: _to_go(args.target - height, unit, args.units)
    if set_up.kind == "level" or set_up.zero_mm is None:
        return lambda height, unit: ""
    low, high = machine.band.mean_mm
    return lambda height, unit: _against(height, low, high, unit, args.units)


def _against(height: float, low: float, high: float, unit: str, units: Any) -> str:
    if height > high:
        return f"{state('high')} by {amount(height - high, None, unit, units, sign=False)}"
    if height < low:
        return f"{state('low')} by {amount(low - height, None, unit, units, sign=False)}"
    return state("inside")


HERE_MM = 0.002
"""Nearer than this to the target there is nothing to turn by hand (common practice, no source)."""


def _to_go(left: float, unit: str, units: Any) -> str:
    if abs(left) <= HERE_MM:
        return "═ here"
    sign, way = ("▼", "raise") if left > 0 else ("▲", "lower")
    return f"{sign} {amount(abs(left), None, unit, units, sign=False)} to go, {way}"


def _bolt_to_go(left: float, planned: float, move: Move, unit: str, units: Any) -> str:
    """What is left for the bolt in hand. Raising a bolt may lower the reading: the plan knows, so it is asked."""
    if abs(left) <= max(HERE_MM, 0.5 * (move.uncertainty or 0.0)):
        return f"═ here: {move.bolt} is right, tighten the lock nut"
    sign = "▼" if left > 0 else "▲"
    said = amount(abs(left), None, unit, units, sign=False)
    way = "raise" if (move.raise_mm > 0) == (left * planned > 0) else "lower"
    return (
        f"{sign} {said} to go, {way} {move.bolt}" if left * planned > 0 else f"{sign} {said} too far, {way} {move.bolt}"
    )
