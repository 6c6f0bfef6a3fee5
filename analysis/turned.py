"""A turn by hand with the readings streaming: angles from the marks, one clean turn out of several.

Why it exists: turned by hand nothing goes at an even pace, and a pointer watched by eye misses the extremes. It
prevents three mistakes: the highest of a thousand noisy readings taken for the highest place, a slot or a tooth taken
for wobble, and a bearing that wanders from turn to turn averaged away unseen.

A mark is given each time the chalk mark on the arbor passes (or several, evenly round). Between two marks the angle is
taken to grow evenly; a hand that is uneven bends the angles and leaves the total reading as it is.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from analysis.circle import total_of_waves
from analysis.results import BoolArray, FloatArray, IntArray
from analysis.uncertainty import robust_scale

PLACES = 72
"""Places round the turn at which a stream is averaged: every five degrees."""
SLOT_MM = 0.05
"""A place that stands out from its neighbours by more than this (and by far more than they scatter) is a slot."""
FEW_TURNS = 1.15
"""Three or four turns know their own wander badly (as Student's t for some six differences that tell of it)."""
UNSEEN_WANDER_MM = 0.0017
"""What a good bearing's wander adds to a total reading, where no mark shows it (k = 2; common practice, no source)."""


@dataclass(frozen=True)
class Turned:
    """One turn made out of all: ``angles_deg`` and ``values_mm`` (places,), each the mean over the turns.

    ``standard_uncertainty_mm`` is that of one of these (k = 1); ``turns`` how many whole ones went into it;
    ``wander_mm`` is what the mean of the turns keeps of how one differs from the next (k = 1): bearing, or a hand.
    ``left_out`` places stood out like slots. ``total_mm`` with expanded uncertainty: the total reading of the turn,
    the extremes' bias taken off.
    """

    angles_deg: FloatArray
    values_mm: FloatArray
    standard_uncertainty_mm: float
    turns: int
    wander_mm: float
    left_out: int
    total_mm: float
    total_uncertainty_mm: float


def angles_from_marks(t_s: FloatArray, mark_t_s: FloatArray, marks_a_turn: int = 1) -> FloatArray:
    """The angle (degrees, counted on over the turns) of each reading, nan before the first and after the last mark."""
    if len(mark_t_s) < marks_a_turn + 1:
        raise ValueError(
            f"{len(mark_t_s)} marks are no whole turn; {marks_a_turn + 1} are needed (one at the start, "
            f"{marks_a_turn} a turn)."
        )
    turn = 360.0 / marks_a_turn
    inside = (t_s >= mark_t_s[0]) & (t_s <= mark_t_s[-1])
    counted = np.interp(t_s, mark_t_s, turn * np.arange(len(mark_t_s)))
    return np.where(inside, counted, np.nan)


def one_turn(angles_deg: FloatArray, values_mm: FloatArray) -> Turned:
    """Average whole turns at ``PLACES`` angles. Angles counted on over the turns, nan: not in a whole turn.

    Raises ValueError where no whole turn was seen, or one with too few readings.
    """
    known = np.isfinite(angles_deg) & np.isfinite(values_mm)
    angles, values = angles_deg[known], values_mm[known]
    # The first and last reading lie just inside their marks: up to one place is wanting, and no more.
    turns = int((angles.max() - angles.min() + 360.0 / PLACES) // 360.0) if len(angles) else 0
    if turns < 2:
        raise ValueError(
            f"{'One whole turn was' if turns else 'No whole turn was'} seen, and only the next one shows what comes "
            "back: turn on, two whole turns or more."
        )
    keep = angles < angles.min() + 360.0 * turns
    angles, values = angles[keep] - angles.min(), values[keep]
    place = np.minimum((np.mod(angles, 360.0) / 360.0 * PLACES).astype(int), PLACES - 1)
    lap = np.minimum((angles / 360.0).astype(int), turns - 1)
    cells, counts = _cells(place, lap, values, turns)
    seen = (counts > 0).any(axis=0)
    if seen.sum() < 12:
        raise ValueError(f"Readings at {int(seen.sum())} places round the turn; turn slower, 12 are needed at least.")
    # The median of a place: a slot is narrower than a place, and must not pull it.
    profile = np.array([np.median(values[place == each]) for each in np.flatnonzero(seen)])
    centre = (np.flatnonzero(seen) + 0.5) * 360.0 / PLACES
    mean_turn = np.full(PLACES, np.nan)
    mean_turn[seen] = profile
    wander = FEW_TURNS * _wander(cells, counts, mean_turn) / float(np.sqrt(turns))
    good = ~_slots(profile)
    noise = _noise(angles, values)
    each = (
        noise * 1.25 / np.sqrt(max(float(np.median(counts[counts > 0])) * turns, 1.0))
    )  # 1.25: a median's, not a mean's
    standard = max(float(each), 1e-5)
    total, doubt = total_of_waves(centre[good], profile[good], standard, wander)
    return Turned(centre[good], profile[good], float(standard), turns, wander, int((~good).sum()), total, doubt)


def total_only(values_mm: FloatArray) -> tuple[float, float]:
    """Total reading of a stream without marks, and its expanded uncertainty: the extremes less the noise's share.

    Readings that follow one another hardly differ while the arbor turns, so their differences are the noise.
    """
    if len(values_mm) < 50:
        raise ValueError(f"{len(values_mm)} readings are too few for a turn by hand; turn slower, 50 are needed.")
    noise = float(np.std(np.diff(values_mm), ddof=1)) / np.sqrt(2.0)
    smooth = np.convolve(values_mm, np.ones(5) / 5.0, mode="valid")
    left = noise / np.sqrt(5.0)
    # Some twenty readings lie near each extreme: the highest of twenty stands out by 1.87 of their scatter.
    bias = 1.87 * left
    own = 2.0 * float(np.hypot(bias, np.sqrt(2.0) * left))
    seen = max(float(np.ptp(smooth)) - 2.0 * bias, 0.0)
    # A bearing that wanders adds its own range to that of the part, as a second swing does: in quadrature.
    total = float(np.sqrt(max(seen**2 - (2.0 * UNSEEN_WANDER_MM) ** 2, 0.0)))
    return total, float(np.hypot(np.hypot(own, UNSEEN_WANDER_MM), (seen - total) / 2.0))


def _cells(place: IntArray, lap: IntArray, values: FloatArray, turns: int) -> tuple[FloatArray, IntArray]:
    """Mean reading and how many, each (turns, PLACES)."""
    index = lap * PLACES + place
    counts = np.bincount(index, minlength=turns * PLACES).reshape(turns, PLACES)
    sums = np.bincount(index, weights=values, minlength=turns * PLACES).reshape(turns, PLACES)
    return sums / np.maximum(counts, 1), counts


def _wander(cells: FloatArray, counts: IntArray, profile: FloatArray) -> float:
    """How one turn differs from the next at the same angle (k = 1), at the places where the profile is level.

    On a slope a mark that came late looks like wander; at the extremes, which are what is judged, it does not.
    ``profile`` (PLACES,) is the mean turn, nan where nothing was read.
    """
    around = np.concatenate([profile[-2:], profile, profile[:2]])
    slope = np.abs(around[4:] - around[:-4])
    level = slope <= np.nanquantile(slope, 0.3)
    both = (counts[1:] > 0) & (counts[:-1] > 0) & level
    steps = (cells[1:] - cells[:-1])[both]
    return robust_scale(steps) / float(np.sqrt(2.0)) if len(steps) else 0.0


def _noise(angles: FloatArray, values: FloatArray) -> float:
    steps = np.diff(values[np.argsort(angles, kind="stable")])
    return robust_scale(steps) / float(np.sqrt(2.0)) if len(steps) else 0.0


def _slots(profile: FloatArray) -> BoolArray:
    """Places that stand out from the median of their neighbours: a slot, a tooth, a letter on the plate."""
    reach = np.concatenate([profile[-3:], profile, profile[:3]])
    around = np.median(np.lib.stride_tricks.sliding_window_view(reach, 7), axis=1)
    off = np.abs(profile - around)
    return np.asarray(off > max(SLOT_MM, 8.0 * robust_scale(profile - around)))
