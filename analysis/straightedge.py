"""A straightedge's own shape: where to support it, how far it sags, and what its grade allows.

Why it exists: a table cannot be found flatter than what is laid on it. It prevents the straightedge's own sag (a bar
held at its ends hangs nearly fifty times as far as one held at the right points) and its own error from being read as
the table's.

Sources: uniform bar on two supports by double integration of its bending moment (any mechanics handbook); equal sag of
ends and middle at 0.5537 of the length, level ends (Airy) at 1/sqrt(3), least shortening (Bessel, from memory) at
0.5594. DIN 876 (plates, straightedge-like surfaces by the long side) and, from memory, ISO 8512 (by the diagonal) and
DIN 874 (straightedges).
"""

from __future__ import annotations

import math
from typing import Final, Literal

import numpy as np

from analysis.results import FloatArray

Grade876 = Literal["0", "1", "2", "3"]

AIRY: Final = 1.0 / math.sqrt(3.0)
"""Spacing over length at which the end faces stand upright."""
EQUAL_SAG: Final = 0.553702
"""Spacing over length at which ends and middle hang equally low: the straightest a bar can lie on two supports."""
BESSEL: Final = 0.5594
"""Spacing over length at which the middle line shortens least (from memory)."""

GRAVITY_mm_per_s2: Final = 9806.65
SPECIFIC_STIFFNESS: Final = {"steel": (210e3, 7.85e-6), "cast iron": (110e3, 7.2e-6), "aluminium": (70e3, 2.7e-6)}
"""Young's modulus N/mm2 and density kg/mm3 (EN 1993, EN 1561, EN 1999; from memory)."""


def supports_from_end_mm(length_mm: float, part: float = EQUAL_SAG) -> float:
    """How far from each end the two supports stand, for a spacing of ``part`` of the length."""
    return length_mm * (1.0 - part) / 2.0


def sag_shape(along: FloatArray, spacing: float) -> FloatArray:
    """Deflection (+ up) of a uniform bar of length 1, w/EI = 1, on two supports ``spacing`` apart about its middle.

    ``along`` (places,) from -0.5 to 0.5. The deflection is nothing at the supports.
    """
    half = spacing / 2.0
    inside = np.abs(along) <= half
    x = np.abs(np.asarray(along, float))
    # between the supports M = -(1/2 - x)^2 / 2 + (half - x) / 2 = -1/8 + half/2 - x^2 / 2, slope 0 in the middle
    between = (half / 4.0 - 1.0 / 16.0) * (x**2 - half**2) - (x**4 - half**4) / 24.0
    slope = (half / 2.0 - 1.0 / 8.0) * half - half**3 / 6.0
    # beyond them M = -(1/2 - x)^2 / 2
    arm = 0.5 - half
    left = 0.5 - x
    beyond = (slope - arm**3 / 6.0) * (x - half) - (left**4 - arm**4) / 24.0
    return np.asarray(np.where(inside, between, beyond), float)


def own_sag_mm(
    length_mm: float, depth_mm: float, spacing_mm: float, material: Literal["steel", "cast iron", "aluminium"] = "steel"
) -> float:
    """Highest minus lowest of a rectangular bar on edge, ``depth_mm`` high, by its own weight (its width cancels)."""
    young, density = SPECIFIC_STIFFNESS[material]
    weight_over_stiffness = density * GRAVITY_mm_per_s2 / 1000.0 * 12.0 / (young * depth_mm**2)
    shape = sag_shape(np.linspace(-0.5, 0.5, 1001), spacing_mm / length_mm)
    return float(np.ptp(shape)) * weight_over_stiffness * length_mm**4


_DIN_876 = {"0": (4.0, 250.0), "1": (10.0, 100.0), "2": (20.0, 50.0), "3": (40.0, 25.0)}
_ISO_8512 = {"0": (0.003, 2.5), "1": (0.006, 5.0), "2": (0.012, 10.0), "3": (0.024, 20.0)}
_DIN_874 = {"00": (1.0, 150.0), "0": (2.0, 100.0), "1": (4.0, 60.0), "2": (8.0, 40.0)}


def din_876_mm(long_side_mm: float, grade: str) -> float:
    """Flatness allowed by DIN 876: grade 0 4 + L/250, 1 10 + L/100, 2 20 + L/50, 3 40 + L/25 in micrometres."""
    start, divisor = _DIN_876[grade]
    return (start + long_side_mm / divisor) / 1000.0


def iso_8512_mm(diagonal_mm: float, grade: str) -> float:
    """Flatness allowed by ISO 8512-1/-2:1990 (from memory): c1 d + c2 micrometres, d the diagonal up to whole 100."""
    factor, start = _ISO_8512[grade]
    return (factor * math.ceil(diagonal_mm / 100.0) * 100.0 + start) / 1000.0


def din_874_mm(length_mm: float, grade: str) -> float:
    """Straightness allowed to a straightedge by DIN 874 (from memory), grade 00 to 2."""
    start, divisor = _DIN_874[grade]
    return (start + length_mm / divisor) / 1000.0


def iso_8512_grade(flatness_mm: float, diagonal_mm: float) -> str | None:
    """The best grade of ISO 8512 (from memory) such a surface keeps; None where it keeps none."""
    return next((grade for grade in _ISO_8512 if flatness_mm <= iso_8512_mm(diagonal_mm, grade)), None)


def din_876_grade(flatness_mm: float, long_side_mm: float) -> str | None:
    """The best grade of DIN 876 such a surface keeps; None where it keeps none."""
    return next((grade for grade in _DIN_876 if flatness_mm <= din_876_mm(long_side_mm, grade)), None)
