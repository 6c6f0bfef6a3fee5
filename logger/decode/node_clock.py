"""A device's clock tied to the host's, from lines that carry the device's time.

Why it exists: a USB bridge collects bytes for up to 16 ms, so host stamps arrive in clumps; at 300 mm/s that is nearly
5 mm of carriage travel. The device's own clock is even but starts anywhere and runs a little fast or slow. It prevents
the mistake of averaging the delays away: a line may be late but never early, so the *least delayed* lines alone say
how the clocks lie.

Method: every line gives a point (device time, host stamp - device time). The true relation is a straight line on or
below all points. Of all lines below the points, the one that minimises the sum of the distances to them lies along the
edge of their lower convex hull that spans the middle (linear programming; used for one-way clock skew in networks).
Its slope is the drift, its height the offset plus the smallest delay there is.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass

WINDOW_NS = 600_000_000_000
"""Older points are forgotten: a crystal changes its pace with temperature over tens of minutes."""

DRIFT_AT_MOST = 0.01
"""A ceramic resonator is within half a per cent; a slope beyond twice that comes from too few lines."""

LINES_FOR_DRIFT = 32
SPAN_FOR_DRIFT_NS = 1_000_000_000
HULL_AT_MOST = 1024


@dataclass(frozen=True, slots=True)
class ClockFit:
    """host = device + ``offset_ns`` + ``drift`` x (device - ``at_ns``). ``drift`` + when the host's clock gains."""

    at_ns: int
    offset_ns: float
    drift: float
    lines: int
    span_ns: int

    def host_ns(self, device_ns: int) -> int:
        """The host's time at the device's time."""
        return round(device_ns + self.offset_ns + self.drift * (device_ns - self.at_ns))

    def device_ns(self, host_ns: int) -> int:
        """The device's time at the host's time."""
        return round(self.at_ns + (host_ns - self.offset_ns - self.at_ns) / (1.0 + self.drift))


class DeviceClock:
    """Learns from one line after the other; :meth:`host_ns` uses what is known so far."""

    def __init__(self, window_ns: int = WINDOW_NS) -> None:
        self._window_ns = window_ns
        self._hull: list[tuple[int, int]] = []
        self._lines = 0
        self._first_ns = 0
        self._last_ns = 0
        self._fit: ClockFit | None = None

    def see(self, device_ns: int, host_ns: int) -> None:
        """A line sent at ``device_ns`` arrived at ``host_ns``. Times that go back are passed over (they were late)."""
        if self._lines and device_ns <= self._last_ns:
            return
        if not self._lines:
            self._first_ns = device_ns
        self._lines += 1
        self._last_ns = device_ns
        self._add((device_ns, host_ns - device_ns))
        self._fit = None

    @property
    def fit(self) -> ClockFit | None:
        """The relation as known now; None before the first line."""
        if self._fit is None and self._hull:
            self._fit = self._fitted()
        return self._fit

    def host_ns(self, device_ns: int) -> int | None:
        """The host's time at the device's time, None before the first line."""
        fit = self.fit
        return None if fit is None else fit.host_ns(device_ns)

    def _add(self, point: tuple[int, int]) -> None:
        hull = self._hull
        while len(hull) >= 2 and _not_below(hull[-2], hull[-1], point):
            hull.pop()
        hull.append(point)
        oldest = point[0] - self._window_ns
        if hull[0][0] < oldest or len(hull) > HULL_AT_MOST:
            del hull[: max(1, bisect_right(hull, (oldest,)))]

    def _fitted(self) -> ClockFit:
        hull = self._hull
        span = hull[-1][0] - hull[0][0]
        lowest = min(hull, key=lambda point: point[1])
        level = ClockFit(lowest[0], lowest[1], 0.0, self._lines, span)
        if self._lines < LINES_FOR_DRIFT or span < SPAN_FOR_DRIFT_NS:
            return level
        after = min(max(1, bisect_right(hull, ((hull[0][0] + hull[-1][0]) // 2,))), len(hull) - 1)
        (x0, y0), (x1, y1) = hull[after - 1], hull[after]
        drift = (y1 - y0) / (x1 - x0)
        return ClockFit(x0, y0, drift, self._lines, span) if abs(drift) <= DRIFT_AT_MOST else level


def _not_below(before: tuple[int, int], middle: tuple[int, int], after: tuple[int, int]) -> bool:
    """True where ``middle`` does not lie below the straight line from ``before`` to ``after`` (exact integers)."""
    rise = (after[1] - before[1]) * (middle[0] - before[0])
    return (middle[1] - before[1]) * (after[0] - before[0]) >= rise


def fit_clock(lines: Iterable[tuple[int, int]]) -> ClockFit | None:
    """The relation from ``lines`` of (device_ns, host_ns) in the order of arrival."""
    clock = DeviceClock()
    for device_ns, host_ns in lines:
        clock.see(device_ns, host_ns)
    return clock.fit


class SettledClock:
    """The relation over a whole run of the device, known afterwards: one straight line, or for a run longer than the
    window several, each fitted to a window around its middle, gone over from one to the next in between."""

    def __init__(self, lines: Sequence[tuple[int, int]], window_ns: int = WINDOW_NS) -> None:
        first, last = lines[0][0], max(device_ns for device_ns, _ in lines)
        count = max(0, -(-(last - first - window_ns) // (window_ns // 2))) + 1
        middles = [first + window_ns // 2 + k * (window_ns // 2) for k in range(count)]
        self._pieces: list[tuple[int, ClockFit]] = []
        for middle in middles:
            inside = [line for line in lines if abs(line[0] - middle) <= window_ns // 2]
            fit = fit_clock(inside)
            if fit is not None:
                self._pieces.append((middle, fit))

    def host_ns(self, device_ns: int) -> int:
        """The host's time at the device's time."""
        return self._at(device_ns, lambda fit: fit.host_ns(device_ns))

    def device_ns(self, host_ns: int) -> int:
        """The device's time at the host's time."""
        about = self._pieces[0][1].device_ns(host_ns)
        return self._at(about, lambda fit: fit.device_ns(host_ns))

    def _at(self, device_ns: int, of: Callable[[ClockFit], int]) -> int:
        pieces = self._pieces
        place = bisect_right(pieces, device_ns, key=lambda piece: piece[0])
        if place == 0 or place == len(pieces):
            return of(pieces[min(place, len(pieces) - 1)][1])
        (before, one), (after, other) = pieces[place - 1], pieces[place]
        return of(one) + round((of(other) - of(one)) * (device_ns - before) / (after - before))
