"""What every evaluation hands back, and the few steps they share.

Why it exists: each family of checks (base, what turns, what cuts) has its own module, and all must judge and correct in
the same words. It prevents a correction for something that is inside, and one thinner than anybody can make.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

import numpy as np

from analysis import circle
from analysis.results import FloatArray, Verdict
from analysis.verdict import combine, judge
from logger.checks.model import Allowed, Check, Correction, Readings

if TYPE_CHECKING:
    from logger.machines import Machine

SMALLEST_SHIM_mm = 0.02
"""Thinner than any shim sold (common practice, no source)."""


@dataclass(frozen=True)
class Result:
    """What a check's readings say. ``details`` are further figures, the unit in every name."""

    verdict: Verdict
    corrections: tuple[Correction, ...]
    notes: tuple[str, ...]
    details: dict[str, Any]


Evaluation = Callable[[Check, Readings, Allowed, "Machine"], Result]


def judged(check: Check, allowed: Allowed, value: float, uncertainty: float) -> Verdict:
    return judge(value, uncertainty, allowed.lower, allowed.upper, allowed.unit, check.quantity)


def judged_with(primary: Verdict, *others: Verdict) -> tuple[Verdict, tuple[str, ...]]:
    """One verdict for a quantity and its conditions, and what the conditions say where they decide.

    The value shown stays the check's own quantity: a gap that is out must not be printed as an offset of 9 mm.
    """
    worst = combine([primary, *others])
    decided = tuple(each.reason for each in others if each.word == worst.word != "inside")
    return replace(primary, word=worst.word, reason=worst.reason), decided


def feet(lifts: dict[str, float], pitch: float | None, verdict: Verdict) -> tuple[Correction, ...]:
    """Feet to raise, the farthest first; none where the thing is inside, and none for a hair."""
    if verdict.word == "inside":
        return ()
    wanted = sorted(((lift, name) for name, lift in lifts.items() if lift > SMALLEST_SHIM_mm), reverse=True)
    return tuple(Correction(f"foot {name}", lift, "up", None, lift / pitch if pitch else None) for lift, name in wanted)


def carrier_shim(readings: Readings, lean: circle.Swing, notes: list[str]) -> tuple[Correction, ...]:
    """What goes under which foot of a spindle's carrier; a note instead where no feet are known, or it does little.

    Feet across the lean do nothing; the other pair, a quarter round, is named then.
    """
    apart = readings.maybe("feet_apart")
    if apart is None:
        notes.append("With feet_apart= and foot_direction= it says what to shim.")
        return ()
    direction = readings.one("foot_direction")
    shim, across = circle.shim_mm(lean, direction, apart), circle.shim_mm(lean, direction + 90.0, apart)
    if abs(across) > abs(shim):
        notes.append("Most of the lean is across these feet; a shim there does little: name the other pair.")
    doubt = lean.uncertainty_mm_per_m * apart / 1000.0
    if abs(shim) <= max(doubt, SMALLEST_SHIM_mm):
        notes.append("What a shim under these feet would do does not stand clear of its uncertainty, or is no shim.")
        return ()
    where = whole_degrees(direction if shim >= 0 else direction + 180.0)
    return (Correction(f"under the foot at {where} degrees", abs(shim), "to be added", doubt),)


def whole_degrees(angle: float) -> int:
    """A direction as it is said: 0 to 359, never 360."""
    return round(angle) % 360


def array(readings: Readings, key: str) -> FloatArray:
    return np.array(readings.numbers[key], dtype=np.float64)
