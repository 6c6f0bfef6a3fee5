"""The screen: live bar, sweep, findings, turning, replay.

Why it exists: at the machine one has dirty hands, bad light and one free finger. This package shows what the other
parts found and passes keys on to them; it reads no port and writes no file itself. Importing it costs nothing: the
framework is loaded when the screen is opened.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Literal

if TYPE_CHECKING:
    from logger.job import Job
    from logger.tui.tour import Tour


@dataclass(frozen=True, slots=True)
class OpenOn:
    """Where to begin: which screen, and what is already known about the source."""

    screen: Literal["start", "live", "replay", "findings"] = "start"
    port: str = ""
    instrument: str = ""
    set_up: str = ""
    sweep: str = ""
    speed: float = 1.0


def run(
    job: Job | Path | str | None = ".",
    *,
    plain: bool = False,
    units: str = "mm",
    dark: bool = False,
    tour: Tour | None = None,
    open_on: OpenOn | None = None,
) -> int:
    """Open the screen and return the exit code when it is left.

    ``job``: a Job, its folder, or None. The caller has checked that there is a terminal. Raises ``BadFile`` before
    anything is drawn if the job's machine cannot be used.
    """
    from logger.tui.app import open_screen

    return open_screen(job, plain=plain, units=units, dark=dark, tour=tour, open_on=open_on or OpenOn())
