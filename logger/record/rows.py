"""The two tables of a recording as read back from disk: rows that are sound, and what is said of the others.

Why it exists: these files may be torn, edited in a spreadsheet, or not ours at all, and a ten-minute sweep has 600 000
rows, so reading must be both suspicious and fast. The mistake prevented: believing a half-written last number.
"""

from __future__ import annotations

import csv
import re
from collections.abc import Iterable
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from logger.link.wire import HEADER as WIRE_HEADER
from logger.link.wire import INDEX, TAKEN_BACK, WireRow, parse_wire_line
from logger.readings import Gap, Garbage, Index, LinkLost, Mark, Reading, Record, TakenBack
from logger.record.writing import READINGS_HEADER

if TYPE_CHECKING:
    from numpy.typing import NDArray

LARGEST_FILE = 2_000_000_000
_GAP_NOTE = re.compile(r"gap until (\d{1,9}\.\d{6}): (.*)")


@dataclass(frozen=True)
class RowsFile:
    """A table's bytes as they are, and its whole lines without line ends and header."""

    path: Path
    data: bytes
    lines: list[bytes]
    faults: list[str]
    missing: bool = False

    @classmethod
    def read(cls, path: Path) -> RowsFile:
        try:
            if path.stat().st_size > LARGEST_FILE:
                return cls(path, b"", [], [f"{path.name} is larger than {LARGEST_FILE} bytes"], missing=True)
            data = path.read_bytes()
        except OSError as error:
            return cls(path, b"", [], [f"{path.name} cannot be read: {error.strerror}"], missing=True)
        lines = data.split(b"\r\n")
        if len(lines) == 1 and b"\n" in data:
            lines = data.split(b"\n")  # a text editor has been here; the checksum says so
        torn = lines.pop()
        faults = [f"{path.name}: a torn last line of {len(torn)} bytes was dropped"] if torn else []
        header = (WIRE_HEADER if path.name.startswith("wire") else READINGS_HEADER).strip()
        if lines and lines[0] == header:
            del lines[0]
        else:
            faults.append(f"{path.name} does not begin with its header {header.decode()}")
        return cls(path, data, lines, faults)


@dataclass
class Table:
    """A recording's rows sorted by what they are. Times in seconds; values in the instrument's own units."""

    t_s: NDArray[np.float64]
    value: NDArray[np.float64]
    position: NDArray[np.float64]
    channel: NDArray[np.intp]
    unit: NDArray[np.intp]
    channels: tuple[str, ...]
    units: tuple[str, ...]
    events: Events

    @classmethod
    def of(cls, records: Iterable[Record]) -> Table:
        """The table that these records make."""
        columns, events = Columns(), Events()
        for record in records:
            if type(record) is Reading:
                position = float("nan") if record.position is None else record.position
                columns.add(record.t_ns / 1e9, record.value, position, record.channel, record.unit)
                events.in_gap = False
            else:
                events.add(record)
        return columns.table(events)


@dataclass
class Events:
    """What is no reading. ``no value`` lines with no reading between them are one gap."""

    marks: list[tuple[float, str]] = field(default_factory=list)
    taken_back: list[float] = field(default_factory=list)
    index: list[tuple[float, float]] = field(default_factory=list)
    gaps: list[tuple[float, float, str]] = field(default_factory=list)
    no_value: list[tuple[float, float]] = field(default_factory=list)
    garbage: int = 0
    newer: str = ""
    """What was said of lines in a newer protocol than is known here."""
    lost: int = 0
    in_gap: bool = False

    def add(self, record: Record) -> None:
        if isinstance(record, Mark):
            self.marks.append((record.t_ns / 1e9, record.source))
        elif isinstance(record, TakenBack):
            self.taken_back.append(record.t_ns / 1e9)
        elif isinstance(record, Index):
            if record.position is not None:
                self.index.append((record.t_ns / 1e9, record.position))
        elif isinstance(record, Garbage):
            self.garbage += 1
            if not self.newer and record.why.startswith("node speaks protocol "):
                self.newer = record.why.partition(": ")[0]
        elif isinstance(record, LinkLost):
            self.lost += 1
        elif isinstance(record, Gap):
            self._gap(record)

    def standing_marks(self) -> list[tuple[float, str]]:
        """The marks that were not taken back, in order of time: each taking back is of the newest before it."""
        marks = sorted(self.marks)
        for moment in sorted(self.taken_back):
            before = [i for i, (t_s, _) in enumerate(marks) if t_s <= moment]
            if before:
                del marks[before[-1]]
        return marks

    def _gap(self, gap: Gap) -> None:
        from_s, until_s = gap.t_ns / 1e9, gap.until_ns / 1e9
        no_value = gap.reason == "no value"
        if no_value:
            self.no_value.append((from_s, float("nan") if gap.position is None else gap.position))
        if no_value and self.in_gap:
            self.gaps[-1] = (self.gaps[-1][0], until_s, gap.reason)
        else:
            self.gaps.append((from_s, until_s, gap.reason))
        self.in_gap = no_value


class Columns:
    """Rows of readings on their way to arrays."""

    def __init__(self) -> None:
        self._t: list[float] = []
        self._value: list[float] = []
        self._position: list[float] = []
        self._kind: list[int] = []
        self._kinds: dict[tuple[str, str], int] = {}

    def add(self, t_s: float, value: float, position: float, channel: str, unit: str) -> None:
        self._t.append(t_s)
        self._value.append(value)
        self._position.append(position)
        self._kind.append(self._kinds.setdefault((channel, unit), len(self._kinds)))

    def table(self, events: Events) -> Table:
        channels = tuple(dict.fromkeys(channel for channel, _ in self._kinds))
        units = tuple(dict.fromkeys(unit for _, unit in self._kinds))
        kind = np.array(self._kind, dtype=np.intp)
        channel_of = np.array([channels.index(channel) for channel, _ in self._kinds], dtype=np.intp)
        unit_of = np.array([units.index(unit) for _, unit in self._kinds], dtype=np.intp)
        return Table(
            np.array(self._t, dtype=np.float64),
            np.array(self._value, dtype=np.float64),
            np.array(self._position, dtype=np.float64),
            channel_of[kind] if len(kind) else kind,
            unit_of[kind] if len(kind) else kind,
            channels or ("",),
            units,
            events,
        )


def read_readings(file: RowsFile) -> tuple[Table, list[str]]:
    """The table of readings.csv, and what is wrong with its rows (then the table is not to be believed)."""
    columns, events = Columns(), Events()
    add, nan = columns.add, float("nan")
    names: dict[bytes, str] = {b"": ""}
    broken: list[str] = []
    for number, line in enumerate(file.lines, start=2):
        try:
            if b'"' in line:
                _quoted_row(line, columns, events)
                continue
            _, t_s, channel, value, unit, note, position = line.split(b",")
            if note:
                raise ValueError("a note without quotes")
            if channel not in names or unit not in names:
                names[channel], names[unit] = channel.decode("utf-8"), unit.decode("utf-8")
            add(float(t_s), float(value), float(position) if position else nan, names[channel], names[unit])
            events.in_gap = False
        except ValueError:
            broken.append(f"{file.path.name} line {number} is no row of ours")
            if len(broken) >= 3:
                break
    return columns.table(events), broken


def _quoted_row(line: bytes, columns: Columns, events: Events) -> None:
    """A row with a note, or a channel whose name needs quotes. Raises ValueError where it is neither."""
    _, t_text, channel, value, unit, note, position = next(csv.reader([line.decode("utf-8")]))
    t_s, at = float(t_text), float(position) if position else float("nan")
    t_ns = round(t_s * 1e6) * 1000
    if not note:
        columns.add(t_s, float(value), at, channel, unit)
        events.in_gap = False
    elif note.startswith("mark "):
        events.add(Mark(t_ns, note[5:]))
    elif note == TAKEN_BACK:
        events.add(TakenBack(t_ns))
    elif note == INDEX:
        events.add(Index(t_ns, at if position else None))
    elif match := _GAP_NOTE.fullmatch(note):
        events.add(Gap(t_ns, round(float(match[1]) * 1e6) * 1000, match[2], at if position else None))
    elif note.startswith("garbage: "):
        events.add(Garbage(t_ns, b"", note[9:]))
    elif note.startswith("link lost: "):
        events.add(LinkLost(t_ns, note[11:]))
    elif not note.startswith("link back: "):
        raise ValueError("a note of no kind we write")


def read_wire(file: RowsFile) -> tuple[list[WireRow], list[str]]:
    """The rows of wire.csv in order. A row that is none of ours is left out and said; the rest is not doubted."""
    rows: list[WireRow] = []
    left_out: list[int] = []
    for number, line in enumerate(file.lines, start=2):
        try:
            rows.append(parse_wire_line(line.decode("ascii")))
        except ValueError:
            left_out.append(number)
    if not left_out:
        return rows, []
    return rows, [f"{file.path.name}: {len(left_out)} rows could not be read, the first in line {left_out[0]}"]
