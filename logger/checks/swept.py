"""Sweeps instead of typed readings: a straightedge swept twice becomes what ``straight`` is given.

Why it exists: an indicator on a wire reads a straightedge at a thousand places while the carriage is pushed, and nobody
types that. It prevents a second way of judging: two sideways sweeps become readings at places, and go the way of typed
ones from there; and it prevents the two being exchanged, because the set-up says which way the tip pointed.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np

from logger.errors import NotAllowed

if TYPE_CHECKING:
    from analysis.results import Profile
    from logger.checks.model import Check
    from logger.job import Job
    from logger.machines import SetUp

KEY = "sweeps"
PLACES = 25


def with_sweeps(job: Job, check: Check, texts: Sequence[str]) -> list[str]:
    """The texts with ``sweeps=3,4`` made into x=, first=, second=; as they are where there are none.

    NotAllowed where the two are not one sideways set-up each way.
    """
    named = [text.partition("=")[2] for text in texts if text.partition("=")[0].strip().casefold() == KEY]
    if check.name != "straight" or not named:
        return list(texts)
    asked = [name.strip() for name in named[0].split(",")]
    if len(asked) != 2:
        raise NotAllowed(f"sweeps={named[0][:40]} names {len(asked)}.", "Two are needed, as sweeps=3,4.")
    (first, at_first), (second, at_second) = (_profile(job, name) for name in asked)
    if {at_first.direction, at_second.direction} != {"toward_table", "from_table"}:
        raise NotAllowed(
            f"Sweeps {named[0][:40]} do not touch the straightedge from both sides.",
            "One set-up with direction: toward_table and one with direction: from_table are needed.",
        )
    if at_first.direction == "from_table":
        first, second = second, first
    low, high = max(first.x_mm.min(), second.x_mm.min()), min(first.x_mm.max(), second.x_mm.max())
    if not high - low > 100.0:
        raise NotAllowed("The two sweeps share less than 100 mm.", "Sweep the same stretch both times.")
    x = np.linspace(low, high, PLACES)
    # a profile is how far the carriage stands toward the table; from behind it is pushed in the other way
    readings = {
        "x": x,
        "first": np.interp(x, first.x_mm, first.value - first.value[0]),
        "second": -np.interp(x, second.x_mm, second.value - second.value[0]),
    }
    clash = [text for text in texts if text.partition("=")[0].strip().casefold() in readings]
    if clash:
        raise NotAllowed(f"'{clash[0][:40]}' is typed beside sweeps=.", "Give the readings or the sweeps, not both.")
    made = [f"{key}={','.join(f'{value:.4f}' for value in values)}mm" for key, values in readings.items()]
    return [*texts, *made]


def _profile(job: Job, name: str) -> tuple[Profile, SetUp]:
    from logger.findings import find
    from logger.recording import open_recording

    folders = {folder.name: folder for folder in job.recordings()}
    numbered = {str(int(folder[:4])): folder for folder in folders if folder[:4].isdecimal()}
    folder = folders.get(numbered.get(name.lstrip("0") or "0", name))
    if folder is None:
        raise NotAllowed(f"There is no sweep '{name[:40]}'.", f"There are: {', '.join(list(folders)[-5:]) or 'none'}.")
    recording = open_recording(folder)
    set_up = recording.machine.set_up(recording.set_up)
    if set_up.kind == "level" or set_up.direction == "height":
        raise NotAllowed(
            f"Sweep {name[:40]} ({recording.set_up}) does not read sideways.",
            "Write a set-up with direction: toward_table or from_table in machine.yaml, and sweep it.",
        )
    return find([recording]).profile, set_up
