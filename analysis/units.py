"""Signs and units, once.

Why it exists: three kinds of set-up read with different signs, instruments speak six units, and people count in
millimetres or thou. It prevents the commonest mistake of the trade, a correction made the wrong way because somebody
turned a sign round twice: nothing else in truestroke multiplies a reading by minus one.

Signs: x + toward outfeed, y + from the carriage toward blade and table, z + up. A height is the carriage's top minus
the table's plane, + when the carriage is higher. Pitch + when the outfeed end is higher, roll + when the table side is
higher. A *reading* is what the instrument's own display shows: raw sign, raw zero.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Final, Literal, TypeVar

import numpy as np

from analysis.results import FloatArray

SetUpKind = Literal["fixed", "carried", "level"]
Sense = Literal["normal", "reversed"]
Value = TypeVar("Value", float, FloatArray)

MM_PER_INCH: Final = 25.4

LENGTH_UNITS: Final = ("mm", "in")
SLOPE_UNITS: Final = ("mm/m", "in/ft", "arcsec", "deg")

# Angles are turned into slopes by the tangent: a level's bubble and a sine bar agree with it to 1e-6 below 1 mm/m.
_MM_PER_M_PER_IN_PER_FT: Final = 1000.0 / 12.0


class UnknownUnit(ValueError):
    """A unit none of our instruments may speak."""


def base_unit(unit: str) -> Literal["mm", "mm/m"]:
    """The unit used inside for ``unit``: ``mm`` for lengths, ``mm/m`` for slopes. Raises UnknownUnit."""
    if unit in LENGTH_UNITS:
        return "mm"
    if unit in SLOPE_UNITS:
        return "mm/m"
    raise UnknownUnit(f"Unit {unit!r} is not known; allowed: {', '.join(LENGTH_UNITS + SLOPE_UNITS)}.")


def to_base(value: Value, unit: str) -> Value:
    """``value`` in ``unit`` -> mm or mm/m. Works on floats and arrays; raises UnknownUnit."""
    converted: Value = _TO_BASE[_known(unit)](value)
    return converted


def from_base(value: Value, unit: str) -> Value:
    """``value`` in mm or mm/m -> ``unit``. The inverse of :func:`to_base`."""
    converted: Value = _FROM_BASE[_known(unit)](value)
    return converted


def sign_of_reading(kind: SetUpKind, sense: Sense = "normal") -> int:
    """+1 where the quantity rises with the reading, -1 where it falls.

    A fixed indicator is pushed in by a higher carriage (+1); a carried one is let out by it (-1); a level is + when
    the named end is higher (+1). ``reversed`` (an indicator with its sign switched, a level set the other way round)
    turns each of them.
    """
    signs = {"fixed": 1, "carried": -1, "level": 1}
    if kind not in signs:
        raise ValueError(f"Set-up kind {kind!r} is not known; allowed: {', '.join(signs)}.")
    if sense not in ("normal", "reversed"):
        raise ValueError(f"Sense {sense!r} is not known; allowed: normal, reversed.")
    return signs[kind] * (1 if sense == "normal" else -1)


def height_from_reading(reading: Value, kind: SetUpKind, zero: float | None = 0.0, sense: Sense = "normal") -> Value:
    """Display reading -> height (mm) or tilt (mm/m): raw - zero for fixed and level, zero - raw for carried.

    ``zero`` is the reading that means "in the table's plane" (or level); None = not known, taken as 0 so that only
    the shape has a meaning.
    """
    return (reading - (zero or 0.0)) * float(sign_of_reading(kind, sense))


def reading_from_height(height: Value, kind: SetUpKind, zero: float | None = 0.0, sense: Sense = "normal") -> Value:
    """What the display shows for a wanted ``height``: the inverse of :func:`height_from_reading`."""
    return height * float(sign_of_reading(kind, sense)) + (zero or 0.0)


def mm_to_thou(value_mm: Value) -> Value:
    """Millimetres -> thousandths of an inch."""
    return value_mm / MM_PER_INCH * 1000.0


def _known(unit: str) -> str:
    base_unit(unit)
    return unit


def _slope_from_angle(radians_per_unit: float) -> Callable[[Value], Value]:
    def convert(value: Value) -> Value:
        slope: Value = np.tan(value * radians_per_unit) * 1000.0
        return slope

    return convert


def _angle_from_slope(radians_per_unit: float) -> Callable[[Value], Value]:
    def convert(value: Value) -> Value:
        angle: Value = np.arctan(value / 1000.0) / radians_per_unit
        return angle

    return convert


_DEGREE: Final = math.pi / 180.0
_ARCSECOND: Final = _DEGREE / 3600.0

_TO_BASE: Final[dict[str, Callable]] = {  # type: ignore[type-arg]
    "mm": lambda value: value,
    "in": lambda value: value * MM_PER_INCH,
    "mm/m": lambda value: value,
    "in/ft": lambda value: value * _MM_PER_M_PER_IN_PER_FT,
    "arcsec": _slope_from_angle(_ARCSECOND),
    "deg": _slope_from_angle(_DEGREE),
}
_FROM_BASE: Final[dict[str, Callable]] = {  # type: ignore[type-arg]
    "mm": lambda value: value,
    "in": lambda value: value / MM_PER_INCH,
    "mm/m": lambda value: value,
    "in/ft": lambda value: value / _MM_PER_M_PER_IN_PER_FT,
    "arcsec": _angle_from_slope(_ARCSECOND),
    "deg": _angle_from_slope(_DEGREE),
}
