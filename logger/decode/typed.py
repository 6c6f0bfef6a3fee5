"""Numbers that come from fingers: a gauge whose cable types like a keyboard, a dial and a pencil, a pair of feelers.

Why it exists: a dial, a bubble or feeler leaves serve every measurement if what is typed gets the same checks as what
comes down a wire. It prevents three mistakes: two values run together taken for one, a value in the wrong unit or a
thousand times too large, and a feeler gap written down as a number it is not (it lies *between* two leaves).

::

    0.12        -0,12        0.12 mm       +4 thou        0.0047 in        0.10..0.15
                comma                                                      this leaf goes, the next does not

A keyboard gauge sends digits and Enter into whatever has the focus, so only a field that was opened for it may pass its
text on here. What happens to it on the way: a key lost or doubled when the PC is busy, two values without an Enter
between them (two points: refused), another keyboard's letters in between (refused).
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from decimal import Decimal

from logger.decode.lines import LONGEST_LINE, LineSplitter
from logger.readings import Gap, Garbage, Reading, Record

_TYPED = re.compile(
    r"(?P<first>[+\-−]?(?:\d{1,9}(?:[.,]\d{0,9})?|[.,]\d{1,9}))"
    r"(?:\s*\.\.\s*(?P<second>[+\-−]?(?:\d{1,9}(?:[.,]\d{0,9})?|[.,]\d{1,9})))?"
    r"\s*(?P<unit>[A-Za-zµμ°/\"]{0,8})",
    re.ASCII,
)
_LENGTHS = {
    "mm": ("mm", 0),
    "um": ("mm", -3),
    "µm": ("mm", -3),
    "in": ("in", 0),
    "inch": ("in", 0),
    '"': ("in", 0),
    "thou": ("in", -3),
}
_SLOPES = {
    "mm/m": ("mm/m", 0),
    "in/ft": ("in/ft", 0),
    "arcsec": ("arcsec", 0),
    "deg": ("deg", 0),
    "°": ("deg", 0),
}
"""What may be typed after the number -> our unit and the power of ten to it."""

_SIZE = {"mm": 1.0, "in": 25.4, "mm/m": 1.0, "in/ft": 1000 / 12, "arcsec": math.pi / 648, "deg": math.pi / 0.18}
"""Near enough for telling a slip from a value: mm, or mm/m, in one unit."""


@dataclass(frozen=True, slots=True)
class TypedSpec:
    """What a typed number may be: its unit where none is typed, and the range beyond which it is surely a slip."""

    unit: str = "mm"
    smallest: float = -50.0
    largest: float = 50.0
    channel: str = ""


@dataclass(frozen=True, slots=True)
class TypedValue:
    """A number, or the interval it lies in, in ``unit``. A single number has ``lower == upper``."""

    lower: float
    upper: float
    unit: str

    @property
    def value(self) -> float:
        """The number, or the middle of the interval."""
        return (self.lower + self.upper) / 2

    @property
    def standard_uncertainty(self) -> float:
        """Of the interval alone: anywhere inside is as likely (GUM 4.3.7: half width over root three)."""
        return (self.upper - self.lower) / 2 / math.sqrt(3)


@dataclass(frozen=True, slots=True)
class Refused:
    """Why a typed text is not a value, and what to type instead."""

    why: str


def read_typed(text: str, spec: TypedSpec) -> TypedValue | Refused:
    """What was typed, or why it is refused; the range of ``spec`` holds in every unit."""
    match = _TYPED.fullmatch(text.strip())
    if match is None:
        return Refused("not a number; type for example 0.12, 0.12 mm, or 0.10..0.15 for a pair of feelers")
    units = _LENGTHS if spec.unit in ("mm", "in") else _SLOPES
    known = units.get(match["unit"].lower().replace("μ", "µ") or spec.unit)
    if known is None:
        return Refused(f"the unit does not fit here; allowed: {', '.join(units)}")
    unit, power = known
    lower = _number(match["first"], power)
    upper = lower if match["second"] is None else _number(match["second"], power)
    if match["second"] is not None and not lower < upper:
        return Refused("the first of the two must be the smaller: the leaf that goes, then the one that does not")
    scale = _SIZE[unit] / _SIZE[spec.unit]
    if not (spec.smallest <= lower * scale and upper * scale <= spec.largest):
        return Refused(f"outside {spec.smallest:g} to {spec.largest:g} {spec.unit}; was the point left out?")
    return TypedValue(lower, upper, unit)


def _number(text: str, power: int) -> float:
    return float(Decimal(text.replace(",", ".").replace("−", "-")).scaleb(power))


FROM, TO = "from", "to"
"""Channels of the two ends of an interval."""
NOT_READABLE = ("-", "--")


class TypedDecoder:
    """Typed lines in, readings out: the stream seam for a keyboard gauge and for readings typed at stations.

    An interval is two readings of the same moment, in the channels ``from`` and ``to``; a dash says that there is
    nothing to read.
    """

    def __init__(self, spec: TypedSpec) -> None:
        self._spec = spec
        self._lines = LineSplitter()

    def feed(self, chunk: bytes, t_ns: int) -> list[Record]:
        """Take what was typed; ``t_ns`` is the stamp of the last key."""
        lines = [(stamp, line) for stamp, line in self._lines.feed(chunk, t_ns) if line.strip()]
        return [record for stamp, line in lines for record in self._records(line, stamp)]

    def flush(self, t_ns: int) -> list[Record]:
        """No more keys: a value without its Enter was not finished."""
        return [Garbage(stamp, line, "typed without Enter") for stamp, line in self._lines.flush(t_ns)]

    def _records(self, line: bytes, t_ns: int) -> list[Record]:
        if len(line) > LONGEST_LINE:
            return [Garbage(t_ns, line, f"typed line longer than {LONGEST_LINE} characters")]
        text = line.decode("utf-8", "replace")
        if text.strip() in NOT_READABLE:
            return [Gap(t_ns, t_ns, "no value")]
        typed = read_typed(text, self._spec)
        if isinstance(typed, Refused):
            return [Garbage(t_ns, line, typed.why)]
        if typed.lower != typed.upper:
            return [Reading(t_ns, typed.lower, typed.unit, FROM), Reading(t_ns, typed.upper, typed.unit, TO)]
        return [Reading(t_ns, typed.value, typed.unit, self._spec.channel)]
