"""One bolt, until the carriage stands where it should: how far still to go, which way to turn, then the lock nut.

Why it exists: what the display must show is not the bolt's own lift, and a bolt can lower the line that is read. So the
step is drawn about the height to stop at, the amount still to go is said for the carriage and for the wrench, and the
instrument's own figure stands beside it. What is written down is the display before and after, lock nut tight. A bolt
that hangs, or that does not answer as was thought, never brings the display there: the screen says where to stop all
the same, and asks how far the bolt was turned, for by the display alone it seems not to have been.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import replace
from typing import ClassVar

import numpy as np
from textual.widget import Widget

from analysis.results import Move
from logger.advising.turn_steps import ASTRAY
from logger.advising.turn_words import most_words, turn_and_most_words, typed_turns
from logger.advising.turned import counted
from logger.errors import TruestrokeError
from logger.phone.shown import Shown
from logger.rail_picture import rail_picture
from logger.tui.asked import Made
from logger.tui.drawing import place_of
from logger.tui.feed import Feed, Now
from logger.tui.keys import TURN, Key
from logger.tui.screens.live import LiveBase
from logger.tui.widgets.lines import BOLD, INK, SOFT, Line, plate
from logger.tui.widgets.rail import Rail
from logger.tui.widgets.step import Step
from logger.tui.wording import (
    State,
    Units,
    astray_state,
    fraction_of_turn,
    target_state,
    way_of_turning,
    wrench_way,
)

HAND = {"mm": 0.004, "mm/m": 0.02}
"""How near a hand stops to a wanted reading, k = 2 (common practice, no source)."""
SHORT_OF = {"tolerances": 3.0, "part of the move": 0.2}
"""Further from its target than both, a turn was not ended by the display (common practice, no source)."""
STOP_CELLS = 44
"""Room for the line that says where to stop, at the smallest size."""
NO_FURTHER: tuple[Line, ...] = ([("  turn no further: lock it, then press enter", BOLD)], [])
BACK_AND_ON: tuple[Line, ...] = ([("  turn it the other way, past where it stood", BOLD)], [])
STILL_FOR_S = 0.5
TOUR_STEP_MM = 0.02


def tolerance_of(quantity: str, resolution: float) -> float:
    """Half the width of the lines one stops between: what a hand can do, never under two steps of the display."""
    return max(HAND["mm/m" if quantity == "mm/m" else "mm"], 2 * resolution)


def gain_of(move: Move) -> float | None:
    """Thread travel per height where the carriage is parked; None where the plan gives no usable figure."""
    if move.height_now is None or move.height_target is None:
        return None
    change = move.height_target - move.height_now
    if abs(change) < 1e-6 or abs(move.raise_mm / change) > 50:
        return None
    return move.raise_mm / change


class TurnScreen(LiveBase):
    """The live view for one bolt."""

    NAME = "turn"
    KEYS: ClassVar[tuple[Key, ...]] = TURN
    TOUR_STEP = "turn"

    def __init__(self, move: Move, done: Callable[[Made | None, bool], None], feed: Feed | None = None) -> None:
        super().__init__(feed)
        self.move = move
        self._done = done
        self._before: float | None = None
        self._at_lock: float | None = None
        self._doubt = ""
        self._turned_by_key_mm = 0.0  # the tour's wrench knows how far it went

    def body(self) -> Iterable[Widget]:
        return super().body()

    def on_mount(self) -> None:
        self.session.set_up_name = self.move.set_up or self.session.set_up_name
        if self.session.tour is not None and self.move.park_mm is not None:
            self.session.tour.park(self.move.park_mm)
        super().on_mount()

    # --- what is aimed at -------------------------------------------------------------------------------------------

    @property
    def target(self) -> float | None:
        """The height to stop at, from the display figure of the plan."""
        if self.feed is None or self.move.reading_target is None:
            return self.move.height_target
        return self.feed.meaning.height(self.move.reading_target)

    @property
    def tolerance(self) -> float:
        """Half the width between the two lines."""
        meaning = self.feed.meaning if self.feed is not None else None
        return tolerance_of(meaning.quantity, meaning.resolution) if meaning else HAND["mm"]

    def limits(self) -> tuple[float, float]:
        target = self.target or 0.0
        return target - self.tolerance, target + self.tolerance

    def to_go(self, now: Now) -> float | None:
        """How much the carriage must still rise (+) or fall; None without a reading."""
        if now.height is None or self.target is None:
            return None
        return self.target - now.height

    def astray(self, now: Now) -> float | None:
        """How far the carriage went away from its target since the turn began, where that is too far; else None."""
        if now.height is None or self.target is None or self.feed is None or self._before is None:
            return None
        before = self.feed.meaning.height(self._before) + self.feed.offset
        further = (before - now.height) * float(np.copysign(1.0, self.target - before))
        return further if further > ASTRAY["mm/m" if self.feed.meaning.quantity == "mm/m" else "mm"] else None

    @property
    def rests(self) -> bool:
        """Whether the rail only rests on this bolt: its display may then be another foot's doing."""
        return self.session.machine.bolt(self.move.bolt).kind == "rest_only"

    def short_of_target(self, figure: float) -> bool:
        """Whether a display that ends at ``figure`` is not where it was to stop, by more than hand and lock nut do."""
        if self.feed is None or self.target is None or self.move.reading_target is None:
            return False
        left = abs(self.target - self.feed.meaning.height(figure) - self.feed.offset)
        planned = 0.0 if self.move.height_now is None else abs(self.target - self.move.height_now)
        return left > max(SHORT_OF["tolerances"] * self.tolerance, SHORT_OF["part of the move"] * planned)

    def turns_at_most(self) -> float | None:
        """Turns, without their sign, after which to stop wherever the display is; None where the plan names none."""
        if self.move.raise_at_most_mm is None:
            return None
        return abs(self.move.raise_at_most_mm) / self.session.machine.bolt(self.move.bolt).travel_per_turn_mm

    def step(self, now: Now, factor: float) -> Step:
        lower, upper = self.limits()
        start, target = self.move.height_now, self.target
        return Step(
            now.height,
            lower,
            upper,
            table=None,
            factor=factor,
            from_below=start is None or target is None or start <= target,
            lost=now.height is None,
            words=("stop here", "carriage"),
            target=target,
        )

    def on_phone(self, now: Now) -> Shown:
        how = turn_and_most_words(self.session.machine.bolt(self.move.bolt), self.move)
        return replace(super().on_phone(now), bolt=self.move.bolt, how=how, target=self.target)

    def heard(self, now: Now) -> tuple[float | None, bool]:
        to_go = self.to_go(now)
        return to_go, to_go is not None and abs(to_go) <= self.tolerance

    def state_of(self, now: Now) -> State:
        to_go = self.to_go(now)
        if to_go is None:
            return self.silence(now)
        if (further := self.astray(now)) is not None:
            return astray_state(further, to_go, self.show_units(), self.rests)
        return target_state(to_go, self.tolerance, self.show_units())

    # --- what is said -----------------------------------------------------------------------------------------------

    def tick(self) -> None:
        super().tick()
        if self.feed is not None and self._before is None:
            self._take_before(self.feed)

    def _take_before(self, feed: Feed) -> None:
        """The display before the turn: the mean of the first half second in which it stands still."""
        times, figures = feed.recent(STILL_FOR_S)
        if figures.size < 3 or times[-1] - times[0] < 0.8 * STILL_FOR_S:
            return
        if self.session.tour is not None and self.session.tour.pushing():
            return
        if float(np.ptp(figures)) > max(0.006, 6 * feed.meaning.resolution):
            return
        self._before = float(np.mean(figures))
        expected = self.move.reading_now
        if expected is not None:
            far = max(0.03, 3 * (self.move.uncertainty or 0.0))
            if abs(self._before - expected) > far:
                units = self.show_units()
                self._doubt = f"it should show {units.height(expected)}: is the carriage where it should be?"

    def words(self, now: Now, units: Units) -> list[Line]:
        to_go = self.to_go(now)
        state = [(" ", INK), *plate(self._shown_state, self.letters(), filled=True)]
        if self._before is None and now.height is not None:
            state = [("  one moment: reading before the turn", BOLD)]
        return [
            self.spread_line(now, units),
            state,
            [(f"  {self._stop_words(units)}", BOLD)],
            *(self._wrench_lines(to_go) if self.astray(now) is None else NO_FURTHER if self.rests else BACK_AND_ON),
            self._display_line(now, units),
            self._nut_line(units),
        ]

    def far_words(self, units: Units) -> tuple[str, ...]:
        return (f"{self.move.bolt}, {units.unit}", self._stop_words(units))

    def _stop_words(self, units: Units) -> str:
        """The height to stop at, and the part of a turn after which to stop even if it is not reached."""
        stop, most = f"stop at {units.height(self.target)} {units.pm(self.tolerance)}", self._at_most()
        if not most:
            return stop
        whole = f"{stop}, or after {most}"
        return whole if len(whole) <= STOP_CELLS else f"{stop}, or {most}"

    def _at_most(self) -> str:
        return most_words(self.session.machine.bolt(self.move.bolt), self.move.raise_at_most_mm)

    def _wrench_lines(self, to_go: float | None) -> list[Line]:
        """Which way and how far the wrench still goes, seen from where; small turns also as the wrench end's way."""
        machine = self.session.machine
        bolt = machine.bolt(self.move.bolt)
        gain = gain_of(self.move)
        if to_go is None or gain is None or abs(to_go) <= self.tolerance:
            way = way_of_turning(bolt.raises, bolt.seen_from, self.move.raise_mm)
            planned = fraction_of_turn(self.move.turns)
            return [[(f"  {self.move.bolt} planned {planned}, {way}", INK)], []]
        rest = to_go * gain
        turns = rest / bolt.travel_per_turn_mm
        way = way_of_turning(bolt.raises, bolt.seen_from, rest)
        sign = self.letters().up if rest >= 0 else self.letters().down
        wrench = wrench_way(turns, bolt.wrench_length_mm or machine.wrench_length_mm)
        return [
            [(f"  {bolt.name} {sign} {fraction_of_turn(turns)} turn, {way}", INK)],
            [(f"  {wrench}" if wrench else "", SOFT)],
        ]

    def _display_line(self, now: Now, units: Units) -> Line:
        shows = units.height(now.figure) if now.figure is not None and now.height is not None else "−"
        stop = units.height(self.move.reading_target) if self.move.reading_target is not None else "not known"
        return [(f"  instrument shows {shows}, stop at {stop}", SOFT)]

    def _nut_line(self, units: Units) -> Line:
        if self._doubt:
            return [(f"  {self._doubt}", BOLD)]
        if self._at_lock is not None and self._now is not None and self._now.height is not None:
            moved = self._now.height - self._at_lock
            return [(f"  lock nut tight; since then {units.height(moved)}", INK)]
        return [("  then the lock nut: it may shift by 0.01 mm", SOFT)]

    def context(self) -> str:
        park = "" if self.move.park_mm is None else f" parked at {self.units.position(self.move.park_mm)} ·"
        return f"{self.move.bolt},{park} {place_of(self.session.set_up_name, self.session.set_up())}"

    def tour_step(self) -> str:
        if self._now is not None and self.astray(self._now) is not None:
            return "turn_astray"
        return "turn_there" if self._shown_state.word == "inside" else "turn"

    def draw_rail(self) -> None:
        picture = rail_picture(
            self.session.machine, self.session.seen, stands=self.session.set_up_name, current=self.move.bolt
        )
        self.query_one("#rail", Rail).show(picture)

    # --- keys -------------------------------------------------------------------------------------------------------

    def check_action(self, action: str, parameters: tuple[object, ...]) -> bool | None:
        """Turning by key is for the tour's invented machine only."""
        if action == "turn":
            return self.session.tour is not None
        return True

    def action_turn(self, steps: float) -> None:
        """The tour's wrench: a little thread travel, in the direction that moves the carriage as the key says."""
        tour = self.session.tour
        if tour is None:
            return
        if self._before is None:
            self.say("One moment: the reading before the turn is being taken.")
            return
        gain = gain_of(self.move)
        sign = 1.0 if gain is None or gain > 0 else -1.0
        self._turned_by_key_mm += sign * TOUR_STEP_MM * float(steps)
        tour.turn_bolt(self.move.bolt, sign * TOUR_STEP_MM * float(steps))

    def action_lock(self) -> None:
        """The lock nut is tight: remember where the carriage stood."""
        if self.feed is None:
            return
        if self.session.tour is not None:
            self.session.tour.lock_nut(self.move.bolt)
        now = self.feed.now(STILL_FOR_S)
        if now.height is None:
            self.say("There is no reading. Check the cable; nothing is lost.")
            return
        self._at_lock = now.height
        self._digits_at = 0.0

    def action_done(self) -> None:
        """Write down what this bolt really did."""
        if self.feed is None or self._before is None:
            self.say("There is no reading from before the turn yet. Wait until the number stands still.")
            return
        _, figures = self.feed.recent(STILL_FOR_S)
        if self.feed.now().height is None or not figures.size:
            self.say(
                "There is no reading now, so nothing can be written down. Check the cable, then press enter again."
            )
            return
        made = Made(self.move, self._before, float(np.mean(figures)), self.session.set_up_name)
        if self.short_of_target(made.after):
            self._ask_how_far(made)
        else:
            self._write_down(made)

    def _write_down(self, made: Made) -> None:
        self.app.pop_screen()
        self._done(made, False)

    def _ask_how_far(self, made: Made) -> None:
        """The display did not end this turn: what the hand counted is asked, and may be left out."""
        units, machine, bolt = self.show_units(), self.session.machine, self.move.bolt

        def check(text: str) -> str | None:
            try:
                if text:
                    counted(bolt, text, machine)
            except TruestrokeError as error:
                return f"{error.what} {error.todo}".strip()
            return None

        self.truestroke.ask_text(
            f"{bolt} is not at its target: the display shows {units.height(made.after)}, and "
            f"{units.height(self.move.reading_target)} {units.unit} was to be reached. How far was it turned, as a "
            "part of a turn? + raises, - lowers. Empty: not counted, the display alone is written down.",
            check,
            lambda text: self._write_down(replace(made, counted=text)),
            self._most_said(),
        )

    def _most_said(self) -> str:
        """What stands in the line before anything is typed: the most that was said, or what the tour's keys did."""
        turned = self.move.raise_mm
        turns = self.turns_at_most()
        if self.session.tour is not None:
            turned = self._turned_by_key_mm
            turns = abs(turned) / self.session.machine.bolt(self.move.bolt).travel_per_turn_mm
        return f"{'-' if turned < 0 else '+'}{typed_turns(turns)}" if turns else ""

    def action_skip(self) -> None:
        """Leave this bolt as it is; asked first where it seems to have been turned."""
        self._unless_turned("Leave this bolt without writing it down?", self._skip)

    def _skip(self) -> None:
        self.app.pop_screen()
        self._done(None, True)

    def action_back(self) -> None:
        """Out of far view, then back to the findings; asked first where the bolt seems to have been turned."""
        if self.has_class("-far"):
            self.action_far()
        else:
            self._unless_turned("Go back without writing this bolt down?", self.app.pop_screen)

    def _unless_turned(self, question: str, leave: Callable[[], object]) -> None:
        now = self.feed.now(STILL_FOR_S) if self.feed is not None else None
        if now is None or now.figure is None or now.height is None or self._before is None or self.feed is None:
            leave()
            return
        moved = now.height - self.feed.meaning.height(self._before) - self.feed.offset
        if abs(moved) <= max(HAND["mm/m" if self.feed.meaning.quantity == "mm/m" else "mm"], self.tolerance):
            leave()
            return
        units = self.show_units()
        self.truestroke.ask_first(
            question,
            f"The height has moved by {units.height(moved)} {units.unit} since this screen opened: {self.move.bolt} "
            "seems to have been turned. Left like this the journal does not know of it and the advice will be wrong; "
            "enter on the screen before writes it down.",
            lambda: leave() and None,
        )
