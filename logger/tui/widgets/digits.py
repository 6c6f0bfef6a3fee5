"""The number in digits that can be read from three metres: whole cells in ink, no frame, no faint remains.

Why it exists: under a machine nobody reads small text. A digit keeps its cells, sign included, so that only what
changed moves; without a reading every digit is a dash, because a frozen number is read as a live one.
"""

from __future__ import annotations

from dataclasses import dataclass

from logger.tui.canvas import Canvas
from logger.tui.glyphs import Alphabet
from logger.tui.themes import Look
from logger.tui.widgets.painted import Painted

_SHAPES = {
    "0": "111 101 101 101 111",
    "1": "010 110 010 010 111",
    "2": "111 001 111 100 111",
    "3": "111 001 111 001 111",
    "4": "101 101 111 001 001",
    "5": "111 100 111 001 111",
    "6": "111 100 111 101 111",
    "7": "111 001 001 010 010",
    "8": "111 101 111 101 111",
    "9": "111 101 111 001 111",
    "+": "000 010 111 010 000",
    "−": "000 000 111 000 000",
    "-": "000 000 111 000 000",
    ".": "0 0 0 0 1",
    " ": "000 000 000 000 000",
}

CELLS = ((2, 1), (3, 2), (4, 2))
"""Columns and rows of one dot of a digit at 80, 120 and 160 columns."""
FAR_CELLS = ((3, 3), (5, 4), (7, 6))
"""The same in far view."""


def width_of(text: str, cell_width: int, gap: int) -> int:
    """Columns that ``text`` takes."""
    return sum(len(_SHAPES.get(sign, _SHAPES[" "]).split()[0]) * cell_width + gap for sign in text) - gap


def draw_digits(
    canvas: Canvas, text: str, letters: Alphabet, *, x: int = 0, y: int = 0, cell: tuple[int, int] = (2, 1), **look: str
) -> None:
    """Draw ``text`` (digits, sign, point) with its upper left cell at (x, y); narrower cells where it does not fit."""
    cell_width, cell_height = cell
    gap = max(1, cell_width if cell_height == 1 else cell_width - 1)
    while cell_width > 1 and x + width_of(text, cell_width, gap) > canvas.width:
        cell_width -= 1
        gap = max(1, cell_width)
    fg = look.get("fg", "ink")
    sign_cell = (" ", Look(fg, fg)) if letters.colour else (letters.block, Look(fg))
    for sign in text:
        rows = _SHAPES.get(sign, _SHAPES[" "]).split()
        for j, row in enumerate(rows):
            for i, dot in enumerate(row):
                if dot == "1":
                    _dot(canvas, x + i * cell_width, y + j * cell_height, cell_width, cell_height, sign_cell)
        x += len(rows[0]) * cell_width + gap


def _dot(canvas: Canvas, x: int, y: int, width: int, height: int, sign_cell: tuple[str, Look]) -> None:
    for j in range(height):
        for i in range(width):
            canvas.cell(x + i, y + j, *sign_cell)


def dashes(text: str) -> str:
    """The same cells with every digit a dash: nothing here can be taken for a reading."""
    return "".join("-" if sign.isdigit() else sign if sign == "." else " " for sign in text)


@dataclass(frozen=True, slots=True)
class Number:
    """What the digits show: the text, and whether it is alive."""

    text: str = "+0.000"
    alive: bool = True


class Digits(Painted):
    """The big number of the live and turn screens."""

    DEFAULT_CSS = "Digits { height: 5; }"

    def __init__(self, *, far: bool = False, id: str | None = None) -> None:
        super().__init__(id=id)
        self.far = far
        self._number = Number("", alive=False)

    def show(self, number: Number) -> None:
        """Take a new number; paints only if it differs."""
        if number != self._number:
            self._number = number
            self.repaint()

    def cell_size(self) -> tuple[int, int]:
        """Columns and rows of one dot, from the size of the whole screen."""
        width, height = self.app.size
        step = 2 if width >= 160 and height >= 45 else 1 if width >= 120 and height >= 34 else 0
        return (FAR_CELLS if self.far else CELLS)[step]

    def paint(self, canvas: Canvas, letters: Alphabet) -> None:
        number = self._number
        text = number.text if number.alive else dashes(number.text or "+0.000")
        draw_digits(canvas, text, letters, x=2, cell=self.cell_size(), fg="ink" if number.alive else "soft")
