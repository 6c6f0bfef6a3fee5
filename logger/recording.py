"""Open a recording: arrays for the analysis, with everything said that is not as it was written.

Why it exists: a recording is opened years after it was made, after a crash, after somebody looked at it in a
spreadsheet and saved. It always opens with what is sound, and says what is not: a torn last line, an end that is
missing, a file that differs from its checksum. The mistake prevented: a recording that is silently shorter or other
than what was measured. ``readings.csv`` is read where it is sound (fast); otherwise the readings are made again from
``wire.csv``, in memory, which is also how another instrument file is tried on old bytes.
"""

from __future__ import annotations

import hashlib
import json
import re
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal, TypeVar

import numpy as np

from analysis.units import base_unit, to_base
from logger.decode import make_decoder
from logger.errors import BadFile, NotAllowed
from logger.instruments import Instrument, instrument_from_text
from logger.link.wire import Interpreter, WireRow
from logger.machines import Machine, machine_from_text
from logger.readings import Record
from logger.record.beside import with_beside
from logger.record.rows import RowsFile, Table, read_readings, read_wire
from logger.record.writing import DESCRIPTOR, READINGS, WIRE, ReadingRows
from logger.wording import plural

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Array = NDArray[np.float64]

LARGEST_DESCRIPTOR = 4_000_000
Described = TypeVar("Described")
FOLDERS = {"sweep": "sweeps", "live": "live"}
INTERRUPTED = "interrupted"


@dataclass(frozen=True)
class Recording:
    """One recording, ready for the analysis. Values in mm or mm/m, with the instrument's own sign and zero."""

    folder: Path
    name: str
    number: int
    kind: str
    set_up: str
    passes: int
    stations_mm: tuple[float, ...]
    started_utc: str
    ended: str
    descriptor: dict[str, Any]
    instrument: Instrument
    t_s: Array
    value: Array
    unit: Literal["mm", "mm/m"]
    position_mm: Array
    no_value_t_s: Array
    no_value_position_mm: Array
    mark_t_s: Array
    mark_source: tuple[str, ...]
    gaps_t_s: Array
    gap_reason: tuple[str, ...]
    garbage: int
    channels: tuple[str, ...]
    """The instrument's channels, in the order they first spoke; ``("",)`` where it has one without a name."""
    channel: NDArray[np.intp]
    """For each reading the index of its channel."""
    warnings: tuple[str, ...] = field(default=())
    beside: tuple[str, ...] = ()
    """The recordings made at the same time by other instruments."""
    position_from: str = ""
    """Which of them the positions are from; empty where they are the instrument's own."""
    index_t_s: Array = field(default_factory=lambda: np.zeros(0))
    index_position_mm: Array = field(default_factory=lambda: np.zeros(0))
    """When the encoder's index was passed, and the position at it, from the same zero as ``position_mm``."""
    marks_taken_back: int = 0

    @cached_property
    def machine(self) -> Machine:
        """The machine as it was described when this was recorded."""
        text = self.descriptor["truestroke"].get("machine") or ""
        if not text:
            raise NotAllowed(f"{self.name} was recorded without a machine.", "Record it in a job folder.")
        return _read_once(_machines, text, f"{self.folder / DESCRIPTOR}: machine", machine_from_text)


def open_recording(folder: Path | str, instrument: Instrument | None = None) -> Recording:
    """The recording in ``folder``, with the positions and marks of what was recorded beside it where it has none.
    With ``instrument`` the readings are made again from the bytes by that profile. Raises :class:`BadFile` where there
    is no recording."""
    return with_beside(open_alone(folder, instrument), open_alone)


def open_alone(folder: Path | str, instrument: Instrument | None = None) -> Recording:
    """The recording by itself."""
    folder = Path(folder)
    descriptor = read_descriptor(folder)
    own = descriptor["truestroke"]
    used = instrument or _instrument_of(own, folder)
    table, warnings = _table(folder, descriptor, used, remade=instrument is not None)
    ended = str(own.get("ended", {}).get("how", INTERRUPTED))
    return _recording(folder, descriptor, used, table, (*_end_warnings(own, ended), *warnings), ended)


# A job's recordings carry the same two descriptions over and over, and reading YAML costs more than reading the sweep.
MOST_DESCRIPTIONS = 32
_instruments: dict[str, Instrument] = {}
_machines: dict[str, Machine] = {}


def _instrument_of(own: dict[str, Any], folder: Path) -> Instrument:
    return _read_once(_instruments, own["instrument"], f"{folder / DESCRIPTOR}: instrument", instrument_from_text)


def _read_once(known: dict[str, Described], text: str, where: str, read: Callable[[str, str], Described]) -> Described:
    if text not in known:
        while len(known) >= MOST_DESCRIPTIONS:
            del known[next(iter(known))]
        known[text] = read(text, where)
    return known[text]


def _recording(
    folder: Path, descriptor: dict[str, Any], used: Instrument, table: Table, warnings: tuple[str, ...], ended: str
) -> Recording:
    own = descriptor["truestroke"]
    counts = used.counts_per_mm or 1.0
    value, unit = _in_base_unit(table)
    events = table.events
    marks = events.standing_marks()
    reasons = tuple(reason for _, _, reason in events.gaps)
    number = re.match(r"\d+", folder.name)
    return Recording(
        folder=folder,
        name=folder.name,
        number=int(number[0]) if number else 0,
        kind=str(own.get("kind", "sweep")),
        set_up=str(own.get("set_up", "")),
        passes=int(own.get("passes", 0)),
        stations_mm=tuple(float(station) for station in own.get("stations_mm", ())),
        started_utc=str(own.get("start", {}).get("utc", "")),
        ended=ended,
        descriptor=descriptor,
        instrument=used,
        t_s=table.t_s,
        value=value,
        unit=unit,
        position_mm=table.position / counts,
        no_value_t_s=_array(t for t, _ in events.no_value),
        no_value_position_mm=_array(position for _, position in events.no_value) / counts,
        mark_t_s=_array(t for t, _ in marks),
        mark_source=tuple(source for _, source in marks),
        gaps_t_s=np.array([gap[:2] for gap in events.gaps], dtype=np.float64).reshape(-1, 2),
        gap_reason=reasons,
        garbage=events.garbage,
        channels=table.channels,
        channel=table.channel,
        warnings=(*warnings, *_event_warnings(table, reasons)),
        index_t_s=_array(t for t, _ in events.index),
        index_position_mm=_array(position for _, position in events.index) / counts,
        marks_taken_back=len(events.marks) - len(marks),
    )


def read_descriptor(folder: Path) -> dict[str, Any]:
    """The descriptor of the recording in ``folder``; :class:`BadFile` where there is none or it is none of ours."""
    path = folder / DESCRIPTOR
    try:
        with path.open("rb") as file:
            raw = file.read(LARGEST_DESCRIPTOR + 1)
    except OSError as error:
        raise BadFile(
            f"{folder} holds no recording: {DESCRIPTOR}: {error.strerror}.", "Name a sweep's folder."
        ) from error
    try:
        descriptor: Any = json.loads(raw) if len(raw) <= LARGEST_DESCRIPTOR else None
    except (ValueError, RecursionError) as error:
        raise BadFile(f"{path} is not JSON: {error}.", "Take it from a copy of the recording.") from error
    own = descriptor.get("truestroke") if isinstance(descriptor, dict) else None
    if not isinstance(own, dict) or not isinstance(own.get("instrument"), str):
        raise BadFile(f"{path} does not describe a recording of truestroke.", "Name a sweep's folder.")
    return {**descriptor}


def list_recordings(job_folder: Path | str, kind: Literal["sweep", "live"] = "sweep") -> list[Path]:
    """The folders of a job's recordings, oldest first."""
    return sorted(path.parent for path in (Path(job_folder) / FOLDERS[kind]).glob(f"*/{DESCRIPTOR}"))


def verify(folder: Path | str) -> list[str]:
    """Everything about a recording that is not as it was written; empty where it is sound.

    Besides the checksums the readings are made again from the bytes and compared, row by row.
    """
    folder = Path(folder)
    descriptor = read_descriptor(folder)
    own = descriptor["truestroke"]
    faults = [] if "ended" in own else [f"{DESCRIPTOR}: the end is missing; the recording was interrupted"]
    wire, readings = RowsFile.read(folder / WIRE), RowsFile.read(folder / READINGS)
    for file, name in ((readings, "readings"), (wire, "wire")):
        faults += file.faults + _checksum_faults(file, descriptor, name)
    instrument = _instrument_of(own, folder)
    rows, broken = read_wire(wire)
    faults += broken
    lines = ReadingRows().lines(_remade(rows, instrument)).encode("utf-8").split(b"\r\n")[:-1]
    faults += _row_faults(readings.lines, lines, complete="ended" in own)
    return faults


# -- which table -------------------------------------------------------------------------------------------------------


def _table(
    folder: Path, descriptor: dict[str, Any], instrument: Instrument, *, remade: bool
) -> tuple[Table, list[str]]:
    """The readings, from readings.csv where it is sound, else from wire.csv; and what was found wrong."""
    complete = "ended" in descriptor["truestroke"]
    warnings: list[str] = []
    if complete and not remade:
        readings = RowsFile.read(folder / READINGS)
        faults = readings.faults + _checksum_faults(readings, descriptor, "readings")
        table, broken = read_readings(readings)
        if not faults and not broken:
            wire = RowsFile.read(folder / WIRE)
            changed = _checksum_faults(wire, descriptor, "wire")
            if instrument.frame == LEARNS and not wire.faults and not changed:
                table = Table.of(_remade(read_wire(wire)[0], instrument, settled=True))
            return table, changed
        warnings += [*faults, *broken, "the readings were made again from wire.csv"]
    wire = RowsFile.read(folder / WIRE)
    rows, broken = read_wire(wire)
    warnings += wire.faults + (_checksum_faults(wire, descriptor, "wire") if complete else []) + broken
    return Table.of(_remade(rows, instrument, settled=instrument.frame == LEARNS)), warnings


LEARNS = "node"
"""The family whose clock is known better once the whole recording is there: its stamps are made again on opening."""


def _remade(rows: Sequence[WireRow], instrument: Instrument, *, settled: bool = False) -> Iterator[Record]:
    """The records of ``rows`` as they were made while they came; ``settled``: with the device's clock known from all of
    them."""
    decoder = make_decoder(instrument.frame_spec())
    if settled:
        from logger.decode.node import NodeDecoder

        first = NodeDecoder(instrument.frame_spec(), collect=True)  # type: ignore[arg-type]
        for row in rows:
            if row.channel == "in":
                first.feed(row.raw, row.t_ns)
        decoder = first.again()
    interpreter = Interpreter(decoder)
    for row in rows:
        yield from interpreter.records(row)
    yield from interpreter.finish()


def _checksum_faults(file: RowsFile, descriptor: dict[str, Any], name: str) -> list[str]:
    resources = descriptor.get("resources", [])
    said = next((str(r.get("hash", "")) for r in resources if isinstance(r, dict) and r.get("name") == name), "")
    if not said or file.missing or said == f"sha256:{hashlib.sha256(file.data).hexdigest()}":
        return []
    return [f"{file.path.name} was changed after it was recorded: its checksum differs"]


def _row_faults(found: list[bytes], made: list[bytes], *, complete: bool) -> list[str]:
    for number, (one, other) in enumerate(zip(found, made, strict=False), start=2):
        if one != other:
            return [f"{READINGS} line {number} is not what {WIRE} gives; from there on they may differ"]
    if len(found) > len(made) or (complete and len(found) < len(made)):
        return [f"{READINGS} has {len(found)} rows; {WIRE} gives {len(made)}"]
    return []


# -- arrays ------------------------------------------------------------------------------------------------------------


def _array(numbers: Iterable[float]) -> Array:
    return np.fromiter(numbers, dtype=np.float64)


def _in_base_unit(table: Table) -> tuple[Array, Literal["mm", "mm/m"]]:
    """Values in mm or mm/m; a reading of the other kind becomes nan."""
    if not table.units:
        return table.value, "mm"
    unit = base_unit(table.units[0])
    value = np.full(table.value.shape, np.nan)
    for index, name in enumerate(table.units):
        if base_unit(name) == unit:
            chosen = table.unit == index
            value[chosen] = to_base(table.value[chosen], name)
    return value, unit


# -- what is said ------------------------------------------------------------------------------------------------------


def _end_warnings(own: dict[str, Any], ended: str) -> list[str]:
    if ended == INTERRUPTED:
        return ["the recording was interrupted: its end is missing, what had arrived is here"]
    if ended in ("link lost", "screen gone", "disk full"):
        message = str(own["ended"].get("message", ""))
        return [f"the recording ended early: {ended}" + (f" ({message})" if message else "")]
    return []


def _event_warnings(table: Table, reasons: tuple[str, ...]) -> list[str]:
    said = {
        "device restarted": "the instrument's clock began again {}",
        "node restarted": "the sensor node started again {}; positions after that are not used",
        "lines lost": "lines of the sensor node were lost {}",
        "no answer": "the instrument left questions unanswered {}",
    }
    warnings = [words.format(_times(reasons.count(reason))) for reason, words in said.items() if reason in reasons]
    if table.events.lost:
        warnings.append(f"the link was lost {_times(table.events.lost)}")
    if table.events.newer:
        warnings.append(f"{table.events.newer}: {plural(table.events.garbage, 'line')} kept as they came")
    return warnings


def _times(count: int) -> str:
    return "once" if count == 1 else f"{count} times"
