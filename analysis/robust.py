"""The fit with the smallest largest deviation when the response itself is in doubt.

Why it exists: a Chebyshev fit on the most likely response asks for millimetres against each other where the bolts
nearly cancel, and what is left then is the error of the response times a millimetre. Counting that error in, row by
row, the same fit asks for as much as is known and no more. It prevents the first round from wrecking a machine and the
third from giving up on one.

Both fits are Lawson's iteration (C. L. Lawson 1961; J. R. Rice & K. H. Usow, Math. Comp. 22 (1968) 118-127): least
squares whose row weights grow where the deviation is largest. The deviation of a row is its root mean square over the
draws of the response, so that doubt counts like error.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from analysis.chebyshev import Group
from analysis.results import FloatArray, IntArray
from analysis.situation import Situation, loss_of, slope_of_loss

ITERATIONS = 14
MEAN_WEIGHT = 0.6  # a mean anywhere in the inner part of its band costs nothing against the shape
TRAVEL = 0.01  # price of a millimetre squared, in bands squared: stops runs along directions nothing sees
GUIDED_PART = 0.4  # of the response's variance that is left when a display stops the hand


@dataclass(frozen=True)
class Rows:
    """The situation's rows in parts of their limits (1: the edge of the band, from its middle).

    ``value`` (..., rows) and ``response`` (..., rows, bolts); the last ``means`` rows are the groups' means.
    ``of_group`` (rows,) is the group's index, -1 for a mean (it has no free height).
    """

    value: FloatArray
    response: FloatArray
    of_group: IntArray
    groups: int

    @property
    def shape_of(self) -> FloatArray:
        """Which rows belong to which group: (rows, groups), 0 or 1."""
        return np.asarray(self.of_group[:, None] == np.arange(self.groups), float)


def scaled_rows(value: FloatArray, response: FloatArray, groups: tuple[Group, ...]) -> Rows:
    """``value`` (..., rows) and ``response`` (..., rows, columns) in parts of the groups' limits."""
    values, columns, owner = [], [], []
    for index, group in enumerate(groups):
        values.append(value[..., group.rows] * (2.0 / group.limit))
        columns.append(response[..., group.rows, :] * (2.0 / group.limit))
        owner += [index] * len(group.rows)
    for group in groups:
        if group.mean is not None:
            part = MEAN_WEIGHT * 2.0 / (group.mean[1] - group.mean[0])
            middle = 0.5 * (group.mean[0] + group.mean[1])
            values.append(part * (value[..., group.rows].mean(axis=-1, keepdims=True) - middle))
            columns.append(part * response[..., group.rows, :].mean(axis=-2, keepdims=True))
            owner.append(-1)
    return Rows(
        np.concatenate(values, axis=-1), np.concatenate(columns, axis=-2), np.array(owner, dtype=np.int64), len(groups)
    )


def response_doubt(rows: Rows) -> FloatArray:
    """Covariance of the columns of every row over the draws, free heights taken out: (rows, bolts, bolts)."""
    away = rows.response - rows.response.mean(axis=0)
    share = rows.shape_of / np.maximum(rows.shape_of.sum(axis=0), 1.0)
    away = away - np.einsum("rg,dgb->drb", rows.shape_of, np.einsum("drb,rg->dgb", away, share))
    by_row = np.swapaxes(away, 0, 1)
    return np.asarray(np.swapaxes(by_row, 1, 2) @ by_row / len(away))


def robust_sets(
    situation: Situation, rows: Rows, doubt: FloatArray, sets: IntArray, guided_part: float = GUIDED_PART
) -> tuple[FloatArray, FloatArray]:
    """For every set of bolts (sets, size): the deviation it can keep to (1: the band's edge), and the lifts for it.

    ``doubt`` is ``response_doubt`` of ``rows``, of which ``guided_part`` counts. A guide for ranking and a start.
    """
    count = len(sets)
    middle = rows.response.mean(axis=0)
    pairs = (sets[:, :, None] * situation.bolts + sets[:, None, :]).reshape(count, -1)
    own = guided_part * doubt.reshape(len(doubt), -1)[:, pairs]  # (rows, sets, size^2)
    return robust_lifts(
        np.broadcast_to(rows.value.mean(axis=0), (count, len(doubt))),
        np.moveaxis(middle[:, sets], 1, 0),
        own,
        rows.shape_of,
        situation.lowest_mm[sets],
        situation.highest_mm[sets],
    )


def robust_lifts(
    value: FloatArray, columns: FloatArray, own: FloatArray, free: FloatArray, lowest: FloatArray, highest: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Many cases at once: the deviation each can keep to (cases,), and the lifts for it (cases, size).

    ``value`` (cases, rows) and ``columns`` (cases, rows, size) in parts of the limits, ``own`` (rows, cases or 1,
    size^2) the doubt of the columns, ``free`` (rows, groups) which rows share a free height; bounds (cases, size).
    """
    count, _, size = columns.shape
    design = np.concatenate([columns, np.broadcast_to(-free, (count, *free.shape))], axis=-1)
    weight = np.full(value.shape, 1.0 / value.shape[1])
    best, lifts = np.full(count, np.inf), np.zeros((count, size))
    ridge = np.zeros((design.shape[-1],) * 2)
    ridge[:size, :size] = TRAVEL * np.eye(size)
    ridge += 1e-9 * np.eye(len(ridge))
    by_case = np.ascontiguousarray(np.moveaxis(np.broadcast_to(own, (own.shape[0], count, own.shape[2])), 0, 1))
    for _ in range(ITERATIONS):
        weighted = np.swapaxes(design, 1, 2) * weight[:, None, :]
        normal = weighted @ design + ridge
        normal[:, :size, :size] += (weight[:, None, :] @ by_case).reshape(count, size, size)
        solved = np.linalg.solve(normal, -(weighted @ value[..., None]))[..., 0]
        lift = np.clip(solved[:, :size], lowest, highest)
        left = value + (columns @ lift[..., None])[..., 0]
        left = left - (free @ solved[:, size:, None])[..., 0]
        both = (lift[:, :, None] * lift[:, None, :]).reshape(count, -1, 1)
        size_of = np.sqrt(np.maximum(left * left + (by_case @ both)[..., 0], 0.0))
        worst = size_of.max(axis=1)
        better = worst < best
        best, lifts = np.where(better, worst, best), np.where(better[:, None], lift, lifts)
        weight = weight * (size_of + 1e-6)
        weight /= weight.sum(axis=1, keepdims=True)
    return best, lifts


def robust_targets(
    value: FloatArray,
    answer: FloatArray,
    lifts_mm: FloatArray,
    lift_answer: FloatArray,
    groups: tuple[Group, ...],
    bounds_mm: tuple[FloatArray, FloatArray],
    iterations: int = ITERATIONS,
) -> FloatArray:
    """The change of the targets (steps,) that keeps the end of a guided round nearest to true over all draws.

    ``value`` (draws, rows) is how the round ends with the targets as they are, ``answer`` (draws, rows, steps) how the
    end follows them; ``lifts_mm`` (draws, steps) and ``lift_answer`` (draws, steps, steps) the same of the lifts, whose
    mean is kept within ``bounds_mm``.
    Draws weigh by what they cost: first alike, then by the slope of ``loss_of``.
    """
    rows = scaled_rows(value, answer, groups)
    ends, moves, owner = rows.value, rows.response, rows.shape_of
    steps = moves.shape[-1]
    weight = np.full(len(rows.of_group), 1.0 / len(rows.of_group))
    trust = 1.0 / (1.0 + _ratio(ends, rows))
    best, change = float(np.mean(loss_of(_ratio(ends, rows)))), np.zeros(steps)
    flat_lift = lift_answer.reshape(-1, steps)
    for turn in range(iterations):
        share = owner * weight[:, None]
        share = share / np.maximum(share.sum(axis=0), 1e-12)
        middle_of_moves = np.einsum("drt,rg->dgt", moves, share)
        centred = moves - np.einsum("rg,dgt->drt", owner, middle_of_moves)
        apart = ends - (ends @ share) @ owner.T
        root = np.sqrt(trust[:, None] * weight / trust.sum())
        design, right = (centred * root[..., None]).reshape(-1, steps), (apart * root).reshape(-1)
        travel = np.repeat(np.sqrt(TRAVEL * trust / trust.sum()), steps)
        design_lift = flat_lift * travel[:, None]
        normal = design.T @ design + design_lift.T @ design_lift
        wanted = design.T @ right + design_lift.T @ (travel * lifts_mm.reshape(-1))
        solved = -np.linalg.solve(normal + 1e-9 * np.trace(normal) * np.eye(steps), wanted)
        solved = solved * _part_within(lifts_mm.mean(axis=0), lift_answer.mean(axis=0) @ solved, bounds_mm)
        left = apart + centred @ solved
        ratio = _ratio(ends + moves @ solved, rows)
        loss = float(np.mean(loss_of(ratio)))
        if loss < best:
            best, change = loss, solved
        size_of = np.sqrt(np.einsum("d,dr->r", trust, left * left) / trust.sum())
        weight = weight * (size_of + 1e-6)
        weight /= weight.sum()
        cost = slope_of_loss(ratio) if turn >= iterations // 2 else np.ones_like(ratio)
        trust = cost / np.maximum(ratio, 0.3)
    return change


def _part_within(now: FloatArray, step: FloatArray, bounds: tuple[FloatArray, FloatArray]) -> float:
    """The largest part of ``step`` that keeps ``now`` plus it between the bounds; 1 where it need not be shortened."""
    room = np.where(step > 0.0, bounds[1] - now, now - bounds[0])
    share = np.maximum(room, 0.0) / np.maximum(np.abs(step), 1e-12)
    return float(np.clip(share.min(initial=1.0), 0.0, 1.0))


def _ratio(ends: FloatArray, rows: Rows) -> FloatArray:
    """How far out each draw ends (draws,): 1 is the band's edge."""
    worst = np.zeros(len(ends))
    for index in range(rows.groups):
        worst = np.maximum(worst, 0.5 * np.ptp(ends[:, rows.of_group == index], axis=1))
    means = rows.of_group < 0
    if means.any():
        worst = np.maximum(worst, np.abs(ends[:, means]).max(axis=1) / MEAN_WEIGHT)
    return worst
