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


def from_plate(
    front_mm: FloatArray,
    rear_mm: FloatArray,
    span_mm: float,
    reading_uncertainty_mm: float,
    flatness_mm: float = 0.0,
) -> Toe:
    """A plate on the arbor instead of a blade: readings at front and rear, and again with the plate turned on.

    Arrays of shape (places round the turn,), two or more, evenly round: half a turn on the wobble has the other sign,
    so the means are free of it; what is left between them is wobble and no uncertainty. The two tips do not touch the
    same places of the plate: ``flatness_mm`` (expanded) is how far its face is from flat, as anything lying on it.
    """
    if len(front_mm) != len(rear_mm) or len(front_mm) < 2:
        raise ValueError(
            f"{len(front_mm)} readings at the front and {len(rear_mm)} at the rear; a plate needs two or more at each "
            "end, evenly round the turn (half a turn apart for two)."
        )
    opening = float(np.mean(front_mm) - np.mean(rear_mm))
    span = _span(span_mm)
    count = len(front_mm)
    doubt = math.sqrt(2.0 / count) * math.hypot(reading_uncertainty_mm, flatness_mm)
    return Toe(1000.0 * opening / span, 1000.0 * doubt / span, opening, span)


def from_straightedge(
    x_mm: FloatArray,
    readings_mm: FloatArray,
    half_round_mm: FloatArray,
    reading_uncertainty_mm: float,
    parallel_mm: float,
    again_mm: float = 0.0,
) -> tuple[Toe, float]:
    """A straightedge held against the blade's plate, read by an indicator on the carriage at two or more x.

    ``readings_mm`` as the blade stood, ``half_round_mm`` at the same places after the blade was turned half round and
    the straightedge laid on again; + when pushed in, so a line that opens lets the tip out. The mean of both is free of
    the blade's wobble. ``parallel_mm`` (expanded): how far the straightedge's two edges are from parallel over the
    stretch read, the same both times; ``again_mm`` (expanded): how far an end comes to lie elsewhere when it is laid on
    again. Returns the toe and the wobble over the stretch (half the difference).
    """
    if len(half_round_mm) != len(readings_mm):
        raise ValueError(
            f"{len(readings_mm)} readings and {len(half_round_mm)} with the blade half round; as many are needed."
        )
    first = from_distances(x_mm, -readings_mm, reading_uncertainty_mm)
    second = from_distances(x_mm, -half_round_mm, reading_uncertainty_mm)
    toe = (first.toe_mm_per_m + second.toe_mm_per_m) / 2.0
    span = first.span_mm
    laid = 1000.0 * math.hypot(parallel_mm, again_mm) / span
    doubt = math.hypot(math.hypot(first.uncertainty_mm_per_m, second.uncertainty_mm_per_m) / 2.0, laid)
    wobble = (first.toe_mm_per_m - second.toe_mm_per_m) / 2.0 * span / 1000.0
    return Toe(toe, doubt, toe * span / 1000.0, span), wobble


def from_distances(x_mm: FloatArray, distance_mm: FloatArray, distance_uncertainty_mm: float | FloatArray) -> Toe:
    """Opening of a guide from its distance to a line (blade, carriage's line, slot) at two or more x; shape (places,).

    A straight line by least squares, each distance weighed by its own expanded uncertainty (one for all, or one each:
    feelers leave an interval); with three or more distances their scatter counts where it is more than those explain.
    The same for rip fence and carriage: a distance that grows toward outfeed opens.
    """
    if len(x_mm) != len(distance_mm) or len(np.unique(x_mm)) < 2:
        raise ValueError(f"{len(distance_mm)} distances at {len(np.unique(x_mm))} places; at least two are needed.")
    doubts = np.broadcast_to(np.asarray(distance_uncertainty_mm, np.float64), np.shape(distance_mm))
    weight = 1.0 / doubts**2 if np.all(doubts > 0) else np.ones(len(x_mm))
    weight = weight / weight.sum()
    from_middle = x_mm - weight @ x_mm
    moment = float(weight @ from_middle**2)
    slope = float(weight @ (from_middle * distance_mm)) / moment
    pull = weight * from_middle / moment
    doubt = math.sqrt(float(pull**2 @ doubts**2))
    left = distance_mm - weight @ distance_mm - slope * from_middle
    freedom = len(x_mm) - 2
    if freedom > 0:
        spread = math.sqrt(float(left**2 @ weight) * len(x_mm) / freedom)
        typical = math.sqrt(1.0 / float(np.mean(1.0 / doubts**2))) if np.all(doubts > 0) else 0.0
        if _more_than_chance(spread, typical / 2.0, freedom):
            doubt = max(doubt, _student(freedom) * spread / math.sqrt(len(x_mm) * moment))
    span = float(np.ptp(x_mm))
    return Toe(1000.0 * slope, 1000.0 * doubt, slope * span, span)


def to_the_blade(from_sheet: Toe, corner: tuple[float, float], toe: tuple[float, float]) -> Toe:
    """Opening of the rip fence to the *blade*, from its opening to the edge of a sheet on the carriage.

    The sheet lies against the cross-cut fence, so its edge lies along the carriage's travel but for the error of the
    corner, and the travel opens from the blade by the toe: opening = gap's slope + corner - toe. ``corner``: how far
    the sheet's far edge leans from the travel, + when it runs away from the blade's side toward outfeed (dy/dx > 0),
    and its expanded uncertainty, mm/m; ``toe`` likewise, + opening. Both uncertainties are in the result.
    """
    value = from_sheet.toe_mm_per_m + corner[0] - toe[0]
    doubt = math.hypot(from_sheet.uncertainty_mm_per_m, math.hypot(corner[1], toe[1]))
    return Toe(value, doubt, value * from_sheet.span_mm / 1000.0, from_sheet.span_mm)


@dataclass(frozen=True, slots=True)
class TiltAxis:
    """What the bevel does to toe: ``change_mm_per_m`` with its expanded uncertainty, and the axis's climb that would.

    ``climb_mm_per_m`` + when the tilt axis rises toward outfeed. An axis that lies askew in plan changes toe too, but
    only with (1 - cos): at 45 degrees it takes 2.4 times as much askew as climb.
    """

    change_mm_per_m: float
    uncertainty_mm_per_m: float
    climb_mm_per_m: float


def tilt_axis(upright: Toe, tilted: Toe, bevel_deg: float, top: Literal["carriage", "table"]) -> TiltAxis:
    """Toe upright and at a bevel, both read square to the plate; ``top``: to which side the blade's top leans.

    Turning the plate's normal n about the axis a leaves a.n alone; for an axis that climbs by c and lies askew by k
    (both small), toe(bevel) = toe(0) + c sin(bevel) - k (1 - cos(bevel)), bevel + when the top leans to the carriage.
    """
    if not 1.0 <= bevel_deg <= 60.0:
        raise ValueError(f"A bevel of {bevel_deg:g} degrees; 1 to 60 are needed.")
    change = tilted.toe_mm_per_m - upright.toe_mm_per_m
    doubt = math.hypot(upright.uncertainty_mm_per_m, tilted.uncertainty_mm_per_m)
    sine = math.sin(math.radians(bevel_deg if top == "carriage" else -bevel_deg))
    return TiltAxis(change, doubt, change / sine)


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


SLACK_mm = 0.1
"""How far a clamping screw is let go so that a seat slides and does not drop (common practice, no source)."""


def slacken_turns(pitch_mm: float) -> float:
    """Part of a turn that lets a clamping screw of this pitch go by ``SLACK_mm``."""
    if not pitch_mm > 0:
        raise ValueError(f"A pitch of {pitch_mm:g} mm cannot be.")
    return SLACK_mm / pitch_mm


def heights_lost(before_mm: FloatArray, after_mm: FloatArray, reading_uncertainty_mm: float) -> FloatArray:
    """How far the display at each bolt changed where it changed by more than two readings explain; 0 elsewhere.

    Arrays of shape (bolts,), the carriage parked at each bolt before they were slackened and after they were tightened.
    """
    if len(before_mm) != len(after_mm):
        raise ValueError(f"{len(before_mm)} heights before and {len(after_mm)} after; one for each bolt is needed.")
    change = after_mm - before_mm
    return np.asarray(np.where(np.abs(change) > math.sqrt(2.0) * reading_uncertainty_mm, change, 0.0), np.float64)


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
    """Scatter that readings as good as claimed would show in fewer than one case in ten (chi-squared).

    Without it two teeth would always be worth less than one: Student's t of two readings is 12.7.
    """
    from scipy.special import chdtri

    return spread**2 * freedom > float(chdtri(freedom, 0.10)) * standard**2


def _student(freedom: int) -> float:
    from scipy.special import stdtrit

    return float(stdtrit(freedom, 0.975))


def _span(span_mm: float) -> float:
    if not span_mm > 0:
        raise ValueError(f"A span of {span_mm:g} mm cannot be; the distance from front to rear reading is needed.")
    return span_mm
