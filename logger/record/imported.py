"""A table from elsewhere becomes a recording of the job, to be judged like any other.

Why it exists: what was measured before this program came, or with another, is still evidence. It becomes a recording in
the usual form, says in its descriptor where it came from and what was made of it, and keeps the file itself beside it.
It prevents an imported sweep from passing for one that was recorded here, and times that nobody measured from passing
for measured ones: without a column of times, readings at stations are kept as readings at stations.
"""

from __future__ import annotations

import hashlib
from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path
from typing import TYPE_CHECKING, Any

from logger.errors import BadFile, CannotSave, NotAllowed
from logger.link.wire import Interpreter, WireRow
from logger.readings import Ended

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from logger.instruments import Instrument
    from logger.job import Job
    from logger.machines import SetUp
    from logger.record.imported_table import Column, Table

ORIGINAL = "imported-from"
OUTSIDE_MM = 5.0
MOST_STATIONS = 100
PACE_MM_PER_S = 300.0
"""A hand's usual pace: only used to put readings without times in an order (common practice, no source)."""
TURN_MM = 40.0
SAME_MM = 0.5
MOST_PASSES = 20
BATCH = 500
S = 1_000_000_000


@dataclass(frozen=True)
class Plan:
    """How a table is written: its rows, the instrument that reads them back, the passes and stations, and remarks."""

    rows: list[WireRow]
    instrument: Instrument
    passes: int
    stations_mm: tuple[float, ...]
    notes: tuple[str, ...]


def plan_of(job: Job, set_up: str, table: Table, name: str, *, heights: bool = False) -> Plan:
    """What the recording will hold. ``heights``: the values are heights (tilts), not what the display showed.

    NotAllowed or BadFile where the table does not fit the set-up or the stroke.
    """
    described = job.machine.set_ups[set_up]
    level = described.kind == "level"
    if level != (table.unit == "mm/m"):
        raise NotAllowed(
            f"Set-up '{set_up}' wants {'a level' if level else 'an indicator'}, and the values are in {table.unit}.",
            "Name another set-up, or the values' unit in --columns value=NAME:UNIT.",
        )
    low, high = job.machine.carriage.stroke_mm
    for x_mm in table.position_mm:
        if not low - OUTSIDE_MM <= x_mm <= high + OUTSIDE_MM:
            raise BadFile(
                f"A position of {x_mm:g} mm is outside the stroke ({low:g} to {high:g} mm).",
                "Positions are those of the carriage's middle; check their unit, or stroke_mm in machine.yaml.",
            )
    held = [min(max(x_mm, low), high) for x_mm in table.position_mm]
    values = [_reading(value, described) if heights else value for value in table.value]
    legs = _legs(held)
    stations = _stations(held) if not table.t_s else None
    if stations is not None:
        return _at_stations(table, values, stations, name)
    if level:
        raise NotAllowed(
            "A level is read at rest, at the same stations on each pass; these rows are not.",
            "Import one row for each station and pass, without a time column.",
        )
    return _along(table, values, held, len(legs), described, job, name)


def write(job: Job, set_up: str, plan: Plan, source: Path, columns: dict[str, Column]) -> tuple[Path, Ended]:
    """The recording in its folder, with the file it came from beside it. CannotSave where it cannot be written."""
    from logger.clock import Start
    from logger.decode import make_decoder
    from logger.record.writing import Description, RecordingWriter, cannot_save

    raw = source.read_bytes()
    instrument = plan.instrument
    about = Description(
        set_up=set_up,
        passes=plan.passes,
        stations_mm=plan.stations_mm,
        port="import",
        instrument=instrument.source_text,
        instrument_name=instrument.name,
        machine=job.machine.source_text,
        unit=instrument.unit,
        clock=getattr(instrument, "clock", "host"),
        resolution=instrument.step,
        extra={
            "imported": {
                "file": source.name,
                "sha256": hashlib.sha256(raw).hexdigest(),
                "columns": {role: {"name": c.name, "unit": c.unit} for role, c in columns.items()},
                "notes": list(plan.notes),
            }
        },
    )
    folder = job.next_recording_folder(set_up)
    start = Start.now()
    writer = RecordingWriter(folder, about, start.utc)
    interpreter = Interpreter(make_decoder(instrument.frame_spec()))
    for at in range(0, len(plan.rows), BATCH):
        rows = plan.rows[at : at + BATCH]
        writer.write_wire(rows)
        writer.write_records([record for row in rows for record in interpreter.records(row)])
    writer.write_records(interpreter.finish())
    try:
        with (folder / f"{ORIGINAL}{source.suffix.lower()[:5] or '.csv'}").open("xb") as file:
            file.write(raw)
    except OSError as error:
        raise cannot_save(folder, error) from error
    ended = Ended(plan.rows[-1].t_ns, "closed", "imported")
    writer.finish(ended, interpreter.totals)
    return folder, ended


def _reading(value: float | None, set_up: SetUp) -> float | None:
    """What the display would have shown at this height: the record keeps raw readings."""
    from analysis.units import reading_from_height

    zero = set_up.zero_mm_per_m if set_up.kind == "level" else set_up.zero_mm
    return None if value is None else float(reading_from_height(value, set_up.kind, zero or 0.0, set_up.sense))


# -- passes and stations -----------------------------------------------------------------------------------------------


def _legs(x_mm: Sequence[float]) -> list[tuple[int, int]]:
    """(first, last) row of each run in one direction; a turn is one that goes back by more than a hand trembles."""
    turns, extreme, sign = [0], 0, 0
    for index, x in enumerate(x_mm):
        if sign == 0:
            if abs(x - x_mm[0]) > 1e-9:
                sign, extreme = (1 if x > x_mm[0] else -1), index
        elif sign * (x - x_mm[extreme]) >= 0:
            extreme = index
        elif sign * (x_mm[extreme] - x) > TURN_MM:
            turns.append(extreme)
            sign, extreme = -sign, index
    ends = [*turns[1:], len(x_mm) - 1]
    return list(zip(turns, ends, strict=True))


def _stations(x_mm: Sequence[float]) -> tuple[float, ...] | None:
    """The stations of the first pass where every pass reads the same ones, there and back; None for a track."""
    for passes in range(1, MOST_PASSES + 1):
        count, rest = divmod(len(x_mm), passes)
        if rest or count < 3:
            continue
        stations = tuple(x_mm[:count])
        steps = [after - before for before, after in pairwise(stations)]
        if not (all(step > 0 for step in steps) or all(step < 0 for step in steps)):
            continue
        wanted = [x for number in range(passes) for x in (stations if number % 2 == 0 else stations[::-1])]
        if all(abs(x - there) <= SAME_MM for x, there in zip(x_mm, wanted, strict=True)):
            return stations if count <= MOST_STATIONS else None
    return None


# -- the two forms -----------------------------------------------------------------------------------------------------


def _at_stations(table: Table, values: Sequence[float | None], stations: tuple[float, ...], name: str) -> Plan:
    """A mark and a line for each station, as when readings are typed in at them."""
    rows = []
    for number, value in enumerate(values):
        t_ns = number * S
        rows.append(WireRow(t_ns, "key", b""))
        text = "-" if value is None else f"{value:.6f}"
        rows.append(WireRow(t_ns + S // 2, "in", text.encode("ascii") + b"\n"))
    notes = (*table.notes, f"Read at {len(stations)} stations; the file has no times, and none were made up.")
    passes = len(values) // len(stations)
    return Plan(rows, _instrument(name, table, _TYPED), passes, stations, notes)


def _along(
    table: Table, values: Sequence[float | None], x_mm: Sequence[float], passes: int, set_up: SetUp, job: Job, name: str
) -> Plan:
    """A line with value, time and position for each row, as from an instrument with a position."""
    zero = set_up.encoder.at_zero_mm
    zero = float(job.machine.carriage.stroke_mm[0]) if zero is None else float(zero)
    notes = list(table.notes)
    if table.t_s:
        times = [t - table.t_s[0] for t in table.t_s]
    else:
        times = _paced(x_mm)
        notes.append(f"The file has no times; they were made from the positions at {PACE_MM_PER_S:g} mm/s.")
    rows = list(_lines(times, values, [x - zero for x in x_mm]))
    return Plan(rows, _instrument(name, table, _TRACK), passes, (), tuple(notes))


def _lines(times: Sequence[float], values: Sequence[float | None], counted: Sequence[float]) -> Iterator[WireRow]:
    for t, value, x in zip(times, values, counted, strict=True):
        head = "ERR" if value is None else f"{value:+.6f}"
        yield WireRow(round(t * 1e6) * 1000, "in", f"{head},t{t:.6f},{x:.3f}\r\n".encode("ascii"))


def _paced(x_mm: Sequence[float]) -> list[float]:
    times = [0.0]
    for before, after in pairwise(x_mm):
        times.append(times[-1] + max(abs(after - before) / PACE_MM_PER_S, 0.001))
    return times


_TRACK: dict[str, Any] = {
    "frame": "line",
    "pattern": r"^(?P<value>[+-]\d+\.\d+),t(?P<time>\d+\.\d+),(?P<position>[+-]?\d+\.\d+)$",
    "no_value": r"^ERR,t(?P<time>\d+\.\d+),(?P<position>[+-]?\d+\.\d+)$",
    "clock": "device",
    "counts_per_mm": 1,
}
_TYPED: dict[str, Any] = {"frame": "typed", "smallest": -60, "largest": 60}


def _instrument(name: str, table: Table, form: dict[str, Any]) -> Instrument:
    """The instrument file by which the recording's lines are read back."""
    import yaml

    from logger.instruments import instrument_from_text

    shown = "".join(char if char.isalnum() or char in " ._-" else "-" for char in name)[:40] or "table"
    line = "+0.123000,t1.250000,810.500\r\n" if form is _TRACK else "0.123\n"
    said = {"bytes": line, "value": 0.123}
    text = yaml.safe_dump(
        {
            "name": f"imported, {shown}",
            **form,
            "unit": table.unit,
            "resolution": float(f"{max(table.step, 1e-6):.6g}"),
            "examples": [said],
        },
        sort_keys=False,
        allow_unicode=True,
    )
    try:
        return instrument_from_text(text, f"the instrument file made for {name}")
    except BadFile as fault:  # a file name could bring it about; say so instead of failing later
        raise CannotSave(f"No recording can be made of {name}: {fault}", "Rename the file and try again.") from fault
