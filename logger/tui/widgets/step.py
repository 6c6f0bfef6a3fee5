"""The live bar: the rail picture cut across. Table on the left, carriage on the right, the step between is the height.

Why it exists: "which way" must need no legend. What stands above the upper line is solid, what is missing below the
lower line is dotted; between the lines there is only material. The scale and the lines stand still, the carriage
moves. It prevents the mistake of chasing a needle: the direction to turn is the direction the block must move.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from logger.tui.canvas import Canvas
from logger.tui.glyphs import Alphabet
from logger.tui.scale import Up
from logger.tui.themes import Look
from logger.tui.widgets.painted import Painted
from logger.tui.wording import Units

LABELS = 9
"""Columns kept for the scale, left of the step."""


@dataclass(frozen=True, slots=True)
class Step:
    """What the bar shows. Heights in mm (or mm/m); ``height`` None: no reading, the carriage is hatched.

    ``table``: the height of the table's plane to draw on the left, None where the left half shows where to stop.
    ``factor`` 1, 10 or 100: one row is worth that many times more.
    """

    height: float | None
    lower: float
    upper: float
    table: float | None = 0.0
    highest: float | None = None
    lowest: float | None = None
    factor: float = 1.0
    from_below: bool = True
    lost: bool = False
    words: tuple[str, str] = ("table", "carriage")
    target: float | None = None


def step_scale(lower: float, upper: float, rows: int, *, from_below: bool = True, factor: float = 1.0) -> Up:
    """Rows for a step: the band fills a whole number of them, the larger rest lies where the carriage comes from."""
    band = max(2, round(rows * 0.27))
    free = rows - band
    less = max(1, round(free * 0.27))
    below = free - less if from_below else less
    per_row = (upper - lower) / band
    if factor == 1.0:
        return Up(lower - below * per_row, per_row, rows, below, below + band)
    middle_row = below + band / 2
    coarse = per_row * factor
    bottom = (lower + upper) / 2 - middle_row * coarse
    return Up(bottom, coarse, rows)


def draw_step(canvas: Canvas, step: Step, letters: Alphabet, units: Units, *, bare: bool = False) -> None:
    """Draw the step over the whole canvas: scale at the left, one row of words at the foot; ``bare``: the step alone,
    for far view."""
    rows = canvas.height - (0 if bare else 1)
    if rows < 4 or canvas.width < (0 if bare else LABELS) + 8:
        return
    up = step_scale(step.lower, step.upper, rows, from_below=step.from_below, factor=step.factor)
    left, right = 1 if bare else LABELS, canvas.width - 1
    edge = left + (right - left) * 2 // 5
    _ground(canvas, step, up, left, right, letters)
    if step.table is not None:
        _column(canvas, left, edge, up, step.table, None, letters, letters.table, "body")
    if step.height is None or step.lost:
        _hatch(canvas, edge, right, rows, letters)
    else:
        _column(canvas, edge, right, up, step.height, step, letters, letters.material, "body")
    _lines(canvas, step, up, left, right, letters)
    if bare:
        return
    _labels(canvas, step, up, units)
    _holds(canvas, step, up, edge, letters)
    words = step.words if not step.lost else (step.words[0], "last seen here")
    canvas.put(left + max(0, (edge - left - len(words[0])) // 2), rows, words[0], Look("soft"))
    canvas.put(edge + max(0, (right - edge - len(words[1])) // 2), rows, words[1], Look("soft"))


def _row_of(up: Up, value: float) -> int:
    return math.floor((value - up.bottom) / up.per_row + 1e-9)


def _band_rows(step: Step, up: Up) -> tuple[int, int]:
    """Rows of the band from the bottom, first and one past the last; at a coarse scale at least one row."""
    if up.lower_row is not None and up.upper_row is not None:
        return up.lower_row, up.upper_row
    lower = round((step.lower - up.bottom) / up.per_row)
    return lower, max(lower + 1, round((step.upper - up.bottom) / up.per_row))


def _ground(canvas: Canvas, step: Step, up: Up, left: int, right: int, letters: Alphabet) -> None:
    lower, upper = _band_rows(step, up)
    for row in range(max(0, lower), min(up.rows, upper)):
        y = up.rows - 1 - row
        for x in range(left, right):
            canvas.cell(x, y, " ", Look("ink", "band"))


def _lines(canvas: Canvas, step: Step, up: Up, left: int, right: int, letters: Alphabet) -> None:
    lower, upper = _band_rows(step, up)
    for row, sign in ((upper - 1, letters.limit_top), (lower, letters.limit_bottom)):
        y = up.rows - 1 - row
        if not 0 <= y < up.rows:
            continue
        for x in range(left, right):
            look = canvas.looks[y][x]
            if canvas.signs[y][x] == " " and look.bg in ("paper", "band"):
                canvas.cell(x, y, sign, Look("ink", look.bg))
            elif canvas.signs[y][x] == " " and look.bg == "body":
                canvas.cell(x, y, sign, Look("cut", "body"))


def _column(
    canvas: Canvas,
    left: int,
    right: int,
    up: Up,
    height: float,
    judged: Step | None,
    letters: Alphabet,
    full: str,
    role: str,
) -> None:
    """One block from the bottom up to ``height``; ``judged`` gives the band by which its ends are told."""
    top = int(up.eighths(np.array([height]))[0])
    lower, upper = _band_rows(judged, up) if judged else (0, up.rows)
    for row in range(up.rows):
        part = min(8, max(0, top - 8 * row))
        y = up.rows - 1 - row
        sign, look = _block_cell(canvas.looks[y][left].bg, part, row, lower, upper, letters, full, role)
        if sign is None:
            continue
        for x in range(left, right):
            canvas.cell(x, y, sign, look)


def _block_cell(
    ground: str, part: int, row: int, lower: int, upper: int, letters: Alphabet, full: str, role: str
) -> tuple[str | None, Look]:
    high = row >= upper
    missing = row < lower
    if part == 8:
        if high:
            return letters.hump, Look("high", "high" if letters.colour else "paper")
        if full == " ":
            return " ", Look("ink", role)
        return full, Look(role)
    if part > 0:
        ink = "high" if high else role
        return letters.eighths[part], Look(ink, "low" if missing and letters.colour else ground)
    if missing:
        return letters.hollow, Look("dots" if letters.colour else "ink", "low" if letters.colour else "paper")
    return None, Look()


def _hatch(canvas: Canvas, left: int, right: int, rows: int, letters: Alphabet) -> None:
    for y in range(rows):
        for x in range(left, right):
            if (x - left + 2 * y) % 4 == 0:
                canvas.cell(x, y, letters.hatch, Look("rule", canvas.looks[y][x].bg))


def _labels(canvas: Canvas, step: Step, up: Up, units: Units) -> None:
    """Numbers beside the lines; at a coarse scale a ruler in round steps, and the band by its name."""
    lower, upper = _band_rows(step, up)
    placed: dict[int, str] = {}
    if step.factor != 1.0:
        placed[(lower + upper - 1) // 2] = "band" if step.target is None else "stop"
        ruler = _round_step(up.per_row * 3)
        for i in range(math.ceil(up.bottom / ruler), math.floor(up.top / ruler) + 1):
            placed.setdefault(_row_of(up, i * ruler), units.height(i * ruler) if i else "0")
    elif step.target is not None:
        placed[(lower + upper - 1) // 2] = units.height(step.target)
    else:
        placed[upper - 1] = units.height(step.upper)
        placed[lower] = units.height(step.lower)
        if step.table is not None and up.bottom < step.table < up.top:
            placed.setdefault(_row_of(up, step.table), "0")
    for row, text in placed.items():
        if 0 <= row < up.rows:
            canvas.put_right(LABELS - 1, up.rows - 1 - row, text, Look("ink", bold=step.target is not None))


def _round_step(at_least: float) -> float:
    """The smallest of 1, 2, 5 times a power of ten that is not below ``at_least``."""
    power = 10.0 ** math.floor(math.log10(at_least))
    return next(power * f for f in (1.0, 2.0, 5.0, 10.0) if power * f >= at_least * 0.999)


def _holds(canvas: Canvas, step: Step, up: Up, edge: int, letters: Alphabet) -> None:
    """The highest and the lowest since the hold was cleared: two ticks on the table side."""
    taken: set[int] = set()
    for value, word in ((step.highest, "highest"), (step.lowest, "lowest")):
        if value is None:
            continue
        y = up.rows - 1 - _row_of(up, value)
        if 0 <= y < up.rows and y not in taken:
            taken.add(y)
            text = f"{word}{letters.tick}" if edge - LABELS > len(word) + 1 else letters.tick
            canvas.put_right(edge, y, text, Look("soft", canvas.looks[y][edge - 1].bg))


class StepBar(Painted):
    """The live bar as a widget; :meth:`show` takes a new step and repaints the rows that changed."""

    def __init__(self, units: Units, *, id: str | None = None) -> None:
        super().__init__(id=id)
        self.units = units
        self.bare = False
        self._step: Step | None = None

    @property
    def factor(self) -> float:
        """By how much the scale is coarser than the full one."""
        return self._step.factor if self._step is not None else 1.0

    def show(self, step: Step) -> None:
        """Take a new step; paints only if it differs."""
        if step != self._step:
            self._step = step
            self.repaint()

    def paint(self, canvas: Canvas, letters: Alphabet) -> None:
        if self._step is not None:
            draw_step(canvas, self._step, letters, self.units, bare=self.bare)
