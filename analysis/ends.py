"""Passes when nothing but the readings says where the carriage was.

Why it exists: a first sweep is often made with neither marks nor encoder. The start and the end of motion, and the
places where the indicator leaves or meets the surface, are all there is. It prevents the reading's time axis from
being taken for the stroke without a word: the result is labelled, and its large uncertainty goes into every number.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from analysis.contact import Interval
from analysis.midway import Leg, quieted, stillnesses, stood_midway, with_stops, with_waits, without_waits
from analysis.motion import Motion
from analysis.results import BoolArray, FloatArray

UNMARKED_UNEVENNESS = 0.26  # nobody aims at anything between the ends; common practice, no source
END_PLACE_MM = 12.0  # standard uncertainty of "here the motion began" from the reading alone
EDGE_PLACE_MM = 3.0
_WAIT_S = 2.0  # shorter waits hardly move the turn
_FAR_MORE_ALIKE = 0.4


class NoMotion(ValueError):
    """No motion can be seen in the readings."""


def motions_from_ends(
    t_s: FloatArray,
    height: FloatArray,
    no_value_t_s: FloatArray,
    passes: int,
    windows: Sequence[Interval],
    stroke_mm: Interval,
    first_direction: int = 1,
    resolution: float = 0.0,
) -> list[Motion]:
    """One Motion a pass from edges where the touching stretch has both ends inside the stroke, else from the start
    and end of motion and the turns between. Raises NoMotion."""
    good = np.isfinite(t_s) & np.isfinite(height)
    order = np.argsort(t_s[good], kind="stable")
    t, z = t_s[good][order], height[good][order]
    if len(t) < 8:
        raise NoMotion(f"There are {len(t)} readings; nothing can be said of the motion.")
    low, high = windows[0][0], windows[-1][1]
    if low > stroke_mm[0] + 1.0 and high < stroke_mm[1] - 1.0:
        motions = _from_blocks(_touching_blocks(t, z, no_value_t_s), windows, max(passes, 1), first_direction)
        if motions:
            return motions
    return _from_rests(t, z, max(passes, 1), (low, high), first_direction, resolution)


def _from_blocks(
    blocks: Sequence[tuple[float, float]], windows: Sequence[Interval], passes: int, first_direction: int
) -> list[Motion]:
    """One block for each window and pass: every edge is a known place. A different number says nothing."""
    each = len(windows)
    if not blocks or len(blocks) % each:
        outer = (windows[0][0], windows[-1][1])
        if len(blocks) != passes:
            return []
        windows, each = [outer], 1
    motions = []
    for number in range(min(len(blocks) // each, passes)):
        direction = first_direction * (1 if number % 2 == 0 else -1)
        t = np.array([time for block in blocks[number * each : (number + 1) * each] for time in block])
        x = np.array([place for window in windows for place in window])
        x = x if direction > 0 else x[::-1]
        motions.append(Motion(direction, t, x, np.full(len(t), EDGE_PLACE_MM), np.zeros(len(t), bool)))
    return motions


def _touching_blocks(t: FloatArray, z: FloatArray, silent: FloatArray) -> list[tuple[float, float]]:
    """(start, end) of each stretch of touching between silences, or between stays at the tip's free rest."""
    spacing = float(np.median(np.diff(t)))
    rest = free_rest(z)
    off = np.zeros(len(t), bool) if rest is None else np.abs(z - rest.value) <= rest.near
    if not off.any() and not len(silent):
        return []
    held = _kept(off, max(int(0.15 / max(spacing, 1e-6)), 3))
    # A line that says "no value" between two readings ends a stretch, however slow the instrument is.
    spoken = np.searchsorted(np.sort(silent), t)
    breaks = np.nonzero(
        (np.diff(held.astype(int)) != 0) | (np.diff(spoken) > 0) | (np.diff(t) > max(0.25, 8.0 * spacing))
    )[0]
    starts, ends = np.concatenate([[0], breaks + 1]), np.concatenate([breaks, [len(t) - 1]])
    blocks = []
    for a, b in zip(starts.tolist(), ends.tolist(), strict=True):
        if held[a] or b - a < 2 or t[b] - t[a] < 0.3:
            continue
        last = b
        if rest is not None:  # leaving, the tip takes a moment to run out: it left when it began to
            surface = float(np.median(z[a : b + 1]))
            still_on = np.nonzero(np.abs(z[a : b + 1] - rest.value) > 0.5 * abs(surface - rest.value))[0]
            last = a + int(still_on[-1]) if len(still_on) else b
        blocks.append((float(t[a]) - spacing / 2, float(t[last]) + spacing / 2))
    return blocks


def _kept(flags: BoolArray, least: int) -> BoolArray:
    """Only runs of at least ``least`` readings: a profile may cross the free rest's height for a moment."""
    out = flags.copy()
    edges = np.concatenate([[0], np.nonzero(np.diff(flags.astype(int)) != 0)[0] + 1, [len(flags)]])
    for a, b in zip(edges[:-1].tolist(), edges[1:].tolist(), strict=True):
        if flags[a] and b - a < least:
            out[a:b] = False
    return out


@dataclass(frozen=True)
class FreeRest:
    """``value`` at which the tip hangs free, and how ``near`` to it a reading belongs to it."""

    value: float
    near: float


def free_rest(z: FloatArray) -> FreeRest | None:
    """The height at which the tip hangs free, where a large part of the readings stands far off all others.

    Readings are split at the middle of their range; both parts must be large, and far apart against their own spread.
    The free rest is the part the recording starts and ends in, else the flatter one.
    """
    z = z[np.isfinite(z)]
    if len(z) < 20:
        return None
    low_end, high_end = np.quantile(z, [0.005, 0.995])
    upper = z > (low_end + high_end) / 2.0
    if min(upper.mean(), 1.0 - upper.mean()) < 0.04:
        return None
    spreads = [1.4826 * float(np.median(np.abs(part - np.median(part)))) for part in (z[~upper], z[upper])]
    apart = float(np.median(z[upper]) - np.median(z[~upper]))
    # The tip hangs at one height; between it and the surface there is nothing but the moments of running out.
    nothing = float(np.quantile(z[upper], 0.04) - np.quantile(z[~upper], 0.96))
    if apart < 0.1 or nothing < 0.35 * apart or min(spreads) > 0.03 * apart:
        return None
    first, last = bool(np.median(upper[:5])), bool(np.median(upper[-5:]))
    which = int(first) if first == last else int(np.argmin(spreads))
    value = float(np.median(z[upper] if which else z[~upper]))
    return FreeRest(value, max(0.03 * apart, 8.0 * spreads[which]))


def _from_rests(
    t: FloatArray, z: FloatArray, passes: int, ends: Interval, first_direction: int, resolution: float
) -> list[Motion]:
    """Moving stretches between rests; about the turns the readings are mirrored.

    The reading does not show the moment of setting off but the moment by which it had changed by more than the display
    and the noise allow. How far the carriage had gone by then follows from how fast the reading goes on changing.
    """
    smooth, threshold = quieted(t, z, resolution)
    if float(np.ptp(smooth)) <= 2.0 * threshold:
        raise NoMotion(
            "The reading never changed by more than its noise: without marks or a position no motion can be seen."
        )
    ways = [first_direction * (1 if k % 2 == 0 else -1) for k in range(passes)]
    stood = _wait_that_hides_the_turn(t, z, smooth, passes, threshold)
    shorter, quiet = without_waits(t, smooth, stood)
    bounds = _bounds(shorter, quiet, quiet, passes, threshold)
    for each in stood_midway(shorter, quiet, _legs(bounds, ways, threshold)):
        stood = stood + [(float(a), float(b)) for a, b in (with_waits(np.array(one), stood) for one in each)]
    if stood:  # a wait moves the turn, which is looked for about the middle: look for it again without the waits
        t, z = without_waits(t, z, stood)
        smooth, _ = quieted(t, z, resolution)
        bounds = _bounds(t, z, smooth, passes, threshold)
    motions = []
    for k in range(passes):
        motion = _between_rests(bounds[2 * k], bounds[2 * k + 1], ends, ways[k], float(t[0]), float(t[-1]))
        if motion is not None:
            motions.append(with_stops(replace(motion, t_s=with_waits(motion.t_s, stood)), stood))
    return motions


def _wait_that_hides_the_turn(
    t: FloatArray, z: FloatArray, smooth: FloatArray, passes: int, threshold: float
) -> list[tuple[float, float]]:
    """A long stillness without which the passes are far more alike about their turns: then it was a stop, and would be
    taken for a turn, or move it. None where the turns are as good with it."""
    start, end = _leaves(t, smooth, float(t[0]), 1, threshold), _leaves(t, smooth, float(t[-1]), -1, threshold)
    plain = _unlike(t, z, start.t_s, end.t_s, passes)
    best: tuple[float, list[tuple[float, float]]] = (_FAR_MORE_ALIKE * plain, [])
    inside = (t > start.t_s) & (t < end.t_s)
    if passes < 2 or not inside.any():
        return []
    for a, b in stillnesses(t[inside], smooth[inside], threshold)[:4]:
        if b - a < _WAIT_S or a - start.t_s < 0.5 or end.t_s - b < 0.5:
            continue
        wait = [(a + 0.15, b - 0.15)]
        shorter, value = without_waits(t, z, wait)
        unlike = _unlike(shorter, value, start.t_s, end.t_s - (b - a - 0.3), passes)
        best = min(best, (unlike, wait), key=lambda one: one[0])
    return best[1]


def _unlike(t: FloatArray, z: FloatArray, start_s: float, end_s: float, passes: int) -> float:
    """Mean square difference of the readings about the turns, mirrored."""
    leg = (end_s - start_s) / passes
    return float(sum(_mirror(t, z, start_s + leg * k, leg)[0] for k in range(1, passes)))


def _bounds(t: FloatArray, z: FloatArray, smooth: FloatArray, passes: int, threshold: float) -> list[_Leave]:
    """The beginning and the end of each pass, in turn. Raises NoMotion."""
    start = _leaves(t, smooth, float(t[0]), 1, threshold)
    end = _leaves(t, smooth, float(t[-1]), -1, threshold)
    if start.t_s >= end.t_s:
        raise NoMotion("The reading changes at one moment only: no motion can be seen.")
    bounds = [start]
    leg = (end.t_s - start.t_s) / passes
    for k in range(1, passes):
        _, middle = _mirror(t, z, start.t_s + leg * k, leg)
        bounds += [_leaves(t, smooth, middle, -1, threshold), _leaves(t, smooth, middle, 1, threshold)]
    return [*bounds, end]


def _legs(bounds: Sequence[_Leave], ways: Sequence[int], threshold: float) -> list[Leg]:
    return [Leg(a.t_s, b.t_s, way, threshold) for a, b, way in zip(bounds[::2], bounds[1::2], ways, strict=True)]


@dataclass(frozen=True)
class _Leave:
    """By ``t_s`` the reading had left what it showed at rest by ``threshold``; it goes on at ``rate`` per second.
    ``rest_s``: for how long it had kept still before, as far as that was recorded."""

    t_s: float
    threshold: float
    rate: float
    rest_s: float


def _leaves(t: FloatArray, z: FloatArray, rest_s: float, way: int, threshold: float) -> _Leave:
    """The first moment after (``way`` +1) or the last before (-1) ``rest_s`` from which the reading stays away."""
    order = slice(None) if way > 0 else slice(None, None, -1)
    ago, shown = ((t - rest_s) * way)[order], z[order]
    keep = ago >= -0.15
    ago, shown = ago[keep], shown[keep]
    resting = ago <= 0.15
    base = float(np.median(shown[resting])) if resting.any() else float(shown[0])
    away = np.abs(shown - base) > threshold
    spacing = max(float(np.median(np.diff(t))), 1e-6)
    lasting = max(round(0.15 / spacing), 2)
    run = np.convolve(away.astype(int), np.ones(lasting, int), mode="valid") if len(away) >= lasting else np.zeros(0)
    hits = np.nonzero(run == lasting)[0]
    at = int(hits[0]) if len(hits) else len(ago) - 1
    after = (ago >= ago[at]) & (ago <= ago[at] + max(0.5, 2.5 * spacing))
    gone = float(np.max(np.abs(shown[after] - base))) - 0.5 * threshold if after.any() else 0.0
    rate = max(gone, 0.3 * threshold) / max(0.5, 2.5 * spacing)
    return _Leave(rest_s + way * float(ago[at]), threshold, rate, max(float(ago[at]), 0.0))


def _between_rests(
    begin: _Leave, end: _Leave, ends: Interval, direction: int, first_s: float, last_s: float
) -> Motion | None:
    """One pass: the places reached when the reading was seen to go, and the ends before and after."""
    took = end.t_s - begin.t_s
    if took <= 0.3:
        return None
    way = ends[1] - ends[0]
    x0, x1 = (ends[0], ends[1]) if direction > 0 else (ends[1], ends[0])
    speed = way / took
    gone = [min(speed * each.threshold / each.rate, 0.25 * way) for each in (begin, end)]
    took_s = [_gathering_s(g, speed) for g in gone]
    # How far it had gone is known to about half; a flat start may also hide that it stood there longer.
    u = [float(np.hypot(END_PLACE_MM + 0.15 * speed, 0.6 * g)) for g in gone]
    rest = [max(begin.t_s - took_s[0], first_s), min(end.t_s + took_s[1], last_s)]
    t = np.array([rest[0], begin.t_s, end.t_s, rest[1]])
    x = np.array([x0, x0 + direction * gone[0], x1 - direction * gone[1], x1])
    scatter = np.array([END_PLACE_MM + 0.15 * speed, u[0], u[1], END_PLACE_MM + 0.15 * speed])
    keep = np.concatenate([[True], np.diff(t) > 1e-3])
    keep[-1] = True
    if not np.all(np.diff(t[keep]) > 1e-6):
        keep = np.array([False, True, True, False])
    return Motion(
        direction, t[keep], x[keep], scatter[keep], np.zeros(int(keep.sum()), bool), unevenness=UNMARKED_UNEVENNESS
    )


def _gathering_s(way_mm: float, speed_mm_s: float) -> float:
    """How long the first (or last) ``way_mm`` take: a hand needs about 0.6 s to gather the speed of a push."""
    gathering = 0.6
    if way_mm < 0.5 * gathering * speed_mm_s:
        return float(np.sqrt(2.0 * way_mm * gathering / speed_mm_s))
    return way_mm / speed_mm_s + 0.5 * gathering


def _mirror(t: FloatArray, z: FloatArray, wanted: float, leg_s: float) -> tuple[float, float]:
    """(mean square difference, time) about which the readings are most alike forward and backward: the turn.

    Near the turn the two passes differ little in pace; farther out the comparison allows a pace up to 15 % different.
    """
    grid = np.linspace(t[0], t[-1], int(min(4 * len(t), 4000)))
    smooth = np.interp(grid, t, z)
    ahead = np.linspace(0.02, 0.8, 80) * leg_s
    best, where = np.inf, wanted
    for pace in (0.87, 0.93, 1.0, 1.07, 1.15):
        centres = np.linspace(wanted - 0.25 * leg_s, wanted + 0.25 * leg_s, 141)
        after = np.interp(centres[:, None] + ahead[None, :] * np.sqrt(pace), grid, smooth)
        before = np.interp(centres[:, None] - ahead[None, :] / np.sqrt(pace), grid, smooth)
        miss = np.mean((after - before) ** 2, axis=1)
        at = int(np.argmin(miss))
        if miss[at] < best:
            best, where = float(miss[at]), float(centres[at])
    return best, where
