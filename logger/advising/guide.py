"""Which of the swept set-ups guides the hand in a round.

Why it exists: where several were swept, the goals come from all of them, but a wrench is turned to one display. A stand
near one end sees nothing of the bolts at the other, and turning one by a display that hardly moves is guessing. It
prevents that, and rounds that go nowhere because the bolts that matter were never touched.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from analysis.bolts import best_with, candidate_bolts
from analysis.chebyshev import chebyshev_lifts
from analysis.results import FloatArray
from analysis.situation import Situation, draw_errors
from logger.advising.ground import Ground, ground_of, stand_on, useful

if TYPE_CHECKING:
    from logger.job import Job, TurnedBolt

BLIND = 1.0  # goals this far off, as a part of their limit, once only what the display sees was turned ...
BETTER = 0.8  # ... and at most this part of that with another set-up to guide the hand
SURE = 0.45  # a plan with less loss than this is good enough as it is
LESS_LOSS = {"fixed": 0.08, "carried": 0.08, "level": 0.2}  # what another must save: a level is waited for at each bolt
FEW_DRAWS = 60


def guided_ground(
    job: Job, set_up: str | None, made_so_far: Sequence[TurnedBolt], cost_per_move: float = 0.012
) -> Ground:
    """As ``ground_of``, with the set-up that guides best where none was asked for and goals lie between several."""
    ground = ground_of(job, set_up, made_so_far)
    common = ground.common
    if set_up is not None or made_so_far or common is None or not common.goals or ground.contact is not None:
        return ground
    chosen = _sees_the_bolts(ground) or _surest(ground, cost_per_move)
    if chosen is None:
        return ground
    seen, now = ground.situation.turnable(), chosen.situation.turnable()
    names = [bolt.name for index, bolt in enumerate(common.machine.bolts) if index in now and index not in seen]
    word = f"This round is guided by {chosen.main}"
    word += f": {', '.join(names)} can hardly be seen from {ground.main}." if names else ", where the end is surer."
    return replace(chosen, warnings=(*chosen.warnings, word))


def _elsewhere(ground: Ground) -> Iterator[Ground]:
    """The other swept set-ups that could guide, stands first; a roll level shows too little of a single bolt."""
    common = ground.common
    assert common is not None
    order = {"fixed": 0, "carried": 1, "level": 2}
    names = [name for name in common.state.current if name != ground.main and useful(common.machine, name)]
    names = [name for name in names if common.machine.set_up(name).axis != "roll"]
    for name in sorted(names, key=lambda each: order[common.machine.set_up(each).kind]):
        yield stand_on(common, [name, ground.main])


def _sees_the_bolts(ground: Ground) -> Ground | None:
    """A set-up from which the goals can be met, where from this one they cannot."""
    best = _guided_ratio(ground.situation)
    if best <= BLIND:
        return None
    chosen = None
    for other in _elsewhere(ground):
        ratio = _guided_ratio(other.situation)
        if ratio < BETTER * best:
            best, chosen = ratio, other
    return chosen


def _surest(ground: Ground, cost_per_move: float) -> Ground | None:
    """A set-up whose round ends surer by more than it is worth staying for."""
    least = _loss(ground.situation, cost_per_move)
    if least <= SURE:
        return None
    chosen = None
    for other in _elsewhere(ground):
        loss = _loss(other.situation, cost_per_move)
        if loss < least - LESS_LOSS[other.sweeps[other.main].set_up.kind]:
            least, chosen = loss, other
    return chosen


def _loss(situation: Situation, cost_per_move: float) -> float:
    """About what a round would come to: the most promising set of each size, begun and not refined."""
    few = replace(situation, response=situation.response[:FEW_DRAWS])
    errors = draw_errors(few, few.bolts)
    best: dict[int, tuple[tuple[int, ...], FloatArray]] = {}
    for bolts, starts in candidate_bolts(few).items():
        best.setdefault(len(bolts), (bolts, starts[0]))
    found = [best_with(few, errors, bolts, lifts, False) for bolts, lifts in best.values()]
    losses = [each.loss + cost_per_move * len(each.steps) for each in found if each is not None]
    return min(losses, default=float(np.inf))


def _guided_ratio(situation: Situation) -> float:
    """The worst goal, as a part of its limit, once every bolt the display can guide has done its best."""
    free = np.isin(np.arange(situation.bolts), situation.turnable())
    _, ratio = chebyshev_lifts(
        situation.value,
        situation.response.mean(axis=0),
        situation.groups,
        np.where(free, situation.lowest_mm, 0.0),
        np.where(free, situation.highest_mm, 0.0),
        cost_per_mm=1e-4,
    )
    return ratio
