"""The moves as a table: which bolt, which way, how far, where to park, what it shows now and when to stop.

Why it exists: this is the sentence people came for, once per row. Columns align on the point; the row that ``enter``
acts on is marked by a sign, not by colour.
"""

from __future__ import annotations

from collections.abc import Sequence

from analysis.results import Move
from logger.tui.canvas import Canvas
from logger.tui.glyphs import Alphabet
from logger.tui.themes import Look
from logger.tui.widgets.painted import Painted
from logger.tui.wording import Units, arrow, fraction_of_turn

COLUMNS = (("bolt", 5), ("move", 12), ("turns", 22), ("park at", 9), ("now", 10), ("stop at", 10), ("±", 6))


def cells_of(move: Move, units: Units, letters: Alphabet) -> tuple[str, ...]:
    """One row of the table as text, in the order of ``COLUMNS``."""
    unit = Units(units.mode, "mm/m" if move.unit == "mm/m" else "mm")
    words = move.turn.split(" from ")[0] if move.turn else f"{fraction_of_turn(move.turns)} turn"
    spread = "" if move.uncertainty is None else unit.pm(move.uncertainty).removeprefix("±")
    return (
        move.bolt,
        arrow(move.raise_mm, Units(units.mode), letters, words=True),
        words,
        "" if move.park_mm is None else units.position(move.park_mm),
        "" if move.reading_now is None else unit.height(move.reading_now),
        "" if move.reading_target is None else unit.height(move.reading_target),
        spread,
    )


def draw_moves(canvas: Canvas, moves: Sequence[Move], chosen: int, units: Units, letters: Alphabet) -> None:
    """Head and as many rows as fit, scrolled so that the chosen one is among them."""
    room = canvas.height - 1
    if not moves or room < 1:
        return
    x = 6
    for title, width in COLUMNS:
        canvas.put(x, 0, title, Look("soft"))
        x += width
    first = min(max(0, chosen - room + 1), max(0, len(moves) - room))
    below = len(moves) - first - room
    if below > 0:
        canvas.put(30, 0, f"({below} more: tab)", Look("soft"))
    for row, move in enumerate(moves[first : first + room]):
        at = first + row == chosen
        look = Look(bold=at)
        if at:
            canvas.put(1, row + 1, letters.chosen, look)
        canvas.put_right(5, row + 1, str(move.order), look)
        x = 6
        for text, (_, width) in zip(cells_of(move, units, letters), COLUMNS, strict=True):
            canvas.put(x, row + 1, text[: width - 1] if width < 20 else text[:width], look)
            x += width


class MoveTable(Painted):
    """The table as a widget."""

    DEFAULT_CSS = "MoveTable { height: auto; }"

    def __init__(self, units: Units, *, id: str | None = None) -> None:
        super().__init__(id=id)
        self.units = units
        self.chosen = 0
        self._moves: tuple[Move, ...] = ()

    def show(self, moves: Sequence[Move], *, room: int) -> None:
        """Take new moves; ``room`` is how many rows there are for them."""
        self._moves = tuple(moves)
        self.chosen = min(self.chosen, max(0, len(self._moves) - 1))
        self.styles.height = 0 if not moves else 1 + min(len(moves), room)
        self.repaint()

    def choose(self, by: int) -> None:
        """Another row, round and round."""
        if self._moves:
            self.chosen = (self.chosen + by) % len(self._moves)
            self.repaint()

    def paint(self, canvas: Canvas, letters: Alphabet) -> None:
        draw_moves(canvas, self._moves, self.chosen, self.units, letters)
