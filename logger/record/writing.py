"""Write a recording so that whatever has arrived survives a crash, a pulled plug and a full disk.

Why it exists: the bytes of a sweep cannot be had again. They are appended to ``wire.csv`` before anything looks at
them; ``readings.csv`` follows; the descriptor says at the start everything that is known then and is completed once,
atomically, at the end. The mistakes prevented: buffered rows lost in a crash, a file rewritten in place, a recording
that only opens when it was closed properly.

Only the standard library: the reading process starts in a few milliseconds and carries nothing it does not need.
"""

from __future__ import annotations

import hashlib
import json
import os
import re
import threading
from collections.abc import Iterable
from dataclasses import asdict, dataclass, field
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from logger import __version__
from logger.decode.escaped import safe_cell
from logger.errors import CannotSave
from logger.link import wire
from logger.link.wire import Totals, WireRow, show_record, wire_line
from logger.readings import Ended, Gap, Index, Reading, Record

DESCRIPTOR = "datapackage.json"
READINGS = "readings.csv"
WIRE = wire.FILE_NAME
ROOM = ".room"
ROOM_BYTES = 32_768
"""Kept free for the end: on a full disk there must still be room to say how the recording ended."""

READINGS_HEADER = b"seq,t_s,channel,value,unit,note,position\r\n"
_PLAIN_CELL = re.compile(r"[A-Za-z0-9_.#:/ ][A-Za-z0-9_.#:/ -]*|")
_APPEND_NEW = os.O_WRONLY | os.O_CREAT | os.O_EXCL | os.O_APPEND | getattr(os, "O_BINARY", 0)


@dataclass(frozen=True, slots=True)
class Description:
    """Everything known when a recording starts; it travels to the reading process and into the descriptor."""

    kind: str = "sweep"
    set_up: str = ""
    passes: int = 0
    stations_mm: tuple[float, ...] = ()
    port: str = ""
    until: str = ""
    instrument: str = ""
    instrument_name: str = ""
    machine: str = ""
    unit: str = ""
    clock: str = "host"
    resolution: float | None = None
    extra: dict[str, Any] = field(default_factory=dict)


class AppendedFile:
    """A file made new and only ever appended to, whose length and SHA-256 are known at every moment."""

    def __init__(self, path: Path, header: bytes) -> None:
        self.path = path
        self.size = 0
        self._hash = hashlib.sha256()
        self._fd = os.open(path, _APPEND_NEW, 0o644)
        self.write(header)

    def write(self, data: bytes) -> None:
        """All of ``data``, in one write where the system takes it; OSError when the disk is full."""
        view = memoryview(data)
        while view:
            written = os.write(self._fd, view)
            self._hash.update(view[:written])
            self.size += written
            view = view[written:]

    @property
    def sha256(self) -> str:
        return self._hash.hexdigest()

    def sync(self) -> None:
        os.fsync(self._fd)

    def close(self) -> None:
        os.close(self._fd)


class ReadingRows:
    """Records as the rows of readings.csv: the same text when written and when made again."""

    def __init__(self) -> None:
        self.count = 0
        self._cells: dict[str, str] = {}

    def lines(self, records: Iterable[Record]) -> str:
        lines = []
        sequence, cells = self.count, self._cells
        for record in records:
            sequence += 1
            if type(record) is Reading:
                channel = cells.get(record.channel)
                if channel is None:
                    channel = self._cell(record.channel)
                position = "" if record.position is None else repr(record.position)
                lines.append(
                    f"{sequence},{record.t_ns / 1e9:.6f},{channel},{record.value!r},{record.unit},,{position}\r\n"
                )
            else:
                lines.append(_other_line(sequence, record))
        self.count = sequence
        return "".join(lines)

    def _cell(self, text: str) -> str:
        cell = text if _PLAIN_CELL.fullmatch(text) else f'"{safe_cell(text)}"'
        if len(self._cells) < 256:
            self._cells[text] = cell
        return cell


def _other_line(sequence: int, record: Record) -> str:
    position = record.position if isinstance(record, Gap | Index) else None
    shown = "" if position is None else repr(position)
    return f'{sequence},{record.t_ns / 1e9:.6f},,,,"{safe_cell(show_record(record))}",{shown}\r\n'


class RecordingWriter:
    """The two tables and the descriptor of one recording. Everything raises :class:`CannotSave` when the disk is full
    or the folder cannot be written."""

    def __init__(self, folder: Path, description: Description, start_utc: str, monotonic_ns: int = 0) -> None:
        self.folder = folder
        self.rows = ReadingRows()
        self._descriptor = start_descriptor(folder.name, description, start_utc, monotonic_ns)
        try:
            folder.mkdir(parents=True, exist_ok=True)
            _write_new(folder / DESCRIPTOR, _as_json(self._descriptor))
            _write_new(folder / ROOM, b" " * ROOM_BYTES)
            self._wire = AppendedFile(folder / WIRE, wire.HEADER)
            self._readings = AppendedFile(folder / READINGS, READINGS_HEADER)
        except FileExistsError as error:
            raise CannotSave(f"{folder} already holds a recording.", "Choose another folder.") from error
        except OSError as error:
            raise cannot_save(folder, error) from error
        self._syncer = _Syncer((self._wire, self._readings))

    def write_wire(self, rows: Iterable[WireRow]) -> None:
        self._append(self._wire, "".join([wire_line(row) for row in rows]).encode("ascii"))

    def write_records(self, records: Iterable[Record]) -> None:
        lines = self.rows.lines(records)
        if lines:
            self._append(self._readings, lines.encode("utf-8"))

    def sync_soon(self) -> None:
        """Bring what is written to the disk, without waiting for it: a slow disk must not delay a stamp."""
        self._syncer.ask()

    def finish(self, ended: Ended, totals: Totals) -> None:
        """Complete the descriptor, once, atomically. What cannot be completed stays an interrupted recording."""
        self._syncer.stop()
        end = end_descriptor(self._descriptor, ended, totals, (self._readings, self.rows.count), (self._wire, None))
        try:
            (self.folder / ROOM).unlink(missing_ok=True)
            self._wire.sync()
            self._readings.sync()
            _replace(self.folder / DESCRIPTOR, _as_json(end))
        except OSError as error:
            raise cannot_save(self.folder, error) from error
        finally:
            self._wire.close()
            self._readings.close()

    def _append(self, file: AppendedFile, data: bytes) -> None:
        try:
            file.write(data)
        except OSError as error:
            raise cannot_save(file.path, error) from error


def cannot_save(path: Path, error: OSError) -> CannotSave:
    return CannotSave(
        f"{path} cannot be written: {error.strerror or error}.",
        "Everything received before that is kept. Make room or choose another folder, then sweep again.",
    )


class _Syncer:
    """fsync in a thread of its own: it can take tens of milliseconds."""

    def __init__(self, files: tuple[AppendedFile, ...]) -> None:
        self._files = files
        self._asked = threading.Event()
        self._stopping = False
        self._thread = threading.Thread(target=self._run, name="sync", daemon=True)
        self._thread.start()

    def ask(self) -> None:
        self._asked.set()

    def stop(self) -> None:
        self._stopping = True
        self._asked.set()
        self._thread.join()

    def _run(self) -> None:
        while not self._stopping:
            self._asked.wait()
            self._asked.clear()
            try:
                for file in self._files:
                    file.sync()
            except OSError:
                return  # the next write, or the end, meets the same disk and says so


# -- the descriptor (Data Package v2, https://datapackage.org) ---------------------------------------------------------


def start_descriptor(name: str, description: Description, start_utc: str, monotonic_ns: int = 0) -> dict[str, Any]:
    """Everything known at the start. ``truestroke`` is our own part of the package; the rest is the standard's.
    ``monotonic_ns`` ties recordings made at the same time to each other, and means nothing on another day."""
    return {
        "$schema": "https://datapackage.org/profiles/2.0/datapackage.json",
        "name": re.sub(r"[^a-z0-9._-]+", "-", name.lower()).strip("-") or "recording",
        "title": f"{description.kind} {name}",
        "created": start_utc,
        "resources": [_table("readings", READINGS, _reading_fields(description)), _table("wire", WIRE, _wire_fields())],
        "truestroke": {
            "version": __version__,
            "start": {"utc": start_utc, "clock": description.clock, "monotonic_ns": monotonic_ns},
            **asdict(description),
        },
    }


def end_descriptor(
    start: dict[str, Any], ended: Ended, totals: Totals, *files: tuple[AppendedFile, int | None]
) -> dict[str, Any]:
    resources = [
        {
            **resource,
            "bytes": file.size,
            "hash": f"sha256:{file.sha256}",
            **({} if rows is None else {"rows": rows}),
        }
        for resource, (file, rows) in zip(start["resources"], files, strict=True)
    ]
    end = {
        "how": ended.how,
        "message": ended.message,
        "t_s": ended.t_ns / 1e9,
        "utc": datetime.now(UTC).isoformat(timespec="milliseconds").replace("+00:00", "Z"),
        "readings": totals.readings,
        "marks": totals.marks,
        "garbage": totals.garbage,
        "gaps": totals.gaps,
    }
    return {**start, "resources": resources, "truestroke": {**start["truestroke"], "ended": end}}


def _table(name: str, path: str, fields: list[dict[str, Any]]) -> dict[str, Any]:
    return {
        "name": name,
        "path": path,
        "type": "table",
        "format": "csv",
        "mediatype": "text/csv",
        "encoding": "utf-8",
        "schema": {"fields": fields, "missingValues": [""]},
    }


def _reading_fields(description: Description) -> list[dict[str, Any]]:
    base = "the device's clock, since its first line" if description.clock == "device" else "since the recording began"
    return [
        {
            "name": "seq",
            "type": "integer",
            "description": "row number",
            "constraints": {"required": True, "unique": True},
        },
        {"name": "t_s", "type": "number", "unit": "s", "description": f"time, {base}"},
        {
            "name": "channel",
            "type": "string",
            "description": "which of the instrument's channels; empty where it has one",
        },
        {"name": "value", "type": "number", "unit": description.unit, "description": "as the instrument shows it"},
        {"name": "unit", "type": "string", "description": "unit of the value"},
        {"name": "note", "type": "string", "description": "what a row is that is no reading: mark, gap, garbage, link"},
        {"name": "position", "type": "number", "description": "the instrument's own position field, as sent"},
    ]


def _wire_fields() -> list[dict[str, Any]]:
    return [
        {"name": "t_s", "type": "number", "unit": "s", "description": "host time of the last byte, since the start"},
        {
            "name": "channel",
            "type": "string",
            "description": "in: received; out: a request truestroke sent; key: operator's mark; undo: the newest mark "
            "taken back; gap: noted; link",
        },
        {"name": "bytes", "type": "string", "description": "what arrived: printable ASCII, backslash escapes, \\xHH"},
    ]


def _as_json(descriptor: dict[str, Any]) -> bytes:
    return (json.dumps(descriptor, indent=1, ensure_ascii=False) + "\n").encode("utf-8")


def _write_new(path: Path, data: bytes) -> None:
    fd = os.open(path, _APPEND_NEW, 0o644)
    try:
        view = memoryview(data)
        while view:
            view = view[os.write(fd, view) :]
        os.fsync(fd)
    finally:
        os.close(fd)


def _replace(path: Path, data: bytes) -> None:
    """The new content under the old name, or the old content: never half of either."""
    part = path.with_name(path.name + ".part")
    part.unlink(missing_ok=True)
    _write_new(part, data)
    part.replace(path)
    if os.name == "posix":
        folder = os.open(path.parent, os.O_RDONLY)
        try:
            os.fsync(folder)
        finally:
            os.close(folder)
