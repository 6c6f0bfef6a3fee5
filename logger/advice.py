"""From a job to the advice of one round: which bolt, how far, what the indicator shows when it is right.

Why it exists: it is the one bridge between the record of an alignment and the physics. It prevents advice from stale
sweeps (bolts turned since: sweep first), advice that hides what was not seen, and a "finished" machine being turned on.
Everything is worked out again from the journal each time, with fixed seeds: the same record gives the same advice.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any, Literal

import numpy as np

from analysis.bolts import Group, Outcome, Situation, best_possible, feasible, plan_round
from analysis.diagnose import STRANGE, odd_turns
from analysis.learn import Learned, learn
from analysis.response import reading_weights, seen_by_geometry
from analysis.results import Findings, FloatArray, Move, PlaceFinding, Plan, Predicted, Verdict
from analysis.rounds import Sweep, extended, observed, thinned
from analysis.units import reading_from_height
from logger import advice_inputs as inputs
from logger.advice_json import as_json, predicted_as_json
from logger.advice_places import next_set_up, place_goals, places
from logger.errors import NotAllowed
from logger.turn_words import turn_words

if TYPE_CHECKING:
    from logger.job import Job, TurnedBolt
    from logger.machines import Machine
    from logger.turned import ParkedMove

__all__ = ["advise", "as_json", "estimate_turned", "places", "predict", "predicted_as_json"]

DRAWS = 200
STATIONS = 40  # stations of a set-up the planner looks at: the profile is smooth between them
EDGE_mm = 25.0  # no parking nearer than this to the edge of what is seen
UNSEEN_PART = 0.04  # a bolt that moves no seen reading by this part of its lift is not seen
DOUBTED_PART = 0.4
COST_OF_A_MOVE: Mapping[str, float] = {"chance": 0.005, "few": 0.012, "fewest": 0.06}

Trust = Literal["chance", "few", "fewest"]


@dataclass(frozen=True)
class _Ground:
    """What one round's advice stands on: the state, what was learned, and the situation at the main set-up's rows."""

    state: inputs.State
    main: str
    sweeps: dict[str, Sweep]
    learned: Learned
    situation: Situation
    thread_mm: tuple[FloatArray, FloatArray]
    warnings: tuple[str, ...]

    @property
    def findings(self) -> Findings:
        return self.state.current[self.main]

    @property
    def rows(self) -> slice:
        return slice(0, len(self.sweeps[self.main].s_mm))


def advise(
    job: Job, *, set_up: str | None = None, made_so_far: Sequence[TurnedBolt] = (), trust: Trust = "few"
) -> Plan:
    """The advice of this round for ``set_up`` (default: the one swept last).

    ``made_so_far`` are bolts turned since the sweep: the rest of the round is planned again from there. Raises
    NotAllowed where nothing was swept, or nothing in that set-up.
    """
    ground = _ground(job, set_up, made_so_far)
    reached = best_possible(_alone(ground))
    limit = ground.situation.groups[0].limit
    best = float(np.median(reached)) * limit
    spread = float(np.hypot(0.5 * (np.quantile(reached, 0.975) - np.quantile(reached, 0.025)) * limit, _doubt(ground)))
    base = Plan(
        round=ground.state.number,
        set_up=ground.main,
        verdict=ground.findings.verdict,
        next="stop",
        next_set_up=next_set_up(job.machine, list(ground.state.current)),
        reachable=True,
        best_possible_peak_to_valley=best,
        best_possible_uncertainty=spread,
        unseen_bolts=_unseen(job.machine, ground),
        moves=(),
        predicted=None,
        places=places(job.machine, list(ground.state.current.values())),
        not_seen=ground.findings.not_seen,
        warnings=ground.warnings,
    )
    if ground.state.turned_since and not made_so_far:
        return _sweep_first(base, ground)
    if base.verdict.word == "inside" and not made_so_far and _rest_is_fine(ground, base.places):
        return replace(base, why=("What was swept is inside by more than the uncertainty; leave the bolts alone.",))
    if float(np.quantile(reached, 0.05)) * limit - _doubt(ground) > limit:
        return replace(base, reachable=False, why=_beyond_the_bolts(base))
    return _with_moves(job.machine, base, ground, trust)


def predict(job: Job, turned: Mapping[str, float], *, set_up: str | None = None) -> Predicted:
    """What the profile would be if bolts were moved by these thread travels (mm, + up) from the last swept state."""
    ground = _ground(job, set_up, ())
    lifts = np.zeros(ground.situation.bolts)
    names = [bolt.name for bolt in job.machine.bolts]
    for name, raise_mm in turned.items():
        lifts[names.index(job.machine.bolt(name).name)] += raise_mm
    rng = np.random.default_rng(11)
    middle = ground.situation.response @ lifts
    noise = rng.multivariate_normal(np.zeros(middle.shape[1]), ground.situation.covariance, len(middle), method="eigh")
    return _predicted(ground, ground.situation.value + middle + noise)


def estimate_turned(job: Job, move: ParkedMove | str, *, set_up: str | None = None) -> TurnedBolt:
    """How far a bolt really went, from the parked display before and after it (lock nut tight).

    ``move`` as typed (``B3@810:+0.036..+0.084``) or as understood by ``turned.parse``.
    """
    from logger.job import TurnedBolt
    from logger.turned import ParkedMove as Understood
    from logger.turned import parse

    if isinstance(move, str):
        understood = parse(move, job.machine)
        if not isinstance(understood, Understood):
            return TurnedBolt(understood.bolt, understood.raise_mm, understood.uncertainty_mm, understood.form)
        move = understood

    ground = _ground(job, set_up, ())
    index = [bolt.name for bolt in job.machine.bolts].index(job.machine.bolt(move.bolt).name)
    recorded = TurnedBolt(move.bolt, 0.0, 0.0, "parked", move.park_mm, move.before, move.after, set_up or ground.main)
    parked = inputs.parked_of(job.machine, recorded, ground.main)
    assert parked is not None
    weights = reading_weights(parked.set_up, ground.learned.prior.bench.carriage, np.array([parked.s_mm]))
    gain = np.einsum("dqb,q->db", ground.learned.state_response(np.array([parked.s_mm]))[:, 0], weights[0])[:, index]
    if abs(float(np.mean(gain))) < UNSEEN_PART * (1000.0 / 600.0 if parked.set_up.kind == "level" else 1.0):
        raise NotAllowed(
            f"At {move.park_mm:g} mm this set-up hardly sees {move.bolt}: its travel cannot be told from the display.",
            f"Give the thread travel instead, as {move.bolt}=+0.12mm.",
        )
    safe = np.where(np.abs(gain) < 0.02, np.copysign(0.02, float(np.mean(gain))), gain)
    rng = np.random.default_rng(13)
    lifts = (parked.change + parked.uncertainty * rng.standard_normal(len(safe))) / safe
    low, middle, high = np.quantile(lifts, [0.025, 0.5, 0.975])
    return replace(recorded, raise_mm=float(middle), uncertainty_mm=float(0.5 * (high - low)))


def _ground(job: Job, set_up: str | None, made_so_far: Sequence[TurnedBolt]) -> _Ground:
    state = inputs.state_of(job, made_so_far)
    main = _main_set_up(job.machine, state, set_up)
    names = [main, *[name for name in state.current if name != main and _heights(job.machine, name)]]
    sweeps = {name: _to_plan_on(job.machine, state.current[name]) for name in names}
    prior = inputs.prior_of(job.machine)
    lifts, changes = observed(state.rounds, prior.bench.carriage)
    learned = learn(prior, lifts, changes, DRAWS)
    if learned.misfit > STRANGE:  # what was written down as turned is not what was turned: doubt that first
        doubted = np.maximum(lifts.standard_uncertainty_mm, DOUBTED_PART * np.abs(lifts.mean_mm) + 0.01)
        learned = learn(prior, replace(lifts, standard_uncertainty_mm=doubted), changes, DRAWS)
    doubts = odd_turns(learned, lifts, changes)
    bolt_names = [bolt.name for bolt in job.machine.bolts]
    warnings = [*state.warnings, *state.current[main].warnings, *[d.sentence(bolt_names[d.bolt]) for d in doubts]]
    situation = _situation(job.machine, state, sweeps, learned, len(made_so_far))
    thread_mm = inputs.travel_of(job.machine, state.rounds)
    return _Ground(state, main, sweeps, learned, situation, thread_mm, tuple(dict.fromkeys(warnings)))


def _to_plan_on(machine: Machine, findings: Findings) -> Sweep:
    """A few stations of the profile, carried on to the ends of the stretch in which the set-up reads."""
    sweep = thinned(inputs.sweep_of(machine, findings), STATIONS)
    carriage = inputs.carriage_of(machine)
    fine = np.arange(carriage.stroke_mm[0], carriage.stroke_mm[1] + 0.5)
    reads = fine[seen_by_geometry(sweep.set_up, carriage, inputs.table_of(machine), fine)]
    return extended(sweep, float(reads[0]), float(reads[-1])) if len(reads) else sweep


def _main_set_up(machine: Machine, state: inputs.State, asked: str | None) -> str:
    usable = [name for name in state.current if _useful(machine, name)]
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
    return usable[-1]


def _useful(machine: Machine, name: str) -> bool:
    return name in machine.set_ups and machine.set_up(name).direction == "height"


def _heights(machine: Machine, name: str) -> bool:
    """Other set-ups are aimed at where they read heights; a level beside an indicator informs the places instead."""
    return _useful(machine, name) and machine.set_up(name).kind != "level"


def _situation(
    machine: Machine, state: inputs.State, sweeps: dict[str, Sweep], learned: Learned, made: int
) -> Situation:
    """Rows of all swept set-ups, the main one first; bolts turned since the sweep have moved them by what was
    learned.
    """
    carriage = learned.prior.bench.carriage
    parts = [
        np.einsum("dsqb,sq->dsb", learned.state_response(s.s_mm), reading_weights(s.set_up, carriage, s.s_mm))
        for s in sweeps.values()
    ]
    response = np.concatenate(parts, axis=1)
    value = np.concatenate([sweep.value for sweep in sweeps.values()])
    covariance = np.zeros((len(value), len(value)))
    groups, start = [], 0
    for name, sweep in sweeps.items():
        here = np.arange(start, start + len(sweep.s_mm))
        covariance[np.ix_(here, here)] = sweep.covariance
        groups.append(_group(machine, name, sweep, here))
        start += len(sweep.s_mm)
    for goal in place_goals(machine, list(state.current.values()), carriage):
        here = np.arange(len(value), len(value) + len(goal.s_mm))
        value = np.concatenate([value, goal.value])
        covariance = np.block(
            [
                [covariance, np.zeros((len(covariance), len(here)))],
                [np.zeros((len(here), len(covariance))), goal.covariance],
            ]
        )
        rows = np.einsum("dsqb,sq->dsb", learned.state_response(goal.s_mm), goal.weights)
        response = np.concatenate([response, rows], axis=1)
        groups.append(Group(goal.name, here, goal.limit))
    if made:
        bolts = [turn.bolt for turn in state.rounds[-1].turns][-made:]
        shift = np.einsum("drt,dt->dr", response[:, :, bolts], learned.lifts_mm[:, -made:])
        value = value + shift.mean(axis=0)
        covariance = covariance + np.cov(shift.T)
    main = next(iter(sweeps.values()))
    low, high = float(main.s_mm[0]) + EDGE_mm, float(main.s_mm[-1]) - EDGE_mm
    parks = np.flatnonzero((main.s_mm >= low) & (main.s_mm <= high))[::2]
    lowest, highest = inputs.travel_of(machine, state.rounds)
    scale = 1.0 if main.set_up.kind != "level" else 5.0
    situation = Situation(
        value=value,
        covariance=covariance,
        response=response,
        groups=tuple(groups),
        parks=parks if len(parks) else np.array([len(main.s_mm) // 2]),
        lowest_mm=np.maximum(lowest, -ONE_ROUND_mm),
        highest_mm=np.minimum(highest, ONE_ROUND_mm),
        smallest_mm=inputs.smallest_of(machine),
        hand=0.0025 * scale,
        lock_nut_mm=0.005,
    )
    return feasible(situation)


ONE_ROUND_mm = 1.2  # further than this in one round the rail, its clamps and the hand are no longer what was learned


MEAN_SPARE_mm = 0.02  # the table under the stand may be this far from its plane: aim the mean that much further in


def _group(machine: Machine, name: str, sweep: Sweep, rows: np.ndarray[Any, np.dtype[np.int64]]) -> Group:
    band = machine.band
    if sweep.set_up.kind == "level":
        limit = band.pitch_mm_per_m if sweep.set_up.axis == "pitch" else band.roll_mm_per_m
        return Group(name, rows, float(limit))
    low, high = (float(end) for end in band.mean_mm)
    spare = min(MEAN_SPARE_mm, 0.3 * (high - low))
    mean = (low + spare, high - spare) if sweep.zero_known else None
    return Group(name, rows, float(band.peak_to_valley_mm), mean)


def _alone(ground: _Ground, one_round: bool = False) -> Situation:
    """The main set-up alone, with all of each bolt's thread: what "the bolts cannot do it" is judged on."""
    rows = np.arange(ground.rows.stop)
    situation = ground.situation
    group = replace(situation.groups[0], rows=rows)
    return replace(
        situation,
        value=situation.value[rows],
        covariance=situation.covariance[np.ix_(rows, rows)],
        response=situation.response[:, rows],
        groups=(group,),
        lowest_mm=situation.lowest_mm if one_round else ground.thread_mm[0],
        highest_mm=situation.highest_mm if one_round else ground.thread_mm[1],
    )


def _rest_is_fine(ground: _Ground, places: Sequence[PlaceFinding]) -> bool:
    """Nothing else that was swept or seen in this round is outside."""
    others = [each.verdict.word for name, each in ground.state.current.items() if name in ground.sweeps]
    return "outside" not in others and all(place.verdict != "outside" for place in places if place.seen)


def _doubt(ground: _Ground) -> float:
    """Expanded uncertainty of the measured peak to valley."""
    return float(ground.findings.extremes.peak_to_valley_uncertainty)


def _unseen(machine: Machine, ground: _Ground) -> tuple[str, ...]:
    response = ground.situation.response[:, ground.rows].mean(axis=0)
    scale = 1000.0 / 600.0 if ground.sweeps[ground.main].set_up.kind == "level" else 1.0
    seen = np.max(np.abs(response), axis=0) >= UNSEEN_PART * scale
    return tuple(bolt.name for bolt, is_seen in zip(machine.bolts, seen, strict=True) if not is_seen)


def _sweep_first(base: Plan, ground: _Ground) -> Plan:
    names = ", ".join(dict.fromkeys(move.bolt for move in ground.state.turned_since))
    verdict = Verdict(
        "cannot tell", base.verdict.value, base.verdict.uncertainty, base.verdict.lower, base.verdict.upper,
        base.verdict.unit, f"{names} turned after the last sweep.",
    )  # fmt: skip
    why = (f"{names} turned after the last sweep: only a new one shows where the carriage runs now.",)
    return replace(base, verdict=verdict, next="sweep", next_set_up=ground.main, why=why)


def _beyond_the_bolts(base: Plan) -> tuple[str, ...]:
    return (
        f"The best the bolts can do is {base.best_possible_peak_to_valley:.3f} {base.verdict.unit} "
        f"± {base.best_possible_uncertainty:.3f}, and {base.verdict.upper or 0.0:.3f} is allowed.",
        "The rest is the shape of the rail, its running surface or the carriage's top, which no bolt bends out.",
        "Look for dirt, a dent or a flat roller; shim between rail and bracket; have the rail straightened; or allow a "
        "wider band.",
    )


def _with_moves(machine: Machine, base: Plan, ground: _Ground, trust: Trust) -> Plan:
    outcome, nothing = plan_round(ground.situation, COST_OF_A_MOVE[trust])
    if not outcome.steps and base.verdict.word == "outside":  # any move that helps beats standing still out of the band
        outcome, nothing = plan_round(_alone(ground, one_round=True), COST_OF_A_MOVE["chance"])
    if not outcome.steps:
        if base.verdict.word == "cannot tell" or nothing.chance_inside > 0.5:
            why = ("No turn would surely improve it, and the uncertainty reaches across the limit: measure again.",)
            return replace(base, next="sweep", next_set_up=ground.main, why=why)
        why = ("No move a hand can make would bring what was swept nearer to the band.",)
        return replace(base, next="stop", why=why)
    rows = ground.rows
    return replace(
        base,
        next="turn",
        moves=_moves(machine, ground, outcome),
        predicted=_predicted(ground, outcome.value),
        warnings=(*base.warnings, *ORDER),
        why=(
            f"{len(outcome.steps)} of {len(machine.bolts)} bolts; "
            f"{100 * float(np.mean(outcome.ratio <= 1.0)):.0f} in 100 to be inside after this round, "
            f"{100 * nothing.chance_inside:.0f} in 100 with nothing turned "
            f"({rows.stop} stations, {ground.situation.bolts} bolts, {DRAWS} draws).",
        ),
    )


ORDER = (
    "One bolt at a time, in this order: never slack all supports at once.",
    "Every target counts on the moves before it: when one is skipped or overshot, ask again before the next.",
)


def _moves(machine: Machine, ground: _Ground, outcome: Outcome) -> tuple[Move, ...]:
    given = machine.set_up(ground.main)
    zero = given.zero_mm_per_m if given.kind == "level" else given.zero_mm
    sweep = ground.sweeps[ground.main]
    moves = []
    for index, step in enumerate(outcome.steps, start=1):
        bolt = machine.bolts[step.bolt]
        seen = float(ground.situation.covariance[step.park, step.park])
        moves.append(
            Move(
                order=index,
                bolt=bolt.name,
                raise_mm=step.lift_mm,
                turns=step.lift_mm / bolt.travel_per_turn_mm,
                flats=step.lift_mm / bolt.travel_per_turn_mm * bolt.flats,
                turn=turn_words(bolt, step.lift_mm, machine.wrench_length_mm),
                park_mm=float(sweep.s_mm[step.park]),
                reading_now=float(reading_from_height(step.before, given.kind, zero, given.sense)),
                reading_target=float(reading_from_height(step.target, given.kind, zero, given.sense)),
                height_now=step.before,
                height_target=step.target,
                uncertainty=float(2.0 * np.hypot(np.sqrt(seen), ground.situation.hand)),
                unit=sweep.set_up.unit,
                set_up=ground.main,
            )
        )
    return tuple(moves)


MODEL_ERROR_PART = 0.03  # of the largest change, at a station: what no draw of the response contains
NEXT_READING_mm = 0.001  # error of the sweep that will be held against the prediction


def _unmodelled(sweep: Sweep, change: FloatArray) -> FloatArray:
    """Smooth errors (draws, stations) to be added to predictions: without them late rounds promise too much."""
    scale = 1.0 if sweep.set_up.kind != "level" else 5.0
    alike = np.exp(-0.5 * ((sweep.s_mm[:, None] - sweep.s_mm) / 120.0) ** 2) + 1e-9 * np.eye(len(sweep.s_mm))
    drawn = np.random.default_rng(17).standard_normal(change.shape) @ np.linalg.cholesky(alike).T
    size = np.hypot(NEXT_READING_mm * scale, MODEL_ERROR_PART * np.abs(change).max(axis=1, keepdims=True))
    return np.asarray(size * drawn)


def _predicted(ground: _Ground, value: FloatArray) -> Predicted:
    """The end of a round at the main set-up's stations, with what the draws do not know of: see ``_unmodelled``."""
    part = value[:, ground.rows]
    part = part + _unmodelled(ground.sweeps[ground.main], part - ground.situation.value[ground.rows])
    width = np.ptp(part, axis=1)
    low, middle, high = np.quantile(width, [0.025, 0.5, 0.975])
    group = ground.situation.groups[0]
    inside = width <= group.limit
    if group.mean is not None:
        mean = part.mean(axis=1)
        spare = MEAN_SPARE_mm / 2.0
        inside &= (mean >= group.mean[0] - spare) & (mean <= group.mean[1] + spare)
    sides = np.quantile(part, [0.025, 0.975], axis=0)
    return Predicted(
        peak_to_valley=float(middle),
        peak_to_valley_uncertainty=float(max(high - middle, middle - low)),
        mean=float(part.mean()) if group.mean is not None else None,
        chance_inside=float(np.mean(inside)),
        x_mm=ground.sweeps[ground.main].s_mm,
        value=part.mean(axis=0),
        uncertainty=np.asarray(0.5 * (sides[1] - sides[0])),
    )
