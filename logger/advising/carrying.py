"""What is different about a carriage on more than two bearings: which of them carry changes along the stroke.

Why it exists: this is the one place where the advice's rows meet the contact of bearings. It prevents sweeps, places
and parked turns from being worked out with different bearings carrying.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np

from analysis.carried import Carried, Part
from analysis.contact_plan import turned_until
from analysis.learn import Lifts
from analysis.response import SetUp, reading_weights
from analysis.results import FloatArray
from analysis.rounds import Parked, Sweep
from analysis.running import Running
from analysis.situation import Step
from logger.advising.resting import REACH_mm, lifted

if TYPE_CHECKING:
    from logger.advising.places import Goal


def carried_of(running: Running, lifts: Lifts, sweeps: Sequence[Sweep], goals: Sequence[Goal], made: int) -> Carried:
    """The carriage at the rows of sweeps and goals as it stood when it was swept, before the last ``made`` turns."""
    parts = [_of_sweep(running, sweep.set_up, sweep.s_mm) for sweep in sweeps]
    parts += [Part(goal.s_mm, running.at(goal.s_mm), goal.response) for goal in goals]
    until = len(lifts.bolt) - made
    learned = running.learned
    return Carried(tuple(parts), lifted(learned, lifts.bolt[:until], learned.lifts_mm[:, :until])[:, None, :])


def carried_lifts(running: Running, lifts: Lifts, parked: Parked, bolt: int) -> FloatArray:
    """How far the bolt went in every draw (draws,), by what the parked display did."""
    learned = running.learned
    now = lifted(learned, lifts.bolt, learned.lifts_mm)
    carried = Carried((_of_sweep(running, parked.set_up, np.array([parked.s_mm])),), now[:, None, :])
    wanted = parked.change + parked.uncertainty * np.random.default_rng(13).standard_normal(len(now))
    return turned_until(carried, Step(bolt, 0, 0.0, REACH_mm), np.zeros_like(now), wanted)


def _of_sweep(running: Running, set_up: SetUp, s_mm: FloatArray) -> Part:
    weights = reading_weights(set_up, running.learned.prior.bench.carriage, s_mm)
    return Part(s_mm, running.at(s_mm), lambda states: np.asarray(np.einsum("dsqc,sq->dsc", states, weights)))
