"""The rail picture in lines: the same data, scale and grammar as on the screen, for paper.

Why it exists: the picture one learned on the screen must be the one in the folder. What it shows is decided in
``logger.rail_picture``, the scale follows from the band as on the screen (``logger.tui.scale``); here it only gets
edges instead of cells. Fill means work left to do: a hump stands out solid, a hollow is dotted, what nobody has seen is
hatched and has no band, so that a grey printer loses nothing.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import TYPE_CHECKING

import numpy as np

from analysis.results import FloatArray
from logger.rail_picture import Bolt, Curve, RailPicture
from logger.report.shapes import Picture, Point
from logger.tui.scale import Up, up_from_band, up_from_values
from logger.wording import MM_PER_THOU, amount, number, position

if TYPE_CHECKING:
    from logger.wording import Units

WIDTH = 960.0
LEFT, RIGHT, TOP = 76.0, 14.0, 40.0
ROWS = (4, 5, 4)
"""Rows above, in and below the band, as the findings screen has at 120 columns."""
ROW = 13.0
RAIL, FOOT, THREAD = 9.0, 8.0, 26.0
AXIS_STEPS = {"mm": (100.0, 200.0, 250.0, 500.0, 1000.0, 2000.0, 5000.0), "in": (127.0, 254.0, 508.0, 1016.0, 2540.0)}
"""Millimetres between marks along the rail: round figures in the units of who reads them."""
SMALL, NORMAL = 12.0, 13.0


@dataclass(frozen=True)
class Frame:
    """Millimetres to picture units: along the rail and up."""

    picture: RailPicture
    up: Up

    def x(self, x_mm: float) -> float:
        share = (x_mm - self.picture.from_mm) / (self.picture.to_mm - self.picture.from_mm)
        return LEFT + (WIDTH - LEFT - RIGHT) * min(1.0, max(0.0, share))

    def y(self, value: float) -> float:
        """Held inside the drawing; what leaves it is said in words."""
        held = min(self.up.top, max(self.up.bottom, value))
        return TOP + (self.up.top - held) / self.up.per_row * ROW

    @property
    def floor(self) -> float:
        return TOP + self.up.rows * ROW


def draw_rail(rail: RailPicture, units: Units = "mm", title: str = "") -> Picture:
    """The picture of ``rail``. Widths and heights in picture units; the profile's own points are in ``profile``."""
    seen = rail.curve.value if rail.curve is not None else np.zeros(0)
    up = up_from_band(*rail.band, seen, *ROWS) if rail.band is not None else up_from_values(seen, sum(ROWS), 0.05)
    frame = Frame(rail, up)
    picture = Picture(WIDTH, frame.floor + RAIL + FOOT + THREAD + 54.0, title)
    runs = _runs(rail.curve)
    _unseen(picture, frame, runs)
    for run in runs:
        _material(picture, frame, *run)
    _limits(picture, frame, runs)
    _traces(picture, frame)
    _sleeves(picture, frame, runs)
    for x_mm, value in runs:
        picture.line([(frame.x(x), frame.y(v)) for x, v in zip(x_mm, value, strict=True)], "ink", 1.4, "profile")
    _scale(picture, frame, units)
    _rail(picture, frame, units)
    _above(picture, frame)
    _flags(picture, frame, units)
    return picture


# -- the body, its humps and hollows -----------------------------------------------------------------------------------


def _runs(curve: Curve | None) -> list[tuple[FloatArray, FloatArray]]:
    """The seen stretches of a curve, each as (x, value): the drawing is cut where nothing was seen."""
    if curve is None or not curve.x_mm.size:
        return []
    inner = [(a, b) for a, b in curve.not_seen if a > curve.x_mm[0] and b < curve.x_mm[-1]]
    edges = sorted(int(np.searchsorted(curve.x_mm, (a + b) / 2)) for a, b in inner)
    cuts = [0, *edges, curve.x_mm.size]
    return [(curve.x_mm[a:b], curve.value[a:b]) for a, b in pairwise(cuts) if b - a > 1]


def _with_crossings(x_mm: FloatArray, value: FloatArray, levels: Sequence[float]) -> tuple[FloatArray, FloatArray]:
    """The same line with a point wherever it crosses a level, so that a hump begins where it begins."""
    xs, vs = [float(x_mm[0])], [float(value[0])]
    for (x0, v0), (x1, v1) in pairwise(zip(x_mm.tolist(), value.tolist(), strict=True)):
        inside = sorted((level - v0) / (v1 - v0) for level in levels if min(v0, v1) < level < max(v0, v1))
        for share in inside:
            xs.append(x0 + share * (x1 - x0))
            vs.append(v0 + share * (v1 - v0))
        xs.append(x1)
        vs.append(v1)
    return np.array(xs), np.array(vs)


def _material(picture: Picture, frame: Frame, x_mm: FloatArray, value: FloatArray) -> None:
    lower, upper = frame.picture.band or (-np.inf, np.inf)
    x, v = _with_crossings(x_mm, value, [level for level in (lower, upper) if np.isfinite(level)])
    left, right = frame.x(float(x[0])), frame.x(float(x[-1]))
    if np.isfinite(upper):
        picture.box(left, frame.y(upper), right - left, frame.y(lower) - frame.y(upper), "band", "band")
    _between(picture, frame, x, np.full(len(x), -np.inf), np.minimum(v, upper), "body", "body")
    _between(picture, frame, x, np.full(len(x), upper), np.maximum(v, upper), "high", "hump")
    _between(picture, frame, x, np.minimum(v, lower), np.full(len(x), lower), "low", "hollow")


def _between(
    picture: Picture, frame: Frame, x: FloatArray, below: FloatArray, above: FloatArray, role: str, name: str
) -> None:
    """Fill between two lines, in as many pieces as there are stretches where they part."""
    apart = np.flatnonzero(above > below + 1e-12) if name != "body" else np.arange(len(x))
    for piece in np.split(apart, np.flatnonzero(np.diff(apart) > 1) + 1):
        if not piece.size:
            continue
        first, last = max(int(piece[0]) - 1, 0), min(int(piece[-1]) + 1, len(x) - 1)
        rows = range(first, last + 1)
        edge: list[Point] = [(frame.x(float(x[i])), frame.y(float(above[i]))) for i in rows]
        base: list[Point] = [(frame.x(float(x[i])), frame.y(float(below[i]))) for i in reversed(rows)]
        picture.area(edge + base, role, name, "dots" if name == "hollow" else "")


def _unseen(picture: Picture, frame: Frame, runs: Sequence[tuple[FloatArray, FloatArray]]) -> None:
    """Hatch everywhere but over what was seen: nothing is claimed there."""
    if frame.picture.curve is None:
        _hatched(picture, frame, frame.picture.from_mm, frame.picture.to_mm)
        return
    at = frame.picture.from_mm
    for x_mm, _ in runs:
        _hatched(picture, frame, at, float(x_mm[0]))
        at = float(x_mm[-1])
    _hatched(picture, frame, at, frame.picture.to_mm)


def _hatched(picture: Picture, frame: Frame, from_mm: float, to_mm: float) -> None:
    left, right = frame.x(from_mm), frame.x(to_mm)
    picture.box(left, TOP, right - left, frame.floor - TOP, "paper", "unseen", "hatch")


def _limits(picture: Picture, frame: Frame, runs: Sequence[tuple[FloatArray, FloatArray]]) -> None:
    """The two lines: ink where they are free, cut out of the material where it crosses them."""
    if frame.picture.band is None:
        return
    for limit in frame.picture.band:
        y = frame.y(limit)
        picture.line([(LEFT, y), (WIDTH - RIGHT, y)], "ink", 1.0, "limit")
        for x_mm, value in runs:
            x, v = _with_crossings(x_mm, value, [limit])
            for (x0, v0), (x1, v1) in pairwise(zip(x.tolist(), v.tolist(), strict=True)):
                if v0 + v1 > 2 * limit:
                    picture.line([(frame.x(x0), y), (frame.x(x1), y)], "cut", 1.4, "cut")


def _traces(picture: Picture, frame: Frame) -> None:
    traces: tuple[tuple[Curve | None, str, str, tuple[float, ...]], ...] = (
        (frame.picture.before, "before", "soft", (1.5, 2.5)),
        (frame.picture.expected, "expected", "ink", (7.0, 4.0)),
    )
    for curve, name, role, dash in traces:
        for x_mm, value in _runs(curve):
            points = [(frame.x(x), frame.y(v)) for x, v in zip(x_mm, value, strict=True)]
            picture.line(points, "paper", 4.0, f"{name}-under")
            picture.line(points, role, 1.8, name, dash)


def _sleeves(picture: Picture, frame: Frame, runs: Sequence[tuple[FloatArray, FloatArray]]) -> None:
    """Height ± uncertainty, drawn where it is more than half a row; else it is written, not drawn."""
    curve = frame.picture.curve
    if curve is None or curve.uncertainty.size != curve.x_mm.size or not curve.x_mm.size:
        return
    if float(np.max(curve.uncertainty)) <= frame.up.per_row / 2:
        return
    for x_mm, value in runs:
        spread = np.interp(x_mm, curve.x_mm, curve.uncertainty)
        for side in (value - spread, value + spread):
            points = [(frame.x(x), frame.y(v)) for x, v in zip(x_mm, side, strict=True)]
            picture.line(points, "paper", 2.4, "sleeve-under")
            picture.line(points, "ink", 0.8, "sleeve", (3.0, 3.0))


# -- words and the rail below ------------------------------------------------------------------------------------------


def figure(value: float, unit: str, units: Units, *, sign: bool = False) -> str:
    """A value at the picture's side: without its unit, which stands once."""
    return amount(value, None, unit, units, sign=sign).rsplit(" ", 1)[0]


def unit_word(unit: str, units: Units) -> str:
    return amount(0.0, None, unit, units).rsplit(" ", 1)[1]


def _scale(picture: Picture, frame: Frame, units: Units) -> None:
    rail = frame.picture
    ends = rail.band if rail.band is not None else (frame.up.bottom, frame.up.top)
    for value in ends:
        y = frame.y(value)
        picture.line([(LEFT - 5, y), (LEFT, y)], "ink", 1.0, "tick")
        picture.words(LEFT - 8, y + 4, figure(value, rail.unit, units), "ink", SMALL, "end", name="scale")
    picture.words(LEFT - 8, frame.floor + 6, unit_word(rail.unit, units), "soft", SMALL, "end")


def _rail(picture: Picture, frame: Frame, units: Units) -> None:
    rail, top = frame.picture, frame.floor
    picture.box(LEFT, top, WIDTH - LEFT - RIGHT, RAIL, "ink", "rail")
    steps = AXIS_STEPS[units]
    step = next((each for each in steps if (rail.to_mm - rail.from_mm) / each <= 8), steps[-1])
    y = top + RAIL + FOOT + THREAD + 44
    for x_mm in np.arange(np.ceil(rail.from_mm / step) * step, rail.to_mm + 1, step):
        picture.line([(frame.x(x_mm), y - 13), (frame.x(x_mm), y - 18)], "soft", 1.0)
        shown = position(float(x_mm), units).removesuffix(" mm")
        picture.words(frame.x(x_mm), y, shown, "soft", SMALL, "middle", name="along")
    picture.line([(LEFT, y - 18), (WIDTH - RIGHT, y - 18)], "soft", 0.8)
    picture.words(LEFT - 8, y, "x mm" if units == "mm" else "x", "soft", SMALL, "end")
    beside = _beside(rail.bolts)
    for bolt in rail.bolts:
        _bolt(picture, frame, bolt, beside[bolt.name], units)


def _beside(bolts: Sequence[Bolt]) -> dict[str, float]:
    """Two bolts at one x stand beside one another, the blade's side right."""
    out = {}
    for bolt in bolts:
        pair = [other for other in bolts if abs(other.x_mm - bolt.x_mm) < 30.0]
        place = sorted(pair, key=lambda each: each.y_mm).index(bolt)
        out[bolt.name] = 16.0 * (place - (len(pair) - 1) / 2)
    return out


def _bolt(picture: Picture, frame: Frame, bolt: Bolt, aside: float, units: Units) -> None:
    x, top = frame.x(bolt.x_mm) + aside, frame.floor + RAIL
    picture.box(x - 4, top, 8, FOOT, "ink", "foot")
    nut = top + FOOT + 9
    if not bolt.seen:
        picture.line([(x, top + FOOT), (x, nut + 17)], "soft", 1.4, "bolt unseen", (2.0, 3.0))
        picture.words(x + 7, nut + 12, "not seen", "soft", SMALL)
    else:
        picture.line([(x, top + FOOT), (x, nut + 17)], "ink", 2.0, "bolt")
        picture.box(x - 6, nut, 12, 6, "ink", "nut")
    picture.words(x, nut + 31, bolt.name, "ink" if bolt.seen else "soft", NORMAL, "middle", bolt.seen, "bolt-name")
    if bolt.raise_mm:
        _move(picture, x + 10, nut + 16, bolt.raise_mm, units)


def _move(picture: Picture, x: float, y: float, raise_mm: float, units: Units) -> None:
    """An arrow is a move of the bolt itself, a triangle a state: never swapped."""
    up = raise_mm > 0
    tip, end = (y - 18, y) if up else (y, y - 18)
    head = tip + (6 if up else -6)
    picture.line([(x, end), (x, tip)], "ink", 2.0, "move")
    picture.line([(x - 4, head), (x, tip), (x + 4, head)], "ink", 2.0)
    said = f"{number(abs(raise_mm) / MM_PER_THOU, 1, sign=False)} thou" if units == "in" else f"{abs(raise_mm):.2f}"
    picture.words(x + 8, y - 4, said, "ink", SMALL, bold=True, name="move-amount")


def _above(picture: Picture, frame: Frame) -> None:
    y = 14.0
    for name, x_mm in frame.picture.places:
        x, half = frame.x(x_mm), max(18.0, 3.6 * len(name[:24]))
        for side in (-1, 1):
            picture.line([(x + side * half, y - 9), (x + side * half, y + 3)], "soft", 1.0)
        picture.words(x, y, name[:24], "soft", SMALL, "middle", name="place")
        picture.line([(x, y + 4), (x, y + 10)], "soft", 1.0)
    if frame.picture.stands_mm is not None:
        x = frame.x(frame.picture.stands_mm)
        picture.line([(x - 6, y), (x + 6, y), (x, y + 10), (x - 6, y)], "ink", 1.2, "stands")
        picture.words(x + 10, y + 2, "indicator stands here", "soft", SMALL)


def _flags(picture: Picture, frame: Frame, units: Units) -> None:
    rail = frame.picture
    taken: list[tuple[float, float, float]] = []
    for flag in sorted(rail.flags, key=lambda each: -abs(each.value)):
        shape = "▲" if flag.kind == "high" else "▼"
        beyond = max(flag.value - frame.up.top, frame.up.bottom - flag.value, 0.0)
        text = f"{shape} {figure(flag.value, rail.unit, units, sign=True)}"
        if beyond > 0:
            text = f"{shape} {figure(beyond, rail.unit, units)} beyond the drawing"
        half = 3.4 * len(text)
        x = min(max(frame.x(flag.x_mm), LEFT + half), WIDTH - RIGHT - half)
        y = min(frame.y(flag.value), frame.y(rail.band[1]) if rail.band else frame.floor) - 6
        while any(abs(x - tx) < half + th and abs(y - ty) < 14 for tx, ty, th in taken) and y > 26:
            y -= 14
        taken.append((x, y, half))
        picture.words(x, y, text, "high" if flag.kind == "high" else "low", NORMAL, "middle", True, "flag")
