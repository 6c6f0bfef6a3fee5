"""Marks that the other passes contradict: whose they are, and the fit without them.

Why it exists: a key pressed half a second late puts tens of millimetres into one pass, and the other pass shows it, but
not whose mark it was. It prevents the good mark being left out for the bad one, and each press's own scatter being
carried into the profile as if the carriage had lurched there.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from analysis.cells import PassReadings
from analysis.fit import Fit, Scales
from analysis.motion import Motion
from analysis.passes import fit_passes
from analysis.results import Repair


def without_bad_marks(
    readings: Sequence[PassReadings],
    fit: Fit,
    scales: Scales,
    resolution: float,
    sweeps: Sequence[tuple[str, frozenset[str]]],
) -> tuple[Fit, list[str], list[Repair]]:
    """Leave out the marks that the other passes contradict, the worst first, at most three; with consent they are moved
    to where the other passes put them. ``sweeps``: name of each, and what was agreed to."""
    notes: list[str] = []
    repairs: list[Repair] = []
    current = list(readings)
    for _ in range(3):
        worst = _worst_anchor(current, fit)
        if worst is None:
            break
        which, anchor, miss = _whose(current, *worst)
        motion = current[which].motion
        late_s = miss * motion.direction / motion.speed_mm_s
        name, accept = sweeps[current[which].sweep]
        by_hand = bool(motion.delayed[anchor])
        found = (
            f"The {'mark' if by_hand else 'strip'} at {motion.x_mm[anchor]:.0f} mm in pass {which + 1} is "
            f"{abs(miss):.0f} mm off what the other passes say"
            + (f": about {abs(late_s):.1f} s {'late' if late_s > 0 else 'early'}." if by_hand else ".")
        )
        if not by_hand:
            notes.append(f"{found} A strip moved; which way it lay when is not known: it was left out of every pass.")
            current = [_without_place(each, float(motion.x_mm[anchor])) for each in current]
            fit = fit_passes(current, scales, resolution=resolution)
            continue
        elif "late mark moved" in accept:
            notes.append(f"{found} It was moved by that, as agreed.")
            trimmed = motion.with_anchor_moved(anchor, -late_s)
        else:
            notes.append(f"{found} It was left out.")
            repairs.append(Repair("late mark moved", name, found, "take it as pressed when the others say"))
            trimmed = motion.without_anchor(anchor)
        inside = (current[which].t_s >= trimmed.t_s[0]) & (current[which].t_s <= trimmed.t_s[-1])
        current[which] = PassReadings(
            trimmed, current[which].t_s[inside], current[which].value[inside], current[which].sweep
        )
        fit = fit_passes(current, scales, resolution=resolution)
    return _evened(current, fit, scales, resolution), notes, repairs


def _whose(readings: Sequence[PassReadings], which: int, anchor: int, miss: float) -> tuple[int, int, float]:
    """The same for the pass whose own pace shows the slip: that two passes disagree at a station does not say which of
    their marks was off, but a late one makes the way before it long and the way after it short."""
    first = readings[which].motion
    off_s = miss * first.direction / first.speed_mm_s  # alike for all: late there, or late here
    best = (np.sign(off_s) * _beside_pace_s(first, anchor), which, anchor, miss)
    if not first.delayed[anchor]:
        return which, anchor, miss
    for number, each in enumerate(readings):
        motion = each.motion
        at = np.nonzero((motion.x_mm[1:-1] == first.x_mm[anchor]) & motion.delayed[1:-1])[0]
        if number == which or motion.direction == first.direction or not len(at):
            continue
        other = int(at[0]) + 1
        shown = np.sign(off_s) * _beside_pace_s(motion, other)
        if shown > best[0]:
            best = (shown, number, other, off_s * motion.direction * motion.speed_mm_s)
    return best[1], best[2], float(best[3])


def _beside_pace_s(motion: Motion, anchor: int) -> float:
    """By how much the mark is later than its two neighbours at an even pace."""
    near = slice(anchor - 1, anchor + 2, 2)
    order = np.argsort(motion.x_mm[near])
    return float(motion.t_s[anchor] - np.interp(motion.x_mm[anchor], motion.x_mm[near][order], motion.t_s[near][order]))


def _evened(readings: Sequence[PassReadings], fit: Fit, scales: Scales, resolution: float) -> Fit:
    """The fit once more with the marks evened, now that their common delay is known."""
    even = [replace(one, motion=one.motion.evened(fit.delay_s)) for one in readings]
    if all(new.motion is old.motion for new, old in zip(even, readings, strict=True)):
        return fit
    return fit_passes(even, scales, resolution=resolution)


def _without_place(readings: PassReadings, x_mm: float) -> PassReadings:
    """The pass without its anchor at that place, unless it is one of its ends."""
    at = np.nonzero(readings.motion.x_mm[1:-1] == x_mm)[0]
    return replace(readings, motion=readings.motion.without_anchor(int(at[0]) + 1)) if len(at) else readings


def _worst_anchor(readings: Sequence[PassReadings], fit: Fit) -> tuple[int, int, float] | None:
    """(pass, anchor, miss in mm) of the mark whose fitted shift is far beyond its own scatter."""
    if len(fit.passes) != len(readings) or len(readings) < 2:
        return None
    worst, found = 4.5, None
    for which, fitted in enumerate(fit.passes):
        motion: Motion = fitted.motion
        if motion.measured or len(motion.t_s) < 4:
            continue
        for anchor in range(1, len(motion.t_s) - 1):
            x = motion.x_mm[anchor]
            edge = motion.landmark is not None and bool(motion.landmark[anchor])
            stood = x in (motion.x_mm[anchor - 1], motion.x_mm[anchor + 1])  # a stop is neither mark nor strip
            if edge or stood or not fitted.x_from_mm <= x <= fitted.x_to_mm:
                continue
            miss = float(np.interp(x, fitted.node_x_mm, fitted.shift_mm))
            # The shift against the other passes' mean shows (1 - 1/P) of this mark's own error.
            share = 1.0 - 1.0 / len(readings)
            ratio = abs(miss) / (motion.standard_uncertainty_mm[anchor] * np.sqrt(share))
            if ratio > worst and abs(miss) > 30.0:
                worst, found = ratio, (which, anchor, miss / share)
    return found
