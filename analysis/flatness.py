"""A table's flatness and sag from heights along a line, over points, or from a level set down on a grid.

Why it exists: flatness is a width about the best plane, sag is the one shape in it that a strut under the middle takes
out, and a table can have much of the one and none of the other. It prevents a strut being pushed against a twist or a
local hollow, and a grid's readings being summed along one path only: every loop must close, and by how much it does not
is what the readings are worth.

Heights in mm, + up; ``x`` + toward outfeed, ``y`` + from the carriage toward the table. Sources: ISO 230-1:2012,
flatness as the smallest zone (see ``surface``); least-squares adjustment of observed differences (JCGM 100:2008, 5.2).
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from analysis.results import FloatArray
from analysis.straightness import least_squares_line, minimum_zone_line
from analysis.surface import LINES, BadSurface, least_squares_plane, minimum_zone_plane, union_jack
from analysis.touching import rounded_zone
from analysis.uncertainty import peak_to_valley

FEWEST_ON_A_LINE = 3


@dataclass(frozen=True)
class Points:
    """Heights ``z`` at ``x``, ``y`` (points,) and their covariance (points, points), k = 1, over some common plane.

    ``misclosure_mm``: root mean square of what the readings of a grid contradict each other by; nan for others.
    ``rounded``: the heights are middles of intervals as coarse as what is looked for (feelers).
    """

    x: FloatArray
    y: FloatArray
    z: FloatArray
    covariance: FloatArray
    misclosure_mm: float = math.nan
    rounded: bool = False


@dataclass(frozen=True, slots=True)
class Flatness:
    """``zone_mm`` is the smallest zone (line: straightness), ``least_squares_mm`` the same about the fitted plane.

    ``sag_mm``: by how much the middle along x lies under its ends, + hollow; ``sag_across_mm`` along y. Uncertainties
    expanded (k = 2).
    """

    zone_mm: float
    zone_uncertainty_mm: float
    least_squares_mm: float
    sag_mm: float
    sag_uncertainty_mm: float
    sag_across_mm: float
    sag_across_uncertainty_mm: float


def of_points(points: Points) -> Flatness:
    """Flatness and sag of points over a surface, or on one line along x. Raises ValueError where they are too few."""
    line = float(np.ptp(points.y)) < 1e-9 * max(float(np.ptp(points.x)), 1.0)
    if line:
        if len(np.unique(points.x)) < FEWEST_ON_A_LINE:
            raise ValueError(
                f"{len(np.unique(points.x))} places on one line show no sag; at least {FEWEST_ON_A_LINE} are needed."
            )
        slope, offset = minimum_zone_line(points.x, points.z)
        away = points.z - offset - slope * points.x
        slope, offset = least_squares_line(points.x, points.z)
        fitted = float(np.ptp(points.z - offset - slope * points.x))
    else:
        away = minimum_zone_plane(points.x, points.y, points.z).deviations
        fitted = least_squares_plane(points.x, points.y, points.z).flatness
    zone, doubt = (
        rounded_zone(away, points.covariance, _plane_columns(points))
        if points.rounded
        else peak_to_valley(away, points.covariance)
    )
    along, across = _sags(points, line)
    return Flatness(zone, doubt, fitted, *along, *across)


def _plane_columns(points: Points) -> FloatArray:
    columns = [np.ones_like(points.x), points.x] + ([points.y] if float(np.ptp(points.y)) > 0 else [])
    return np.stack(columns, axis=1)


def strut_rise(points: Points, x_mm: float, ends: tuple[float, float]) -> tuple[float, float]:
    """(how far the table must come up at ``x_mm`` to lie on the line through its ``ends``, expanded uncertainty), mm.

    From the parabola along x fitted through all points, so that one rough place is not pushed at. Minus: it must come
    down there (the strut is let off, or pulls).
    """
    if not ends[0] < x_mm < ends[1]:
        raise ValueError(f"The strut at {x_mm:g} mm is not between the table's ends, {ends[0]:g} and {ends[1]:g} mm.")
    curve, variance = _curvature(points, np.asarray(points.x, float), points.y)
    shape = (ends[1] - x_mm) * (x_mm - ends[0])  # chord over parabola z = c x^2 is c (b - x)(x - a)
    return curve * shape, 2.0 * math.sqrt(variance) * shape


def level_grid(
    along_mm_per_m: FloatArray, across_mm_per_m: FloatArray, step_x_mm: float, step_y_mm: float, u_mm_per_m: float
) -> Points:
    """Heights of a rectangular grid from slopes between neighbours, adjusted by least squares.

    ``along`` (rows, columns - 1), + when the line rises toward outfeed; ``across`` (rows - 1, columns), + when it rises
    toward the table side; ``u_mm_per_m`` the expanded uncertainty of one slope. Where the loops miss by more than that
    explains (chi-squared, one case in twenty), the covariance is widened to what they show.
    """
    rows, columns = along_mm_per_m.shape[0], across_mm_per_m.shape[1]
    if along_mm_per_m.shape != (rows, columns - 1) or across_mm_per_m.shape != (rows - 1, columns):
        raise BadSurface(
            f"Slopes of shape {along_mm_per_m.shape} along and {across_mm_per_m.shape} across make no grid."
        )
    node = np.arange(rows * columns).reshape(rows, columns)
    starts = np.concatenate([node[:, :-1].ravel(), node[:-1].ravel()])
    ends = np.concatenate([node[:, 1:].ravel(), node[1:].ravel()])
    steps = np.concatenate([np.full(along_mm_per_m.size, step_x_mm), np.full(across_mm_per_m.size, step_y_mm)])
    rise = np.concatenate([along_mm_per_m.ravel(), across_mm_per_m.ravel()]) * steps / 1000.0
    standard = u_mm_per_m / 2.0 * steps / 1000.0
    design = np.zeros((len(rise), rows * columns))
    design[np.arange(len(rise)), ends] += 1.0
    design[np.arange(len(rise)), starts] -= 1.0
    design = design[:, 1:]  # the first node is the datum
    weighted = design / standard[:, None]
    inverse = np.linalg.inv(weighted.T @ weighted)
    heights = inverse @ (weighted.T @ (rise / standard))
    left = rise - design @ heights
    inverse *= _widened(left / standard, len(rise) - design.shape[1])
    z = np.concatenate([[0.0], heights])
    covariance = np.zeros((len(z), len(z)))
    covariance[1:, 1:] = inverse
    x, y = np.meshgrid(np.arange(columns) * step_x_mm, np.arange(rows) * step_y_mm)
    return Points(x.ravel(), y.ravel(), z, covariance, float(np.sqrt(np.mean(left**2))))


CORNERS = {"NW": (0.0, 1.0), "NE": (1.0, 1.0), "SW": (0.0, 0.0), "SE": (1.0, 0.0)}
_MIDDLES = {"N": (0.5, 1.0), "S": (0.5, 0.0), "E": (1.0, 0.5), "W": (0.0, 0.5)}


def union_jack_points(slopes_mm_per_m: Mapping[str, FloatArray], step_mm: float, u_mm_per_m: float) -> Points:
    """The eight lines of a union jack (``surface.union_jack``) as points over the table, N its table side, E outfeed.

    The heights are linear in the slopes, so the covariance follows from one slope after another (JCGM 100:2008, 5.2).
    Both sides of each pair must have as many steps. ``misclosure_mm`` is that of the centre lines.
    """
    slopes = {line: np.asarray(slopes_mm_per_m.get(line, ()), float) / 1000.0 for line in LINES}
    for one, other in (("NE_NW", "SE_SW"), ("NE_SE", "NW_SW")):
        if len(slopes[one]) != len(slopes[other]):
            raise BadSurface(
                f"{one} has {len(slopes[one])} steps and {other} {len(slopes[other])}: opposite sides match."
            )
    found = union_jack(slopes, step_mm)
    size = len(slopes["NE_NW"]) * step_mm, len(slopes["NE_SE"]) * step_mm
    places = CORNERS | _MIDDLES
    x, y = [], []
    for line in LINES:
        (x0, y0), (x1, y1) = (places[end] for end in line.split("_"))
        share = np.linspace(0.0, 1.0, len(found.heights[line]))
        x.append((x0 + (x1 - x0) * share) * size[0])
        y.append((y0 + (y1 - y0) * share) * size[1])
    z = np.concatenate([found.heights[line] for line in LINES])
    columns = []
    for line in LINES:
        for place in range(len(slopes[line])):
            bumped = {**slopes, line: slopes[line] + np.eye(len(slopes[line]))[place] * 1e-3}
            column = np.concatenate([union_jack(bumped, step_mm).heights[each] for each in LINES]) - z
            columns.append(column - column.mean())  # which place is lowest may change: a constant means nothing
    jacobian = np.stack(columns, axis=1) / 1e-3
    covariance = jacobian @ jacobian.T * (u_mm_per_m / 2000.0) ** 2
    miss = float(np.sqrt(np.mean(np.square(list(found.closure.values())))))
    return Points(np.concatenate(x), np.concatenate(y), z, covariance, miss)


def grid_shape(along: int, across: int) -> tuple[int, int] | None:
    """(rows, columns) of the rectangle with so many steps along and across its lines; None where there is none.

    rows (columns - 1) and (rows - 1) columns: columns - rows is their difference, and one whole root is left.
    """
    apart = along - across
    root = (1 - apart) ** 2 + 4 * along
    rows = (1 - apart + math.isqrt(root)) / 2
    columns = rows + apart
    if math.isqrt(root) ** 2 != root or rows != int(rows) or rows < 2 or columns < 2:
        return None
    return int(rows), int(columns)


def _widened(standardised: FloatArray, freedom: int) -> float:
    from scipy.special import chdtri

    if freedom <= 0:
        return 1.0
    squares = float(standardised @ standardised)
    return squares / freedom if squares > float(chdtri(freedom, 0.05)) else 1.0


def _sags(points: Points, line: bool) -> tuple[tuple[float, float], tuple[float, float]]:
    along, across = (math.nan, math.nan), (math.nan, math.nan)
    if len(np.unique(points.x)) >= FEWEST_ON_A_LINE:
        along = _sag(points, points.x, points.y)
    if not line and len(np.unique(points.y)) >= FEWEST_ON_A_LINE:
        across = _sag(points, points.y, points.x)
    return along, across


def _sag(points: Points, way: FloatArray, other: FloatArray) -> tuple[float, float]:
    curve, variance = _curvature(points, way, other)
    arm = (float(np.ptp(way)) / 2.0) ** 2
    return curve * arm, 2.0 * math.sqrt(variance) * arm


def _curvature(points: Points, way: FloatArray, other: FloatArray) -> tuple[float, float]:
    """Coefficient of way^2 in z = plane + twist + c way^2 (+ d other^2 where the points carry it), and its variance."""
    u, v = way - way.mean(), other - other.mean()
    size_u, size_v = max(float(np.ptp(u)), 1e-12), max(float(np.ptp(v)), 1e-12)
    columns = [np.ones_like(u), u / size_u, (u / size_u) ** 2]
    if float(np.ptp(v)) > 0:
        columns += [v / size_v, u * v / size_u / size_v]
        if len(np.unique(other)) >= FEWEST_ON_A_LINE:
            columns.append((v / size_v) ** 2)
    design = np.stack(columns, axis=1)
    if np.linalg.matrix_rank(design) < design.shape[1]:
        design = design[:, :3]
    picked = np.linalg.pinv(design)[2]
    form = points.z - design @ (np.linalg.pinv(design) @ points.z)
    freedom = len(form) - design.shape[1]
    scatter = float(form @ form) / freedom if freedom > 0 else 0.0
    # what is no parabola (a local hollow) also moves the fitted one: its scatter counts where it is the larger
    variance = max(float(picked @ points.covariance @ picked), scatter * float(picked @ picked))
    return float(picked @ points.z) / size_u**2, variance / size_u**4
