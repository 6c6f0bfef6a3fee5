"""From the source's records to what a screen shows: a ring of the last readings, the hold, and whether it is alive.

Why it exists: at 1000 readings a second a message per reading stops the screen. The feed is asked 30 times a second,
takes all that came, and keeps the newest for the eye; everything is on disk already, written by another process.
It prevents two more mistakes: a frozen number shown as a live one, and a raw display figure shown as a height.

A source is a ``Recorder`` or a ``Replay``: the feed cannot tell them apart, and needs no clock of its own.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Protocol

import numpy as np

from analysis.results import FloatArray
from analysis.units import Sense, SetUpKind, height_from_reading, reading_from_height, to_base
from logger.errors import TruestrokeError
from logger.readings import Ended, Gap, Garbage, LinkBack, LinkLost, Mark, Reading, Record

RING = 8192
"""Readings kept for the eye: eight seconds at 1 kHz."""
QUIET_AFTER_S = 1.5
"""Without a reading for so long the number is not shown as alive."""


class Source(Protocol):
    """The read side that a recorder and a replay share."""

    @property
    def state(self) -> str: ...
    @property
    def latest(self) -> Reading | None: ...
    @property
    def readings(self) -> int: ...
    @property
    def garbage(self) -> int: ...
    @property
    def gaps(self) -> int: ...
    @property
    def marks(self) -> int: ...
    def drain(self) -> list[Record]: ...


@dataclass(frozen=True, slots=True)
class Meaning:
    """How a display figure (already in mm or mm/m) becomes a height: kind and sense of the set-up, its zero."""

    quantity: str = "mm"
    """``mm`` or ``mm/m``."""
    kind: SetUpKind = "fixed"
    sense: Sense = "normal"
    zero: float | None = 0.0
    resolution: float = 0.001
    """Of the display, in mm or mm/m."""

    def heights(self, figures: FloatArray) -> FloatArray:
        """Display figures (readings,) in mm or mm/m -> heights in mm (tilts in mm/m)."""
        return height_from_reading(figures, self.kind, self.zero, self.sense)

    def height(self, figure: float) -> float:
        """The same for one figure."""
        return height_from_reading(figure, self.kind, self.zero, self.sense)

    def figure(self, height: float) -> float:
        """What the display shows for a height: the inverse."""
        return reading_from_height(height, self.kind, self.zero, self.sense)


@dataclass(frozen=True, slots=True)
class Now:
    """What is known of the present moment. ``height`` None: nothing that may be shown as live.

    ``uncertainty`` is expanded (k = 2) and holds the display's resolution and the scatter over the shown moment; the
    instrument's own calibration is not in it.
    """

    height: float | None
    figure: float | None
    uncertainty: float
    state: str
    rate: float
    last_height: float | None
    silent_s: float


def in_base_units(readings: list[Reading]) -> FloatArray:
    """Display figures (readings,) in mm or mm/m, each from the unit it was sent in."""
    values = np.array([reading.value for reading in readings], dtype=np.float64)
    unit = readings[0].unit
    if all(reading.unit == unit for reading in readings):
        return to_base(values, unit)
    return np.array([to_base(reading.value, reading.unit) for reading in readings], dtype=np.float64)


class Feed:
    """The newest of a source, polled by the screen's timer. ``reads`` tells which of an instrument's channels count."""

    def __init__(
        self,
        source: Source,
        meaning: Meaning,
        clock: Callable[[], float],
        reads: Callable[[str], bool] = lambda _channel: True,
    ) -> None:
        self.source = source
        self.reads = reads
        self.meaning = meaning
        self._clock = clock
        self._t = np.zeros(RING)
        self._figures = np.zeros(RING)
        self._count = 0
        self._last_came = clock()
        self._lost_at: float | None = None
        self._rates: list[tuple[float, int]] = []
        self.offset = 0.0
        """Added to every height: what the zero and reference keys have set, on the screen only."""
        self.highest: float | None = None
        self.lowest: float | None = None
        self.held_since = clock()
        self.ended: Ended | None = None
        self.last_words = ""

    @property
    def error(self) -> TruestrokeError | None:
        """Why the source never opened; None where it did, or has no such thing."""
        error = getattr(self.source, "error", None)
        return error if isinstance(error, TruestrokeError) else None

    def poll(self) -> list[Record]:
        """Take what came since the last call; returns it for whoever wants the records themselves."""
        return self.take(self.source.drain())

    def take(self, records: list[Record]) -> list[Record]:
        """Take records in, as :meth:`poll` does; returns them."""
        now = self._clock()
        readings = [record for record in records if isinstance(record, Reading) and self.reads(record.channel)]
        if readings:
            self._keep(readings)
            self._last_came, self._lost_at = now, None
        for record in records:
            self._notice(record, now)
        self._rates.append((now, self._count))
        while len(self._rates) > 2 and now - self._rates[0][0] > 2.0:
            self._rates.pop(0)
        return records

    def _keep(self, readings: list[Reading]) -> None:
        readings = readings[-RING:]
        t = np.array([reading.t_ns for reading in readings], dtype=np.float64) * 1e-9
        figures = in_base_units(readings)
        at = (self._count + np.arange(t.size)) % RING
        self._t[at], self._figures[at] = t, figures
        self._count += t.size
        heights = self.meaning.heights(figures) + self.offset
        high, low = float(np.max(heights)), float(np.min(heights))
        self.highest = high if self.highest is None else max(self.highest, high)
        self.lowest = low if self.lowest is None else min(self.lowest, low)

    def _notice(self, record: Record, now: float) -> None:
        if isinstance(record, LinkLost):
            self._lost_at = now
            self.last_words = record.why
        elif isinstance(record, LinkBack):
            self._lost_at = None
        elif isinstance(record, Ended):
            self.ended = record
        elif isinstance(record, Garbage):
            self.last_words = record.why
        elif isinstance(record, Gap | Mark):
            return

    def recent(self, seconds: float) -> tuple[FloatArray, FloatArray]:
        """Times in s and display figures of the last ``seconds`` of readings, oldest first."""
        kept = min(self._count, RING)
        at = (self._count - kept + np.arange(kept)) % RING
        t = self._t[at]
        if kept == 0:
            return t, self._figures[at]
        first = int(np.searchsorted(t, t[-1] - seconds, side="left"))
        return t[first:], self._figures[at][first:]

    def now(self, over_s: float = 0.125) -> Now:
        """The present moment: the mean of the last ``over_s`` of readings and how far it may be trusted."""
        moment = self._clock()
        state = self.source.state
        silent = moment - (self._lost_at if self._lost_at is not None else self._last_came)
        _, figures = self.recent(over_s)
        if figures.size == 0:
            return Now(None, None, self.meaning.resolution, state, 0.0, None, silent)
        heights = self.meaning.heights(figures) + self.offset
        height = float(np.mean(heights))
        scatter = float(np.std(heights)) if heights.size > 2 else 0.0
        spread = 2 * (self.meaning.resolution**2 / 12 + scatter**2 / max(1, heights.size)) ** 0.5
        spread = max(spread, self.meaning.resolution)
        held = bool(getattr(self.source, "paused", False))
        alive = state == "receiving" or held or (state != "lost" and moment - self._last_came < QUIET_AFTER_S)
        return Now(height if alive else None, float(figures[-1]), spread, state, self.rate(), height, silent)

    def rate(self) -> float:
        """Readings per second over the last two seconds."""
        if len(self._rates) < 2 or self._rates[-1][0] <= self._rates[0][0]:
            return 0.0
        (t0, n0), (t1, n1) = self._rates[0], self._rates[-1]
        return (n1 - n0) / (t1 - t0)

    def set_height(self, wanted: float) -> None:
        """From now on the present reading counts as the height ``wanted``; the hold starts again."""
        now = self.now(0.5)
        if now.height is not None:
            self.offset += wanted - now.height
            self.clear_hold()

    def forget(self) -> None:
        """Begin again with nothing: a replay has jumped."""
        self._count = 0
        self._rates.clear()
        self.ended = None
        self.clear_hold()

    def clear_hold(self) -> None:
        """Forget the highest and the lowest."""
        self.highest = self.lowest = None
        self.held_since = self._clock()
