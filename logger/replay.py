"""A recording played back through the same seam as a live instrument.

Why it exists: the screen that shows a sweep must show an old one in exactly the same way, at any speed, paused, stepped
or jumped through. The mistake prevented: a second set of widgets for replay that slowly shows something else. The clock
is an argument, so that a test needs no waiting.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from operator import attrgetter
from typing import Literal

from logger.clock import now_ns
from logger.readings import Ended, Gap, Mark, Reading, Record
from logger.recording import Recording

SLOWEST, FASTEST = 0.05, 1000.0


class Replay:
    """The recorder's read side (``drain``, ``state``, ``latest``, totals) over a recording, with a speed.

    Values are in mm or mm/m, as in the :class:`Recording`. Times are the recording's own.
    """

    def __init__(self, recording: Recording, speed: float = 1.0, clock: Callable[[], int] = now_ns) -> None:
        self._records = _events(recording)
        self._clock = clock
        self._speed = 1.0
        self._next = 0
        self._at_ns = self._records[0].t_ns if self._records else 0
        self._told_ns = clock()
        self._ended = Ended(self._records[-1].t_ns if self._records else 0, recording.ended)
        self._end_told = False
        self.paused = False
        self.latest: Reading | None = None
        self.readings = self.marks = self.gaps = self.garbage = 0
        self._in_gap = False
        self.started_utc = recording.started_utc
        self.speed = speed

    @property
    def speed(self) -> float:
        """How many recorded seconds pass in one of ours; kept between 0.05 and 1000."""
        return self._speed

    @speed.setter
    def speed(self, speed: float) -> None:
        self._move_on()
        self._speed = min(max(speed, SLOWEST), FASTEST)

    @property
    def state(self) -> Literal["receiving", "quiet", "ended"]:
        if self._next >= len(self._records):
            return "ended"
        return "quiet" if self.paused else "receiving"

    @property
    def ended(self) -> Ended | None:
        return self._ended if self.state == "ended" else None

    @property
    def t_s(self) -> float:
        """Where the replay is, in the recording's time."""
        self._move_on()
        return self._at_ns / 1e9

    @property
    def duration_s(self) -> float:
        return self._ended.t_ns / 1e9

    def drain(self) -> list[Record]:
        """Everything that came since the last call, oldest first; at the end the :class:`Ended`, once."""
        self._move_on()
        first = self._next
        while self._next < len(self._records) and self._records[self._next].t_ns <= self._at_ns:
            self._next += 1
        return self._told(self._records[first : self._next])

    def pause(self, paused: bool | None = None) -> None:
        """Stop or go on; without an argument the other of the two."""
        self._move_on()
        self.paused = not self.paused if paused is None else paused

    def step(self) -> list[Record]:
        """The next record, at once; pauses."""
        self.pause(True)
        record = self._records[self._next : self._next + 1]
        if record:
            self._at_ns = record[0].t_ns
            self._next += 1
        return self._told(record)

    def jump(self, t_s: float) -> None:
        """Go to a time of the recording. The totals count what lies before it; it is not told again."""
        self._told_ns = self._clock()
        first = self._records[0].t_ns if self._records else 0
        self._at_ns = min(max(round(t_s * 1e9), first), self._ended.t_ns)
        self._next = 0
        while self._next < len(self._records) and self._records[self._next].t_ns < self._at_ns:
            self._next += 1
        self.latest, self._in_gap, self._end_told = None, False, False
        self.readings = self.marks = self.gaps = self.garbage = 0
        self._count(self._records[: self._next])

    def _move_on(self) -> None:
        now = self._clock()
        if not self.paused:
            self._at_ns = min(self._at_ns + round((now - self._told_ns) * self._speed), self._ended.t_ns)
        self._told_ns = now

    def _told(self, records: Sequence[Record]) -> list[Record]:
        self._count(records)
        told = list(records)
        if self._next >= len(self._records) and not self._end_told:
            self._end_told = True
            told.append(self._ended)
        return told

    def _count(self, records: Sequence[Record]) -> None:
        for record in records:
            if isinstance(record, Reading):
                self.readings += 1
                self.latest = record
                self._in_gap = False
            elif isinstance(record, Mark):
                self.marks += 1
            elif isinstance(record, Gap):
                no_value = record.reason == "no value"
                self.gaps += not (no_value and self._in_gap)
                self._in_gap = no_value


def _events(recording: Recording) -> list[Record]:
    """The recording as records in the order of time, values in mm or mm/m and positions in mm."""
    names = [recording.channels[index] for index in recording.channel.tolist()]
    rows = zip(recording.t_s.tolist(), recording.value.tolist(), recording.position_mm.tolist(), names, strict=True)
    records: list[Record] = [
        Reading(_ns(t), value, recording.unit, name, None if position != position else position)
        for t, value, position, name in rows
    ]
    records += [
        Gap(_ns(t), _ns(t), "no value", None if position != position else position)
        for t, position in zip(recording.no_value_t_s.tolist(), recording.no_value_position_mm.tolist(), strict=True)
    ]
    records += [
        Gap(_ns(start), _ns(until), reason)
        for (start, until), reason in zip(recording.gaps_t_s.tolist(), recording.gap_reason, strict=True)
        if reason != "no value"
    ]
    records += [
        Mark(_ns(t), source) for t, source in zip(recording.mark_t_s.tolist(), recording.mark_source, strict=True)
    ]
    return sorted(records, key=attrgetter("t_ns"))


def _ns(t_s: float) -> int:
    return round(t_s * 1e6) * 1000
