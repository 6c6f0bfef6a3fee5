"""What a casting does after a strut was pushed against it: it gives way again, and ever more slowly.

Why it exists: a table pushed true on Monday is hollow again by Friday, and nobody looks. It prevents a correction being
accepted in its first hour: the drift since then is shown with its uncertainty, and when to look next.

Creep and stress relaxation at constant load are close to a straight line over the logarithm of time (logarithmic creep,
any handbook of materials); when to look again is common practice, no source.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

import numpy as np

from analysis.results import FloatArray

LOOK_AGAIN_h: Final = (1.0, 24.0, 168.0, 720.0)
"""An hour, a day, a week, a month after the strut was moved."""
_SOON_h = 0.1


@dataclass(frozen=True, slots=True)
class Drift:
    """``since_first`` and its expanded uncertainty; ``by_next`` is what a tenfold time would add (nan: not known).

    ``settles`` True: the next tenfold of time is expected to change it by less than what is allowed.
    """

    since_first: float
    uncertainty: float
    by_next: float
    settles: bool


def next_look_h(elapsed_h: float) -> float | None:
    """Hours after the strut was moved at which to measure next; None when it has been followed long enough."""
    return next((hours for hours in LOOK_AGAIN_h if elapsed_h < 0.9 * hours), None)


def drift(hours: FloatArray, values: FloatArray, uncertainties: FloatArray, allowed: float) -> Drift:
    """How readings (measurements,) taken ``hours`` after an adjustment have moved; ``uncertainties`` expanded.

    With readings at two or more times at least threefold apart a line over log10(hours) is fitted; what one more
    decade would add is its slope. Raises ValueError for fewer than two readings.
    """
    if len(values) < 2:
        raise ValueError("Drift needs two measurements after the adjustment; there is one.")
    moved = float(values[-1] - values[0])
    doubt = math.hypot(float(uncertainties[-1]), float(uncertainties[0]))
    when = np.log10(np.maximum(np.asarray(hours, float), _SOON_h))
    if float(np.ptp(when)) < math.log10(3.0):
        return Drift(moved, doubt, math.nan, settles=False)
    middle = when - when.mean()
    slope = float(middle @ values) / float(middle @ middle)
    return Drift(moved, doubt, slope, settles=abs(slope) < allowed)
