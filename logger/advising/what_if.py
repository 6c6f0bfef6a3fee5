"""If these bolts were turned: the profile, every goal's chance, and what the display would show on the way.

Why it exists: a person with a wrench has ideas of their own, and a plan is trusted when it can be asked. It prevents a
"what if" that speaks of the swept line only, while the place that matters goes out.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from analysis.results import FloatArray, Predicted
from analysis.situation import Situation
from analysis.units import reading_from_height
from logger.advice import predict
from logger.advising.ground import Ground, ground_of
from logger.advising.turn_words import turn_words
from logger.advising.written import ending, number, predicted_as_json
from logger.findings import surface_under

if TYPE_CHECKING:
    from logger.job import Job
    from logger.machines import Machine

DOUBTED = 0.03
"""A display that moves less than this for each mm of a bolt says nothing of it."""


@dataclass(frozen=True, slots=True)
class GoalIf:
    """One band: what would be spanned, with its uncertainty (k = 2), and the chance that it is kept; now beside it."""

    name: str
    now: float
    then: float
    uncertainty: float
    limit: float
    chance: float
    unit: str


@dataclass(frozen=True, slots=True)
class TargetIf:
    """What the display shows before and after this bolt, parked where it is seen best; None where it never is."""

    bolt: str
    raise_mm: float
    turn: str
    park_mm: float | None
    reading_now: float | None
    reading_then: float | None
    unit: str


@dataclass(frozen=True)
class WhatIf:
    """The answer to one question; ``chance_inside`` is that of every band together."""

    predicted: Predicted
    goals: tuple[GoalIf, ...]
    targets: tuple[TargetIf, ...]
    chance_inside: float
    unit: str


def what_if(job: Job, turned: Mapping[str, float], *, set_up: str | None = None) -> WhatIf:
    """What would be if bolts were moved by these thread travels (mm, + up) from the last swept state."""
    predicted = predict(job, turned, set_up=set_up)
    ground = ground_of(job, set_up, ())
    names = [bolt.name for bolt in job.machine.bolts]
    moves = [(names.index(job.machine.bolt(name).name), raise_mm) for name, raise_mm in turned.items()]
    lifts = np.zeros(len(names))
    for bolt, raise_mm in moves:
        lifts[bolt] += raise_mm
    end = _drawn(ground, lifts)
    goals, inside = _goals(ground, end)
    return WhatIf(
        predicted, goals, _targets(job.machine, ground, moves), inside, ground.sweeps[ground.main].set_up.unit
    )


def _drawn(ground: Ground, lifts: FloatArray) -> FloatArray:
    """Values (draws, rows) at the end, in every draw of response and reading."""
    situation = ground.situation
    change = situation.response @ lifts
    if ground.contact is not None:
        change = ground.contact.change(np.repeat(lifts[None], len(change), axis=0))
    rng = np.random.default_rng(11)
    rows = situation.covariance
    return np.asarray(
        situation.value + change + rng.multivariate_normal(np.zeros(len(rows)), rows, len(change), method="eigh")
    )


def _goals(ground: Ground, end: FloatArray) -> tuple[tuple[GoalIf, ...], float]:
    goals, all_inside = [], np.ones(len(end), bool)
    for group in ground.situation.groups:
        width = np.ptp(end[:, group.rows], axis=1)
        low, middle, high = np.quantile(width, [0.025, 0.5, 0.975])
        inside = width <= group.limit
        if group.mean is not None:
            mean = end[:, group.rows].mean(axis=1)
            inside &= (mean >= group.mean[0]) & (mean <= group.mean[1])
        all_inside &= inside
        unit = ground.sweeps[group.name].set_up.unit if group.name in ground.sweeps else "mm"
        goals.append(
            GoalIf(
                name=group.name.removeprefix("place "),
                now=float(np.ptp(ground.situation.value[group.rows])),
                then=float(middle),
                uncertainty=float(max(high - middle, middle - low)),
                limit=float(group.limit),
                chance=float(inside.mean()),
                unit=unit,
            )
        )
    return tuple(goals), float(all_inside.mean())


def _targets(machine: Machine, ground: Ground, moves: list[tuple[int, float]]) -> tuple[TargetIf, ...]:
    sweep, unit = ground.sweeps[ground.main], ground.sweeps[ground.main].set_up.unit
    middle = ground.situation.response.mean(axis=0)
    now = ground.situation.value.copy()
    found = []
    for bolt, raise_mm in moves:
        then = now + middle[:, bolt] * raise_mm
        park = _seen_best(ground.situation, bolt)
        turn = turn_words(machine.bolts[bolt], raise_mm, machine.wrench_length_mm) if raise_mm else "not at all"
        if park is None:
            found.append(TargetIf(machine.bolts[bolt].name, raise_mm, turn, None, None, None, unit))
        else:
            park_mm = float(sweep.s_mm[park])
            before, after = (_display(machine, ground.main, park_mm, float(value[park])) for value in (now, then))
            found.append(TargetIf(machine.bolts[bolt].name, raise_mm, turn, park_mm, before, after, unit))
        now = then
    return tuple(found)


def _seen_best(situation: Situation, bolt: int) -> int | None:
    gain = situation.response[:, situation.parks, bolt]
    worth = np.abs(gain.mean(axis=0)) / (0.03 + gain.std(axis=0))
    best = int(np.argmax(worth))
    return int(situation.parks[best]) if abs(float(gain[:, best].mean())) > DOUBTED else None


def _display(machine: Machine, set_up: str, park_mm: float, height: float) -> float:
    given = machine.set_up(set_up)
    zero = given.zero_mm_per_m if given.kind == "level" else given.zero_mm
    under = surface_under(machine, given, np.array([park_mm]))
    surface = 0.0 if under is None else float(under[0][0])
    return float(reading_from_height(height - surface, given.kind, zero, given.sense))


def as_json(answer: WhatIf) -> dict[str, Any]:
    """The ``bolts --if`` object: the prediction, every goal, the targets."""
    end = ending(answer.unit)
    return {
        **predicted_as_json(answer.predicted, answer.unit),
        "chance_inside_all": number(answer.chance_inside),
        "goals": [
            {
                "name": goal.name,
                f"now_{ending(goal.unit)}": number(goal.now),
                f"peak_to_valley_{ending(goal.unit)}": number(goal.then),
                f"uncertainty_{ending(goal.unit)}": number(goal.uncertainty),
                f"allowed_{ending(goal.unit)}": number(goal.limit),
                "chance_inside": number(goal.chance),
            }
            for goal in answer.goals
        ],
        "targets": [
            {
                "bolt": each.bolt,
                "raise_mm": number(each.raise_mm),
                "turn": each.turn,
                "park_mm": number(each.park_mm),
                f"reading_now_{end}": number(each.reading_now),
                f"reading_target_{end}": number(each.reading_then),
            }
            for each in answer.targets
        ],
    }
