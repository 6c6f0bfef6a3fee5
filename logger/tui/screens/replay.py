"""A recorded sweep played again: the live widgets on an old recording, at any speed, paused, stepped, jumped.

Why it exists: what went wrong at 10:42 can be looked at again, in exactly the picture it had. There is no second set of
widgets, so a replay cannot show something else than the live screen did.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any, ClassVar

import numpy as np

from logger.description.channels import ChannelFilter
from logger.rail_picture import RailPicture, bolts_of, live_limits
from logger.readings import Mark, Reading, Record
from logger.tui.drawing import meaning_of, place_of, windows_of
from logger.tui.feed import Feed, Now, in_base_units
from logger.tui.keys import REPLAY, Key
from logger.tui.screens.live import LiveBase
from logger.tui.trace import Trace
from logger.tui.widgets.lines import INK, SOFT, Line, plate
from logger.tui.widgets.rail import Rail, along_of
from logger.tui.wording import Units

if TYPE_CHECKING:
    from logger.machines import Machine
    from logger.recording import Recording


class ReplayScreen(LiveBase):
    """The live view on a replay."""

    NAME = "replay"
    KEYS: ClassVar[tuple[Key, ...]] = REPLAY

    def __init__(self, recording: Recording, replay: Any, machine: Machine, clock: Any) -> None:
        set_up = machine.set_ups[recording.set_up]
        reads = ChannelFilter(set_up, recording.instrument)
        super().__init__(Feed(replay, meaning_of(set_up, recording.instrument.step), clock, reads))
        self.recording = recording
        self.replay = replay
        self.machine = machine
        self._trace = self._new_trace()
        self._drawn_at = -1.0

    def _new_trace(self) -> Trace:
        rail, recording = self.machine.rail, self.recording
        windows = windows_of(self.machine, self.machine.set_ups[recording.set_up])
        return Trace(rail.from_mm, rail.to_mm, recording.stations_mm, max(1, recording.passes), windows)

    def limits(self) -> tuple[float, float]:
        set_up = self.machine.set_ups[self.recording.set_up]
        return live_limits(self.machine, "height" if self.recording.unit == "mm" else (set_up.axis or "pitch"))

    def took(self, records: Sequence[Record]) -> None:
        """Lay the readings along the rail as the sweep screen did."""
        run: list[Reading] = []
        for record in records:
            if isinstance(record, Reading):
                run.append(record)
            elif isinstance(record, Mark):
                self._add(run)
                run = []
                self._trace.mark(record.t_ns * 1e-9)
        self._add(run)
        moment = self.session.clock()
        if records and moment - self._drawn_at >= 0.1:
            self._drawn_at = moment
            self.draw_rail()

    def _add(self, run: list[Reading]) -> None:
        if not run or self.feed is None:
            return
        times = np.array([reading.t_ns for reading in run], dtype=np.float64) * 1e-9
        x = None
        if any(reading.position is not None for reading in run):
            encoder = self.machine.set_ups[self.recording.set_up].encoder
            start = encoder.at_zero_mm if encoder.at_zero_mm is not None else self.machine.carriage.stroke_mm[0]
            x = start + np.array([np.nan if r.position is None else r.position for r in run], dtype=np.float64)
        self._trace.add(times, self.feed.meaning.heights(in_base_units(run)), x)

    def draw_rail(self) -> None:
        rail = self.query_one("#rail", Rail)
        frame = RailPicture(self.machine.rail.from_mm, self.machine.rail.to_mm)
        columns = self._trace.columns(along_of(frame, max(20, rail.size.width)))
        level = self.recording.unit == "mm/m"
        rail.units = Units(self.units.mode, "mm/m" if level else "mm")
        rail.show(
            RailPicture(
                frame.from_mm,
                frame.to_mm,
                bolts_of(self.machine, None),
                columns=columns,
                band=None if level else self.limits(),
                here_mm=self._trace.here_mm,
            )
        )

    def words(self, now: Now, units: Units) -> list[Line]:
        replay = self.replay
        here = self._trace.here_mm
        where = "place not known yet" if here is None else f"carriage at {self.units.position(here)}"
        shows = units.height(now.figure) if now.figure is not None else "−"
        marks = f"{replay.marks} marks, {replay.readings} readings"
        return [
            [],
            self.spread_line(now, units),
            [],
            plate(self._shown_state, self.letters(), filled=True),
            [(f"  {where}, pass {len(self._trace.passes)} of {self._trace.wanted}", INK)],
            [(f"  instrument showed {shows}", SOFT)],
            [(f"  {marks}", SOFT)],
        ]

    def context(self) -> str:
        set_up = self.machine.set_ups[self.recording.set_up]
        return f"{self.recording.name} · {place_of(self.recording.set_up, set_up)}"

    def right(self, now: Now) -> str:
        how = "paused" if self.replay.paused else "ended" if now.state == "ended" else f"x {self.replay.speed:g}"
        return f"{how}   {self.replay.t_s:.1f} of {self.replay.duration_s:.1f} s"

    # --- keys -------------------------------------------------------------------------------------------------------

    def action_pause(self) -> None:
        """Stop or go on; at the end: from the beginning."""
        if self.replay.state == "ended" and not self.replay.paused:
            self.action_jump_to_start()
        else:
            self.replay.pause()

    def action_step(self) -> None:
        """One record further."""
        if self.feed is not None:
            self.took(self.feed.take(self.replay.step()))
            self._digits_at = 0.0
            self.draw_rail()

    def action_speed(self, factor: float) -> None:
        """Faster or slower."""
        self.replay.speed = self.replay.speed * float(factor)
        self._digits_at = 0.0

    def action_jump(self, way: int) -> None:
        """On or back by a twentieth."""
        self._go(self.replay.t_s + way * self.replay.duration_s / 20)

    def action_jump_to_start(self) -> None:
        """From the beginning."""
        self._go(0.0)

    def _go(self, t_s: float) -> None:
        """To a time: what lies before it is laid out anew, so that the picture is the one of that moment."""
        paused = self.replay.paused
        self.replay.jump(0.0)
        self._trace = self._new_trace()
        if self.feed is not None:
            self.feed.forget()
        wanted = min(max(0.0, t_s), self.replay.duration_s)
        recording = self.recording
        marks = [Mark(round(t * 1e9)) for t in recording.mark_t_s if t < wanted]
        events: list[Record] = [*self._readings_before(wanted), *marks]
        self.took(sorted(events, key=lambda record: record.t_ns))
        self.replay.jump(wanted)
        self.replay.pause(paused)
        self._digits_at = 0.0
        self.draw_rail()

    def _readings_before(self, t_s: float) -> list[Record]:
        recording = self.recording
        upto = int(np.searchsorted(recording.t_s, t_s))
        rows = zip(
            recording.t_s[:upto].tolist(),
            recording.value[:upto].tolist(),
            recording.position_mm[:upto].tolist(),
            strict=True,
        )
        return [
            Reading(round(t * 1e9), value, recording.unit, "", None if position != position else position)
            for t, value, position in rows
        ]
