"""What the screens show of a set-up: where it sits, what its display means, which lines the live bar has.

Why it exists: the live view, the sweep and the findings must read one set-up alike. The rail picture itself is in
``logger.rail_picture``, which the report shares.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from logger.tui.feed import Meaning

if TYPE_CHECKING:
    from analysis.results import FloatArray
    from logger.instruments import Instrument
    from logger.machines import Machine, SetUp
    from logger.readings import Reading


def set_up_zero(set_up: SetUp) -> float | None:
    """What the set-up shows on the table's plane (or when level); None: not known."""
    return set_up.zero_mm_per_m if set_up.kind == "level" else set_up.zero_mm


def meaning_of(set_up: SetUp, resolution: float | None) -> Meaning:
    """How this set-up's display figures become heights; ``resolution`` in mm or mm/m, None where not known."""
    level = set_up.kind == "level"
    step = resolution if resolution is not None else (0.01 if level else 0.001)
    return Meaning("mm/m" if level else "mm", set_up.kind, set_up.sense, set_up_zero(set_up), step)


def windows_of(machine: Machine, set_up: SetUp) -> tuple[tuple[float, float], ...]:
    """Stretches of the stroke in which the set-up reads; elsewhere its display shows its free rest."""
    from logger import findings

    return tuple(findings.windows_of(machine, set_up))


def place_of(name: str, set_up: SetUp) -> str:
    """``across, at 1100``: where the instrument sits, in a few words."""
    if set_up.kind == "fixed" and set_up.x_mm is not None:
        return f"{name}, at {set_up.x_mm:.0f}"
    if set_up.kind == "carried" and set_up.offset_mm is not None:
        return f"{name}, riding {set_up.offset_mm:+.0f} from the middle".replace("-", "−")
    return f"{name}, a level" if name == set_up.axis else f"{name}, a level for {set_up.axis}"


def positions_of(run: list[Reading], machine: Machine, set_up: SetUp, instrument: Instrument) -> FloatArray | None:
    """x (readings,) in mm from the lines' position field, None where the lines have none."""
    if all(reading.position is None for reading in run):
        return None
    encoder = set_up.encoder
    start = encoder.at_zero_mm if encoder.at_zero_mm is not None else machine.carriage.stroke_mm[0]
    counts = encoder.counts_per_mm or instrument.counts_per_mm or 1.0
    values = [np.nan if reading.position is None else reading.position / counts for reading in run]
    return start + np.array(values, dtype=np.float64)
