"""A table's plane, twist, sag and flatness, and the plate measured along eight lines.

Why it exists: the table is the plane every height is counted from; whether it is one must be known first. It prevents a
table with a twist from being "corrected" at the rail, and a flatness figure that depends on which plane was drawn:
the least-squares plane and the one of the smallest zone are both given, the latter exactly by linear programming.

Sources: J. C. Moody, "How to calibrate surface plates in the plant", The Tool Engineer, October 1955, 15-21 (eight
lines, closure of the centre lines); ISO 230-1:2012, flatness as the smallest zone between parallel planes.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

import numpy as np

from analysis.results import FloatArray
from analysis.uncertainty import least_squares


class BadSurface(ValueError):
    """Points that make no surface."""


@dataclass(frozen=True)
class Plane:
    """z = offset + slope_x x + slope_y y; ``flatness`` is the zone between the parallels through the extremes."""

    offset: float
    slope_x: float
    slope_y: float
    flatness: float
    deviations: FloatArray


def least_squares_plane(x: FloatArray, y: FloatArray, z: FloatArray) -> Plane:
    """The least-squares plane through points (points,)."""
    design, z = _design(x, y, z)
    return _plane(least_squares(design, z).coefficients, design, z)


def minimum_zone_plane(x: FloatArray, y: FloatArray, z: FloatArray) -> Plane:
    """The plane with the smallest largest deviation (Chebyshev), by linear programming."""
    from scipy.optimize import linprog

    design, z = _design(x, y, z)
    scale = np.array([1.0, max(np.ptp(design[:, 1]), 1e-12), max(np.ptp(design[:, 2]), 1e-12)])
    size = max(float(np.ptp(z)), 1e-12)
    scaled = design / scale
    ones = np.ones((len(z), 1))
    rows = np.vstack([np.hstack([scaled, -ones]), np.hstack([-scaled, -ones])])
    limits = np.concatenate([z, -z]) / size
    solved = linprog([0, 0, 0, 1], A_ub=rows, b_ub=limits, bounds=[(None, None)] * 3 + [(0, None)], method="highs")
    if not solved.success or solved.x is None:
        raise BadSurface(f"The smallest zone could not be found: {solved.message}")
    return _plane(np.asarray(solved.x[:3], float) * size / scale, design, z)


def twist_and_sag(x: FloatArray, y: FloatArray, z: FloatArray) -> tuple[float, float, float]:
    """(twist, sag along x, sag along y) of a table from points over it, least squares of
    z = plane + twist u v + sag_x (u² - mean) + sag_y (v² - mean) with u, v from -1 to 1 over the points.

    Twist is how much two opposite corners stand higher than the other two (z of one pair minus the other, mm): four
    times the coefficient divided by two corners a pair. Sag is the height of the ends over the middle (+ hollow).
    """
    _design(x, y, z)
    u, v = _unit(np.asarray(x, float)), _unit(np.asarray(y, float))
    columns = np.stack([np.ones_like(u), u, v, u * v, u * u, v * v], axis=1)
    coefficients, *_ = np.linalg.lstsq(columns, np.asarray(z, float), rcond=None)
    return 2.0 * float(coefficients[3]), float(coefficients[4]), float(coefficients[5])


def corner_twist(heights: tuple[float, float, float, float]) -> float:
    """Twist from the four corners in order round the table: mean of one diagonal pair minus mean of the other."""
    a, b, c, d = heights
    return (a + c) / 2.0 - (b + d) / 2.0


LINES: Final = ("NW_SE", "NE_SW", "NE_NW", "NE_SE", "NW_SW", "SE_SW", "N_S", "E_W")
_ENDS: Final = {
    "NW_SE": ("NW", "SE"),
    "NE_SW": ("NE", "SW"),
    "NE_NW": ("NE", "NW"),
    "NE_SE": ("NE", "SE"),
    "NW_SW": ("NW", "SW"),
    "SE_SW": ("SE", "SW"),
    "N_S": ("N", "S"),
    "E_W": ("E", "W"),
}
_SIDE_MIDDLE: Final = {"N": "NE_NW", "S": "SE_SW", "E": "NE_SE", "W": "NW_SW"}


@dataclass(frozen=True)
class UnionJack:
    """Heights along eight lines over a common plane, the lowest at 0, in the unit of angle x length given.

    ``closure``: by how much each centre line missed the middle of the plate before it was shifted there.
    """

    heights: dict[str, FloatArray]
    closure: dict[str, float]
    flatness: float


def union_jack(slopes: Mapping[str, FloatArray], step: float = 1.0) -> UnionJack:
    """Moody's plate: slopes along eight lines (each (steps,), + when the line rises) to heights.

    The diagonals are tilted until the middle is 0 and both ends are equal; the sides are tied to the corners, the
    centre lines to the middles of the sides, then shifted so that their middle is 0. Raises BadSurface when a line is
    missing or a line with a middle has an odd number of steps.
    """
    for line in LINES:
        if line not in slopes or len(slopes[line]) < 2 or len(slopes[line]) % 2:
            raise BadSurface(f"Line {line} needs an even number of slopes, at least 2.")
    sums = {line: np.concatenate([[0.0], np.cumsum(np.asarray(slopes[line], float))]) * step for line in LINES}
    heights: dict[str, FloatArray] = {}
    corners: dict[str, float] = {}
    for line in ("NW_SE", "NE_SW"):
        heights[line] = _diagonal(sums[line])
        start, end = _ENDS[line]
        corners[start], corners[end] = float(heights[line][0]), float(heights[line][-1])
    for line in ("NE_NW", "NE_SE", "NW_SW", "SE_SW"):
        start, end = _ENDS[line]
        heights[line] = _tied(sums[line], corners[start], corners[end])
    closure = {}
    for line in ("N_S", "E_W"):
        ends = [heights[_SIDE_MIDDLE[end]] for end in _ENDS[line]]
        tied = _tied(sums[line], *[float(side[len(side) // 2]) for side in ends])
        closure[line] = float(tied[len(tied) // 2])
        heights[line] = tied - closure[line]
    lowest = min(float(z.min()) for z in heights.values())
    heights = {line: heights[line] - lowest for line in LINES}
    return UnionJack(heights, closure, max(float(z.max()) for z in heights.values()))


def _diagonal(z: FloatArray) -> FloatArray:
    """Tilted and lifted so that the middle is 0 and both ends are equal."""
    share = np.linspace(-0.5, 0.5, len(z))
    level = z - (z[-1] - z[0]) * share
    return np.asarray(level - level[len(z) // 2], float)


def _tied(z: FloatArray, start: float, end: float) -> FloatArray:
    share = np.linspace(0.0, 1.0, len(z))
    return np.asarray(z - z[0] - (z[-1] - z[0]) * share + start + (end - start) * share, float)


def _unit(values: FloatArray) -> FloatArray:
    half = float(np.ptp(values)) / 2.0
    middle = (values.max() + values.min()) / 2.0
    return (values - middle) / half if half > 0 else np.zeros_like(values)


def _design(x: FloatArray, y: FloatArray, z: FloatArray) -> tuple[FloatArray, FloatArray]:
    x, y, z = (np.asarray(v, float) for v in (x, y, z))
    if not x.shape == y.shape == z.shape or x.ndim != 1:
        raise BadSurface(f"x, y and z differ in shape: {x.shape}, {y.shape}, {z.shape}.")
    if not (np.isfinite(x).all() and np.isfinite(y).all() and np.isfinite(z).all()):
        raise BadSurface("Points must be finite: leave out what was not measured.")
    design = np.stack([np.ones_like(x), x, y], axis=1)
    if len(x) < 3 or np.linalg.matrix_rank(design - [0, *design[:, 1:].mean(axis=0)]) < 3:
        raise BadSurface("A plane needs 3 points that are not on one line.")
    return design, z


def _plane(coefficients: FloatArray, design: FloatArray, z: FloatArray) -> Plane:
    deviations = z - design @ coefficients
    offset, slope_x, slope_y = (float(c) for c in coefficients)
    return Plane(offset, slope_x, slope_y, float(np.ptp(deviations)), deviations)
