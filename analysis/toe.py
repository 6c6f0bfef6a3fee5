"""Toe: does the carriage run parallel to the blade, does the rip fence, and what must be shifted sideways.

Why it exists: closing burns and kicks, opening leaves marks, and both are a few hundredths over the blade. It prevents
reading the blade's wobble as toe (another tooth at the rear than at the front), and a rail pushed the wrong way.

Toe is in mm/m, + when the guide opens away from the blade toward outfeed: for the carriage dy/dx < 0, for the rip
fence on the other side dy/dx > 0. ``x`` + toward outfeed, ``y`` + from the carriage toward blade and table.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

import numpy as np

from analysis.results import FloatArray

Marks = Literal["opening", "closing", "cannot tell"]


@dataclass(frozen=True, slots=True)
class Toe:
    """``toe_mm_per_m`` + opening toward outfeed, expanded uncertainty (k = 2), and the same over the span measured."""

    toe_mm_per_m: float
    uncertainty_mm_per_m: float
    over_span_mm: float
    span_mm: float


def from_same_tooth(front_mm: FloatArray, rear_mm: FloatArray, span_mm: float, reading_uncertainty_mm: float) -> Toe:
    """An indicator on the carriage, its tip on a tooth at the front, then on the *same* tooth turned to the rear.

    Readings of shape (teeth,), + when pushed in: a blade that is farther away at the rear lets the tip out, so
    toe = (front - rear) / span. Each tooth's own wobble is in both readings and cancels. The uncertainty is the
    readings', or that of the scatter between teeth (Student's t) where they scatter more than readings do by chance.
    ``reading_uncertainty_mm`` is the expanded uncertainty of one reading.
    """
    if len(front_mm) != len(rear_mm) or len(front_mm) == 0:
        raise ValueError(f"{len(front_mm)} readings at the front and {len(rear_mm)} at the rear; pairs are needed.")
    return _over(np.asarray(front_mm - rear_mm), _span(span_mm), reading_uncertainty_mm)


def from_plate(front_mm: FloatArray, rear_mm: FloatArray, span_mm: float, reading_uncertainty_mm: float) -> Toe:
    """A plate on the arbor instead of a blade: readings at front and rear, then again with the plate half a turn on.

    Arrays of shape (2,): first as it was, then turned by 180 degrees. The plate's wobble has the other sign after half
    a turn, so the mean is free of it; their difference is the wobble and no uncertainty.
    """
    if len(front_mm) != 2 or len(rear_mm) != 2:
        raise ValueError("A plate needs two readings at each end, half a turn apart.")
    opening = float(np.mean(front_mm) - np.mean(rear_mm))
    span = _span(span_mm)
    return Toe(1000.0 * opening / span, 1000.0 * reading_uncertainty_mm / span, opening, span)


def from_distances(x_mm: FloatArray, distance_mm: FloatArray, distance_uncertainty_mm: float) -> Toe:
    """Opening of a guide from its distance to a line (blade, carriage's line, slot) at two or more x; shape (places,).

    A straight line by least squares; with three or more distances their scatter counts where it is more than the
    expanded ``distance_uncertainty_mm`` of one explains. The same for rip fence and carriage: a distance that grows
    toward outfeed opens.
    """
    if len(x_mm) != len(distance_mm) or len(np.unique(x_mm)) < 2:
        raise ValueError(f"{len(distance_mm)} distances at {len(np.unique(x_mm))} places; at least two are needed.")
    from_middle = x_mm - np.mean(x_mm)
    moment = float(from_middle @ from_middle)
    slope = float(from_middle @ distance_mm) / moment
    left = distance_mm - np.mean(distance_mm) - slope * from_middle
    doubt = distance_uncertainty_mm / math.sqrt(moment)
    freedom = len(x_mm) - 2
    if freedom > 0:
        spread = math.sqrt(float(left @ left) / freedom)
        if _more_than_chance(spread, distance_uncertainty_mm / 2.0, freedom):
            doubt = max(doubt, _student(freedom) * spread / math.sqrt(moment))
    span = float(np.ptp(x_mm))
    return Toe(1000.0 * slope, 1000.0 * doubt, slope * span, span)


def chord_mm(radius_mm: float, projection_mm: float, above_table_mm: float = 0.0) -> float:
    """The blade's length at a height above the table; the blade stands out of it by ``projection_mm``.

    Its centre is radius - projection below the table: chord = 2 sqrt(r^2 - (r - projection + height)^2); 0 above it.
    """
    below = radius_mm - projection_mm + above_table_mm
    return 2.0 * math.sqrt(max(0.0, radius_mm**2 - below**2))


def groove_mm(toe_mm_per_m: float, chord: float) -> float:
    """How deep the rear teeth cut into a wall that the front teeth have made: toe times chord."""
    return abs(toe_mm_per_m) * chord / 1000.0


def from_marks(*, away: bool, guide: bool) -> Marks:
    """What the rear teeth's marks in a smooth test board say.

    The guide carries its own wall along. Where it opens, it draws that wall away from the rear teeth and pulls the
    other, the wall away from the guide, into them; where it closes, the other way round. Both walls marked is a
    wobbling blade or dull teeth; none is toe too small to see.
    """
    if away == guide:
        return "cannot tell"
    return "opening" if away else "closing"


def sideways_shifts(
    toe_mm_per_m: float, wanted_mm_per_m: float, bolts_x_mm: Mapping[str, float], left_tight: str
) -> dict[str, float]:
    """How far the rail must go sideways at each support bolt, mm, + toward the table; the one left tight stays.

    An opening line has dy/dx = -toe; to come to the wanted toe it turns by (toe - wanted) about the tight bolt. A turn
    keeps the rail straight: shifting the ends only would bend it in plan.
    """
    pivot = bolts_x_mm[left_tight]
    return {name: (toe_mm_per_m - wanted_mm_per_m) / 1000.0 * (x - pivot) for name, x in bolts_x_mm.items()}


def _over(opening: FloatArray, span: float, reading_uncertainty_mm: float) -> Toe:
    count = len(opening)
    doubt = math.sqrt(2.0 / count) * reading_uncertainty_mm
    if count > 1:
        spread = float(np.std(opening, ddof=1))
        if _more_than_chance(spread, reading_uncertainty_mm / math.sqrt(2.0), count - 1):
            doubt = max(doubt, _student(count - 1) * spread / math.sqrt(count))
    mean = float(np.mean(opening))
    return Toe(1000.0 * mean / span, 1000.0 * doubt / span, mean, span)


def _more_than_chance(spread: float, standard: float, freedom: int) -> bool:
    """Scatter that readings as good as claimed would show in fewer than one case in twenty (chi-squared).

    Without it two teeth would always be worth less than one: Student's t of two readings is 12.7.
    """
    from scipy.special import chdtri

    return spread**2 * freedom > float(chdtri(freedom, 0.05)) * standard**2


def _student(freedom: int) -> float:
    from scipy.special import stdtrit

    return float(stdtrit(freedom, 0.975))


def _span(span_mm: float) -> float:
    if not span_mm > 0:
        raise ValueError(f"A span of {span_mm:g} mm cannot be; the distance from front to rear reading is needed.")
    return span_mm
