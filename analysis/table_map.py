"""The table's own flatness along a line, from a straightedge, a level, or the reversal of a straightedge.

Why it exists: an indicator that rides on the carriage and touches the table reads the table's form as much as the
carriage's. It prevents a hollow in the casting from being shimmed into the rail: mapped once, it is subtracted, with
its uncertainty.

* Straightedge: on two equal blocks, the gap under it read along the line; its own error (its grade) stays in the map.
* Level in steps of its foot: the angular method of ISO 230-1:2012.
* Reversal: the carriage carries an indicator along the straightedge as it lies, then turned over about its length so
  that its hollows become humps, then along the table itself. Turning changes the sign of the straightedge's form and of
  nothing else: half the difference is the straightedge, half the sum the carriage's path (C. J. Evans, R. J. Hocken and
  W. T. Estler, Self-calibration: reversal, redundancy, error separation, and "absolute testing", CIRP Annals 45/2
  (1996) 617-634). Its sag by gravity does not turn with it and stays in; two supports at 0.22 of the length keep it
  small.

Heights in mm, + up, over the table's own plane: the least-squares line through the mapped points. Positions x in mm.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from analysis.results import FloatArray
from analysis.slopes import heights_from_steps
from analysis.straightness import least_squares_line

FEWEST = 3


class BadMap(ValueError):
    """Readings that make no map."""


@dataclass(frozen=True)
class TableMap:
    """Heights of the table's surface over its own line, with ``covariance_mm2`` (k = 1); arrays (points,).

    ``straightedge_mm`` (points,): the straightedge's own form, where a reversal told it.
    """

    x_mm: FloatArray
    height_mm: FloatArray
    covariance_mm2: FloatArray
    straightedge_mm: FloatArray | None = None

    @property
    def standard_uncertainty_mm(self) -> FloatArray:
        return np.asarray(np.sqrt(np.diag(self.covariance_mm2)))

    @property
    def peak_to_valley_mm(self) -> float:
        return float(np.ptp(self.height_mm))


def from_straightedge(
    x_mm: FloatArray, gap_mm: FloatArray, standard_uncertainty_mm: float, straightedge_mm: float = 0.0
) -> TableMap:
    """Gaps (points,) between a straightedge on two equal blocks and the table: where the gap is large the table is low.

    ``straightedge_mm``: what the straightedge may itself depart from straight (its grade, peak to valley); taken as a
    smooth form of a quarter of that, k = 1.
    """
    x, gap = _checked(x_mm, gap_mm)
    covariance = standard_uncertainty_mm**2 * np.eye(len(x)) + _form(x, straightedge_mm / 4.0)
    return _over_its_line(x, -gap, covariance)


def from_level(
    from_mm: float, step_mm: float, slope_mm_per_m: FloatArray, standard_uncertainty_mm_per_m: float
) -> TableMap:
    """Slopes of a level (or of a bridge) set down foot to foot: n slopes give n + 1 points."""
    slope = np.asarray(slope_mm_per_m, float)
    if len(slope) < FEWEST - 1:
        raise BadMap(f"{len(slope)} slopes are no map of a table; two or more steps, foot to foot.")
    heights = heights_from_steps(slope, step_mm, standard_uncertainty_mm_per_m, from_mm)
    return _over_its_line(heights.x_mm, heights.height_mm, heights.covariance_mm2)


def from_reversal(
    x_mm: FloatArray,
    first_mm: FloatArray,
    turned_mm: FloatArray,
    table_mm: FloatArray,
    standard_uncertainty_mm: float,
) -> TableMap:
    """Heights read from the carriage at ``x_mm``: along the straightedge, along it turned over, along the table.

    Each + where the surface is higher. With the carriage's path c and the straightedge's form e these are e - c,
    -e - c and t - c, so t = table - (first + turned)/2 and e = (first - turned)/2. Lines are taken out of all.
    """
    x, first = _checked(x_mm, first_mm)
    _, turned = _checked(x_mm, turned_mm)
    _, table = _checked(x_mm, table_mm)
    variance = 1.5 * standard_uncertainty_mm**2  # one of the table, half of each of the two others
    own = 0.5 * (first - turned)
    slope, offset = least_squares_line(x, own)
    found = _over_its_line(x, table - 0.5 * (first + turned), variance * np.eye(len(x)))
    return TableMap(found.x_mm, found.height_mm, found.covariance_mm2, own - slope * x - offset)


def _over_its_line(x: FloatArray, height: FloatArray, covariance: FloatArray) -> TableMap:
    """Heights less their least-squares line, and what that does to their covariance."""
    design = np.stack([np.ones_like(x), x - x.mean()], axis=1)
    keep = np.eye(len(x)) - design @ np.linalg.pinv(design)
    return TableMap(x, keep @ height, keep @ covariance @ keep.T)


def _form(x: FloatArray, standard_uncertainty_mm: float) -> FloatArray:
    """A smooth unknown form as long as the line itself: a bow or an S, as straightedges have."""
    apart = (x[:, None] - x) / max(float(np.ptp(x)) / 2.0, 1.0)
    return np.asarray(standard_uncertainty_mm**2 * np.exp(-0.5 * apart**2))


def _checked(x_mm: FloatArray, value: FloatArray) -> tuple[FloatArray, FloatArray]:
    x, z = np.asarray(x_mm, float), np.asarray(value, float)
    if len(x) != len(z):
        raise BadMap(f"{len(x)} places and {len(z)} readings; each place has one.")
    if len(x) < FEWEST:
        raise BadMap(f"{len(x)} places are no map of a table; {FEWEST} or more.")
    if not (np.isfinite(x).all() and np.isfinite(z).all()):
        raise BadMap("A place or a reading is missing.")
    if not (np.diff(x) > 0).all():
        raise BadMap("The places do not rise; give them toward outfeed.")
    return x, z
