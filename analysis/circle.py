"""What turns: run-out by turning by hand, and how square a spindle or blade stands, both from the first harmonic.

Why it exists: an eccentric arbor, a wobbling flange and a leaning spindle all show as one swing of the pointer a turn,
and the form of the part (a burr, a chip, a bump) hides in the rest. It prevents two mistakes: taking the total
indicator reading for twice the eccentricity when there is form in it, and correcting a spindle from two readings that
saw only one of its two directions of lean.

Angles in degrees: 0 toward outfeed, 90 toward the table side, the sense of turning only has to be kept. Readings in
mm, + when the indicator is pushed in.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from analysis.results import FloatArray

FEWEST_ANGLES = 4
"""Three unknowns (mean, two parts of the swing) and one reading that can contradict them."""
WIDEST_GAP_deg = 180.0
"""Angles that leave half the circle unseen hold up the fit from one side only."""


@dataclass(frozen=True, slots=True)
class RunOut:
    """One turn by hand. ``total_mm`` is the total indicator reading, highest minus lowest.

    ``eccentric_mm`` is the amplitude of the once-a-turn part (that part alone swings the pointer by twice as much),
    highest at ``direction_deg`` (0 to 360). ``form_mm`` is the peak to valley of what is left when that part is taken
    off. Uncertainties are expanded (k = 2).
    """

    mean_mm: float
    eccentric_mm: float
    eccentric_uncertainty_mm: float
    direction_deg: float
    total_mm: float
    total_uncertainty_mm: float
    form_mm: float


@dataclass(frozen=True, slots=True)
class Swing:
    """How far a spindle or blade stands from square to what the tip touched.

    ``tilt_mm_per_m`` (never negative) with its expanded uncertainty; ``direction_deg`` is where the tip was pushed in
    most: there the far end of the spindle leans to. ``form_mm`` is what no lean explains: an uneven table, a tip that
    caught an edge.
    """

    tilt_mm_per_m: float
    uncertainty_mm_per_m: float
    direction_deg: float
    form_mm: float


def run_out(angles_deg: FloatArray, readings_mm: FloatArray, reading_uncertainty_mm: float) -> RunOut:
    """Least-squares mean and first harmonic of readings at any angles; both arrays of shape (readings,).

    ``r = mean + a cos(angle) + b sin(angle)``; at N equal steps a = (2/N) sum r cos, b = (2/N) sum r sin (ISO 4291
    annex F, from memory; exact there). ``reading_uncertainty_mm`` is the expanded uncertainty of one reading. The
    uncertainty of the total reading also holds the part of the swing that can hide between two readings,
    eccentric x (1 - cos(half the widest gap)) at either end. Raises ValueError in words when the angles do not carry
    the fit.
    """
    _carry_the_fit(angles_deg, readings_mm)
    turn = np.deg2rad(angles_deg)
    design = np.column_stack([np.ones_like(turn), np.cos(turn), np.sin(turn)])
    fitted, *_ = np.linalg.lstsq(design, readings_mm, rcond=None)
    mean, cosine, sine = (float(part) for part in fitted)
    left = readings_mm - design @ fitted
    covariance = np.linalg.inv(design.T @ design) * _variance_of_one(left, reading_uncertainty_mm)
    amplitude = math.hypot(cosine, sine)
    hidden = 2.0 * amplitude * (1.0 - math.cos(math.radians(_widest_gap(angles_deg)) / 2.0))
    return RunOut(
        mean_mm=mean,
        eccentric_mm=amplitude,
        eccentric_uncertainty_mm=2.0 * math.sqrt(float(np.linalg.eigvalsh(covariance[1:, 1:])[-1])),
        direction_deg=math.degrees(math.atan2(sine, cosine)) % 360.0,
        total_mm=float(np.ptp(readings_mm)),
        total_uncertainty_mm=math.hypot(math.sqrt(2.0) * reading_uncertainty_mm, hidden),
        form_mm=float(np.ptp(left)),
    )


def swing(angles_deg: FloatArray, readings_mm: FloatArray, radius_mm: float, reading_uncertainty_mm: float) -> Swing:
    """Lean of a spindle (or blade) from an indicator on an arm that turns with it, its tip ``radius_mm`` from the axis.

    Leaning toward a direction lowers the arm there, so the tip is pushed in most on that side: tilt = amplitude over
    radius. Run-out of the spindle cancels, because the arm turns with it and the tip's own track is the same circle.
    Raises ValueError as ``run_out`` does.
    """
    if not radius_mm > 0:
        raise ValueError(f"The arm is {radius_mm:g} mm long; a length above 0 is needed.")
    turned = run_out(angles_deg, readings_mm, reading_uncertainty_mm)
    return Swing(
        tilt_mm_per_m=1000.0 * turned.eccentric_mm / radius_mm,
        uncertainty_mm_per_m=1000.0 * turned.eccentric_uncertainty_mm / radius_mm,
        direction_deg=turned.direction_deg,
        form_mm=turned.form_mm,
    )


def shim_mm(found: Swing, foot_direction_deg: float, feet_apart_mm: float) -> float:
    """What to put under the carrier's foot that stands in ``foot_direction_deg``, its partner ``feet_apart_mm`` away.

    + add there, - take away there (or add under its partner). Raising the side the spindle leans to stands it up;
    feet across the lean do nothing, which is the cosine.
    """
    return (
        found.tilt_mm_per_m / 1000.0 * feet_apart_mm * math.cos(math.radians(found.direction_deg - foot_direction_deg))
    )


def _variance_of_one(left: FloatArray, reading_uncertainty_mm: float) -> float:
    """Variance (k = 1) of one reading: as claimed, or as the readings themselves scatter, whichever is worse."""
    claimed = (reading_uncertainty_mm / 2.0) ** 2
    freedom = len(left) - 3
    return max(claimed, float(left @ left) / freedom) if freedom > 0 else claimed


def _carry_the_fit(angles_deg: FloatArray, readings_mm: FloatArray) -> None:
    if len(angles_deg) != len(readings_mm):
        raise ValueError(f"{len(readings_mm)} readings at {len(angles_deg)} angles; one angle for each is needed.")
    different = len(np.unique(np.round(np.mod(angles_deg, 360.0), 3)))
    if different < FEWEST_ANGLES:
        raise ValueError(
            f"Readings at {different} different angles; at least {FEWEST_ANGLES} round the turn are needed."
        )
    gap = _widest_gap(angles_deg)
    if gap >= WIDEST_GAP_deg:
        raise ValueError(f"The angles leave {gap:.0f} degrees unseen; less than {WIDEST_GAP_deg:.0f} is allowed.")


def _widest_gap(angles_deg: FloatArray) -> float:
    ordered = np.unique(np.mod(angles_deg, 360.0))
    return float(np.max(np.diff(np.append(ordered, ordered[0] + 360.0))))
