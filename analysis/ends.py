"""Passes when nothing but the readings says where the carriage was.

Why it exists: a first sweep is often made with neither marks nor encoder. The start and the end of motion, and the
places where the indicator leaves or meets the surface, are all there is. It prevents the reading's time axis from
being taken for the stroke without a word: the result is labelled, and its large uncertainty goes into every number.
"""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from analysis.contact import Interval
from analysis.motion import Motion
from analysis.results import BoolArray, FloatArray
from analysis.uncertainty import MAD_TO_SIGMA

_STOOD_S = 1.0
_STOOD_SHARE = 0.08  # of the way: how well the place of a stop follows from the time under way
UNMARKED_UNEVENNESS = 0.26  # nobody aims at anything between the ends; common practice, no source
END_PLACE_MM = 12.0  # standard uncertainty of "here the motion began" from the reading alone
EDGE_PLACE_MM = 3.0


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
    smooth, threshold = _quieted(t, z, resolution)
    if float(np.ptp(smooth)) <= 2.0 * threshold:
        raise NoMotion(
            "The reading never changed by more than its noise: without marks or a position no motion can be seen."
        )
    start = _leaves(t, smooth, float(t[0]), 1, threshold)
    end = _leaves(t, smooth, float(t[-1]), -1, threshold)
    if start.t_s >= end.t_s:
        raise NoMotion("The reading changes at one moment only: no motion can be seen.")
    bounds = [start]
    leg = (end.t_s - start.t_s) / passes
    for k in range(1, passes):
        middle = _mirror_time(t, z, start.t_s + leg * k, leg)
        bounds += [_leaves(t, smooth, middle, -1, threshold), _leaves(t, smooth, middle, 1, threshold)]
    bounds.append(end)
    motions = []
    for k in range(passes):
        direction = first_direction * (1 if k % 2 == 0 else -1)
        motion = _between_rests(bounds[2 * k], bounds[2 * k + 1], ends, direction, float(t[0]), float(t[-1]))
        if motion is not None:
            motions.append(_with_stops(motion, _stood(t, smooth, bounds[2 * k], bounds[2 * k + 1])))
    return motions


def _stood(t: FloatArray, z: FloatArray, begin: _Leave, end: _Leave) -> list[tuple[float, float]]:
    """(from, to) where the reading kept still in the middle of a pass for longer than the ground explains: a second and
    a half, in which elsewhere it changes by several times as much as noise and display allow."""
    inside = (t > begin.t_s + 1.0) & (t < end.t_s - 1.0)
    t, z = t[inside], z[inside]
    if len(t) < 20:
        return []
    width = max(round(_STOOD_S / max(float(np.median(np.diff(t))), 1e-6)), 4)
    if width >= len(t) // 2:
        return []
    from scipy.ndimage import maximum_filter1d, minimum_filter1d

    spread = maximum_filter1d(z, width, mode="nearest") - minimum_filter1d(z, width, mode="nearest")
    if float(np.quantile(spread, 0.1)) < 2.0 * begin.threshold:  # level ground, or a coarse display: cannot be told
        quiet = spread <= begin.threshold
        if float(quiet.mean()) > 0.3 or float(np.median(spread)) < 5.0 * begin.threshold:
            return []
    still = spread <= begin.threshold
    edges = np.concatenate([[0], np.nonzero(np.diff(still.astype(int)) != 0)[0] + 1, [len(t)]])
    half = _STOOD_S / 2.0
    return [
        (float(t[a]) - half, float(t[b - 1]) + half)
        for a, b in itertools.pairwise(edges.tolist())
        if still[a] and t[b - 1] - t[a] > 0.5
    ]


def _with_stops(motion: Motion, stood: list[tuple[float, float]]) -> Motion:
    """The pass with the places where it stood: how far it had come by then follows from the time it was under way."""
    if not stood or len(motion.t_s) < 2:
        return motion
    waited = sum(b - a for a, b in stood)
    moving = float(motion.t_s[-1] - motion.t_s[0]) - waited
    if moving <= 0.3 * waited:
        return motion
    times, places, u = list(motion.t_s), list(motion.x_mm), list(motion.standard_uncertainty_mm)
    before = 0.0
    for a, b in stood:
        share = (a - motion.t_s[0] - before) / moving
        x = float(motion.x_mm[0] + (motion.x_mm[-1] - motion.x_mm[0]) * share)
        spread = _STOOD_SHARE * abs(float(motion.x_mm[-1] - motion.x_mm[0])) * float(np.sqrt(share * (1.0 - share)))
        times += [a, b]
        places += [x, x]
        u += [max(spread, END_PLACE_MM)] * 2
        before += b - a
    order = np.argsort(times)
    return Motion(
        motion.direction, np.array(times)[order], np.array(places)[order], np.array(u)[order],
        np.zeros(len(times), bool), unevenness=motion.unevenness,
    )  # fmt: skip


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


@dataclass(frozen=True)
class _Leave:
    """By ``t_s`` the reading had left what it showed at rest by ``threshold``; it goes on at ``rate`` per second.
    ``rest_s``: for how long it had kept still before, as far as that was recorded."""

    t_s: float
    threshold: float
    rate: float
    rest_s: float


def _quieted(t: FloatArray, z: FloatArray, resolution: float) -> tuple[FloatArray, float]:
    """(readings averaged over a tenth of a second, the change that is no longer noise or the display's step)."""
    from scipy.ndimage import uniform_filter1d

    spacing = max(float(np.median(np.diff(t))), 1e-6)
    width = max(round(0.1 / spacing), 1)
    noise = MAD_TO_SIGMA * float(np.median(np.abs(np.diff(z, 2)))) / np.sqrt(6.0) if len(z) > 4 else 0.0
    return uniform_filter1d(z, width, mode="nearest"), max(
        1.02 * resolution, 5.0 * noise / np.sqrt(width), 0.01 * float(np.ptp(z)), 1e-6
    )


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


def _mirror_time(t: FloatArray, z: FloatArray, wanted: float, leg_s: float) -> float:
    """The time about which the readings are most alike forward and backward: the turn.

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
    return where
