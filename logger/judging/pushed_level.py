"""What must be said of a level that was read while the carriage was pushed.

Why it exists: a level hangs in gravity and push together; 0.05 m/s2, which no hand notices, reads as 5 mm/m. It
prevents a sweep of a moving level from being taken for a rail that waves.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np

from analysis.level import push_as_slope

if TYPE_CHECKING:
    from analysis.sweeps import Outcome, SweepData


def pushed_level(outcome: Outcome, sweeps: Sequence[SweepData]) -> list[str]:
    """A level that was read while the carriage was pushed: it takes the push for a slope."""
    if outcome.profile.unit == "mm" or outcome.source == "stops":
        return []
    felt = 0.0
    for sweep, where in zip(sweeps, outcome.located, strict=False):
        times = [np.asarray(sweep.evidence.t_s) for _ in where.motions]
        for motion, t_s in zip(where.motions, times, strict=True):
            inside = t_s[(t_s >= motion.t_s[0]) & (t_s <= motion.t_s[-1])]
            felt = max(felt, push_as_slope(inside, motion.position_mm(inside)))
    known = f"Here the changes of pace read as up to {felt:.1f} mm/m. " if felt >= 0.05 else ""
    return [
        "The level was read while the carriage was pushed, and takes the push for a slope (acceleration over gravity). "
        f"{known}Stop at the stations and wait until it stands."
    ]
