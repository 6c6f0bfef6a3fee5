"""One recording judged in a second set-up: a two-axis level, or two probes on one line, pushed once.

Why it exists: a device with two axes says both in the same lines, and a sweep belongs to one set-up. So the recording
is copied, bytes and all, under the other set-up's name. The mistake prevented: pushing the carriage twice and comparing
two pushes, when one had said both.
"""

from __future__ import annotations

import json
import os
from pathlib import Path

from logger.errors import CannotSave, NotAllowed
from logger.record.beside import MOST_BESIDE, POSITION
from logger.record.writing import DESCRIPTOR, READINGS, WIRE
from logger.recording import open_alone, read_descriptor


def copy_for_set_up(folder: Path, target: Path, set_up: str) -> None:
    """Copy the ended recording in ``folder`` to the new folder ``target`` as a sweep of ``set_up``. NotAllowed where it
    has no end or ``target`` is there; CannotSave where it cannot be written."""
    descriptor = read_descriptor(folder)
    own = descriptor["truestroke"]
    if "ended" not in own:
        raise NotAllowed(f"{folder.name} has no end and is not copied.", "Sweep again.")
    beside = [place if place != POSITION else f"../{folder.name}/{POSITION}" for place in _together(own)]
    beside = [f"../{folder.name}", *beside][:MOST_BESIDE]
    own = {**own, "set_up": set_up, "copied_from": folder.name, "extra": {**own.get("extra", {}), "together": beside}}
    text = json.dumps(
        {**descriptor, "name": target.name, "title": f"sweep {target.name}", "truestroke": own},
        indent=1,
        ensure_ascii=False,
    )
    try:
        target.mkdir(parents=True)
        for name in (WIRE, READINGS):
            _write_new(target / name, (folder / name).read_bytes())
        _write_new(target / DESCRIPTOR, (text + "\n").encode("utf-8"))
    except FileExistsError as error:
        raise NotAllowed(f"{target} is already there.", "Nothing is overwritten; sweep again.") from error
    except OSError as error:
        raise CannotSave(
            f"{target} cannot be written: {error.strerror or error}.", "Make room, then sweep again."
        ) from error
    open_alone(target)


def _together(own: dict[str, object]) -> list[str]:
    extra = own.get("extra")
    named = extra.get("together", []) if isinstance(extra, dict) else []
    return [place for place in named if isinstance(place, str)] if isinstance(named, list) else []


def _write_new(path: Path, data: bytes) -> None:
    with path.open("xb") as file:
        file.write(data)
        file.flush()
        os.fsync(file.fileno())
