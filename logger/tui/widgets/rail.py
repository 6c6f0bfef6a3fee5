"""The rail picture: a solid body whose top edge is what was measured, on its bolts, where they really stand.

Why it exists: "where" and "which way" must need no legend, and must be the same on every screen. What is drawn is the
carriage's height when its middle is here, at the line the set-up reads, not the rail's own shape, and the bolt to turn
often stands under another place than the spot: the picture shows both, at one scale along the rail. Nothing is claimed
where nothing was seen: such columns are hatched, without the band's tint.
"""

from __future__ import annotations

import numpy as np

from analysis.results import BoolArray, FloatArray, IntArray
from logger.rail_picture import Bolt, Curve, RailPicture
from logger.tui.canvas import Canvas
from logger.tui.glyphs import Alphabet
from logger.tui.scale import Along, Up, to_columns, up_from_band, up_from_values
from logger.tui.themes import Look
from logger.tui.widgets.painted import Painted
from logger.tui.wording import Units, arrow

SCALE_COLUMNS = 8
"""One cell of margin, six of scale and one free, left of every rail picture."""
SLEEVE_FROM = 0.75
"""An uncertainty of so many rows is drawn; a smaller one is only written."""
PARTS = "▁▂▃▄▅▆▇"
FIXED_ROWS = 4
"""Rows besides the profile's: places above; rail, bolts and names below."""


def along_of(picture: RailPicture, width: int) -> Along:
    """The same map of x for every picture of one width."""
    return Along(picture.from_mm, picture.to_mm, max(1, width - SCALE_COLUMNS - 1))


def draw_rail(
    canvas: Canvas,
    picture: RailPicture,
    rows: tuple[int, int, int],
    letters: Alphabet,
    units: Units,
    *,
    y: int = 0,
) -> None:
    """Draw the picture at row ``y``: places, ``rows`` (above, band, below), rail, bolts, names."""
    along = along_of(picture, canvas.width)
    values = _values(picture, along)
    count = sum(rows)
    up = _scale(picture, values, rows)
    top = y + 1
    _profile(canvas, picture, along, up, values, top, letters)
    if picture.before is not None:
        _trace(canvas, along, up, picture.before, top, letters.before, "soft", every=1)
    if picture.expected is not None:
        _trace(canvas, along, up, picture.expected, top, letters.expected, "ink", every=3)
    _scale_labels(canvas, picture, up, top, units)
    _rail(canvas, picture, along, top + count, letters, units)
    _above(canvas, picture, along, y, letters)
    _flags(canvas, picture, along, up, values, top, y, letters, units)


def _values(picture: RailPicture, along: Along) -> FloatArray:
    if picture.columns is not None and picture.columns.size == along.columns:
        return picture.columns
    if picture.curve is None:
        return np.full(along.columns, np.nan)
    return to_columns(along, picture.curve.x_mm, picture.curve.value, picture.curve.not_seen)


def _scale(picture: RailPicture, values: FloatArray, rows: tuple[int, int, int]) -> Up:
    if picture.band is None:
        return up_from_values(values, sum(rows), 0.05)
    return up_from_band(*picture.band, values, *rows)


def _profile(
    canvas: Canvas, picture: RailPicture, along: Along, up: Up, values: FloatArray, top: int, letters: Alphabet
) -> None:
    tops = up.eighths(values)
    sleeve = _sleeve(picture, along, up)
    narrow = _narrow_gaps(tops)
    for column in range(along.columns):
        x = SCALE_COLUMNS + column
        height = int(tops[column])
        for row in range(up.rows):
            sign, look = _cell(column, row, height, up, letters)
            if narrow[column]:
                sign, look = letters.hatch, Look("rule")
            canvas.cell(x, top + up.rows - 1 - row, sign, look)
        if height >= 0 and sleeve is not None and column % 2 == 0 and sleeve[column] > SLEEVE_FROM * up.per_row:
            _draw_sleeve(canvas, x, top, up, float(values[column]), float(sleeve[column]), letters)


def _narrow_gaps(tops: IntArray) -> BoolArray:
    """Columns of gaps under four cells: too narrow for the wide hatch, so they are hatched in every cell."""
    narrow = np.zeros(tops.size, dtype=np.bool_)
    unseen = np.flatnonzero(tops < 0)
    for run in np.split(unseen, np.flatnonzero(np.diff(unseen) > 1) + 1):
        if 0 < run.size < 4 and run[0] > 0 and run[-1] < tops.size - 1:
            narrow[run] = True
    return narrow


def _cell(column: int, row: int, height: int, up: Up, letters: Alphabet) -> tuple[str, Look]:
    """One cell of the profile: hatch where nothing was seen, else material, hump, hollow, band or paper."""
    lower, upper = up.lower_row, up.upper_row
    in_band = lower is not None and upper is not None and lower <= row < upper
    if height < 0:
        return _unseen_cell(column, row, upper, letters)
    ground = "band" if in_band else "paper"
    part = min(8, max(0, height - 8 * row))
    above = upper is not None and row >= upper
    missing = lower is not None and row < lower
    if part == 8:
        return _full_cell(row, upper, letters, hump=above, edge=height == 8 * (row + 1))
    if part > 0:
        under = "low" if missing and letters.colour else ground
        return letters.eighths[part], Look("high" if above else "body", under)
    if missing:
        return letters.hollow, Look("dots" if letters.colour else "ink", "low" if letters.colour else "paper")
    if upper is not None and row == upper - 1:
        return letters.limit_top, Look("ink", ground)
    if row == lower:
        return letters.limit_bottom, Look("ink", ground)
    return " ", Look("ink", ground)


def _full_cell(row: int, upper: int | None, letters: Alphabet, *, hump: bool, edge: bool) -> tuple[str, Look]:
    if hump:
        return letters.hump, Look("high", "high" if letters.colour else "paper")
    if not letters.colour:
        return letters.material, Look("rule")
    return (letters.limit_top if row == (upper or 0) - 1 and not edge else " "), Look("cut", "body")


def _unseen_cell(column: int, row: int, upper: int | None, letters: Alphabet) -> tuple[str, Look]:
    if (column + 2 * (row % 2)) % 4 == 0:
        return letters.hatch, Look("rule")
    if upper is not None and row == upper - 1:
        return letters.limit_top, Look("rule")
    return " ", Look()


def _sleeve(picture: RailPicture, along: Along, up: Up) -> FloatArray | None:
    curve = picture.curve
    if curve is None or picture.columns is not None or curve.uncertainty.size != curve.x_mm.size or not curve.x_mm.size:
        return None
    if float(np.max(curve.uncertainty)) <= SLEEVE_FROM * up.per_row:
        return None
    return np.interp(along.centres(), curve.x_mm, curve.uncertainty)


def _draw_sleeve(canvas: Canvas, x: int, top: int, up: Up, value: float, spread: float, letters: Alphabet) -> None:
    """Height ± uncertainty as a thin upright line; only drawn where it is more than a row."""
    rows = [int(np.floor((v - up.bottom) / up.per_row)) for v in (value - spread, value + spread)]
    first, last = (min(up.rows - 1, max(0, row)) for row in rows)
    for row in range(first, last + 1):
        sign = letters.sleeve_bottom if row == first else letters.sleeve_top if row == last else letters.sleeve
        y = top + up.rows - 1 - row
        canvas.cell(x, y, sign, _over(canvas.looks[y][x], "ink", bold=False))


def _over(under: Look, role: str, *, bold: bool = True) -> Look:
    """The look of a sign over what is drawn already: over a mass only the paper's colour has enough contrast."""
    return Look("cut" if under.bg in ("body", "high", "low") else role, under.bg, bold=bold)


def _trace(canvas: Canvas, along: Along, up: Up, curve: Curve, top: int, sign: str, role: str, *, every: int) -> None:
    """A second curve: one sign per column in the row it passes through; every ``every``-th is left out."""
    values = to_columns(along, curve.x_mm, curve.value, curve.not_seen)
    for column in range(along.columns):
        value = float(values[column])
        if not np.isfinite(value) or (every > 1 and column % every == every - 1):
            continue
        row = int(np.floor((value - up.bottom) / up.per_row))
        x, y = SCALE_COLUMNS + column, top + up.rows - 1 - row
        if 0 <= row < up.rows and canvas.signs[y][x] not in PARTS:  # the edge of a mass says the same already
            canvas.cell(x, y, sign, _over(canvas.looks[y][x], role))


def _scale_labels(canvas: Canvas, picture: RailPicture, up: Up, top: int, units: Units) -> None:
    def label(row: int, value: float) -> None:
        text = units.height(value)
        canvas.put_right(SCALE_COLUMNS - 1, top + up.rows - 1 - row, text[: SCALE_COLUMNS - 2], Look("soft"))

    if picture.band is not None and up.lower_row is not None and up.upper_row is not None:
        label(up.upper_row - (1 if up.upper_row - up.lower_row > 1 else 0), picture.band[1])
        label(up.lower_row, picture.band[0])
    else:
        label(up.rows - 1, up.top)
        label(0, up.bottom)


def _rail(canvas: Canvas, picture: RailPicture, along: Along, y: int, letters: Alphabet, units: Units) -> None:
    canvas.put_right(SCALE_COLUMNS - 1, y, units.unit, Look("soft"))
    for column in range(along.columns):
        canvas.cell(SCALE_COLUMNS + column, y, letters.rail, Look())
    names: list[tuple[int, Bolt]] = []
    taken: set[int] = set()
    for bolt in sorted(picture.bolts, key=lambda b: (b.x_mm, b.y_mm)):
        x = SCALE_COLUMNS + along.column(bolt.x_mm)
        while x in taken:
            x += 1
        taken.add(x)
        canvas.cell(x, y, letters.foot if bolt.seen else letters.rail, Look())
        canvas.cell(x, y + 1, letters.nut if bolt.seen else letters.unseen_bolt, Look("ink" if bolt.seen else "soft"))
        names.append((x, bolt))
    for x, bolt in names:
        _beside_bolt(canvas, x, y + 1, bolt, letters, units)
    _names(canvas, names, y + 2)


def _beside_bolt(canvas: Canvas, x: int, y: int, bolt: Bolt, letters: Alphabet, units: Units) -> None:
    """The move beside the nut, or the word that this set-up cannot see the bolt."""
    if bolt.raise_mm is not None:
        text = arrow(bolt.raise_mm, units, letters)
        place = x + 2 if canvas.is_free(x + 1, y, len(text) + 2) else x - 1 - len(text)
        if canvas.is_free(place, y, len(text)):
            canvas.put(place, y, text, Look(bold=True))
    elif not bolt.seen:
        text = "not seen"
        if canvas.is_free(x - len(text) - 2, y, len(text) + 2):
            canvas.put_right(x - 1, y, text, Look("soft"))


def _names(canvas: Canvas, names: list[tuple[int, Bolt]], y: int) -> None:
    """Names under the bolts; one that would touch another moves aside by up to three cells, or gives way."""
    for x, bolt in sorted(names, key=lambda item: not item[1].current):
        text = f" {bolt.name} " if bolt.current else bolt.name
        look = Look("paper", "ink", bold=True) if bolt.current else Look("ink" if bolt.seen else "soft", bold=bolt.seen)
        start = x - len(text) // 2 + (0 if len(text) % 2 else 1) - (1 if bolt.current else 0)
        for shift in (0, 1, -1, 2, -2, 3, -3):
            place = max(0, min(start + shift, canvas.width - len(text)))
            if canvas.is_free(max(0, place - 1), y, min(len(text) + 2, canvas.width - max(0, place - 1))):
                canvas.put(place, y, text, look)
                break


def _flags(
    canvas: Canvas,
    picture: RailPicture,
    along: Along,
    up: Up,
    values: FloatArray,
    top: int,
    zone: int,
    letters: Alphabet,
    units: Units,
) -> None:
    """The spots: shape and height, just above the place they speak of; only the shape where the picture is low."""
    tops = up.eighths(values)
    for flag in sorted(picture.flags, key=lambda f: -abs(f.value)):
        column = along.column(flag.x_mm)
        x = SCALE_COLUMNS + column
        shape = letters.state(flag.kind)
        text = shape if up.rows < 5 else f"{shape} {units.height(flag.value)}"
        beyond = _beyond(flag.value, up)
        if beyond > 0:
            text = f"{shape} {units.width(beyond)} beyond the drawing"
        head = int(tops[column])
        row = up.rows if head < 0 else max(-(-head // 8), up.upper_row or 0)
        first = max(zone, top + up.rows - 1 - row)
        look = Look("high" if flag.kind == "high" else "low", bold=True)
        start = max(SCALE_COLUMNS, min(x - (len(text) // 2 if len(text) > 1 else 0), canvas.width - len(text) - 1))
        _put_where_free(canvas, start, range(first, zone - 1, -1), text, look)


def _put_where_free(canvas: Canvas, start: int, rows: range, text: str, look: Look) -> None:
    """Write ``text`` in the first of ``rows`` where it touches nothing, moved aside by a few cells if need be."""
    for y in rows:
        for shift in (0, 1, 2, -1, -2, 3, 4, -3, -4):
            place = start + shift
            if canvas.is_free(max(0, place - 1), y, min(len(text) + 2, canvas.width - place + 1)):
                canvas.put(place, y, text, look)
                return
    last = rows[-1] if len(rows) else -1
    canvas.put(SCALE_COLUMNS, last, " " * (canvas.width - SCALE_COLUMNS), Look())
    canvas.put(start, last, text, look)  # a spot matters more than the name of a place


def _beyond(value: float, up: Up) -> float:
    return max(value - up.top, up.bottom - value, 0.0) if np.isfinite(value) else 0.0


def _above(canvas: Canvas, picture: RailPicture, along: Along, y: int, letters: Alphabet) -> None:
    """The row above the profile: places that matter, and where the indicator stands."""
    if picture.stands_mm is not None:
        x = SCALE_COLUMNS + along.column(picture.stands_mm)
        words = "indicator stands here "
        if canvas.is_free(x, y, 1):
            canvas.cell(x, y, letters.stands, Look())
            if canvas.is_free(x - len(words), y, len(words)):
                canvas.put(x - len(words), y, words, Look("soft"))
            elif canvas.is_free(x + 1, y, len(words)):
                canvas.put(x + 1, y, " indicator stands here", Look("soft"))
    if picture.here_mm is not None:
        canvas.cell(SCALE_COLUMNS + along.column(picture.here_mm), y, letters.here, Look())
    for name, x_mm in picture.places:
        text = f"{letters.span_left}{name}{letters.span_right}"
        middle = SCALE_COLUMNS + along.column(x_mm)
        start = max(SCALE_COLUMNS, min(middle - len(text) // 2, canvas.width - len(text) - 1))
        if canvas.is_free(start - 1, y, len(text) + 2):
            canvas.put(start, y, text, Look("soft"))


def profile_rows(width: int, height: int, *, low: bool = False) -> tuple[int, int, int]:
    """Rows above, in and below the band for a screen of this size; ``low``: under the live bar."""
    step = 2 if width >= 160 and height >= 45 else 1 if width >= 120 and height >= 34 else 0
    return ((1, 1, 1), (2, 2, 2), (3, 3, 3))[step] if low else ((2, 3, 2), (4, 5, 4), (6, 8, 6))[step]


class Rail(Painted):
    """The rail picture as a widget."""

    DEFAULT_CSS = "Rail { height: 11; }"

    def __init__(self, units: Units, *, low: bool = False, id: str | None = None) -> None:
        super().__init__(id=id)
        self.units = units
        self.low = low
        self.rows_wanted: tuple[int, int, int] | None = None
        """Rows above, in and below the band, where the screen has decided them itself."""
        self.picture: RailPicture | None = None

    def on_mount(self) -> None:
        self.fit()

    def fit(self) -> None:
        """Take as many rows as the size of the screen allows."""
        self.styles.height = sum(self.profile_rows()) + FIXED_ROWS

    def profile_rows(self) -> tuple[int, int, int]:
        """Rows above, in and below the band."""
        return self.rows_wanted or profile_rows(*self.app.size, low=self.low)

    def show(self, picture: RailPicture) -> None:
        """Take a new picture and repaint what changed."""
        self.picture = picture
        self.repaint()

    def paint(self, canvas: Canvas, letters: Alphabet) -> None:
        if self.picture is not None:
            draw_rail(canvas, self.picture, self.profile_rows(), letters, self.units)
