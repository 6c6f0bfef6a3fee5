"""The instrument: found by one key, or chosen; where it stands; and what arrives, as it arrives.

Why it exists: nobody knows which device name their cable got or whether the number moves the right way. ``i`` listens
on every port and names what speaks there; then one moves the tip by hand and sees the readings (and the bytes nothing
could be made of).
"""

from __future__ import annotations

from collections import deque
from collections.abc import Iterable
from typing import ClassVar

from textual import work
from textual.widget import Widget
from textual.worker import Worker, WorkerState

from logger.errors import TruestrokeError
from logger.tui.asked import Heard
from logger.tui.drawing import place_of
from logger.tui.feed import Feed
from logger.tui.keys import PLUG, Key
from logger.tui.screens.ask import stations_or_complaint
from logger.tui.screens.base import Sheet
from logger.tui.screens.plug_asked import ask_for_requests, ask_for_settings
from logger.tui.widgets.choices import MOST_DECIMALS, Choice, decimals_of, line_of
from logger.tui.widgets.lines import BOLD, INK, SOFT, Line, Lines, wrap
from logger.tui.wording import rate
from logger.wording import count

OTHER_PORT = "another, typed by hand"
ROWS = (3, 3, 5)
"""Rows for ports, instruments and set-ups at the smallest size."""
LINES_KEPT = 40
SHOWN_PER_S = 10


class PlugScreen(Sheet):
    """Choices at the top, what arrives below."""

    NAME = "instrument"
    KEYS: ClassVar[tuple[Key, ...]] = PLUG
    TOUR_STEP = "instrument"

    DEFAULT_CSS = """
    PlugScreen #choices { margin-top: 1; }
    PlugScreen #arrives { height: 1fr; margin-top: 1; }
    """

    def __init__(self, why: str = "") -> None:
        super().__init__()
        self._why = why
        self.choices: list[Choice] = []
        self.field = 0
        self.feed: Feed | None = None
        self._finding = False
        self._came: deque[Line] = deque(maxlen=LINES_KEPT)
        self._decimals = MOST_DECIMALS
        self._trouble = ""

    def body(self) -> Iterable[Widget]:
        yield Lines(id="choices")
        yield Lines(id="arrives", fixed=True)

    def on_mount(self) -> None:
        self._fill()
        super().on_mount()
        if self._why:
            self.say(self._why)
        self.set_interval(1 / SHOWN_PER_S, self.tick)

    def on_unmount(self) -> None:
        self._hang_up()
        self.session.remember()

    def on_screen_resume(self) -> None:
        """Coming back: a new sweep may have been recorded meanwhile."""
        self._fill()
        self.fit()

    def fit(self) -> None:
        job = self.session.job
        self.head(self.session.machine.name if job is not None else "no job open", str(job.folder) if job else "")
        self._show()

    # --- what there is to choose ------------------------------------------------------------------------------------

    def _fill(self) -> None:
        session = self.session
        ports = session.parts.ports()
        if session.port and session.port not in [name for name, _ in ports]:
            ports = [(session.port, "as given"), *ports]
        instruments = [(name, "") for name in session.parts.instruments()]
        if session.instrument_name and session.instrument_name not in [name for name, _ in instruments]:
            instruments = [(session.instrument_name, "as given"), *instruments]
        self.choices = [
            Choice("port", [*ports, (OTHER_PORT, "")]),
            Choice("instrument", instruments),
            Choice("set-up", []),
        ]
        if session.job is not None:
            set_ups = session.machine.set_ups
            self.choices[2].options = [
                (name, place_of(name, set_up).removeprefix(f"{name}, ")) for name, set_up in set_ups.items()
            ]
        for choice, value in zip(
            self.choices, (session.port, session.instrument_name, session.set_up_name), strict=False
        ):
            choice.choose(value)

    def _take(self) -> None:
        """What is chosen goes to the session."""
        session = self.session
        port = self.choices[0].value
        session.port = "" if port == OTHER_PORT else port
        session.instrument_name = self.choices[1].value
        session.set_up_name = self.choices[2].value

    # --- showing ----------------------------------------------------------------------------------------------------

    def tick(self) -> None:
        """What arrived since the last time."""
        if self.feed is not None:
            for record in self.feed.poll():
                self._came.append(line_of(record, self._decimals))
        self.tour_line()
        self._show_arrivals()

    def _show(self) -> None:
        lines: list[Line] = []
        more = 0 if self.app.size.height < 34 else 2
        for index, choice in enumerate(self.choices):
            lines += self._choice_lines(choice, ROWS[index] + more, active=index == self.field)
        if self.session.job is not None:
            stations = "  ".join(f"{x:.0f}" for x in self.session.stations())
            lines.append([("   marks at     ", SOFT), (stations, INK)])
        self.query_one("#choices", Lines).show(lines)
        self._show_arrivals()

    def _choice_lines(self, choice: Choice, rows: int, *, active: bool) -> list[Line]:
        letters = self.query_one("#choices", Lines).letters
        first, shown = choice.window(rows)
        lines: list[Line] = []
        if not shown:
            return [[(f"   {choice.title:<12} ", SOFT), ("none yet", SOFT)]]
        names = max(len(value) for value, words in shown if words) if any(words for _, words in shown) else 0
        for offset, (value, words) in enumerate(shown):
            chosen = first + offset == choice.index
            title = choice.title if offset == 0 else ""
            sign = letters.chosen if offset == 0 and active else " "
            mark = letters.chosen if chosen else " "
            look = BOLD if chosen else SOFT
            more = (
                f"   and {len(choice.options) - rows} more" if offset == rows - 1 and len(choice.options) > rows else ""
            )
            lines.append(
                [
                    (f" {sign} {title:<12}", BOLD if active else SOFT),
                    (f"{mark}{value:<{names}}", look),
                    (f"   {words}" if words else "", SOFT),
                    (more, SOFT),
                ]
            )
        return lines

    def _show_arrivals(self) -> None:
        block = self.query_one("#arrives", Lines)
        room = max(2, block.size.height)
        if self._trouble:
            width = max(20, self.app.size.width - 6)
            block.show([[(f"   {part}", BOLD)] for part in wrap(self._trouble, width)])
            return
        if self.feed is None:
            block.show(
                [
                    [
                        ("   what arrives ", SOFT),
                        ("i finds it, l listens; opening a port may reset the device", INK),
                    ]
                ]
            )
            return
        now = self.feed.now()
        source = self.feed.source
        error = self.feed.error
        if error is not None:
            self._trouble = f"{error.what} {error.todo}".strip()
            return
        head: Line = [
            ("   what arrives ", SOFT),
            (
                f"{source.state}, {rate(now.rate)}, {count(source.readings)} readings, "
                f"{count(source.garbage)} not understood",
                BOLD,
            ),
        ]
        kept = list(self._came)[-(room - 1) :]
        block.show([head, *kept])

    # --- keys -------------------------------------------------------------------------------------------------------

    def action_next_field(self) -> None:
        """The next thing to choose."""
        self.field = (self.field + 1) % len(self.choices)
        self._show()

    def action_previous_field(self) -> None:
        """The one before."""
        self.field = (self.field - 1) % len(self.choices)
        self._show()

    def action_move(self, by: int) -> None:
        """Another option of the same thing."""
        self.choices[self.field].move(by)
        if self.field < 2:
            self._hang_up()
        self._take()
        self._show()

    def action_find(self) -> None:
        """Listen on every port, one after another, in a thread."""
        if self._finding:
            return
        self._hang_up()
        names = [name for name, _ in self.choices[0].options if name != OTHER_PORT]
        if not names:
            self._trouble = "No serial port is here. Plug the cable in and press i again, or choose the last line."
            self._show_arrivals()
            return
        self._finding = True
        self._trouble = f"listening on {', '.join(names)}: move the tip a little; a few seconds each"
        self._show_arrivals()
        self._find_in_thread(names)

    @work(thread=True, exclusive=True, group="find", exit_on_error=False)
    def _find_in_thread(self, names: list[str], may_ask: bool = False) -> list[Heard]:
        heard: list[Heard] = []
        for name in names:
            try:
                heard.append(self.session.parts.listen_to(name, may_ask))
            except TruestrokeError as error:
                heard.append(Heard(name, "", f"{error.what} {error.todo}".strip()))
            if heard[-1].instrument:
                break
        return heard

    def on_worker_state_changed(self, event: Worker.StateChanged) -> None:
        """What was heard: take the instrument that was named, say the rest."""
        if event.worker.group != "find" or event.state not in (WorkerState.SUCCESS, WorkerState.ERROR):
            return
        self._finding = False
        if event.state is WorkerState.ERROR:
            raise event.worker.error or RuntimeError("a thread failed without a reason")
        heard: list[Heard] = event.worker.result or []
        named = next((one for one in heard if one.instrument), None)
        self._trouble = ""
        elsewhere = next((one for one in heard if one.other is not None), None)
        if named is None and elsewhere is not None and self.session.job is not None:
            port = elsewhere.port
            ask_for_settings(self, elsewhere, lambda path: self._settings_kept(port, path), self._say_trouble)
        elif named is None:
            said = " ".join(f"{one.port}: {one.says}" for one in heard)
            self._trouble = f"No instrument was recognised. {said}"
            ask_for_requests(self, [one.port for one in heard if one.silent], self._ask_on)
        else:
            self.session.port, self.session.instrument_name = named.port, named.instrument
            self.session.remember()
            self._fill()
            says = named.says.partition(". ")[0].removesuffix(".")
            self.say(f"Found on {named.port}: {says}. Now s sweeps, v looks at it live.")
        self._show()

    def _settings_kept(self, port: str, path: str) -> None:
        self.session.port, self.session.instrument_name = port, path
        self.session.remember()
        self._fill()
        self._show()
        self.truestroke.say(f"Written: {path}. Now s sweeps, v looks at it live.")

    def _say_trouble(self, words: str) -> None:
        self._trouble = words
        self._show()

    def _ask_on(self, port: str) -> None:
        """Send the read-only requests, in a thread."""
        self._finding = True
        self._trouble = f"asking on {port}: read-only requests, a few seconds"
        self._show_arrivals()
        self._find_in_thread([port], may_ask=True)

    def action_refresh_ports(self) -> None:
        """A cable was plugged in meanwhile."""
        self._take()
        self._fill()
        self._show()

    def action_listen(self) -> None:
        """Open the port and show what arrives."""
        self._take()
        if self.choices[0].value == OTHER_PORT:
            self._ask_port()
            return
        self._hang_up()
        try:
            self.feed = self.session.open_feed()
            self._decimals = decimals_of(self.session.instrument())
        except TruestrokeError as error:
            self._trouble = f"{error.what} {error.todo}".strip()
        self._show()

    def action_type_port(self) -> None:
        """A port that is not in the list."""
        self._hang_up()
        self._ask_port()

    def _ask_port(self) -> None:
        def take(text: str) -> None:
            self.session.port = text
            self._fill()
            self._show()
            self.say(f"{text} is chosen. i finds out what speaks there, l listens.")

        self.truestroke.ask_text(
            "Which port? A device name, or a URL such as socket://192.168.1.20:5000",
            lambda text: None if text else "Type a name, or press escape.",
            take,
        )

    def action_marks(self) -> None:
        """Type the stations."""
        if self.session.job is None:
            return
        stroke = self.session.machine.carriage.stroke_mm

        def check(text: str) -> str | None:
            found = stations_or_complaint(text, stroke)
            return found if isinstance(found, str) else None

        def take(text: str) -> None:
            found = stations_or_complaint(text, stroke)
            if not isinstance(found, str):
                self.session.stations_mm = found
                self._show()

        value = " ".join(f"{x:.0f}" for x in self.session.stations())
        self.truestroke.ask_text(
            "Where are the marks on the rail? Positions of the carriage's middle in mm.", check, take, value
        )

    def action_keep(self) -> None:
        """Enter: with "another" chosen the port is typed now, else this is done."""
        if self.field == 0 and self.choices[0].value == OTHER_PORT:
            self.action_type_port()
        else:
            self.action_back()

    def action_back(self) -> None:
        """Keep what is chosen and go back."""
        self._take()
        super().action_back()

    def action_sweep(self) -> None:
        """Record a sweep; one whose readings are typed needs no port."""
        self._take()
        try:
            if self.session.job is not None and self.session.types():
                from logger.tui.typed import TypedSweep

                self._hang_up()
                TypedSweep(self.truestroke).ask()
                return
        except TruestrokeError as error:
            self.say(f"{error.what} {error.todo}".strip())
            return
        self._leave_to(self.truestroke.open_sweep)

    def action_live(self) -> None:
        """The height now."""
        self._leave_to(self.truestroke.open_live)

    def _leave_to(self, there: object) -> None:
        """The port can be open once only: hang up, then go."""
        self._take()
        self._hang_up()
        if self.session.job is None:
            self.say("No machine is open: escape, then n for a new one.")
        elif not self.session.port:
            self.say("Press i to find the instrument first, or choose its port with the arrow keys.")
        elif callable(there):
            self.session.remember()
            there()

    def _hang_up(self) -> None:
        if self.feed is not None:
            self.session.close_feed(self.feed)
        self.feed = None
        self._trouble = ""
        self._came.clear()
