"""Where a report is written: over the one before it, and over nothing else.

Why it exists: command line and screen write the same file. A file that is not a report of this program is never
overwritten, and a half-written one never takes a whole one's place.
"""

from __future__ import annotations

import os
import tempfile
from pathlib import Path

from logger.errors import CannotSave, NotAllowed

OURS = '<meta name="generator" content="truestroke '
HEAD_BYTES = 2000


def refuse_what_is_not_ours(target: Path) -> None:
    """NotAllowed where ``target`` is there and is no report of this program."""
    if target.is_dir():
        raise NotAllowed(f"{target} is a folder.", "Name a file after --out.")
    if not target.exists():
        return
    try:
        with target.open("rb") as file:
            head = file.read(HEAD_BYTES)
    except OSError as error:
        raise CannotSave(f"{target} cannot be read: {error.strerror or error}.", "Name another file.") from error
    if OURS.encode("ascii") not in head:
        raise NotAllowed(f"{target} is there already and is no report of truestroke.", "Name another file after --out.")


def write_whole(target: Path, data: bytes) -> None:
    """The new content under that name, or the old: never half of either. CannotSave where it cannot be written."""
    try:
        target.parent.mkdir(parents=True, exist_ok=True)
        handle, part = tempfile.mkstemp(dir=target.parent, prefix=".report-", suffix=".part")
    except OSError as error:
        raise CannotSave(f"{target} cannot be written: {error.strerror or error}.", "Choose another place.") from error
    try:
        with os.fdopen(handle, "wb") as file:
            file.write(data)
        Path(part).chmod(0o644)
        Path(part).replace(target)
    except OSError as error:
        raise CannotSave(f"{target} cannot be written: {error.strerror or error}.", "Choose another place.") from error
    finally:
        Path(part).unlink(missing_ok=True)
