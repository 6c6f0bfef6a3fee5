"""What is known before a round of turning, and what a round played through in every draw came to.

Why it exists: choosing bolts, guiding a hand and judging the outcome must speak of the same rows, bands and draws. It
prevents a plan from being scored by one rule and shown by another.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from analysis.chebyshev import Group
from analysis.results import FloatArray, IntArray

SLOPE = 0.2
WELL_INSIDE = 0.85  # the planner aims for this part of the band, so that a guarded verdict can follow
SURE = 1.2  # standard deviations of the response by which a display that guides a hand must move
STEEP = 0.08  # over which part of the band a draw turns from inside to outside


@dataclass(frozen=True)
class Situation:
    """What is known before a round, at ``rows`` (stations of one or several set-ups, and places).

    ``value`` (rows,) with ``covariance`` (rows, rows); ``response`` (draws, rows, bolts) per mm of lift.
    ``parks`` (k,) are the rows at which the carriage may be parked and read. ``lowest_mm`` and ``highest_mm`` bound
    each bolt's lift (both 0: not to be turned), ``smallest_mm`` is what a hand can still do.
    ``hand`` is the standard deviation of the display at the end of a turn, in the rows' unit; ``lock_nut_mm`` that of
    the shift when the nut is locked and read again. ``least_gain``, in the rows' unit per mm, for all bolts or for each
    (bolts,): a display that moves less per mm of thread does not guide a hand, nor one of which it is not sure how far
    it moves. ``offset`` (draws, rows), where given, is added to the value in each
    draw: what a response taken at the end of a round leaves out on the way there. ``cost_per_mm`` of thread travel, as
    a part of the loss, where little turning is wished for.
    """

    value: FloatArray
    covariance: FloatArray
    response: FloatArray
    groups: tuple[Group, ...]
    parks: IntArray
    lowest_mm: FloatArray
    highest_mm: FloatArray
    smallest_mm: FloatArray
    hand: float = 0.002
    lock_nut_mm: float = 0.004
    least_gain: float | FloatArray = 0.12
    offset: FloatArray | None = None
    cost_per_mm: float = 0.0

    @property
    def middle_value(self) -> FloatArray:
        """The mean over the draws of the values a plan starts from: (rows,)."""
        return self.value if self.offset is None else np.asarray(self.value + self.offset.mean(axis=0))

    @property
    def bolts(self) -> int:
        """How many bolts."""
        return int(self.response.shape[-1])

    def park_gains(self) -> FloatArray:
        """Mean response (parks, bolts) where the carriage may be parked; nan where it is too small, or too unsure, to
        be guided by: turned until a display shows its target, a bolt that hardly moves it goes miles.
        """
        at_parks = self.response[:, self.parks]
        gain = at_parks.mean(axis=0)
        sure = np.maximum(self.least_gain, SURE * at_parks.std(axis=0))
        return np.asarray(np.where(np.abs(gain) >= sure, gain, np.nan))

    def turnable(self) -> list[int]:
        """Bolts that may be turned and that a display can guide: what hardly moves the reading is left alone."""
        seen: FloatArray = np.atleast_1d(np.isfinite(self.park_gains()).any(axis=0))
        return [b for b in range(self.bolts) if seen[b] and self.highest_mm[b] - self.lowest_mm[b] > 0]


@dataclass(frozen=True)
class Step:
    """One turn of a round: ``bolt`` index, ``park`` row, the ``target`` of the quantity there, the lift expected."""

    bolt: int
    park: int
    target: float
    lift_mm: float
    before: float = 0.0


@dataclass(frozen=True)
class Outcome:
    """A round played through in every draw: ``value`` (draws, rows) and ``lift_mm`` (draws, steps) at its end."""

    steps: tuple[Step, ...]
    value: FloatArray
    lift_mm: FloatArray
    ratio: FloatArray  # (draws,): 1 is the band's edge, peak to valley or mean, the worst group
    loss: float

    @property
    def chance_inside(self) -> float:
        """Share of the draws inside every band."""
        return float(np.mean(self.ratio <= 1.0))


@dataclass(frozen=True)
class Errors:
    """The accidents of a round, drawn once so that plans are compared under the same ones."""

    value: FloatArray  # (draws, rows): current value in each draw
    hand: FloatArray  # (draws, turns)
    lock_nut_mm: FloatArray  # (draws, turns)

    def first(self, draws: int) -> Errors:
        """The accidents of the first draws."""
        return Errors(self.value[:draws], self.hand[:draws], self.lock_nut_mm[:draws])


def draw_errors(situation: Situation, turns: int, seed: int = 7) -> Errors:
    """Accidents for as many draws as the response has."""
    draws, rows = situation.response.shape[:2]
    rng = np.random.default_rng(seed)
    eigen, vectors = np.linalg.eigh(0.5 * (situation.covariance + situation.covariance.T))
    root = vectors * np.sqrt(np.maximum(eigen, 0.0))
    offset = 0.0 if situation.offset is None else situation.offset
    return Errors(
        value=situation.value + rng.standard_normal((draws, rows)) @ root.T + offset,
        hand=situation.hand * rng.standard_normal((draws, turns)),
        lock_nut_mm=situation.lock_nut_mm * rng.standard_normal((draws, turns)),
    )


def loss_of(ratio: FloatArray) -> FloatArray:
    """What a draw's ratio costs: a step at the band, and a slope that keeps hopeless machines improving."""
    return np.asarray(1.0 / (1.0 + np.exp(-np.clip((ratio - WELL_INSIDE) / STEEP, -40.0, 40.0))) + SLOPE * ratio)


def slope_of_loss(ratio: FloatArray) -> FloatArray:
    """The derivative of ``loss_of``."""
    logistic = loss_of(ratio) - SLOPE * ratio
    return np.asarray(logistic * (1.0 - logistic) / STEEP + SLOPE)


def ratio_and_slope(value: FloatArray, groups: tuple[Group, ...]) -> tuple[FloatArray, FloatArray]:
    """Worst ratio of each draw (draws,) and its derivative by the values (draws, rows)."""
    draws = np.arange(len(value))
    ratio, slope = np.full(len(value), -np.inf), np.zeros_like(value)
    for group in groups:
        part = value[:, group.rows]
        high, low = np.argmax(part, axis=1), np.argmin(part, axis=1)
        here = (part[draws, high] - part[draws, low]) / group.limit
        here_slope = np.zeros_like(value)
        here_slope[draws, group.rows[high]] += 1.0 / group.limit
        here_slope[draws, group.rows[low]] -= 1.0 / group.limit
        ratio, slope = _worse(ratio, slope, here, here_slope)
        if group.mean is not None:
            half = 0.5 * (group.mean[1] - group.mean[0])
            off = part.mean(axis=1) - 0.5 * (group.mean[0] + group.mean[1])
            mean_slope = np.zeros_like(value)
            mean_slope[:, group.rows] = (np.sign(off) / (half * len(group.rows)))[:, None]
            ratio, slope = _worse(ratio, slope, np.abs(off) / half, mean_slope)
    return ratio, slope


def _worse(ratio: FloatArray, slope: FloatArray, other: FloatArray, its: FloatArray) -> tuple[FloatArray, FloatArray]:
    taken = other > ratio
    return np.where(taken, other, ratio), np.where(taken[:, None], its, slope)
