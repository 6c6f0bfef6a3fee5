"""Base and table: which foot to raise by how much, and the twist that the feet put into the cast table.

Why it exists: a machine is levelled first because everything above hangs on it, and a foot changed later undoes a day's
work. It prevents levelling to the level's own zero error (each way is read twice, turned end for end between), feet
screwed down and up in turn (only raising, from the highest), and twist being "corrected" at all four feet.

Slopes in mm/m: along, + when the outfeed end is higher; across, + when the table side is higher. Lifts in mm, + up.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from analysis.results import FloatArray

CORNERS = ("infeed, carriage side", "infeed, table side", "outfeed, carriage side", "outfeed, table side")


@dataclass(frozen=True, slots=True)
class Twist:
    """``twist_mm_per_m`` outfeed end minus infeed end of the slope across, + when the outfeed end's table side is up.

    ``over_width_mm`` the same over the feet's distance across; ``uncertainty_mm_per_m`` expanded (k = 2).
    """

    twist_mm_per_m: float
    uncertainty_mm_per_m: float
    over_width_mm: float


def corner_feet(apart_along_mm: float, apart_across_mm: float) -> dict[str, tuple[float, float]]:
    """Four feet at the corners of a rectangle: name to (x, y)."""
    xs, ys = (0.0, apart_along_mm), (0.0, apart_across_mm)
    return dict(zip(CORNERS, [(x, y) for x in xs for y in ys], strict=True))


def level_feet(
    along_mm_per_m: float, across_mm_per_m: float, feet: Mapping[str, tuple[float, float]]
) -> dict[str, float]:
    """How far to raise each foot (mm, none below 0, the highest stays) so that both slopes become nothing.

    The body is taken as a plane on its feet: lift = -(along x + across y), shifted until the smallest is 0.
    """
    wanted = {name: -(along_mm_per_m * x + across_mm_per_m * y) / 1000.0 for name, (x, y) in feet.items()}
    lowest = min(wanted.values())
    return {name: lift - lowest for name, lift in wanted.items()}


def form_mm_per_m(flatness_mm: float, level_mm: float, places: int = 1) -> float:
    """What a table that is not flat does to the slope a level shows, as an expanded uncertainty.

    ``flatness_mm`` (expanded): how far a spot of the table lies from where a flat one would have it; ``level_mm``: how
    far apart the level's feet are. ``places`` laid side by side make one long level: what one gains the next loses.
    """
    if not level_mm > 0:
        raise ValueError(f"A level of {level_mm:g} mm cannot be; the distance of its feet is needed.")
    return 1000.0 * flatness_mm / (level_mm * places)


def twist(
    infeed_mm_per_m: float | FloatArray,
    outfeed_mm_per_m: float | FloatArray,
    apart_across_mm: float,
    reading_uncertainty_mm_per_m: float,
    flatness_mm: float = 0.0,
    level_mm: float = 200.0,
) -> Twist:
    """Twist from one level laid across at both ends the *same way round*: its zero error is in both and cancels.

    One reading at each end, or several (places,) side by side across it: a level lies on two small spots of a table
    that is not flat. ``reading_uncertainty_mm_per_m`` is the expanded uncertainty of one reading; flatness and level as
    in ``form_mm_per_m``.
    """
    ends = [np.atleast_1d(np.asarray(each, np.float64)) for each in (infeed_mm_per_m, outfeed_mm_per_m)]
    out = float(ends[1].mean() - ends[0].mean())
    doubt = math.hypot(
        *(reading_uncertainty_mm_per_m / math.sqrt(len(each)) for each in ends),
        *(form_mm_per_m(flatness_mm, level_mm, len(each)) for each in ends),
    )
    return Twist(out, doubt, out * apart_across_mm / 1000.0)


def untwist(found: Twist) -> dict[str, float]:
    """The lifts (mm) at one diagonal that take the twist out of a body that follows: half at each of two feet.

    Twist + (table side up at the outfeed end): raise the carriage side there and the table side at the infeed end. The
    mean slope across stays. A cast body follows a foot only in part: raise, measure, and go on by what it did.
    """
    half = abs(found.over_width_mm) / 2.0
    up = (2, 1) if found.twist_mm_per_m > 0 else (0, 3)
    return {CORNERS[foot]: half for foot in up}
