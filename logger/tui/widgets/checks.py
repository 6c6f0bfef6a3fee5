"""The board's table: every check with its state as shape, word and amount, and a bead between its two limits.

Why it exists: after three days one look must say what is done, what is not, and what does not hold any more. Being
right looks quiet; nothing is told by colour alone, and rounding never carries a bead over a line its verdict does not
cross.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from logger.tui.canvas import Canvas
from logger.tui.glyphs import Alphabet
from logger.tui.themes import Look
from logger.tui.widgets.lines import cut
from logger.tui.widgets.painted import Painted

if TYPE_CHECKING:
    from logger.checks.board import Row
    from logger.wording import Units

LANE = 7
"""Cells of a bead's lane: one outside each limit, the limits, and three between."""
LOWER, UPPER = 1, 5
NARROW_TITLE = 24
MIDDLE_TITLE = 32
WIDE_TITLE = 46
SHORT = {
    "Four feet, and the load on them": "Feet and their load",
    "Sag and flatness of the table": "Flatness of the table",
    "Fit of the carriage on its rail": "Fit of the carriage",
    "Carriage over the table, whole stroke": "Height of the carriage",
    "Straightness of the travel, sideways": "Straight travel",
    "Run-out of the arbor's flange": "Run-out of the flange",
    "Spindle square to the table": "Spindle to the table",
    "Blade square to the table, and its tilt stops": "Blade square, tilt stops",
    "Spindle and blade square to the carriage": "Upright to the carriage",
    "Riving knife behind the blade": "Riving knife",
    "Toe of the carriage to the blade": "Toe to the blade",
    "Scoring blade in line with the blade": "Scoring blade",
    "Outrigger level with the carriage": "Outrigger",
    "Cross-cut fence square to the cut": "Cross-cut fence square",
    "Length stop and scale": "Length stop and scale",
    "Rip fence along the cut": "Rip fence",
    "Final sweep and quick check": "Final sweep, quick check",
}
"""Titles too long for the smallest screen, in fewer words: none is cut there."""


def title_that_fits(title: str, cells: int) -> str:
    """A check's title, in fewer words where there is no room for all of them."""
    return title if len(title) <= cells else cut(SHORT.get(title, title), cells)


@dataclass(frozen=True, slots=True)
class CheckLine:
    """One row as it is written."""

    title: str
    lane: str
    state: str
    value: str
    allowed: str
    why: str = ""
    word: str = ""
    look: str = ""
    late: bool = False


def lane_of(
    value: float | None, spread: float | None, lower: float | None, upper: float | None, word: str, letters: Alphabet
) -> str:
    """``│ ●─│``: the two limits, the value as a bead, its ± as a dash; without a figure the limits alone."""
    if upper is None:
        return " " * LANE
    cells = [" "] * LANE
    low = 0.0 if lower is None else lower
    cells[LOWER] = letters.upright if lower is not None and lower != 0.0 else "0"
    cells[UPPER] = letters.upright
    if value is None or upper <= low:
        return "".join(cells)
    per_cell = (upper - low) / (UPPER - LOWER)
    exact = LOWER + (value - low) / per_cell
    place = _kept_on_its_side(round(exact), word, value, low, upper)
    if word == "cannot tell" and spread is not None:
        limits = ((low, LOWER), (upper, UPPER)) if lower is not None else ((upper, UPPER),)
        place = next((cell for limit, cell in limits if abs(value - limit) <= spread), place)
    reach = 0 if spread is None else round(spread / per_cell)
    for cell in range(max(0, place - reach), min(LANE - 1, place + reach) + 1):
        if cells[cell] == " ":
            cells[cell] = letters.span
    cells[place] = letters.stale if word == "stale" else letters.bearing
    return "".join(cells)


def _kept_on_its_side(place: int, word: str, value: float, low: float, upper: float) -> int:
    """The bead's cell, held on the side of the lines that the verdict says; on a line only where it cannot be told."""
    if word == "inside":
        place = max(LOWER + (0 if value <= low else 1), min(place, UPPER - 1))
    elif word == "outside":
        place = min(place, LOWER - 1) if value < low else max(place, UPPER + 1) if value > upper else place
    return max(0, min(LANE - 1, place))


def line_of(row: Row, units: Units, letters: Alphabet, machine_band_mm: float) -> CheckLine:
    """A row of the board in words. The rail's band is the machine's."""
    from logger.checks.words import limits_words, look_again_words, standing, value_words

    allowed = row.allowed
    upper = machine_band_mm if row.check.name == "rail" else allowed.upper
    words = value_words(row.value, row.uncertainty, allowed, units)
    value = words.rsplit(" ", 1)[0] if words else ""
    if row.check.name == "rail":
        from logger.wording import amount

        limits = f"to {amount(machine_band_mm, None, 'mm', units, sign=False)}"
    else:
        limits = limits_words(allowed, units).replace("at most ", "to ").replace("yes", "all yes")
        limits = re.sub(r"^0\.0+ to", "0 to", limits)
    lane = lane_of(row.value, row.uncertainty, allowed.lower, upper if allowed.unit else None, row.state, letters)
    shape = {"stale": letters.stale, "not measured": letters.not_measured}.get(row.state) or letters.state(row.state)
    if row.state == "outside" and row.value is not None and allowed.lower is not None and row.value < allowed.lower:
        shape = letters.low
    if row.skipped:
        shape = letters.not_measured
    said, look = standing(row), look_again_words(row)
    return CheckLine(row.check.title, lane, f"{shape} {said}", value, limits, row.why, said, look, row.late)


def draw_checks(canvas: Canvas, lines: Sequence[CheckLine], chosen: int, first: int, letters: Alphabet) -> None:
    """Heading and as many rows as fit from ``first`` on."""
    wide = canvas.width >= 120
    title_cells = NARROW_TITLE if not wide else MIDDLE_TITLE if canvas.width < 140 else WIDE_TITLE
    lane_at = 5 + title_cells + 1
    state_at = lane_at + LANE + 1
    value_at = state_at + 14
    allowed_at = value_at + 14
    why_at = allowed_at + 16
    for x, text in ((5, "check"), (state_at, "state"), (value_at, "value"), (allowed_at, "allowed")):
        canvas.put(x, 0, text, Look("soft"))
    for y, (index, line) in enumerate(list(enumerate(lines))[first : first + canvas.height - 1], 1):
        at = index == chosen
        quiet = line.word in ("not measured", "inside", "left out")
        look = Look(bold=True) if at else Look("ink")
        if at:
            canvas.put(1, y, letters.chosen, look)
        canvas.put_right(4, y, str(index + 1), look if at else Look("soft"))
        canvas.put(5, y, title_that_fits(line.title, title_cells), look)
        canvas.put(lane_at, y, line.lane, Look("soft"))
        role = {"▲": "high", "^": "high", "▼": "low", "v": "low"}.get(line.state[:1], "ink")
        canvas.put(state_at, y, line.state, Look(role if role != "ink" else "soft" if quiet else "ink", bold=not quiet))
        canvas.put(value_at, y, line.value[:13], look)
        canvas.put(allowed_at, y, line.allowed[: canvas.width - allowed_at], Look("soft"))
        beside = line.why.partition(". ")[0] if line.word == "stale" else line.look
        if wide and beside:
            canvas.put(why_at, y, cut(beside, canvas.width - why_at - 1), Look("ink" if line.late else "soft"))


class CheckTable(Painted):
    """The table as a widget; the chosen row is always among those shown."""

    DEFAULT_CSS = "CheckTable { height: 1fr; }"

    def __init__(self, *, id: str | None = None) -> None:
        super().__init__(id=id)
        self.lines: list[CheckLine] = []
        self.chosen = 0
        self._first = 0

    def show(self, lines: Sequence[CheckLine]) -> None:
        """Take new rows."""
        self.lines = list(lines)
        self.chosen = max(0, min(self.chosen, len(self.lines) - 1))
        self.repaint()

    def move(self, by: int) -> None:
        """Another row; stops at the ends."""
        self.chosen = max(0, min(self.chosen + by, len(self.lines) - 1))
        self.repaint()

    def index_at(self, y: int) -> int | None:
        """The row under line ``y`` of the widget."""
        index = self._first + y - 1
        return index if y >= 1 and index < len(self.lines) else None

    def paint(self, canvas: Canvas, letters: Alphabet) -> None:
        room = max(1, canvas.height - 1)
        if self.chosen < self._first:
            self._first = self.chosen
        elif self.chosen >= self._first + room:
            self._first = self.chosen - room + 1
        self._first = max(0, min(self._first, len(self.lines) - room))
        if self.lines:
            draw_checks(canvas, self.lines, self.chosen, self._first, letters)
            more = ((self._first, "above"), (len(self.lines) - self._first - room, "below"))
            said = ", ".join(f"{rows} {where}" for rows, where in more if rows > 0)
            if said:
                canvas.put(11, 0, f"({said})", Look("soft"))
