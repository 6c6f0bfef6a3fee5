"""What a level shows along the table's plane, from its readings foot to foot and the map of the table.

Why it exists: a level on the carriage reads the base's slope and its own zero error with the carriage's pitch. Laid on
the table first it shows both, and the rise of the carriage over its stroke is known ten times better than from two
stands a hand's width apart. It prevents the form of a casting, on which a level lies on two small spots, from being
taken for the slope of its plane.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from analysis.level import OnTable, laid_along
from analysis.units import height_from_reading, reading_from_height

if TYPE_CHECKING:
    from collections.abc import Sequence

    from analysis.results import FloatArray
    from logger.machines import Machine, SetUp

SET_DOWN_mm_per_m = 0.005
"""What setting a level down on a casting adds to each reading, k = 1 (common practice, no source)."""
UNMAPPED_mm = 0.02
"""How far a table nobody mapped may stand from its plane at a level's foot, k = 1 (common practice, no source)."""


def on_table(
    machine: Machine, set_up: SetUp, shown_mm_per_m: FloatArray, own_mm_per_m: FloatArray, along_mm: Sequence[float]
) -> OnTable:
    """What the display would show along the table's plane, for machine.yaml.

    ``shown_mm_per_m`` (places,): the display with the level set down foot to foot from ``along_mm[0]`` to
    ``along_mm[1]``, the same way round as on the carriage; ``own_mm_per_m`` (places,) each one's own standard
    uncertainty. Raises ValueError for no readings or no length.
    """
    low, high = (float(x) for x in along_mm)
    slope = np.asarray(height_from_reading(np.asarray(shown_mm_per_m, np.float64), "level", 0.0, set_up.sense))
    heights, doubts = _table_at(machine, low, high)
    each = np.hypot(own_mm_per_m, SET_DOWN_mm_per_m)
    found = laid_along(slope, each, high - low, heights, doubts)
    shown = float(reading_from_height(found.slope_mm_per_m, "level", 0.0, set_up.sense))
    return OnTable(shown, found.standard_uncertainty_mm_per_m)


def _table_at(machine: Machine, low_mm: float, high_mm: float) -> tuple[tuple[float, float], tuple[float, float]]:
    """Height of the table over its plane at two places and its standard uncertainty, as far as a map knows it.

    Of several lines the one nearest to the carriage: there the heights are read too.
    """
    lines = sorted(machine.table.map, key=lambda line: abs(line.y_mm - machine.carriage.edge_y_mm))
    if not lines:
        return (0.0, 0.0), (UNMAPPED_mm, UNMAPPED_mm)
    x, height, u = np.array(sorted(lines[0].points), np.float64).T
    z, doubt = np.interp([low_mm, high_mm], x, height), np.interp([low_mm, high_mm], x, u)
    return (float(z[0]), float(z[1])), (float(doubt[0]), float(doubt[1]))
