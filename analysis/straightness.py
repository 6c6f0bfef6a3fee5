"""Reference lines, straightness parameters and the Gaussian profile filter.

Why it exists: "straight within 0.02" means three different things about three different lines (ISO 230-1:2012, 3.4.12),
and the smallest zone is the fair one. It prevents an iterative fit that stops early: the minimum zone is found exactly,
from the convex hull of the points, where it always has one edge of the hull on one side and a corner on the other.

Sources: ISO 230-1:2012 clause 3.4 (straightness deviation and error); ISO 12780-1:2011 (STRt, STRp, STRv, STRq);
ISO 16610-21:2011 (Gaussian filter, alpha = sqrt(ln 2 / pi)).
"""

from __future__ import annotations

import math
from typing import Final, Literal

import numpy as np

from analysis.results import FloatArray, IntArray, Straightness

Reference = Literal["end points", "least squares", "minimum zone"]
REFERENCES: Final[tuple[Reference, ...]] = ("least squares", "minimum zone", "end points")

ALPHA: Final = math.sqrt(math.log(2.0) / math.pi)
"""ISO 16610-21's constant: the transmission is one half at the cut-off wavelength."""

_KERNEL_HALF_WIDTH: Final = 1.0  # cut-offs; the weight left out is erfc(sqrt(pi)/alpha) = 1e-7


class NotEnoughPoints(ValueError):
    """A line needs two points at different places."""


def end_point_line(x_mm: FloatArray, value: FloatArray) -> tuple[float, float]:
    """(slope, offset at x = 0) of the line through the first and the last point."""
    x, z = _checked(x_mm, value)
    slope = (z[-1] - z[0]) / (x[-1] - x[0])
    return float(slope), float(z[0] - slope * x[0])


def least_squares_line(x_mm: FloatArray, value: FloatArray) -> tuple[float, float]:
    """(slope, offset at x = 0) of the least-squares line, each point counted alike."""
    x, z = _checked(x_mm, value)
    middle = x.mean()
    slope = np.sum((x - middle) * (z - z.mean())) / np.sum((x - middle) ** 2)
    return float(slope), float(z.mean() - slope * middle)


def minimum_zone_line(x_mm: FloatArray, value: FloatArray) -> tuple[float, float]:
    """(slope, offset at x = 0) of the line with the smallest largest deviation, exactly.

    The width in z of the zone with a given slope is convex in the slope and its corners are at the slopes of the hull's
    edges, so the smallest is at one of them.
    """
    x, z = _checked(x_mm, value)
    upper, lower = _hull(x, z, 1.0), _hull(x, z, -1.0)
    falling, rising = _edge_slopes(x, z, upper), _edge_slopes(x, z, lower)  # along the upper and the lower hull
    slopes = np.concatenate([falling, rising])
    top = upper[np.searchsorted(-falling, -slopes, side="left")]  # the corner that a line of this slope rests on
    bottom = lower[np.searchsorted(rising, slopes, side="left")]
    tops, bottoms = z[top] - slopes * x[top], z[bottom] - slopes * x[bottom]
    best = int(np.argmin(tops - bottoms))
    return float(slopes[best]), float((tops[best] + bottoms[best]) / 2.0)


def straightness(x_mm: FloatArray, value: FloatArray, reference: Reference = "least squares") -> Straightness:
    """ISO 12780-1 parameters of the points about one reference line. Arrays (points,), x in any order.

    Raises NotEnoughPoints when no line can be drawn.
    """
    lines = {
        "end points": end_point_line,
        "least squares": least_squares_line,
        "minimum zone": minimum_zone_line,
    }
    if reference not in lines:
        raise ValueError(f"Reference line {reference!r} is not known; allowed: {', '.join(lines)}.")
    slope, offset = lines[reference](x_mm, value)
    deviations = np.asarray(value, float) - (offset + slope * np.asarray(x_mm, float))
    peak, valley = float(max(deviations.max(), 0.0)), float(max(-deviations.min(), 0.0))
    rms = float(np.sqrt(np.mean(deviations**2)))
    return Straightness(reference, slope, offset, peak + valley, peak, valley, rms, deviations)


def local_straightness(x_mm: FloatArray, value: FloatArray, length_mm: float) -> tuple[float, float]:
    """The worst straightness over any stretch of ``length_mm`` and where its middle is: (minimum zone, x_mm).

    This is the local tolerance of ISO 230-1, about the smallest zone of each stretch. Linear in the number of points
    for a given number of points per stretch.
    """
    x, z = _checked(x_mm, value)
    order = np.argsort(x)
    x, z = x[order], z[order]
    worst, where = 0.0, float(x.mean())
    ends = np.searchsorted(x, x + length_mm + 1e-9, side="right")
    for start, end in enumerate(ends):
        if end - start < 3:
            continue
        zone = straightness(x[start:end], z[start:end], "minimum zone").STRt
        if zone > worst:
            worst, where = zone, float((x[start] + x[end - 1]) / 2.0)
        if end == len(x):
            break
    return worst, where


def gaussian_transmission(wavelength_mm: FloatArray | float, cutoff_mm: float) -> FloatArray:
    """Long-wave transmission exp(-pi (alpha cutoff / wavelength)^2) = 2^-(cutoff/wavelength)^2."""
    wavelength = np.asarray(wavelength_mm, float)
    return np.exp(-math.pi * (ALPHA * cutoff_mm / wavelength) ** 2)


def gaussian_filter(x_mm: FloatArray, value: FloatArray, cutoff_mm: float) -> FloatArray:
    """The long-wave part of a profile, ISO 16610-21 weighting, for points at any spacing.

    Near the ends the window is cut off; a plain convolution would pull a constant profile to half its value there and
    a renormalised one bends a ramp. Here a straight line is fitted under the window's weights at every point (a
    first-order moment correction in the sense of ISO 16610-28), which keeps constants and ramps exactly.
    """
    if not cutoff_mm > 0:
        raise ValueError(f"The cut-off is {cutoff_mm:g} mm; it must be more than 0.")
    x, z = _checked(x_mm, value)
    reach = _KERNEL_HALF_WIDTH * cutoff_mm
    out = np.empty_like(z)
    share = _spacing(x)
    for i, middle in enumerate(x):
        near = np.abs(x - middle) <= reach
        u = x[near] - middle
        weight = np.exp(-math.pi * (u / (ALPHA * cutoff_mm)) ** 2) * share[near]
        s0, s1, s2 = weight.sum(), (weight * u).sum(), (weight * u * u).sum()
        zero, first = (weight * z[near]).sum(), (weight * u * z[near]).sum()
        determinant = s0 * s2 - s1 * s1
        out[i] = (s2 * zero - s1 * first) / determinant if determinant > 1e-12 * s0 * s0 else zero / s0
    return out


def _spacing(x: FloatArray) -> FloatArray:
    """Each point's share of the length, so that crowded points do not weigh more."""
    if len(x) < 3:
        return np.ones_like(x)
    return np.asarray(np.abs(np.gradient(x)), float)


def _checked(x_mm: FloatArray, value: FloatArray) -> tuple[FloatArray, FloatArray]:
    x, z = np.asarray(x_mm, float), np.asarray(value, float)
    if x.shape != z.shape or x.ndim != 1:
        raise ValueError(f"Positions and values differ in shape: {x.shape} and {z.shape}.")
    if len(x) < 2 or not np.ptp(x) > 0:
        raise NotEnoughPoints(f"A line needs 2 points at different places; there are {len(np.unique(x))}.")
    if not (np.isfinite(x).all() and np.isfinite(z).all()):
        raise ValueError("Positions and values must be finite: leave out what was not seen.")
    return x, z


def _hull(x: FloatArray, z: FloatArray, sign: float) -> IntArray:
    """Indices of the upper (sign +1) or lower (-1) hull from left to right: Andrew's monotone chain."""
    order = np.lexsort((-sign * z, x))
    chain: list[int] = []
    last_x = -math.inf
    for i in order.tolist():
        if x[i] == last_x:
            continue  # several points at one place: the first in this order is the extreme one
        last_x = x[i]
        while len(chain) > 1:
            a, b = chain[-2], chain[-1]
            if sign * ((x[b] - x[a]) * (z[i] - z[a]) - (z[b] - z[a]) * (x[i] - x[a])) < 0:
                break
            chain.pop()
        chain.append(i)
    return np.array(chain)


def _edge_slopes(x: FloatArray, z: FloatArray, chain: IntArray) -> FloatArray:
    return np.asarray(np.diff(z[chain]) / np.diff(x[chain]), float)
