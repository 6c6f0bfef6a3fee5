"""Numbers to cells: where along the rail, how high, and when a word may change.

Why it exists: a picture that scales itself to its data makes a bad rail and a good rail look alike. Here the scale
follows from the band, so that the limits always fall on cell borders, and rounding to eighths of a cell never carries
a value across a limit that it has not crossed.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from analysis.results import BoolArray, FloatArray, IntArray


@dataclass(frozen=True, slots=True)
class Along:
    """Positions along the rail to columns: ``from_mm`` .. ``to_mm`` over ``columns`` cells."""

    from_mm: float
    to_mm: float
    columns: int

    def column(self, x_mm: float) -> int:
        """The cell that ``x_mm`` falls in; ends are held inside the picture."""
        share = (x_mm - self.from_mm) / (self.to_mm - self.from_mm)
        return min(self.columns - 1, max(0, math.floor(share * self.columns)))

    def centres(self) -> FloatArray:
        """x in mm at the middle of every column, shape (columns,)."""
        width = (self.to_mm - self.from_mm) / max(1, self.columns)
        return self.from_mm + width * (np.arange(self.columns, dtype=np.float64) + 0.5)


@dataclass(frozen=True, slots=True)
class Up:
    """Heights to eighths of a row. ``bottom`` is the value at the lower edge, ``per_row`` the value of one row.

    ``lower_row`` and ``upper_row`` count rows from the bottom: the band fills rows lower_row .. upper_row - 1.
    Both are None where there is no band to judge by.
    """

    bottom: float
    per_row: float
    rows: int
    lower_row: int | None = None
    upper_row: int | None = None

    @property
    def top(self) -> float:
        """The value at the upper edge."""
        return self.bottom + self.per_row * self.rows

    def eighths(self, values: FloatArray) -> IntArray:
        """Whole eighths of a row above the bottom, held inside the picture; nan gives -1.

        A value above a limit shows at least an eighth above it, a value below at least an eighth below.
        """
        exact = (np.nan_to_num(values) - self.bottom) / self.per_row * 8
        out = np.rint(exact)
        for row in (self.lower_row, self.upper_row):
            if row is not None:
                line = row * 8.0
                over = exact > line + 1e-9
                under = exact < line - 1e-9
                out = np.where(over & (out <= line), np.where(row == self.upper_row, line + 1, line), out)
                out = np.where(under & (out >= line), np.where(row == self.lower_row, line - 1, line), out)
        held = np.clip(out, 0, self.rows * 8).astype(np.int64)
        return np.where(np.isnan(values), -1, held)

    def value_at_row(self, row: int) -> float:
        """The value at the lower edge of ``row``, counted from the bottom."""
        return self.bottom + row * self.per_row


def up_from_band(lower: float, upper: float, values: FloatArray, above: int, band: int, below: int) -> Up:
    """The scale of a rail picture: the band fills a whole number of rows, the rest is above and below it.

    The band keeps ``band`` rows if everything fits, else it gives rows up, then the free rows go where they are
    needed. What does not fit with the band one row high is beyond the drawing, and the picture says so.
    """
    rows = above + band + below
    seen = values[np.isfinite(values)]
    high = float(np.max(seen)) if seen.size else upper
    low = float(np.min(seen)) if seen.size else lower
    for rows_of_band in range(band, 0, -1):
        per_row = (upper - lower) / rows_of_band
        need_above = max(0, math.ceil((high - upper) / per_row - 1e-9))
        need_below = max(0, math.ceil((lower - low) / per_row - 1e-9))
        free = rows - rows_of_band
        share_below = min(max(round(free * below / max(1, above + below)), min(1, free)), free)
        if need_below > share_below or need_above > free - share_below:
            share_below = max(need_below, free - need_above)
            share_below = min(share_below, free - need_above)
        if share_below >= 0 and need_above + need_below <= free:
            return Up(lower - share_below * per_row, per_row, rows, share_below, share_below + rows_of_band)
    per_row = upper - lower
    excess = np.array([max(0.0, lower - low), max(0.0, high - upper)])
    share_below = round((rows - 1) * float(excess[0] / max(1e-12, excess.sum())))
    return Up(lower - share_below * per_row, per_row, rows, share_below, share_below + 1)


def up_from_values(values: FloatArray, rows: int, at_least: float) -> Up:
    """The scale where there is no band (a level's slopes): everything fits, in steps of 1, 2 or 5."""
    seen = values[np.isfinite(values)]
    if not seen.size:
        return Up(-at_least / 2, at_least / max(1, rows), rows)
    low, high = float(np.min(seen)), float(np.max(seen))
    span = max(high - low, at_least) * 1.1
    step = 10.0 ** math.floor(math.log10(span / rows))
    per_row = next(step * f for f in (1, 2, 5, 10, 20) if step * f * rows >= span)
    bottom = math.floor((low + high - per_row * rows) / 2 / per_row) * per_row
    return Up(bottom, per_row, rows)


def to_columns(
    along: Along, x_mm: FloatArray, values: FloatArray, not_seen: tuple[tuple[float, float], ...] = ()
) -> FloatArray:
    """A profile at the middle of every column, nan where it was not seen; shape (columns,).

    A stretch that was not seen keeps at least the column it lies in, however narrow it is.
    """
    out = np.full(along.columns, np.nan)
    if x_mm.size == 0:
        return out
    centres = along.centres()
    half = (along.to_mm - along.from_mm) / max(1, along.columns) / 2
    inside = (centres >= x_mm[0] - half) & (centres <= x_mm[-1] + half)
    out[inside] = np.interp(centres[inside], x_mm, values)
    for start, end in not_seen:
        out[(centres > start) & (centres < end)] = np.nan
        if start > x_mm[0] and end < x_mm[-1]:
            out[along.column((start + end) / 2)] = np.nan
    return out


def bin_columns(along: Along, x_mm: FloatArray, values: FloatArray) -> FloatArray:
    """Readings that fall in a column, averaged; nan where none fell. Shape (columns,). For a sweep under way."""
    ok = np.isfinite(x_mm) & np.isfinite(values)
    share = (x_mm[ok] - along.from_mm) / (along.to_mm - along.from_mm)
    column = np.floor(share * along.columns).astype(np.int64)
    held: BoolArray = (column >= 0) & (column < along.columns)
    count = np.bincount(column[held], minlength=along.columns)
    total = np.bincount(column[held], weights=values[ok][held], minlength=along.columns)
    return np.where(count > 0, total / np.maximum(count, 1), np.nan)


class Steady:
    """A word that changes only after its cause has lasted ``hold_s`` (0.3 s: common practice, no source).

    ``update`` takes the time, so a test needs no clock.
    """

    def __init__(self, hold_s: float = 0.3) -> None:
        self.hold_s = hold_s
        self.shown: str | None = None
        self._waiting: str | None = None
        self._since = 0.0

    def update(self, now_s: float, word: str, *, at_once: bool = False) -> str:
        """The word to show at ``now_s`` given what is true now; ``at_once`` for what must not wait (a lost link)."""
        if self.shown is None or at_once or word == self.shown:
            self.shown, self._waiting = word, None
        elif word != self._waiting:
            self._waiting, self._since = word, now_s
        elif now_s - self._since >= self.hold_s:
            self.shown, self._waiting = word, None
        return self.shown


class Decade:
    """Whether the step is drawn at full scale or at a tenth of it: out for 0.5 s, back when well inside for 0.5 s."""

    def __init__(self, hold_s: float = 0.5) -> None:
        self._steady = Steady(hold_s)
        self._steady.shown = "full"

    def update(self, now_s: float, height: float, up: Up) -> float:
        """The factor by which one row is worth more: 1, 10 or 100. ``up`` is the full scale."""
        middle = (up.bottom + up.top) / 2
        half = (up.top - up.bottom) / 2
        beyond = abs(height - middle) / half
        shown = self._steady.shown or "full"
        word = shown
        for name, factor in (("full", 1.0), ("tenth", 10.0), ("hundredth", 100.0)):
            edge = factor * (0.8 if _ORDER.index(name) < _ORDER.index(shown) else 1.0)
            if beyond <= edge:
                word = name
                break
        else:
            word = "hundredth"
        return {"full": 1.0, "tenth": 10.0, "hundredth": 100.0}[self._steady.update(now_s, word)]


_ORDER = ("full", "tenth", "hundredth")
