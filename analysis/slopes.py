"""Level readings become heights: the angular method of ISO 230-1.

Why it exists: a level moved in steps of its own foot (or a carriage's pitch read at steps of its bearing span) says how
much higher each support is than the one before. It prevents two mistakes: summing readings taken at another step than
the foot, and reporting the summed end height as an error when it is only the line's own tilt, which no shape has.

Heights in mm when slopes are in mm/m and lengths in mm (divided by 1000 once, here). What a level cannot see is the
lift of the whole line; its tilt is against gravity, not against the table.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from analysis.results import FloatArray
from analysis.uncertainty import least_squares


class BadSteps(ValueError):
    """Steps and foot do not fit each other."""


@dataclass(frozen=True)
class Heights:
    """Heights at the supports: ``x_mm``, ``height_mm`` and ``covariance_mm2`` of shapes (points,), (points, points).

    The first point is at 0. ``closure_mm``: how far a return over the same steps misses (0 where there was none).
    """

    x_mm: FloatArray
    height_mm: FloatArray
    covariance_mm2: FloatArray
    closure_mm: float = 0.0


def heights_from_steps(
    slope_mm_per_m: FloatArray, step_mm: float, standard_uncertainty_mm_per_m: float = 0.0, from_mm: float = 0.0
) -> Heights:
    """Running sum of slopes taken foot to foot: n slopes (n,) give n + 1 heights."""
    slope = np.asarray(slope_mm_per_m, float)
    if slope.ndim != 1 or not len(slope):
        raise BadSteps("There are no slopes to add up.")
    if not step_mm > 0:
        raise BadSteps(f"The step is {step_mm:g} mm; it must be more than 0.")
    if not np.isfinite(slope).all():
        raise BadSteps("A slope is missing: a running sum cannot go over a gap.")
    sums = np.tri(len(slope) + 1, len(slope), -1) * step_mm / 1000.0
    covariance = sums @ sums.T * standard_uncertainty_mm_per_m**2
    return Heights(from_mm + step_mm * np.arange(len(slope) + 1.0), sums @ slope, covariance)


def heights_from_overlapping(
    middle_mm: FloatArray, slope_mm_per_m: FloatArray, foot_mm: float, standard_uncertainty_mm_per_m: float = 0.01
) -> Heights:
    """Least-squares heights from slopes whose feet overlap: each says z(m + foot/2) - z(m - foot/2) = slope x foot.

    ``middle_mm`` (n,) may be in any order and repeat (forward and return). The heights stand at all places where a foot
    stood; between chains of feet that never share a place, the smoothest line (smallest second differences) decides,
    and the covariance says how loosely. Raises BadSteps for fewer than one slope or a foot that is not positive.
    """
    middle, slope = np.asarray(middle_mm, float), np.asarray(slope_mm_per_m, float)
    good = np.isfinite(middle) & np.isfinite(slope)
    middle, slope = middle[good], slope[good]
    if not len(middle):
        raise BadSteps("There are no slopes to add up.")
    if not foot_mm > 0:
        raise BadSteps(f"The foot is {foot_mm:g} mm; it must be more than 0.")
    ends = np.round(np.concatenate([middle - foot_mm / 2, middle + foot_mm / 2]), 3)
    x, index = np.unique(ends, return_inverse=True)
    n, count = len(x), len(middle)
    design = np.zeros((count, n))
    design[np.arange(count), index[:count]] = -1.0
    design[np.arange(count), index[count:]] = 1.0
    weight = 1.0 / (standard_uncertainty_mm_per_m * foot_mm / 1000.0) ** 2
    precision = weight * design.T @ design + _smoothness(x, foot_mm) * weight * 1e-4
    first = np.zeros(n)
    first[0] = 1.0
    precision += np.outer(first, first) * weight * 1e6  # the first point is the datum
    covariance = np.asarray(np.linalg.inv(precision + 1e-12 * weight * np.eye(n)), float)
    height = covariance @ (weight * design.T @ (slope * foot_mm / 1000.0))
    return Heights(x, height - height[0], covariance)


def closure(forward_mm_per_m: FloatArray, back_mm_per_m: FloatArray, step_mm: float) -> float:
    """How far (mm) a line walked forth and back over the same steps misses its start: drift and wrong feet show here.

    ``back_mm_per_m`` in the order it was read, same sign convention (+ when the outfeed end is higher).
    """
    forward, back = np.asarray(forward_mm_per_m, float), np.asarray(back_mm_per_m, float)
    if forward.shape != back.shape:
        raise BadSteps(f"There are {len(forward)} steps forth and {len(back)} back; a closure needs the same.")
    return float((forward.sum() - back.sum()) * step_mm / 1000.0)


def reversal(first: float, turned: float) -> tuple[float, float]:
    """(tilt, zero error of the level) from two readings on the same place, the second after turning end for end."""
    return (first - turned) / 2.0, (first + turned) / 2.0


def twist_from_roll(x_mm: FloatArray, roll_mm_per_m: FloatArray) -> tuple[float, float]:
    """(twist in mm/m per m, expanded uncertainty from the scatter): the least-squares slope of roll along x."""
    x, roll = np.asarray(x_mm, float), np.asarray(roll_mm_per_m, float)
    if len(x) < 2 or not np.ptp(x) > 0:
        raise BadSteps("Twist needs roll at 2 different places.")
    fit = least_squares(np.stack([np.ones_like(x), (x - x.mean()) / 1000.0], axis=1), roll)
    return float(fit.coefficients[1]), 2.0 * float(np.sqrt(fit.covariance[1, 1]))


def tied_to_ends(
    heights: Heights, at_first_mm: float, at_last_mm: float, standard_uncertainty_mm: float = 0.0
) -> Heights:
    """Lift and tilt, which a level cannot see against the table, taken from indicator heights at both ends."""
    x, z = heights.x_mm, heights.height_mm
    share = (x - x[0]) / (x[-1] - x[0])
    wanted = at_first_mm + (at_last_mm - at_first_mm) * share
    line = z[0] + (z[-1] - z[0]) * share
    keep = np.eye(len(x))
    keep[:, 0] -= 1.0 - share
    keep[:, -1] -= share
    ends = np.outer(1 - share, 1 - share) + np.outer(share, share)
    covariance = keep @ heights.covariance_mm2 @ keep.T + ends * standard_uncertainty_mm**2
    return Heights(x, z - line + wanted, covariance, heights.closure_mm)


def _smoothness(x: FloatArray, foot_mm: float) -> FloatArray:
    """Sum of squared second differences at uneven spacing, in units of the foot: only ties chains together."""
    n = len(x)
    out = np.zeros((n, n))
    for i in range(1, n - 1):
        a, b = (x[i] - x[i - 1]) / foot_mm, (x[i + 1] - x[i]) / foot_mm
        row = np.zeros(n)
        row[i - 1 : i + 2] = [1.0 / a, -1.0 / a - 1.0 / b, 1.0 / b]
        out += np.outer(row, row)
    return out
