"""From the fit to the profile people see: values at seen stations only, with the parts of their uncertainty.

Why it exists: a spline has a value everywhere, also over the opening where nothing was measured. It prevents such
values from being shown: a station is in the profile only where geometry lets the indicator touch and readings were
taken close by. The parts (repeatability, resolution, position, drift, instrument) are kept apart so that a person can
see what to do better: more passes, more marks, a finer indicator.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from analysis.contact import Interval, not_seen
from analysis.fit import Fit
from analysis.marks import STATION_PLACE_MM
from analysis.results import FloatArray, Profile, Quantity

GRID_MM = 10.0
_MOST_GAP_MM = 80.0
HIDDEN_MM = 0.0015  # drift, and offset between directions, that look like a hand's delay: common to all heights
PLAY_MM = 0.0018  # of an indicator in order; common practice, no source


class NothingSeen(ValueError):
    """No station of the stroke was seen."""


def seen_stations(fit: Fit, windows: Sequence[Interval], stroke_mm: Interval, grid_mm: float = GRID_MM) -> FloatArray:
    """Stations on the grid that lie in a window and between readings no farther apart than about 80 mm."""
    x = np.sort(np.concatenate([p.cell_x_mm[p.weight > 0.05] for p in fit.passes]))
    grid = np.arange(np.ceil(stroke_mm[0] / grid_mm), np.floor(stroke_mm[1] / grid_mm) + 1) * grid_mm
    grid = np.unique(np.concatenate([grid, [stroke_mm[0], stroke_mm[1]]])) if len(grid) else np.array(stroke_mm)
    keep = np.zeros(len(grid), bool)
    for low, high in windows:
        inside = x[(x >= low - 5.0) & (x <= high + 5.0)]
        if len(inside) < 2:
            continue
        after = np.searchsorted(inside, grid)
        left = inside[np.clip(after - 1, 0, len(inside) - 1)]
        right = inside[np.clip(after, 0, len(inside) - 1)]
        between = (right - left <= _MOST_GAP_MM) & (left <= grid + 6.0) & (right >= grid - 6.0)
        keep |= (grid >= low - 1e-6) & (grid <= high + 1e-6) & between
    return grid[keep]


def make_profile(
    fit: Fit,
    windows: Sequence[Interval],
    stroke_mm: Interval,
    quantity: Quantity,
    unit: str,
    zero_known: bool,
    resolution: float = 0.0,
    instrument: float = 0.0,
    warnings: Sequence[str] = (),
) -> Profile:
    """The profile at the seen stations. ``resolution`` is the display's step, ``instrument`` a standard uncertainty
    common to all readings, both in ``unit``. Raises NothingSeen."""
    x = seen_stations(fit, windows, stroke_mm)
    if not len(x):
        raise NothingSeen("No station was seen: the readings lie where the indicator cannot touch.")
    basis = fit.spline.basis(x)
    slope = fit.slope(x)
    layout = np.outer(slope, slope) * STATION_PLACE_MM**2 * np.exp(-np.abs(x[:, None] - x[None, :]) / 400.0)
    step = _resolution_covariance(x, slope, resolution, fit.reading_noise)
    noise = basis @ fit.covariance_noise @ basis.T
    fixed = basis @ fit.covariance_fixed_position @ basis.T
    whole = basis @ fit.covariance @ basis.T
    position = fit.common_position_covariance(x) + layout
    play = _play_covariance(fit, x)
    hidden = HIDDEN_MM if play.any() else 0.0
    covariance = whole + position + step + play + hidden**2 + instrument**2
    parts = {
        "repeatability": _root(np.diag(noise)),
        "drift": _root(np.diag(fixed) - np.diag(noise) + hidden**2),
        "position": _root(np.diag(whole) - np.diag(fixed) + np.diag(position)),
        "resolution": _root(np.diag(step)),
        "play": _root(np.diag(play)),
        "instrument": np.full(len(x), instrument),
    }
    return Profile(
        quantity, unit, x, fit.value(x), 2.0 * _root(np.diag(covariance)), (covariance + covariance.T) / 2.0,
        zero_known, not_seen(stroke_mm, _runs(x)), parts, _reports(fit), tuple(warnings),
    )  # fmt: skip


def _play_covariance(fit: Fit, x: FloatArray) -> FloatArray:
    """What play of the indicator, which a hand's positions cannot be told from, may add: it lowers summits and lifts
    hollows and the far end, the same in all passes, and does nothing on slopes that are gone over both ways. Nothing
    where a position is measured: there the fit tells it."""
    if all(one.motion.measured for one in fit.passes) or len({one.motion.direction for one in fit.passes}) < 2:
        return np.zeros((len(x), len(x)))
    there = fit.value(x)
    width = max(PLAY_MM, 0.005 * float(np.ptp(there)), 1e-9)
    state, states = 0.0, []
    both = np.concatenate([there, there[::-1]])
    for step in np.diff(both, prepend=both[:1]).tolist():
        state = min(max(state + step / width, -1.0), 1.0)
        states.append(state)
    mean = (np.array(states[: len(x)]) + np.array(states[len(x) :])[::-1]) / 2.0
    return np.asarray(PLAY_MM**2 * np.outer(mean, mean), float)


def _runs(x: FloatArray) -> list[Interval]:
    """Stretches of stations that follow each other on the grid."""
    breaks = np.nonzero(np.diff(x) > 1.5 * GRID_MM)[0]
    starts, ends = np.concatenate([[0], breaks + 1]), np.concatenate([breaks, [len(x) - 1]])
    return [(float(x[a]), float(x[b])) for a, b in zip(starts, ends, strict=True)]


def _root(variance: FloatArray) -> FloatArray:
    return np.sqrt(np.maximum(variance, 0.0))


def _resolution_covariance(x: FloatArray, slope: FloatArray, resolution: float, noise: float) -> FloatArray:
    """Rounding that the noise does not stir: its first harmonic survives as exp(-2 pi² (noise/step)²), is alike over
    the way on which the profile changes by a step, and averages out over a knot's length where it changes by more."""
    if resolution <= 0:
        return np.zeros((len(x), len(x)))
    own = np.sqrt(max(noise**2 - resolution**2 / 12.0, 0.0))
    size = resolution / np.sqrt(12.0) * np.exp(-2.0 * np.pi**2 * (own / resolution) ** 2)
    period = np.clip(resolution / np.maximum(np.abs(slope), 1e-9), 1.0, 1e5)
    u = size * np.minimum(np.sqrt(period / 100.0), 1.0)
    alike = np.exp(-np.abs(x[:, None] - x[None, :]) / np.clip(np.sqrt(np.outer(period, period)), 30.0, 2000.0))
    return np.asarray(np.outer(u, u) * alike, float)


def _reports(fit: Fit) -> dict[str, float]:
    shift = np.concatenate([p.shift_standard_uncertainty_mm for p in fit.passes])
    return {
        "delay_s": fit.delay_s,
        "delay_standard_uncertainty_s": fit.delay_standard_uncertainty_s,
        "direction_offset": fit.direction_offset,
        "play": fit.play,
        "drift_per_min": float(np.mean(fit.drift_per_s)) * 60.0,
        "noise": fit.noise,
        "zero_shift": fit.zero_shift,
        "set_aside": float(fit.set_aside + fit.spikes),
        "position_standard_uncertainty_mm": float(np.sqrt(np.mean(shift**2))),
        "position_standard_uncertainty_most_mm": float(np.max(shift)),
    }
