"""Stop-and-read: dwells, settled means, and the profile they give.

Why it exists: a level reads acceleration when it is pushed (7 mm/m is common) and a slow indicator lags, so people stop
at stations and let it settle. It prevents transients from being averaged into the reading: only the settled part of a
dwell counts, and a station's place is that of its mark, with nobody's reaction time in it.

For white noise the mean square of successive differences is twice the variance (von Neumann 1941); a trend or a
transient makes it smaller. That ratio tells a settled dwell from one that still creeps.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from analysis.contact import Interval, not_seen
from analysis.motion import Motion
from analysis.results import BoolArray, FloatArray, IntArray, Profile, Quantity
from analysis.uncertainty import robust_scale

LEAST_S = {"mm": 0.8, "mm/m": 0.4}  # of the settled part: a slow level spends most of a short stop on its way there
SETTLING_S = {"mm": 0.3, "mm/m": 3.0}  # a mark may be set this long before the reading stands still
_SETTLED_SHARE = 0.6
_STILL_MOVING_MM_PER_M = 0.1  # a level as far from rest as this says nothing of the place
STOOD_MM, _BOUNDARY_MM = 1.5, 35.0  # standard uncertainty of the place while it stood, and where it came to rest


@dataclass(frozen=True)
class Dwell:
    """The carriage stood from ``start_s`` to ``end_s``; ``value`` is the settled mean of ``count`` readings,
    ``steadiness`` the von Neumann ratio of all of them (about 2 at rest, toward 0 where the reading still goes)."""

    start_s: float
    end_s: float
    value: float
    standard_uncertainty: float
    count: int
    steadiness: float = 2.0


def find_dwells(
    t_s: FloatArray, value: FloatArray, resolution: float = 0.0, least_s: float = LEAST_S["mm"]
) -> tuple[Dwell, ...]:
    """Stretches of at least ``least_s`` in which the reading stands still, in order of time."""
    good = np.isfinite(t_s) & np.isfinite(value)
    t, z = np.asarray(t_s, float)[good], np.asarray(value, float)[good]
    if len(t) < 8:
        return ()
    order = np.argsort(t, kind="stable")
    t, z = t[order], z[order]
    quiet = _quiet(t, z, resolution)
    dwells = []
    apart = np.diff(t) > max(0.5, 4.0 * float(np.median(np.diff(t))))
    edges = np.concatenate([[0], np.nonzero((np.diff(quiet.astype(int)) != 0) | apart)[0] + 1, [len(t)]])
    for a, b in zip(edges[:-1].tolist(), edges[1:].tolist(), strict=True):
        if quiet[a] and t[b - 1] - t[a] >= least_s and b - a >= 4:
            dwells.append(_settled(t[a:b], z[a:b], resolution))
    return tuple(dwells)


def last_dwell(
    t_s: FloatArray, value: FloatArray, mark_s: float, dwells: Sequence[Dwell], resolution: float = 0.0
) -> tuple[Dwell, ...]:
    """``dwells`` with one more at the last mark, where the recording ended before the reading had settled.

    A sweep ends a second after its last mark; a slow level is still on its way then. What is left of the way is about
    as much as it went in the last half of what was recorded: that is its uncertainty.
    """
    if any(d.start_s - SETTLING_S["mm/m"] <= mark_s <= d.end_s + 0.5 and d.end_s > mark_s - 0.5 for d in dwells):
        return tuple(dwells)
    tail = (t_s >= mark_s) & np.isfinite(value)
    t, z = t_s[tail], value[tail]
    if len(z) < 6 or t[-1] - t[0] > 4.0:
        return tuple(dwells)
    half = len(z) // 2
    end = z[-max(len(z) // 4, 3) :]
    left = abs(float(end.mean() - z[half : half + max(len(z) // 8, 1)].mean()))
    u = float(np.sqrt(np.var(end) + resolution**2 / 12.0 + left**2))
    if u > _STILL_MOVING_MM_PER_M:
        return tuple(dwells)
    return (*dwells, Dwell(float(t[half]), float(t[-1]), float(end.mean()), max(u, 1e-6), len(end), 0.0))


def settled_mean(value: FloatArray, resolution: float = 0.0) -> tuple[float, float, int]:
    """(mean, standard uncertainty, readings used) of the last part of a dwell that shows no trend.

    Starts from the last 60 % and shortens while the successive differences say it still creeps.
    """
    z = np.asarray(value, float)
    start = int(len(z) * (1.0 - _SETTLED_SHARE))
    while len(z) - start > 12 and von_neumann_ratio(z[start:]) < 0.6:
        start += (len(z) - start) // 4
    kept = z[start:]
    middle = float(np.median(kept))
    spread = robust_scale(kept)
    kept = kept[np.abs(kept - middle) <= max(5.0 * spread, 1.01 * resolution)]
    scatter = float(np.std(kept, ddof=1)) if len(kept) > 1 else 0.0
    half = len(kept) // 2
    creep = abs(float(kept[:half].mean() - kept[half:].mean())) / 2.0 if half else 0.0
    alike = max(2.0 / max(von_neumann_ratio(kept), 0.1), 1.0) if scatter > 0 else 1.0
    u = np.sqrt(scatter**2 * alike / len(kept) + resolution**2 / 12.0 + creep**2)
    return float(kept.mean()), float(u), len(kept)


def von_neumann_ratio(z: FloatArray) -> float:
    """Mean square successive difference over variance: 2 for white noise, toward 0 for a trend."""
    variance = float(np.var(z, ddof=1)) if len(z) > 1 else 0.0
    return float(np.mean(np.diff(z) ** 2) / variance) if variance > 0 else 2.0


def stood_at_marks(dwells: Sequence[Dwell], mark_t_s: FloatArray, settling_s: float = SETTLING_S["mm"]) -> IntArray:
    """For each mark the index of the dwell it was set in (marks,), -1 where the carriage moved.

    A mark belongs to the dwell around it, else to the next one if the reading settles soon after it and before the next
    mark, else to one that ended just before.
    """
    out = np.full(len(mark_t_s), -1, np.int64)
    for i, mark in enumerate(mark_t_s.tolist()):
        following = float(mark_t_s[i + 1]) if i + 1 < len(mark_t_s) else np.inf
        costs = []
        for d in dwells:
            if d.start_s <= mark <= d.end_s:
                costs.append(0.0)
            elif mark < d.start_s <= mark + settling_s and d.end_s < following:
                costs.append(d.start_s - mark)
            elif d.end_s < mark <= d.end_s + 0.5:
                costs.append(3.0 * (mark - d.end_s))
            else:
                costs.append(np.inf)
        if costs and min(costs) < np.inf:
            out[i] = int(np.argmin(costs))
    return out


def with_dwells(motion: Motion, dwells: Sequence[Dwell], settling_s: float = SETTLING_S["mm"]) -> tuple[Motion, int]:
    """The pass with every mark that was set in a dwell of its own widened to that dwell, and how many there were
    between the first and the last."""
    stood = stood_at_marks(dwells, motion.t_s, settling_s)
    alone = np.array([index >= 0 and int(np.sum(stood == index)) == 1 for index in stood])
    chosen = [dwells[int(stood[i])] if alone[i] else None for i in range(len(stood))]
    before = _typical([mark - d.start_s for mark, d in zip(motion.t_s.tolist(), chosen, strict=True) if d is not None])
    after = _typical([d.end_s - mark for mark, d in zip(motion.t_s.tolist(), chosen, strict=True) if d is not None])
    last = len(motion.t_s) - 1
    t: list[float] = []
    source: list[int] = []
    scatter: list[float] = []
    for i, mark in enumerate(motion.t_s.tolist()):
        # A stop off the surface cannot be seen; it lasted about as long as the others.
        start, end = (chosen[i].start_s, chosen[i].end_s) if chosen[i] is not None else (mark - before, mark + after)  # type: ignore[union-attr]
        start, end = (mark if i == 0 else min(start, mark)), (mark if i == last else max(end, mark))
        # It stood there in between; just when it came to rest and set off again the reading does not show well.
        for time in sorted({start, (start + end) / 2.0, end}):
            if not t or time > t[-1] + 1e-6:
                t.append(time)
                source.append(i)
                edge = _BOUNDARY_MM if time in (start, end) else STOOD_MM
                scatter.append(edge if chosen[i] is not None else 15.0)
    found = int(np.sum(alone[1:last])) if last > 0 else 0
    stopped = Motion(
        motion.direction, np.array(t), motion.x_mm[source], np.array(scatter), np.zeros(len(t), bool),
        standing=motion.standing, idle_s=(0.2, 0.2),
    )  # fmt: skip
    return stopped, found


def _typical(values: Sequence[float]) -> float:
    return float(np.median([max(value, 0.0) for value in values])) if values else 0.0


@dataclass(frozen=True)
class Stop:
    """One settled reading: pass, direction, time, station, value and its standard uncertainty."""

    pass_number: int
    direction: int
    t_s: float
    x_mm: float
    value: float
    standard_uncertainty: float


def stops_of(motions: Sequence[Motion], dwells: Sequence[Dwell]) -> list[Stop]:
    """A level's dwells in which a mark was set, one a station and pass."""
    out = []
    for number, motion in enumerate(motions):
        used: set[int] = set()  # a dwell widened to several anchors is still one reading
        for i, index in enumerate(stood_at_marks(dwells, motion.t_s, SETTLING_S["mm/m"]).tolist()):
            if index >= 0 and index not in used:
                used.add(index)
                d = dwells[index]
                out.append(
                    Stop(
                        number,
                        motion.direction,
                        (d.start_s + d.end_s) / 2,
                        float(motion.x_mm[i]),
                        d.value,
                        d.standard_uncertainty,
                    )
                )
    return out


def stops_on_track(motions: Sequence[Motion], dwells: Sequence[Dwell], alike_mm: float = 20.0) -> list[Stop]:
    """Stops whose places an encoder gives; stops of several passes within ``alike_mm`` are one station."""
    found: list[Stop] = []
    for d in dwells:
        middle = (d.start_s + d.end_s) / 2
        for number, motion in enumerate(motions):
            if motion.t_s[0] - d.end_s <= 0 <= motion.t_s[-1] - d.start_s:
                at = motion.position_mm(np.array([max(d.start_s, motion.t_s[0]), min(d.end_s, motion.t_s[-1])]))
                if abs(at[1] - at[0]) < 2.0:
                    place = float(at.mean())
                    found.append(Stop(number, motion.direction, middle, place, d.value, d.standard_uncertainty))
                    break
    places: list[list[float]] = []
    for x in sorted(stop.x_mm for stop in found):
        if places and x - places[-1][-1] <= alike_mm:
            places[-1].append(x)
        else:
            places.append([x])
    middles = np.array([float(np.mean(group)) for group in places])
    return [replace(stop, x_mm=float(middles[np.argmin(np.abs(middles - stop.x_mm))])) for stop in found]


def station_profile(
    stops: Sequence[Stop],
    quantity: Quantity,
    unit: str,
    stroke_mm: Interval,
    zero_known: bool,
    resolution: float,
    hysteresis: float,
    drift_per_s: float,
    warnings: Sequence[str] = (),
) -> Profile:
    """A profile at the stops only: one unknown a station, with direction offset and drift as nuisances.

    Weighted least squares with weak priors on the nuisances (standard deviations ``hysteresis`` and ``drift_per_s``).
    The scatter between passes, where there is more than one, replaces the dwells' own when it is larger.
    """
    places = np.unique([stop.x_mm for stop in stops])
    index = np.searchsorted(places, [stop.x_mm for stop in stops])
    y = np.array([stop.value for stop in stops])
    own = np.array([max(stop.standard_uncertainty, 0.2 * resolution, 1e-6) for stop in stops])
    design = np.zeros((len(y), len(places) + 2))
    design[np.arange(len(y)), index] = 1.0
    design[:, -2] = [stop.direction for stop in stops]
    design[:, -1] = [stop.t_s - min(s.t_s for s in stops) for stop in stops]
    both = len({stop.direction for stop in stops}) > 1
    prior = np.zeros(design.shape[1])
    prior[-2:] = 1.0 / np.array([hysteresis if both else hysteresis / 5.0, drift_per_s]) ** 2
    scale = 1.0
    for _ in range(3):
        weight = 1.0 / (own * scale) ** 2
        covariance = np.linalg.inv(
            design.T @ (design * weight[:, None]) + np.diag(prior) + 1e-9 * np.eye(design.shape[1])
        )
        theta = covariance @ (design.T @ (weight * y))
        freedom = len(y) - len(places) - (2 if both else 0)
        if freedom < 1:
            break
        misfit = float(np.sum(((y - design @ theta) / own) ** 2)) / freedom
        scale = float(np.sqrt(max(misfit, 1.0)))
    n = len(places)
    whole = np.array(covariance[:n, :n], float)
    # A station come upon from one side only, or at the very start, may hold any part of the play between directions.
    ways = [len({stop.direction for stop in stops if stop.x_mm == place}) for place in places]
    whole[np.diag_indices(n)] += np.where(np.array(ways) < 2, float(theta[-2]) ** 2 if both else 0.0, 0.0)
    known = np.linalg.inv(design[:, :n].T @ (design[:, :n] * weight[:, None]))
    value = theta[:n]
    return Profile(
        quantity, unit, places, value, 2.0 * np.sqrt(np.diag(whole)), whole, zero_known,
        not_seen(stroke_mm, [(float(places[0]), float(places[-1]))]),
        {"repeatability": np.sqrt(np.diag(known)), "drift": np.sqrt(np.maximum(np.diag(whole) - np.diag(known), 0.0)),
         "resolution": np.full(n, resolution / np.sqrt(12.0)), "position": np.zeros(n), "instrument": np.zeros(n)},
        {"stops": float(len(stops)), "direction_offset": float(theta[-2]), "drift_per_min": 60.0 * float(theta[-1]),
         "scatter_scale": scale}, tuple(warnings),
    )  # fmt: skip


def _quiet(t: FloatArray, z: FloatArray, resolution: float) -> BoolArray:
    """Readings in windows of about half a second whose spread is near the smallest spread that occurs."""
    from scipy.ndimage import maximum_filter1d, minimum_filter1d, uniform_filter1d

    spacing = max(float(np.median(np.diff(t))), 1e-6)
    width = int(np.clip(round(0.5 / spacing), 3, 20_000))
    smooth = uniform_filter1d(z, max(width // 5, 1), mode="nearest")
    spread = maximum_filter1d(smooth, width, mode="nearest") - minimum_filter1d(smooth, width, mode="nearest")
    floor = max(2.5 * float(np.quantile(spread, 0.08)), 1.2 * resolution, 1e-9)
    return np.asarray(spread <= floor, bool)


def _settled(t: FloatArray, z: FloatArray, resolution: float) -> Dwell:
    mean, u, count = settled_mean(z, resolution)
    return Dwell(float(t[0]), float(t[-1]), mean, u, count, von_neumann_ratio(z))


def between_stops(x_mm: FloatArray, profile: Profile) -> FloatArray:
    """The stops' profile on other places, by the monotone cubic through the stations (for drawing only)."""
    from scipy.interpolate import PchipInterpolator

    if len(profile.x_mm) < 2:
        return np.full(len(x_mm), float(profile.value[0]) if len(profile.value) else np.nan)
    return np.asarray(PchipInterpolator(profile.x_mm, profile.value, extrapolate=False)(x_mm), float)
