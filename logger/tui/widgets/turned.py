"""One turn laid out flat: what was read at which angle, where it stands now, and between which lines it swings.

Why it exists: turned by hand, the highest place is one degree of 360 and gone in a moment. Laid out, swing, oval and a
chip look different at a glance; and a place not yet passed is empty, so that half a turn is not taken for a whole one.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from analysis.results import FloatArray
from logger.tui.canvas import Canvas
from logger.tui.glyphs import Alphabet
from logger.tui.themes import Look
from logger.tui.widgets.lines import BOLD, INK, SOFT
from logger.tui.widgets.painted import Painted
from logger.tui.wording import Units

LABELS = 9
"""Columns kept for the scale, left of the turn."""
FEWEST_ROWS = 4
LEAST_SPAN_MM = 0.004
"""The picture is never drawn finer than this: noise would look like wobble."""


@dataclass(frozen=True)
class TurnPicture:
    """Angles (degrees) and readings (mm) of every whole turn, shape (readings,); where the tip stands now.

    ``highest`` and ``lowest``: of all readings since the start, whole turns or not. ``now_angle`` None: before the
    first mark nobody knows the angle.
    """

    angles_deg: FloatArray = field(default_factory=lambda: np.zeros(0))
    values_mm: FloatArray = field(default_factory=lambda: np.zeros(0))
    now_angle: float | None = None
    now_mm: float | None = None
    highest: float | None = None
    lowest: float | None = None


def draw_turn(canvas: Canvas, picture: TurnPicture, letters: Alphabet, units: Units) -> None:
    """The turn over the whole canvas; the last row carries the angles."""
    rows, left, right = canvas.height - 1, LABELS, canvas.width - 2
    if rows < FEWEST_ROWS or right - left < 24 or picture.highest is None or picture.lowest is None:
        return
    middle = (picture.highest + picture.lowest) / 2.0
    half = max(picture.highest - picture.lowest, LEAST_SPAN_MM) / 2.0

    def row_of(value: float) -> int:
        return int(np.clip(round((middle + half - value) / (2.0 * half) * (rows - 1)), 0, rows - 1))

    top, bottom = row_of(picture.highest), row_of(picture.lowest)
    for y, value in ((top, picture.highest), (bottom, picture.lowest)):
        canvas.put(left, y, letters.rule * (right - left), SOFT)
        canvas.put_right(left - 1, y, units.height(value), SOFT)
    place = np.clip((np.mod(picture.angles_deg, 360.0) / 360.0 * (right - left)).astype(int), 0, right - left - 1)
    for column in np.unique(place):
        value = float(np.median(picture.values_mm[place == column]))
        canvas.cell(left + int(column), row_of(value), letters.block, INK)
    _now(canvas, picture, letters, (left, right), row_of)
    for angle in (0, 90, 180, 270):
        canvas.put(left + round(angle / 360.0 * (right - left)), rows, f"{angle}", SOFT)
    canvas.put_right(right, rows, "degrees", SOFT)


def _now(canvas: Canvas, picture: TurnPicture, letters: Alphabet, span: tuple[int, int], row_of: object) -> None:
    """The live place: a bead at its angle, or at the scale while no mark has told the angle."""
    if picture.now_mm is None or not callable(row_of):
        return
    left, right = span
    y = row_of(picture.now_mm)
    if picture.now_angle is None:
        canvas.put(left, y, letters.chosen, BOLD)
        return
    x = left + int(np.mod(picture.now_angle, 360.0) / 360.0 * (right - left))
    canvas.cell(min(x, right - 1), y, letters.bearing, Look(bold=True))


class Turn(Painted):
    """The picture as a widget."""

    DEFAULT_CSS = "Turn { height: 1fr; }"

    def __init__(self, units: Units, *, id: str | None = None) -> None:
        super().__init__(id=id)
        self.units = units
        self._picture = TurnPicture()

    def show(self, picture: TurnPicture) -> None:
        """Take a new picture."""
        self._picture = picture
        self.repaint()

    def paint(self, canvas: Canvas, letters: Alphabet) -> None:
        draw_turn(canvas, self._picture, letters, self.units)
