"""Which bolts, how far, in what order, where to park, and what the indicator shows when each is right.

Why it exists: the bolt under the low spot is often the wrong bolt, sometimes the wrong way. This module prevents
turning more bolts than needed, planning on one guess of the response, and promising what a hand cannot do.

Bolts, parks and targets are chosen together by playing the round through (``guided``) in every draw of the response.
Sets of bolts come from a fit that counts the doubt of the response like error (``robust``).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from itertools import combinations

import numpy as np

from analysis.ahead import loss_ahead
from analysis.chebyshev import chebyshev_lifts
from analysis.guided import (
    Parks,
    begun_from,
    begun_targets,
    choose_parks,
    optimise_targets,
    outcome_of,
    parks_seen_best,
    targets_for,
)
from analysis.results import FloatArray, IntArray
from analysis.robust import Rows, response_doubt, robust_sets, scaled_rows
from analysis.situation import Errors, Outcome, Situation, draw_errors, loss_of, ratio_and_slope

REFINED = 4  # sets of bolts whose parks and targets are worked out in full
RANKED = 60  # draws that are enough to rank sets of bolts
AHEAD = 0.9  # weight of the next round's end against this one's, where none can end inside ...
SOON = 0.25  # ... and none where one is this likely to: a lesson is not worth a round that may be the last
WORK = 0.1  # part of the price of moves that counts then: a round that teaches nothing costs a sweep
SHARES = (1.0, 0.7, 0.5, 0.35, 0.25)  # of such a round, the largest that is not too bold
BOLDER = (0.1, 0.02)  # parts of the response's variance counted by rounds that are made to learn
WORSE, SELDOM = 1.2, 0.12  # a round may leave the machine this much worse in this part of the draws ...
AT_LAST = 0.3  # ... or in this part, where every other round would be standing still outside
DARED = 0.25  # ... and in so many more for every one it may bring inside
ROUGHLY = 8  # steps of the fit that are enough to rank
PARTS = (1.0, 0.1)  # of the response's variance that larger sets are begun with
AGAIN = 2  # so many bolts may be turned a second time in a round ...
COMING_BACK = 2.0  # ... where that is worth so many moves more than the move itself
STANDING_STILL = 4  # a sweep that will show the same again is work as well: so many moves
LIKELY = 0.5
LARGEST = 4  # sets up to this size are all tried; larger ones are grown down from all bolts


Starts = dict[tuple[int, ...], list[FloatArray]]
"""Sets of bolts with the lifts from which their parks and targets are sought."""


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


def candidate_bolts(situation: Situation, keep: int = 3) -> Starts:
    """Promising sets of bolts with the lifts of first fits: the best few of every small size, and the best of every
    larger one by leaving out one bolt after another, counting more or less of the doubt of the response.
    """
    rows = _rows(situation)
    doubt = response_doubt(rows)
    free = situation.turnable()
    found: Starts = {}
    if not free:
        return found
    for size in range(1, min(LARGEST, len(free)) + 1):
        sets = np.array(list(combinations(free, size)))
        score, lifts = robust_sets(situation, rows, doubt, sets)
        for index in np.argsort(score, kind="stable")[:keep]:
            _note(found, sets[index], lifts[index])
    for part in PARTS:
        left = np.array(free)
        while len(left) > LARGEST:
            if len(left) == len(free):
                _, lifts = robust_sets(situation, rows, doubt, left[None], part)
                _note(found, left, lifts[0])
            sets = np.array([np.delete(left, index) for index in range(len(left))])
            score, lifts = robust_sets(situation, rows, doubt, sets, part)
            chosen = int(np.argmin(score))
            left = sets[chosen]
            _note(found, left, lifts[chosen])
    return found


def _note(found: Starts, bolts: IntArray, lifts: FloatArray) -> None:
    found.setdefault(tuple(int(b) for b in bolts), []).append(lifts)


def plan_round(
    situation: Situation, cost_per_move: float = 0.02, seed: int = 7, insist: bool = False, made: Parks | None = ()
) -> tuple[Outcome, Outcome]:
    """The round to make, and the outcome of turning nothing, both under the same accidents.

    Sets of bolts are taken in order of promise; parks and targets of each are optimised on the draws; the winner has
    the lowest loss with ``cost_per_move`` for every bolt. Where that one can hardly end inside, what a round teaches
    counts too. ``insist``: standing still is no choice, as long as some round is not often worse than that.
    ``made`` are the turns of this round that were made already; with None no bolt is turned a second time.
    """
    errors = draw_errors(situation, 2 * max(situation.bolts, 1), seed)
    ratio, _ = ratio_and_slope(errors.value, situation.groups)
    nothing = Outcome((), errors.value, np.zeros((len(ratio), 0)), ratio, float(loss_of(ratio).mean()))

    def price(outcome: Outcome) -> float:
        travel = sum(abs(step.lift_mm) for step in outcome.steps)
        work = len(outcome.steps) if outcome.steps or nothing.chance_inside > LIKELY else STANDING_STILL
        return outcome.loss + cost_per_move * work + situation.cost_per_mm * travel

    tried: dict[frozenset[int], Outcome] = {frozenset(): nothing}
    starts = candidate_bolts(situation)
    for _ in range(2):  # the best of these; then of those with one more, one less, as long as it pays
        before = min(tried.values(), key=price)
        for bolts, lifts in _most_promising(situation, errors, starts, price):
            outcome = best_with(situation, errors, bolts, lifts, True)
            if outcome is not None:
                key = frozenset(step.bolt for step in outcome.steps)
                tried[key] = min([outcome, tried.get(key, outcome)], key=price)
        best = min(tried.values(), key=price)
        if best is before:
            break
        starts = _with_one_more_or_less(situation, frozenset(step.bolt for step in best.steps))
    best = min(tried.values(), key=price)
    if made is not None:
        best = turned_again(situation, errors, best, made, price, COMING_BACK * cost_per_move)
    if best.chance_inside >= SOON or len(tried) == 1:
        return best, nothing
    ahead = AHEAD * (1.0 - best.chance_inside / SOON)
    for allowed in (SELDOM, AT_LAST) if insist else (SELDOM,):
        rounds = [best, *tried.values(), *bolder(situation, errors, nothing, allowed)]
        worth = [_worth(situation, each, nothing, ahead, allowed) + WORK * (price(each) - each.loss) for each in rounds]
        turning = [each.steps != () and np.isfinite(here) for each, here in zip(rounds, worth, strict=True)]
        if insist and any(turning):
            worth = [here if turns else np.inf for here, turns in zip(worth, turning, strict=True)]
            break
    return (rounds[int(np.argmin(worth))] if np.isfinite(min(worth)) else nothing), nothing


def _most_promising(
    situation: Situation, errors: Errors, starts: Starts, price: Callable[[Outcome], float]
) -> list[tuple[tuple[int, ...], FloatArray]]:
    """Starts worth refining: the best few, and the best two of many bolts, which rank too low before they are refined.

    Sets of which a hand would not turn all bolts are the smaller sets again: one of each is enough.
    """
    found: dict[frozenset[int], tuple[float, tuple[int, ...], FloatArray]] = {}
    for bolts, several in starts.items():
        for lifts in several:
            outcome = best_with(situation, errors, bolts, lifts, False)
            if outcome is None:
                continue
            key, here = frozenset(step.bolt for step in outcome.steps), price(outcome)
            if key not in found or here < found[key][0]:
                found[key] = (here, bolts, lifts)
    ranked = sorted(found.values(), key=lambda each: each[0])
    chosen = ranked[:REFINED] + [each for each in ranked[REFINED:] if len(each[1]) > LARGEST][:2]
    return [(bolts, lifts) for _, bolts, lifts in chosen]


def _with_one_more_or_less(situation: Situation, best: frozenset[int]) -> Starts:
    """First fits of the sets that differ from ``best`` in one bolt."""
    rows = _rows(situation)
    doubt = response_doubt(rows)
    found: Starts = {}
    near = [tuple(sorted(best ^ {bolt})) for bolt in situation.turnable()]
    for size in sorted({len(bolts) for bolts in near} - {0}):
        sets = np.array([bolts for bolts in near if len(bolts) == size])
        _, lifts = robust_sets(situation, rows, doubt, sets)
        for index in range(len(sets)):
            _note(found, sets[index], lifts[index])
    return found


def turned_again(
    situation: Situation,
    errors: Errors,
    outcome: Outcome,
    made: Parks,
    price: Callable[[Outcome], float],
    least_gain: float = 0.0,
) -> Outcome:
    """The round with bolts turned a second time at its end, as long as that pays by more than ``least_gain``.

    What later bolts did at a park is put right there by its display, whatever the response: the one way in which a
    round answers to the machine before the next sweep. ``made``: turns of this round that were made already.
    """
    some, few = errors.first(RANKED), replace(situation, response=situation.response[:RANKED])
    for _ in range(AGAIN):
        steps = tuple((step.bolt, step.park) for step in outcome.steps)
        so_far = (*made, *steps)
        twice = {bolt for bolt, _ in so_far if sum(other == bolt for other, _ in so_far) > 1}
        free = [pair for pair in dict.fromkeys(so_far) if pair[0] not in twice and pair[0] != so_far[-1][0]]
        if not free or len(steps) >= errors.hand.shape[1]:
            break
        targets, end = np.array([step.target for step in outcome.steps]), outcome.value.mean(axis=0)
        trials = []
        for bolt, park in free:
            longer = (*steps, (bolt, park))
            aims = begun_from(few, some, longer, np.append(targets, end[park]))
            trials.append((price(outcome_of(few, some, longer, aims)[0]), longer, aims))
        _, longer, aims = min(trials, key=lambda trial: trial[0])
        better = optimise_targets(situation, errors, longer, aims)
        too_small = any(abs(step.lift_mm) < situation.smallest_mm[step.bolt] for step in better.steps)
        if too_small or price(better) + least_gain >= price(outcome):
            break
        outcome = better
    return outcome


def _worth(situation: Situation, outcome: Outcome, nothing: Outcome, ahead: float, allowed: float = SELDOM) -> float:
    """Loss of this round and, by its weight, of the one after it; a round that may well make things worse is out."""
    if not outcome.steps:
        return nothing.loss  # standing still teaches nothing: the round after it would be this one again
    if _risk(outcome, nothing) > allowed + DARED * max(outcome.chance_inside - nothing.chance_inside, 0.0):
        return np.inf
    return (1.0 - ahead) * outcome.loss + ahead * loss_ahead(situation, outcome)


def _risk(outcome: Outcome, nothing: Outcome) -> float:
    """The part of the draws in which a round leaves the machine worse."""
    return float(np.mean(outcome.ratio > WORSE * np.maximum(nothing.ratio, 1.0)))


def bolder(situation: Situation, errors: Errors, nothing: Outcome, allowed: float = SELDOM) -> list[Outcome]:
    """Rounds with all bolts that trust the response more than its doubt allows: worth it for what they teach.

    Each is taken as far as it hardly risks to make things worse: bolts that nearly cancel teach by going far.
    """
    bolts = np.array(situation.turnable(), dtype=np.int64)
    if not len(bolts):
        return []
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
        for share in SHARES:
            targets = targets_for(situation.middle_value, situation.response.mean(axis=0), parks, share * wanted)
            outcome = outcome_of(situation, errors, parks, targets)[0]
            if _risk(outcome, nothing) <= allowed:
                made.append(outcome)
                break
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
    few, some = replace(situation, response=situation.response[:RANKED]), errors.first(RANKED)
    parks = parks_seen_best(few, chosen)
    roughly = optimise_targets(few, some, parks, begun_targets(few, some, parks, wanted, ROUGHLY), iterations=2)
    if not refine:
        return roughly
    others = choose_parks(situation, errors, chosen, wanted)
    begun = begun_targets(few, some, others, wanted, ROUGHLY)
    if outcome_of(few, some, others, begun)[0].loss < roughly.loss:
        parks = others
    outcome = optimise_targets(situation, errors, parks, begun_targets(situation, errors, parks, wanted))
    small = [step.bolt for step in outcome.steps if abs(step.lift_mm) < situation.smallest_mm[step.bolt]]
    if not small:
        return outcome
    rest = tuple(sorted(bolt for bolt in chosen if bolt not in small))
    return best_with(situation, errors, rest, first_lifts(situation, rest), refine) if rest else None
