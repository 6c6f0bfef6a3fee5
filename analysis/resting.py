"""Planning a round on a rail that only rests on its bolts.

Why it exists: a bolt with a gap under the rail does nothing until it touches, and one that is lowered takes its support
away only until it hangs; a plan made with one linear response asks for turns that change nothing, or much more than was
said. It prevents that by planning on the feet that will carry at the end of the round, and by playing the plan through
with the feet as they open and close.

Two beginnings are tried: the feet as they carry now, and all feet carrying (contact first, where it was lost). Each
plan is made again on the feet that carry where it ends. What is shown is the play with contact, not the linear plan.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from analysis.bolts import plan_round
from analysis.gaps import Feet
from analysis.results import FloatArray
from analysis.situation import Errors, Outcome, Situation, Step, draw_errors, loss_of, ratio_and_slope

TRIED = 13  # lifts at which a parked display is foreseen before the crossing is found between two of them
AGAIN = 2  # how often a plan is made again on the feet that carry at its end
SAME_PART = 0.05  # of the smallest band: feet that open and close by less do not make another plan
PLANNED = 48  # draws a plan is made on; it is played through in all


@dataclass(frozen=True)
class Part:
    """Rows that one set-up, or one goal, contributes: ``state`` (draws, stations, 3, bolts) held both ways, the feet
    there, and ``read``, which turns states (draws, stations, 3, cases) into rows (draws, rows, cases).
    """

    state: FloatArray
    feet: Feet
    read: Callable[[FloatArray], FloatArray]

    def first(self, draws: int) -> Part:
        """The first draws."""
        feet = Feet(self.feet.stiffness[:draws], self.feet.force_N[:draws], self.feet.one_way)
        return Part(self.state[:draws], feet, self.read)


@dataclass(frozen=True)
class Resting:
    """A resting rail in every draw: its parts (the main set-up first, a row for each of its stations) and how its
    bolts stand now against the first sweep, ``lifts_mm`` (draws, 1, bolts).
    """

    parts: tuple[Part, ...]
    lifts_mm: FloatArray

    def first(self, draws: int) -> Resting:
        """The first draws."""
        return Resting(tuple(part.first(draws) for part in self.parts), self.lifts_mm[:draws])

    def change(self, lifts_mm: FloatArray) -> FloatArray:
        """How the rows change (draws, rows) when the bolts are lifted by (draws, bolts) from now."""
        moved = []
        for part in self.parts:
            now = part.feet.effective(self.lifts_mm)
            then = part.feet.effective(self.lifts_mm + lifts_mm[:, None, :])
            moved.append(part.read(np.sum(part.state * (then - now)[:, :, None, :], axis=-1, keepdims=True))[..., 0])
        return np.concatenate(moved, axis=1)

    def response(self, lifts_mm: FloatArray) -> FloatArray:
        """Response of the rows (draws, rows, bolts) with the bolts lifted by (draws, bolts) from now."""
        found = []
        for part in self.parts:
            answer = part.feet.answer(self.lifts_mm + lifts_mm[:, None, :])
            found.append(part.read(np.einsum("dsqb,dsbc->dsqc", part.state, answer)))
        return np.concatenate(found, axis=1)

    def held(self) -> FloatArray:
        """Response of the rows with all feet carrying: (draws, rows, bolts)."""
        return np.concatenate([part.read(part.state) for part in self.parts], axis=1)

    def closed(self) -> FloatArray:
        """How the rows would change (draws, rows) if every open foot were followed by its bolt and carried."""
        moved = []
        for part in self.parts:
            gap = part.feet.effective(self.lifts_mm) - self.lifts_mm
            moved.append(part.read(-np.sum(part.state * gap[:, :, None, :], axis=-1, keepdims=True))[..., 0])
        return np.concatenate(moved, axis=1)

    def hanging(self) -> FloatArray:
        """Chance of each bolt (bolts,) to have a gap over more than half of the main set-up's stations."""
        feet = self.parts[0].feet
        gap = feet.effective(self.lifts_mm) - self.lifts_mm
        return np.asarray(np.mean(np.mean(gap > 1e-6, axis=1) > 0.5, axis=0))

    def display(self, park: int, lifts_mm: FloatArray) -> FloatArray:
        """How the main set-up's reading at row ``park`` changes: lifts (draws, cases, bolts) to (draws, cases)."""
        part = self.parts[0]
        draws, cases, bolts = lifts_mm.shape
        force = np.broadcast_to(part.feet.force_N[:, park : park + 1], (draws, cases + 1, bolts))
        feet = Feet(part.feet.stiffness, force, part.feet.one_way)
        trials = np.concatenate([np.zeros((draws, 1, bolts)), lifts_mm], axis=1)
        effective = feet.effective(self.lifts_mm + trials)
        column = part.read(part.state)[:, park]
        return np.asarray(np.einsum("dcb,db->dc", effective[:, 1:] - effective[:, :1], column))


def plan_resting(
    situation: Situation, resting: Resting, cost_per_move: float, insist: bool = False
) -> tuple[Outcome, Outcome]:
    """As ``bolts.plan_round``; ``situation`` has the rows, limits and hand, its response is not used."""
    draws, bolts = len(resting.lifts_mm), situation.bolts
    errors = draw_errors(situation, max(bolts, 1))
    still = np.zeros((draws, bolts))
    few = resting.first(min(PLANNED, draws))
    rest = still[: len(few.lifts_mm)]
    nothing = _outcome((), errors.value, np.zeros((draws, 0)), situation)
    best = nothing
    as_it_stands = (few.response(rest), np.zeros((len(rest), len(situation.value))))
    all_carry = (few.held(), few.closed())
    limit = min(group.limit for group in situation.groups)
    differ = np.abs(all_carry[1]).max() >= SAME_PART * limit
    for response, offset in (as_it_stands, all_carry) if differ else (as_it_stands,):
        for _ in range(AGAIN):
            linear = replace(situation, response=response, offset=offset)
            planned, _ = plan_round(linear, cost_per_move, insist=insist)
            if not planned.steps:
                break
            played = play_resting(situation, resting, errors, planned.steps)
            less = _cost(played, cost_per_move, situation) < _cost(best, cost_per_move, situation)
            if less or (insist and not best.steps):
                best = played
            lifts = rest.copy()
            lifts[:, [step.bolt for step in planned.steps]] = [step.lift_mm for step in planned.steps]
            response = few.response(lifts)
            left_out = few.change(lifts) - np.einsum("drb,db->dr", response, lifts)
            if np.abs(left_out - offset).max() < SAME_PART * limit:
                break  # the same feet carry: the plan would be the same
            offset = left_out
    return best, nothing


def play_resting(situation: Situation, resting: Resting, errors: Errors, steps: tuple[Step, ...]) -> Outcome:
    """The round played through with contact: targets are what the display shows, in the mean of the draws, when each
    bolt has gone as far as was planned; in every draw the user turns until it shows that.
    """
    draws, bolts = len(resting.lifts_mm), situation.bolts
    meant, lifts = np.zeros((draws, bolts)), np.zeros((draws, bolts))
    made, went = [], []
    for index, step in enumerate(steps):
        before = situation.value[step.park] + float(resting.display(step.park, meant[:, None])[:, 0].mean())
        meant[:, step.bolt] += step.lift_mm
        target = situation.value[step.park] + float(resting.display(step.park, meant[:, None])[:, 0].mean())
        wanted = target + errors.hand[:, index] - errors.value[:, step.park]
        lift = turned_until(resting, step, lifts, wanted) + errors.lock_nut_mm[:, index]
        lifts[:, step.bolt] += lift
        went.append(lift)
        made.append(Step(step.bolt, step.park, target, step.lift_mm, before))
    value = errors.value + resting.change(lifts)
    return _outcome(tuple(made), value, np.stack(went, axis=1), situation)


def turned_until(resting: Resting, step: Step, lifts_mm: FloatArray, wanted: FloatArray) -> FloatArray:
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
        miss = resting.display(step.park, trials) - wanted[:, None]
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
    return outcome.loss + cost_per_move * len(outcome.steps) + situation.cost_per_mm * travel


def _outcome(steps: tuple[Step, ...], value: FloatArray, lifts_mm: FloatArray, situation: Situation) -> Outcome:
    ratio, _ = ratio_and_slope(value, situation.groups)
    return Outcome(steps, value, lifts_mm, ratio, float(loss_of(ratio).mean()))
