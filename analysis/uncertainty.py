"""What a profile's extremes are worth.

Why it exists: the highest of many noisy values is too high and the lowest too low, so "highest minus lowest" grows with
the number of readings on a rail that is perfectly straight. It prevents a verdict spoiled by that bias, and it prevents
parts of the uncertainty that are common to all stations from being averaged away.

The covariance arithmetic is that of JCGM 100:2008 (GUM), 5.2; the distribution of the extremes follows JCGM 101:2008
(propagation of distributions by drawing), with a fixed seed so that the same data give the same answer.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from analysis.results import Extremes, FloatArray

MAD_TO_SIGMA = 1.482602218505602
"""1 / the third quartile of the normal distribution: turns a median absolute deviation into a standard deviation."""

LINEARITY_MM = 0.001
"""What an indicator's own error may add to a difference of two heights (standard uncertainty); common practice, no
source. It does not average out over readings."""

DRAWS = 1500
_SEED = 20_260_101


def draws(value: FloatArray, covariance: FloatArray, count: int = DRAWS) -> FloatArray:
    """``count`` draws (count, stations) of the profile from its mean and covariance."""
    scale, vectors = np.linalg.eigh((covariance + covariance.T) / 2.0)
    root = vectors * np.sqrt(np.maximum(scale, 0.0))
    noise = np.random.default_rng(_SEED).standard_normal((count // 2, len(value)))
    noise = np.concatenate([noise, -noise])  # antithetic: the mean of a linear quantity is exact
    return np.asarray(value + noise @ root.T, float)


def mean_with_uncertainty(x_mm: FloatArray, value: FloatArray, covariance: FloatArray) -> tuple[float, float]:
    """(mean over the length, expanded uncertainty k = 2): each station weighs its share of the length."""
    weight = station_weights(x_mm)
    variance = float(weight @ covariance @ weight)
    return float(weight @ value), 2.0 * float(np.sqrt(max(variance, 0.0)))


def station_weights(x_mm: FloatArray) -> FloatArray:
    """Shares of the length that sum to 1; a station beside an unseen stretch does not stand for that stretch."""
    x = np.asarray(x_mm, float)
    if len(x) < 2:
        return np.ones(len(x))
    gaps = np.diff(x)
    gaps = np.minimum(gaps, 2.0 * np.median(gaps))
    weight = np.concatenate([[0.0], gaps]) + np.concatenate([gaps, [0.0]])
    return np.asarray(weight / weight.sum(), float)


def peak_to_valley(value: FloatArray, covariance: FloatArray, bias_share: float = 0.5) -> tuple[float, float]:
    """(peak to valley with the bias taken out, expanded uncertainty).

    The bias of the extremes is found by adding the estimate's own errors once more and seeing how much the peak to
    valley grows. Half of that is taken off: a smoothed estimate has lost part of it already, and how much is not known;
    the other half is in the uncertainty. ``bias_share`` is 1 for values that were not smoothed, 0 for an estimate
    that has lost all of it, -1 for the mean of all forms a thing may have: each of them runs further than their mean.
    The rest of the uncertainty is half the width of the central 95 % of the drawn values.
    """
    plain = float(np.ptp(value)) if len(value) else float("nan")
    if len(value) < 2:
        return (0.0 if len(value) else float("nan")), float("nan")
    drawn = np.ptp(draws(value, covariance), axis=1)
    bias = float(drawn.mean()) - plain
    low, high = np.quantile(drawn, [0.025, 0.975])
    corrected = max(plain - bias_share * bias, 0.0)
    return corrected, float(np.hypot((high - low) / 2.0, 0.5 * bias))


def robust_scale(values: FloatArray) -> float:
    """1.4826 times the median absolute deviation from the median; 0 for nothing."""
    values = values[np.isfinite(values)]
    return MAD_TO_SIGMA * float(np.median(np.abs(values - np.median(values)))) if len(values) else 0.0


@dataclass(frozen=True)
class Regression:
    """``coefficients`` and ``covariance`` of a linear least-squares fit; ``residual_deviation`` with n - p freedom."""

    coefficients: FloatArray
    covariance: FloatArray
    residual_deviation: float


def least_squares(design: FloatArray, y: FloatArray) -> Regression:
    """Ordinary least squares of y (n,) on design (n, p) by QR with the columns scaled first.

    The covariance uses the residual deviation (type A, GUM 4.2 and H.3). Raises ValueError for fewer rows than
    columns.
    """
    design, y = np.asarray(design, float), np.asarray(y, float)
    rows, columns = design.shape
    if rows < columns:
        raise ValueError(f"{rows} values cannot fix {columns} unknowns.")
    scale = np.sqrt(np.sum(design**2, axis=0))
    scale[scale == 0] = 1.0
    q, r = np.linalg.qr(design / scale)
    coefficients = np.linalg.solve(r, q.T @ y)
    residual = y - design / scale @ coefficients
    coefficients = coefficients + np.linalg.solve(r, q.T @ residual)  # one step of refinement
    residual = y - design / scale @ coefficients
    deviation = float(np.sqrt(np.sum(residual**2) / (rows - columns))) if rows > columns else 0.0
    root = np.linalg.inv(r)
    return Regression(coefficients / scale, deviation**2 * (root @ root.T) / np.outer(scale, scale), deviation)


def line_with_both_errors(x: FloatArray, y: FloatArray, u_x: FloatArray, u_y: FloatArray) -> tuple[float, float]:
    """(intercept, slope) where position and value are both uncertain: each point weighs by u_y² + slope² u_x², the same
    sum by which a position's uncertainty enters a profile. York et al., Am. J. Phys. 72 (2004) 367-375."""
    w_x, w_y = 1.0 / np.asarray(u_x, float) ** 2, 1.0 / np.asarray(u_y, float) ** 2
    slope = float(np.polyfit(x, y, 1)[0])
    intercept = 0.0
    for _ in range(200):
        w = w_x * w_y / (w_x + slope**2 * w_y)
        mean_x, mean_y = float(np.sum(w * x) / w.sum()), float(np.sum(w * y) / w.sum())
        u, v = x - mean_x, y - mean_y
        beta = w * (u / w_y + slope * v / w_x)
        new = float(np.sum(w * beta * v) / np.sum(w * beta * u))
        intercept = mean_y - new * mean_x
        if abs(new - slope) <= 1e-14 * max(abs(new), 1e-300):
            break
        slope = new
    return intercept, slope


def smooth_covariance(x_mm: FloatArray, standard_uncertainty: float, alike_mm: float) -> FloatArray:
    """Covariance (x, x) of an unknown smooth shape: squared exponential with the length ``alike_mm``."""
    apart = (x_mm[:, None] - x_mm[None, :]) / alike_mm
    return np.asarray(standard_uncertainty**2 * np.exp(-0.5 * apart**2), float)


def extremes(
    x_mm: FloatArray,
    value: FloatArray,
    covariance: FloatArray,
    zero_known: bool = True,
    bias_share: float = 0.5,
    linearity: float = 0.0,
) -> Extremes:
    """Peak to valley and mean; the mean is None when the zero is not known (then only the shape has a meaning).

    ``linearity``: standard uncertainty of the instrument's own error between two heights (:data:`LINEARITY_MM`).
    """
    height, u_height = peak_to_valley(value, covariance, bias_share)
    u_height = float(np.hypot(u_height, 2.0 * linearity)) if len(value) > 1 else u_height
    if not zero_known or not len(value):
        return Extremes(height, u_height, None, None)
    mean, u_mean = mean_with_uncertainty(x_mm, value, covariance)
    return Extremes(height, u_height, mean, u_mean)
