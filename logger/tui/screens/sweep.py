"""A sweep under way: where the carriage is, what has been seen, what to do next.

Why it exists: the hand is on the carriage and the eye on the rail, so one key does it: space at each mark. Everything
that arrives is written by another process before it is shown; this screen can die without hurting the recording.
"""

from __future__ import annotations

from collections.abc import Iterable
from pathlib import Path
from typing import ClassVar

import numpy as np
from textual.widget import Widget

from logger.errors import TruestrokeError
from logger.rail_picture import NOTHING, Curve, RailPicture, bolts_of, lines_for
from logger.readings import Gap, LinkBack, LinkLost, Mark, Reading, Record, TakenBack
from logger.tui.drawing import place_of, positions_of, windows_of
from logger.tui.feed import Feed, Now, in_base_units
from logger.tui.guidance import push_words, stations_round, stretch_words
from logger.tui.keys import SWEEP, Key
from logger.tui.screens.base import Sheet, TooSmall
from logger.tui.screens.direction import look_first
from logger.tui.screens.sweep_beside import ask_beside, beside_words, note_beside, swept_set_ups
from logger.tui.trace import Trace
from logger.tui.widgets.carriage import CarriagePicture, CarriageView
from logger.tui.widgets.counters import count_lines
from logger.tui.widgets.lines import INK, Line, Lines
from logger.tui.widgets.rail import Rail, along_of
from logger.tui.wording import SWEEP_CAUTIONS, State, Units, ago, live_state
from logger.wording import count

DRAWN_PER_S = 10


class SweepScreen(Sheet):
    """Marks, passes, counters, and the picture that grows."""

    NAME = "sweep"
    KEYS: ClassVar[tuple[Key, ...]] = SWEEP
    TOUR_STEP = "sweep"

    DEFAULT_CSS = """
    SweepScreen #carriage { height: 4; }
    SweepScreen #counts { height: 3; margin-top: 1; }
    SweepScreen #todo { height: 1; }
    """

    def __init__(self) -> None:
        super().__init__()
        self.feed: Feed | None = None
        self.trace: Trace | None = None
        self._folder: Path | None = None
        self._finished = False
        self._waiting = False
        self._whole: tuple[float, ...] | None = None
        self._last_time_s = 0.0
        self._by_position = False
        """The lines carry the carriage's position: marks may be made and need not be."""
        self._early_asked = False

    def body(self) -> Iterable[Widget]:
        yield CarriageView(id="carriage")
        yield Rail(self.units, id="rail")
        yield Lines(id="counts", fixed=True)
        yield Lines(id="todo", fixed=True)

    def on_mount(self) -> None:
        super().on_mount()
        self.query_one("#todo", Lines).show([[("  One moment: opening the port.", INK)]])
        self.call_after_refresh(self._look_first)  # first something to see, then what takes a second
        self.set_interval(1 / DRAWN_PER_S, self.tick)

    def on_unmount(self) -> None:
        if self._whole is not None:
            self.session.stations_mm = self._whole
        if self.feed is not None:
            self.session.close_feed(self.feed)

    def fit(self) -> None:
        self.query_one("#rail", Rail).fit()

    def units_changed(self) -> None:
        self.query_one("#rail", Rail).units = self.units
        self.tick()

    def _look_first(self) -> None:
        """Does the number move as said? Asked once for each set-up and instrument, before the first of its sweeps."""
        self._hang_up()
        session = self.session
        try:
            look_first(self, swept_set_ups(session), self._begin)
        except TruestrokeError as error:
            self.say_error(error)

    def _begin(self) -> None:
        session = self.session
        machine = session.machine
        tour = session.tour
        if tour is not None:
            session.stations_mm, session.passes = tour.stations_mm, tour.passes
        try:
            windows = windows_of(machine, session.set_up())
            self.trace = Trace(machine.rail.from_mm, machine.rail.to_mm, session.stations(), session.passes, windows)
            if session.job is not None:
                self._folder = session.job.next_recording_folder(session.set_up_name)
            self.feed = session.open_feed(self._folder, sweep=True)
        except TruestrokeError as error:
            self.say_error(error)
            self.feed = None
        else:
            self._by_position = any(one.is_position for one, _ in session.recorded_beside)
            if tour is None:
                self.say(SWEEP_CAUTIONS)

    # --- ten times a second -----------------------------------------------------------------------------------------

    def tick(self) -> None:
        """Take what came, lay it along the rail, show it."""
        if self.feed is None or self.trace is None:
            return
        self._lay_out(self.feed.poll())
        now = self.feed.now()
        self._show(now)
        tour = self.session.tour
        self.tour_line("sweep_pushing" if tour is not None and tour.pushing() else "sweep")
        if self.feed.error is not None and not self._finished:
            self._finished = True
            self.say_error(self.feed.error)
        if self.feed.ended is not None and not self._finished and self.app.screen is self:  # no question is open
            self._finish(self.feed.ended.how)

    def _lay_out(self, records: list[Record]) -> None:
        trace, feed = self.trace, self.feed
        if trace is None or feed is None:
            return
        run: list[Reading] = []
        for record in records:
            if isinstance(record, Reading):
                run.append(record)
                continue
            self._add(run)
            run = []
            if isinstance(record, Mark):
                trace.mark(record.t_ns * 1e-9)
            elif isinstance(record, TakenBack):
                self._took_back()
            elif isinstance(record, LinkLost):
                self.say(f"Link lost: {record.why}. What came before is on disk; waiting for it to come back.")
            elif isinstance(record, LinkBack):
                self.say(f"The link is back on {record.port}. The gap is recorded.")
            elif isinstance(record, Gap) and record.reason == "noted":
                self.say("Noted: this stretch will be left out.")
        self._add(run)

    def _add(self, run: list[Reading]) -> None:
        if not run or self.trace is None or self.feed is None:
            return
        times = np.array([reading.t_ns for reading in run], dtype=np.float64) * 1e-9
        self._last_time_s = float(times[-1])
        heights = self.feed.meaning.heights(in_base_units(run))
        positions = positions_of(run, self.session.machine, self.session.set_up(), self.session.instrument())
        self._by_position = self._by_position or positions is not None
        self.trace.add(times, heights, positions)

    # --- showing ----------------------------------------------------------------------------------------------------

    def _show(self, now: Now) -> None:
        session, trace = self.session, self.trace
        if trace is None:
            return
        here = trace.here_mm
        self.head(
            self._words_of_head(), f"recording {self._folder.name.split('-')[0]}" if self._folder else "not recorded"
        )
        self.query_one("#carriage", CarriageView).show(
            CarriagePicture(
                session.machine.rail.from_mm,
                session.machine.rail.to_mm,
                here,
                session.machine.carriage.bearing_offsets_mm,
                f"carriage at {self.units.position(here)}" if here is not None else "carriage: place not known yet",
                tuple((place.name, place.x_mm) for place in session.machine.places),
            )
        )
        self._draw_rail()
        state = self._state(now)
        self.query_one("#counts", Lines).show(self._count_lines(now, state))
        self.query_one("#todo", Lines).show([[(f"  {self._what_to_do()}", INK)]])
        number = self.units.height(now.height) if now.height is not None else "no reading"
        self.query_one(TooSmall).show(f"{number} {self.units.unit}")

    def _draw_rail(self) -> None:
        trace = self.trace
        if trace is None:
            return
        rail = self.query_one("#rail", Rail)
        machine = self.session.machine
        picture = RailPicture(
            machine.rail.from_mm, machine.rail.to_mm, bolts_of(machine, None), band=lines_for(machine, NOTHING)
        )
        along = along_of(picture, max(20, rail.size.width))
        columns = trace.columns(along)
        before = None
        if len(trace.passes) > 1:
            earlier = trace.columns(along, -2)
            known = np.isfinite(earlier)
            before = Curve(along.centres()[known], earlier[known])
        level = self.feed is not None and self.feed.meaning.quantity == "mm/m"
        rail.units = Units(self.units.mode, "mm/m" if level else "mm")
        band = None if level else picture.band
        rail.show(
            RailPicture(
                picture.from_mm,
                picture.to_mm,
                picture.bolts,
                columns=columns,
                band=band,
                before=before,
                here_mm=trace.here_mm,
            )
        )

    def _state(self, now: Now) -> State:
        if now.height is None:
            if now.state == "lost":
                return State("lost", f"link lost {ago(now.silent_s)} ago")
            return State("none", "no reading")
        unread = self.trace.unread() if self.trace is not None else ""
        if unread:
            return State("none", unread)
        lower, upper = lines_for(self.session.machine, NOTHING) or (0.0, 0.0)
        return live_state(now.height, now.uncertainty, lower, upper, self.units)

    def _count_lines(self, now: Now, state: State) -> list[Line]:
        feed, trace = self.feed, self.trace
        if feed is None or trace is None:
            return []
        letters = self.query_one("#counts", Lines).letters
        insert = self.session.machine.table.insert_mm
        opening = f"insert {insert[0][0]:.0f} to {insert[0][1]:.0f}" if insert else ""
        written = "disk: all of it written" if self._folder is not None else "not written: no job is open"
        return count_lines(feed.source, trace, now, state, letters, self.units, (written, opening))

    def _words_of_head(self) -> str:
        trace, session = self.trace, self.session
        if trace is None:
            return ""
        way = "infeed to outfeed" if trace.now.direction > 0 else "outfeed to infeed"
        where = place_of(session.set_up_name, session.set_up())
        others = beside_words(self.feed.source) if self.feed is not None else ""
        return f"pass {len(trace.passes)} of {trace.wanted}, {way} · {where}{others}"

    def _what_to_do(self) -> str:
        trace = self.trace
        if trace is None:
            return ""
        if self.session.tour is not None and self.session.tour.marks_itself:
            return "On a real saw: power locked out, cable clear, space at each mark."
        rate_now = self.feed.now().rate if self.feed is not None else None
        level = self.feed is not None and self.feed.meaning.quantity == "mm/m"
        return push_words(trace, rate_now, self.units, at_stops=level, by_position=self._by_position)

    # --- keys -------------------------------------------------------------------------------------------------------

    def action_mark(self) -> None:
        """The carriage's middle stands at the next station."""
        if self.feed is not None and self.feed.ended is None:
            self.feed.source.mark()  # type: ignore[attr-defined]

    def action_take_back(self) -> None:
        """The newest mark was a slip."""
        trace = self.trace
        if self.feed is None or trace is None or self.feed.ended is not None:
            return
        if any(one.marks_s for one in trace.passes):
            self.feed.source.take_back()  # type: ignore[attr-defined]
        else:
            self.say("There is no mark to take back.")

    def _took_back(self) -> None:
        trace = self.trace
        if trace is None or not trace.take_back():
            return
        station = trace.next_station()
        where = f" The next space is for {self.units.position(station)} again." if station is not None else ""
        self.say(f"The last mark was taken back; it stays in the recording, and so does this.{where}")

    def action_note_gap(self) -> None:
        """Leave what came just now out."""
        if self.feed is not None:
            self.feed.source.note_gap()  # type: ignore[attr-defined]

    def action_end_pass(self) -> None:
        """This pass is done. In the tour: push the carriage."""
        trace, tour = self.trace, self.session.tour
        if self._waiting:
            self._to_findings()
            return
        if trace is None or self.feed is None:
            return
        if tour is not None:
            if not tour.pushing():
                tour.push()
            return
        if self._by_position and not trace.now.complete and not trace.now.marks_s:
            here = trace.here_mm is None or trace.at_the_end(self.session.machine.carriage.stroke_mm)
            if not here and not self._early_asked:
                self._early_asked = True
                self.say("The carriage is not at the end of its travel. Push on; or press enter again to end here.")
                return
        elif not trace.now.complete and trace.now.stations_mm:
            missing = len(trace.now.stations_mm) - len(trace.now.marks_s)
            self.say(f"{missing} marks are missing in this pass. Make them, or press x to begin the sweep again.")
            return
        self._early_asked = False
        if len(trace.passes) < trace.wanted:
            trace.begin_pass()
        else:
            self.feed.source.stop()  # type: ignore[attr-defined]

    def action_beside(self) -> None:
        """Another instrument beside this one; the sweep begins again with it."""
        ask_beside(self, self._look_first)

    def _hang_up(self) -> None:
        if self.feed is not None:
            self.session.close_feed(self.feed)
        self.feed = None
        self._waiting = self._finished = False

    def action_throw_away(self) -> None:
        """Begin again; what was recorded stays on disk but is not counted."""
        self._hang_up()
        self._begin()
        self.say("Begun again. The sweep before this one stays on disk and is not counted.")

    def before_leaving(self) -> str | None:
        """A sweep under way is asked about before it is given up."""
        if self.feed is None or self._finished or self.feed.ended is not None or self.feed.error is not None:
            return None
        return (
            f"{count(self.feed.source.readings)} readings are on disk and stay there, but a sweep that was stopped is "
            "not counted: findings and advice stay as they were. The recording goes on while you read this."
        )

    def action_stop(self) -> None:
        """Stop and go back; asked first while something is being recorded."""
        words = self.before_leaving()
        if words is None:
            self._leave()
        else:
            self.truestroke.ask_first("Stop this sweep?", words, self._leave)

    def _leave(self) -> None:
        if self.feed is not None and self.feed.ended is not None and not self._finished:
            self._finish(self.feed.ended.how)  # it came to its end while the question was open
            return
        self._finished = True
        self.app.pop_screen()

    def _finish(self, how: str) -> None:
        """The recording is complete: write it into the journal and go to the findings."""
        self._finished = True
        session = self.session
        trace = self.trace
        whole = trace is not None and (len(trace.passes) >= trace.wanted and trace.now.complete)
        if not whole and how not in ("operator", "passes", "closed", "marks"):
            self.say(f"The recording ended ({how}). What was received is on disk. Press x to begin again.")
            return
        if session.job is None or self._folder is None:
            self.say("Done. Nothing was written, because no job is open.")
            return
        try:
            lost = note_beside(session, self.feed.source if self.feed is not None else None)
            session.parts.note_sweep(session.job, self._folder, session.set_up_name)
            session.forget_what_was_found()
            session.remember()
        except TruestrokeError as error:
            self.say_error(error)
            return
        unseen = trace.unseen() if trace is not None else ()
        if lost:
            self._waiting = True
            self.say(f"{', '.join(lost)} was cut off and is not counted. Press enter for the findings of the rest.")
            return
        if unseen and session.tour is None:
            self._waiting = True
            self.say(
                f"Not seen yet: {stretch_words(unseen)}. Press r to sweep only that stretch again (both sweeps count), "
                "enter for the findings."
            )
            return
        self._to_findings()

    def _to_findings(self) -> None:
        self._waiting = False
        if self._whole is not None:
            self.session.stations_mm, self._whole = self._whole, None
        self.truestroke.open_findings(replace=True)

    def action_repeat(self) -> None:
        """Sweep again only what was not seen: the stations round it; the findings join both sweeps."""
        if not self._waiting or self.trace is None:
            self.say("There is nothing to repeat yet: this key is for a stretch that stayed unseen.")
            return
        stations = self.session.stations()
        self._whole = self._whole if self._whole is not None else self.session.stations_mm
        self.session.stations_mm = stations_round(self.trace.unseen(), stations)
        self._hang_up()
        self._begin()
