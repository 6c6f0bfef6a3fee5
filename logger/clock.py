"""One monotonic clock, tied to wall time once per recording; the device's clock brought to it or put in its place.

Why it exists: wall time jumps (summer time, a time server), two clocks drift, and USB bridges deliver in clumps. A
profile is time turned into position, so a stamp that jumps by 50 ms moves a bolt's spot by 15 mm at 0.3 m/s. The
mistake prevented: mixing clocks. Everything is stamped with :func:`now_ns`, and where the instrument sends its own time
it is used in exactly one of two ways: it *sharpens* the host's stamps (:class:`SharpenedStamps`), or it *is* the time
base (:class:`DeviceTimeBase`).
"""

from __future__ import annotations

import sys
import time
from collections import deque
from dataclasses import dataclass
from datetime import UTC, datetime

# Python's monotonic clock on Windows ticks every 15.6 ms; the performance counter there is system-wide too.
now_ns = time.perf_counter_ns if sys.platform == "win32" else time.monotonic_ns

LONGEST_DEVICE_TIME_S = 1e9
"""A device time beyond this (32 years) is no time."""

_STEP_NS = 1_000
"""Stamps are whole microseconds: what is written to disk (six decimals) is exactly what was decoded."""


@dataclass(frozen=True, slots=True)
class Start:
    """When a recording began, on both clocks, read together once."""

    monotonic_ns: int
    utc: str

    @classmethod
    def now(cls) -> Start:
        return cls(now_ns(), datetime.now(UTC).isoformat(timespec="milliseconds").replace("+00:00", "Z"))

    def since(self, monotonic_ns: int) -> int:
        """Nanoseconds since the start, in whole microseconds, never negative."""
        return max(0, (monotonic_ns - self.monotonic_ns) // _STEP_NS * _STEP_NS)


class SharpenedStamps:
    """Host stamps made sharper by the device's own clock, where both run at about the same pace.

    A host stamp is the true moment plus a delay that is never negative (scheduling, USB clumps). The smallest
    difference seen between host and device time is therefore the best offset between the two clocks (a lower envelope);
    it may rise by ``DRIFT`` of the elapsed time, so that a device clock that runs slow is followed. A stamp is never
    later than the host's and never goes back; a device clock that restarts or runs at another pace falls back to the
    host's stamp.
    """

    DRIFT = 300e-6
    """Two quartz clocks differ by less than this (common practice, no source)."""
    LONGEST_DELAY_NS = 100_000_000
    """A delay longer than this is not a delay but another clock."""

    def __init__(self) -> None:
        self._offset_ns: int | None = None
        self._host_ns = 0
        self._last_ns = 0

    def stamp(self, device_s: float, host_ns: int) -> int:
        device_ns = round(device_s * 1e9)
        seen = host_ns - device_ns
        if self._offset_ns is None:
            offset = seen
        else:
            offset = min(seen, self._offset_ns + round(self.DRIFT * (host_ns - self._host_ns)))
            if seen - offset > self.LONGEST_DELAY_NS:
                offset = seen
        self._offset_ns, self._host_ns = offset, host_ns
        self._last_ns = max(self._last_ns, (device_ns + offset) // _STEP_NS * _STEP_NS)
        return self._last_ns


class DeviceTimeBase:
    """The device's clock as the time base: nanoseconds since its first line, whatever its pace against the host.

    ``fits`` asks whether a device time goes on from the last one; ``place`` takes it; ``restart`` takes one that begins
    again (the device lost power), continuing from the last time by what the host saw pass.
    """

    AHEAD_S = 1.0
    """A step forward longer than this, and longer than four times the one before, waits for the next line."""

    def __init__(self) -> None:
        self._zero_s: float | None = None
        self._last_s = 0.0
        self._step_s = 0.0
        self._pairs: deque[tuple[int, int]] = deque(maxlen=512)

    @property
    def started(self) -> bool:
        return self._zero_s is not None

    @property
    def last_s(self) -> float:
        return self._last_s

    def fits(self, device_s: float) -> bool:
        return self._zero_s is None or self.follows(self._last_s, device_s)

    def follows(self, before_s: float, device_s: float) -> bool:
        return before_s <= device_s <= before_s + max(self.AHEAD_S, 4.0 * self._step_s)

    def place(self, device_s: float, host_ns: int) -> int:
        if self._zero_s is None:
            self._zero_s = self._last_s = device_s
        self._step_s = max(0.0, device_s - self._last_s)
        self._last_s = device_s
        t_ns = self.at(device_s)
        self._pairs.append((host_ns, t_ns))
        return t_ns

    def restart(self, device_s: float, host_ns: int) -> tuple[int, int]:
        """Begin again at ``device_s``; the time of the last line before and of the first line after."""
        before_host_ns, before_ns = self._pairs[-1] if self._pairs else (host_ns, 0)
        after_ns = before_ns + max(_STEP_NS, host_ns - before_host_ns)
        self._zero_s = device_s - after_ns / 1e9
        self._last_s, self._step_s = device_s, 0.0
        return before_ns, after_ns

    def at(self, device_s: float) -> int:
        """Where a device time lies in the time base, without taking it."""
        if self._zero_s is None:
            return 0
        return round((device_s - self._zero_s) * 1e6) * _STEP_NS

    def covers(self, host_ns: int) -> bool:
        """Whether a line has come since ``host_ns``, so that :meth:`from_host` need not extrapolate."""
        return bool(self._pairs) and self._pairs[-1][0] >= host_ns

    def from_host(self, host_ns: int) -> int:
        """A host stamp in the time base, by linear interpolation between the lines around it."""
        if not self._pairs:
            return 0
        host_after, t_after = self._pairs[-1]
        if host_ns >= host_after:
            return t_after + (host_ns - host_after) // _STEP_NS * _STEP_NS
        for host_before, t_before in reversed(self._pairs):
            if host_before <= host_ns:
                share = (host_ns - host_before) / (host_after - host_before)
                return t_before + round(share * (t_after - t_before) / _STEP_NS) * _STEP_NS
            host_after, t_after = host_before, t_before
        return t_after
