"""Which bolts, how far, in what order, where to park, and what the indicator shows when each is right.

Why it exists: the bolt under the low spot is often the wrong bolt, sometimes the wrong way. This module prevents
turning more bolts than needed, planning on one guess of the response, and promising what a hand cannot do.

Guided turning is feedback: the user turns bolt ``b`` with the carriage parked at ``p`` until the display shows the
target. How far the bolt really goes then depends on the true response at ``p``, and a later bolt's target repairs at
its own park what the earlier ones did there. So outcomes are predicted by *playing the round through* in every draw of
the response, and bolts, parks and targets are chosen together for the chance of landing inside.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from itertools import combinations

import numpy as np

from analysis.chebyshev import Group, chebyshev_lifts, rank_sets
from analysis.results import FloatArray, IntArray

REFINED = 4  # sets of bolts whose parks and targets are worked out in full
RANKED = 60  # draws that are enough to rank sets of bolts
PARKS_TRIED = 10
SLOPE = 0.2
WELL_INSIDE = 0.85  # the planner aims for this part of the band, so that a guarded verdict can follow


@dataclass(frozen=True)
class Situation:
    """What is known before a round, at ``rows`` (stations of one or several set-ups, and places).

    ``value`` (rows,) with ``covariance`` (rows, rows); ``response`` (draws, rows, bolts) per mm of lift.
    ``parks`` (k,) are the rows at which the carriage may be parked and read. ``lowest_mm`` and ``highest_mm`` bound
    each bolt's lift (both 0: not to be turned), ``smallest_mm`` is what a hand can still do.
    ``hand`` is the standard deviation of the display at the end of a turn, in the rows' unit; ``lock_nut_mm`` that of
    the shift when the nut is locked and read again.
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

    @property
    def bolts(self) -> int:
        """How many bolts."""
        return int(self.response.shape[-1])


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


def draw_errors(situation: Situation, turns: int, seed: int = 7) -> Errors:
    """Accidents for as many draws as the response has."""
    draws, rows = situation.response.shape[:2]
    rng = np.random.default_rng(seed)
    eigen, vectors = np.linalg.eigh(0.5 * (situation.covariance + situation.covariance.T))
    root = vectors * np.sqrt(np.maximum(eigen, 0.0))
    return Errors(
        value=situation.value + rng.standard_normal((draws, rows)) @ root.T,
        hand=situation.hand * rng.standard_normal((draws, turns)),
        lock_nut_mm=situation.lock_nut_mm * rng.standard_normal((draws, turns)),
    )


def feasible(situation: Situation, room: float = 0.8) -> Situation:
    """The same with the limits of all groups but the first widened to what the bolts can reach together with it.

    A row of single bolts cannot bend a twist out of the rail: a limit no move can meet must not stop all others.
    """
    if len(situation.groups) < 2:
        return situation
    middle = situation.response.mean(axis=0)
    first, *others = situation.groups
    for _ in range(2):
        alone = []
        for group in others:
            _, ratio = chebyshev_lifts(
                situation.value, middle, (first, group), situation.lowest_mm, situation.highest_mm, cost_per_mm=1e-4
            )
            alone.append(replace(group, limit=group.limit * max(1.0, ratio / room)))
        others = alone
    _, ratio = chebyshev_lifts(
        situation.value, middle, (first, *others), situation.lowest_mm, situation.highest_mm, cost_per_mm=1e-4
    )
    if ratio > room:
        others = [replace(group, limit=group.limit * ratio / room) for group in others]
    return replace(situation, groups=(first, *others))


def best_possible(situation: Situation, count: int = 24) -> FloatArray:
    """Smallest peak to valley (as a part of the limit) any lifts reach, in ``count`` of the draws: (count,).

    The mean counts too: a rail whose bolts cannot bring it to height is not reachable either.
    """
    draws = min(count, len(situation.response))
    reached = [
        chebyshev_lifts(
            situation.value, response, situation.groups, situation.lowest_mm, situation.highest_mm, cost_per_mm=1e-5
        )[1]
        for response in situation.response[:draws]
    ]
    return np.array(reached)


def play(
    situation: Situation, errors: Errors, steps: tuple[tuple[int, int], ...], targets: FloatArray, expected: FloatArray
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Play a round of (bolt, park) turns to ``targets`` in every draw.

    Returns the values at the end (draws, rows), the lifts (draws, steps), and how the end answers to the targets
    (draws, rows, steps). A user stops when a bolt has gone three times as far as was said.
    """
    value = errors.value
    answer = np.zeros((*value.shape, len(steps)))
    lifts = np.zeros((len(value), len(steps)))
    for index, (bolt, park) in enumerate(steps):
        column = situation.response[:, :, bolt]
        gain = column[:, park]
        safe = np.where(np.abs(gain) < 0.02, np.copysign(0.02, gain), gain)
        reach = 3.0 * abs(expected[index]) + 0.1
        wanted = (targets[index] + errors.hand[:, index] - value[:, park]) / safe
        lift = np.clip(wanted, -reach, reach)
        per_target = np.where(lift == wanted, 1.0 / safe, 0.0)
        answer[:, :, :index] -= (column * per_target[:, None])[:, :, None] * answer[:, park : park + 1, :index]
        answer[:, :, index] = column * per_target[:, None]
        lifts[:, index] = lift + errors.lock_nut_mm[:, index]
        value = value + column * lifts[:, index : index + 1]
    return value, lifts, answer


def loss_of(ratio: FloatArray) -> FloatArray:
    """What a draw's ratio costs: a step at the band, and a slope that keeps hopeless machines improving."""
    return np.asarray(1.0 / (1.0 + np.exp(-np.clip((ratio - WELL_INSIDE) / 0.08, -40.0, 40.0))) + SLOPE * ratio)


def optimise_targets(
    situation: Situation, errors: Errors, steps: tuple[tuple[int, int], ...], lifts_mm: FloatArray, iterations: int = 12
) -> Outcome:
    """The best targets for given bolts and parks, from ``lifts_mm`` (steps,) as a start: damped Gauss-Newton on
    draws.
    """
    middle = situation.response.mean(axis=0)
    targets = _targets_for(situation.value, middle, steps, lifts_mm)
    scale = np.maximum(np.abs([middle[park, bolt] for bolt, park in steps]), 0.05)
    best: Outcome | None = None
    step = 0.25 * min(group.limit for group in situation.groups)
    direction = np.zeros(len(steps))
    for _ in range(iterations):
        value, lifts, answer = play(situation, errors, steps, targets, lifts_mm)
        ratio, slope = _ratio_and_slope(value, situation.groups)
        losses = loss_of(ratio)
        loss = float(losses.mean())
        if best is None or loss < best.loss - 1e-6:
            best = Outcome(_steps(situation, steps, targets, middle), value, lifts, ratio, loss)
            kept, step = targets, step * 1.3
            logistic = losses - SLOPE * ratio
            weight = logistic * (1.0 - logistic) / 0.08 + SLOPE
            gradient = np.einsum("d,dr,drt->t", weight, slope, answer) / len(value)
            size = float(np.linalg.norm(gradient * scale))
            direction = -gradient * scale * scale / max(size, 1e-12)
        else:
            step *= 0.45
        if step < 0.01 * min(group.limit for group in situation.groups):
            break
        targets = kept + step * direction
    assert best is not None
    return best


def choose_parks(
    situation: Situation, errors: Errors, bolts: tuple[int, ...], lifts_mm: FloatArray, draws: int = 48
) -> tuple[tuple[int, int], ...]:
    """Where to park for each bolt so that the end of the round is surest: coordinate descent on the spread of the
    draws.
    """
    middle = situation.response.mean(axis=0)
    parks = situation.parks[:: max(1, round(len(situation.parks) / PARKS_TRIED))]
    gain = middle[parks]
    steps = list(_parks_seen_best(situation, bolts))
    few = _first(situation, draws)
    some = Errors(errors.value[:draws], errors.hand[:draws], errors.lock_nut_mm[:draws])
    weights = np.concatenate([np.full(len(group.rows), 1.0 / group.limit) for group in situation.groups])
    rows = np.concatenate([group.rows for group in situation.groups])

    def unsure(trial: list[tuple[int, int]]) -> float:
        chosen = tuple(trial)
        value, _, _ = play(few, some, chosen, _targets_for(situation.value, middle, chosen, lifts_mm), lifts_mm)
        away = (value - (situation.value + middle[:, list(bolts)] @ lifts_mm))[:, rows] * weights
        return float(np.quantile(np.ptp(away, axis=1), 0.7))

    for _ in range(2 if len(bolts) < 5 else 1):
        for index, bolt in enumerate(bolts):
            usable = [int(p) for p, g in zip(parks, gain[:, bolt], strict=True) if abs(g) > 0.1] or [steps[index][1]]
            trials = [[*steps[:index], (bolt, park), *steps[index + 1 :]] for park in usable]
            steps = min(trials, key=unsure)
    return tuple(steps)


def _parks_seen_best(situation: Situation, bolts: tuple[int, ...]) -> tuple[tuple[int, int], ...]:
    """Each bolt with the park where its response is strong and well determined."""
    gain = situation.response[:, situation.parks]
    worth = np.abs(gain.mean(axis=0)) / (0.03 + gain.std(axis=0))
    return tuple((bolt, int(situation.parks[np.argmax(worth[:, bolt])])) for bolt in bolts)


def candidate_bolts(situation: Situation, largest: int = 4, keep: int = 3) -> list[tuple[int, ...]]:
    """Promising sets of bolts: the best few of every size by a fast Chebyshev fit on the mean response."""
    middle = situation.response.mean(axis=0)
    free = [b for b in range(situation.bolts) if situation.highest_mm[b] - situation.lowest_mm[b] > 0]
    found: list[tuple[int, ...]] = []
    for size in range(1, min(largest, len(free)) + 1):
        sets = np.array(list(combinations(free, size)))
        score = rank_sets(situation.value, middle, situation.groups, sets)
        found += [tuple(int(b) for b in sets[i]) for i in np.argsort(score, kind="stable")[:keep]]
    for cost in (1.0, 0.3, 0.1, 0.03, 0.01):  # the path of ever more travel allowed: larger sets, where they pay
        lifts, _ = chebyshev_lifts(
            situation.value, middle, situation.groups, situation.lowest_mm, situation.highest_mm, cost_per_mm=cost
        )
        moved = tuple(int(b) for b in np.flatnonzero(np.abs(lifts) >= situation.smallest_mm))
        if moved and moved not in found:
            found.append(moved)
    return found


def plan_round(situation: Situation, cost_per_move: float = 0.02, seed: int = 7) -> tuple[Outcome, Outcome]:
    """The round to make, and the outcome of turning nothing, both under the same accidents.

    Sets of bolts are taken in order of promise; parks and targets of each are optimised on the draws; the winner has
    the lowest loss with ``cost_per_move`` for every bolt.
    """
    errors = draw_errors(situation, max(situation.bolts, 1), seed)
    ratio, _ = _ratio_and_slope(errors.value, situation.groups)
    nothing = Outcome((), errors.value, np.zeros((len(ratio), 0)), ratio, float(loss_of(ratio).mean()))
    rough: dict[frozenset[int], Outcome] = {}
    fine: dict[frozenset[int], Outcome] = {frozenset(): nothing}

    def score(bolts: frozenset[int], kept: dict[frozenset[int], Outcome]) -> float:
        if bolts not in kept:
            kept[bolts] = _best_with(situation, errors, tuple(sorted(bolts)), kept is fine) or nothing
        return kept[bolts].loss + cost_per_move * len(kept[bolts].steps)

    promising = sorted({frozenset(bolts) for bolts in candidate_bolts(situation)}, key=sorted)
    best: frozenset[int] = frozenset()
    for _ in range(2):  # the best of these; then of those with one more, one less, as long as it pays
        promising.sort(key=lambda bolts: score(bolts, rough))
        better = min([best, *promising[:REFINED]], key=lambda bolts: score(bolts, fine))
        if better == best:
            break
        best = better
        promising = [frozenset(best ^ {bolt}) for bolt in range(situation.bolts) if _turns(situation, bolt)]
    return fine[best], nothing


def _best_with(situation: Situation, errors: Errors, bolts: tuple[int, ...], refine: bool) -> Outcome | None:
    """The best round with these bolts, largest move first; None when a hand could not make one of its moves.

    Without ``refine`` parks are taken where each bolt is seen best, and targets are only begun: enough for ranking.
    """
    columns = list(bolts)
    if not columns:
        return None
    lifts, _ = chebyshev_lifts(
        situation.value,
        situation.response.mean(axis=0)[:, columns],
        situation.groups,
        situation.lowest_mm[columns],
        situation.highest_mm[columns],
    )
    worth = np.abs(lifts) >= situation.smallest_mm[columns]
    order = [i for i in np.argsort(-np.abs(lifts), kind="stable") if worth[i]]
    if not order:
        return None
    chosen, wanted = tuple(bolts[i] for i in order), lifts[order]
    if not refine:
        few = replace(situation, response=situation.response[:RANKED])
        some = Errors(errors.value[:RANKED], errors.hand[:RANKED], errors.lock_nut_mm[:RANKED])
        return optimise_targets(few, some, _parks_seen_best(situation, chosen), wanted, iterations=5)
    outcome = optimise_targets(situation, errors, choose_parks(situation, errors, chosen, wanted), wanted)
    worth_it = [step.bolt for step in outcome.steps if abs(step.lift_mm) >= situation.smallest_mm[step.bolt]]
    return outcome if len(worth_it) == len(chosen) else _best_with(situation, errors, tuple(sorted(worth_it)), refine)


def _turns(situation: Situation, bolt: int) -> bool:
    return bool(situation.highest_mm[bolt] - situation.lowest_mm[bolt] > 0)


def _first(situation: Situation, draws: int) -> Situation:
    return replace(situation, response=situation.response[:draws])


def _targets_for(
    value: FloatArray, middle: FloatArray, steps: tuple[tuple[int, int], ...], lifts_mm: FloatArray
) -> FloatArray:
    """What the parked quantity is after each turn if the mean response were the true one."""
    targets, now = np.zeros(len(steps)), value
    for index, (bolt, park) in enumerate(steps):
        now = now + middle[:, bolt] * lifts_mm[index]
        targets[index] = now[park]
    return targets


def _steps(
    situation: Situation, steps: tuple[tuple[int, int], ...], targets: FloatArray, middle: FloatArray
) -> tuple[Step, ...]:
    """The steps with the lift each is expected to take on the mean response."""
    now, made = situation.value, []
    for (bolt, park), target in zip(steps, targets, strict=True):
        before = float(now[park])
        lift = (float(target) - before) / float(middle[park, bolt])
        now = now + middle[:, bolt] * lift
        made.append(Step(bolt, park, float(target), lift, before))
    return tuple(made)


def _ratio_and_slope(value: FloatArray, groups: tuple[Group, ...]) -> tuple[FloatArray, FloatArray]:
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
