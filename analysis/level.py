"""What an electronic or bubble level needs before its number is a slope: its zero, its rest, and no push.

Why it exists: a level has a zero error, is damped, and cannot tell a slope from an acceleration. It prevents three
mistakes: levelling a machine to the level's own zero error, taking a number down while it still creeps, and reading a
level on a carriage that is being pushed (7 mm/m of error at a gentle 0.07 m/s2).

Slopes in mm/m, + when the end the level calls high is higher; times in seconds.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from analysis.results import BoolArray, FloatArray

STANDARD_GRAVITY = 9.80665
"""m/s2, by definition (3rd CGPM, 1901)."""

TIME_CONSTANTS_TO_WAIT = 6.0
"""After six time constants a quarter of a per cent of a step is left: exp(-6)."""

_FIT_AT_LEAST = 8


@dataclass(frozen=True, slots=True)
class Reversal:
    """A slope freed of the level's zero error, and that error; ``standard_uncertainty`` holds for both (k = 1)."""

    slope: float
    zero_error: float
    standard_uncertainty: float


@dataclass(frozen=True, slots=True)
class OnTable:
    """What a level shows lying along the table's plane, the same way round as on the carriage (k = 1).

    Its own zero error and the base's slope are both in it, as they are in every reading on the carriage: less this, a
    reading there is the carriage's pitch against the table.
    """

    slope_mm_per_m: float
    standard_uncertainty_mm_per_m: float


@dataclass(frozen=True, slots=True)
class Settled:
    """What a damped reading comes to.

    ``value`` and its ``standard_uncertainty`` (k = 1); ``time_constant_s`` nan where no creep was seen; ``left`` is
    the creep still to come at the last reading, signed; ``settled`` is True when that is within the tolerance.
    """

    value: float
    standard_uncertainty: float
    time_constant_s: float
    left: float
    settled: bool


def reversal(normal: float, reversed_: float, standard_uncertainty: float = 0.0) -> Reversal:
    """Two readings at one place, the level turned end for end between them.

    Normal reads slope + zero, reversed reads zero - slope: slope (a - b)/2, zero (a + b)/2. ``standard_uncertainty``
    is that of one reading.
    """
    return Reversal((normal - reversed_) / 2, (normal + reversed_) / 2, standard_uncertainty / math.sqrt(2))


def laid_along(
    slope_mm_per_m: FloatArray,
    standard_uncertainty_mm_per_m: FloatArray,
    length_mm: float,
    ends_mm: tuple[float, float] = (0.0, 0.0),
    ends_u_mm: tuple[float, float] = (0.0, 0.0),
) -> OnTable:
    """A level set down foot to foot over ``length_mm`` of the table: readings and uncertainties (places,), k = 1.

    Foot to foot the form between the two ends drops out of the mean (the angular method of ISO 230-1:2012 turned
    round); ``ends_mm``: how high the table stands over its own plane at the two ends, with ``ends_u_mm`` (k = 1).
    Raises ValueError for no reading or no length.
    """
    if not len(slope_mm_per_m) or not length_mm > 0:
        raise ValueError(f"{len(slope_mm_per_m)} readings over {length_mm:g} mm say no slope.")
    rise = 1000.0 * (ends_mm[1] - ends_mm[0]) / length_mm
    own = math.sqrt(float(np.sum(np.square(standard_uncertainty_mm_per_m)))) / len(slope_mm_per_m)
    form = 1000.0 * math.hypot(*ends_u_mm) / length_mm
    return OnTable(float(np.mean(slope_mm_per_m)) - rise, math.hypot(own, form))


def acceleration_as_slope(acceleration_m_per_s2: float) -> float:
    """The slope in mm/m that a level shows for an acceleration along it: a level hangs in gravity and push together."""
    return 1000.0 * acceleration_m_per_s2 / STANDARD_GRAVITY


def push_as_slope(t_s: FloatArray, x_mm: FloatArray) -> float:
    """What a level feels of a push along x (positions (readings,) at ``t_s``), in mm/m: the 95th part of a hundred of
    the acceleration's size, taken over half a second, as a slope. 0 for less than two seconds."""
    if len(t_s) < 8 or t_s[-1] - t_s[0] < 2.0:
        return 0.0
    even = np.arange(t_s[0], t_s[-1], 0.05)
    x = np.interp(even, t_s, x_mm)
    half = 10  # samples of 0.05 s: second difference over half a second either way
    acceleration = (x[2 * half :] - 2 * x[half:-half] + x[: -2 * half]) / (half * 0.05) ** 2 / 1000.0
    return acceleration_as_slope(float(np.quantile(np.abs(acceleration), 0.95))) if len(acceleration) else 0.0


def waiting_time_s(time_constant_s: float, step: float, tolerance: float) -> float:
    """How long to wait at a stop: six time constants, or longer where ``step`` needs it to fall below ``tolerance``."""
    needed = math.log(abs(step) / tolerance) if tolerance > 0 and abs(step) > tolerance else 0.0
    return time_constant_s * max(TIME_CONSTANTS_TO_WAIT, needed)


def at_rest(t_s: FloatArray, slope: FloatArray, time_constant_s: float, tolerance: float) -> BoolArray:
    """Which readings were taken at rest: for six time constants before them nothing left a band of ``tolerance``.

    Arrays of shape (readings,), times not decreasing. A reading without so long a history is not at rest.
    """
    quiet_s = TIME_CONSTANTS_TO_WAIT * time_constant_s
    first = np.searchsorted(t_s, t_s - quiet_s, side="right") - 1
    rest = np.zeros(len(t_s), dtype=np.bool_)
    for index, start in enumerate(first):
        if start >= 0:
            stretch = slope[start : index + 1]
            rest[index] = bool(np.ptp(stretch) <= tolerance)
    return rest


def settle(t_s: FloatArray, slope: FloatArray, tolerance: float) -> Settled:
    """Fit value + step x exp(-t / time constant) to the readings after a stop (shape (readings,), at least eight).

    For each of many time constants the other two are a linear fit; the best one is taken if it explains the readings
    better than a steady value does (F test at about 1 %: two more parameters). Raises ValueError for fewer readings
    or no time between them.
    """
    if len(t_s) < _FIT_AT_LEAST or not t_s[-1] > t_s[0]:
        raise ValueError(f"{len(t_s)} readings after the stop; at least {_FIT_AT_LEAST} over some time are needed")
    since = t_s - t_s[0]
    steady = float(np.sum((slope - slope.mean()) ** 2))
    best, time_constant = _best_exponential(since, slope)
    freedom = len(slope) - 3
    if steady - best[0] <= 2 * 6.0 * best[0] / freedom or steady == 0.0:
        spread = math.sqrt(steady / (len(slope) - 1) / len(slope))
        return Settled(float(slope.mean()), spread, math.nan, 0.0, settled=True)
    squares, value, step, variance = best
    left = -step * math.exp(-since[-1] / time_constant)
    return Settled(value, math.sqrt(squares / freedom * variance), time_constant, left, abs(left) <= tolerance)


def _best_exponential(since: FloatArray, slope: FloatArray) -> tuple[tuple[float, float, float, float], float]:
    """``(squares, value, step, variance factor of value)`` and the time constant of the best fit."""
    span = float(since[-1])
    constants = np.geomspace(span / len(since), 2 * span, 120)
    fits = [_exponential(since, slope, float(constant)) for constant in constants]
    place = int(np.argmin([fit[0] for fit in fits]))
    around = np.geomspace(constants[max(place - 1, 0)], constants[min(place + 1, 119)], 41)
    finer = [_exponential(since, slope, float(constant)) for constant in around]
    place = int(np.argmin([fit[0] for fit in finer]))
    return finer[place], float(around[place])


def _exponential(since: FloatArray, slope: FloatArray, constant: float) -> tuple[float, float, float, float]:
    fall = np.exp(-since / constant)
    design = np.column_stack([np.ones_like(since), fall])
    inverse = np.linalg.pinv(design.T @ design)
    value, step = inverse @ (design.T @ slope)
    squares = float(np.sum((slope - value - step * fall) ** 2))
    return squares, float(value), float(step), float(inverse[0, 0])
