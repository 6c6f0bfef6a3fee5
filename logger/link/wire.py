"""One row of ``wire.csv`` and what it means: the same code while it happens and when it is made again later.

Why it exists: readings are derived. Whether a chunk has just been read or comes from a file of last year, it must give
the same readings, marks and gaps. The mistake prevented: two interpreters that drift apart.

======== =============================== ===========================================
channel  bytes                           meaning
======== =============================== ===========================================
in       what arrived in one read        decoded
out      a request truestroke sent       an answer is due
key      empty                           the operator's mark
undo     empty                           the operator took the newest mark back
gap      empty                           a gap noted by the operator
link     ``lost: why``, ``back: port``   the cable was pulled, the device came back
======== =============================== ===========================================
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

from logger.decode import Decoder, DeviceTimed
from logger.decode.escaped import escape_bytes, show_bytes, unescape_bytes
from logger.readings import Gap, Garbage, Index, LinkBack, LinkLost, Mark, Reading, Record, TakenBack

HEADER = b"t_s,channel,bytes\r\n"
CHANNELS = ("in", "out", "key", "undo", "gap", "link")
FILE_NAME = "wire.csv"
TAKEN_BACK, INDEX = "the newest mark was taken back", "index"


class WireRow(NamedTuple):
    t_ns: int
    channel: str
    raw: bytes


def wire_line(row: WireRow) -> str:
    """The row as it stands in the file, line end included."""
    return f'{row.t_ns / 1e9:.6f},{row.channel},"{escape_bytes(row.raw)}"\r\n'


def parse_wire_line(line: str) -> WireRow:
    """The row behind a line without its line end. Raises ValueError where it is none."""
    t_text, channel, quoted = line.split(",", 2)
    if channel not in CHANNELS or len(quoted) < 2 or quoted[0] != '"' or quoted[-1] != '"':
        raise ValueError("not a row of wire.csv")
    t_s = float(t_text)
    if not 0 <= t_s < 1e9:
        raise ValueError("not a time")
    return WireRow(round(t_s * 1e6) * 1000, channel, unescape_bytes(quoted[1:-1]))


class Interpreter:
    """Rows in, records out, with the totals that everything shows."""

    def __init__(self, decoder: Decoder) -> None:
        self._decoder = decoder
        self._lost_ns: int | None = None
        self._last_ns = 0
        self._asked_ns: list[int] = []
        self._marks = 0  # that stand, a key's counted when it goes down
        self.totals = Totals()

    def records(self, row: WireRow) -> list[Record]:
        if row.channel == "in":
            self._last_ns = row.t_ns
            records = self._decoder.feed(row.raw, row.t_ns)
            self._marks += sum(isinstance(record, Mark) and record.source != "key" for record in records)
            if self._asked_ns:
                records = [*self._silence(row.t_ns), *records]
        elif row.channel == "out":
            records = []
            self._asked_ns = [*self._asked_ns[:1], row.t_ns]
        elif row.channel == "key":
            self._marks += 1
            records = self._key(row.t_ns)
        elif row.channel == "undo":
            records = self._undo(row.t_ns)
        elif row.channel == "gap":
            t_ns = self.in_time_base(row.t_ns)
            records = [Gap(t_ns, t_ns, "noted")]
        else:
            records = self._link(row)
        self.totals.count(records)
        return records

    def finish(self) -> list[Record]:
        """No more rows: what the decoder still holds."""
        records = [*self._silence(max(self._asked_ns, default=0)), *self._decoder.flush(self._last_ns)]
        self.totals.count(records)
        return records

    def _silence(self, t_ns: int) -> list[Record]:
        """The gap of an instrument that left more than one request unanswered until ``t_ns``."""
        asked_ns, self._asked_ns = self._asked_ns, []
        if len(asked_ns) < 2:
            return []
        return [Gap(self.in_time_base(asked_ns[0]), self.in_time_base(t_ns), "no answer")]

    def in_time_base(self, t_ns: int) -> int:
        return self._decoder.in_time_base(t_ns) if isinstance(self._decoder, DeviceTimed) else t_ns

    def _key(self, t_ns: int) -> list[Record]:
        return self._decoder.key(t_ns) if isinstance(self._decoder, DeviceTimed) else [Mark(t_ns, "key")]

    def _undo(self, t_ns: int) -> list[Record]:
        """Where no mark stands there is nothing to take back."""
        if self._marks < 1:
            return []
        self._marks -= 1
        return [TakenBack(self.in_time_base(t_ns))]

    def _link(self, row: WireRow) -> list[Record]:
        what, _, text = row.raw.decode("utf-8", "replace").partition(": ")
        if what == "lost":
            records = [*self._silence(row.t_ns), *self._decoder.flush(self._last_ns)]
            self._lost_ns = row.t_ns
            return [*records, LinkLost(self.in_time_base(row.t_ns), text)]
        lost_ns, self._lost_ns = self._lost_ns, None
        t_ns = self.in_time_base(row.t_ns)
        from_ns = t_ns if lost_ns is None else self.in_time_base(lost_ns)
        return [LinkBack(t_ns, text), Gap(from_ns, t_ns, "link lost")]


@dataclass
class Totals:
    """What has come so far. Consecutive "no value" lines are one gap."""

    readings: int = 0
    marks: int = 0
    garbage: int = 0
    gaps: int = 0
    latest: Reading | None = None
    _in_gap: bool = False

    def count(self, records: list[Record]) -> None:
        for record in records:
            if type(record) is Reading:
                self.readings += 1
                self.latest = record
                self._in_gap = False
            elif isinstance(record, Gap):
                no_value = record.reason == "no value"
                self.gaps += not (no_value and self._in_gap)
                self._in_gap = no_value
            elif isinstance(record, Mark):
                self.marks += 1
            elif isinstance(record, TakenBack):
                self.marks -= 1
            elif isinstance(record, Garbage):
                self.garbage += 1


def show_record(record: Record) -> str:
    """What a row that is no reading says in the ``note`` column of readings.csv."""
    if isinstance(record, Mark):
        return f"mark {record.source}"
    if isinstance(record, TakenBack):
        return TAKEN_BACK
    if isinstance(record, Index):
        return INDEX
    if isinstance(record, Gap):
        return f"gap until {record.until_ns / 1e9:.6f}: {record.reason}"
    if isinstance(record, Garbage):
        return f"garbage: {record.why}: {show_bytes(record.raw, 256)}"
    if isinstance(record, LinkLost):
        return f"link lost: {record.why}"
    if isinstance(record, LinkBack):
        return f"link back: {record.port}"
    return ""
