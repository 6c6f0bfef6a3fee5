"""What is different about a rail that only rests on its bolts: feet that hang, and displays that do not follow.

Why it exists: such a rail is planned, played through and learned with its feet opening and closing. This is the one
place where the advice's rows meet the contact of feet. It prevents a bolt that has to be brought to its foot first from
being asked for a travel that does nothing, without a word.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np

from analysis.carriage import Carriage
from analysis.contact_plan import turned_until
from analysis.gaps import feet_of
from analysis.learn import Learned, Lifts
from analysis.response import SetUp, reading_weights
from analysis.resting import Part, Resting
from analysis.results import FloatArray, IntArray
from analysis.rounds import Parked, Sweep
from analysis.situation import Step

if TYPE_CHECKING:
    from logger.advising.places import Goal

LIKELY = 0.5  # a chance of hanging from which on it is said
REACH_mm = 0.4  # how far a parked turn is looked for, a third of it


def resting_of(
    learned: Learned, lifts: Lifts, sweeps: Sequence[Sweep], goals: Sequence[Goal], made: int
) -> Resting | None:
    """The resting rail at the rows of sweeps and goals as it stood when it was swept, before the last ``made`` turns;
    None where all feet hold.
    """
    bench = learned.prior.bench
    if not bench.rests:
        return None
    parts = [_of_sweep(learned, sweep.set_up, sweep.s_mm) for sweep in sweeps]
    for goal in goals:
        state = learned.state_response(goal.s_mm)
        parts.append(Part(state, feet_of(learned.prior, learned.coordinates, state), goal.response))
    until = len(lifts.bolt) - made
    return Resting(tuple(parts), lifted(learned, lifts.bolt[:until], learned.lifts_mm[:, :until])[:, None, :])


def lifted(learned: Learned, bolts: IntArray, lifts_mm: FloatArray) -> FloatArray:
    """Turns (draws, turns) summed up by bolt: (draws, bolts)."""
    return np.asarray(lifts_mm @ np.eye(learned.prior.bench.bolts)[bolts])


def resting_lifts(learned: Learned, lifts: Lifts, parked: Parked, bolt: int) -> FloatArray:
    """How far the bolt went in every draw (draws,), by what the parked display did, with contact."""
    resting = Resting(
        (_of_sweep(learned, parked.set_up, np.array([parked.s_mm])),),
        lifted(learned, lifts.bolt, learned.lifts_mm)[:, None, :],
    )
    draws = len(learned.lifts_mm)
    wanted = parked.change + parked.uncertainty * np.random.default_rng(13).standard_normal(draws)
    step = Step(bolt, 0, 0.0, REACH_mm)
    return turned_until(resting, step, np.zeros((draws, learned.prior.bench.bolts)), wanted)


def hanging_words(resting: Resting, names: Sequence[str]) -> list[str]:
    """Which bolts probably hang, and what that means for turning them."""
    chance = resting.hanging()
    return [
        f"{name} probably has a gap under the rail ({100 * part:.0f} in 100): it does nothing until it "
        f"touches. Where it is to be turned, raise it until the display just begins to follow, then go on."
        for name, part in zip(names, chance, strict=True)
        if part > LIKELY
    ]


def _of_sweep(learned: Learned, set_up: SetUp, s_mm: FloatArray) -> Part:
    carriage: Carriage = learned.prior.bench.carriage
    weights = reading_weights(set_up, carriage, s_mm)
    state = learned.state_response(s_mm)
    feet = feet_of(learned.prior, learned.coordinates, state)
    return Part(state, feet, lambda states: np.asarray(np.einsum("dsqc,sq->dsc", states, weights)))
