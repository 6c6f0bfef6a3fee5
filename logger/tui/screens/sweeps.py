"""All sweeps of a machine, and two of them side by side.

Why it exists: "was it like this last month?" is answered by a picture, not by memory. One sweep is kept faintly in the
picture while another is looked at; how far they differ is said with its uncertainty.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import replace
from typing import ClassVar

import numpy as np
from textual import events, work
from textual.widget import Widget
from textual.worker import Worker, WorkerState

from analysis.results import Findings
from logger.errors import TruestrokeError
from logger.rail_picture import Seen, curve_of, rail_picture
from logger.tui.asked import SweepRow
from logger.tui.keys import SWEEPS, Key
from logger.tui.screens.base import Sheet
from logger.tui.widgets.lines import BOLD, INK, SOFT, Line, Lines, cut, wrap
from logger.tui.widgets.rail import Rail
from logger.tui.wording import Units
from logger.wording import ended

KEPT = 40
"""Findings of sweeps looked at, kept for the screen."""


class SweepsScreen(Sheet):
    """List, picture, difference."""

    NAME = "sweeps"
    KEYS: ClassVar[tuple[Key, ...]] = SWEEPS

    DEFAULT_CSS = """
    SweepsScreen #list { height: 1fr; min-height: 3; }
    SweepsScreen #words { height: 2; margin-top: 1; }
    """

    def __init__(self) -> None:
        super().__init__()
        self.rows: list[SweepRow] = []
        self.index = 0
        self.beside = ""
        self._first = 0
        self._found: dict[str, Findings | str] = {}
        self._asked = ""

    def body(self) -> Iterable[Widget]:
        yield Lines(id="list", fixed=True)
        yield Lines(id="words", fixed=True)
        yield Rail(self.units, id="rail")

    def on_mount(self) -> None:
        job = self.session.job
        self.rows = self.session.parts.sweeps(job) if job is not None else []
        super().on_mount()
        self._ask()

    def fit(self) -> None:
        self.query_one("#rail", Rail).fit()
        self.show()

    def units_changed(self) -> None:
        self.show()

    # --- asking -----------------------------------------------------------------------------------------------------

    def _ask(self) -> None:
        """Findings of the sweep under the cursor and of the one beside it, in a thread, one at a time."""
        wanted = [name for name in (self.here, self.beside) if name and name not in self._found]
        if wanted and not self._asked:
            self._asked = wanted[0]
            self._find_in_thread(wanted[0])
        self.show()

    @work(thread=True, group="sweep", exit_on_error=False)
    def _find_in_thread(self, name: str) -> Findings | None:
        job = self.session.job
        return self.session.parts.findings_of(job, name) if job is not None else None

    def on_worker_state_changed(self, event: Worker.StateChanged) -> None:
        """What one sweep says, or why it says nothing."""
        if event.worker.group != "sweep" or event.state not in (WorkerState.SUCCESS, WorkerState.ERROR):
            return
        name, self._asked = self._asked, ""
        if event.state is WorkerState.ERROR:
            error = event.worker.error
            if not isinstance(error, TruestrokeError):
                raise error or RuntimeError("a thread failed without a reason")
            self._found[name] = f"{error.what} {error.todo}".strip()
        elif event.worker.result is not None:
            self._found[name] = event.worker.result
        while len(self._found) > KEPT:
            del self._found[next(iter(self._found))]
        self._ask()

    # --- showing ----------------------------------------------------------------------------------------------------

    @property
    def here(self) -> str:
        """Name of the sweep under the cursor."""
        return self.rows[self.index].name if self.rows else ""

    def show(self) -> None:
        """List, difference, picture."""
        self.head(self.session.machine.name, f"{len(self.rows)} recorded")
        block = self.query_one("#list", Lines)
        if not self.rows:
            block.show([[], [("  Nothing has been swept yet. Escape, then s on the board.", BOLD)]])
            self._picture(None, None)
            return
        room = max(1, block.size.height - 1)
        if not self._first <= self.index < self._first + room:
            self._first = max(0, min(self.index - room // 2, len(self.rows) - room))
        lines: list[Line] = [[(f"    {'sweep':<18}{'begun (UTC)':<18}{'set-up':<11}ended", SOFT)]]
        for place, row in enumerate(self.rows[self._first : self._first + room], self._first):
            lines.append(self._row(place, row, block.letters.chosen))
        block.show(lines)
        now, before = self._found.get(self.here), self._found.get(self.beside)
        self.query_one("#words", Lines).show(self._words(now, before))
        found = now if isinstance(now, Findings) else None
        self._picture(found, before if isinstance(before, Findings) else None)

    def _row(self, place: int, row: SweepRow, chosen: str) -> Line:
        at = place == self.index
        how = ended(row.ended)
        tail = how if row.counts else f"{how}, not counted"
        if row.turned:
            tail += f"; then {row.turned} turned"
        sign = chosen if at else " "
        dots = self.query_one("#list", Lines).letters.before if row.name == self.beside else " "  # as it is drawn
        text = f"  {sign}{dots}{row.name[:17]:<18}{row.when:<18}{row.set_up[:10]:<11}{tail}"
        return [(cut(text, self.app.size.width - 2), BOLD if at else INK if row.counts else SOFT)]

    def _picture(self, found: Findings | None, before: Findings | None) -> None:
        rail = self.query_one("#rail", Rail)
        level = found is not None and found.profile.unit == "mm/m"
        rail.units = Units(self.units.mode, "mm/m" if level else "mm")
        picture = rail_picture(self.session.machine, Seen(found), moves=False)
        if before is not None and found is not None and before.profile.unit == found.profile.unit:
            picture = replace(picture, before=curve_of(before.profile))
        rail.show(picture)

    def _words(self, now: Findings | str | None, before: Findings | str | None) -> list[Line]:
        width = self.app.size.width - 4
        if now is None:
            return [[("  looking at it", SOFT)]]
        if isinstance(now, str):
            return [[(f"  {part}", BOLD)] for part in wrap(now, width)[:2]]
        units = Units(self.units.mode, "mm/m" if now.profile.unit == "mm/m" else "mm")
        spread = now.extremes.peak_to_valley_uncertainty
        first = (
            f"{self.here}: peak to valley {units.width(now.extremes.peak_to_valley, spread)} {units.pm(spread)} "
            f"{units.unit}, {now.verdict.word}"
        )
        if not self.beside or self.beside == self.here:
            second = "space keeps this one in the picture; then choose another to see both."
        elif isinstance(before, str):
            second = f"{self.beside}: {before}"
        elif before is None:
            second = f"looking at {self.beside}"
        else:
            second = difference(before, now, self.beside, units)
        return [[(f"  {first}", INK)], [(f"  {wrap(second, width)[0]}", SOFT)]]

    # --- keys -------------------------------------------------------------------------------------------------------

    def check_action(self, action: str, parameters: tuple[object, ...]) -> bool | None:
        return bool(self.rows) if action in ("beside", "replay") else True

    def action_move(self, by: int) -> None:
        """Another sweep."""
        self.index = max(0, min(self.index + by, len(self.rows) - 1))
        self._ask()

    def action_beside(self) -> None:
        """Keep this one in the picture, or none any more."""
        self.beside = "" if self.beside == self.here else self.here
        self._ask()

    def action_replay(self) -> None:
        """Play it again."""
        self.truestroke.open_replay(self.here)

    def on_click(self, event: events.Click) -> None:
        """The row under the mouse."""
        if event.widget is self.query_one("#list", Lines) and 1 <= event.y <= len(self.rows) - self._first:
            self.index = self._first + event.y - 1
            self._ask()


def difference(before: Findings, now: Findings, name: str, units: Units) -> str:
    """How far two profiles lie apart where both were seen: the largest change with its ± and where it is."""
    first, second = before.profile, now.profile
    if first.unit != second.unit or before.set_up != now.set_up:
        return f"Against {name}: another set-up ({before.set_up}); the two do not read the same thing."
    low, high = max(first.x_mm[0], second.x_mm[0]), min(first.x_mm[-1], second.x_mm[-1])
    x = second.x_mm[(second.x_mm >= low) & (second.x_mm <= high)]
    if x.size < 2:
        return f"Against {name}: no stretch that both have seen."
    then = np.interp(x, first.x_mm, first.value)
    change = np.interp(x, second.x_mm, second.value) - then
    if not (first.zero_known and second.zero_known):
        change = change - np.mean(change)
    at = int(np.argmax(np.abs(change)))
    doubt = math.hypot(
        float(np.interp(x[at], first.x_mm, first.uncertainty)), float(np.interp(x[at], second.x_mm, second.uncertainty))
    )
    clear = "" if abs(change[at]) > doubt else ", within the ±: nothing has surely changed"
    return (
        f"Against {name}: most {units.height(float(change[at]), doubt)} {units.pm(doubt)} {units.unit} "
        f"at {units.position(float(x[at]))}{clear}."
    )
