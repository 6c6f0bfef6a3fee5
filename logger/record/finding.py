"""A recording of a job by its number, name or path, as people name it.

Why it exists: command line and screen name recordings alike. It prevents the sweep 12 of one being another's.
"""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from logger.errors import NotAllowed

if TYPE_CHECKING:
    from logger.job import Job


def find_recording(job: Job, asked: str) -> Path:
    """The folder of a recording by number, name or path. Raises ``NotAllowed`` naming the nearest."""
    from logger.wording import nearest

    folders = job.recordings("sweep") + job.recordings("live")
    for folder in folders:
        number = folder.name.partition("-")[0]
        if asked == folder.name or (asked.isdecimal() and number.isdecimal() and int(number) == int(asked)):
            return folder
    path = Path(asked)
    if (path / "datapackage.json").is_file():
        return path
    names = [folder.name for folder in folders]
    todo = (
        f"The newest are {', '.join(names[-5:])}."
        if names
        else "This job has none yet: record one with 'truestroke sweep'."
    )
    raise NotAllowed(f"There is no sweep '{asked}' in {job.folder}{nearest(asked, names)}.", todo)
