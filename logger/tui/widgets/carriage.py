"""The carriage above the rail: its beam, its bearings, its middle, and the places it passes.

Why it exists: what is drawn below is the height *when the middle is here*; the picture of the carriage with its
bearings is the shortest way to say so.
"""

from __future__ import annotations

from dataclasses import dataclass

from logger.tui.canvas import Canvas
from logger.tui.glyphs import Alphabet
from logger.tui.scale import Along
from logger.tui.themes import Look
from logger.tui.widgets.painted import Painted
from logger.tui.widgets.rail import SCALE_COLUMNS


@dataclass(frozen=True, slots=True)
class CarriagePicture:
    """``here_mm`` is the middle, None where it is not known; ``bearings_mm`` are offsets from it."""

    from_mm: float
    to_mm: float
    here_mm: float | None
    bearings_mm: tuple[float, ...]
    words: str
    places: tuple[tuple[str, float], ...] = ()


def draw_carriage(canvas: Canvas, picture: CarriagePicture, letters: Alphabet) -> None:
    """Four rows: words, beam, bearings, places; an upright goes down from the middle."""
    along = Along(picture.from_mm, picture.to_mm, max(1, canvas.width - SCALE_COLUMNS - 1))
    for name, x_mm in picture.places:
        text = f"{letters.span_left}{name}{letters.span_right}"
        start = SCALE_COLUMNS + along.column(x_mm) - len(text) // 2
        canvas.put(max(SCALE_COLUMNS, min(start, canvas.width - len(text) - 1)), 3, text, Look("soft"))
    if picture.here_mm is None:
        canvas.put(SCALE_COLUMNS, 0, picture.words, Look("soft"))
        return
    middle = SCALE_COLUMNS + along.column(picture.here_mm)
    start = max(SCALE_COLUMNS, min(middle - len(picture.words) // 2, canvas.width - len(picture.words) - 1))
    canvas.put(start, 0, picture.words)
    offsets = picture.bearings_mm or (0.0,)
    ends = [SCALE_COLUMNS + along.column(picture.here_mm + edge) for edge in (min(offsets), max(offsets))]
    for x in range(max(SCALE_COLUMNS, ends[0] - 2), min(canvas.width - 1, ends[1] + 3)):
        canvas.cell(x, 1, letters.beam, Look())
    for offset in offsets:
        x = SCALE_COLUMNS + along.column(picture.here_mm + offset)
        canvas.cell(x, 1, letters.beam_leg, Look())
        canvas.cell(x, 2, letters.bearing, Look())
    canvas.cell(middle, 1, letters.beam_middle, Look())
    for y in (2, 3):
        if canvas.signs[y][middle] == " ":
            canvas.cell(middle, y, letters.upright, Look("soft"))


class CarriageView(Painted):
    """The same as a widget."""

    DEFAULT_CSS = "CarriageView { height: 4; }"

    def __init__(self, *, id: str | None = None) -> None:
        super().__init__(id=id)
        self._picture: CarriagePicture | None = None

    def show(self, picture: CarriagePicture) -> None:
        """Take a new picture; paints only if it differs."""
        if picture != self._picture:
            self._picture = picture
            self.repaint()

    def paint(self, canvas: Canvas, letters: Alphabet) -> None:
        if self._picture is not None:
            draw_carriage(canvas, self._picture, letters)
