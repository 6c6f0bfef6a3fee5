"""Turned by hand while the readings stream: the number, the turn laid out, and what it says as soon as it is whole.

Why it exists: run-out is read with one hand on the arbor and no eye left for a dial. Everything that arrives is written
by another process before it is shown; enter hands the recording to the check, which judges it as it judges typed
readings. It prevents a total reading taken from half a turn, and one taken from a single turn that never came back.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, ClassVar

from textual.containers import Horizontal
from textual.widget import Widget

from logger.errors import TruestrokeError
from logger.tui.feed import Feed, Now
from logger.tui.keys import TURNING, Key
from logger.tui.screens.base import Sheet, TooSmall
from logger.tui.turned_stream import TurnStream
from logger.tui.widgets.checks import lane_of
from logger.tui.widgets.digits import Digits, Number
from logger.tui.widgets.lines import BOLD, INK, SOFT, Line, Lines, plate, wrap
from logger.tui.widgets.turned import Turn, TurnPicture
from logger.tui.wording import State, ago, rate
from logger.wording import plural

if TYPE_CHECKING:
    from logger.checks.model import Allowed, Check
    from logger.checks.result import Result

DRAWN_PER_S = 15
NAMES = ("once", "twice", "three times", "four times", "five times", "six times")


class TurningScreen(Sheet):
    """Digits and counts at the top, the turn laid out, then what it says."""

    NAME = "turn by hand"
    KEYS: ClassVar[tuple[Key, ...]] = TURNING

    DEFAULT_CSS = """
    TurningScreen #top { height: 5; margin-top: 1; }
    TurningScreen #digits { width: 46; }
    TurningScreen #counts { width: 1fr; height: 5; }
    TurningScreen #turn { height: 1fr; margin-top: 1; }
    TurningScreen #said { height: 5; }
    """

    def __init__(self, check: Check) -> None:
        super().__init__()
        self.check = check
        self.feed: Feed | None = None
        self.marks_a_turn = 1
        self._folder: Path | None = None
        self._allowed: Allowed = check.allowed
        self._told: TruestrokeError | None = None

    def body(self) -> Iterable[Widget]:
        with Horizontal(id="top"):
            yield Digits(id="digits")
            yield Lines(id="counts", fixed=True)
        yield Turn(self.units, id="turn")
        yield Lines(id="said", fixed=True)

    def on_mount(self) -> None:
        super().on_mount()
        job = self.session.job
        if job is not None:
            self._allowed = self.session.parts.limits(job, self.check.name)
        self._open()
        if self.feed is not None:
            self.say(" ".join(self.check.cautions))
        self.set_interval(1 / DRAWN_PER_S, self.tick)

    def on_unmount(self) -> None:
        self._hang_up()

    def _open(self) -> None:
        job = self.session.job
        self.stream = TurnStream(self.check, self._allowed, self.session.machine)
        try:
            self._folder = job.next_recording_folder(self.check.name, "live") if job is not None else None
            self.feed = self.session.open_stream(self.check.name, "mm", self._folder)
        except TruestrokeError as error:
            self.say_error(error)
        self.tick()

    def _hang_up(self) -> None:
        if self.feed is not None:
            self.session.close_feed(self.feed)
            self.feed = None

    def fit(self) -> None:
        digits = self.query_one("#digits", Digits)
        height = 5 * digits.cell_size()[1]
        digits.styles.width = 46 if height == 5 else self.app.size.width * 3 // 5
        for name in ("#top", "#digits", "#counts"):
            self.query_one(name).styles.height = height
        self.head(self.check.title)

    def units_changed(self) -> None:
        self.query_one("#turn", Turn).units = self.units
        self.tick()

    def quiet_line(self) -> str:
        return "Power locked out. Turn slowly by hand; space each time the mark passes."

    # --- fifteen times a second -------------------------------------------------------------------------------------

    def tick(self) -> None:
        """Take what came, judge it when a turn became whole, show it."""
        feed = self.feed
        if feed is None:
            return
        self.stream.take(feed.poll(), feed.reads)
        if feed.error is not None and feed.error is not self._told:
            self._told = feed.error
            self.say_error(feed.error)
        self.stream.judge(self.marks_a_turn, self.session.clock())
        self._show(feed.now())
        self.tour_line()

    def _show(self, now: Now) -> None:
        text = self.units.height(now.figure if now.figure is not None else 0.0)
        alive = now.height is not None
        self.query_one("#digits", Digits).show(Number(text, alive=alive))
        self.query_one(TooSmall).show(f"{text} {self.units.unit}" if alive else "no reading")
        self.query_one("#counts", Lines).show(self._counts(now))
        self.query_one("#turn", Turn).show(self._picture(now))
        self.query_one("#said", Lines).show(self._said())
        right = "╱ no signal" if now.state == "lost" else f"receiving {rate(now.rate)}" if alive else now.state
        self.head(self.check.title, right)

    def _counts(self, now: Now) -> list[Line]:
        feed, units = self.feed, self.units
        if feed is None or now.height is None:
            silent = "no reading yet" if now.last_height is None else f"no reading for {ago(now.silent_s)}"
            return [[(silent, BOLD)]]
        swing = 0.0 if feed.highest is None or feed.lowest is None else feed.highest - feed.lowest
        turns = self.stream.so_far.turns if self.stream.so_far is not None else 0
        marks = plural(self.stream.marks, "mark")
        each = "" if self.marks_a_turn == 1 else f", {self.marks_a_turn} a turn"
        return [
            [(f"{units.unit}  {units.pm(now.uncertainty)}", BOLD)],
            [(f"{plural(turns, 'whole turn')}, {marks}{each}", INK)],
            [(f"highest less lowest {units.width(swing)}", INK)],
        ]

    def _picture(self, now: Now) -> TurnPicture:
        feed = self.feed
        if feed is None:
            return TurnPicture()
        angles, seen, here = self.stream.laid_out(self.marks_a_turn)
        return TurnPicture(
            angles, seen, here, now.figure if now.height is not None else None, feed.highest, feed.lowest
        )

    def _said(self) -> list[Line]:
        """What it says once two turns are whole, before that what is wanted."""
        found = self.stream.so_far
        if found is None or self.feed is None:
            return []
        if found.result is None:
            at_first = "Space when the chalk mark passes the pointer: then angles are known."
            wanted = found.why if self.stream.marks else at_first
            return [[(f"  {part}", INK)] for part in wrap(wanted, self.app.size.width - 4)[:3]]
        if not self.stream.marks:
            return self._unmarked(found.result)
        return self._result_lines(found.result)

    def _unmarked(self, result: Result) -> list[Line]:
        """No verdict: whether it was a whole turn only the hand knows."""
        units, verdict = self.units, result.verdict
        words = (
            f"The total so far is {units.width(verdict.value)} {units.pm(verdict.uncertainty)} {units.unit}. Whether "
            "that was a whole turn only marks tell, and where it is highest: space when the chalk mark passes. Enter "
            "takes the total alone."
        )
        return [[(f"  {part}", INK)] for part in wrap(words, self.app.size.width - 4)]

    def _result_lines(self, result: Result) -> list[Line]:
        from logger.checks.result import whole_degrees

        units, verdict, details = self.units, result.verdict, result.details
        block = self.query_one("#said", Lines)
        word = {"inside": "inside", "cannot tell": "cannot tell"}.get(verdict.word, "high")
        allowed = self._allowed
        lane = lane_of(verdict.value, verdict.uncertainty, allowed.lower, allowed.upper, verdict.word, block.letters)
        first: list[tuple[str, object]] = [(" ", INK)]
        first += plate(State(word, verdict.word), block.letters, filled=True)  # type: ignore[arg-type]
        first.append((f"  {lane}  ", SOFT))
        amount = f"{units.width(verdict.value)} {units.pm(verdict.uncertainty)} {units.unit}"
        first.append((f"{amount}, allowed to {units.width(allowed.upper)}", INK))
        lines: list[Line] = [first]  # type: ignore[list-item]
        name, times = ("eccentric part", 1.0) if self.check.name == "arbor" else ("wobble", 2.0)
        part, doubt = (times * float(details[f"eccentric_{key}"]) for key in ("mm", "uncertainty_mm"))
        highest, rest = whole_degrees(float(details["direction_deg"])), units.width(float(details["form_mm"]))
        amount = f"{units.width(part)} {units.pm(doubt)} {units.unit}"
        lines.append([(f"  {name} {amount}, highest at {highest}°; the rest swings {rest}", INK)])
        lines.append([(f"  swing a turn: {self._swings(details['harmonics_mm'])} {units.unit}", SOFT)])
        notes = [note for note in result.notes[1:] if "come" not in note]
        room = 5 - len(lines)
        lines += [[(f"  {part}", INK)] for note in notes for part in wrap(note, self.app.size.width - 4)][:room]
        return lines

    def _swings(self, amplitudes: Sequence[float]) -> str:
        """Peak to valley of each wave round the turn, as many as have room."""
        said = [f"{name} {self.units.width(2.0 * float(size))}" for name, size in zip(NAMES, amplitudes, strict=False)]
        while len(", ".join(said)) > self.app.size.width - 24 and len(said) > 1:
            said.pop()
        return ", ".join(said)

    # --- keys -------------------------------------------------------------------------------------------------------

    def action_mark(self) -> None:
        """The chalk mark passes the pointer."""
        if self.feed is not None:
            self.feed.source.mark()  # type: ignore[attr-defined]

    def action_marks_a_turn(self) -> None:
        """One chalk mark, or several evenly round."""
        from logger.checks.turning import MARKS_A_TURN

        at = MARKS_A_TURN.index(str(self.marks_a_turn))
        self.marks_a_turn = int(MARKS_A_TURN[(at + 1) % len(MARKS_A_TURN)])
        self.say(f"Space {plural(self.marks_a_turn, 'time')} a turn, evenly round.")

    def action_again(self) -> None:
        """Another recording; the one until now stays on disk."""
        self._hang_up()
        self.query_one("#turn", Turn).show(TurnPicture())
        self._open()
        if self.feed is not None:
            self.say("Begun again. What was recorded before stays in the folder live and counts for nothing.")

    def action_done(self) -> None:
        """Close the recording and hand it to the check."""
        found = self.stream.so_far
        if self.feed is None or self._folder is None:
            self.say("Nothing is being recorded.")
            return
        if found is None or found.result is None:
            self.say(found.why if found is not None and found.why else "Nothing was turned yet.")
            return
        self._hang_up()
        given = {"recording": self._folder.name}
        if self.marks_a_turn != 1 and self.stream.marks:
            given["marks_a_turn"] = str(self.marks_a_turn)
        self.truestroke.open_readings(self.check, replace=True, given=given)
        self.truestroke.say("Recorded. Ctrl-s takes it; what else is known may be typed first.")
