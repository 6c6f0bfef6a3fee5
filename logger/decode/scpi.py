"""Answers of laboratory instruments that speak SCPI over IEEE 488.2 number formats.

Why it exists: multimeters and gauge amplifiers answer a query with numbers in three forms and use two enormous ones
for "no value". It prevents the mistake of drawing 9.91E+37 as a height, and of ever sending a command that changes an
instrument: only queries, ending in ``?``, can be sent.

::

    NR1  146   -12345            integer                  IEEE 488.2, 8.7.2
    NR2  12.3  +1.2345           decimal point            8.7.3
    NR3  +1.2345E-03             with exponent            8.7.4
    9.91E+37                     not a number             SCPI-1999, volume 1, 7.2.1.5
    9.9E+37, -9.9E+37            infinity, overload       SCPI-1999, volume 1, 7.2.1.4

An answer is items parted by commas, ended by LF (or CR LF). Some instruments answer 9.9E+37 for "cannot measure", so
everything from there up has no value; so have the words NAN, INF and NINF, which the standard has for what is sent to
an instrument and some send back.

What a cable does to it: an RS-232 instrument may echo the query (known and passed over); a lost byte makes an item that
is no number (refused) or, worse, a number with a digit missing, which nothing in this format can show: it becomes a
spike for the spike filter. An answer with more or fewer items than described is refused whole.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from decimal import Decimal

from logger.decode.lines import LONGEST_LINE, LineSplitter
from logger.readings import Gap, Garbage, Reading, Record

NO_VALUE_FROM = 9.9e37
"""Magnitudes from here up mean infinity or not a number."""

_NUMBER = re.compile(rb"[+-]?(?:\d{1,40}(?:\.\d{0,40})?|\.\d{1,40})(?:[Ee][+-]?\d{1,3})?")
_NO_VALUE = re.compile(rb"NAN|[+-]?INF(?:INITY)?|NINF(?:INITY)?", re.IGNORECASE)
_QUERY = re.compile(r"[:*]?[A-Za-z][A-Za-z0-9:]{0,60}\?")
_ACTS = re.compile(r"\*TST|\*CAL|\*RST|:?CAL|:?TEST|:?DIAG", re.IGNORECASE)
"""Queries that make an instrument do something first: self test (IEEE 488.2, 10.38), calibration (10.2)."""


@dataclass(frozen=True, slots=True)
class ScpiItem:
    """One comma-separated item of the answer; ``unit`` None: not used. value = number x ``scale`` + ``offset``."""

    channel: str = ""
    unit: str | None = "mm"
    scale: float = 1.0
    offset: float = 0.0


@dataclass(frozen=True, slots=True)
class ScpiSpec:
    """The query that fetches one answer, and what its items are."""

    query: str = "READ?"
    items: tuple[ScpiItem, ...] = (ScpiItem(),)

    def requests(self) -> tuple[bytes, ...]:
        """The bytes of the query with its line end."""
        return (self.query.encode("ascii", "replace") + b"\n",)

    def faults(self) -> list[str]:
        """What makes this spec unusable, each in a sentence; empty when it is sound."""
        faults = []
        for part in self.query.split(";"):
            if _QUERY.fullmatch(part) is None:
                faults.append(f"{part!r} is not a query: letters, digits and colons, ending in a question mark")
            elif _ACTS.match(part):
                faults.append(f"{part!r} makes the instrument test or calibrate itself; only readings may be asked for")
        if not any(item.unit for item in self.items):
            faults.append("no item of the answer has a unit, so nothing would be read")
        return faults


class ScpiDecoder:
    """Answers in, readings out; a line longer than 256 bytes is dirt."""

    def __init__(self, spec: ScpiSpec) -> None:
        self._items = spec.items
        self._echo = spec.query.encode("ascii", "replace")
        self._lines = LineSplitter()

    def feed(self, chunk: bytes, t_ns: int) -> list[Record]:
        """Take what arrived; ``t_ns`` is the stamp of its last byte."""
        return [record for stamp, line in self._lines.feed(chunk, t_ns) for record in self._answer(line, stamp)]

    def flush(self, t_ns: int) -> list[Record]:
        """The far end closed: an answer without its line end may lack digits, so it is dirt."""
        return [Garbage(stamp, line, "answer without its line end") for stamp, line in self._lines.flush(t_ns)]

    def _answer(self, line: bytes, t_ns: int) -> list[Record]:
        if len(line) > LONGEST_LINE:
            return [Garbage(t_ns, line, f"answer longer than {LONGEST_LINE} bytes")]
        text = line.strip()
        if not text or text == self._echo:
            return []
        items = [item.strip() for part in text.split(b";") for item in part.split(b",")]
        if len(items) != len(self._items):
            return [Garbage(t_ns, line, f"answer of {len(items)} items instead of {len(self._items)}")]
        wanted = [(item, spec) for item, spec in zip(items, self._items, strict=True) if spec.unit]
        if any(_NUMBER.fullmatch(item) is None and _NO_VALUE.fullmatch(item) is None for item, _ in wanted):
            return [Garbage(t_ns, line, "answer that is not a number")]
        return [_record(item, spec, t_ns) for item, spec in wanted]


def _record(item: bytes, spec: ScpiItem, t_ns: int) -> Record:
    if _NO_VALUE.fullmatch(item) is not None:
        return Gap(t_ns, t_ns, "no value")
    number = Decimal(item.decode("ascii"))
    if abs(number) >= Decimal(NO_VALUE_FROM):
        return Gap(t_ns, t_ns, "no value")
    value = float(number * Decimal(str(spec.scale)) + Decimal(str(spec.offset)))
    return Reading(t_ns, value, spec.unit or "", spec.channel)
