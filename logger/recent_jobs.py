"""Which jobs were opened lately on this computer, and what was plugged in then.

Why it exists: at the machine nobody wants to type a path. The list is a small JSON file where the system keeps a
program's state (platformdirs). It is a convenience and nothing more: it may be lost, broken, or name folders on a disk
that is not plugged in, and nothing of a job depends on it. It prevents a start page that fails because of it: whatever
cannot be read is an empty list, and a folder that is gone is shown as gone, not dropped behind the user's back.
"""

from __future__ import annotations

import contextlib
import json
import os
import tempfile
from collections.abc import Iterable
from dataclasses import asdict, dataclass, replace
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from logger.wording import printable

FILE_NAME = "recent.json"
MOST = 20
"""More jobs than that are not remembered; the oldest goes first."""
MOST_BYTES = 64 * 1024
MOST_SIGNS = 400


def holds_a_job(folder: Path | str) -> bool:
    """Whether there is a machine.yaml in the folder; what it says is not read here."""
    return (Path(folder) / "machine.yaml").is_file()


@dataclass(frozen=True, slots=True)
class RecentJob:
    """One job as last opened. ``opened`` is UTC (ISO 8601); port, instrument and set-up are those used last."""

    folder: str
    name: str = ""
    opened: str = ""
    port: str = ""
    instrument: str = ""
    set_up: str = ""

    @property
    def there(self) -> bool:
        """True if the folder still holds a machine.yaml."""
        try:
            return holds_a_job(self.folder)
        except (OSError, ValueError):
            return False


def default_path() -> Path:
    """Where the list is kept on this system."""
    from platformdirs import user_state_path

    return user_state_path("truestroke", appauthor=False) / FILE_NAME


class RecentJobs:
    """The list in the file ``path``; newest first, each folder once."""

    def __init__(self, path: Path | None = None) -> None:
        self._path = path

    @property
    def path(self) -> Path:
        """The file, wherever it is."""
        return self._path if self._path is not None else default_path()

    def jobs(self) -> list[RecentJob]:
        """What is remembered; empty when the file is not there or makes no sense."""
        try:
            with self.path.open("rb") as file:
                data = json.loads(file.read(MOST_BYTES).decode("utf-8"))
        except (OSError, ValueError, RecursionError):
            return []
        listed = data.get("jobs") if isinstance(data, dict) else None
        found = [job for job in map(_job, listed if isinstance(listed, list) else []) if job is not None]
        return _once(found)[:MOST]

    def of(self, folder: Path | str) -> RecentJob | None:
        """What is remembered of ``folder``."""
        wanted = _key(folder)
        return next((job for job in self.jobs() if _key(job.folder) == wanted), None)

    def remember(self, folder: Path | str, name: str, *, now: datetime | None = None, **plugged: str) -> bool:
        """Put ``folder`` at the head; ``plugged`` are port, instrument and set_up, kept from before where empty.

        False when the list could not be written (read-only home, full disk): the job itself does not suffer.
        """
        old = self.of(folder) or RecentJob(_key(folder))
        known = {key: value[:MOST_SIGNS] for key, value in plugged.items() if value}
        opened = (now or datetime.now(UTC)).astimezone(UTC).isoformat(timespec="seconds")
        job = replace(old, folder=_key(folder), name=name[:MOST_SIGNS], opened=opened, **known)
        return self._write(_once([job, *self.jobs()]))

    def forget(self, folder: str) -> bool:
        """Take ``folder`` off the list; nothing in the folder is touched."""
        return self._write([job for job in self.jobs() if _key(job.folder) != _key(folder)])

    def _write(self, jobs: Iterable[RecentJob]) -> bool:
        text = json.dumps({"v": 1, "jobs": [asdict(job) for job in list(jobs)[:MOST]]}, ensure_ascii=False, indent=1)
        path = self.path
        try:
            path.parent.mkdir(parents=True, exist_ok=True)
            handle, name = tempfile.mkstemp(dir=path.parent, prefix=".recent-")
            try:
                with os.fdopen(handle, "w", encoding="utf-8", errors="backslashreplace") as file:
                    file.write(text)
                Path(name).replace(path)
            except OSError:
                with contextlib.suppress(OSError):
                    Path(name).unlink()
                raise
        except OSError:
            return False
        return True


def _job(item: Any) -> RecentJob | None:
    if not isinstance(item, dict):
        return None
    texts = {
        key: printable(value[:MOST_SIGNS])
        for key in ("name", "opened", "port", "instrument", "set_up")
        if isinstance(value := item.get(key), str)
    }
    folder = item.get("folder")
    if not isinstance(folder, str) or not 0 < len(folder) <= 4096 or "\0" in folder:
        return None
    return RecentJob(folder=folder, **texts)


def _key(folder: Path | str) -> str:
    """The folder's full path; links are not followed, so that a name stays the one the user knows."""
    return os.path.abspath(folder)  # noqa: PTH100 - Path.resolve would follow links


def _once(jobs: Iterable[RecentJob]) -> list[RecentJob]:
    seen: dict[str, RecentJob] = {}
    for job in jobs:
        seen.setdefault(_key(job.folder), job)
    return list(seen.values())
