"""A check's readings over time as beads between their limits, and a value's course over months.

Why it exists: a table of dates and figures hides that a thing was corrected, or that it creeps. Both pictures have the
grammar of the board: two lines are the limits, a bead is the value, its dash the uncertainty, and a bead on a line
means *cannot tell*.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from logger.report.rail_drawing import figure, unit_word
from logger.report.shapes import Anchor, Picture
from logger.wording import STATE_SIGNS, amount

if TYPE_CHECKING:
    from logger.wording import Units

WIDTH = 960.0
LABEL, STATE = 170.0, 300.0
ROW = 24.0


@dataclass(frozen=True, slots=True)
class Bead:
    """One value: when it was taken, its expanded uncertainty and its verdict."""

    label: str
    value: float
    uncertainty: float
    word: str


def draw_beads(
    beads: Sequence[Bead], lower: float | None, upper: float | None, unit: str, units: Units = "mm", title: str = ""
) -> Picture:
    """Beads one below the other, oldest first, between ``lower`` and ``upper`` (None: no limit on that side)."""
    picture = Picture(WIDTH, ROW * len(beads) + 34.0, title)
    ends = [end for end in (lower, upper) if end is not None]
    lows = [bead.value - bead.uncertainty for bead in beads] + (ends if lower is not None else [0.0, *ends])
    highs = [bead.value + bead.uncertainty for bead in beads] + ends
    low, high = min(lows), max(highs)
    room = 0.08 * ((high - low) or 1.0)
    left, right = LABEL, WIDTH - STATE

    def x(value: float) -> float:
        return left + (right - left) * (value - low + room) / (high - low + 2 * room)

    bottom = ROW * len(beads) + 6.0
    if upper is not None and lower is not None:
        picture.box(x(lower), 4.0, x(upper) - x(lower), bottom - 4.0, "band", "band")
    for end in ends:
        picture.line([(x(end), 4.0), (x(end), bottom)], "ink", 1.2, "limit")
        picture.words(x(end), bottom + 16, figure(end, unit, units), "ink", 12, "middle", name="scale")
    if lower is None:
        picture.line([(x(0.0), 4.0), (x(0.0), bottom)], "soft", 0.8, "zero", (2.0, 3.0))
        picture.words(x(0.0), bottom + 16, "0", "soft", 12, "middle", name="scale")
    picture.words(right + 12, bottom + 16, unit_word(unit, units), "soft", 12)
    for place, bead in enumerate(beads):
        y = 18.0 + ROW * place
        role = "high" if bead.word == "outside" else "ink"
        spread = [(x(bead.value - bead.uncertainty), y), (x(bead.value + bead.uncertainty), y)]
        picture.line(spread, role, 2.0, "spread")
        picture.box(x(bead.value) - 4, y - 4, 8, 8, role, "bead")
        picture.words(LABEL - 12, y + 4, bead.label, "soft", 12, "end")
        said = amount(bead.value, bead.uncertainty, unit, units, sign=lower is not None)
        picture.words(right + 12, y + 4, f"{STATE_SIGNS.get(bead.word, '·')} {bead.word}  {said}", role, 12)
    return picture


@dataclass(frozen=True, slots=True)
class Dot:
    """A value at a time: ``at`` in days, expanded uncertainty."""

    at: float
    value: float
    uncertainty: float


@dataclass(frozen=True, slots=True)
class Line:
    """A straight piece of a fitted course, from (days, value) to (days, value)."""

    start: tuple[float, float]
    end: tuple[float, float]


MOST_NAMED = 8
"""With more turns than that the word at each would be a grey smear; the dotted lines stay."""
PLOT_HEIGHT, PLOT_TOP, PLOT_BOTTOM, PLOT_LEFT = 240.0, 14.0, 36.0, 76.0


def draw_course(
    dots: Sequence[Dot],
    fitted: Sequence[Line],
    turned_at: Sequence[float],
    dates: Sequence[tuple[float, str]],
    unit: str,
    units: Units = "mm",
    title: str = "",
    limits: tuple[float | None, float | None] = (None, None),
) -> Picture:
    """Values against days with their ±, the fitted course broken, an arrow where bolts were turned."""
    picture = Picture(WIDTH, PLOT_HEIGHT, title)
    lows = [dot.value - dot.uncertainty for dot in dots] + [limit for limit in limits if limit is not None]
    highs = [dot.value + dot.uncertainty for dot in dots] + [limit for limit in limits if limit is not None]
    low, high = min(lows), max(highs)
    room = 0.08 * ((high - low) or 1.0)
    first, last = min(dot.at for dot in dots), max(dot.at for dot in dots)
    span = (last - first) or 1.0
    floor = PLOT_HEIGHT - PLOT_BOTTOM

    def x(at: float) -> float:
        return PLOT_LEFT + 14 + (WIDTH - PLOT_LEFT - 42) * (at - first) / span

    def y(value: float) -> float:
        return floor - (floor - PLOT_TOP) * (value - low + room) / (high - low + 2 * room)

    for limit in limits:
        if limit is not None:
            picture.line([(PLOT_LEFT, y(limit)), (WIDTH - 14, y(limit))], "ink", 1.2, "limit")
    for value in (low, high):
        picture.line([(PLOT_LEFT - 5, y(value)), (PLOT_LEFT, y(value))], "ink")
        picture.words(
            PLOT_LEFT - 8, y(value) + 4, figure(value, unit, units, sign=True), "ink", 12, "end", name="scale"
        )
    picture.words(PLOT_LEFT - 8, (floor + PLOT_TOP) / 2, unit_word(unit, units), "soft", 12, "end")
    picture.line([(PLOT_LEFT, PLOT_TOP), (PLOT_LEFT, floor), (WIDTH - 14, floor)], "soft", 0.8)
    for at, date in dates:
        picture.line([(x(at), floor), (x(at), floor + 5)], "soft")
        anchor: Anchor = "start" if at <= first else "end" if at >= last else "middle"
        picture.words(x(at), floor + 19, date, "soft", 12, anchor, name="along")
    for at in turned_at:
        if first <= at <= last:
            picture.line([(x(at), PLOT_TOP), (x(at), floor)], "rule", 1.0, "turned", (2.0, 4.0))
            if len(turned_at) <= MOST_NAMED:
                picture.words(x(at) + 3, PLOT_TOP + 9, "turned", "soft", 11)
    for piece in fitted:
        picture.line(
            [(x(piece.start[0]), y(piece.start[1])), (x(piece.end[0]), y(piece.end[1]))], "ink", 1.4, "fitted", (7, 4)
        )
    for dot in dots:
        ends = [(x(dot.at), y(dot.value - dot.uncertainty)), (x(dot.at), y(dot.value + dot.uncertainty))]
        picture.line(ends, "low", 1.6, "spread")
        picture.box(x(dot.at) - 3.5, y(dot.value) - 3.5, 7, 7, "low", "bead")
    return picture
