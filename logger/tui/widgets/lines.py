"""Lines of text made of spans, and the one filled plate a screen may carry.

Why it exists: a state is shape, word and amount in one place, and only what needs a hand is filled. Text from files
and from the wire enters here as cells, so it can neither colour nor move anything.
"""

from __future__ import annotations

from collections.abc import Sequence

from rich.cells import cell_len

from logger.tui.canvas import Canvas, clean
from logger.tui.glyphs import Alphabet
from logger.tui.themes import Look
from logger.tui.widgets.painted import Painted
from logger.tui.wording import State

Span = tuple[str, Look]
Line = Sequence[Span]

INK = Look()
BOLD = Look(bold=True)
SOFT = Look("soft")


def plate(state: State, letters: Alphabet, *, filled: bool) -> list[Span]:
    """A state as shape, word and amount; filled only when ``filled`` and it is not inside."""
    text = f" {letters.state(state.word)} {state.sentence} "
    if state.word not in ("high", "low"):
        return [(text, BOLD)]
    role = "high" if state.word == "high" else "low"
    if filled and letters.colour:
        return [(text, Look(f"on_{role}", role, bold=True))]
    return [(text, Look(role, bold=True))]


_LARGE = {
    "low": ("██████████", "  ██████", "    ██"),
    "high": ("    ██", "  ██████", "██████████"),
    "inside": ("██████████", "", "██████████"),
    "cannot tell": (" ████   ██", "", "██   ████"),
    "lost": ("        ██", "    ██", "██"),
    "none": ("", "    ██", ""),
}


def large_state(state: State, beside: Sequence[str]) -> list[Line]:
    """A state for three metres: its shape over three rows, the sentence and two more lines beside it."""
    role = {"high": "high", "low": "low"}.get(state.word, "ink")
    texts = (beside[0] if beside else "", state.sentence, beside[1] if len(beside) > 1 else "")
    rows: list[Line] = []
    for index, (shape, text) in enumerate(zip(_LARGE[state.word], texts, strict=True)):
        rows.append([(f"  {shape:<14}", Look(role)), (text, BOLD if index == 1 else INK)])
    return rows


def draw_lines(canvas: Canvas, lines: Sequence[Line], *, x: int = 1, y: int = 0) -> None:
    """Draw one line per row from (x, y) on."""
    for row, line in enumerate(lines):
        column = x
        for text, look in line:
            column = canvas.put(column, y + row, text, look)


def cut(text: str, cells: int) -> str:
    """``text`` in at most ``cells``, the end said to be missing."""
    return text if cell_len(text) <= cells else text[: max(0, cells - 1)].rstrip(" ,:;(") + "…"


def wrap(text: str, width: int) -> list[str]:
    """Words of ``text`` in lines of at most ``width`` cells; a word longer than that is cut."""
    lines: list[str] = []
    current = ""
    for word in clean(text, 4000).split(" "):
        piece = word
        while cell_len(piece) > width > 0:
            if current:
                lines.append(current)
                current = ""
            lines.append(piece[:width])
            piece = piece[width:]
        joined = f"{current} {piece}" if current else piece
        if cell_len(joined) > width:
            lines.append(current)
            current = piece
        else:
            current = joined
    return [*lines, current] if current else lines


class Lines(Painted):
    """A block of lines; as high as its content unless its style says otherwise."""

    def __init__(self, *, id: str | None = None, x: int = 1, fixed: bool = False, classes: str | None = None) -> None:
        super().__init__(id=id, classes=classes)
        self._lines: list[Line] = []
        self._x = x
        self._fixed = fixed

    def show(self, lines: Sequence[Line]) -> None:
        """Take new lines; paints only what changed."""
        new = list(lines)
        if new == self._lines:
            return
        grown = len(new) != len(self._lines)
        self._lines = new
        if grown and not self._fixed:
            self.styles.height = len(new)
        self.repaint()

    def paint(self, canvas: Canvas, letters: Alphabet) -> None:
        draw_lines(canvas, self._lines, x=self._x)
