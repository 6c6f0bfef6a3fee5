"""Planning a round where contact decides: feet that open and close, bearings that take over from each other.

Why it exists: where a machine has many responses, one for each set of feet or bearings that carry, a plan made with one
of them asks for turns that change nothing, or much more than was said. It prevents that by planning on what will carry
at the end of the round, and by playing the plan through with the contacts as they change.

Several beginnings are tried (``Contact.beginnings``). On feet a linear plan is made, and again on the feet that carry
where it ends. Bearings take over too often for that: there the lifts go down the mean loss with the contacts as they
change, and shed the bolts they do not need. What is shown is the play with contact, not the linear plan.
"""

from __future__ import annotations

from dataclasses import replace
from typing import Protocol

import numpy as np

from analysis.bolts import WORSE, best_with, plan_round
from analysis.chebyshev import chebyshev_lifts, worst_ratio
from analysis.results import FloatArray, IntArray
from analysis.robust import robust_lifts, scaled_rows
from analysis.situation import (
    Errors,
    Outcome,
    Situation,
    Step,
    draw_errors,
    loss_of,
    ratio_and_slope,
    slope_of_loss,
)

TRIED = 13  # lifts at which a parked display is foreseen before the crossing is found between two of them
AGAIN = 2  # how often a plan is made again on the contacts at its end
SAME_PART = 0.05  # of the smallest band: contacts that change less do not make another plan
PLANNED = 48  # draws a plan is made on; it is played through in all
GOING_DOWN = 36  # draws the lifts go down the mean loss in
UNSURE_COST, UNSURE_mm = 0.4, 0.1  # of the loss, per mm by which lifts scatter by more: their display is no guide
OFTEN = 0.25  # a round that leaves the machine worse in more of the draws is not made
SHARES = (1.0, 0.5, 0.25)  # of such a round, tried in its place
DEEPER = 8  # fits in search of the best possible
DOWN = 30  # evaluations of the mean loss on the way down


class Contact(Protocol):
    """Rows of a plan whose response depends on what touches. ``lifts_mm`` (draws, 1, bolts) as the bolts stand now."""

    @property
    def lifts_mm(self) -> FloatArray:
        """How the bolts stand now against the first sweep."""

    @property
    def descends(self) -> bool:
        """Whether a plan gains by going down the mean loss: where small turns change what carries."""

    def first(self, draws: int) -> Contact:
        """The first draws."""

    def change(self, lifts_mm: FloatArray) -> FloatArray:
        """How the rows change (draws, rows) when the bolts are lifted by (draws, bolts) from now."""

    def change_and_response(self, lifts_mm: FloatArray) -> tuple[FloatArray, FloatArray]:
        """The same, and their response (draws, rows, bolts) there."""

    def beginnings(self, least: float) -> list[tuple[FloatArray, FloatArray]]:
        """Responses (draws, rows, bolts), with what they leave out (draws, rows), to begin a plan on."""

    def display(self, park: int, lifts_mm: FloatArray) -> FloatArray:
        """How the main set-up's reading at row ``park`` changes: lifts (draws, cases, bolts) to (draws, cases)."""


def plan_in_contact(
    situation: Situation, contact: Contact, cost_per_move: float, insist: bool = False
) -> tuple[Outcome, Outcome]:
    """As ``bolts.plan_round``; ``situation`` has the rows, limits and hand, its response is not used."""
    draws, bolts = len(contact.lifts_mm), situation.bolts
    errors = draw_errors(situation, max(bolts, 1))
    few = contact.first(min(PLANNED, draws))
    nothing = _outcome((), errors.value, np.zeros((draws, 0)), situation)
    best = nothing
    limit = min(group.limit for group in situation.groups)
    if contact.descends:
        rounds = _descended(situation, few, errors)
    else:
        begun = few.beginnings(SAME_PART * limit)
        rounds = [steps for each in begun for steps in _linear_plans(situation, few, *each, cost_per_move, insist)]
    for steps in rounds:
        played = not_too_bold(situation, contact, errors, steps, nothing)
        if played is not None:
            best = _better(best, played, cost_per_move, situation, insist)
    return best, nothing


def not_too_bold(
    situation: Situation, contact: Contact, errors: Errors, steps: tuple[Step, ...], nothing: Outcome
) -> Outcome | None:
    """The round played through, or the largest part of it that does not often leave the machine worse."""
    for share in SHARES:
        part = tuple(replace(step, lift_mm=share * step.lift_mm) for step in steps)
        part = tuple(step for step in part if abs(step.lift_mm) >= situation.smallest_mm[step.bolt])
        if not part:
            return None
        played = play_in_contact(situation, contact, errors, part)
        if np.mean(played.ratio > WORSE * np.maximum(nothing.ratio, 1.0)) <= OFTEN:
            return played
    return None


def best_in_contact(situation: Situation, contact: Contact, count: int = 16) -> FloatArray:
    """As ``bolts.best_possible``: the smallest ratio any lifts reach in the first draws, (count,).

    A few Chebyshev fits for each (Lawson's, of all draws at once), every one on the contacts where the last one ended
    and with shorter reach where it did not help; every answer is evaluated with contact.
    """
    few = contact.first(min(count, len(contact.lifts_mm)))
    draws = len(few.lifts_mm)
    value = np.broadcast_to(situation.value, (draws, len(situation.value)))

    def reached(lifts: FloatArray) -> FloatArray:
        ends = value + few.change(lifts)
        return np.array([worst_ratio(end, situation.groups) for end in ends])

    best = reached(np.zeros((draws, situation.bolts)))
    for response, offset in few.beginnings(0.0):
        lifts, reach = np.zeros((draws, situation.bolts)), np.full((draws, 1), 0.5)
        ratio, start = reached(lifts), value + offset
        for _ in range(DEEPER):
            rows = scaled_rows(start, response, situation.groups)
            low = np.minimum(np.maximum(situation.lowest_mm - lifts, -reach), 0.0)
            high = np.maximum(np.minimum(situation.highest_mm - lifts, reach), 0.0)
            sure = np.zeros((rows.value.shape[1], 1, situation.bolts**2))
            _, step = robust_lifts(rows.value, rows.response, sure, rows.shape_of, low, high)
            trial = lifts + step
            new = reached(trial)
            better = new < ratio
            lifts, ratio = np.where(better[:, None], trial, lifts), np.where(better, new, ratio)
            reach = np.where(better[:, None], reach, 0.3 * reach)
            change, response = few.change_and_response(lifts)
            start = value + change
        best = np.minimum(best, ratio)
    return best


def _better(best: Outcome, other: Outcome, cost_per_move: float, situation: Situation, insist: bool) -> Outcome:
    less = _cost(other, cost_per_move, situation) < _cost(best, cost_per_move, situation)
    return other if other.steps and (less or (insist and not best.steps)) else best


def _linear_plans(
    situation: Situation, few: Contact, response: FloatArray, offset: FloatArray, cost_per_move: float, insist: bool
) -> list[tuple[Step, ...]]:
    """Plans on one response, and again on that of the contacts where the last one ends."""
    made, limit = [], min(group.limit for group in situation.groups)
    still = np.zeros_like(few.lifts_mm[:, 0])
    for _ in range(AGAIN):
        begun = replace(situation, response=response, offset=offset)
        planned, _ = plan_round(begun, cost_per_move, insist=insist, made=None)
        if not planned.steps:
            break
        made.append(planned.steps)
        lifts = still + lifted_by(planned.steps, situation.bolts)
        change, response = few.change_and_response(lifts)
        left_out = change - np.einsum("drb,db->dr", response, lifts)
        if np.abs(left_out - offset).max() < SAME_PART * limit:
            break  # the same contacts: the plan would be the same
        offset = left_out
    return made


def lifted_by(steps: tuple[Step, ...], bolts: int) -> FloatArray:
    """What the steps are meant to lift (bolts,)."""
    lifts = np.zeros(bolts)
    for step in steps:
        lifts[step.bolt] += step.lift_mm
    return lifts


def _descended(situation: Situation, few: Contact, errors: Errors) -> list[tuple[Step, ...]]:
    """Rounds found by going down the mean loss with the contacts as they are: with all bolts from the Chebyshev fit of
    every beginning and from where the bolts stand, and from the best of these shedding the smallest one after another.
    """
    few = few.first(GOING_DOWN)
    some = errors.first(len(few.lifts_mm))
    free = np.array(situation.turnable(), dtype=np.int64)
    if not len(free):
        return []
    starts = [np.zeros(situation.bolts)]
    for response, offset in few.beginnings(0.0):
        value = situation.value + offset.mean(axis=0)
        bounds = (situation.lowest_mm, situation.highest_mm)
        starts.append(chebyshev_lifts(value, response.mean(axis=0), situation.groups, *bounds, TRAVEL_COST)[0])
    begun = [_down(situation, few, some, start, free) for start in starts]
    lifts = min(begun, key=lambda each: each[1])[0]
    found = [lifts]
    while len(free) > 1:
        left = lifts[free]
        keep = np.abs(left) >= situation.smallest_mm[free]
        if keep.all():
            keep[np.argmin(np.abs(left))] = False
        free = free[keep]
        if not len(free):
            break
        lifts, _ = _down(situation, few, some, np.where(np.isin(np.arange(situation.bolts), free), lifts, 0.0), free)
        found.append(lifts)
    return [steps for each in found if (steps := _steps_of(situation, few, some, each))]


def _down(
    situation: Situation, few: Contact, errors: Errors, lifts: FloatArray, free: IntArray
) -> tuple[FloatArray, float]:
    """Lifts (bolts,) with less mean loss, only ``free`` bolts turned, and the loss."""
    from scipy.optimize import minimize

    shaken = np.zeros((len(few.lifts_mm), situation.bolts))
    shaken[:, : errors.lock_nut_mm.shape[1]] = errors.lock_nut_mm[:, : situation.bolts]

    def loss(at: FloatArray) -> tuple[float, FloatArray]:
        whole = np.zeros(situation.bolts)
        whole[free] = at
        moved = whole + shaken * (whole != 0.0)
        change, response = few.change_and_response(moved)
        value = errors.value + change
        ratio, slope = ratio_and_slope(value, situation.groups)
        pull = (slope_of_loss(ratio)[:, None] * slope)[:, None, :] @ response
        gradient = pull[:, 0, free].mean(axis=0) + TRAVEL_COST * np.sign(at)
        return float(loss_of(ratio).mean() + TRAVEL_COST * np.abs(at).sum()), gradient

    bounds = list(zip(situation.lowest_mm[free], situation.highest_mm[free], strict=True))
    begun = np.clip(lifts[free], situation.lowest_mm[free], situation.highest_mm[free])
    done = minimize(loss, begun, jac=True, method="L-BFGS-B", bounds=bounds, options={"maxfun": DOWN})
    out = np.zeros(situation.bolts)
    out[free] = done.x
    return out, float(done.fun)


TRAVEL_COST = 0.02  # of the loss, per mm of thread: what helps nothing is not turned


def _steps_of(situation: Situation, few: Contact, errors: Errors, lifts: FloatArray) -> tuple[Step, ...]:
    """A round that ends near ``lifts``: parks and targets as for any rail, on the contacts of its end."""
    bolts = tuple(int(b) for b in np.flatnonzero(np.abs(lifts) >= situation.smallest_mm))
    if not bolts:
        return ()
    change, response = few.change_and_response(np.broadcast_to(lifts, (len(few.lifts_mm), situation.bolts)))
    offset = change - response @ lifts
    linear = replace(situation, response=response, offset=offset)
    made = best_with(linear, replace(errors, value=errors.value + offset), bolts, lifts[list(bolts)], refine=True)
    return made.steps if made is not None else ()


def play_in_contact(situation: Situation, contact: Contact, errors: Errors, steps: tuple[Step, ...]) -> Outcome:
    """The round played through with contact: targets are what the display shows, in the mean of the draws, when each
    bolt has gone as far as was planned; in every draw the user turns until it shows that.
    """
    draws, bolts = len(contact.lifts_mm), situation.bolts
    meant, lifts = np.zeros((draws, bolts)), np.zeros((draws, bolts))
    made, went = [], []
    for index, step in enumerate(steps):
        before = situation.value[step.park] + float(contact.display(step.park, meant[:, None])[:, 0].mean())
        meant[:, step.bolt] += step.lift_mm
        target = situation.value[step.park] + float(contact.display(step.park, meant[:, None])[:, 0].mean())
        wanted = target + errors.hand[:, index] - errors.value[:, step.park]
        lift = turned_until(contact, step, lifts, wanted) + errors.lock_nut_mm[:, index]
        lifts[:, step.bolt] += lift
        went.append(lift)
        made.append(Step(step.bolt, step.park, target, step.lift_mm, before))
    value = errors.value + contact.change(lifts)
    return _outcome(tuple(made), value, np.stack(went, axis=1), situation)


def turned_until(contact: Contact, step: Step, lifts_mm: FloatArray, wanted: FloatArray) -> FloatArray:
    """How far the bolt goes (draws,) until the display has changed by ``wanted`` since the sweep: the nearest crossing
    within three times what was said, between lifts on a grid and once more between the two about it.
    """
    draws = len(lifts_mm)
    reach = 3.0 * abs(step.lift_mm) + 0.1
    low, high = np.full(draws, -reach), np.full(draws, reach)
    found = np.zeros(draws)
    for count in (TRIED, 5):
        part = np.linspace(0.0, 1.0, count)
        grid = low[:, None] + (high - low)[:, None] * part
        trials = np.repeat(lifts_mm[:, None], count, axis=1)
        trials[:, :, step.bolt] += grid
        miss = contact.display(step.park, trials) - wanted[:, None]
        crosses = np.sign(miss[:, 1:]) != np.sign(miss[:, :-1])
        middle = 0.5 * (grid[:, 1:] + grid[:, :-1])
        at = np.argmin(np.where(crosses, np.abs(middle), np.inf), axis=1)
        row = np.arange(draws)
        a, b = miss[row, at], miss[row, at + 1]
        low, high = grid[row, at], grid[row, at + 1]
        share = np.clip(a / np.where(np.abs(a - b) < 1e-9, 1e-9, a - b), 0.0, 1.0)
        nearest = grid[row, np.argmin(np.abs(miss), axis=1)]
        found = np.where(crosses.any(axis=1), low + share * (high - low), nearest)
    return found


def _cost(outcome: Outcome, cost_per_move: float, situation: Situation) -> float:
    travel = sum(abs(step.lift_mm) for step in outcome.steps)
    unseen = UNSURE_COST * float(np.maximum(outcome.lift_mm.std(axis=0) - UNSURE_mm, 0.0).sum())
    return outcome.loss + cost_per_move * len(outcome.steps) + situation.cost_per_mm * travel + unseen


def _outcome(steps: tuple[Step, ...], value: FloatArray, lifts_mm: FloatArray, situation: Situation) -> Outcome:
    ratio, _ = ratio_and_slope(value, situation.groups)
    return Outcome(steps, value, lifts_mm, ratio, float(loss_of(ratio).mean()))
