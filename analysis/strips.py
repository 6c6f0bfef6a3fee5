"""Thin strips laid across the path at measured stations: steps in the trace that say where the carriage was.

Why it exists: a strip of shim costs nothing, has no reaction time, and marks a place to a millimetre or two in both
directions. It prevents two mistakes: a strip left in the profile as a high spot, and a knock taken for a strip. A
strip's step has the strip's own height and the strip's own length, in every pass.
"""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from analysis.contact import Interval
from analysis.marks import match_marks, station_of
from analysis.motion import Motion
from analysis.results import BoolArray, FloatArray
from analysis.uncertainty import MAD_TO_SIGMA

PLACE_MM = 1.5  # standard uncertainty of a strip's middle as laid; common practice, no source
_LONGEST_MM = 90.0
_SHORTEST_MM = 4.0


@dataclass(frozen=True)
class Bump:
    """A flat-topped step up and down again: its edges in time and its height (signed)."""

    start_s: float
    end_s: float
    height: float

    @property
    def middle_s(self) -> float:
        return (self.start_s + self.end_s) / 2.0


@dataclass(frozen=True)
class Found:
    """Motions with the strips as anchors, the readings ON strips (readings,), the strip's height, and notes."""

    motions: tuple[Motion, ...]
    on_strip: BoolArray
    thickness: float
    count: int
    notes: tuple[str, ...]


def find_bumps(t_s: FloatArray, height: FloatArray, speed_mm_s: float, sign: int) -> list[Bump]:
    """Steps up (``sign`` +1) or down (-1) from a running median that is wider than any strip: a matched filter for a
    flat top of unknown length between 4 and 90 mm."""
    from scipy.ndimage import median_filter

    if len(t_s) < 15:
        return []
    spacing = max(float(np.median(np.diff(t_s))), 1e-6)
    width = 2 * int(np.clip(1.2 * _LONGEST_MM / speed_mm_s / spacing, 5, 3001)) + 1
    away = sign * (height - median_filter(height, size=min(width, len(t_s) // 2 * 2 - 1), mode="nearest"))
    noise = MAD_TO_SIGMA * float(np.median(np.abs(np.diff(height)))) / np.sqrt(2.0)
    high = away > max(8.0 * noise, 0.4 * float(np.quantile(away, 0.995)), 0.008)
    edges = np.concatenate([[0], np.nonzero(np.diff(high.astype(int)) != 0)[0] + 1, [len(t_s)]])
    bumps = []
    for a, b in zip(edges[:-1].tolist(), edges[1:].tolist(), strict=True):
        if not high[a] or a == 0 or b == len(t_s):
            continue
        start, end = (t_s[a - 1] + t_s[a]) / 2, (t_s[b - 1] + t_s[b]) / 2
        if _SHORTEST_MM <= (end - start) * speed_mm_s <= 1.6 * _LONGEST_MM:
            bumps.append(Bump(float(start), float(end), sign * float(np.median(away[a:b]))))
    return bumps


def with_strips(
    motions: Sequence[Motion],
    t_s: FloatArray,
    height: FloatArray,
    stations_mm: Sequence[float],
    windows: Sequence[Interval],
    sign: int,
) -> Found | None:
    """Match bumps to the stations that can be seen, in order; None unless most of them are there and alike."""
    wanted = [x for x in stations_mm if any(low + 12.0 <= x <= high - 12.0 for low, high in windows)]
    if not wanted:
        return None
    well_placed = all(float(np.max(motion.standard_uncertainty_mm)) < 10.0 for motion in motions)
    match = _by_place if well_placed else _by_order
    pairs = match(motions, t_s, height, wanted, sign)
    chosen = [bump.height for pair in pairs for _, bump in pair]
    if len(chosen) < max(2, 0.6 * len(wanted) * len(motions)):
        return None
    thickness = float(np.median(chosen))
    alike = [[(x, b) for x, b in pair if abs(b.height - thickness) < 0.35 * abs(thickness)] for pair in pairs]
    count = sum(len(pair) for pair in alike)
    if count < max(2, 0.6 * len(wanted) * len(motions)):
        return None
    on_strip = np.zeros(len(t_s), bool)
    moved = []
    for motion, pair in zip(motions, alike, strict=True):
        for _, bump in pair:
            on_strip |= (t_s > bump.start_s - 0.05) & (t_s < bump.end_s + 0.12)
        moved.append(_anchored(motion, pair))
    on_strip |= _beside_edges(moved, t_s, [x for x in stations_mm if x not in wanted])
    missing = len(wanted) * len(motions) - count
    notes = (f"{missing} of {len(wanted) * len(motions)} strip crossings were not found.",) if missing else ()
    return Found(tuple(moved), on_strip, thickness, count, notes)


def _beside_edges(motions: Sequence[Motion], t_s: FloatArray, places: Sequence[float]) -> BoolArray:
    """Readings near strips that lie across an end of the surface or of the stroke, where no whole step is crossed."""
    near = np.zeros(len(t_s), bool)
    for motion in motions:
        within = (t_s >= motion.t_s[0] - 2.0) & (t_s <= motion.t_s[-1] + 2.0)
        x = motion.position_mm(t_s)
        for place in places:
            near |= within & (np.abs(x - place) < _LONGEST_MM / 2)
    return near


Pairs = list[list[tuple[float, Bump]]]


def _by_place(
    motions: Sequence[Motion], t_s: FloatArray, height: FloatArray, wanted: Sequence[float], sign: int
) -> Pairs:
    """Bumps to strips by where the edges of the surface say they are."""
    pairs = []
    for motion in motions:
        within = (t_s >= motion.t_s[0]) & (t_s <= motion.t_s[-1]) & np.isfinite(height)
        bumps = find_bumps(t_s[within], height[within], motion.speed_mm_s, sign)
        pairs.append(_in_order(motion, bumps, wanted))
    return pairs


def _by_order(
    motions: Sequence[Motion], t_s: FloatArray, height: FloatArray, wanted: Sequence[float], sign: int
) -> Pairs:
    """Bumps to strips as marks are matched: by order, spacing and speed over the whole sweep."""
    good = np.isfinite(height)
    speed = float(np.median([motion.speed_mm_s for motion in motions]))
    start, end = motions[0].t_s[0] - 2.0, motions[-1].t_s[-1] + 2.0
    bumps = [b for b in find_bumps(t_s[good], height[good], speed, sign) if start <= b.middle_s <= end]
    order = sorted(wanted, reverse=motions[0].direction < 0)
    matched = match_marks(np.array([bump.middle_s for bump in bumps]), order, len(motions))
    pairs: Pairs = [[] for _ in motions]
    for bump, expected in zip(bumps, matched.expected.tolist(), strict=True):
        if expected >= 0:
            number, place = station_of(expected, order)
            pairs[number].append((place, bump))
    return pairs


def _anchored(motion: Motion, pair: Sequence[tuple[float, Bump]]) -> Motion:
    """The pass on its strips; its ends from the readings where they agree with the strips' own pace, else from that.

    Beyond the first and the last strip the place is what the pace between the strips makes it, a fifth of the way
    uncertain.
    """
    if len(pair) < 2:
        for place, bump in pair:
            motion = motion.with_anchor(bump.middle_s, place, PLACE_MM)
        return motion
    t, x = np.array([bump.middle_s for _, bump in pair]), np.array([where for where, _ in pair])
    pace = float((t[-1] - t[0]) / max(abs(x[-1] - x[0]), 1e-6))
    ends_t, ends_u = [], []
    for end, sign in ((0, -1.0), (-1, 1.0)):
        way = max(float((motion.x_mm[end] - x[end]) * sign * motion.direction), 0.0)
        usual = float(t[end]) + sign * way * pace
        seen = float(motion.t_s[end])
        agrees = abs(seen - usual) < 0.3 * way * pace + 0.3 and (seen - t[end]) * sign > 0
        ends_t.append(seen if agrees else usual + sign * 0.2)
        ends_u.append(float(motion.standard_uncertainty_mm[end]) if agrees else max(0.2 * way, 20.0))
    keep = [abs(float(x[0] - motion.x_mm[0])) > 1.0, abs(float(x[-1] - motion.x_mm[-1])) > 1.0]
    times = np.concatenate([[ends_t[0]] if keep[0] else [], t, [ends_t[1]] if keep[1] else []])
    places = np.concatenate([motion.x_mm[:1] if keep[0] else [], x, motion.x_mm[-1:] if keep[1] else []])
    u = np.concatenate([[ends_u[0]] if keep[0] else [], np.full(len(t), PLACE_MM), [ends_u[1]] if keep[1] else []])
    return Motion(motion.direction, times, places, u, np.zeros(len(times), bool))


def _in_order(motion: Motion, bumps: Sequence[Bump], wanted: Sequence[float]) -> list[tuple[float, Bump]]:
    """Bumps to stations, both in the direction of travel: the shift and selection that misses least.

    Few of either: the cheapest in-order matching by dynamic programming on the distance, with a price for leaving out.
    """
    places = sorted(wanted, reverse=motion.direction < 0)
    where = motion.position_mm(np.array([bump.middle_s for bump in bumps])) if bumps else np.zeros(0)
    spread = 0.5 * min((abs(b - a) for a, b in itertools.pairwise(places)), default=300.0)
    price = spread**2
    best = np.zeros((len(places) + 1, len(bumps) + 1))
    for i in range(len(places) - 1, -1, -1):
        best[i, len(bumps)] = best[i + 1, len(bumps)] + price
        for j in range(len(bumps) - 1, -1, -1):
            pair = (where[j] - places[i]) ** 2 + best[i + 1, j + 1]
            best[i, j] = min(pair, best[i + 1, j] + price, best[i, j + 1])
    out, i, j = [], 0, 0
    while i < len(places) and j < len(bumps):
        if np.isclose(best[i, j], (where[j] - places[i]) ** 2 + best[i + 1, j + 1]):
            out.append((places[i], bumps[j]))
            i, j = i + 1, j + 1
        elif np.isclose(best[i, j], best[i, j + 1]):
            j += 1
        else:
            i += 1
    return out
