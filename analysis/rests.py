"""When a carriage at rest really set off, and when it really came to rest.

Why it exists: a pass begins and ends with a mark at a standstill, and nobody sets off the moment the key goes down. The
time lost there is the largest position error of a marked sweep: half a second is 70 mm. The readings show it: they
stand still, then move. It prevents the first and last stretch of the profile from being drawn out by that idle time.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from analysis.motion import Motion
from analysis.results import BoolArray, FloatArray
from analysis.uncertainty import robust_scale

_BASELINE_S = 1.2
_LOOK_S = 3.0
_MOST_MM = 45.0


@dataclass(frozen=True)
class SetOff:
    """By ``t_s`` the carriage was ``x_mm`` (standard uncertainty ``u_mm``)."""

    t_s: float
    x_mm: float
    u_mm: float


def set_off(
    motion: Motion, at_start: bool, t_s: FloatArray, value: FloatArray, slope: float, noise: float
) -> SetOff | None:
    """Where the reading leaves its rest at the start (or, back in time, at the end) of a pass; None where it cannot be
    seen: no rest, no slope to show the motion, or the rest not quiet.

    ``value`` (readings,) around the pass, ``slope`` the profile's slope per mm at that end.
    """
    sign = 1.0 if at_start else -1.0
    anchor = 0 if at_start else -1
    t0, x0 = float(motion.t_s[anchor]), float(motion.x_mm[anchor])
    good = np.isfinite(value)
    ago = (t_s[good] - t0) * sign  # time into the pass
    z = value[good]
    resting = (ago >= -_BASELINE_S) & (ago <= 0.05)
    if int(resting.sum()) < 3:
        return None
    base = float(np.median(z[resting]))
    spread = max(robust_scale(z[resting]), noise, 1e-7)
    looking = (ago > -0.3) & (ago < _LOOK_S)
    order = np.argsort(ago[looking])
    when, away = ago[looking][order], z[looking][order] - base
    width = max(round(0.1 / max(float(np.median(np.diff(when))) if len(when) > 1 else 1.0, 1e-6)), 1)
    if len(when) < 2 * width + 2:
        return None
    running = np.convolve(away, np.ones(width) / width, mode="valid")
    moments = np.convolve(when, np.ones(width) / width, mode="valid")
    threshold = 4.0 * spread / np.sqrt(width) + spread
    first = _lasting(np.abs(running) > threshold, max(2 * width, 3))
    if first is None:
        return None
    gone = abs(float(running[first])) / max(abs(slope), 1e-9)
    if gone > _MOST_MM:
        return None
    forward = motion.direction * sign
    return SetOff(t0 + sign * float(moments[first]), x0 + forward * gone, float(np.hypot(0.5 * gone, 4.0)))


def _lasting(flags: BoolArray, count: int) -> int | None:
    """The first index from which ``count`` flags in a row are set."""
    run = np.convolve(flags.astype(int), np.ones(count, int), mode="valid")
    hits = np.nonzero(run == count)[0]
    return int(hits[0]) if len(hits) else None
