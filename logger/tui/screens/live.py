"""The height where the carriage stands, now: number, step, state in words, hold, zero and reference.

Why it exists: this is what one looks at with a wrench in the hand. The word may change only after 0.3 s on the other
side, the digits eight times a second, the step thirty times; a lost link turns the digits into dashes at once.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import ClassVar

from textual.containers import Horizontal, Vertical
from textual.widget import Widget

from logger.errors import TruestrokeError
from logger.phone.shown import Shown
from logger.rail_picture import live_limits, rail_picture
from logger.readings import Record
from logger.tui.drawing import place_of
from logger.tui.feed import Feed, Now
from logger.tui.glyphs import Alphabet
from logger.tui.keys import LIVE, Key
from logger.tui.scale import Decade, Steady
from logger.tui.screens.base import Sheet, TooSmall
from logger.tui.screens.phone import WHO, PhoneScreen, shown_of
from logger.tui.widgets.digits import Digits, Number
from logger.tui.widgets.lines import BOLD, INK, SOFT, Line, Lines, large_state, plate
from logger.tui.widgets.rail import Rail
from logger.tui.widgets.step import Step, StepBar, step_scale
from logger.tui.wording import State, Units, ago, live_state, rate

SLOPE_AS_HEIGHT = 5.0
"""So many mm/m sound as far away as one millimetre (common practice, no source)."""
FRAMES_PER_S = 30
DIGITS_PER_S = 8


class LiveBase(Sheet):
    """What the plain live view, the turn view and the replay have in common."""

    DEFAULT_CSS = """
    LiveBase #top { height: 1fr; }
    LiveBase #left { width: 1fr; padding-top: 1; }
    LiveBase #words { height: 1fr; }
    LiveBase StepBar { width: 33; height: 1fr; padding-top: 1; }
    LiveBase.-far Rail { display: none; }
    LiveBase.-far StepBar { padding-top: 0; }
    """

    def __init__(self, feed: Feed | None = None) -> None:
        super().__init__()
        self._feed = feed
        self._owns_feed = feed is None
        self._steady = Steady()
        self._decade = Decade()
        self._digits_at = 0.0
        self._now: Now | None = None
        self._shown_state = State("none", "no reading")
        self._told: TruestrokeError | None = None

    def body(self) -> Iterable[Widget]:
        with Horizontal(id="top"):
            with Vertical(id="left"):
                yield Digits(id="digits")
                yield Lines(id="words", fixed=True)
            yield StepBar(self.units, id="step")
        yield Rail(self.units, low=True, id="rail")

    @property
    def feed(self) -> Feed | None:
        """What is read from; None until the port is open or after it could not be opened."""
        return self._feed

    def on_mount(self) -> None:
        super().on_mount()
        if self._feed is None:
            try:
                self._feed = self.session.open_feed()
            except TruestrokeError as error:
                self.say_error(error)
        self.draw_rail()
        self.set_interval(1 / FRAMES_PER_S, self.tick)

    def on_unmount(self) -> None:
        self.session.hush()
        if self._feed is not None and self._owns_feed:
            self.session.close_feed(self._feed)

    def fit(self) -> None:
        far = self.has_class("-far")
        digits = self.query_one("#digits", Digits)
        digits.far = far
        digits.styles.height = 5 * digits.cell_size()[1]
        step = self.query_one("#step", StepBar)
        step.bare = far
        width = self.app.size.width
        step.styles.width = (18 if width < 160 else 16) if far else 33 if width < 120 else width * 2 // 5
        self.query_one("#rail", Rail).fit()

    def units_changed(self) -> None:
        self.query_one("#step", StepBar).units = self.show_units()
        self.query_one("#rail", Rail).units = self.units
        self.draw_rail()
        self._digits_at = 0.0
        self.tick()

    def show_units(self) -> Units:
        """Units of what is read: of heights or of slopes."""
        quantity = self._feed.meaning.quantity if self._feed is not None else "mm"
        return Units(self.units.mode, "mm/m" if quantity == "mm/m" else "mm")

    # --- thirty times a second --------------------------------------------------------------------------------------

    def tick(self) -> None:
        """Take what came and show it. Everything a subclass adds hangs on the methods called here."""
        if self._feed is None:
            return
        records = self._feed.poll()
        self.took(records)
        self._say_trouble(self._feed)
        moment = self.session.clock()
        slow = moment - self._digits_at >= 1 / DIGITS_PER_S
        now = self._feed.now(0.06)
        if self.app.screen is self:
            distance, inside = self.heard(now)
            scale = 1 / SLOPE_AS_HEIGHT if self._feed.meaning.quantity == "mm/m" else 1.0
            self.session.hear(None if distance is None else distance * scale, inside)
        self._show_step(now, moment)
        if slow:
            self._digits_at = moment
            self._show_slow(self._feed.now(), moment)
        if self.session.page is not None:
            self.session.page.publish(self.on_phone(now))

    def _say_trouble(self, feed: Feed) -> None:
        """Why the port never opened, once."""
        if feed.error is not None and feed.error is not self._told:
            self._told = feed.error
            self.say_error(feed.error)

    def took(self, records: Sequence[Record]) -> None:
        """The records of this frame, for subclasses that draw a trace."""

    def limits(self) -> tuple[float, float]:
        """Lower and upper line of the step."""
        quantity = self._feed.meaning.quantity if self._feed is not None else "mm"
        axis = self.session.set_up().axis
        return live_limits(self.session.machine, "height" if quantity == "mm" else (axis or "pitch"))

    def step(self, now: Now, factor: float) -> Step:
        """The step for this moment."""
        lower, upper = self.limits()
        feed = self._feed
        level = feed is not None and feed.meaning.quantity == "mm/m"
        return Step(
            now.height,
            lower,
            upper,
            table=None if level else 0.0,
            highest=feed.highest if feed else None,
            lowest=feed.lowest if feed else None,
            factor=factor,
            lost=now.height is None,
            words=("level", "tilt") if level else ("table", "carriage"),
        )

    def scale_rows(self) -> int:
        """Rows of the step on this screen."""
        return max(4, self.query_one("#step").size.height - 1)

    def state_of(self, now: Now) -> State:
        """Where the number stands; a lost link is a state of its own."""
        if now.height is None:
            return self.silence(now)
        lower, upper = self.limits()
        return live_state(now.height, now.uncertainty, lower, upper, self.show_units())

    def heard(self, now: Now) -> tuple[float | None, bool]:
        """For the sound: how far the carriage must still go (+ up; None: no reading), and whether it is right."""
        if now.height is None:
            return None, False
        lower, upper = self.limits()
        if lower <= now.height <= upper:
            return 0.0, True
        return (lower if now.height < lower else upper) - now.height, False

    def silence(self, now: Now) -> State:
        """What is said when there is nothing alive to show."""
        if now.state == "lost":
            return State("lost", f"link lost {ago(now.silent_s)} ago")
        if now.state == "ended":
            return State("lost", "the source has ended")
        if now.last_height is None:
            return State("none", "no reading yet")
        return State("lost", f"no reading for {ago(now.silent_s)}")

    def _show_step(self, now: Now, moment: float) -> None:
        step = self.step(now, 1.0)
        if now.height is not None:
            scale = step_scale(step.lower, step.upper, self.scale_rows(), from_below=step.from_below)
            factor = self._decade.update(moment, now.height, scale)
            if factor != 1.0:
                step = self.step(now, factor)
        self.query_one("#step", StepBar).show(step)

    def _show_slow(self, now: Now, moment: float) -> None:
        self._now = now
        state = self.state_of(now)
        dead = ("lost", "none")
        shown = self._steady.update(moment, state.word, at_once=state.word in dead or self._steady.shown in dead)
        if shown == state.word:
            self._shown_state = state
        units = self.show_units()
        text = units.height(now.height if now.height is not None else now.last_height or 0.0)
        self.query_one("#digits", Digits).show(Number(text, alive=now.height is not None))
        far = self.has_class("-far")
        lines = [[], *large_state(self._shown_state, self.far_words(units))] if far else self.words(now, units)
        self.query_one("#words", Lines).show(lines)
        self.query_one(TooSmall).show(f"{text} {units.unit}" if now.height is not None else "no reading")
        self.head(self.context(), self.right(now))
        self.tour_line(self.tour_step())

    def tour_step(self) -> str:
        """Which line of the tour belongs here now."""
        return self.TOUR_STEP

    def far_words(self, units: Units) -> tuple[str, ...]:
        """What stands above and below the sentence in far view."""
        return (units.unit,)

    def words(self, now: Now, units: Units) -> list[Line]:
        """The text under the digits."""
        state: Line = [(" ", INK), *plate(self._shown_state, self.letters(), filled=True)]
        return [[], self.spread_line(now, units), [], state]

    def spread_line(self, now: Now, units: Units) -> Line:
        """``±0.002 mm   = +4.1 thou``, or that there is no reading."""
        if now.height is None:
            return [("  no reading", BOLD)]
        other = units.other()
        second = f"   = {other.height(now.height)} {other.unit}"
        return [(f"  {units.pm(now.uncertainty)} {units.unit}", BOLD), (second, SOFT)]

    def letters(self) -> Alphabet:
        """The alphabet in use."""
        return self.query_one("#words", Lines).letters

    def context(self) -> str:
        """What stands beside the screen's name."""
        return f"carriage height · {place_of(self.session.set_up_name, self.session.set_up())}"

    def right(self, now: Now) -> str:
        """The link, at the right of the first row."""
        if now.state == "lost":
            return "╱ no signal"
        if now.height is None:
            return now.state
        return f"receiving {rate(now.rate)}"

    def draw_rail(self) -> None:
        """The rail as last measured, under the step."""
        machine = self.session.machine
        picture = rail_picture(machine, self.session.seen, stands=self.session.set_up_name)
        self.query_one("#rail", Rail).show(picture)

    # --- keys -------------------------------------------------------------------------------------------------------

    def action_sound(self) -> None:
        """Sound on or off."""
        session = self.session
        session.sound_on = not session.sound_on
        if session.sound_on:
            self.say("Sound on: high tone too high, low tone too low, faster the nearer, silence when it is right.")
        else:
            session.hush()
            self.say("Sound off.")

    def on_phone(self, now: Now) -> Shown:
        """What a phone shows of this moment."""
        return shown_of(now, self._shown_state, self.limits(), self.show_units(), self.context())

    def action_phone(self) -> None:
        """The same number on a phone; who can look on is said first."""
        if self.session.page is not None:
            self._show_code()
            return
        self.truestroke.ask_first("Show this number on a phone?", WHO, self._show_code)

    def _show_code(self) -> None:
        try:
            page = self.session.open_phone()
        except TruestrokeError as error:
            self.say_error(error)
            return
        code = self.session.parts.code_of(page.url, plain=self.truestroke.plain)
        self.app.push_screen(PhoneScreen(page.url, code))

    def action_far(self) -> None:
        """Digits over the whole screen, and back."""
        self.toggle_class("-far")
        self._fit()
        self._digits_at = 0.0

    def action_back(self) -> None:
        """Out of far view first, then back."""
        if self.has_class("-far"):
            self.action_far()
        else:
            super().action_back()


class LiveScreen(LiveBase):
    """The plain live view."""

    NAME = "live"
    KEYS: ClassVar[tuple[Key, ...]] = LIVE

    def __init__(self, feed: Feed | None = None) -> None:
        super().__init__(feed)
        self._set_here = ""
        self._held_since = ""
        self._set_before: list[tuple[float, str]] = []  # what held before each zero and reference, the newest last

    def words(self, now: Now, units: Units) -> list[Line]:
        lower, upper = self.limits()
        lines: list[Line] = [*super().words(now, units)]
        if now.height is None and now.last_height is not None:
            lines.append([(f"  last {units.height(now.last_height)} {units.unit}", SOFT)])
        else:
            lines.append([(f"  {self._second_line(units, lower, upper)}", INK)])
        return [*lines, self._display_line(now, units), self._hold_line(units)]

    def _second_line(self, units: Units, lower: float, upper: float) -> str:
        factor = self.query_one("#step", StepBar).factor
        if factor != 1.0:
            return f"drawn at 1/{factor:.0f} scale"
        if self._shown_state.word == "high":
            return f"upper limit {units.height(upper)}"
        if self._shown_state.word == "low":
            return f"lower limit {units.height(lower)}"
        return f"between {units.height(lower)} and {units.height(upper)}"

    def _display_line(self, now: Now, units: Units) -> Line:
        shows = "−" if now.figure is None or now.height is None else units.height(now.figure)
        note = f" · {self._set_here}" if self._set_here else ""
        if self._feed is not None and self._feed.meaning.zero is None and not self._set_here:
            note = ", height not known, shape only"
        return [(f"  instrument shows {shows}{note}", SOFT)]

    def _hold_line(self, units: Units) -> Line:
        feed = self._feed
        if feed is None or feed.highest is None or feed.lowest is None:
            return []
        words = f"  highest {units.height(feed.highest)}  lowest {units.height(feed.lowest)}"
        return [(words + (f"  since {self._held_since}" if self._held_since else ""), SOFT)]

    def action_zero(self) -> None:
        """What is read now is the table's plane."""
        self._set(0.0)

    def action_reference(self) -> None:
        """What is read now is a height that is typed."""

        def typed(value: float | None) -> None:
            if value is not None:
                self._set(value / self.show_units().factor)

        self.truestroke.ask_number(
            f"The tip stands on something of known height. How high above the table, {self.show_units().unit}?", typed
        )

    def _set(self, height: float) -> None:
        if self._feed is None or self._feed.now(0.5).height is None:
            self.say("There is no reading to set. Check the cable, then try again.")
            return
        self._set_before.append((self._feed.offset, self._set_here))
        self._feed.set_height(height)
        self._set_here = f"set {self.session.time_of_day()}"
        self._held_since = self.session.time_of_day()
        self._digits_at = 0.0

    def action_undo(self) -> None:
        """The zero or reference before the last one holds again."""
        if self._feed is None or not self._set_before:
            self.say("No zero and no reference was set here, so there is nothing to take back.")
            return
        self._feed.offset, self._set_here = self._set_before.pop()
        self._feed.clear_hold()
        self._digits_at = 0.0
        self.say(
            f"Taken back: the height counts from {'what was ' + self._set_here if self._set_here else 'the set-up'}."
        )

    def action_clear_hold(self) -> None:
        """Forget highest and lowest."""
        if self._feed is not None:
            self._feed.clear_hold()
            self._held_since = self.session.time_of_day()
            self._digits_at = 0.0
