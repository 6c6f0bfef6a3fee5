"""A whole job as one Data Package: recordings, journal, checks and moves as tables that say what their columns mean.

Why it exists: the record of a machine over years must outlive this program. One descriptor at the top names every table
with its units, so that a spreadsheet, a statistics package or a program not yet written can open all of it. It prevents
an export that drops what it does not understand: the journal is there line by line, broken lines included, as it was
written (https://datapackage.org, version 2).
"""

from __future__ import annotations

import csv
import hashlib
import io
import json
from collections.abc import Callable, Iterable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

from logger import __version__
from logger.errors import BadFile, CannotSave, NotAllowed
from logger.record.export import export
from logger.record.writing import DESCRIPTOR

if TYPE_CHECKING:
    from logger.job import Job
    from logger.journal import JournalEntry

Progress = Callable[[int, int], object]
Row = Sequence[Any]
_TIME = {"name": "time", "type": "string", "description": "UTC, ISO 8601"}


def export_job(job: Job, target: Path, progress: Progress | None = None) -> tuple[Path, list[str]]:
    """Write all of the job to the new folder ``target``; returns it and what could not be copied, in sentences.

    NotAllowed where ``target`` is there already; CannotSave where it cannot be written.
    """
    if target.exists() and (not target.is_dir() or any(target.iterdir())):
        raise NotAllowed(f"{target} is already there.", "Choose another name; nothing is overwritten.")
    folders = job.recordings("sweep") + job.recordings("live")
    said: list[str] = []
    copied: list[Path] = []
    try:
        target.mkdir(parents=True, exist_ok=True)
        for done, folder in enumerate(folders, 1):
            try:
                copied.append(export(folder, target / folder.parent.name / folder.name))
            except (BadFile, NotAllowed) as fault:
                said.append(f"{folder.name} was not copied: {fault}")
            if progress is not None:
                progress(done, len(folders))
        tables = _tables(job, copied)
        for name, (_, data) in tables.items():
            (target / f"{name}.csv").write_bytes(data)
        for name in ("machine.yaml", "journal.jsonl"):  # as they stand, beside the tables made of them
            if (job.folder / name).is_file():
                (target / name).write_bytes((job.folder / name).read_bytes())
        descriptor = _descriptor(job, target, tables, copied)
        (target / DESCRIPTOR).write_text(json.dumps(descriptor, indent=1, ensure_ascii=False) + "\n", encoding="utf-8")
    except OSError as error:
        raise CannotSave(f"{target} cannot be written: {error.strerror or error}.", "Choose another place.") from error
    return target, [*said, *job.journal_faults()]


def _descriptor(
    job: Job, target: Path, tables: dict[str, tuple[list[dict[str, Any]], bytes]], copied: Sequence[Path]
) -> dict[str, Any]:
    resources = [_table(name, f"{name}.csv", fields, data) for name, (fields, data) in tables.items()]
    for folder in copied:
        inside = json.loads((folder / DESCRIPTOR).read_text(encoding="utf-8"))
        for resource in inside["resources"]:
            path = f"{folder.parent.name}/{folder.name}/{resource['path']}"
            resources.append({**resource, "name": f"{folder.name}-{resource['name']}", "path": path})
    machine = (target / "machine.yaml").read_bytes()
    resources.append({"name": "machine", "path": "machine.yaml", "mediatype": "application/yaml", **_sum(machine)})
    return {
        "$schema": "https://datapackage.org/profiles/2.0/datapackage.json",
        "name": "truestroke-job",
        "title": job.machine.name,
        "description": "Lengths in mm, slopes in mm/m, unless a column says otherwise; uncertainties expanded, k = 2.",
        "resources": resources,
        "truestroke": {"version": __version__},
    }


def _table(name: str, path: str, fields: list[dict[str, Any]], data: bytes) -> dict[str, Any]:
    return {
        "name": name,
        "path": path,
        "type": "table",
        "format": "csv",
        "mediatype": "text/csv",
        "encoding": "utf-8",
        "schema": {"fields": fields, "missingValues": [""]},
        **_sum(data),
    }


def _sum(data: bytes) -> dict[str, Any]:
    return {"bytes": len(data), "hash": f"sha256:{hashlib.sha256(data).hexdigest()}"}


# -- tables ------------------------------------------------------------------------------------------------------------


def _tables(job: Job, copied: Sequence[Path]) -> dict[str, tuple[list[dict[str, Any]], bytes]]:
    entries = job.standing_entries()
    held = {entry.id for entry in entries}
    made: dict[str, tuple[list[dict[str, Any]], Iterable[Row]]] = {
        "recordings": (_RECORDINGS, _recordings(copied)),
        "journal": (_JOURNAL, [_journal_row(entry, entry.id in held) for entry in job.entries()]),
        "turned": (_TURNED, _turned(entries)),
        "checks": (_CHECKS, _checks(entries)),
    }
    return {name: (fields, _csv(fields, rows)) for name, (fields, rows) in made.items()}


def _csv(fields: Sequence[dict[str, Any]], rows: Iterable[Row]) -> bytes:
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\r\n")
    writer.writerow([field["name"] for field in fields])
    writer.writerows([[_cell(value) for value in row] for row in rows])
    return out.getvalue().encode("utf-8", "replace")


def _cell(value: Any) -> Any:
    """What stands in a cell. A text that a spreadsheet would take for a formula gets an apostrophe, as in readings."""
    if value is None:
        return ""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, float):
        return repr(value)
    if isinstance(value, str):
        text = value.replace("\0", "")
        return f"'{text}" if text[:1] in ("=", "+", "-", "@", "\t", "\r") else text
    return value


def _field(name: str, kind: str, description: str, unit: str = "") -> dict[str, Any]:
    return {"name": name, "type": kind, "description": description, **({"unit": unit} if unit else {})}


_RECORDINGS = [
    _field("recording", "string", "folder of the recording"),
    _field("kind", "string", "sweep, or live (only watched)"),
    _field("set_up", "string", "set-up of machine.yaml"),
    _field("started", "string", "UTC, ISO 8601"),
    _field("ended", "string", "how it ended; empty: it was interrupted"),
    _field("instrument", "string", "name of the instrument's file"),
    _field("passes", "integer", "passes asked for"),
]


def _recordings(copied: Sequence[Path]) -> list[Row]:
    rows: list[Row] = []
    for folder in copied:
        own = json.loads((folder / DESCRIPTOR).read_text(encoding="utf-8")).get("truestroke", {})
        start, end = own.get("start"), own.get("ended")
        rows.append(
            (
                folder.name,
                str(own.get("kind", "")),
                str(own.get("set_up", "")),
                str(start.get("utc", "")) if isinstance(start, dict) else "",
                str(end.get("how", "")) if isinstance(end, dict) else "",
                str(own.get("instrument_name", "")),
                own.get("passes") if isinstance(own.get("passes"), int) else None,
            )
        )
    return rows


_JOURNAL = [
    _field("id", "string", "of the entry"),
    _TIME,
    _field("who", "string", "as the system knew them"),
    _field("kind", "string", "sweep, turned, taken, note, ..."),
    _field("holds", "boolean", "false: corrected or withdrawn by a later entry"),
    _field("data", "string", "the entry's own fields, as JSON"),
]


def _journal_row(entry: JournalEntry, holds: bool) -> Row:
    return entry.id, entry.time, entry.who, entry.kind, holds, json.dumps(entry.data, ensure_ascii=False)


_TURNED = [
    _TIME,
    _field("who", "string", "who turned it"),
    _field("bolt", "string", "name in machine.yaml"),
    _field("raise_mm", "number", "travel of the bolt's own thread, + up", "mm"),
    _field("uncertainty_mm", "number", "expanded, k = 2", "mm"),
    _field("form", "string", "thread (travel given), turns (counted), parked (from the display)"),
    _field("park_mm", "number", "where the carriage's middle stood", "mm"),
    _field("before", "number", "the display before, raw sign"),
    _field("after", "number", "the display after the lock nut, raw sign"),
    _field("set_up", "string", "of the display"),
]


def _turned(entries: Sequence[JournalEntry]) -> list[Row]:
    from logger.job import turned_in

    return [
        (
            entry.time,
            entry.who,
            m.bolt,
            m.raise_mm,
            m.uncertainty_mm,
            m.form,
            m.park_mm,
            m.before,
            m.after,
            m.set_up or "",
        )
        for entry in entries
        if entry.kind == "turned"
        for m in turned_in(entry)
    ]


_CHECKS = [
    _TIME,
    _field("who", "string", "who took it"),
    _field("check", "string", "name of the check"),
    _field("adjusted", "boolean", "true: nothing was measured, the thing was moved"),
    _field("value", "number", "in the column unit"),
    _field("uncertainty", "number", "expanded, k = 2, in the column unit"),
    _field("unit", "string", "mm, mm/m or empty"),
    _field("verdict", "string", "inside, outside or cannot tell (ISO 14253-1)"),
    _field("lower", "number", "lower limit that held; empty: none"),
    _field("upper", "number", "upper limit that held"),
    _field("origin", "string", "where the limits come from"),
    _field("typed", "string", "the readings as they were typed"),
]


def _checks(entries: Sequence[JournalEntry]) -> list[Row]:
    rows: list[Row] = []
    for entry in entries:
        name, data = entry.data.get("check"), entry.data
        if entry.kind != "taken" or not isinstance(name, str):
            continue
        allowed = data.get("allowed")
        limits = allowed if isinstance(allowed, dict) else {}
        typed = data.get("typed")
        rows.append(
            (
                entry.time,
                entry.who,
                name,
                data.get("adjusted") is True,
                _number(data.get("value")),
                _number(data.get("uncertainty")),
                _text(data.get("unit")),
                _text(data.get("verdict")),
                _number(limits.get("lower")),
                _number(limits.get("upper")),
                _text(limits.get("origin")),
                " ".join(map(str, typed)) if isinstance(typed, list) else "",
            )
        )
    return rows


def _number(value: Any) -> float | None:
    return float(value) if isinstance(value, int | float) and not isinstance(value, bool) else None


def _text(value: Any) -> str:
    return value if isinstance(value, str) else ""
