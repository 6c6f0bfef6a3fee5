"""Which bolts, how far, in what order, where to park, and what the indicator shows when each is right.

Why it exists: the bolt under the low spot is often the wrong bolt, sometimes the wrong way. This module prevents
turning more bolts than needed, planning on one guess of the response, and promising what a hand cannot do.

Bolts, parks and targets are chosen together by playing the round through (``guided``) in every draw of the response.
Sets of bolts come from a fit that counts the doubt of the response like error (``robust``).
"""

from __future__ import annotations

from dataclasses import replace
from itertools import combinations

import numpy as np

from analysis.ahead import loss_ahead
from analysis.chebyshev import chebyshev_lifts
from analysis.guided import begun_targets, choose_parks, optimise_targets, outcome_of, parks_seen_best, targets_for
from analysis.results import FloatArray
from analysis.robust import Rows, response_doubt, robust_sets, scaled_rows
from analysis.situation import Errors, Outcome, Situation, draw_errors, loss_of, ratio_and_slope

REFINED = 4  # sets of bolts whose parks and targets are worked out in full
RANKED = 60  # draws that are enough to rank sets of bolts
PROGRESS = 0.6  # a round that ends at this part of where it began is made for itself, not for what it teaches
AHEAD = 0.5  # weight of the next round's end against this one's
BOLDER = (0.1, 0.02)  # parts of the response's variance counted by rounds that are made to learn
WORSE, SELDOM = 1.2, 0.05  # a round may leave the machine this much worse in this part of the draws
LARGEST = 4  # sets up to this size are all tried; larger ones are grown down from all bolts


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


def candidate_bolts(situation: Situation, keep: int = 3) -> dict[tuple[int, ...], FloatArray]:
    """Promising sets of bolts with the lifts of a first fit: the best few of every small size, and the best of every
    larger one by leaving out one bolt after another.
    """
    rows = _rows(situation)
    doubt = response_doubt(rows)
    free = situation.turnable()
    found: dict[tuple[int, ...], FloatArray] = {}
    if not free:
        return found
    for size in range(1, min(LARGEST, len(free)) + 1):
        sets = np.array(list(combinations(free, size)))
        score, lifts = robust_sets(situation, rows, doubt, sets)
        for index in np.argsort(score, kind="stable")[:keep]:
            found[tuple(int(b) for b in sets[index])] = lifts[index]
    left = np.array(free)
    while len(left) > LARGEST:
        if len(left) == len(free):
            _, lifts = robust_sets(situation, rows, doubt, left[None])
            found[tuple(int(b) for b in left)] = lifts[0]
        sets = np.array([np.delete(left, index) for index in range(len(left))])
        score, lifts = robust_sets(situation, rows, doubt, sets)
        chosen = int(np.argmin(score))
        left = sets[chosen]
        found[tuple(int(b) for b in left)] = lifts[chosen]
    return found


def plan_round(
    situation: Situation, cost_per_move: float = 0.02, seed: int = 7, insist: bool = False
) -> tuple[Outcome, Outcome]:
    """The round to make, and the outcome of turning nothing, both under the same accidents.

    Sets of bolts are taken in order of promise; parks and targets of each are optimised on the draws; the winner has
    the lowest loss with ``cost_per_move`` for every bolt. Where none is likely to end inside, what a round teaches
    counts too. ``insist``: standing still is no choice, as long as some round is not likely to make things worse.
    """
    errors = draw_errors(situation, max(situation.bolts, 1), seed)
    ratio, _ = ratio_and_slope(errors.value, situation.groups)
    nothing = Outcome((), errors.value, np.zeros((len(ratio), 0)), ratio, float(loss_of(ratio).mean()))
    begun = candidate_bolts(situation)
    rough: dict[frozenset[int], Outcome] = {}
    fine: dict[frozenset[int], Outcome] = {frozenset(): nothing}

    def score(bolts: frozenset[int], kept: dict[frozenset[int], Outcome]) -> float:
        if bolts not in kept:
            chosen = tuple(sorted(bolts))
            lifts = begun[chosen] if chosen in begun else first_lifts(situation, chosen)
            kept[bolts] = best_with(situation, errors, chosen, lifts, kept is fine) or nothing
        return kept[bolts].loss + cost(kept[bolts])

    def cost(outcome: Outcome) -> float:
        travel = sum(abs(step.lift_mm) for step in outcome.steps)
        return cost_per_move * len(outcome.steps) + situation.cost_per_mm * travel

    promising = [frozenset(bolts) for bolts in begun]
    best: frozenset[int] = frozenset()
    for _ in range(2):  # the best of these; then of those with one more, one less, as long as it pays
        promising.sort(key=lambda bolts: score(bolts, rough))
        better = min([best, *promising[:REFINED]], key=lambda bolts: score(bolts, fine))
        if better == best:
            break
        best = better
        promising = [frozenset(best ^ {bolt}) for bolt in situation.turnable()]
        promising = [bolts for bolts in promising if bolts]
    if np.median(fine[best].ratio) <= max(1.0, PROGRESS * np.median(nothing.ratio)) or not begun:
        return fine[best], nothing
    rounds = [*fine.values(), *bolder(situation, errors)]
    if insist:
        safe = [each for each in rounds if each.steps and np.isfinite(_worth(situation, each, nothing))]
        rounds = safe or [nothing]
    return min(rounds, key=lambda each: _worth(situation, each, nothing) + cost(each)), nothing


def _worth(situation: Situation, outcome: Outcome, nothing: Outcome) -> float:
    """Loss of this round and of the one after it; a round that may well make things worse is out."""
    if not outcome.steps:
        return nothing.loss  # standing still teaches nothing: the round after it would be this one again
    if np.mean(outcome.ratio > WORSE * np.maximum(nothing.ratio, 1.0)) > SELDOM:
        return np.inf
    return (1.0 - AHEAD) * outcome.loss + AHEAD * loss_ahead(situation, outcome)


def bolder(situation: Situation, errors: Errors) -> list[Outcome]:
    """Rounds with all bolts that trust the response more than its doubt allows: worth it for what they teach."""
    bolts = np.array(situation.turnable())
    rows = _rows(situation)
    doubt = response_doubt(rows)
    made = []
    for part in BOLDER:
        _, lifts = robust_sets(situation, rows, doubt, bolts[None], part)
        worth = np.flatnonzero(np.abs(lifts[0]) >= situation.smallest_mm[bolts])
        order = worth[np.argsort(-np.abs(lifts[0][worth]), kind="stable")]
        if not len(order):
            continue
        chosen, wanted = tuple(int(b) for b in bolts[order]), lifts[0][order]
        parks = choose_parks(situation, errors, chosen, wanted)
        targets = targets_for(situation.middle_value, situation.response.mean(axis=0), parks, wanted)
        made.append(outcome_of(situation, errors, parks, targets)[0])
    return made


def _rows(situation: Situation) -> Rows:
    start = np.broadcast_to(situation.middle_value, situation.response.shape[:2])
    return scaled_rows(start, situation.response, situation.groups)


def first_lifts(situation: Situation, bolts: tuple[int, ...]) -> FloatArray:
    """Lifts (bolts,) of one set by the robust fit."""
    rows = _rows(situation)
    _, lifts = robust_sets(situation, rows, response_doubt(rows), np.array([bolts]))
    return np.asarray(lifts[0])


def best_with(
    situation: Situation, errors: Errors, bolts: tuple[int, ...], lifts_mm: FloatArray, refine: bool
) -> Outcome | None:
    """The best round with these bolts, largest move first; None when a hand could not make one of its moves.

    Without ``refine`` parks are taken where each bolt is seen best, and targets are only begun: enough for ranking.
    """
    worth = np.abs(lifts_mm) >= situation.smallest_mm[list(bolts)]
    order = [i for i in np.argsort(-np.abs(lifts_mm), kind="stable") if worth[i]]
    if not order:
        return None
    chosen, wanted = tuple(bolts[i] for i in order), lifts_mm[order]
    if not refine:
        few, some = replace(situation, response=situation.response[:RANKED]), errors.first(RANKED)
        parks = parks_seen_best(few, chosen)
        return optimise_targets(few, some, parks, begun_targets(few, some, parks, wanted), iterations=2)
    parks = choose_parks(situation, errors, chosen, wanted)
    outcome = optimise_targets(situation, errors, parks, begun_targets(situation, errors, parks, wanted))
    small = [step.bolt for step in outcome.steps if abs(step.lift_mm) < situation.smallest_mm[step.bolt]]
    if not small:
        return outcome
    rest = tuple(sorted(bolt for bolt in chosen if bolt not in small))
    return best_with(situation, errors, rest, first_lifts(situation, rest), refine) if rest else None
