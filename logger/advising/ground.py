"""What one round's advice stands on: the swept state, what was learned of the machine, and the planner's situation.

Why it exists: advice, what-if and the estimate of a parked turn must all stand on the same state of knowledge, or the
target on the screen and the recorded travel contradict each other. It prevents a goal (a place, another set-up) from
being left out of one of them.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from analysis.bolts import best_possible, plan_round
from analysis.carried import Carried
from analysis.contact_plan import best_in_contact, plan_in_contact
from analysis.diagnose import STRANGE, odd_turns
from analysis.felt import Felt
from analysis.guided import MOST_mm, Parks
from analysis.learn import Changes, Learned, Lifts, learn
from analysis.load import Loaded
from analysis.prior import Prior
from analysis.response import reading_weights, seen_by_geometry
from analysis.resting import Resting
from analysis.resting_learn import learn_resting
from analysis.results import Findings, FloatArray
from analysis.rounds import Parked, Sweep, extended, observed, thinned
from analysis.running import Lying, Running, stands
from analysis.situation import Outcome, Situation
from analysis.state import Formed
from analysis.touch_first import with_contact_first
from logger.advising import inputs
from logger.advising.carrying import bearing_words, carried_lifts, carried_of, learn_form, with_ends
from logger.advising.loading import loads_of
from logger.advising.places import Goal, formed_now, place_goals
from logger.advising.resting import hanging_words, lifted, resting_lifts, resting_of
from logger.advising.rows import situation_of
from logger.advising.seats import felt_of
from logger.errors import NotAllowed

if TYPE_CHECKING:
    from logger.job import Job, TurnedBolt
    from logger.machines import Machine

DRAWS = 200
STATIONS = 40  # stations of a set-up the planner looks at: the profile is smooth between them
DOUBTED_PART = 0.4
MODEL_ERROR_PART, CONTACT_ERROR_PART = 0.02, 0.12
UNEXPLAINED = 1.5  # mean square of whitened residuals that machines like those believed in hardly ever leave
LESS_TRUST = (0.012, 0.035)  # rail mm per mm of lift that no draw explains, one after the other
CONTACT_UNEXPLAINED = 0.012  # the same where contact decides: more is unknown from the start
IN_REACH = 0.7  # of the band: a resting rail whose bolts reach that as its feet carry now need not be looked at twice
AT_A_PLACE_mm = 100.0  # a stand this near to a place is there for it


@dataclass(frozen=True)
class Common:
    """What is the same whichever set-up guides the round."""

    machine: Machine
    state: inputs.State
    learned: Learned
    lifts: Lifts
    goals: list[Goal]
    made: int
    warnings: tuple[str, ...]
    running: Running | None = None
    lying: Lying | None = None
    formed: Formed | None = None


@dataclass(frozen=True)
class Ground:
    """What one round's advice stands on: the state, what was learned, and the situation at the main set-up's rows."""

    state: inputs.State
    main: str
    sweeps: dict[str, Sweep]
    learned: Learned
    situation: Situation
    thread_mm: tuple[FloatArray, FloatArray]
    warnings: tuple[str, ...]
    lifts: Lifts
    contact: Resting | Carried | None = None
    mapped: bool = False
    common: Common | None = None

    @property
    def model_error(self) -> float:
        """Part of the largest change, at a station, that no draw of the response contains: more where contact decides.

        A resting rail stands on the feet that touch.
        """
        return CONTACT_ERROR_PART if self.learned.prior.bench.rests else MODEL_ERROR_PART

    @property
    def findings(self) -> Findings:
        return self.state.current[self.main]

    @property
    def rows(self) -> slice:
        return slice(0, len(self.sweeps[self.main].s_mm))


def ground_of(job: Job, set_up: str | None, made_so_far: Sequence[TurnedBolt]) -> Ground:
    state = inputs.state_of(job, made_so_far)
    main = _main_set_up(job.machine, state, set_up, made_so_far)
    prior = inputs.prior_of(job.machine)
    if prior.bench.rests or stands(prior.bench):
        more = {"height_discrepancy": CONTACT_UNEXPLAINED, "twist_discrepancy": CONTACT_UNEXPLAINED}
        prior = replace(prior, spread=replace(prior.spread, **more))
    lifts, changes = observed(state.rounds, prior.bench.carriage)
    said: list[str] = []
    loads = loads_of(job, said)
    running = learn_form(prior, state.rounds, bool(job.machine.table.map)) if stands(prior.bench) else None
    felt = felt_of(job, said)
    learned = _learned(prior, lifts, changes, loads, felt) if running is None else running.learned
    doubts = odd_turns(learned, lifts, changes) if running is None else []
    bolt_names = [bolt.name for bolt in job.machine.bolts]
    if learned.load_misfit > STRANGE:
        said.append("No stiffness explains what the masses moved: was the stand touched, is the mass right?")
    said += [*state.current[main].warnings, *[doubt.sentence(bolt_names[doubt.bolt]) for doubt in doubts]]
    warnings = [*state.warnings, *said]
    lying = None if running is None else _lying(running, lifts, len(made_so_far))
    formed = formed_now(job.machine, state) if lying is None else lying
    goals = place_goals(job.machine, list(state.current.values()), prior.bench.carriage, formed)
    return stand_on(
        Common(job.machine, state, learned, lifts, goals, len(made_so_far), tuple(warnings), running, lying, formed),
        [main],
    )


def _learned(prior: Prior, lifts: Lifts, changes: Changes, loads: tuple[Loaded, ...], felt: Felt | None) -> Learned:
    """What the changes say of the response, with more doubt where the physics does not explain them."""
    if prior.bench.rests:
        return learn_resting(prior, lifts, changes, loads, felt=felt)
    learned = learn(prior, lifts, changes, DRAWS, loads=loads)
    for unexplained in LESS_TRUST:  # the physics is further from this machine than most: doubt it more
        if learned.misfit <= UNEXPLAINED:
            break
        spread = replace(prior.spread, height_discrepancy=unexplained, twist_discrepancy=unexplained)
        prior = replace(prior, spread=spread)
        learned = learn(prior, lifts, changes, DRAWS, loads=loads)
    if learned.misfit > STRANGE:  # what was written down as turned is not what was turned: doubt that first
        doubted = np.maximum(lifts.standard_uncertainty_mm, DOUBTED_PART * np.abs(lifts.mean_mm) + 0.01)
        learned = learn(prior, replace(lifts, standard_uncertainty_mm=doubted), changes, DRAWS, loads=loads)
    return learned


def _lying(running: Running, lifts: Lifts, made: int) -> Lying:
    """The rail as it lay when it was swept, before the last ``made`` turns."""
    until = len(lifts.bolt) - made
    return Lying(running, lifted(running.learned, lifts.bolt[:until], running.learned.lifts_mm[:, :until])[:, None, :])


def stand_on(common: Common, first: list[str]) -> Ground:
    """The ground with ``first[0]`` as the set-up that guides the hand, and the rest of them looked at like it."""
    machine, state, learned, made = common.machine, common.state, common.learned, common.made
    others = [name for name in state.current if name not in first and _aimed_at(machine, name)]
    sweeps = {name: _to_plan_on(machine, state.current[name], common.lying) for name in (*first, *others)}
    warnings = list(common.warnings)
    contact: Resting | Carried | None
    if common.running is not None:
        contact = carried_of(common.running, common.lifts, list(sweeps.values()), common.goals, made)
    else:
        contact = resting_of(learned, common.lifts, list(sweeps.values()), common.goals, made)
    situation = situation_of(machine, state, sweeps, common.goals, learned, contact, made)
    if contact is not None:
        start = len(common.lifts.bolt) - made
        moved = lifted(learned, common.lifts.bolt[start:], learned.lifts_mm[:, start:])
        contact = replace(contact, lifts_mm=contact.lifts_mm + moved[:, None, :])
    if common.running is not None:
        warnings += bearing_words(learned.prior.bench.carriage, list(state.current), machine)
    if isinstance(contact, Resting):
        warnings += hanging_words(contact, [bolt.name for bolt in machine.bolts])
    thread_mm = inputs.travel_of(machine, state.rounds)
    said_once, mapped = tuple(dict.fromkeys(warnings)), bool(machine.table.map)
    return Ground(
        state, first[0], sweeps, learned, situation, thread_mm, said_once, common.lifts, contact, mapped, common
    )


def plan(
    ground: Ground, situation: Situation, cost_per_move: float, insist: bool = False, made: Parks = ()
) -> tuple[Outcome, Outcome]:
    """The round to make from ``situation`` (of this ground, or its main set-up alone), and that of turning nothing.

    ``made``: (bolt, park row) of the turns of this round that were made already.
    """
    if ground.contact is None:
        return plan_round(situation, cost_per_move, insist=insist, made=made)
    whole = len(situation.value) == len(ground.situation.value)
    contact = ground.contact if whole else ground.contact.main_alone()
    planned, nothing = plan_in_contact(situation, contact, cost_per_move, insist)
    if isinstance(contact, Resting):
        planned = with_contact_first(situation, contact, planned, nothing)
    return planned, nothing


def turns_made(ground: Ground, made: Sequence[TurnedBolt]) -> Parks:
    """(bolt, park row) of the bolts that were turned by the main set-up's display."""
    assert ground.common is not None
    machine, s_mm = ground.common.machine, ground.sweeps[ground.main].s_mm
    names = [bolt.name for bolt in machine.bolts]
    return tuple(
        (names.index(machine.bolt(move.bolt).name), int(np.argmin(np.abs(s_mm - move.park_mm))))
        for move in made
        if move.park_mm is not None and move.set_up in (None, "", ground.main)
    )


def best_reached(ground: Ground) -> FloatArray:
    """The smallest peak to valley, as a part of the limit, that the bolts can reach in some of the draws."""
    alone = main_alone(ground)
    if isinstance(ground.contact, Carried):
        return best_in_contact(alone, ground.contact.main_alone())
    found = best_possible(alone)
    if isinstance(ground.contact, Resting) and float(np.median(found)) > IN_REACH:  # feet that hang can be brought back
        return best_in_contact(alone, ground.contact.main_alone())
    return found


def parked_lifts(ground: Ground, parked: Parked, bolt: int) -> FloatArray:
    """How far a bolt went in every draw (draws,), by what the parked display did, where contact decides."""
    running = ground.common.running if ground.common is not None else None
    if running is not None:
        return carried_lifts(running, ground.lifts, parked, bolt)
    return resting_lifts(ground.learned, ground.lifts, parked, bolt)


def _to_plan_on(machine: Machine, findings: Findings, lying: Lying | None) -> Sweep:
    """A few stations of the profile, carried on to the ends of the stretch in which the set-up reads."""
    sweep = thinned(inputs.sweep_of(machine, findings), STATIONS)
    carriage = inputs.carriage_of(machine)
    fine = np.arange(carriage.stroke_mm[0], carriage.stroke_mm[1] + 0.5)
    reads = fine[seen_by_geometry(sweep.set_up, carriage, inputs.table_of(machine), fine)]
    if not len(reads):
        return sweep
    whole = extended(sweep, float(reads[0]), float(reads[-1]))
    return whole if lying is None else with_ends(whole, sweep, lying)


def _main_set_up(machine: Machine, state: inputs.State, asked: str | None, made: Sequence[TurnedBolt]) -> str:
    usable = [name for name in state.current if useful(machine, name)]
    if asked is not None:
        inputs.set_up_of(machine, asked)
        if asked not in state.current:
            raise NotAllowed(
                f"Set-up {asked} was not swept since the last moves; swept were: {', '.join(usable) or 'none'}.",
                f"Sweep it: truestroke sweep --set-up {asked} ...",
            )
        return asked
    if not usable:
        raise NotAllowed("No set-up that reads heights, pitch or roll was swept since the last moves.", "Sweep one.")
    guided = [move.set_up for move in made if move.set_up in usable]  # a round is ended as it was begun
    return guided[-1] if guided and guided[-1] is not None else usable[-1]


def useful(machine: Machine, name: str) -> bool:
    return name in machine.set_ups and machine.set_up(name).direction == "height"


def _aimed_at(machine: Machine, name: str) -> bool:
    """Other set-ups are aimed at where they read heights and no place of the machine stands for them.

    A level beside an indicator, and a stand at a place, inform the places and the run over the stroke instead.
    """
    given = machine.set_up(name)
    if not useful(machine, name) or given.kind == "level":
        return False
    away = [abs(place.x_mm - (given.x_mm or 0.0)) for place in machine.places]
    return given.kind != "fixed" or all(distance > AT_A_PLACE_mm for distance in away)


def main_alone(ground: Ground, one_round: bool = False) -> Situation:
    """The main set-up alone, with all of each bolt's thread: what "the bolts cannot do it" is judged on."""
    rows = np.arange(ground.rows.stop)
    situation = ground.situation
    group = replace(situation.groups[0], rows=rows)
    return replace(
        situation,
        value=situation.value[rows],
        covariance=situation.covariance[np.ix_(rows, rows)],
        response=situation.response[:, rows] if one_round else _physics_rows(ground),
        groups=(group,),
        lowest_mm=situation.lowest_mm if one_round else np.maximum(ground.thread_mm[0], -MOST_mm),
        highest_mm=situation.highest_mm if one_round else np.minimum(ground.thread_mm[1], MOST_mm),
    )


def _physics_rows(ground: Ground) -> FloatArray:
    """The response of the main set-up's rows by physics alone: (draws, rows, bolts)."""
    sweep = ground.sweeps[ground.main]
    weights = reading_weights(sweep.set_up, ground.learned.prior.bench.carriage, sweep.s_mm)
    return np.asarray(np.einsum("dsqb,sq->dsb", ground.learned.physics_response(sweep.s_mm), weights))


def hidden_of(ground: Ground) -> float:
    """By how much the measured peak to valley is more than the heights', for what an unmapped table hides in them."""
    profile = ground.findings.profile
    return max(float(ground.findings.extremes.peak_to_valley - np.ptp(profile.value)), 0.0)


def doubt_of(ground: Ground) -> float:
    """Expanded uncertainty of the measured peak to valley."""
    return float(ground.findings.extremes.peak_to_valley_uncertainty)
