"""What is different about a carriage on more than two bearings: which of them carry changes along the stroke.

Why it exists: this is the one place where the advice's rows meet the contact of bearings. It prevents sweeps, places
and parked turns from being worked out with different bearings carrying.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from analysis.carried import Carried, Part
from analysis.contact_plan import turned_until
from analysis.learn import Lifts
from analysis.prior import Prior
from analysis.response import SetUp, reading_weights
from analysis.results import FloatArray
from analysis.rounds import Parked, Round, Sweep
from analysis.running import Lying, Running
from analysis.running_learn import learn_running, seen_in
from analysis.situation import Step
from logger.advising.resting import REACH_mm, lifted

if TYPE_CHECKING:
    from analysis.carriage import Carriage
    from logger.advising.places import Goal
    from logger.machines import Machine


DRAWS = 96  # every one is solved with its own contacts
END_mm_per_mm = 4e-4  # what a form's draws leave out over the last centimetres, k = 1


def carried_of(running: Running, lifts: Lifts, sweeps: Sequence[Sweep], goals: Sequence[Goal], made: int) -> Carried:
    """The carriage at the rows of sweeps and goals as it stood when it was swept, before the last ``made`` turns."""
    parts = [_of_sweep(running, sweep.set_up, sweep.s_mm) for sweep in sweeps]
    parts += [Part(goal.s_mm, running.at(goal.s_mm), goal.response) for goal in goals]
    until = len(lifts.bolt) - made
    learned = running.learned
    return Carried(tuple(parts), lifted(learned, lifts.bolt[:until], learned.lifts_mm[:, :until])[:, None, :])


def learn_form(prior: Prior, rounds: tuple[Round, ...], table_mapped: bool) -> Running:
    """The rail's running form, and what was learned with it, from every sweep of the rounds."""
    lifts, seen = seen_in(rounds, prior.bench.carriage, table_mapped)
    return learn_running(prior, lifts, seen, DRAWS)


def lying_now(prior: Prior, rounds: tuple[Round, ...], table_mapped: bool) -> Lying:
    """The rail as it lies where these rounds left it."""
    running = learn_form(prior, rounds, table_mapped)
    bolts = np.array([turn.bolt for record in rounds for turn in record.turns], dtype=np.int64)
    return Lying(running, lifted(running.learned, bolts, running.learned.lifts_mm)[:, None, :])


def with_ends(sweep: Sweep, measured: Sweep, lying: Lying) -> Sweep:
    """The sweep carried on to its ends by the form instead of straight: a bearing that takes over there is a bend no
    straight line knows of. ``measured``: the same sweep without its ends.
    """
    value, covariance = sweep.value.copy(), sweep.covariance.copy()
    weights = reading_weights(sweep.set_up, lying.carriage, sweep.s_mm)
    for end, edge in ((0, 1), (len(sweep.s_mm) - 1, len(sweep.s_mm) - 2)):
        if np.isclose(measured.s_mm, sweep.s_mm[end]).any():
            continue
        pair = [end, edge]
        drawn = lying.drawn(sweep.s_mm[pair], weights[pair])
        beyond = drawn[:, 0] - drawn[:, 1]
        apart = abs(float(sweep.s_mm[end] - sweep.s_mm[edge]))
        value[end] = value[edge] + float(beyond.mean())
        covariance[end] = covariance[edge]
        covariance[:, end] = covariance[end]
        covariance[end, end] = covariance[edge, edge] + float(beyond.var()) + (END_mm_per_mm * apart) ** 2
    return replace(sweep, value=value, covariance=covariance)


def bearing_words(carriage: Carriage, swept: Sequence[str], machine: Machine) -> list[str]:
    """What a carriage on more than two bearings means for whoever sweeps it with one set-up alone."""
    if any(machine.set_up(name).axis == "pitch" for name in swept):
        return []
    return [
        f"The carriage has {len(carriage.bearing_offsets_mm)} bearings and stands on those that lie highest, others "
        f"as it rolls on: which, the sweep does not say. A level along it read at stops (pitch) shows it, and takes "
        f"about a third off what the next rounds cannot foresee."
    ]


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
