"""The job's journal: one JSON object a line, only ever added to.

Why it exists: what was done to a machine over days is the one thing that cannot be measured again. It prevents the
ways such a record gets lost: rewriting it, two programs tearing each other's lines, a half line from a power cut that
hides the good line behind it, and an older program silently misreading a newer one's entries.

``{"v": 1, "id": "9f2c61d0a4be", "time": "2026-11-25T10:51:03.120Z", "who": "sam", "kind": "turned", "data": {...}}``

A line is one ``write`` to a file opened for appending, then ``fsync``. It counts only with its final newline. A line
that cannot be read stays where it is and is said; a correction is a later entry. (JSON Lines,
with the final newline required. On Windows the system does not promise that two programs' appends never mix.)
"""

from __future__ import annotations

import dataclasses
import getpass
import json
import os
import secrets
import time
from collections import OrderedDict
from collections.abc import Callable
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from logger.errors import BadFile, CannotSave

VERSION = 1
MAX_LINE_BYTES = 1024 * 1024
MAX_FILE_BYTES = 256 * 1024 * 1024
REQUIRED = ("id", "time", "who", "kind", "data")
MOST_KEPT = 4
SETTLED_NS = 200_000_000
"""A file changed later than this before it was read may change again within one tick of the disk's clock."""


@dataclass(frozen=True, slots=True)
class JournalEntry:
    """One thing that was done. ``time`` is UTC (ISO 8601); ``data`` depends on ``kind``; ``line`` counts from 1."""

    id: str
    time: str
    who: str
    kind: str
    data: dict[str, Any]
    line: int = 0


@dataclass(frozen=True, slots=True)
class JournalContents:
    """What a journal says: ``entries`` in the order of the file, and a sentence for each line kept aside."""

    entries: tuple[JournalEntry, ...]
    faults: tuple[str, ...]


_Mark = tuple[int, int, int]
_kept: OrderedDict[Path, tuple[_Mark, JournalContents]] = OrderedDict()
"""What was read last, by file: a report asks for the same journal once for every sweep."""


def utc_now() -> datetime:
    return datetime.now(UTC)


def user_name() -> str:
    """Who is at the keyboard, as the system knows them; empty where it does not."""
    try:
        name = getpass.getuser()
    except (OSError, KeyError, ImportError):
        return ""
    return "".join(character for character in name if character.isprintable())[:60]


class Journal:
    """The file ``path``. ``now`` gives UTC and ``who`` the user: tests pass their own."""

    def __init__(self, path: Path, now: Callable[[], datetime] = utc_now, who: Callable[[], str] = user_name) -> None:
        self.path = path
        self._now = now
        self._who = who

    def append(self, kind: str, data: dict[str, Any]) -> JournalEntry:
        """Write one entry and see it onto the disk. CannotSave when it could not be; what was there is untouched."""
        time = self._now().astimezone(UTC).isoformat(timespec="milliseconds").replace("+00:00", "Z")
        entry = JournalEntry(secrets.token_hex(6), time, self._who(), kind, data)
        fields = {"v": VERSION, **{name: getattr(entry, name) for name in REQUIRED}}
        line = json.dumps(fields, ensure_ascii=False, allow_nan=False, separators=(",", ":"), default=_plain)
        raw = line.encode("utf-8", "backslashreplace") + b"\n"
        if len(raw) > MAX_LINE_BYTES:
            raise CannotSave(f"A journal entry of {len(raw)} bytes is more than the {MAX_LINE_BYTES} allowed.")
        self._write(raw)
        return dataclasses.replace(entry, data=json.loads(line)["data"])

    def _write(self, raw: bytes) -> None:
        try:
            handle = os.open(self.path, os.O_RDWR | os.O_APPEND | os.O_CREAT | getattr(os, "O_BINARY", 0), 0o644)
            try:
                # A torn last line gets its newline from us, so that it cannot swallow this entry.
                raw = raw if self._ends_with_newline(handle) else b"\n" + raw
                written = os.write(handle, raw)
                os.fsync(handle)
            finally:
                os.close(handle)
        except OSError as problem:
            reason = problem.strerror or type(problem).__name__
            raise CannotSave(
                f"{self.path} could not be written: {reason}.", "Make room or rights, then repeat."
            ) from problem
        if written != len(raw):
            raise CannotSave(f"Only {written} of {len(raw)} bytes fitted into {self.path}.", "Make room, then repeat.")

    @staticmethod
    def _ends_with_newline(handle: int) -> bool:
        size = os.fstat(handle).st_size
        if not size:
            return True
        os.lseek(handle, size - 1, os.SEEK_SET)
        return os.read(handle, 1) == b"\n"

    def read(self) -> JournalContents:
        """Every whole entry in the order of the file, and a sentence for each line that is none.

        A file that has not changed since it was read last is not read again.
        """
        path = self.path.absolute()
        try:
            status = self.path.stat()
            mark = (status.st_mtime_ns, status.st_size, status.st_ino)
            if path in _kept and _kept[path][0] == mark:
                _kept.move_to_end(path)
                return _kept[path][1]
            if status.st_size > MAX_FILE_BYTES:
                raise BadFile(f"{self.path} is larger than {MAX_FILE_BYTES // 1024**2} MB, the most allowed.")
            settled = time.time_ns() - status.st_mtime_ns > SETTLED_NS
            lines = self.path.read_bytes().split(b"\n")
        except FileNotFoundError:
            return JournalContents((), ())
        except OSError as problem:
            reason = problem.strerror or type(problem).__name__
            raise BadFile(f"{self.path} cannot be read: {reason}.", "Check the file's rights.") from problem
        entries: list[JournalEntry] = []
        faults: list[str] = []
        for number, raw in enumerate(lines, 1):
            if not raw.strip():
                continue
            found = "has no end (the writing was interrupted)" if number == len(lines) else _entry(raw, number)
            if isinstance(found, JournalEntry):
                entries.append(found)
            else:
                faults.append(f"{self.path.name} line {number} {found}; it is kept in the file and left out.")
        contents = JournalContents(tuple(entries), tuple(faults))
        _kept.pop(path, None)
        if settled:
            _kept[path] = (mark, contents)
            while len(_kept) > MOST_KEPT:
                _kept.popitem(last=False)
        return contents


def _entry(raw: bytes, number: int) -> JournalEntry | str:
    """The entry in one line, or what is wrong with it."""
    if len(raw) > MAX_LINE_BYTES:
        return f"has {len(raw)} bytes, more than the {MAX_LINE_BYTES} allowed"
    try:
        fields = json.loads(raw.decode("utf-8"), parse_constant=_no_constant)
    except (ValueError, RecursionError):
        return "is not a JSON object"
    if not isinstance(fields, dict):
        return "is not a JSON object"
    version = fields.get("v")
    if isinstance(version, int) and not isinstance(version, bool) and version > VERSION:
        return f"was written by a newer truestroke (version {version} of the journal, this one knows {VERSION})"
    wanting = [name for name in REQUIRED if not isinstance(fields.get(name), dict if name == "data" else str)]
    if version != VERSION or wanting:
        return f"lacks {', '.join(wanting) or 'its version v'}"
    return JournalEntry(fields["id"], fields["time"], fields["who"], fields["kind"], fields["data"], number)


def _no_constant(text: str) -> float:
    raise ValueError(f"{text} is no number")


def _plain(value: Any) -> Any:
    """Frozen records and array scalars as JSON can hold them."""
    if dataclasses.is_dataclass(value) and not isinstance(value, type):
        return {field.name: getattr(value, field.name) for field in dataclasses.fields(value)}
    if isinstance(value, Path):
        return str(value)
    if callable(tolist := getattr(value, "tolist", None)):
        return tolist()
    raise TypeError(f"{type(value).__name__} has no place in a journal")
