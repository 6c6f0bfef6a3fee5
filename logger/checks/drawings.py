"""Small drawings of each set-up from one description, as rows of text and as SVG.

Why it exists: where the tip points and which way the level lies is said in a glance and misread in a paragraph. One
description serves terminal, screen and report, so that the three cannot disagree.

A drawing is lines, boxes, circles, arrows, dials and words on a grid: x in columns to the right, y in rows downward. In
side views the table's top is a line and z goes up; in plan views outfeed is to the right and the table side is up.
The pictures themselves are in ``drawings_of``.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal
from xml.sax.saxutils import escape, quoteattr

Way = Literal["up", "down", "left", "right"]

COLUMN_px, ROW_px = 8, 16
_HEADS = {"right": ("→", ">"), "left": ("←", "<"), "up": ("↑", "^"), "down": ("↓", "v")}
_STEM = {"up": (0, -1), "down": (0, 1), "left": (-1, 0), "right": (1, 0)}


@dataclass(frozen=True, slots=True)
class Line:
    """A stroke from one point to another; ``thin``: broken, for what is only thought."""

    x1: float
    y1: float
    x2: float
    y2: float
    thin: bool = False


@dataclass(frozen=True, slots=True)
class Arrow:
    """A stroke with a head at its second end."""

    x1: float
    y1: float
    x2: float
    y2: float


@dataclass(frozen=True, slots=True)
class Box:
    """A rectangle from its upper left corner; ``text`` in its middle."""

    x: float
    y: float
    width: float
    height: float
    text: str = ""


@dataclass(frozen=True, slots=True)
class Round:
    """A circle; the radius counts in rows."""

    x: float
    y: float
    radius: float


@dataclass(frozen=True, slots=True)
class Dial:
    """An indicator; its stem of ``length`` points ``way`` and ends with the tip."""

    x: float
    y: float
    way: Way
    length: int = 1


@dataclass(frozen=True, slots=True)
class Bubble:
    """A level, its vial in the middle; lying along the row, ``width`` columns long."""

    x: float
    y: float
    width: int = 11


@dataclass(frozen=True, slots=True)
class Words:
    """Words beginning at x, y."""

    x: float
    y: float
    text: str


Part = Line | Arrow | Box | Round | Dial | Bubble | Words


@dataclass(frozen=True, slots=True)
class Drawing:
    """``view`` says from where it is seen. At most 72 columns, so that it fits a terminal of 80."""

    check: str
    view: str
    width: int
    height: int
    parts: tuple[Part, ...]

    def rows(self, *, ascii_only: bool = False) -> list[str]:
        """The drawing as lines of text, blanks at their ends taken off; the view last."""
        grid = [[" "] * self.width for _ in range(self.height)]
        for part in self.parts:
            _draw(part, grid, ascii_only)
        return [*["".join(row).rstrip() for row in grid], f"({self.view})"]

    def svg(self) -> str:
        """The same as SVG 1.1, in the colour of the text around it."""
        width, height = self.width * COLUMN_px, (self.height + 1) * ROW_px
        parts = [Words(0, self.height, f"({self.view})"), *self.parts]
        size = f'viewBox="0 -4 {width} {height + 4}" width="{width}" height="{height + 4}"'
        return (
            f'<svg xmlns="http://www.w3.org/2000/svg" {size} '
            f'role="img" aria-label={quoteattr(f"{self.check}: {self.view}")} fill="none" stroke="currentColor" '
            f'font-family="monospace" font-size="13">{"".join(_svg(part) for part in parts)}</svg>'
        )


def drawing(check: str) -> Drawing:
    """The set-up of a check by its name; KeyError where there is no such check."""
    from logger.checks.drawings_of import DRAWINGS

    return DRAWINGS[check]


# --- as text ---------------------------------------------------------------------------------------------------------


def _draw(part: Part, grid: list[list[str]], ascii_only: bool) -> None:
    if isinstance(part, Line):
        _stroke(grid, part.x1, part.y1, part.x2, part.y2, ascii_only, part.thin)
    elif isinstance(part, Arrow):
        _stroke(grid, part.x1, part.y1, part.x2, part.y2, ascii_only, thin=False)
        way = _way(part)
        _put(grid, part.x2, part.y2, _HEADS[way][ascii_only])
    elif isinstance(part, Box):
        _box(grid, part, ascii_only)
    elif isinstance(part, Round):
        _round(grid, part)
    elif isinstance(part, Dial):
        _dial(grid, part, ascii_only)
    elif isinstance(part, Bubble):
        inside = "=" * ((part.width - 5) // 2)
        _text(grid, part.x, part.y, f"[{inside}(o){inside}]")
    else:
        _text(grid, part.x, part.y, part.text)


def _put(grid: list[list[str]], x: float, y: float, sign: str) -> None:
    column, row = round(x), round(y)
    if 0 <= row < len(grid) and 0 <= column < len(grid[row]):
        grid[row][column] = sign


def _text(grid: list[list[str]], x: float, y: float, text: str) -> None:
    for place, sign in enumerate(text):
        _put(grid, x + place, y, sign)


def _stroke(grid: list[list[str]], x1: float, y1: float, x2: float, y2: float, ascii_only: bool, thin: bool) -> None:
    across, down = x2 - x1, y2 - y1
    steps = max(round(abs(across)), round(abs(down)), 1)
    if abs(down) < 0.5:
        sign = ("-", ".")[thin] if ascii_only else ("─", "╌")[thin]
    elif abs(across) < 0.5:
        sign = ("|", ":")[thin] if ascii_only else ("│", "╎")[thin]
    else:
        sign = "\\" if across * down > 0 else "/"
    for step in range(steps + 1):
        _put(grid, x1 + across * step / steps, y1 + down * step / steps, sign)


def _box(grid: list[list[str]], box: Box, ascii_only: bool) -> None:
    right, bottom = box.x + box.width - 1, box.y + box.height - 1
    corners = "++++" if ascii_only else "┌┐└┘"
    for y in (box.y, bottom):
        _stroke(grid, box.x, y, right, y, ascii_only, thin=False)
    for x in (box.x, right):
        _stroke(grid, x, box.y, x, bottom, ascii_only, thin=False)
    for (x, y), sign in zip(((box.x, box.y), (right, box.y), (box.x, bottom), (right, bottom)), corners, strict=True):
        _put(grid, x, y, sign)
    _text(grid, box.x + (box.width - len(box.text)) // 2, box.y + box.height // 2, box.text)


def _round(grid: list[list[str]], circle: Round) -> None:
    """An ellipse twice as wide as high, because a row is twice a column."""
    for row in range(round(circle.y - circle.radius), round(circle.y + circle.radius) + 1):
        part = (row - circle.y) / max(circle.radius, 0.5)
        half = 2.0 * circle.radius * max(0.0, 1.0 - part * part) ** 0.5
        if abs(part) > 0.99:
            _text(grid, circle.x - circle.radius, row, "-" * round(2 * circle.radius + 1))
        else:
            _put(grid, circle.x - half, row, "(" if abs(part) < 0.5 else "/" if part < 0 else "\\")
            _put(grid, circle.x + half, row, ")" if abs(part) < 0.5 else "\\" if part < 0 else "/")


def _dial(grid: list[list[str]], dial: Dial, ascii_only: bool) -> None:
    dx, dy = _STEM[dial.way]
    _text(grid, dial.x - 1, dial.y, "(o)")
    start = 2 if dx else 1
    for step in range(start, start + dial.length):
        last = step == start + dial.length - 1
        straight = ("-" if dx else "|") if ascii_only else ("─" if dx else "│")
        _put(grid, dial.x + dx * step, dial.y + dy * step, _HEADS[dial.way][ascii_only] if last else straight)


def _way(arrow: Arrow) -> Way:
    across, down = arrow.x2 - arrow.x1, 2.0 * (arrow.y2 - arrow.y1)
    if abs(across) >= abs(down):
        return "right" if across > 0 else "left"
    return "down" if down > 0 else "up"


# --- as SVG ----------------------------------------------------------------------------------------------------------


def _svg(part: Part) -> str:
    if isinstance(part, Line):
        return _svg_line(part.x1, part.y1, part.x2, part.y2, ' stroke-dasharray="4 3"' if part.thin else "")
    if isinstance(part, Arrow):
        return _svg_line(part.x1, part.y1, part.x2, part.y2) + _svg_head(part.x2, part.y2, _way(part))
    if isinstance(part, Box):
        middle = Words(part.x + (part.width - len(part.text)) // 2, part.y + part.height // 2, part.text)
        return (
            f'<rect x="{_x(part.x)}" y="{_y(part.y)}" width="{(part.width - 1) * COLUMN_px:g}" '
            f'height="{(part.height - 1) * ROW_px:g}"/>'
        ) + (_svg(middle) if part.text else "")
    if isinstance(part, Round):
        return f'<circle cx="{_x(part.x)}" cy="{_y(part.y)}" r="{part.radius * ROW_px:g}"/>'
    if isinstance(part, Dial):
        dx, dy = _STEM[part.way]
        start = 2 if dx else 1
        end = part.x + dx * (start + part.length - 1), part.y + dy * (start + part.length - 1)
        return (
            f'<circle cx="{_x(part.x)}" cy="{_y(part.y)}" r="10"/>'
            + _svg_line(part.x, part.y, part.x + 0.6, part.y - 0.4)
            + _svg_line(part.x + dx * 1.25, part.y + dy * 0.625, *end)
            + _svg_head(*end, part.way)
        )
    if isinstance(part, Bubble):
        middle_x = part.x + (part.width - 1) / 2
        return (
            f'<rect x="{_x(part.x)}" y="{_y(part.y - 0.4)}" width="{(part.width - 1) * COLUMN_px:g}" height="12"/>'
            f'<ellipse cx="{_x(middle_x)}" cy="{_y(part.y)}" rx="9" ry="4"/>'
        )
    place = f'x="{_x(part.x - 0.5)}" y="{_y(part.y + 0.3)}"'
    return f'<text {place} fill="currentColor" stroke="none">{escape(part.text)}</text>'


def _svg_line(x1: float, y1: float, x2: float, y2: float, more: str = "") -> str:
    return f'<line x1="{_x(x1)}" y1="{_y(y1)}" x2="{_x(x2)}" y2="{_y(y2)}"{more}/>'


def _svg_head(x: float, y: float, way: Way) -> str:
    dx, dy = _STEM[way]
    px, py = (x + 0.5) * COLUMN_px, (y + 0.5) * ROW_px
    wings = [(px - 6 * dx - 4 * dy, py - 6 * dy - 4 * dx), (px - 6 * dx + 4 * dy, py - 6 * dy + 4 * dx)]
    points = " ".join(f"{a:g},{b:g}" for a, b in (wings[0], (px, py), wings[1]))
    return f'<polyline points="{points}"/>'


def _x(column: float) -> str:
    return f"{(column + 0.5) * COLUMN_px:g}"


def _y(row: float) -> str:
    return f"{(row + 0.5) * ROW_px:g}"
