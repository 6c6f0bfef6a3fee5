"""Where the carriage is while it is still moving, as well as can be known: for the eye only.

Why it exists: between two marks nobody knows where the carriage is. While a sweep runs, the stretch since the last
mark is laid out at the speed of the stretch before and held back at the next station; when the mark comes it is laid
out anew between its two marks. The findings never use this: they work from the recording.
"""

from __future__ import annotations

import itertools
from dataclasses import dataclass, field

import numpy as np

from analysis.results import BoolArray, FloatArray
from logger.tui.scale import Along

FINE = 640
"""Bins along the rail in which readings are kept: finer than any screen is wide."""
STEP_MM = 0.3
"""No rail rises so much from one place to the next: such a step is the tip leaving the edge, not the carriage."""
EDGE_LATE_MM = 150.0
"""So near to where the set-up stops reading the tip may be off already: a mark by hand is that late at the most."""
EDGE_MM = 15.0
"""So near to where the set-up begins to read, a reading may still be a step onto the edge: it is not drawn."""
LEAST_UNSEEN_MM = 40.0
"""A stretch not seen that is shorter than this is not worth a push."""
FOLLOWED = 12
"""Positions by which the speed is followed."""
FIRST_SPEED_MM_PER_S = 150.0
"""Assumed until two marks tell the speed (common practice, no source)."""


@dataclass
class Pass:
    """One push: its stations in the direction of travel, marks so far, readings in bins."""

    stations_mm: tuple[float, ...]
    marks_s: list[float] = field(default_factory=list)
    sums: FloatArray = field(default_factory=lambda: np.zeros(FINE))
    counts: FloatArray = field(default_factory=lambda: np.zeros(FINE))
    laid: list[tuple[FloatArray, FloatArray, FloatArray] | None] = field(default_factory=list)
    """What each mark laid out, (times, heights, places), so that it can be taken up again with the mark."""
    open_t: list[FloatArray] = field(default_factory=list)
    open_height: list[FloatArray] = field(default_factory=list)

    @property
    def direction(self) -> int:
        """+1 toward outfeed, -1 toward infeed."""
        return 1 if len(self.stations_mm) < 2 or self.stations_mm[-1] > self.stations_mm[0] else -1

    @property
    def complete(self) -> bool:
        """True once every station has been marked."""
        return len(self.marks_s) >= len(self.stations_mm) > 0


class Trace:
    """The picture of a sweep under way."""

    def __init__(
        self,
        from_mm: float,
        to_mm: float,
        stations_mm: tuple[float, ...],
        passes: int,
        windows: tuple[tuple[float, float], ...] = (),
    ) -> None:
        self.fine = Along(from_mm, to_mm, FINE)
        self._windows = windows
        self._sees = _sees(self.fine, windows)
        self._near_edge = _near_edge(self.fine, windows)
        self._stations = tuple(sorted(stations_mm))
        self.wanted = max(1, passes)
        self.passes = [Pass(self._stations)]
        self.here_mm: float | None = None
        self._followed: list[tuple[float, float]] = []

    @property
    def now(self) -> Pass:
        """The pass under way."""
        return self.passes[-1]

    def unread(self) -> str:
        """Why the number is no height now, empty where it is: nobody knows the place, or the tip is not on it there."""
        if self.here_mm is None:
            return "before the first mark"
        if any(start - EDGE_LATE_MM <= self.here_mm <= end + EDGE_LATE_MM for start, end in self._windows):
            return ""
        return "" if not self._windows else "the tip is on nothing here"

    def at_the_end(self, stroke_mm: tuple[float, float]) -> bool:
        """True within a tenth of the stroke of the end this pass goes to."""
        first, last = stroke_mm
        end = last if self.now.direction > 0 else first
        return self.here_mm is not None and abs(self.here_mm - end) <= 0.1 * (last - first)

    def next_station(self) -> float | None:
        """Where the next mark belongs; None when all are made or none were asked for."""
        made = len(self.now.marks_s)
        return self.now.stations_mm[made] if made < len(self.now.stations_mm) else None

    def begin_pass(self) -> None:
        """The next pass, the other way."""
        self._close(self.now, None)
        turned = self._stations[::-1] if self.now.direction > 0 else self._stations
        self.passes.append(Pass(turned))

    def mark(self, t_s: float) -> None:
        """The carriage's middle stands at the next station. A pass that is complete is followed by the next one."""
        if self.now.complete and len(self.passes) < self.wanted:
            self.begin_pass()
        here = self.now
        if here.complete or not here.stations_mm:
            return
        here.marks_s.append(t_s)
        self.here_mm = here.stations_mm[len(here.marks_s) - 1]
        self._close(here, t_s)

    def take_back(self) -> bool:
        """The newest mark does not stand: what it laid out is open again. False where there is none."""
        if not self.now.marks_s and len(self.passes) > 1 and not self.now.counts.any():
            self.passes.pop()
        here = self.now
        if not here.marks_s:
            return False
        here.marks_s.pop()
        laid = here.laid.pop() if here.laid else None
        if laid is not None:
            t_s, height, x_mm = laid
            _add(here.sums, here.counts, self._bins(x_mm), height, -1.0)
            here.open_t, here.open_height = [t_s, *here.open_t], [height, *here.open_height]
        if not here.marks_s:
            here.open_t, here.open_height = [], []
        self.here_mm = here.stations_mm[len(here.marks_s) - 1] if here.marks_s else None
        return True

    def add(self, t_s: FloatArray, height: FloatArray, x_mm: FloatArray | None = None) -> None:
        """Readings (n,): their times, heights, and positions where the line carries them (nan where it does not)."""
        if t_s.size == 0:
            return
        here = self.now
        if x_mm is not None and np.isfinite(x_mm).any():
            known = np.isfinite(x_mm)
            self._bin(here, x_mm[known], height[known])
            self.here_mm = float(x_mm[known][-1])
            latest = zip(t_s[known][-FOLLOWED:].tolist(), x_mm[known][-FOLLOWED:].tolist(), strict=True)
            self._followed = [*self._followed, *latest][-FOLLOWED:]
        elif here.marks_s and not here.complete:
            here.open_t.append(t_s)
            here.open_height.append(height)
            self.here_mm = float(self._open_x(here, t_s[-1:])[0])

    def speed_mm_per_s(self) -> float | None:
        """How fast the carriage goes, from the last positions or the last two marks; None where neither says."""
        if len(self._followed) > 1 and self._followed[-1][0] > self._followed[0][0]:
            (t0, x0), (t1, x1) = self._followed[0], self._followed[-1]
            return abs(x1 - x0) / (t1 - t0)
        return abs(self._speed(self.now)) if len(self.now.marks_s) >= 2 else None

    def unseen(self, least_mm: float = LEAST_UNSEEN_MM) -> tuple[tuple[float, float], ...]:
        """Stretches the set-up could see and no pass has seen yet, the short ones left out."""
        seen = np.zeros(FINE, dtype=np.bool_)
        for one in self.passes:
            seen |= one.counts > 0
            if one.open_t:
                t = np.concatenate(one.open_t)
                seen[self._bins(self._open_x(one, t)).astype(np.int64)] = True
        wanted = (self._sees > 0) & ~_closed(seen, round(least_mm / self._bin_mm()))
        if self._stations:
            centres = self.fine.centres()
            wanted &= (centres >= self._stations[0]) & (centres <= self._stations[-1])
        edges = np.flatnonzero(np.diff(np.concatenate([[0], wanted.astype(np.int64), [0]])))
        half = self._bin_mm() / 2
        centres = self.fine.centres()
        found = [
            (float(centres[a]) - half, float(centres[b - 1]) + half)
            for a, b in zip(edges[::2], edges[1::2], strict=True)
        ]
        return tuple((a, b) for a, b in found if b - a >= least_mm)

    def _bin_mm(self) -> float:
        return (self.fine.to_mm - self.fine.from_mm) / FINE

    def columns(self, along: Along, index: int = -1) -> FloatArray:
        """One pass as a value per column of ``along``; nan where it has not been or the set-up reads nothing.

        Shape (columns,).
        """
        one = self.passes[index]
        sums, counts = one.sums, one.counts
        if one.open_t:
            t, height = np.concatenate(one.open_t), np.concatenate(one.open_height)
            sums, counts = sums.copy(), counts.copy()
            _add(sums, counts, self._bins(self._open_x(one, t)), height)
        seen = self._sees * _on_the_edge(sums, counts, self._sees, self._near_edge)
        sums, counts = sums * seen, counts * seen
        share = (self.fine.centres() - along.from_mm) / (along.to_mm - along.from_mm)
        column = np.clip(np.floor(share * along.columns).astype(np.int64), 0, along.columns - 1)
        total = np.bincount(column, weights=sums, minlength=along.columns)
        count = np.bincount(column, weights=counts, minlength=along.columns)
        return np.where(count > 0, total / np.maximum(count, 1.0), np.nan)

    def _speed(self, one: Pass) -> float:
        made = len(one.marks_s)
        if made >= 2 and one.marks_s[-1] > one.marks_s[-2]:
            way = one.stations_mm[made - 1] - one.stations_mm[made - 2]
            return way / (one.marks_s[-1] - one.marks_s[-2])
        return FIRST_SPEED_MM_PER_S * one.direction

    def _open_x(self, one: Pass, t_s: FloatArray) -> FloatArray:
        made = len(one.marks_s)
        start = one.stations_mm[made - 1]
        x = start + self._speed(one) * (t_s - one.marks_s[-1])
        if made < len(one.stations_mm):
            stop = one.stations_mm[made]
            x = np.clip(x, min(start, stop), max(start, stop))
        return x

    def _close(self, one: Pass, mark_s: float | None) -> None:
        """Lay the open stretch out between its two marks; a stretch that never got its second mark is left out."""
        laid = None
        if one.open_t and mark_s is not None and len(one.marks_s) >= 2:
            t, height = np.concatenate(one.open_t), np.concatenate(one.open_height)
            t0, t1 = one.marks_s[-2], one.marks_s[-1]
            x0, x1 = one.stations_mm[len(one.marks_s) - 2], one.stations_mm[len(one.marks_s) - 1]
            share = np.clip((t - t0) / max(1e-9, t1 - t0), 0.0, 1.0)
            laid = (t, height, x0 + share * (x1 - x0))
            self._bin(one, laid[2], height)
        if mark_s is not None:
            one.laid.append(laid)
        one.open_t, one.open_height = [], []

    def _bins(self, x_mm: FloatArray) -> FloatArray:
        share = (x_mm - self.fine.from_mm) / (self.fine.to_mm - self.fine.from_mm)
        return np.clip(np.floor(share * FINE), 0, FINE - 1)

    def _bin(self, one: Pass, x_mm: FloatArray, height: FloatArray) -> None:
        _add(one.sums, one.counts, self._bins(x_mm), height)


def _sees(fine: Along, windows: tuple[tuple[float, float], ...]) -> FloatArray:
    """1 in the bins in which the set-up reads (all of them where ``windows`` is empty), else 0."""
    centres = fine.centres()
    if not windows:
        return np.ones(FINE)
    inside = np.zeros(FINE, dtype=np.bool_)
    for start, end in windows:
        inside |= (centres >= start + EDGE_MM) & (centres <= end - EDGE_MM)
    return inside.astype(np.float64)


def _near_edge(fine: Along, windows: tuple[tuple[float, float], ...]) -> BoolArray:
    """Bins in which a tip that leaves late or comes early may be on nothing."""
    centres = fine.centres()
    near = np.zeros(FINE, dtype=np.bool_)
    for edge in (edge for window in windows for edge in window):
        near |= np.abs(centres - edge) <= EDGE_LATE_MM
    return near


def _on_the_edge(sums: FloatArray, counts: FloatArray, sees: FloatArray, near: BoolArray) -> FloatArray:
    """1 where a bin belongs to the carriage; 0 from the first step that no rail makes, going out to an edge."""
    at = np.flatnonzero((counts > 0) & (sees > 0))
    out = np.ones(FINE)
    height = sums[at] / counts[at]
    for order in (np.arange(at.size), np.arange(at.size)[::-1]):
        going_out = off = False
        for before, here in itertools.pairwise(order.tolist()):
            low, high = sorted((at[before], at[here]))
            if not near[at[here]] or not sees[low : high + 1].all():  # well inside, or the other side of an opening
                going_out, off = bool(not near[at[here]]), False
                continue
            off = off or (going_out and abs(height[here] - height[before]) > STEP_MM)
            out[at[here]] *= not off
    return out


def _closed(seen: BoolArray, most: int) -> BoolArray:
    """``seen`` with the holes of up to ``most`` bins between seen ones filled: a slow instrument skips bins."""
    out = seen.copy()
    at = np.flatnonzero(seen)
    for a, b in itertools.pairwise(at.tolist()):
        if 1 < b - a <= most + 1:
            out[a:b] = True
    return out


def _add(sums: FloatArray, counts: FloatArray, bins: FloatArray, height: FloatArray, sign: float = 1.0) -> None:
    at = bins.astype(np.int64)
    np.add.at(sums, at, sign * height)
    np.add.at(counts, at, sign)
