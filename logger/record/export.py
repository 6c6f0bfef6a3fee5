"""A recording for other programs: one plain table, or a Data Package that says what its columns mean.

Why it exists: the record of an alignment must outlive this program. The mistake prevented: a copy that cannot be told
from the original, or that carries a checksum of something else. What is exported is what :func:`open_recording` found
sound; the package is the standard's (https://datapackage.org, version 2) and complete also where the recording was
interrupted.
"""

from __future__ import annotations

import hashlib
import json
import zipfile
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from logger.decode.escaped import safe_cell
from logger.errors import CannotSave, NotAllowed
from logger.record.beside import POSITION
from logger.record.rows import RowsFile
from logger.record.writing import DESCRIPTOR, READINGS, WIRE
from logger.recording import Recording, open_alone, open_recording

TABLE_HEADER = "t_s,what,channel,value,unit,position_mm\r\n"


def export(folder: Path | str, target: Path | str) -> Path:
    """Write the recording in ``folder`` to ``target``: ``.csv`` one table in mm or mm/m, ``.zip`` a Data Package, any
    other name a new folder with a Data Package. Never overwrites; :class:`CannotSave` where it cannot be written."""
    folder, target = Path(folder), Path(target)
    recording = open_recording(folder)
    if target.exists():
        raise NotAllowed(f"{target} is already there.", "Choose another name; nothing is overwritten.")
    try:
        target.parent.mkdir(parents=True, exist_ok=True)
        if target.suffix.lower() == ".csv":
            with target.open("x", encoding="utf-8", newline="") as file:
                file.writelines(_table(recording))
        elif target.suffix.lower() == ".zip":
            _zipped(package(recording), target)
        else:
            target.mkdir()
            for name, data in package(recording).items():
                (target / name).parent.mkdir(exist_ok=True)
                (target / name).write_bytes(data)
    except OSError as error:
        raise CannotSave(f"{target} cannot be written: {error.strerror or error}.", "Choose another place.") from error
    return target


def package(recording: Recording) -> dict[str, bytes]:
    """The files of a Data Package by name: the descriptor and the two tables, their whole rows only; below it, as a
    package of its own, the encoder's recording that gave the positions, where there is one."""
    inside = recording.folder / POSITION
    beside = package(open_alone(inside)) if (inside / DESCRIPTOR).is_file() else {}
    return _own_package(recording) | {f"{POSITION}/{name}": data for name, data in beside.items()}


def _own_package(recording: Recording) -> dict[str, bytes]:
    files = {name: _sound(recording.folder / name) for name in (READINGS, WIRE)}
    descriptor = {**recording.descriptor}
    descriptor["resources"] = [_described(resource, files) for resource in descriptor["resources"]]
    return {DESCRIPTOR: (json.dumps(descriptor, indent=1, ensure_ascii=False) + "\n").encode("utf-8"), **files}


def _sound(path: Path) -> bytes:
    """The file without a torn last line."""
    file = RowsFile.read(path)
    if file.missing:
        raise NotAllowed(file.faults[0] + ".", "Only the table (a name ending in .csv) can be exported.")
    end = file.data.rfind(b"\n") + 1
    return file.data[:end]


def _described(resource: dict[str, Any], files: dict[str, bytes]) -> dict[str, Any]:
    data = files[resource["path"]]
    rows = {"rows": data.count(b"\n") - 1} if "rows" in resource else {}
    return {**resource, "bytes": len(data), "hash": f"sha256:{hashlib.sha256(data).hexdigest()}", **rows}


def _zipped(files: dict[str, bytes], target: Path) -> None:
    with target.open("xb") as raw, zipfile.ZipFile(raw, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, data in files.items():
            archive.writestr(name, data)


def _table(recording: Recording) -> Iterator[str]:
    """Readings and marks in the order of time."""
    names = [name if name.isascii() and name.isidentifier() else f'"{safe_cell(name)}"' for name in recording.channels]
    names = ["" if name == '""' else name for name in names]
    columns = (recording.t_s, recording.value, recording.position_mm, recording.channel)
    rows = [
        (t, f"{t:.6f},reading,{names[channel]},{value:.9g},{recording.unit},{_number(position)}\r\n")
        for t, value, position, channel in zip(*(column.tolist() for column in columns), strict=True)
    ]
    rows += [(t, f"{t:.6f},mark,,,,\r\n") for t in recording.mark_t_s.tolist()]
    rows += [
        (t, f"{t:.6f},no value,,,,{_number(position)}\r\n")
        for t, position in zip(recording.no_value_t_s.tolist(), recording.no_value_position_mm.tolist(), strict=True)
    ]
    yield TABLE_HEADER
    for _, row in sorted(rows, key=lambda row: row[0]):
        yield row


def _number(value: float) -> str:
    return f"{value:.9g}" if value == value else ""
