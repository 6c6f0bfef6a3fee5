"""Guided turning, played through: the user turns until the display shows the target, so the response is in the loop.

Why it exists: how far a bolt really goes depends on the true response at the park, and a later bolt's target repairs at
its own park what the earlier ones did there. It prevents a plan made as if the planned lifts were what happens, and
parks where a bolt is hardly seen.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from analysis.results import FloatArray
from analysis.robust import ITERATIONS, robust_targets
from analysis.situation import Errors, Outcome, Situation, Step, loss_of, ratio_and_slope, slope_of_loss

Parks = tuple[tuple[int, int], ...]
"""The round's turns in order: (bolt, park row)."""

PARKS_TRIED = 10
MOST_mm = 1.5  # further no bolt is turned to true a rail that was true once (common practice, no source)
LEAST_GAIN = 0.02  # a display that moves less than this per mm of thread says nothing of the thread


@dataclass(frozen=True)
class Played:
    """A round played through: ``value`` (draws, rows) at its end, ``lifts_mm`` (draws, steps), and how both follow the
    targets: ``answer`` (draws, rows, steps) and ``lift_answer`` (draws, steps, steps)."""

    value: FloatArray
    lifts_mm: FloatArray
    answer: FloatArray
    lift_answer: FloatArray


def play(
    situation: Situation, errors: Errors, steps: Parks, targets: FloatArray, expected: FloatArray | None = None
) -> Played:
    """Play a round of (bolt, park) turns to ``targets`` in every draw.

    With ``expected`` lifts a user stops when a bolt has gone as far as ``reach_mm`` of what was said; without, never.
    """
    value = errors.value
    draws, count = len(value), len(steps)
    lift_answer = np.zeros((draws, count, count))
    lifts = np.zeros((draws, count))
    columns = situation.response[:, :, [bolt for bolt, _ in steps]]
    for index, (_, park) in enumerate(steps):
        column = columns[:, :, index]
        gain = column[:, park]
        safe = np.where(np.abs(gain) < LEAST_GAIN, np.copysign(LEAST_GAIN, gain), gain)
        wanted = (targets[index] + errors.hand[:, index] - value[:, park]) / safe
        per_target = 1.0 / safe
        if expected is not None:
            reach = reach_mm(float(expected[index]))
            per_target = np.where(np.abs(wanted) <= reach, per_target, 0.0)
            wanted = np.clip(wanted, -reach, reach)
        so_far = np.einsum("ds,dst->dt", columns[:, park, :index], lift_answer[:, :index])
        lift_answer[:, index] = -per_target[:, None] * so_far
        lift_answer[:, index, index] += per_target
        lifts[:, index] = wanted + errors.lock_nut_mm[:, index]
        value = value + column * lifts[:, index : index + 1]
    return Played(value, lifts, columns @ lift_answer, lift_answer)


def reach_mm(expected_mm: float) -> float:
    """How far a bolt is turned at most, where ``expected_mm`` was said: further, and the machine is another than was
    thought; and never further than bolts are turned at all, unless that was said. The user is told, and the draws are
    played through with it.
    """
    return min(3.0 * abs(expected_mm) + 0.1, max(MOST_mm, abs(expected_mm)))


def targets_for(value: FloatArray, middle: FloatArray, steps: Parks, lifts_mm: FloatArray) -> FloatArray:
    """What the parked quantity is after each turn if the mean response were the true one."""
    targets, now = np.zeros(len(steps)), value
    for index, (bolt, park) in enumerate(steps):
        now = now + middle[:, bolt] * lifts_mm[index]
        targets[index] = now[park]
    return targets


def steps_of(situation: Situation, steps: Parks, targets: FloatArray) -> tuple[Step, ...]:
    """The steps with the lift each is expected to take on the mean response."""
    middle = situation.response.mean(axis=0)
    now, made = situation.middle_value, []
    for (bolt, park), target in zip(steps, targets, strict=True):
        before = float(now[park])
        gain = float(middle[park, bolt])
        lift = (float(target) - before) / (gain if abs(gain) >= LEAST_GAIN else np.copysign(LEAST_GAIN, gain))
        now = now + middle[:, bolt] * lift
        made.append(Step(bolt, park, float(target), lift, before))
    return tuple(made)


def begun_targets(
    situation: Situation, errors: Errors, steps: Parks, lifts_mm: FloatArray, iterations: int = ITERATIONS
) -> FloatArray:
    """Targets from which the finer search starts: the robust fit of the whole guided round, all targets at once."""
    targets = targets_for(situation.middle_value, situation.response.mean(axis=0), steps, lifts_mm)
    return begun_from(situation, errors, steps, targets, iterations)


def begun_from(
    situation: Situation, errors: Errors, steps: Parks, targets: FloatArray, iterations: int = ITERATIONS
) -> FloatArray:
    """The same from targets that were set already."""
    played = play(situation, errors, steps, targets)
    bolts = [bolt for bolt, _ in steps]
    bounds = (situation.lowest_mm[bolts], situation.highest_mm[bolts])
    change = robust_targets(
        played.value, played.answer, played.lifts_mm, played.lift_answer, situation.groups, bounds, iterations
    )
    return np.asarray(targets + change)


def outcome_of(situation: Situation, errors: Errors, steps: Parks, targets: FloatArray) -> tuple[Outcome, Played]:
    """What these targets come to, the user stopping where a bolt goes much further than was said."""
    made = steps_of(situation, steps, targets)
    played = play(situation, errors, steps, targets, np.array([step.lift_mm for step in made]))
    ratio, _ = ratio_and_slope(played.value, situation.groups)
    return Outcome(made, played.value, played.lifts_mm, ratio, float(loss_of(ratio).mean())), played


def optimise_targets(
    situation: Situation, errors: Errors, steps: Parks, targets: FloatArray, iterations: int = 10
) -> Outcome:
    """The best targets for given bolts and parks, from ``targets`` as a start: damped steps down the mean loss."""
    middle = situation.response.mean(axis=0)
    scale = np.maximum(np.abs([middle[park, bolt] for bolt, park in steps]), 0.05)
    best: Outcome | None = None
    least = min(group.limit for group in situation.groups)
    step, kept, direction = 0.25 * least, targets, np.zeros(len(steps))
    for _ in range(iterations):
        outcome, played = outcome_of(situation, errors, steps, targets)
        if best is None or (outcome.loss < best.loss - 1e-6 and _no_further(situation, outcome, best)):
            if best is not None:
                step *= 1.3
            best, kept = outcome, targets
            _, slope = ratio_and_slope(played.value, situation.groups)
            pull = slope_of_loss(outcome.ratio)[:, None] * slope
            gradient = np.einsum("dr,drt->t", pull, played.answer) / len(pull)
            direction = -gradient * scale * scale / max(float(np.linalg.norm(gradient * scale)), 1e-12)
        else:
            step *= 0.45
        if step < 0.01 * least:
            break
        targets = kept + step * direction
    assert best is not None
    return best


def _no_further(situation: Situation, outcome: Outcome, best: Outcome) -> bool:
    """Whether no bolt goes beyond what is left of its thread, or of a round, or at least none further than before."""
    return all(
        max(situation.lowest_mm[new.bolt] - new.lift_mm, new.lift_mm - situation.highest_mm[new.bolt])
        <= max(situation.lowest_mm[old.bolt] - old.lift_mm, old.lift_mm - situation.highest_mm[old.bolt], 1e-9)
        for new, old in zip(outcome.steps, best.steps, strict=True)
    )


def parks_seen_best(situation: Situation, bolts: tuple[int, ...]) -> Parks:
    """Each bolt with the park where its response is strong and well determined."""
    unsure = situation.response[:, situation.parks].std(axis=0)
    worth = np.nan_to_num(np.abs(situation.park_gains()) / (0.25 * situation.least_gain + unsure), nan=-1.0)
    return tuple((bolt, int(situation.parks[np.argmax(worth[:, bolt])])) for bolt in bolts)


def choose_parks(
    situation: Situation, errors: Errors, bolts: tuple[int, ...], lifts_mm: FloatArray, draws: int = 48
) -> Parks:
    """Where to park for each bolt so that the end of the round is surest: coordinate descent on the spread of the
    draws.
    """
    middle = situation.response.mean(axis=0)
    thin = slice(None, None, max(1, round(len(situation.parks) / PARKS_TRIED)))
    parks, gain = situation.parks[thin], situation.park_gains()[thin]
    steps = list(parks_seen_best(situation, bolts))
    few, some = replace(situation, response=situation.response[:draws]), errors.first(draws)
    weights = np.concatenate([np.full(len(group.rows), 1.0 / group.limit) for group in situation.groups])
    rows = np.concatenate([group.rows for group in situation.groups])

    def unsure(trial: list[tuple[int, int]]) -> float:
        chosen = tuple(trial)
        played = play(few, some, chosen, targets_for(situation.middle_value, middle, chosen, lifts_mm), lifts_mm)
        away = (played.value - (situation.middle_value + middle[:, list(bolts)] @ lifts_mm))[:, rows] * weights
        return float(np.quantile(np.ptp(away, axis=1), 0.7))

    for _ in range(2 if len(bolts) < 5 else 1):
        for index, bolt in enumerate(bolts):
            usable = [int(park) for park in parks[np.isfinite(gain[:, bolt])]] or [steps[index][1]]
            trials = [[*steps[:index], (bolt, park), *steps[index + 1 :]] for park in usable]
            steps = min(trials, key=unsure)
    return tuple(steps)
