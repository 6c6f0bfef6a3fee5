"""The board: every check of the alignment, the one that comes next and why, and the rail as it was last seen.

Why it exists: it is the place one comes back to between two jobs with dirty hands. The cursor stands on the check that
comes next, enter goes there, and what cannot be read of the journal is said here and not hidden.
"""

from __future__ import annotations

from collections.abc import Iterable
from pathlib import Path
from typing import TYPE_CHECKING, ClassVar

from textual import events, work
from textual.widget import Widget
from textual.worker import Worker, WorkerState, get_current_worker

from logger.errors import TruestrokeError
from logger.rail_picture import Seen, rail_picture
from logger.tui.drawing import place_of
from logger.tui.keys import BOARD, Key
from logger.tui.screens.base import Sheet
from logger.tui.widgets.checks import CheckTable, line_of
from logger.tui.widgets.lines import BOLD, INK, SOFT, Line, Lines, wrap
from logger.tui.widgets.rail import FIXED_ROWS, Rail

if TYPE_CHECKING:
    from logger.checks.board import Board, Row


READING = "reading the journal and the newest sweeps"
RAIL_ROWS = ((5, 6, 5), (3, 3, 3), (2, 2, 2), (1, 1, 1))
"""Rows above, in and below the band, from the most to the least."""
FEWEST_CHECKS = 14
"""So many checks stay in sight where table and picture share the screen; with fewer the picture gives way."""


class BoardScreen(Sheet):
    """Checks above, what comes next, the rail below."""

    NAME = "board"
    KEYS: ClassVar[tuple[Key, ...]] = BOARD
    TOUR_STEP = "board"

    DEFAULT_CSS = """
    BoardScreen #checks { height: 1fr; min-height: 6; }
    BoardScreen #next { height: 3; }
    BoardScreen.-no-picture #next { margin-top: 1; }
    BoardScreen.-no-picture Rail { display: none; }
    """

    def __init__(self) -> None:
        super().__init__()
        self._busy = ""
        self._on_next = True
        self._faults: list[str] = []

    def body(self) -> Iterable[Widget]:
        yield CheckTable(id="checks")
        yield Lines(id="next", fixed=True)
        yield Rail(self.units, low=True, id="rail")

    def on_mount(self) -> None:
        super().on_mount()
        self._busy = READING
        self.show()
        self.call_after_refresh(self.look)  # first the picture, then what takes time

    def on_screen_resume(self) -> None:
        """Something may have been written down meanwhile."""
        if self.session.board is None:
            self._on_next = True
            self.look()
        else:
            self.show()

    def fit(self) -> None:
        self.show()

    def _share_rows(self, checks: int) -> None:
        """The table gets the rows it needs, the picture the rest; where little is left the table scrolls, and on the
        smallest screens the picture gives way."""
        rail = self.query_one("#rail", Rail)
        both = self.app.size.height - 2 - 1 - 3 - 2 - FIXED_ROWS
        wanted = next((rows for rows in RAIL_ROWS if sum(rows) <= both - checks), None)
        if wanted is None and both - sum(RAIL_ROWS[-1]) >= FEWEST_CHECKS:
            wanted = RAIL_ROWS[-1]
        self.set_class(wanted is None or self.session.seen.findings is None, "-no-picture")
        if wanted is not None and wanted != rail.rows_wanted:
            rail.rows_wanted = wanted
            rail.fit()

    def quiet_line(self) -> str:
        findings = self.session.seen.findings
        if findings is None or self.has_class("-no-picture"):
            return ""
        what = {
            "height": "the carriage's height",
            "pitch": "its pitch",
            "roll": "its roll",
            "sideways": "its line in plan",
        }[findings.profile.quantity]
        set_up = self.session.machine.set_ups.get(findings.set_up)
        where = place_of(findings.set_up, set_up) if set_up is not None else findings.set_up
        return f"Drawn: {what} when its middle is here · {where}"

    def units_changed(self) -> None:
        self.query_one("#rail", Rail).units = self.units
        self.show()

    # --- asking -----------------------------------------------------------------------------------------------------

    def look(self) -> None:
        """Read the journal, then the newest sweeps, in a thread."""
        self._busy = READING
        self.show()
        self._board_in_thread()

    @work(thread=True, exclusive=True, group="board", exit_on_error=False)
    def _board_in_thread(self) -> tuple[Board, list[str]] | None:
        job, parts = self.session.job, self.session.parts
        return None if job is None else (parts.board(job), parts.faults(job))

    @work(thread=True, exclusive=True, group="seen", exit_on_error=False)
    def _seen_in_thread(self) -> Seen:
        job = self.session.job
        return self.session.parts.look(job, self.session.trust) if job is not None else Seen()

    def on_worker_state_changed(self, event: Worker.StateChanged) -> None:
        """The board, then the picture; or why they could not be had."""
        if event.worker.group not in ("board", "seen", "report"):
            return
        if event.state is WorkerState.ERROR:
            self._busy = ""
            error = event.worker.error
            if not isinstance(error, TruestrokeError):
                raise error or RuntimeError("a thread failed without a reason")
            self.say_error(error)
            self.show()
        elif event.state is WorkerState.SUCCESS and event.worker.group == "board":
            self._busy = ""
            if event.worker.result is not None:
                self.session.board, self._faults = event.worker.result
            self.show()
            if self.session.seen.findings is None:
                self._seen_in_thread()
        elif event.state is WorkerState.SUCCESS and event.worker.group == "report":
            self.say(f"Written: {event.worker.result}. It opens in any browser and prints on A4 and Letter.")
        elif event.state is WorkerState.SUCCESS:
            self.session.seen = event.worker.result or Seen()
            self.show()

    # --- showing ----------------------------------------------------------------------------------------------------

    def show(self) -> None:
        """Everything, from what the session holds."""
        board, machine = self.session.board, self.session.machine
        seen = self.session.seen
        if seen.findings is not None:
            self.query_one("#rail", Rail).show(rail_picture(machine, seen))
        table = self.query_one("#checks", CheckTable)
        if board is not None:
            self._share_rows(len(board.rows))
            letters, mode = table.letters, self.truestroke.units_mode
            band = machine.band.peak_to_valley_mm
            table.show([line_of(row, mode, letters, band) for row in board.rows])
            if self._on_next:
                self._on_next = False
                self._choose_next()
            done = sum(row.state == "inside" for row in board.rows)
            left_out = sum(row.skipped for row in board.rows)
            also = f", {left_out} left out" if left_out else ""
            self.head(machine.name, f"{done} inside of {len(board.rows)}{also}")
        else:
            self.head(machine.name, "")
        self.query_one("#next", Lines).show(self._next_lines(board))
        self.tour_line()

    def _next_lines(self, board: Board | None) -> list[Line]:
        width = self.app.size.width - 4
        room = 3
        if self._busy or board is None:
            return [[(f"  {self._busy}", SOFT)]]
        lines: list[Line] = []
        if self._faults:
            more = f" (and {len(self._faults) - 1} more)" if len(self._faults) > 1 else ""
            lines.append([(f"  {(self._faults[0] + more)[:width]}", BOLD)])
        row = self.chosen
        if row is None:
            return lines
        if row.check.name == board.next:
            said, look = f"Next: {row.check.title}. {board.why}", INK
        else:
            said, look = f"{row.check.title}: {_told(row)}", INK if row.late else SOFT
        parts = wrap(said, width)
        room -= len(lines)
        if len(parts) > room:
            parts = [*parts[: room - 1], parts[room - 1][: width - 2] + " …"]
        return [*lines, *[[(f"  {part}", look)] for part in parts]]

    @property
    def chosen(self) -> Row | None:
        """The row the cursor is on."""
        board = self.session.board
        table = self.query_one("#checks", CheckTable)
        return board.rows[table.chosen] if board is not None and table.chosen < len(board.rows) else None

    def _choose_next(self) -> None:
        board, table = self.session.board, self.query_one("#checks", CheckTable)
        if board is None or board.next is None:
            return
        names = [row.check.name for row in board.rows]
        table.chosen = names.index(board.next)
        table.repaint()

    # --- keys -------------------------------------------------------------------------------------------------------

    def action_move(self, by: int) -> None:
        """Another check."""
        self.query_one("#checks", CheckTable).move(by)
        self.show()

    def action_next(self) -> None:
        """The check that comes next."""
        self._choose_next()
        self.show()

    def action_open(self) -> None:
        """How the chosen check is done."""
        row = self.chosen
        if row is not None:
            self.truestroke.open_check(row.check)

    def action_sweep(self) -> None:
        """Record a sweep; without an instrument first find one."""
        if self.session.port and self.session.instrument_name:
            self.truestroke.open_sweep()
        else:
            self.truestroke.open_plug("No instrument is chosen yet: press i to find it, then s to sweep.")

    def action_live(self) -> None:
        """The height now; without an instrument first find one."""
        if self.session.port and self.session.instrument_name:
            self.truestroke.open_live()
        else:
            self.truestroke.open_plug("No instrument is chosen yet: press i to find it, then v to look at it live.")

    def action_findings(self) -> None:
        """What was found so far."""
        self.truestroke.open_findings()

    def action_plug(self) -> None:
        """Instrument and set-up."""
        self.truestroke.open_plug()

    def action_sweeps(self) -> None:
        """All sweeps."""
        self.truestroke.open_sweeps()

    def action_report(self) -> None:
        """Write the report, in a thread."""
        if not self._busy:
            self.say("Writing the report; a few seconds.")
            self._report_in_thread(self.truestroke.units_mode)

    @work(thread=True, exclusive=True, group="report", exit_on_error=False)
    def _report_in_thread(self, units: str) -> Path | None:
        job, worker = self.session.job, get_current_worker()

        def told(done: int, total: int) -> None:
            if not worker.is_cancelled:
                self.app.call_from_thread(self.say, f"Writing the report: {done} of {total} rounds are worked out.")

        return self.session.parts.report(job, units, told) if job is not None else None

    def action_undo(self) -> None:
        """Take back what was written down last."""
        self.truestroke.ask_to_take_back()

    def on_click(self, event: events.Click) -> None:
        """A row under the mouse is chosen; clicked again it is opened."""
        table = self.query_one("#checks", CheckTable)
        if event.widget is not table:
            return
        index = table.index_at(event.y)
        if index is None:
            return
        if index == table.chosen:
            self.action_open()
        else:
            table.chosen = index
            table.repaint()
            self.show()


def _told(row: Row) -> str:
    """What is to be said of a check that is not the next one."""
    from logger.checks.words import look_again_words

    if row.skipped:
        return "left out on purpose. Measure it, or press k on its page, to take it up again."
    said, look = row.why or _quiet(row), look_again_words(row)
    return f"{said.rstrip('.')}. {look[:1].upper()}{look[1:]}" if look else said


def _quiet(row: Row) -> str:
    return {
        "inside": "inside, and nothing it rests on was moved since.",
        "not measured": f"not measured yet. It needs {row.check.needs}.",
    }.get(row.state, row.state)
