"""The app: wiring only. Screens own behaviour, widgets draw, the session answers.

Why it exists: somebody has to hold the screens together; nothing else may be put here.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from pathlib import Path
from typing import TYPE_CHECKING, ClassVar, Literal

from textual.app import App, SystemCommand
from textual.binding import Binding
from textual.screen import Screen

from logger.errors import TruestrokeError
from logger.tui.asked import Parts
from logger.tui.keys import ALWAYS, Key, bindings
from logger.tui.session import Session
from logger.tui.themes import DARK, LIGHT
from logger.tui.widgets.painted import Painted

if TYPE_CHECKING:
    from logger.checks.model import Check
    from logger.job import Job
    from logger.tui import OpenOn
    from logger.tui.tour import Tour


class TruestrokeApp(App[int]):
    """Opens on the start screen, or where it is told to."""

    TITLE = "truestroke"
    BINDINGS: ClassVar[list[Binding]] = bindings(ALWAYS)  # type: ignore[assignment]
    ENABLE_COMMAND_PALETTE = True
    CSS = """
    Screen { background: $background; color: $foreground; }
    """

    def __init__(
        self, session: Session, *, plain: bool = False, units: str = "mm", dark: bool = False, on: OpenOn
    ) -> None:
        super().__init__()
        self.session = session
        self.plain = plain
        self.units_mode: Literal["mm", "in"] = "in" if units == "in" else "mm"
        self._on = on
        self._dark = dark

    def on_mount(self) -> None:
        for palette in (LIGHT, DARK):
            self.register_theme(palette.theme())
        self.theme = (DARK if self._dark else LIGHT).name
        self.session.bell = self.bell
        from logger.tui.screens.jobs import JobsScreen

        self.push_screen(JobsScreen())
        if self.session.job is not None:
            self.session.take_job(self.session.job)
            self.open_board()
        if self._on.screen == "live":
            self.open_live()
        elif self._on.screen == "findings":
            self.open_findings()
        elif self._on.screen == "replay":
            self.open_replay(self._on.sweep)

    def on_unmount(self) -> None:
        """Leaving: silence, and no phone looks on any more."""
        self.session.hush()
        self.session.close_phone()

    def _fatal_error(self) -> None:
        """What nobody foresaw: the screen closes, and whoever opened it says one sentence (``open_screen`` raises it).

        The framework would print pages of its insides over the terminal instead.
        """
        self.bell()
        self._close_messages_no_wait()

    # --- from screen to screen ---------------------------------------------------------------------------------------

    def open_board(self, *, replace: bool = False) -> None:
        """The board of checks of the open machine; ``replace``: in place of the screen that is open."""
        from logger.tui.screens.board import BoardScreen

        (self.switch_screen if replace else self.push_screen)(BoardScreen())

    def open_new_machine(self) -> None:
        """The short form."""
        from logger.tui.screens.new_job import NewJobScreen

        self.push_screen(NewJobScreen())

    def open_plug(self, why: str = "") -> None:
        """The instrument; ``why`` is said on it."""
        from logger.tui.screens.plug import PlugScreen

        self.push_screen(PlugScreen(why))

    def open_check(self, check: Check) -> None:
        """How a check is done."""
        from logger.tui.screens.check import CheckScreen

        self.push_screen(CheckScreen(check))

    def open_readings(self, check: Check, replace: bool = False, given: Mapping[str, str] | None = None) -> None:
        """Readings of a check, to be typed; ``given`` are those that are known."""
        from logger.tui.screens.readings import ReadingsScreen

        (self.switch_screen if replace else self.push_screen)(ReadingsScreen(check, given))

    def open_turning(self, check: Check) -> None:
        """Turned by hand while the readings stream."""
        from logger.tui.screens.turning import TurningScreen

        self.push_screen(TurningScreen(check))

    def open_sweeps(self) -> None:
        """All sweeps, two of them side by side."""
        from logger.tui.screens.sweeps import SweepsScreen

        self.push_screen(SweepsScreen())

    def open_live(self) -> None:
        """The plain live view."""
        from logger.tui.screens.live import LiveScreen

        self.push_screen(LiveScreen())

    def open_sweep(self) -> None:
        """A sweep; from the findings or the instrument it takes their place."""
        from logger.tui.screens.findings import FindingsScreen
        from logger.tui.screens.plug import PlugScreen
        from logger.tui.screens.sweep import SweepScreen

        if isinstance(self.screen, FindingsScreen | PlugScreen):
            self.switch_screen(SweepScreen())
        else:
            self.push_screen(SweepScreen())

    def sweep_from_board(self) -> None:
        """Sweep, as the board's key does."""
        from logger.tui.screens.board import BoardScreen

        board = next((screen for screen in self.screen_stack if isinstance(screen, BoardScreen)), None)
        if board is not None:
            self.call_later(board.action_sweep)

    def open_findings(self, *, replace: bool = False) -> None:
        """What was found; ``replace``: in place of the screen that is open."""
        from logger.tui.screens.findings import FindingsScreen

        (self.switch_screen if replace else self.push_screen)(FindingsScreen())

    def open_replay(self, name: str) -> None:
        """A recorded sweep, played again."""
        from logger.tui.screens.replay import ReplayScreen

        session = self.session
        try:
            if session.job is None:
                return
            recording = session.parts.open_recording(session.job, name)
            replay = session.parts.replay(recording, self._on.speed)
            self.push_screen(ReplayScreen(recording, replay, recording.machine, session.clock))
        except TruestrokeError as error:
            self._say(f"{error.what} {error.todo}".strip())

    def ask_text(
        self, question: str, check: Callable[[str], str | None], take: Callable[[str], None], value: str = ""
    ) -> None:
        """One line to type."""
        from logger.tui.screens.ask import AskScreen

        self.push_screen(AskScreen(question, check, take, value))

    def ask_number(self, question: str, take: Callable[[float], None]) -> None:
        """One number to type."""
        from logger.tui.screens.ask import number_or_complaint

        def check(text: str) -> str | None:
            found = number_or_complaint(text)
            return found if isinstance(found, str) else None

        self.ask_text(question, check, lambda text: take(float(number_or_complaint(text))))

    def ask_first(
        self, question: str, more: str, yes: Callable[[], object], no: Callable[[], object] | None = None
    ) -> None:
        """A yes-or-no question before something that is hard to undo."""
        from logger.tui.screens.confirm import ConfirmScreen

        self.push_screen(ConfirmScreen(question, more, yes, no))

    def ask_adjusted(self, check: Check, then: Callable[[], object]) -> None:
        """Ask, then write down that a check's thing was adjusted."""

        def write() -> None:
            if self.session.job is None:
                return
            try:
                self.session.parts.take(
                    self.session.job, check.name, ["adjusted=yes"], lambda _: False, units=self.units_mode
                )
            except TruestrokeError as error:
                self.say(f"{error.what} {error.todo}".strip())
                return
            self.session.forget_what_was_found()
            then()
            self.say(f"{check.title}: adjusted, written down. Measure it again.")

        self.ask_first(
            f"Was it adjusted? {check.title}.",
            "Its readings until now will be stale, and so will be what rests on it. Nothing is erased.",
            write,
        )

    def ask_to_take_back(self, then: Callable[[], object] | None = None) -> None:
        """Say what was written down last; with consent a later entry says that it does not hold."""
        job, parts = self.session.job, self.session.parts
        if job is None:
            return
        last = parts.last_entry(job)
        if last is None:
            self.say("Nothing has been written down yet, so there is nothing to take back.")
            return

        def write() -> None:
            try:
                parts.take_back(job, last)
            except TruestrokeError as error:
                self.say(f"{error.what} {error.todo}".strip())
                return
            self.session.forget_what_was_found()
            if then is not None:
                then()
            self.say(f"Taken back: {last.words}. The journal keeps both.")
            refresh = getattr(self.screen, "look", None)
            if refresh is not None and then is None:
                refresh()

        self.ask_first(f"Take back what was written down last? {last.words}", last.means, write)

    def say(self, text: str) -> None:
        """On the screen that is open: what happened."""
        self.call_later(self._say, text)

    def _say(self, text: str) -> None:
        from logger.tui.screens.base import Sheet

        if isinstance(self.screen, Sheet):
            self.screen.say(text)

    async def action_quit(self) -> None:
        """Leave; a screen that is recording is asked first."""
        from logger.tui.screens.base import Sheet

        for screen in reversed(self.screen_stack):
            words = screen.before_leaving() if isinstance(screen, Sheet) else None
            if words is not None:
                self.ask_first("Leave truestroke?", words, self.exit)
                return
        self.exit()

    # --- keys that work everywhere -----------------------------------------------------------------------------------

    def action_help(self) -> None:
        """Help for the screen that is open."""
        from logger.tui.screens.base import Sheet
        from logger.tui.screens.help import HelpScreen

        if isinstance(self.screen, Sheet) and not isinstance(self.screen, HelpScreen):
            self.push_screen(HelpScreen(self.screen.NAME, self.screen.KEYS))

    def action_swap_theme(self) -> None:
        """Light or dark."""
        self.theme = LIGHT.name if self.theme == DARK.name else DARK.name
        for painted in self.screen.query(Painted):
            painted.refresh()

    def action_swap_units(self) -> None:
        """Millimetres or thou."""
        from logger.tui.screens.base import Sheet

        self.units_mode = "in" if self.units_mode == "mm" else "mm"
        if isinstance(self.screen, Sheet):
            self.screen.show_in_units()

    def get_system_commands(self, screen: Screen[object]) -> Iterable[SystemCommand]:
        """Every action of the open screen, and those that work everywhere, by name."""
        keys: tuple[Key, ...] = (*getattr(screen, "KEYS", ()), *ALWAYS)
        seen: set[str] = set()
        for key in keys:
            if key.action in seen:
                continue
            seen.add(key.action)
            yield SystemCommand(key.word or key.help, key.help, self._runner(key.action, screen))

    def _runner(self, action: str, screen: Screen[object]) -> Callable[[], None]:
        def run() -> None:
            self.call_later(self.run_action, action, screen)

        return run


def make_app(
    job: Job | Path | str | None,
    *,
    plain: bool,
    units: str,
    dark: bool,
    tour: Tour | None,
    open_on: OpenOn,
    parts: Parts | None = None,
) -> TruestrokeApp:
    """The app with its session. A path that is no job opens without one, so that the start screen can say so."""
    from logger.recent_jobs import holds_a_job
    from logger.tui.parts import RealParts

    opened: Job | None = None
    if isinstance(job, str | Path):
        if holds_a_job(job):  # reading machines is not loaded before the start page is painted
            from logger.job import Job

            opened = Job.open(job)
    else:
        opened = job
    session = Session(
        parts=parts or RealParts(),
        job=opened,
        tour=tour,
        port=open_on.port,
        instrument_name=open_on.instrument,
        set_up_name=open_on.set_up,
    )
    if tour is not None:
        session.port, session.instrument_name, session.set_up_name = tour.port, tour.instrument, tour.set_up
        session.stations_mm, session.passes = tour.stations_mm, tour.passes
    return TruestrokeApp(session, plain=plain, units=units, dark=dark, on=open_on)


def open_screen(
    job: Job | Path | str | None, *, plain: bool, units: str, dark: bool, tour: Tour | None, open_on: OpenOn
) -> int:
    """Run the app until it is left; the exit code."""
    app = make_app(job, plain=plain, units=units, dark=dark, tour=tour, open_on=open_on)
    app.run()
    if app._exception is not None:
        raise app._exception
    return app.return_code or 0
