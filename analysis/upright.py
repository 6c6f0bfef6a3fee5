"""Blade and spindle square over a height, at every stop, and to the carriage's plane as well as the table's.

Why it exists: the work rides on the carriage, and the carriage's plane is not the table's: a spindle square to the one
leans to the other by the roll and pitch between them. It prevents a tilt stop being set to a wobbling blade, and a
spindle being shimmed to a surface the work does not lie on.

Slopes mm/m. A lean is + toward outfeed (``along``) and + toward the table side (``across``): the top stands over that
way. A plane's slope is + when its outfeed end (along) or table side (across) is higher.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from analysis.results import FloatArray

NARROWEST_ARC_deg = 60.0
"""A plane touched over less than this round the spindle is held up along one line only."""


@dataclass(frozen=True, slots=True)
class Lean:
    """How far something stands from square, its two parts and their expanded uncertainties (k = 2), mm/m."""

    along_mm_per_m: float
    across_mm_per_m: float
    along_uncertainty_mm_per_m: float
    across_uncertainty_mm_per_m: float

    @property
    def tilt_mm_per_m(self) -> float:
        return math.hypot(self.along_mm_per_m, self.across_mm_per_m)

    @property
    def uncertainty_mm_per_m(self) -> float:
        """Of the tilt: the worse of both parts."""
        return max(self.along_uncertainty_mm_per_m, self.across_uncertainty_mm_per_m)

    @property
    def direction_deg(self) -> float:
        """Where it leans to: 0 toward outfeed, 90 toward the table side."""
        return math.degrees(math.atan2(self.across_mm_per_m, self.along_mm_per_m)) % 360.0


def over_height(low_mm: FloatArray, high_mm: FloatArray, height_mm: float, u_mm: float) -> tuple[float, float]:
    """(lean, expanded uncertainty), mm/m, from an indicator run up a square past the blade's plate.

    Readings pushed in +, tip pointing toward the table, at the bottom and ``height_mm`` higher, (turns,) each: once, or
    again with the blade turned half round, which takes its wobble out. More pushed in at the top is a plate that leans
    toward the carriage: lean = (low - high) / height, + toward the table.
    """
    low, high = np.asarray(low_mm, float), np.asarray(high_mm, float)
    if len(low) != len(high) or not len(low):
        raise ValueError(f"{len(low)} readings low and {len(high)} high; pairs are needed.")
    if not height_mm > 0:
        raise ValueError(f"A height of {height_mm:g} mm cannot be; the distance between the two readings is needed.")
    lean = 1000.0 * float(np.mean(low - high)) / height_mm
    return lean, 1000.0 * math.sqrt(2.0 / len(low)) * u_mm / height_mm


def at_stop(shown_deg: FloatArray, zero_deg: FloatArray, nominal_deg: float, u_deg: float) -> tuple[float, float]:
    """(error, expanded uncertainty), mm/m, of the blade's angle at a tilt stop, + tilted too far.

    ``shown`` the inclinometer on the plate (turns,), ``zero`` the same laid on the table before and after; the angle of
    the plate from the table's normal is shown less zero. Small errors: 1 degree is 17.4533 mm/m times 1.
    """
    shown, zero = np.atleast_1d(shown_deg), np.atleast_1d(zero_deg)
    error = float(np.mean(shown) - np.mean(zero)) - nominal_deg
    doubt = u_deg * math.sqrt(1.0 / len(shown) + 1.0 / len(zero))
    return 1000.0 * math.radians(error), 1000.0 * math.radians(doubt)


def from_arc(angles_deg: FloatArray, readings_mm: FloatArray, radius_mm: float, u_mm: float) -> Lean:
    """Lean of a spindle to the plane its swinging tip touched over an arc only (a carriage on one side of it).

    ``r = mean + a cos + b sin`` as for a whole turn (``circle.run_out``); an arc holds the two parts up unequally,
    which the uncertainties show. + readings are pushed in. Raises ValueError for fewer than four places or an arc
    below 60 degrees.
    """
    angles, readings = np.asarray(angles_deg, float), np.asarray(readings_mm, float)
    if len(angles) != len(readings):
        raise ValueError(f"{len(readings)} readings at {len(angles)} angles; one angle for each is needed.")
    if len(np.unique(np.round(np.mod(angles, 360.0), 3))) < 4:
        raise ValueError(
            f"{len(np.unique(np.mod(angles, 360.0)))} different angles; at least 4 over the arc are needed."
        )
    if _arc(angles) < NARROWEST_ARC_deg:
        raise ValueError(
            f"The readings span {_arc(angles):.0f} degrees; {NARROWEST_ARC_deg:.0f} or more are needed: a longer arm, "
            "or the carriage pushed so that more of it is under the swing."
        )
    turn = np.deg2rad(angles)
    design = np.column_stack([np.ones_like(turn), np.cos(turn), np.sin(turn)])
    inverse = np.linalg.inv(design.T @ design)
    fitted = inverse @ design.T @ readings
    left = readings - design @ fitted
    freedom = len(readings) - 3
    variance = max((u_mm / 2.0) ** 2, float(left @ left) / freedom if freedom > 0 else 0.0)
    doubts = 2.0 * np.sqrt(np.diag(inverse)[1:] * variance) * 1000.0 / radius_mm
    along, across = 1000.0 * fitted[1:] / radius_mm
    return Lean(float(along), float(across), float(doubts[0]), float(doubts[1]))


def to_other_plane(lean: Lean, along_mm_per_m: float, across_mm_per_m: float, u_mm_per_m: float) -> Lean:
    """A lean known against the table, told against the carriage, whose plane is steeper by these slopes.

    Slopes carriage minus table from one level, the same way round on both (its zero cancels). A plane that rises toward
    outfeed has its normal leaning toward infeed, so what stood square to the table leans toward outfeed against it.
    """
    return Lean(
        lean.along_mm_per_m + along_mm_per_m,
        lean.across_mm_per_m + across_mm_per_m,
        math.hypot(lean.along_uncertainty_mm_per_m, u_mm_per_m),
        math.hypot(lean.across_uncertainty_mm_per_m, u_mm_per_m),
    )


def _arc(angles_deg: FloatArray) -> float:
    ordered = np.unique(np.mod(angles_deg, 360.0))
    gaps = np.diff(np.append(ordered, ordered[0] + 360.0))
    return 360.0 - float(gaps.max())
