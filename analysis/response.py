"""What an instrument reads: a known linear functional of the carriage's state, different for every set-up.

Why it exists: the same carriage gives three different profiles to an indicator on the table, an indicator riding along
and a level. Learning one object (how heave, pitch and roll answer to the bolts) and reading it through this module
lets all set-ups feed one estimate. It prevents the profile of one set-up being compared with that of another.

Everything here is the *quantity* of the set-up (height in mm, + carriage higher; pitch and roll in mm/m), never the
instrument's display: the display's sign and zero are the business of the units module, once.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np

from analysis.carriage import HEAVE, PITCH, ROLL, Carriage
from analysis.results import BoolArray, FloatArray

MM_PER_M = 1000.0


@dataclass(frozen=True)
class SetUp:
    """Where the instrument sits. ``x_mm``: fixed on the table at machine x. ``offset_mm``: carried, from the middle.

    ``y_mm`` is the arm at which roll is read (None: the carriage's edge); ``axis`` belongs to levels.
    """

    kind: Literal["fixed", "carried", "level"]
    x_mm: float = 0.0
    offset_mm: float = 0.0
    y_mm: float | None = None
    axis: Literal["pitch", "roll"] = "pitch"

    @property
    def unit(self) -> str:
        """Unit of the quantity read."""
        return "mm/m" if self.kind == "level" else "mm"


@dataclass(frozen=True)
class Table:
    """The cast table's extent along x, and the opening in it (the insert), None where there is none."""

    from_mm: float
    to_mm: float
    insert_mm: tuple[float, float] | None = None


def reading_weights(set_up: SetUp, carriage: Carriage, s_mm: FloatArray) -> FloatArray:
    """Weights (stations, 3) such that ``weights . (heave, pitch, roll)`` is the quantity the set-up reads at ``s_mm``.

    Fixed at x0: heave + (x0 - s) pitch + y roll. Carried at d: heave + d pitch + y roll (less the table under it, which
    no bolt moves). Level: pitch or roll in mm/m.
    """
    weights = np.zeros((len(s_mm), 3))
    if set_up.kind == "level":
        weights[:, PITCH if set_up.axis == "pitch" else ROLL] = MM_PER_M
        return weights
    weights[:, HEAVE] = 1.0
    weights[:, PITCH] = set_up.x_mm - s_mm if set_up.kind == "fixed" else set_up.offset_mm
    weights[:, ROLL] = carriage.edge_y_mm if set_up.y_mm is None else set_up.y_mm
    return weights


def seen_by_geometry(set_up: SetUp, carriage: Carriage, table: Table | None, s_mm: FloatArray) -> BoolArray:
    """Where the set-up can read at all: the top over the indicator, or the tip on the table and off its opening."""
    inside = (s_mm >= carriage.stroke_mm[0] - 5.0) & (s_mm <= carriage.stroke_mm[1] + 5.0)
    if set_up.kind == "fixed":
        return np.asarray(inside & (np.abs(set_up.x_mm - s_mm) <= 0.5 * carriage.top_length_mm))
    if set_up.kind == "carried" and table is not None:
        tip = s_mm + set_up.offset_mm
        inside = inside & (tip >= table.from_mm) & (tip <= table.to_mm)
        if table.insert_mm is not None:
            inside = inside & ~((tip > table.insert_mm[0]) & (tip < table.insert_mm[1]))
    return np.asarray(inside)


def covering_positions(carriage: Carriage, place_x_mm: float, step_mm: float = 50.0) -> FloatArray:
    """Every position of the carriage's middle at which its top covers a place: where a board passes it."""
    half = 0.5 * carriage.top_length_mm
    low, high = max(carriage.stroke_mm[0], place_x_mm - half), min(carriage.stroke_mm[1], place_x_mm + half)
    if high <= low:
        return np.zeros(0)
    return np.linspace(low, high, max(int(np.ceil((high - low) / step_mm)) + 1, 2))


def place_weights(place_x_mm: float, place_y_mm: float, s_mm: FloatArray) -> FloatArray:
    """Weights (stations, 3) of the carriage's height at a place: heave + (x_place - s) pitch + y_place roll."""
    return np.stack([np.ones_like(s_mm), place_x_mm - s_mm, np.full_like(s_mm, place_y_mm)], axis=-1)
