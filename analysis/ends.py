"""Passes when nothing but the readings says where the carriage was.

Why it exists: a first sweep is often made with neither marks nor encoder. The start and the end of motion, and the
places where the indicator leaves or meets the surface, are all there is. It prevents the reading's time axis from
being taken for the stroke without a word: the result is labelled, and its large uncertainty goes into every number.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from analysis.contact import Interval
from analysis.motion import Motion
from analysis.results import BoolArray, FloatArray
from analysis.uncertainty import robust_scale

_UNSEEN_S = 0.3
_LONGEST_TURN_S = 1.6
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
    return _from_rests(t, z, max(passes, 1), (low, high), first_direction)


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


def _straight(start_s: float, end_s: float, ends: Interval, direction: int, u_mm: float) -> Motion:
    x = np.array(ends if direction > 0 else ends[::-1], float)
    return Motion(direction, np.array([start_s, end_s]), x, np.full(2, u_mm), np.zeros(2, bool))


def _touching_blocks(t: FloatArray, z: FloatArray, silent: FloatArray) -> list[tuple[float, float]]:
    """(start, end) of each stretch of touching between silences, or between stays at the tip's free rest."""
    spacing = float(np.median(np.diff(t)))
    rest = free_rest(z)
    off = np.zeros(len(t), bool) if rest is None else np.abs(z - rest.value) <= rest.near
    if not off.any() and not len(silent):
        return []
    held = _kept(off, max(int(0.15 / max(spacing, 1e-6)), 3))
    breaks = np.nonzero((np.diff(held.astype(int)) != 0) | (np.diff(t) > max(0.25, 8.0 * spacing)))[0]
    starts, ends = np.concatenate([[0], breaks + 1]), np.concatenate([breaks, [len(t) - 1]])
    blocks = []
    for a, b in zip(starts.tolist(), ends.tolist(), strict=True):
        if held[a] or b - a < 5 or t[b] - t[a] < 0.3:
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
    if apart < max(0.1, 6.0 * max(spreads)):
        return None
    first, last = bool(np.median(upper[:5])), bool(np.median(upper[-5:]))
    which = int(first) if first == last else int(np.argmin(spreads))
    value = float(np.median(z[upper] if which else z[~upper]))
    return FreeRest(value, max(0.03 * apart, 8.0 * spreads[which]))


def _from_rests(t: FloatArray, z: FloatArray, passes: int, ends: Interval, first_direction: int) -> list[Motion]:
    """Moving stretches between rests, where the reading stands still; about the turns the readings are mirrored."""
    still = _still(t, z)
    moving = np.nonzero(~still)[0]
    if len(moving) < 4:
        raise NoMotion("The reading never changed: without marks or a position no motion can be seen.")
    # At both ends the carriage gathers and loses speed where the profile is flat by chance: motion is seen late.
    start = max(float(t[moving[0]]) - _UNSEEN_S, float(t[0]))
    end = min(float(t[moving[-1]]) + _UNSEEN_S, float(t[-1]))
    bounds = [start, *[time for pair in _turns(t, z, still, start, end, passes) for time in pair], end]
    pairs = list(zip(bounds[::2], bounds[1::2], strict=True))
    return [
        _straight(a, b, ends, first_direction * (1 if k % 2 == 0 else -1), END_PLACE_MM)
        for k, (a, b) in enumerate(pairs)
        if b - a > 0.2
    ]


def _still(t: FloatArray, z: FloatArray) -> BoolArray:
    """Readings within windows of about 0.4 s whose spread is no more than the noise."""
    spacing = float(np.median(np.diff(t)))
    width = int(np.clip(round(0.4 / max(spacing, 1e-6)), 3, 4000))
    from scipy.ndimage import maximum_filter1d, minimum_filter1d, uniform_filter1d

    smooth = uniform_filter1d(z, max(width // 4, 1), mode="nearest")
    spread = maximum_filter1d(smooth, width, mode="nearest") - minimum_filter1d(smooth, width, mode="nearest")
    noise = robust_scale(np.diff(z)) / np.sqrt(2.0)
    floor = max(
        2.0 * float(np.quantile(spread, 0.05)),
        2.0 * noise / np.sqrt(max(width // 4, 1)),
        0.05 * float(np.median(spread)),
    )
    return np.asarray(spread <= floor, bool)


def _turns(
    t: FloatArray, z: FloatArray, still: BoolArray, start: float, end: float, passes: int
) -> list[tuple[float, float]]:
    """(coming to rest, setting off) of each of the passes - 1 turns: the rest about the time of mirroring, taken no
    longer than people stand there, because a flat stretch on either side looks like rest too."""
    out = []
    for k in range(1, passes):
        leg = (end - start) / passes
        middle = _mirror_time(t, z, start + leg * k, leg)
        at = int(np.clip(np.searchsorted(t, middle), 0, len(t) - 1))
        first = last = at
        while first > 0 and still[first - 1] and middle - t[first - 1] < _LONGEST_TURN_S / 2:
            first -= 1
        while last < len(t) - 1 and still[last + 1] and t[last + 1] - middle < _LONGEST_TURN_S / 2:
            last += 1
        half = min(middle - float(t[first]), float(t[last]) - middle) if still[at] else 0.0
        out.append((middle - max(half, 0.0), middle + max(half, 0.0)))
    return out


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
