"""A height profile from stops: exact places, and an honest guess between them.

Why it exists: at a stop neither the hand's unevenness nor the operator's delay enters, so its height is the best there
is; between two stops nothing was read at a known place. It prevents both mistakes: throwing away what the stops say
about the ground between, and drawing a line there as if it had been measured. What the rail may do between stops is
estimated from what it does at them (a Gaussian process with a Matern 7/2 covariance; Rasmussen and Williams, Gaussian
Processes for Machine Learning, 2006, ch. 4 and 5), averaged over the lengths and sizes the stops allow, because a few
stops do not tell one length.
"""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from analysis.contact import Interval, not_seen
from analysis.marks import STATION_PLACE_MM
from analysis.profile import GRID_MM
from analysis.results import FloatArray, Profile
from analysis.stops import Stop

STOOD_MM = 1.5  # standard uncertainty of where a person stops at a station; common practice, no source
MOST_APART_MM = 450.0  # between stops farther apart nothing is said
_LENGTHS_MM = (140.0, 200.0, 290.0, 420.0, 600.0, 900.0, 1400.0)
_SIZES = (0.3, 0.6, 1.0, 1.8, 3.2, 6.0)  # of the shape's deviation at the stops


@dataclass(frozen=True)
class _Known:
    """What is the same for every length and size: readings, their own covariance, and the nuisances' prior."""

    x: FloatArray
    y: FloatArray
    own: FloatArray
    nuisance: FloatArray


def height_profile(
    stops: Sequence[Stop],
    windows: Sequence[Interval],
    stroke_mm: Interval,
    zero_known: bool,
    resolution: float,
    instrument: float,
    hysteresis: float = 0.02,
    drift_per_s: float = 2e-5,
    warnings: Sequence[str] = (),
) -> Profile:
    """Heights (mm) between the first and the last stop of each window. Raises ValueError for fewer than 4 stops."""
    if len({stop.x_mm for stop in stops}) < 4:
        raise ValueError("A height profile from stops needs 4 stations.")
    known, scatter = _known(stops, resolution, hysteresis, drift_per_s)
    places = np.unique(known.x)
    x = _grid(places, windows)
    draws = [_conditioned(known, x, size, length) for length in _LENGTHS_MM for size in _SIZES]
    best = max(evidence for evidence, _, _, _ in draws)
    weight = np.exp(np.array([evidence for evidence, _, _, _ in draws]) - best)
    weight /= weight.sum()
    value = sum(w * mean for w, (_, mean, _, _) in zip(weight, draws, strict=True))
    covariance = sum(
        w * (own + np.outer(mean - value, mean - value)) for w, (_, mean, own, _) in zip(weight, draws, strict=True)
    )
    at_stops = sum(w * near for w, (_, _, _, near) in zip(weight, draws, strict=True))
    slope = np.gradient(value, x) if len(x) > 1 else np.zeros(len(x))
    layout = np.outer(slope, slope) * STATION_PLACE_MM**2 * np.exp(-np.abs(x[:, None] - x[None, :]) / 400.0)
    whole = covariance + layout + instrument**2
    nearest = np.interp(x, places, np.sqrt(np.maximum(np.asarray(at_stops), 0.0)))
    parts = {
        "repeatability": nearest,
        "between stops": np.sqrt(np.maximum(np.diag(covariance) - nearest**2, 0.0)),
        "position": np.sqrt(np.diag(layout) + (slope * STOOD_MM) ** 2 / max(len(stops) / len(places), 1.0)),
        "resolution": np.full(len(x), resolution / np.sqrt(12.0)),
        "instrument": np.full(len(x), instrument),
    }
    return Profile(
        "height", "mm", x, np.asarray(value, float), 2.0 * np.sqrt(np.diag(whole)), (whole + whole.T) / 2.0,
        zero_known, not_seen(stroke_mm, _stretches(x)), parts,
        {"stops": float(len(stops)), "stations": float(len(places)), "scatter": scatter}, tuple(warnings),
    )  # fmt: skip


def _known(stops: Sequence[Stop], resolution: float, hysteresis: float, drift_per_s: float) -> tuple[_Known, float]:
    x = np.array([stop.x_mm for stop in stops])
    y = np.array([stop.value for stop in stops])
    u = np.array([stop.standard_uncertainty for stop in stops])
    direction = np.array([float(stop.direction) for stop in stops])
    sweep = np.array([stop.pass_number // 100 for stop in stops])
    minutes = np.array([stop.t_s for stop in stops])
    slope = _slope_at(x, y)
    columns = [direction * hysteresis]
    for number in np.unique(sweep):
        mine = sweep == number
        columns.append(np.where(mine, minutes - minutes[mine].min(), 0.0) * drift_per_s)
        if len(np.unique(sweep)) > 1:
            columns.append(np.where(mine, 0.004, 0.0))
    nuisance = np.stack(columns, axis=1)
    scatter = _scatter(x, y, direction)
    same = x[:, None] == x[None, :]
    # The display's step rounds the same height the same way in every pass; it does not average out.
    step = (resolution / np.sqrt(12.0)) ** 2 * same
    own = np.diag(np.maximum(u**2, scatter**2) + (slope * STOOD_MM) ** 2 + 1e-10) + step
    return _Known(x, y, own, nuisance), scatter


def _scatter(x: FloatArray, y: FloatArray, direction: FloatArray) -> float:
    """Standard deviation of one stop from the differences of stops at one station, direction and drift taken out."""
    apart, design = [], []
    for place in np.unique(x):
        here = np.nonzero(x == place)[0]
        for a, b in itertools.pairwise(here.tolist()):
            apart.append(y[b] - y[a])
            design.append([direction[b] - direction[a], place - x.mean(), 1.0])
    if len(apart) < 5:
        return 0.0
    rows = np.array(design)
    keep = np.ptp(rows, axis=0) > 0
    keep[0] = bool(np.any(rows[:, 0] != 0))
    coefficients = np.linalg.lstsq(rows[:, keep], np.array(apart), rcond=None)[0]
    left = np.array(apart) - rows[:, keep] @ coefficients
    return float(np.sqrt(np.sum(left**2) / max(len(apart) - int(keep.sum()), 1) / 2.0))


def _conditioned(
    known: _Known, x: FloatArray, size: float, length: float
) -> tuple[float, FloatArray, FloatArray, FloatArray]:
    """(log evidence, mean (x,), covariance (x, x), variance at the stations) for one size and length."""
    y0 = float(known.y.mean())
    off = _off_line(known.x, known.y)
    scale = size * max(float(np.std(off)), 1e-4)
    centre = float(known.x.mean())
    trend = np.stack([np.full(len(known.x), 0.3), (known.x - centre) / 1000.0 * 1.0], axis=1)
    trend_at = np.stack([np.full(len(x), 0.3), (x - centre) / 1000.0 * 1.0], axis=1)
    whole = (
        scale**2 * _matern(known.x, known.x, length) + trend @ trend.T + known.nuisance @ known.nuisance.T + known.own
    )
    across = scale**2 * _matern(x, known.x, length) + trend_at @ trend.T
    root = np.linalg.cholesky(whole)
    solved = np.linalg.solve(root, known.y - y0)
    evidence = -0.5 * float(solved @ solved) - float(np.sum(np.log(np.diag(root))))
    half = np.linalg.solve(root, across.T)
    mean = y0 + half.T @ solved
    covariance = scale**2 * _matern(x, x, length) + trend_at @ trend_at.T - half.T @ half
    places = np.unique(known.x)
    there = np.linalg.solve(root, (scale**2 * _matern(places, known.x, length) + _trend(places, centre) @ trend.T).T)
    own = scale**2 + np.sum(_trend(places, centre) ** 2, axis=1) - np.sum(there**2, axis=0)
    return evidence, mean, (covariance + covariance.T) / 2.0, own


def _trend(x: FloatArray, centre: float) -> FloatArray:
    return np.stack([np.full(len(x), 0.3), (x - centre) / 1000.0], axis=1)


def _matern(a: FloatArray, b: FloatArray, length: float) -> FloatArray:
    r = np.sqrt(7.0) * np.abs(a[:, None] - b[None, :]) / length
    return np.asarray((1.0 + r + 2.0 * r * r / 5.0 + r**3 / 15.0) * np.exp(-r), float)


def _off_line(x: FloatArray, y: FloatArray) -> FloatArray:
    return np.asarray(y - np.polyval(np.polyfit(x - x.mean(), y, 1), x - x.mean()), float)


def _slope_at(x: FloatArray, y: FloatArray) -> FloatArray:
    """The profile's slope at each stop from the means of the stations."""
    places = np.unique(x)
    means = np.array([y[x == place].mean() for place in places])
    return np.interp(x, places, np.gradient(means, places)) if len(places) > 1 else np.zeros(len(x))


def _grid(places: FloatArray, windows: Sequence[Interval]) -> FloatArray:
    """The stations, and the 10 mm grid between those that are close enough and in one window."""
    out = [places]
    for a, b in itertools.pairwise(places.tolist()):
        together = any(low - 1.0 <= a and b <= high + 1.0 for low, high in windows)
        if together and b - a <= MOST_APART_MM:
            grid = np.arange(np.ceil(a / GRID_MM), np.floor(b / GRID_MM) + 1) * GRID_MM
            out.append(grid[(grid > a + 0.5) & (grid < b - 0.5)])
    return np.unique(np.concatenate(out))


def _stretches(x: FloatArray) -> list[Interval]:
    breaks = np.nonzero(np.diff(x) > 1.5 * GRID_MM)[0]
    starts, ends = np.concatenate([[0], breaks + 1]), np.concatenate([breaks, [len(x) - 1]])
    return [(float(x[a]), float(x[b])) for a, b in zip(starts, ends, strict=True)]
