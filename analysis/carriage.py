"""The carriage as a rigid body on its bearings: what the rail's shape does to heave, pitch and roll.

Why it exists: the indicator never touches the rail. A carriage half a metre long averages what is under its bearings
and pitches where the rail slopes; taking the rail's height for the carriage's is off by several times the band.

The *state* of the carriage at a position ``s`` of its middle is (heave, pitch, roll): heave in mm at its middle,
pitch in mm/mm (+ outfeed end higher), roll in mm/mm (+ table side higher).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from analysis.results import FloatArray

HEAVE, PITCH, ROLL = 0, 1, 2


@dataclass(frozen=True)
class Carriage:
    """``bearing_offsets_mm`` from the carriage's middle, at least two different ones.

    ``travel_ratio`` 1: the bearings sit in the carriage. 0.5: it rolls on an intermediate cage that travels half as
    far; ``cage_middle_mm`` is then where the cage's middle stands when the carriage's middle stands at ``stroke[0]``.
    ``bearing_N_mm``: stiffness of one bearing with the frame over it, where it is known.
    """

    bearing_offsets_mm: tuple[float, ...]
    stroke_mm: tuple[float, float]
    top_length_mm: float
    edge_y_mm: float
    mass_kg: float = 35.0
    travel_ratio: float = 1.0
    cage_middle_mm: float | None = None
    bearing_N_mm: float | None = None

    def cage_mm(self, s_mm: FloatArray) -> FloatArray:
        """Where the middle of the bearings stands when the carriage's middle is at ``s_mm``."""
        start = self.stroke_mm[0] if self.cage_middle_mm is None else self.cage_middle_mm
        return np.asarray(start + self.travel_ratio * (s_mm - self.stroke_mm[0])) if self.travel_ratio != 1.0 else s_mm


def bearing_positions(carriage: Carriage, s_mm: FloatArray, span_factor: FloatArray | float = 1.0) -> FloatArray:
    """Machine positions of the bearings, shape (..., stations, bearings); ``span_factor`` (...) stretches the
    offsets.
    """
    offsets = np.asarray(span_factor)[..., None] * np.asarray(carriage.bearing_offsets_mm)
    return np.asarray(carriage.cage_mm(s_mm)[:, None] + offsets[..., None, :])


def state_on_rail(
    carriage: Carriage,
    s_mm: FloatArray,
    height_mm: FloatArray,
    twist: FloatArray,
    span_factor: FloatArray | float = 1.0,
    share: FloatArray | float = 1.0,
) -> FloatArray:
    """Heave, pitch and roll from the rail under the bearings.

    ``height_mm`` and ``twist`` of shape (..., stations, bearings, cases); returns (..., stations, 3, cases). The
    least-squares line through the bearings gives heave and pitch (exact for two), their mean twist the roll.
    ``share`` (...) is the weight of the outermost bearings against the inner ones: a stiff carriage on many bearings
    stands on few of them.
    """
    offsets = np.asarray(span_factor)[..., None] * np.asarray(carriage.bearing_offsets_mm)
    weight = _shares(carriage, share)
    middle = np.sum(weight * offsets, axis=-1, keepdims=True)
    arms = weight * (offsets - middle)
    slope = arms / np.sum(arms * (offsets - middle), axis=-1, keepdims=True)
    mean = np.sum(height_mm * weight[..., None, :, None], axis=-2)
    pitch = np.sum(height_mm * slope[..., None, :, None], axis=-2)
    roll = np.sum(twist * weight[..., None, :, None], axis=-2)
    # The line is known at the bearings; the carriage's middle may stand away from theirs (a cage at half travel).
    away = ((s_mm - carriage.cage_mm(s_mm)) - middle)[..., None]
    return np.stack([mean + away * pitch, pitch, roll], axis=-2)


def _shares(carriage: Carriage, share: FloatArray | float) -> FloatArray:
    offsets = np.asarray(carriage.bearing_offsets_mm)
    from_middle = np.abs(offsets - 0.5 * (offsets.min() + offsets.max()))
    outer = from_middle > 0.5 * float(np.ptp(offsets)) - 1e-6
    weight = np.where(outer, np.asarray(share)[..., None], 1.0)
    return np.asarray(weight / weight.sum(axis=-1, keepdims=True))
