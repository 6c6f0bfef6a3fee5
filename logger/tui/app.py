"""The app: wiring only. Screens own behaviour, widgets draw, the session answers.

Why it exists: somebody has to hold the screens together; nothing else may be put here.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from pathlib import Path
from typing import TYPE_CHECKING, ClassVar, Literal

from textual.app import App, SystemCommand
from textual.binding import Binding
from textual.screen import Screen

from logger.errors import TruestrokeError
from logger.tui.keys import ALWAYS, Key, bindings
from logger.tui.session import Parts, Session
from logger.tui.themes import DARK, LIGHT
from logger.tui.widgets.painted import Painted

if TYPE_CHECKING:
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
        from logger.tui.screens.start import StartScreen

        self.push_screen(StartScreen())
        if self._on.screen == "live":
            self.open_live()
        elif self._on.screen == "findings":
            self.open_findings()
        elif self._on.screen == "replay":
            self.open_replay(self._on.sweep)

    # --- from screen to screen ---------------------------------------------------------------------------------------

    def open_live(self) -> None:
        """The plain live view."""
        from logger.tui.screens.live import LiveScreen

        self.push_screen(LiveScreen())

    def open_sweep(self) -> None:
        """A sweep; from the findings it takes their place."""
        from logger.tui.screens.findings import FindingsScreen
        from logger.tui.screens.sweep import SweepScreen

        if isinstance(self.screen, FindingsScreen):
            self.switch_screen(SweepScreen())
        else:
            self.push_screen(SweepScreen())

    def open_findings(self, *, replace: bool = False) -> None:
        """What was found; ``replace``: in place of the screen that is open."""
        from logger.tui.screens.findings import FindingsScreen

        if replace:
            self.switch_screen(FindingsScreen())
        else:
            self.push_screen(FindingsScreen())

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

    def _say(self, text: str) -> None:
        from logger.tui.screens.base import Sheet

        if isinstance(self.screen, Sheet):
            self.screen.say(text)

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
        for screen in self.screen_stack:
            if isinstance(screen, Sheet):
                screen.units_changed()

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
    from logger.job import Job
    from logger.machines import FILE_NAME
    from logger.tui.parts import RealParts

    if isinstance(job, str | Path):
        job = Job.open(job) if (Path(job) / FILE_NAME).is_file() else None
    session = Session(
        parts=parts or RealParts(),
        job=job,
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
    return app.return_code or 0
