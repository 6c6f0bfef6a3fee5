"""What the planner looks at: one row for every station of every set-up that was swept, and for every goal between them.

Why it exists: value, covariance and response of a round come from sweeps, from places no sweep touched, from contact
and from bolts turned meanwhile, and must stay in one order. It prevents rows of one thing beside the response of
another.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np
from scipy.linalg import block_diag

from analysis.bolts import feasible
from analysis.carriage import HEAVE, ROLL
from analysis.carried import Carried
from analysis.chebyshev import Group
from analysis.learn import Learned
from analysis.response import reading_weights
from analysis.resting import Resting
from analysis.results import FloatArray, IntArray
from analysis.rounds import Sweep
from analysis.situation import Situation
from logger.advising import inputs
from logger.advising.places import Goal
from logger.advising.resting import lifted

if TYPE_CHECKING:
    from logger.machines import Machine

EDGE_mm = 25.0  # no parking nearer than this to the edge of what is seen
LITTLE, PLAIN, PART_SEEN = 0.02, 0.12, 0.1  # mm of the display per mm of thread
ONE_ROUND_mm = 1.2  # further than this in one round the rail, its clamps and the hand are no longer what was learned
MEAN_SPARE_mm = 0.008  # the table under the stand may be this far from its plane: aim the mean that much further in
GUIDE_ONLY = 20.0  # a level that guides the hand toward heights is no goal itself: its own limit, this many times


@dataclass(frozen=True)
class Rows:
    """``value`` (rows,), ``covariance`` (rows, rows), ``response`` (draws, rows, bolts), ``groups`` with their bands;
    ``offset`` (draws, rows): what each draw reads beside the value, None where all read the same.
    """

    value: FloatArray
    covariance: FloatArray
    response: FloatArray
    groups: tuple[Group, ...]
    offset: FloatArray | None = None


def situation_of(
    machine: Machine,
    state: inputs.State,
    sweeps: dict[str, Sweep],
    goals: list[Goal],
    learned: Learned,
    contact: Resting | Carried | None,
    made: int,
) -> Situation:
    """Rows of all swept set-ups, the main one first; the last ``made`` turns have moved them by what was learned."""
    rows = _with_goals(_swept(machine, sweeps, learned, for_goals=bool(goals)), goals, learned)
    if contact is not None:
        rows = _in_contact(rows, goals, contact)
    if made:
        rows = _turned_since(rows, state, learned, contact, made)
    main = next(iter(sweeps.values()))
    level = main.set_up.kind == "level"
    lowest, highest = inputs.travel_of(machine, state.rounds)
    situation = Situation(
        value=rows.value,
        covariance=rows.covariance,
        response=rows.response,
        groups=rows.groups,
        parks=_parks(main),
        lowest_mm=np.maximum(lowest, -ONE_ROUND_mm),
        highest_mm=np.minimum(highest, ONE_ROUND_mm),
        smallest_mm=inputs.smallest_of(machine),
        hand=0.0025 * (5.0 if level else 1.0),
        lock_nut_mm=0.005,
        least_gain=0.2 if level else _least_gain(learned),
        offset=rows.offset,
    )
    return feasible(situation)


def _swept(machine: Machine, sweeps: dict[str, Sweep], learned: Learned, for_goals: bool) -> Rows:
    carriage = learned.prior.bench.carriage
    response = [
        np.einsum("dsqb,sq->dsb", learned.state_response(s.s_mm), reading_weights(s.set_up, carriage, s.s_mm))
        for s in sweeps.values()
    ]
    groups, start = [], 0
    for name, sweep in sweeps.items():
        here = np.arange(start, start + len(sweep.s_mm))
        groups.append(_group(machine, name, sweep, here, for_goals))
        start += len(sweep.s_mm)
    return Rows(
        np.concatenate([sweep.value for sweep in sweeps.values()]),
        block_diag(*[sweep.covariance for sweep in sweeps.values()]),
        np.concatenate(response, axis=1),
        tuple(groups),
    )


def _with_goals(rows: Rows, goals: Sequence[Goal], learned: Learned) -> Rows:
    """The same with what is aimed at between the set-ups."""
    for goal in goals:
        here = np.arange(len(rows.value), len(rows.value) + len(goal.value))
        rows = Rows(
            np.concatenate([rows.value, goal.value]),
            block_diag(rows.covariance, goal.planned_covariance),
            np.concatenate([rows.response, goal.response(learned.state_response(goal.s_mm))], axis=1),
            (*rows.groups, Group(goal.name, here, goal.aim)),
        )
    return rows


def _in_contact(rows: Rows, goals: Sequence[Goal], contact: Resting | Carried) -> Rows:
    """The same where contact decides how the rows answer."""
    _, response = contact.change_and_response(np.zeros_like(contact.lifts_mm[:, 0]))
    if not isinstance(contact, Carried):
        return replace(rows, response=response)
    # Every draw goes on from its own goals: with another's it would be no rail at all.
    start = len(rows.value) - sum(len(goal.value) for goal in goals)
    own = contact.values()[:, start:]
    offset, covariance = np.zeros((len(own), len(rows.value))), rows.covariance.copy()
    offset[:, start:] = own - own.mean(axis=0)
    covariance[start:, start:] = 0.0
    value = np.concatenate([rows.value[:start], own.mean(axis=0)])
    return Rows(value, covariance, response, rows.groups, offset)


def _turned_since(
    rows: Rows, state: inputs.State, learned: Learned, contact: Resting | Carried | None, made: int
) -> Rows:
    bolts = np.array([turn.bolt for turn in state.rounds[-1].turns][-made:])
    moved = lifted(learned, bolts, learned.lifts_mm[:, -made:])
    shift = np.einsum("drb,db->dr", rows.response, moved) if contact is None else contact.change(moved)
    return replace(rows, value=rows.value + shift.mean(axis=0), covariance=rows.covariance + np.cov(shift.T))


def _parks(main: Sweep) -> IntArray:
    """Rows at which the carriage may be parked: every other station, none too near the edge of what is seen."""
    low, high = float(main.s_mm[0]) + EDGE_mm, float(main.s_mm[-1]) - EDGE_mm
    parks = np.flatnonzero((main.s_mm >= low) & (main.s_mm <= high))[::2]
    return parks if len(parks) else np.array([len(main.s_mm) // 2])


def _least_gain(learned: Learned) -> FloatArray:
    """How much a display must move per mm of each bolt's thread to guide a hand: (bolts,).

    A bolt beyond the last roller moves little wherever one looks, and may be turned by that little; one that does ten
    times as much where the set-up sees nothing may not.
    """
    carriage = learned.prior.bench.carriage
    middle = learned.state_response(np.linspace(*carriage.stroke_mm, 25)).mean(axis=0)
    anywhere = np.abs(middle[:, HEAVE] + carriage.edge_y_mm * middle[:, ROLL]).max(axis=0)
    return np.asarray(np.clip(PART_SEEN * anywhere, LITTLE, PLAIN))


def _group(machine: Machine, name: str, sweep: Sweep, rows: IntArray, for_goals: bool) -> Group:
    band = machine.band
    if sweep.set_up.kind == "level":
        limit = band.pitch_mm_per_m if sweep.set_up.axis == "pitch" else band.roll_mm_per_m
        return Group(name, rows, float(limit) * (GUIDE_ONLY if for_goals else 1.0))
    low, high = (float(end) for end in band.mean_mm)
    spare = min(MEAN_SPARE_mm, 0.3 * (high - low))
    mean = (low + spare, high - spare) if sweep.zero_known else None
    return Group(name, rows, float(band.peak_to_valley_mm), mean)
