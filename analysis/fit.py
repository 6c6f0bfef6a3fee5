"""What one fit of several passes came to, and what was believed before it.

Why it exists: positions, uncertainties and words are made from the same fit by several modules; they must not each keep
a picture of their own of what was estimated. It prevents a covariance from being read for another.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from analysis.motion import Motion
from analysis.results import FloatArray
from analysis.spline import Spline


@dataclass(frozen=True)
class Scales:
    """Prior standard deviations of the nuisances, in the unit of the values (mm or mm/m) and seconds.

    A hand presses about a tenth of a second late, seldom early; a position in the reading's own line is hardly late at
    all. On a bow, a delay and a drift show the same difference between forward and return: only what is usual tells
    them apart (common practice, no source).
    """

    delay_s: float = 0.15
    usual_delay_s: float = 0.1
    line_delay_s: float = 0.05
    hysteresis_both: float = 0.05
    hysteresis_one: float = 0.002
    drift_per_s: float = 1.2e-4
    pass_shift: float = 0.0015
    least_noise: float = 0.001  # forward and return differ by this even at one place: contact, play, the display's step
    sweep_shift: float = 0.004


@dataclass(frozen=True)
class PassFit:
    """One pass as fitted: where its readings really were."""

    motion: Motion
    node_x_mm: FloatArray
    shift_mm: FloatArray
    shift_standard_uncertainty_mm: FloatArray
    delay_s: float
    x_from_mm: float
    x_to_mm: float
    cell_x_mm: FloatArray
    residual: FloatArray
    weight: FloatArray

    def position_mm(self, t_s: FloatArray) -> FloatArray:
        """The carriage's middle at ``t_s``, corrected."""
        nominal = self.motion.position_mm(t_s)
        shift = np.interp(nominal, self.node_x_mm, self.shift_mm)
        return nominal + shift + self.motion.delay_effect_mm_s(t_s) * self.delay_s

    def position_uncertainty_mm(self, t_s: FloatArray) -> FloatArray:
        """Standard uncertainty of :meth:`position_mm`."""
        return np.interp(self.motion.position_mm(t_s), self.node_x_mm, self.shift_standard_uncertainty_mm)


@dataclass(frozen=True)
class Fit:
    """The fitted profile: spline ``coefficients`` and their covariances, and what was estimated on the way.

    ``covariance`` is the whole one, ``covariance_fixed_position`` that with the positions taken as known,
    ``covariance_noise`` that with the nuisances known too; none of them contains the position error common to all
    passes, whose covariance (mm²) stands at ``common_x_mm`` in ``common_covariance_mm2``.
    """

    spline: Spline
    coefficients: FloatArray
    covariance: FloatArray
    covariance_fixed_position: FloatArray
    covariance_noise: FloatArray
    passes: tuple[PassFit, ...]
    noise: float
    reading_noise: float
    delay_s: float
    delay_standard_uncertainty_s: float
    direction_offset: float
    play: float
    drift_per_s: tuple[float, ...]
    zero_shift: float  # the largest of a pass or a sweep against the others
    set_aside: int
    spikes: int
    position_scale: float
    common_x_mm: FloatArray
    common_covariance_mm2: FloatArray

    def value(self, x_mm: FloatArray) -> FloatArray:
        """The profile at x."""
        return self.spline.value(self.coefficients, x_mm)

    def slope(self, x_mm: FloatArray) -> FloatArray:
        """The profile's slope per mm at x."""
        return self.spline.value(self.coefficients, x_mm, 1)

    def common_position_covariance(self, x_mm: FloatArray) -> FloatArray:
        """Covariance (x, x) of the profile from the position error common to all passes: slope x error x slope."""
        hat, slope = hat_of(x_mm, self.common_x_mm), self.slope(x_mm)
        return (hat @ self.common_covariance_mm2 @ hat.T) * np.outer(slope, slope)


def hat_of(x_mm: FloatArray, nodes_mm: FloatArray) -> FloatArray:
    """Linear interpolation from even nodes to x as a matrix (points, nodes)."""
    u = np.clip((x_mm - nodes_mm[0]) / (nodes_mm[1] - nodes_mm[0]), 0.0, len(nodes_mm) - 1.0)
    first = np.minimum(np.floor(u).astype(int), len(nodes_mm) - 2)
    out = np.zeros((len(x_mm), len(nodes_mm)))
    rows = np.arange(len(x_mm))
    out[rows, first] = 1.0 - (u - first)
    out[rows, first + 1] = u - first
    return out
