"""Passes when nothing but the readings says where the carriage was.

Why it exists: a first sweep is often made with neither marks nor encoder. The start and the end of motion, and the
places where the indicator leaves or meets the surface, are all there is. It prevents the reading's time axis from
being taken for the stroke without a word: the result is labelled, and its large uncertainty goes into every number.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from analysis.contact import Interval
from analysis.motion import Motion
from analysis.results import FloatArray

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
        blocks = _touching_blocks(t, z, no_value_t_s, (windows[-1][1] - windows[0][0]) / 600.0)
        if len(blocks) >= 1:
            return _from_blocks(blocks[: max(passes, 1)], (low, high), first_direction)
    return _from_rests(t, z, max(passes, 1), (low, high), first_direction)


def _from_blocks(blocks: Sequence[tuple[float, float]], ends: Interval, first_direction: int) -> list[Motion]:
    return [
        _straight(a, b, ends, first_direction * (1 if k % 2 == 0 else -1), EDGE_PLACE_MM)
        for k, (a, b) in enumerate(blocks)
    ]


def _straight(start_s: float, end_s: float, ends: Interval, direction: int, u_mm: float) -> Motion:
    x = np.array(ends if direction > 0 else ends[::-1], float)
    return Motion(direction, np.array([start_s, end_s]), x, np.full(2, u_mm), np.zeros(2, bool))


def _touching_blocks(t: FloatArray, z: FloatArray, silent: FloatArray, least_s: float) -> list[tuple[float, float]]:
    """Stretches of readings between silences or between lasting steps to the tip's free rest."""
    rest = free_rest(z)
    on = np.ones(len(t), bool) if rest is None else np.abs(z - rest[0]) > rest[1]
    spacing = float(np.median(np.diff(t)))
    breaks = np.nonzero((np.diff(on.astype(int)) != 0) | (np.diff(t) > max(1.0, 20.0 * spacing)))[0]
    starts, ends = np.concatenate([[0], breaks + 1]), np.concatenate([breaks, [len(t) - 1]])
    blocks = []
    for a, b in zip(starts.tolist(), ends.tolist(), strict=True):
        if on[a] and t[b] - t[a] >= max(least_s, 0.3) and b - a >= 3:
            edge_a = (t[a - 1] + t[a]) / 2 if a > 0 and t[a] - t[a - 1] < 3 * spacing else t[a] - spacing / 2
            edge_b = (t[b] + t[b + 1]) / 2 if b + 1 < len(t) and t[b + 1] - t[b] < 3 * spacing else t[b] + spacing / 2
            blocks.append((float(edge_a), float(edge_b)))
    if rest is None and not len(silent) and len(blocks) == 1:
        return []  # nothing ever left the surface: the edges were not seen
    return blocks


def free_rest(z: FloatArray) -> tuple[float, float] | None:
    """(value, half width) at which the tip hangs free: a crowd of readings far off all others, or None.

    Sorted values with a wide empty stretch between the crowd and the rest; the crowd is the flatter part.
    """
    ordered = np.sort(z)
    if len(ordered) < 20:
        return None
    gaps = np.diff(ordered)
    at = int(np.argmax(gaps))
    lower, upper = ordered[: at + 1], ordered[at + 1 :]
    if min(len(lower), len(upper)) < 5:
        return None
    flat, other = (lower, upper) if np.ptp(lower) < np.ptp(upper) else (upper, lower)
    if gaps[at] < max(0.1, 0.8 * float(np.ptp(other)), 4.0 * float(np.ptp(flat))):
        return None
    middle = float(np.median(flat))
    return middle, float(np.max(np.abs(flat - middle)) + 0.45 * gaps[at])


def _from_rests(t: FloatArray, z: FloatArray, passes: int, ends: Interval, first_direction: int) -> list[Motion]:
    """Moving stretches between rests, where the reading stands still; the longest rests are the turns."""
    still = _still(t, z)
    moving = np.nonzero(~still)[0]
    if len(moving) < 4:
        raise NoMotion("The reading never changed: without marks or a position no motion can be seen.")
    start, end = float(t[moving[0]]), float(t[moving[-1]])
    turns = _turns(t, z, still, start, end, passes)
    bounds = [start, *[time for pair in turns for time in pair], end]
    pairs = list(zip(bounds[::2], bounds[1::2], strict=True))
    return [
        _straight(a, b, ends, first_direction * (1 if k % 2 == 0 else -1), END_PLACE_MM)
        for k, (a, b) in enumerate(pairs)
    ]


def _still(t: FloatArray, z: FloatArray) -> np.ndarray:  # type: ignore[type-arg]
    """Readings within windows of about 0.4 s whose spread is no more than the noise."""
    spacing = float(np.median(np.diff(t)))
    width = int(np.clip(round(0.4 / max(spacing, 1e-6)), 3, 4000))
    from scipy.ndimage import maximum_filter1d, minimum_filter1d, uniform_filter1d

    smooth = uniform_filter1d(z, max(width // 4, 1), mode="nearest")
    spread = maximum_filter1d(smooth, width, mode="nearest") - minimum_filter1d(smooth, width, mode="nearest")
    noise = float(1.4826 * np.median(np.abs(np.diff(z)))) / np.sqrt(2.0)
    floor = max(
        float(np.quantile(spread, 0.05)) * 2.0,
        2.0 * noise / np.sqrt(max(width // 4, 1)),
        0.05 * float(np.median(spread)),
    )
    return np.asarray(spread <= floor, bool)


def _turns(
    t: FloatArray,
    z: FloatArray,
    still: np.ndarray,
    start: float,
    end: float,
    passes: int,  # type: ignore[type-arg]
) -> list[tuple[float, float]]:
    """The (passes - 1) rests nearest to where the turns should be; where there is none, the even division."""
    out = []
    breaks = np.nonzero(np.diff(still.astype(int)) != 0)[0]
    edges = np.concatenate([[0], breaks + 1, [len(t)]])
    rests = [
        (float(t[a]), float(t[b - 1]))
        for a, b in zip(edges[:-1], edges[1:], strict=True)
        if still[a] and t[b - 1] - t[a] > 0.2
    ]
    for k in range(1, passes):
        wanted = start + (end - start) * k / passes
        near = [r for r in rests if abs((r[0] + r[1]) / 2 - wanted) < 0.25 * (end - start) / passes]
        if near:
            out.append(max(near, key=lambda r: r[1] - r[0]))
        else:
            mirror = _mirror_time(t, z, wanted, (end - start) / passes)
            out.append((mirror, mirror))
    return out


def _mirror_time(t: FloatArray, z: FloatArray, wanted: float, leg_s: float) -> float:
    """The time about which the readings are most alike forward and backward: the turn."""
    grid = np.linspace(t[0], t[-1], min(4 * len(t), 4000))
    smooth = np.interp(grid, t, z)
    best, where = np.inf, wanted
    for centre in np.linspace(wanted - 0.2 * leg_s, wanted + 0.2 * leg_s, 81):
        ahead = np.linspace(0.02, 0.75, 60) * leg_s
        miss = float(np.mean((np.interp(centre + ahead, grid, smooth) - np.interp(centre - ahead, grid, smooth)) ** 2))
        if miss < best:
            best, where = miss, float(centre)
    return where
