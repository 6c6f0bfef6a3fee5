"""A grid of cells to draw on: signs and looks in, strips or text rows out.

Why it exists: every picture here is drawn cell by cell, and a picture that can only be seen inside a running app
cannot be tested. A canvas is plain data; ``rows`` is what a test reads and ``strip`` is what the framework paints. It
prevents hostile text (names from files, bytes from the wire) from reaching the terminal as codes or markup: ``put``
is the only way in, and it takes cells, not markup.
"""

from __future__ import annotations

from rich.cells import cell_len
from rich.segment import Segment
from textual.strip import Strip

from logger.tui.glyphs import PLAIN
from logger.tui.themes import Look, Palette
from logger.wording import printable

INK = Look()
SOFT = Look("soft")
BOLD = Look(bold=True)


def clean(text: str, limit: int = 400) -> str:
    """``text`` made harmless and short: no control code, no escape sequence, no direction override."""
    return printable(" ".join(text[:limit].split("\n")))


class Canvas:
    """``width`` x ``height`` cells; (0, 0) is at the top left. Whatever falls outside is cut, never wrapped."""

    def __init__(self, width: int, height: int, look: Look = INK, *, plain: bool = False) -> None:
        self.plain = plain
        self.width = max(0, width)
        self.height = max(0, height)
        self.signs = [[" "] * self.width for _ in range(self.height)]
        self.looks = [[look] * self.width for _ in range(self.height)]

    def put(self, x: int, y: int, text: str, look: Look = INK, *, keep_ground: bool = False) -> int:
        """Write ``text`` from cell (x, y) to the right; returns the column after it.

        ``keep_ground``: only the sign and its colour change, what lies under it stays.
        """
        if not text.isascii() or not text.isprintable():
            text = self._said(text)
            if cell_len(text) != len(text):
                return self._put_wide(x, y, text, look)
        if 0 <= y < self.height:
            signs, looks = self.signs[y], self.looks[y]
            for i in range(max(0, -x), min(len(text), self.width - x)):
                signs[x + i] = text[i]
                looks[x + i] = Look(look.fg, looks[x + i].bg, look.bold) if keep_ground else look
        return x + len(text)

    def _put_wide(self, x: int, y: int, text: str, look: Look) -> int:
        """The same for text with signs two cells wide or none: a wide sign takes two cells or is not drawn."""
        for sign in text:
            wide = cell_len(sign)
            if wide == 0:
                continue
            if 0 <= y < self.height and x >= 0 and x + wide <= self.width:
                self.signs[y][x] = sign
                self.looks[y][x] = look
                if wide == 2:
                    self.signs[y][x + 1] = ""
                    self.looks[y][x + 1] = look
            x += wide
        return x

    def put_right(self, x: int, y: int, text: str, look: Look = INK) -> int:
        """Write ``text`` so that it ends before column ``x``; returns its first column."""
        start = x - cell_len(self._said(text))
        self.put(start, y, text, look)
        return start

    def _said(self, text: str) -> str:
        """``text`` made harmless, and in plain signs where the canvas is plain ("±" then takes two cells)."""
        return PLAIN.text(clean(text)) if self.plain else clean(text)

    def cell(self, x: int, y: int, sign: str, look: Look) -> None:
        """Set one cell; cheap, for pictures. ``sign`` is one of ours, never foreign text."""
        if 0 <= x < self.width and 0 <= y < self.height:
            self.signs[y][x] = sign
            self.looks[y][x] = look

    def is_free(self, x: int, y: int, width: int) -> bool:
        """True if the cells hold nothing but paper or band."""
        if not (0 <= y < self.height and x >= 0 and x + width <= self.width):
            return False
        return all(
            self.signs[y][i] in (" ", "") and self.looks[y][i].bg in ("paper", "band") for i in range(x, x + width)
        )

    def rows(self) -> list[str]:
        """The picture as text, right ends stripped: what a test compares."""
        return ["".join(row).rstrip() for row in self.signs]

    def same_row(self, other: Canvas, y: int) -> bool:
        """True if row ``y`` of both would be painted alike."""
        return self.signs[y] == other.signs[y] and self.looks[y] == other.looks[y]

    def strip(self, y: int, palette: Palette) -> Strip:
        """Row ``y`` for the framework, neighbours of one look joined."""
        if not 0 <= y < self.height:
            return Strip.blank(self.width, palette.style(INK))
        signs, looks = self.signs[y], self.looks[y]
        segments: list[Segment] = []
        start = 0
        for x in range(1, self.width + 1):
            if x == self.width or (looks[x] is not looks[start] and looks[x] != looks[start]):
                segments.append(Segment("".join(signs[start:x]), palette.style(looks[start])))
                start = x
        return Strip(segments, self.width)
