"""What an instrument is good for today: stand still for half a minute, then come to the same place ten times.

Why it exists: the resolution on the display says little about the number. It prevents the mistake of an uncertainty
below what the instrument, its stand and the hand can repeat: what is found here is the floor of every uncertainty.

Values in the instrument's base unit (mm or mm/m), times in seconds; standard uncertainties are k = 1.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field

import numpy as np

from analysis.results import FloatArray, IntArray

STILL_AT_LEAST = 20
REPEATS_AT_LEAST = 4
_DRIFT_BLOCKS = 10


@dataclass(frozen=True, slots=True)
class Still:
    """Standing still: ``noise`` is the standard deviation about the drift; ``resolution`` the smallest step seen (nan
    when the value never changed); ``drift_per_hour`` with its standard uncertainty."""

    noise: float
    resolution: float
    drift_per_hour: float
    drift_standard_uncertainty: float
    readings: int


@dataclass(frozen=True, slots=True)
class Repeats:
    """Coming back: ``repeatability`` is the standard deviation of one approach about the mean of its direction (n - 1,
    pooled); ``hysteresis`` the mean from above minus the mean from below, nan with one direction only."""

    repeatability: float
    hysteresis: float
    hysteresis_standard_uncertainty: float
    repeats: int


@dataclass(frozen=True, slots=True)
class Floor:
    """The least standard uncertainty a single reading can have, and its parts by name."""

    standard_uncertainty: float
    parts: dict[str, float] = field(default_factory=dict)


def stand_still(t_s: FloatArray, value: FloatArray) -> Still:
    """Noise, resolution as seen and drift of readings on something that does not move; arrays of shape (readings,).

    The drift's uncertainty comes from the means of ten blocks, so that slow wander counts and quick noise does not
    hide behind many readings. Raises ValueError for fewer than 20 readings.
    """
    if len(value) < STILL_AT_LEAST or not t_s[-1] > t_s[0]:
        raise ValueError(f"{len(value)} readings; at least {STILL_AT_LEAST} over some time are needed")
    slope, offset = np.polyfit(t_s - t_s[0], value, 1)
    noise = float(np.std(value - offset - slope * (t_s - t_s[0]), ddof=2))
    block_t = np.array([block.mean() for block in np.array_split(t_s, _DRIFT_BLOCKS)])
    block_value = np.array([block.mean() for block in np.array_split(value, _DRIFT_BLOCKS)])
    block_slope, block_offset = np.polyfit(block_t - block_t[0], block_value, 1)
    left = block_value - block_offset - block_slope * (block_t - block_t[0])
    spread = math.sqrt(float(left @ left) / (_DRIFT_BLOCKS - 2))
    uncertainty = spread / math.sqrt(float(np.sum((block_t - block_t.mean()) ** 2)))
    return Still(noise, resolution_seen(value), 3600.0 * float(block_slope), 3600.0 * uncertainty, len(value))


def resolution_seen(value: FloatArray, finest: float = 1e-7) -> float:
    """The largest step of which every difference between readings is a whole multiple; nan when nothing changed.

    Euclid's algorithm on the differences; what is smaller than ``finest`` is rounding of the numbers themselves. An
    instrument that shows 0.001 but moves in fives gives 0.005.
    """
    steps = np.diff(np.unique(value))
    steps = steps[steps > finest]
    if not len(steps):
        return math.nan
    common = float(steps[0])
    for step in steps[1:]:
        common = _common(common, float(step), finest)
    return common


def _common(a: float, b: float, finest: float) -> float:
    while b > finest:
        a, b = b, abs(a - round(a / b) * b)
    return a


def come_back(value: FloatArray, direction: IntArray) -> Repeats:
    """Repeatability and hysteresis of approaches to one place; arrays of shape (approaches,).

    ``direction`` +1 where the tip rose to it (from below), -1 where it fell (from above). Standard deviation as in the
    GUM, 4.2.2. Raises ValueError for fewer than four approaches or none that is repeated.
    """
    sides = [value[direction == side] for side in (1, -1)]
    freedom = sum(max(len(side) - 1, 0) for side in sides)
    if len(value) < REPEATS_AT_LEAST or freedom < 2 or sum(map(len, sides)) != len(value):
        raise ValueError(f"{len(value)} approaches; at least {REPEATS_AT_LEAST}, each +1 or -1, are needed")
    squares = sum(float(np.sum((side - side.mean()) ** 2)) for side in sides if len(side))
    repeatability = math.sqrt(squares / freedom)
    below, above = sides
    if not (len(below) and len(above)):
        return Repeats(repeatability, math.nan, math.nan, len(value))
    uncertainty = repeatability * math.sqrt(1 / len(below) + 1 / len(above))
    return Repeats(repeatability, float(above.mean() - below.mean()), uncertainty, len(value))


def floor_of(still: Still, repeats: Repeats, stated_resolution: float | None, sweep_s: float) -> Floor:
    """The floor for one reading in a sweep of ``sweep_s`` seconds; GUM 4.3.7 for what lies anywhere in an interval.

    Noise is part of repeatability, so the larger of the two counts once. Hysteresis counts as half its size either
    way; drift only where it stands clear of its own uncertainty (twice).
    """
    steps = [step for step in (still.resolution, stated_resolution) if step is not None and math.isfinite(step)]
    drifts = abs(still.drift_per_hour) > 2 * still.drift_standard_uncertainty
    drift = abs(still.drift_per_hour) * sweep_s / 3600.0 if drifts else 0.0
    hysteresis = abs(repeats.hysteresis) if math.isfinite(repeats.hysteresis) else 0.0
    parts = {
        "repeatability": max(still.noise, repeats.repeatability),
        "resolution": max(steps, default=0.0) / math.sqrt(12),
        "hysteresis": hysteresis / math.sqrt(12),
        "drift": drift / math.sqrt(12),
    }
    return Floor(math.sqrt(sum(part * part for part in parts.values())), parts)


def lever_factor(angle_deg: float) -> float:
    """What a lever indicator's reading is multiplied by when its lever stands at ``angle_deg`` to the surface: cos."""
    return math.cos(math.radians(angle_deg))


def plunger_excess(tilt_deg: float) -> float:
    """By what part a plunger indicator tilted by ``tilt_deg`` reads too much: 1/cos - 1."""
    return 1.0 / math.cos(math.radians(tilt_deg)) - 1.0
