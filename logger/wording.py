"""Plain wording of numbers: signs, units and decimals, for everything that is printed as lines.

Why it exists: a height without a sign, a value with more figures than its uncertainty, or inches beside millimetres at
the same size is how people turn a bolt the wrong way. The rules stand here once: heights, errors and moves always carry
a sign, widths (peak to valley, run-out) never; value and ± share unit and decimals, one significant figure of the
uncertainty (two when it begins with 1), never finer than 0.001 mm; ± is the expanded uncertainty, k = 2.

``printable`` and ``in_ascii`` are the gate between files, wires and a terminal.
"""

from __future__ import annotations

import math
from unicodedata import category

TYPE_CHECKING = False
if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence
    from typing import Literal

    Units = Literal["mm", "in"]

MM_PER_THOU = 0.0254  # exactly: the inch is 25.4 mm
MM_PER_INCH = 25.4
THOU_PER_FOOT_IN_MM_PER_M = 12.0  # 1 mm/m = 0.012 in/ft

STATE_SIGNS = {"inside": "═", "outside": "▲", "high": "▲", "low": "▼", "cannot tell": "≈", "stale": "○"}

_ASCII = str.maketrans(
    {
        "▲": "^",
        "▼": "v",
        "═": "=",
        "≈": "~",
        "○": "o",
        "·": ".",
        "╱": "/",
        "−": "-",
        "–": "-",
        "±": "+/-",
        "×": "x",
        "’": "'",
        "↑": "up",
        "↓": "dn",
        "µ": "u",
        "°": "deg ",
        "…": "...",
        "\u2009": " ",
    }
)


def printable(text: str) -> str:
    """Make text from anywhere safe for a terminal: controls, escape codes and direction overrides become ``\\xNN``."""
    if text.isascii() and text.isprintable():
        return text
    return "".join(
        char if category(char) not in ("Cc", "Cf", "Cs", "Co", "Cn", "Zl", "Zp") else _escaped(char) for char in text
    )


def _escaped(char: str) -> str:
    return char.encode("unicode_escape", "surrogatepass").decode("ascii")


def in_ascii(text: str) -> str:
    """The plain column of our own signs; what has no plain form is escaped."""
    if text.isascii():
        return text
    return text.translate(_ASCII).encode("ascii", "backslashreplace").decode("ascii")


def nearest(word: str, known: Iterable[str]) -> str:
    """``; did you mean 'sweep'?`` without the question mark, or nothing when nothing is near."""
    from difflib import get_close_matches

    close = get_close_matches(word, list(known), n=1, cutoff=0.5)
    return f"; the nearest is '{close[0]}'" if close else ""


def decimals_for(uncertainty: float | None, *, finest: int = 3, without: int = 3) -> int:
    """Decimals that show one significant figure of the uncertainty (two when it begins with 1)."""
    if uncertainty is None or not math.isfinite(uncertainty) or uncertainty <= 0:
        return without
    exponent = math.floor(math.log10(uncertainty))
    figures = 2 if uncertainty / 10**exponent < 2 else 1
    return max(0, min(finest, figures - 1 - exponent))


def number(value: float, decimals: int, *, sign: bool) -> str:
    """A number with a fixed count of decimals; never "-0.000"."""
    rounded = round(value, decimals) + 0.0
    text = f"{abs(rounded):.{decimals}f}"
    if rounded < 0:
        return f"−{text}"
    return f"+{text}" if sign else text


def _never_nothing(uncertainty: float, decimals: int) -> float:
    """An uncertainty smaller than the last figure shown is shown as one of that figure: ±0.000 claims too much."""
    return max(10.0**-decimals, uncertainty)


def amount(
    value: float | None,
    uncertainty: float | None = None,
    unit: str = "mm",
    units: Units = "mm",
    *,
    sign: bool = True,
    unknown: str = "not known",
) -> str:
    """``+0.104 ±0.002 mm`` or ``+4.1 ±0.1 thou``; slopes (``unit="mm/m"``) as mm/m or thou/ft.

    ``value`` and ``uncertainty`` in ``unit``; ``units`` is what the person wants to read.
    """
    if value is None or not math.isfinite(value):
        return unknown
    if unit == "mm/m":
        scale, shown, finest, without = (1.0, "mm/m", 2, 2)
        if units == "in":
            scale, shown = THOU_PER_FOOT_IN_MM_PER_M, "thou/ft"
    elif units == "in":
        scale, shown, finest, without = 1 / MM_PER_THOU, "thou", 1, 1
    else:
        scale, shown, finest, without = 1.0, "mm", 3, 3
    known = uncertainty is not None and math.isfinite(uncertainty)
    scaled = uncertainty * scale if uncertainty is not None and known else None
    decimals = decimals_for(scaled, finest=finest, without=without)
    spread = "" if scaled is None else f" ±{number(_never_nothing(scaled, decimals), decimals, sign=False)}"
    return f"{number(value * scale, decimals, sign=sign)}{spread} {shown}"


def share(value: float, unit: str = "mm", units: Units = "mm") -> str:
    """A part of an uncertainty: as ``amount`` without a sign, and ``under 0.001 mm`` where that would be a nought."""
    said = amount(abs(value), None, unit, units, sign=False)
    figure, _, shown = said.partition(" ")
    if not shown or float(figure) > 0.0:
        return said
    return f"under {figure[:-1]}1 {shown}"


def raw(value: float, unit: str, resolution: float | None = None) -> str:
    """What an instrument's own display shows: its sign, its unit, the decimals of its ``resolution`` (same unit)."""
    if resolution is None or resolution <= 0:
        return f"{value:+g} {unit}".replace("-", "−")
    decimals = max(0, min(6, math.ceil(-math.log10(resolution) - 1e-9)))
    return f"{number(value, decimals, sign=True)} {unit}"


def position(mm: float | None, units: Units = "mm") -> str:
    """A place along the rail: whole millimetres, or inches to the sixteenth."""
    if mm is None or not math.isfinite(mm):
        return "not known"
    if units == "mm":
        return f"{number(mm, 0, sign=False)} mm"
    sixteenths = round(abs(mm) / MM_PER_INCH * 16)
    whole, rest = divmod(sixteenths, 16)
    divisor = math.gcd(rest, 16)
    parts = [str(whole)] if whole or not rest else []
    parts += [f"{rest // divisor}/{16 // divisor}"] if rest else []
    return f"{'−' if mm < 0 and sixteenths else ''}{' '.join(parts)} in"


def count(value: int) -> str:
    """A count with a thin gap by thousands: 2 914."""
    return f"{value:,}".replace(",", "\u2009")


def plural(value: int, one: str, many: str = "") -> str:
    """``1 reading``, ``2 914 readings``."""
    return f"{count(value)} {one if value == 1 else many or one + 's'}"


ENDED = {
    "passes": "complete",
    "marks": "complete",
    "closed": "ended by the device",
    "operator": "ended by hand",
    "still": "ended when it stood still",
    "time": "ended by the clock",
    "interrupted": "cut off",
    "link lost": "cut off, the link was lost",
    "disk full": "cut off, the disk was full",
}
"""How a recording ended, in words; the descriptor and ``--json`` have the short form."""


def ended(how: str) -> str:
    """How a recording ended."""
    return ENDED.get(how, how)


def state(word: str) -> str:
    """A state as shape and word: colour is never the only signal."""
    return f"{STATE_SIGNS.get(word, '·')} {word}"


def table(rows: Sequence[tuple[str, ...]], *, indent: str = "  ") -> list[str]:
    """Rows of cells as aligned lines; the first row is the heading. Columns part by two spaces."""
    if not rows:
        return []
    widths = [max(len(row[column]) for row in rows) for column in range(len(rows[0]))]
    return [
        indent + "  ".join(cell.ljust(width) for cell, width in zip(row, widths, strict=True)).rstrip() for row in rows
    ]
