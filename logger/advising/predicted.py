"""What the end of a round will look like at the stations of the set-up that guides it.

Why it exists: the draws of a plan know the doubts of response, reading and hand, and no more. Held against the next
sweep they promise too much. It prevents that by adding what a later sweep will be off by, and what no draw explains.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from analysis.results import Predicted
from analysis.uncertainty import smooth_covariance
from logger.advising.rows import MEAN_SPARE_mm
from logger.judging.judged import TABLE_ALIKE_MM, TABLE_MM

if TYPE_CHECKING:
    from analysis.results import FloatArray
    from analysis.rounds import Sweep
    from logger.advising.ground import Ground

NEXT_READING_mm = 0.0015  # error of the sweep that will be held against the prediction
ALIKE_mm = 120.0  # length over which such errors are alike
MAPPED_mm = 0.001  # what a map of the table leaves under a carried tip, place and points of the map both a little off
NEXT_ZERO_mm = 0.002  # and of the zero set again before it, drift included (common practice, no source)
ADRIFT = 0.25  # part of the largest change by which a rail that only rests comes down as a whole (simulated saws)


def predicted_of(ground: Ground, value: FloatArray) -> Predicted:
    """The end of a round at the main set-up's stations, with what the draws do not know of: see ``_unmodelled``.

    Heights that read flat over an unmapped table are its own form: the peak to valley counts that, as the next verdict
    will.
    """
    drawn = value[:, ground.rows]
    change = drawn - ground.situation.value[ground.rows]
    sweep, unmapped = ground.sweeps[ground.main], not ground.mapped
    over_table = drawn + _table_form(sweep, len(drawn), unmapped)
    part = over_table + _unmodelled(sweep, change, ground.model_error)
    if ground.learned.prior.bench.rests:
        whole = np.random.default_rng(19).standard_normal((len(change), 1))
        part = part + ADRIFT * np.abs(change).max(axis=1, keepdims=True) * whole
    width, middle = np.ptp(part, axis=1), _middle_width(ground, drawn) + _hidden(drawn, over_table)
    away = width - np.median(width)
    group = ground.situation.groups[0]
    inside = middle + away <= group.limit
    if group.mean is not None:
        mean = part.mean(axis=1)
        spare = MEAN_SPARE_mm / 2.0
        inside &= (mean >= group.mean[0] - spare) & (mean <= group.mean[1] + spare)
    sides = np.quantile(part, [0.025, 0.975], axis=0)
    return Predicted(
        peak_to_valley=middle,
        peak_to_valley_uncertainty=float(np.quantile(np.abs(away), 0.95)),
        mean=float(part.mean()) if group.mean is not None else None,
        chance_inside=float(np.mean(inside)),
        x_mm=sweep.s_mm,
        value=part.mean(axis=0),
        uncertainty=np.asarray(0.5 * (sides[1] - sides[0])),
    )


def _middle_width(ground: Ground, drawn: FloatArray) -> float:
    """Peak to valley in the middle of the draws, less what the sweep's own errors add to it.

    An error of every station makes extremes more extreme: each draw holds the sweep's once in what was read and once
    more in its accidents. What one dose more adds is what the second added, or a little less.
    """
    covariance = ground.situation.covariance[ground.rows, ground.rows]
    eigen, vectors = np.linalg.eigh(0.5 * (covariance + covariance.T))
    once_more = np.random.default_rng(23).standard_normal(drawn.shape) @ (vectors * np.sqrt(np.maximum(eigen, 0.0))).T
    middle = float(np.median(np.ptp(drawn, axis=1)))
    return max(middle - max(float(np.median(np.ptp(drawn + once_more, axis=1))) - middle, 0.0), 0.0)


def _hidden(drawn: FloatArray, over_table: FloatArray) -> float:
    """How much further the carriage runs, in the middle of the draws, than it reads over the table as it may be."""
    return max(float(np.median(np.ptp(over_table, axis=1)) - np.median(np.ptp(drawn, axis=1))), 0.0)


def _table_form(sweep: Sweep, count: int, unmapped: bool) -> FloatArray:
    """What the table's own form under a carried tip may be (draws, stations): all of it, or what a map leaves of it."""
    if sweep.set_up.kind != "carried":
        return np.zeros((count, len(sweep.s_mm)))
    rng = np.random.default_rng(21)
    if unmapped:
        return TABLE_MM * _smooth(sweep.s_mm, TABLE_ALIKE_MM, rng, count)
    return MAPPED_mm * _smooth(sweep.s_mm, ALIKE_mm, rng, count)


def _unmodelled(sweep: Sweep, change: FloatArray, model_error: float) -> FloatArray:
    """Smooth errors (draws, stations) to be added to predictions: without them late rounds promise too much."""
    scale = 1.0 if sweep.set_up.kind != "level" else 5.0
    drawn = _smooth(sweep.s_mm, ALIKE_mm, np.random.default_rng(17), len(change))
    zero = NEXT_ZERO_mm * scale * np.random.default_rng(18).standard_normal((len(change), 1))
    size = np.hypot(NEXT_READING_mm * scale, model_error * np.abs(change).max(axis=1, keepdims=True))
    return np.asarray(size * drawn + zero)


def _smooth(x_mm: FloatArray, alike_mm: float, rng: np.random.Generator, count: int) -> FloatArray:
    """Random smooth forms (count, stations) of standard deviation 1."""
    covariance = smooth_covariance(x_mm, 1.0, alike_mm) + 1e-9 * np.eye(len(x_mm))
    return np.asarray(rng.standard_normal((count, len(x_mm))) @ np.linalg.cholesky(covariance).T)
