"""The length stop and its scale: cut, measure, set; and does it come back to the same place.

Why it exists: a scale that is right at 300 mm can be wrong at 2000, and a stop that reads right once may not come back.
It prevents shifting the scale for an error that is its division, and shifting anything for one that is only play.

Lengths in mm; error = measured - set, + when parts come out long.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from analysis.results import FloatArray


@dataclass(frozen=True, slots=True)
class Lengths:
    """``offset_mm`` is what the scale is out by in the middle of the lengths cut, ``scale_mm_per_m`` how fast that
    grows with length; ``spread_mm`` the standard deviation of one setting (nan: none was
    repeated). Uncertainties expanded (k = 2 or Student).

    ``worst_mm`` is the largest error at any of the lengths, with the doubt of one part cut there.
    """

    offset_mm: float
    offset_uncertainty_mm: float
    scale_mm_per_m: float
    scale_uncertainty_mm_per_m: float
    spread_mm: float
    worst_mm: float
    worst_uncertainty_mm: float


def of_parts(set_mm: FloatArray, measured_mm: FloatArray, u_mm: float) -> Lengths:
    """From parts cut at one or several settings (parts,); ``u_mm`` the expanded uncertainty of one measured part.

    One setting repeated tells offset and repeatability; settings further apart than a seventh of the longest also tell
    the scale's division. Raises ValueError for no part, or a length that is none.
    """
    set_at, measured = np.asarray(set_mm, float), np.asarray(measured_mm, float)
    if len(set_at) != len(measured) or not len(set_at):
        raise ValueError(
            f"{len(set_at)} lengths set and {len(measured)} measured; one of each for every part is needed."
        )
    if (set_at <= 0).any():
        raise ValueError(f"A length of {float(set_at.min()):g} mm was set; parts have lengths above 0.")
    error = measured - set_at
    middle = set_at - set_at.mean()
    several = float(np.ptp(set_at)) > 0.15 * float(set_at.max())
    slope = float(middle @ error) / float(middle @ middle) if several else 0.0
    left = error - error.mean() - slope * middle
    freedom = len(error) - 1 - int(several)
    scatter = math.sqrt(float(left @ left) / freedom) if freedom > 0 else math.nan
    one = _doubt_of_one(scatter, freedom, u_mm)
    count = len(error)
    moment = math.sqrt(float(middle @ middle))
    worst = int(np.argmax(np.abs(error.mean() + slope * middle)))
    at_worst = math.hypot(one / math.sqrt(count), one * abs(float(middle[worst])) / moment if several else 0.0)
    return Lengths(
        offset_mm=float(error.mean()),
        offset_uncertainty_mm=one / math.sqrt(count),
        scale_mm_per_m=1000.0 * slope,
        scale_uncertainty_mm_per_m=1000.0 * one / moment if several else math.nan,
        spread_mm=_spread_of_repeats(set_at, measured),
        worst_mm=float(error.mean() + slope * middle[worst]),
        worst_uncertainty_mm=at_worst,
    )


def _spread_of_repeats(set_at: FloatArray, measured: FloatArray) -> float:
    """Pooled standard deviation of parts cut at the same setting; nan where none was repeated."""
    squares, freedom = 0.0, 0
    for setting in np.unique(set_at):
        same = measured[set_at == setting]
        squares, freedom = squares + float(np.sum((same - same.mean()) ** 2)), freedom + len(same) - 1
    return math.sqrt(squares / freedom) if freedom else math.nan


def _doubt_of_one(scatter: float, freedom: int, u_mm: float) -> float:
    """Expanded: as claimed, or as the parts scatter where that is more than chance (chi-squared, one in twenty)."""
    from scipy.special import chdtri, stdtrit

    if freedom <= 0 or scatter**2 * freedom <= float(chdtri(freedom, 0.05)) * (u_mm / 2.0) ** 2:
        return u_mm
    return max(u_mm, float(stdtrit(freedom, 0.975)) * scatter)
