"""What one turn of each bolt does to the reading: learned against nominal, bolt under bolt on one scale.

Why it exists: the advice stands on this and on nothing else. It prevents blind trust in it: where the learned line
leaves the nominal one, or its grey sleeve is wide, a person sees where the machine is not what was believed.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np

from logger.report.shapes import Anchor, Picture

if TYPE_CHECKING:
    from logger.advising.response import Responses
    from logger.wording import Units

WIDTH, LEFT, RIGHT, TOP, LANE, GAP = 720.0, 96.0, 24.0, 56.0, 62.0, 10.0
DASH = (5.0, 4.0)
MM_PER_INCH = 25.4


def draw_responses(found: Responses, travel_per_turn_mm: Sequence[float], units: Units = "mm") -> Picture:
    """One lane for each bolt along the stroke. ``travel_per_turn_mm``: thread travel of one turn, in the bolts' order.

    Blue: learned, grey its 95 in 100; dashed: nominal. All lanes share one scale, so that a weak bolt looks weak.
    """
    turn = np.asarray(travel_per_turn_mm, float)
    inches = units == "in" and found.unit == "mm"
    scale = turn / (MM_PER_INCH if inches else 1.0)
    unit = "in" if inches else found.unit
    learned, nominal, doubt = (each * scale for each in (found.learned, found.believed, found.uncertainty))
    reach = 1.1 * max(float(np.max(np.abs(learned) + doubt)), float(np.max(np.abs(nominal))), 1e-6)
    height = TOP + len(found.bolts) * (LANE + GAP) + 30.0
    picture = Picture(WIDTH, height, f"What one turn of each bolt does to the reading of {found.set_up}")
    learned_from = f"{found.turns} turn{'' if found.turns == 1 else 's'}" if found.turns else "nothing yet"
    picture.words(
        LEFT, 20, f"{found.set_up}: change of the reading for one turn that raises, {unit}", bold=True, size=14
    )
    picture.words(LEFT, 38, f"line: learned from {learned_from}; grey: its 95 in 100; dashed: nominal", "soft", 12)
    for index, name in enumerate(found.bolts):
        _lane(picture, found.x_mm, index, name, learned[:, index], nominal[:, index], doubt[:, index], reach)
    bottom = TOP + len(found.bolts) * (LANE + GAP)
    ends: tuple[tuple[int, Anchor], ...] = ((0, "start"), (len(found.x_mm) // 2, "middle"), (-1, "end"))
    for index, anchor in ends:
        x = float(found.x_mm[index])
        place = f"{x / MM_PER_INCH:.1f} in" if units == "in" else f"{x:.0f} mm"
        picture.words(_across(found.x_mm, x), bottom + 12, place, "soft", 12, anchor, name="place")
    return picture


def _lane(
    picture: Picture,
    x_mm: np.ndarray[tuple[int], np.dtype[np.float64]],
    index: int,
    name: str,
    learned: np.ndarray[tuple[int], np.dtype[np.float64]],
    nominal: np.ndarray[tuple[int], np.dtype[np.float64]],
    doubt: np.ndarray[tuple[int], np.dtype[np.float64]],
    reach: float,
) -> None:
    top = TOP + index * (LANE + GAP)

    def y(value: float) -> float:
        return top + LANE * (1.0 - (value + reach) / (2.0 * reach))

    def path(values: np.ndarray[tuple[int], np.dtype[np.float64]]) -> list[tuple[float, float]]:
        return [(_across(x_mm, float(x)), y(float(v))) for x, v in zip(x_mm, values, strict=True)]

    picture.area(path(learned + doubt) + path(learned - doubt)[::-1], "band", "sleeve")
    picture.line([(LEFT, y(0.0)), (WIDTH - RIGHT, y(0.0))], "rule", 1.0, "zero")
    picture.line(path(nominal), "ink", 1.2, "nominal", DASH)
    picture.line(path(learned), "low", 2.0, "learned")
    picture.words(12, top + LANE / 2 + 4, name, bold=True, size=14, name="bolt")
    most = int(np.argmax(np.abs(learned)))
    sign = "+" if learned[most] >= 0 else "\u2212"
    picture.words(LEFT - 6, top + LANE / 2 + 4, f"{sign}{abs(learned[most]):.2f}", "soft", 12, "end", name="most")


def _across(x_mm: np.ndarray[tuple[int], np.dtype[np.float64]], x: float) -> float:
    low, high = float(x_mm[0]), float(x_mm[-1])
    return LEFT + (WIDTH - LEFT - RIGHT) * (x - low) / max(high - low, 1e-9)
