"""Where one begins: the machines worked on lately, a new one, or a folder typed by hand.

Why it exists: nobody at a machine wants to type a path. A folder that is gone (a stick not plugged in) is said to be
gone and stays in the list; a machine file that cannot be used is said with its faults, and nothing else is lost.
"""

from __future__ import annotations

from collections.abc import Iterable
from pathlib import Path
from typing import ClassVar

from textual import events
from textual.widget import Widget

from logger.errors import BadFile, TruestrokeError
from logger.recent_jobs import RecentJob
from logger.tui.keys import JOBS, Key
from logger.tui.screens.base import Sheet
from logger.tui.themes import Look
from logger.tui.widgets.lines import BOLD, INK, SOFT, Line, Lines, wrap

FAULTS_SHOWN = 6


class JobsScreen(Sheet):
    """The list, and what to do where it is empty."""

    NAME = "truestroke"
    KEYS: ClassVar[tuple[Key, ...]] = JOBS

    DEFAULT_CSS = """
    JobsScreen #jobs { margin-top: 1; }
    JobsScreen #hints { height: 1fr; margin-top: 1; }
    """

    def __init__(self) -> None:
        super().__init__()
        self.jobs: list[RecentJob] = []
        self.index = 0
        self._faults: list[str] = []

    def body(self) -> Iterable[Widget]:
        yield Lines(id="jobs")
        yield Lines(id="hints", fixed=True)

    def on_mount(self) -> None:
        self.jobs = self.session.parts.recent()
        super().on_mount()

    def on_screen_resume(self) -> None:
        """Another machine may have been opened meanwhile."""
        self.jobs = self.session.parts.recent()
        self.fit()

    def fit(self) -> None:
        self.head("get a saw bench true, keep it true", self.session.time_of_day())
        self.index = max(0, min(self.index, len(self.jobs) - 1))
        self._show()
        self.refresh_keys()

    def _show(self) -> None:
        width = self.app.size.width
        room = max(3, self.app.size.height - 12)
        first = max(0, min(self.index - room // 2, len(self.jobs) - room))
        folder_at = 46
        lines: list[Line] = []
        if self.jobs:
            lines.append([(f"    {'machine':<27}{'last opened':<15}folder", SOFT)])
        letters = self.query_one("#jobs", Lines).letters
        for place, job in enumerate(self.jobs[first : first + room], first):
            at = place == self.index
            look = BOLD if at else INK
            name = (job.name or Path(job.folder).name)[:26]
            there = job.there
            tail = _short(job.folder, width - folder_at - (2 if there else 13))
            gone = [] if there else [("  not there", Look("high", bold=True))]
            sign = letters.chosen if at else " "
            lines.append([(f"  {sign} {name:<27}{job.opened[:10]:<15}", look), (tail, look if at else SOFT), *gone])
        self.query_one("#jobs", Lines).show(lines)
        self._show_hints(width)

    def _show_hints(self, width: int) -> None:
        said: list[Line] = []
        if self._faults:
            for fault in self._faults[:FAULTS_SHOWN]:
                said += [[(f"  {part}", BOLD)] for part in wrap(fault, width - 4)]
            more = len(self._faults) - FAULTS_SHOWN
            said += [[(f"  and {more} more.", SOFT)]] if more > 0 else []
        elif not self.jobs:
            said += [
                [("  No machine is described yet.", BOLD)],
                [],
                [("  Press n: a short form, answered with a tape measure and the maker's manual.", INK)],
                [("  Press o if a folder with a machine.yaml is there already.", INK)],
            ]
        else:
            said.append([("  enter opens the board of checks. n describes another machine.", INK)])
        said += [[], [("  No machine at hand? Leave with q and type: truestroke demo", SOFT)]]
        self.query_one("#hints", Lines).show(said)

    # --- keys -------------------------------------------------------------------------------------------------------

    def check_action(self, action: str, parameters: tuple[object, ...]) -> bool | None:
        return bool(self.jobs) if action in ("open", "forget") else True

    def action_move(self, by: int) -> None:
        """Another machine of the list."""
        self.index = max(0, min(self.index + by, len(self.jobs) - 1))
        self._faults = []
        self._show()

    def action_open(self) -> None:
        """The board of the chosen machine."""
        if self.jobs:
            self.open_folder(self.jobs[self.index].folder)

    def open_folder(self, folder: str) -> None:
        """Open a folder's board, or say why it cannot be."""
        try:
            job = self.session.parts.open_job(folder)
        except TruestrokeError as error:
            faults = [str(fault) for fault in error.faults] if isinstance(error, BadFile) else []
            self._faults = [f"{error.what} {error.todo}".strip(), *faults]
            self._show()
            return
        self._faults = []
        self.session.port = self.session.instrument_name = self.session.set_up_name = ""
        self.session.take_job(job)
        self.truestroke.open_board()

    def action_folder(self) -> None:
        """Type a folder."""
        self.truestroke.ask_text(
            "In which folder is the machine? The one that holds its machine.yaml.",
            lambda text: None if text else "Type a folder, such as my-saw or ~/saws/kiln-street.",
            self.open_folder,
        )

    def action_new(self) -> None:
        """The short form."""
        self.truestroke.open_new_machine()

    def action_forget(self) -> None:
        """Off the list."""
        if not self.jobs:
            return
        job = self.jobs[self.index]

        def forget() -> None:
            self.session.parts.forget(job.folder)
            self.on_screen_resume()

        self.truestroke.ask_first(
            f"Take {job.name or job.folder} off this list?",
            f"The folder {job.folder} and everything in it stay as they are; o opens it again.",
            forget,
        )

    def on_click(self, event: events.Click) -> None:
        """A row under the mouse is chosen; clicked again it is opened."""
        block = self.query_one("#jobs", Lines)
        if event.widget is block and event.y >= 1:
            room = max(3, self.app.size.height - 12)
            first = max(0, min(self.index - room // 2, len(self.jobs) - room))
            place = first + event.y - 1
            if place == self.index:
                self.action_open()
            elif place < len(self.jobs):
                self.action_move(place - self.index)


def _short(folder: str, room: int) -> str:
    """A path that fits: home as ~, the middle left out."""
    home = str(Path.home())
    text = "~" + folder[len(home) :] if home != "/" and folder.startswith(home) else folder
    if len(text) <= room or room < 8:
        return text[: max(room, 0)]
    return "…" + text[-(room - 1) :]
