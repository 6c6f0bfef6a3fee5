"""The smallest largest deviation: the fit that a band of peak to valley asks for.

Why it exists: least squares spreads small errors at the price of a large one, and it is the large one that is judged.
Chebyshev problems are linear programmes; every answer is evaluated again in numpy before it is believed.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from analysis.results import FloatArray, IntArray


@dataclass(frozen=True)
class Group:
    """Rows judged together: their peak to valley against ``limit``, their mean against ``mean`` (None: free).

    ``rows`` indexes the situation's rows. ``limit`` and ``mean`` are in the rows' unit.
    """

    name: str
    rows: IntArray
    limit: float
    mean: tuple[float, float] | None = None


def chebyshev_lifts(
    value: FloatArray,
    response: FloatArray,
    groups: tuple[Group, ...],
    lowest: FloatArray,
    highest: FloatArray,
    cost_per_mm: float = 1e-3,
) -> tuple[FloatArray, float]:
    """Lifts with the smallest largest deviation (as a part of each group's limit), bounded, with a small cost on
    travel.

    ``value`` (rows,), ``response`` (rows, bolts). Returns the lifts (bolts,) and the ratio they reach, evaluated in
    numpy: 1 means a group's peak to valley equals its limit. Set-ups have exact null directions (a tilt of the whole
    rail that the indicator cannot see): without the cost a solver runs away along them.
    """
    from scipy.optimize import linprog

    bolts, count = response.shape[1], len(groups)
    size = 2 * bolts + 2 * count + 1  # up, down, free middle and mean slack of each group, z
    rows, right = [], []
    for index, group in enumerate(groups):
        up = response[group.rows]
        block = np.zeros((2 * len(group.rows), size))
        block[:, :bolts] = np.concatenate([up, -up])
        block[:, bolts : 2 * bolts] = -block[:, :bolts]
        block[: len(group.rows), 2 * bolts + index] = -1.0
        block[len(group.rows) :, 2 * bolts + index] = 1.0
        block[:, -1] = -0.5 * group.limit
        rows.append(block)
        right.append(np.concatenate([-value[group.rows], value[group.rows]]))
        if group.mean is not None:
            mean = np.zeros((2, size))
            mean[0, :bolts] = up.mean(axis=0)
            mean[1] = -mean[0]
            mean[:, bolts : 2 * bolts] = -mean[:, :bolts]
            mean[:, 2 * bolts + count + index] = -1.0
            rows.append(mean)
            now = value[group.rows].mean()
            spare = 0.10 * (group.mean[1] - group.mean[0])
            right.append(np.array([group.mean[1] - spare - now, now - group.mean[0] - spare]))
    cost = np.concatenate([np.full(2 * bolts, cost_per_mm), np.zeros(count), 4.0 / _limits(groups), [1.0]])
    least = np.concatenate([np.zeros(2 * bolts), np.full(count, -np.inf), np.zeros(count + 1)])
    most = np.concatenate([np.maximum(highest, 0.0), np.maximum(-lowest, 0.0), np.full(2 * count + 1, np.inf)])
    solved = linprog(
        cost,
        A_ub=np.concatenate(rows),
        b_ub=np.concatenate(right),
        bounds=list(zip(least.tolist(), most.tolist(), strict=True)),
        method="highs",
    )
    if solved.x is None:  # always feasible (no lift at all is allowed); a solver that says otherwise is not believed
        return np.zeros(bolts), worst_ratio(value, groups)
    lifts = np.clip(solved.x[:bolts] - solved.x[bolts : 2 * bolts], lowest, highest)
    return lifts, worst_ratio(value + response @ lifts, groups)


def worst_ratio(value: FloatArray, groups: tuple[Group, ...]) -> float:
    """How far out the worst group's peak to valley is (1: its limit); a mean counts only where it is off its band."""
    worst = 0.0
    for group in groups:
        part = value[group.rows]
        worst = max(worst, float(np.ptp(part)) / group.limit)
        if group.mean is not None:
            beyond = max(group.mean[0] - float(part.mean()), float(part.mean()) - group.mean[1])
            worst = max(worst, 1.0 + 2.0 * beyond / group.limit) if beyond > 1e-6 else worst
    return worst


def _limits(groups: tuple[Group, ...]) -> FloatArray:
    return np.array([group.limit for group in groups])
