"""Readings of a pass, gathered into short stretches of the way.

Why it exists: ten minutes at 1 kHz are 600 000 readings, of which the fit needs a few hundred averages; and a reading
that jumps alone is no part of any profile. It prevents a fit whose time grows with the square of the recording, and an
average that carries a spike.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from analysis.motion import Motion
from analysis.results import BoolArray, FloatArray
from analysis.uncertainty import MAD_TO_SIGMA

_CELL_MM = 4.0
_MOST_CELLS = 4000


@dataclass(frozen=True)
class PassReadings:
    """The touching readings of one pass of sweep number ``sweep``; ``value`` in mm or mm/m, + as in units."""

    motion: Motion
    t_s: FloatArray
    value: FloatArray
    sweep: int = 0


@dataclass(frozen=True)
class Cells:
    """Readings gathered into short stretches; arrays (cells,)."""

    t_s: FloatArray
    value: FloatArray
    count: FloatArray
    spikes: int


def gather(readings: PassReadings) -> Cells:
    """Drop single spikes (dense readings only) and average the rest over short stretches of the way."""
    order = np.argsort(readings.t_s, kind="stable")
    t, z = np.asarray(readings.t_s, float)[order], np.asarray(readings.value, float)[order]
    good = np.isfinite(t) & np.isfinite(z)
    t, z = t[good], z[good]
    if not len(t):
        return Cells(t, z, t, 0)
    step_mm = float(np.median(np.diff(t))) * readings.motion.speed_mm_s if len(t) > 1 else 0.0
    keep = _not_spikes(z) if step_mm < 3.0 else np.ones(len(z), bool)
    spikes = int(len(z) - keep.sum())
    t, z = t[keep], z[keep]
    width = max(_CELL_MM, abs(readings.motion.x_mm[-1] - readings.motion.x_mm[0]) / _MOST_CELLS)
    cell = np.floor(np.abs(readings.motion.position_mm(t) - readings.motion.x_mm[0]) / width).astype(np.int64)
    _, cell, count = np.unique(cell, return_inverse=True, return_counts=True)
    return Cells(np.bincount(cell, t) / count, np.bincount(cell, z) / count, count.astype(float), spikes)


def _not_spikes(z: FloatArray) -> BoolArray:
    """Hampel's rule on a running median of seven, with 1.4826 MAD as the scale and a floor for even data."""
    from scipy.ndimage import median_filter

    away = np.abs(z - median_filter(z, size=7, mode="nearest"))
    scale = MAD_TO_SIGMA * float(np.median(away[away > 0])) if np.any(away > 0) else 0.0
    return np.asarray(away <= 8.0 * scale, bool) if scale > 0 else np.ones(len(z), bool)
