"""A carriage that stopped on its way: seen in the trace's own stillness, and in one pass against the others.

Why it exists: between its ends or between two marks nobody says that the carriage stood, and what is read after the
stop is then drawn tens of millimetres, or hundreds, from where it was. Where the ground slopes, the reading keeps still
for longer than anywhere else. On level ground it keeps still anyway; but the pass back goes by the same ground, and
takes less time for it. It prevents a stop from being smeared over the whole way, and level ground from being taken for
a stop.
"""

from __future__ import annotations

import itertools
from collections import deque
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from analysis.motion import Motion
from analysis.results import BoolArray, FloatArray
from analysis.uncertainty import MAD_TO_SIGMA

LEAST_PLACE_MM = 12.0
_STOOD_S = 1.0
_STOOD_SHARE = 0.08  # of the way: how well the place of a stop follows from the time under way
_LEAST_MORE_S, _MORE_SHARE = 1.5, 0.75  # so much longer than the other pass before it is called a stop; a hand's pace
# differs by a third from pass to pass (common practice, no source)
_NEAR_SHARE = 0.3  # of the pass: so far from the same place the other pass is searched
_LOOKED_AT_HZ = 20.0


@dataclass(frozen=True)
class Leg:
    """One pass in time: it moved from ``from_s`` to ``until_s``; a change by more than ``threshold`` is no noise."""

    from_s: float
    until_s: float
    direction: int
    threshold: float


@dataclass(frozen=True)
class _Still:
    """The reading kept to ``height`` from ``from_s`` to ``until_s``."""

    from_s: float
    until_s: float
    height: float

    @property
    def lasted_s(self) -> float:
        return self.until_s - self.from_s


def stood_midway(t_s: FloatArray, value: FloatArray, legs: Sequence[Leg]) -> list[list[tuple[float, float]]]:
    """For each pass (from, to) of the times at which the carriage stood on its way. ``value`` (readings,) quieted."""
    grids = [_looked_at(t_s, value, leg) for leg in legs]
    out = []
    for number, leg in enumerate(legs):
        others = [(grid, other) for k, (grid, other) in enumerate(zip(grids, legs, strict=True)) if k != number]
        found: list[tuple[float, float]] = []
        for still in _by_itself(t_s, value, leg):
            if _stood_s(still, leg, others) != 0.0:  # the ground explains it where another pass shows the same
                found.append((still.from_s, still.until_s))
        for still in _stillnesses(*grids[number], leg.threshold):
            stood = _stood_s(still, leg, others)
            if stood and not any(a < still.until_s and still.from_s < b for a, b in found):
                middle = (still.from_s + still.until_s) / 2.0
                found.append((middle - stood / 2.0, middle + stood / 2.0))
        out.append(sorted(found))
    return out


def with_stops(motion: Motion, stood: Sequence[tuple[float, float]]) -> Motion:
    """The pass with the places where it stood: how far it had come by then follows from the time it was under way since
    the anchor before, and on to the anchor after."""
    for a, b in stood:
        motion = _with_stop(motion, a, b, stood)
    return motion


def stood_words(motions: Sequence[Motion]) -> list[str]:
    """What is to be said of passes in which the carriage stood midway."""
    out = []
    for number, motion in enumerate(motions, 1):
        for k in np.nonzero(np.diff(motion.x_mm) == 0.0)[0].tolist():
            out.append(
                f"In pass {number} the reading keeps still for {motion.t_s[k + 1] - motion.t_s[k]:.1f} s about "
                f"{motion.x_mm[k]:.0f} mm: the carriage was taken to have stood there."
            )
    return out


def stopped_between(
    motions: Sequence[Motion], t_s: FloatArray, value: FloatArray, resolution: float
) -> tuple[Motion, ...]:
    """Passes whose anchors (marks, edges) were passed on the move, with the stops between them. ``value`` nan where the
    tip touches nothing. A stop with a mark in it is what the mark says it is."""
    good = np.isfinite(t_s) & np.isfinite(value)
    order = np.argsort(t_s[good], kind="stable")
    t, z = t_s[good][order], value[good][order]
    if len(t) < 20 or len(motions) < 2:
        return tuple(motions)
    smooth, threshold = quieted(t, z, resolution)
    legs = [Leg(float(m.t_s[0]), float(m.t_s[-1]), m.direction, threshold) for m in motions]
    out = []
    for motion, stood in zip(motions, stood_midway(t, smooth, legs), strict=True):
        alone = [(a, b) for a, b in stood if not np.any((motion.t_s > a - 0.5) & (motion.t_s < b + 0.5))]
        out.append(with_stops(motion, alone))
    return tuple(out)


def quieted(t: FloatArray, z: FloatArray, resolution: float) -> tuple[FloatArray, float]:
    """(readings averaged over a tenth of a second, the change that is no longer noise or the display's step)."""
    from scipy.ndimage import uniform_filter1d

    spacing = max(float(np.median(np.diff(t))), 1e-6)
    width = max(round(0.1 / spacing), 1)
    noise = MAD_TO_SIGMA * float(np.median(np.abs(np.diff(z, 2)))) / np.sqrt(6.0) if len(z) > 4 else 0.0
    return uniform_filter1d(z, width, mode="nearest"), max(
        1.02 * resolution, 5.0 * noise / np.sqrt(width), 0.01 * float(np.ptp(z)), 1e-6
    )


def without_waits(
    t_s: FloatArray, value: FloatArray, stood: Sequence[tuple[float, float]]
) -> tuple[FloatArray, FloatArray]:
    """(times, values) as if the carriage had not stood: what was read at a stop left out, what follows moved up."""
    keep = np.ones(len(t_s), bool)
    for a, b in stood:
        keep &= (t_s <= a) | (t_s >= b)
    return (t_s - _waited_s(t_s, stood))[keep], value[keep]


def with_waits(moment_s: FloatArray, stood: Sequence[tuple[float, float]]) -> FloatArray:
    """Times of a trace without its waits, as they were in the one with them."""
    out = np.asarray(moment_s, float).copy()
    for a, b in sorted(stood):
        out = np.where(out > a, out + (b - a), out)
    return out


def _waited_s(t_s: FloatArray, stood: Sequence[tuple[float, float]]) -> FloatArray:
    return np.sum([np.clip(t_s - a, 0.0, b - a) for a, b in stood], axis=0) if len(stood) else np.zeros(len(t_s))


def _with_stop(motion: Motion, a: float, b: float, stood: Sequence[tuple[float, float]]) -> Motion:
    before, after = int(np.searchsorted(motion.t_s, a)) - 1, int(np.searchsorted(motion.t_s, b))
    if before < 0 or after >= len(motion.t_s) or after - before != 1:
        return motion
    start, end = float(motion.t_s[before]), float(motion.t_s[after])
    waits = [(p, q) for p, q in stood if start < p and q < end]
    waited = sum(q - p for p, q in waits)
    moving = end - start - waited
    if moving <= 0.3 * waited or moving <= 0.2:
        return motion
    share = (a - start - sum(q - p for p, q in waits if q <= a)) / moving
    way = float(motion.x_mm[after] - motion.x_mm[before])
    spread = max(_STOOD_SHARE * 2.0 * abs(way) * float(np.sqrt(max(share * (1.0 - share), 0.0))), LEAST_PLACE_MM)
    at = after  # the two anchors of the stop go in here
    place = float(motion.x_mm[before]) + share * way

    def put(old: FloatArray | BoolArray, *new: float) -> FloatArray:
        return np.insert(np.asarray(old, float), at, new)

    landmark = None if motion.landmark is None else put(motion.landmark, False, False).astype(bool)
    return replace(
        motion, t_s=put(motion.t_s, a, b), x_mm=put(motion.x_mm, place, place),
        standard_uncertainty_mm=put(motion.standard_uncertainty_mm, spread, spread),
        delayed=put(motion.delayed, False, False).astype(bool), landmark=landmark,
    )  # fmt: skip


def _by_itself(t: FloatArray, z: FloatArray, leg: Leg) -> list[_Still]:
    """Where the reading kept still in the middle of a pass for longer than the ground explains: a second and a half, in
    which elsewhere it changes by several times as much as noise and display allow."""
    inside = (t > leg.from_s + 1.0) & (t < leg.until_s - 1.0)
    t, z = t[inside], z[inside]
    if len(t) < 20:
        return []
    width = max(round(_STOOD_S / max(float(np.median(np.diff(t))), 1e-6)), 4)
    if width >= len(t) // 2:
        return []
    from scipy.ndimage import maximum_filter1d, minimum_filter1d

    spread = maximum_filter1d(z, width, mode="nearest") - minimum_filter1d(z, width, mode="nearest")
    still = spread <= leg.threshold
    if float(np.quantile(spread, 0.1)) < 2.0 * leg.threshold and (  # level ground, or a coarse display: cannot be told
        float(still.mean()) > 0.3 or float(np.median(spread)) < 5.0 * leg.threshold
    ):
        return []
    edges = np.concatenate([[0], np.nonzero(np.diff(still.astype(int)) != 0)[0] + 1, [len(t)]])
    half = _STOOD_S / 2.0
    return [
        _Still(float(t[a]) - half, float(t[b - 1]) + half, float(np.median(z[a:b])))
        for a, b in itertools.pairwise(edges.tolist())
        if still[a] and t[b - 1] - t[a] > 0.5
    ]


def _looked_at(t: FloatArray, z: FloatArray, leg: Leg) -> tuple[FloatArray, FloatArray]:
    """(times, values) of a pass without its setting off and stopping, at most twenty a second."""
    inside = (t > leg.from_s + 0.5) & (t < leg.until_s - 0.5)
    t, z = t[inside], z[inside]
    if len(t) < 8:
        return t[:0], z[:0]
    count = min(len(t), int((t[-1] - t[0]) * _LOOKED_AT_HZ) + 2)
    grid = np.linspace(t[0], t[-1], count)
    return grid, np.interp(grid, t, z)


def _stood_s(still: _Still, leg: Leg, others: Sequence[tuple[tuple[FloatArray, FloatArray], Leg]]) -> float | None:
    """How long it stood there, by the pass that took longest for that ground; 0 where that explains it, None where no
    other pass comes by."""
    known = [seconds for grid, other in others if (seconds := _usual_s(still, leg, grid, other)) is not None]
    if not known:
        return None
    more = still.lasted_s - max(known)
    return more if more > _LEAST_MORE_S + _MORE_SHARE * max(known) else 0.0


def stillnesses(t_s: FloatArray, value: FloatArray, threshold: float) -> list[tuple[float, float]]:
    """(from, to) of the stretches in which the readings keep within ``threshold``, the longest first."""
    return [(one.from_s, one.until_s) for one in _stillnesses(t_s, value, threshold)]


def _stillnesses(t: FloatArray, z: FloatArray, threshold: float) -> list[_Still]:
    """Stretches that keep within the threshold and cannot be made longer, the longest first."""
    found: list[_Still] = []
    high: deque[int] = deque()
    low: deque[int] = deque()
    start = 0
    for i in range(len(z) + 1):
        ends = i == len(z)
        if not ends:
            while high and z[high[-1]] <= z[i]:
                high.pop()
            while low and z[low[-1]] >= z[i]:
                low.pop()
            high.append(i)
            low.append(i)
        if ends or z[high[0]] - z[low[0]] > threshold:
            if i - start > 2 and t[i - 1] - t[start] > _LEAST_MORE_S:
                found.append(_Still(float(t[start]), float(t[i - 1]), float(np.median(z[start:i]))))
            while not ends and z[high[0]] - z[low[0]] > threshold:
                start += 1
                while high[0] < start:
                    high.popleft()
                while low[0] < start:
                    low.popleft()
    return sorted(found, key=lambda one: -one.lasted_s)


def _usual_s(still: _Still, leg: Leg, grid: tuple[FloatArray, FloatArray], other: Leg) -> float | None:
    """How long another pass keeps to that height about the same place; None where it does not come by it."""
    t, z = grid
    if len(t) < 8:
        return None
    waited = still.lasted_s
    moving = max(leg.until_s - leg.from_s - waited, 1e-6)
    # While it stood it did not come on: both ends of the stillness are at the same share of the way.
    share = float(np.clip((still.from_s - leg.from_s) / moving, 0.0, 1.0))
    share = share if other.direction == leg.direction else 1.0 - share
    along = (t - other.from_s) / max(other.until_s - other.from_s, 1e-6)
    near = np.abs(along - share) <= _NEAR_SHARE
    best = None
    for shift in (-1.0, -0.5, 0.0, 0.5, 1.0):  # play and drift shift one pass against the other
        inside = near & (np.abs(z - still.height - shift * leg.threshold) <= 0.75 * leg.threshold)
        if not inside.any():
            continue
        edges = np.concatenate([[0], np.nonzero(np.diff(inside.astype(int)) != 0)[0] + 1, [len(t)]])
        runs = [t[b - 1] - t[a] for a, b in itertools.pairwise(edges.tolist()) if inside[a]]
        best = max(best or 0.0, float(max(runs)))
    return best
