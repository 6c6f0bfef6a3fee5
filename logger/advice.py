"""From a job to the advice of one round: which bolt, how far, what the indicator shows when it is right.

Why it exists: it is the one bridge between the record of an alignment and the physics. It prevents advice from stale
sweeps (bolts turned since: sweep first), advice that hides what was not seen, and a "finished" machine being turned on.
Everything is worked out again from the journal each time, with fixed seeds: the same record gives the same advice.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING, Literal

import numpy as np

from analysis.guided import reach_mm
from analysis.response import reading_weights
from analysis.results import Move, Plan, Predicted, Verdict
from analysis.situation import Outcome
from analysis.units import reading_from_height
from logger.advising import inputs
from logger.advising.doubts import refuse_roll_on_one_line, round_words
from logger.advising.enough import rest_is_fine, with_its_ends
from logger.advising.extra_set_ups import would_show
from logger.advising.fitness import before_the_first_bolt, stop_for_play
from logger.advising.ground import (
    UNEXPLAINED,
    Ground,
    best_reached,
    doubt_of,
    ground_of,
    main_alone,
    parked_lifts,
    plan,
    turns_made,
)
from logger.advising.guide import guided_ground
from logger.advising.places import next_set_up, not_seen_by_any, places, whole_stroke
from logger.advising.predicted import predicted_of
from logger.advising.surer import WORTH_A_TURN, hardly_seen, hopeless, no_turn_helps, surer, with_hardly_seen
from logger.advising.turn_steps import cautions_for, steps_of
from logger.advising.turn_words import turn_words
from logger.advising.written import as_json, predicted_as_json
from logger.errors import NotAllowed
from logger.findings import surface_under

if TYPE_CHECKING:
    from logger.advising.turned import ParkedMove, TypedMove
    from logger.job import Job, TurnedBolt
    from logger.machines import Machine

__all__ = ["advise", "as_json", "estimate_turned", "places", "predict", "predicted_as_json"]

UNSEEN_PART = 0.04  # a bolt that moves no seen reading by this part of its lift is not seen
BEYOND = 1.05  # a band is not called out of reach for a hair: the model is not that good
LOW_END = 0.15  # the lower end of what the bolts may reach, as a quantile of the draws ...
AT_FIRST = 0.04  # ... and before any turn has shown how this machine answers
COST_OF_A_MOVE: Mapping[str, float] = {"chance": 0.005, "few": 0.04, "fewest": 0.12, "least": 0.005}
TIGHT_mm, WIDE = 0.025, (0.25, 2.0)  # few bolts meet a wide band, all are needed for a tight one: parts of the price
COST_OF_TRAVEL: Mapping[str, float] = {"least": 0.4}  # per mm of thread

STRAY_mm = 0.5  # further from what is expected a parked display is not that of this sweep
LIKELY, RISKED = 0.6, 0.06
LOOK = 0.75  # part of a sweep's uncertainty that is left once it was swept twice (noise halves, its other half stays)
SURE_ENOUGH = 0.95  # a chance of being inside at which a round is ended before its last move

Trust = Literal["chance", "few", "fewest", "least"]


def advise(
    job: Job, *, set_up: str | None = None, made_so_far: Sequence[TurnedBolt] = (), trust: Trust = "few"
) -> Plan:
    """The advice of this round for ``set_up`` (default: the one swept last).

    ``made_so_far`` are bolts turned since the sweep: the rest of the round is planned again from there. Raises
    NotAllowed where nothing was swept, or nothing in that set-up.
    """
    ground = guided_ground(job, set_up, made_so_far, COST_OF_A_MOVE[trust])
    price = price_of_a_move(trust, ground)
    refuse_roll_on_one_line(job.machine, ground.main)
    ground = replace(ground, situation=replace(ground.situation, cost_per_mm=COST_OF_TRAVEL.get(trust, 0.0)))
    reached = best_reached(ground)
    limit = ground.situation.groups[0].limit
    best = float(np.median(reached)) * limit
    spread = float(
        np.hypot(0.5 * (np.quantile(reached, 0.975) - np.quantile(reached, 0.025)) * limit, doubt_of(ground))
    )
    lying = ground.common.formed if ground.common is not None else None
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
        places=places(job.machine, list(ground.state.current.values()), lying),
        whole_stroke=whole_stroke(job.machine, list(ground.state.current.values()), lying),
        would_show=would_show(job.machine, list(ground.state.current)),
        not_seen=not_seen_by_any(job.machine, list(ground.state.current.values()), lying),
        warnings=(*ground.warnings, *round_words(ground.state, job.machine, ground.main)),
    )
    base = replace(base, verdict=with_its_ends(base.verdict, ground))
    if (play := stop_for_play(job)) is not None:
        return replace(base, why=(play,))
    if ground.state.number == 1 and not made_so_far:
        base = replace(base, warnings=(*base.warnings, *before_the_first_bolt(job)))
    if ground.state.turned_since and not made_so_far:
        return _sweep_first(base, ground)
    if base.verdict.word == "inside" and not made_so_far and rest_is_fine(ground, base.places, base.whole_stroke):
        return replace(base, why=("What was swept is inside by more than the uncertainty; leave the bolts alone.",))
    low_end = LOW_END if len(ground.lifts.bolt) else AT_FIRST
    unknown = ground.learned.prior.bench.rests and not len(ground.lifts.bolt)  # on which feet it can rest is not known
    beyond = float(np.quantile(reached, low_end)) * limit - doubt_of(ground) > BEYOND * limit
    if (
        beyond and not unknown and ground.learned.misfit <= UNEXPLAINED
    ):  # a model that does not explain this machine may not give it up
        return replace(base, reachable=False, why=_beyond_the_bolts(base))
    if made_so_far:
        return _rest_of_the_round(job.machine, base, ground, price, made_so_far)
    return _with_moves(job.machine, base, ground, price)


def price_of_a_move(trust: Trust, ground: Ground) -> float:
    """What a move costs, as a part of the loss: little where one tight band is all there is to meet, and eight times as
    much where that is twice as wide.

    Goals between several set-ups, and feet or bearings that take over from each other, have the plain price.
    """
    alone = len(ground.situation.groups) == 1 and ground.contact is None
    if not alone or ground.sweeps[ground.main].set_up.kind == "level":
        return COST_OF_A_MOVE[trust]
    little, much = WIDE
    wider = max(ground.situation.groups[0].limit / TIGHT_mm, 1.0)
    return COST_OF_A_MOVE[trust] * min(little * wider**3, much)


def predict(job: Job, turned: Mapping[str, float], *, set_up: str | None = None) -> Predicted:
    """What the profile would be if bolts were moved by these thread travels (mm, + up) from the last swept state."""
    ground = ground_of(job, set_up, ())
    lifts = np.zeros(ground.situation.bolts)
    names = [bolt.name for bolt in job.machine.bolts]
    for name, raise_mm in turned.items():
        lifts[names.index(job.machine.bolt(name).name)] += raise_mm
    rng = np.random.default_rng(11)
    middle = ground.situation.response @ lifts
    if ground.contact is not None:
        middle = ground.contact.change(np.repeat(lifts[None], len(middle), axis=0))
    noise = rng.multivariate_normal(np.zeros(middle.shape[1]), ground.situation.covariance, len(middle), method="eigh")
    return predicted_of(ground, ground.situation.value + middle + noise)


def estimate_turned(
    job: Job, move: ParkedMove | TypedMove | str, *, set_up: str | None = None, made_before: Sequence[TurnedBolt] = ()
) -> TurnedBolt:
    """How far a bolt really went: as typed, or from the parked display before and after it (lock nut tight).

    ``move`` as typed (``B3@810:+0.036..+0.084``) or as understood by ``turned.parse``. ``made_before``: moves that came
    before it and are not in the journal yet, as where a whole round is told at once: they moved its display too.
    """
    from logger.advising.turned import TypedMove as Typed
    from logger.advising.turned import parse
    from logger.job import TurnedBolt

    known = parse(move, job.machine) if isinstance(move, str) else move
    display = known.parked if isinstance(known, Typed) else known
    if isinstance(known, Typed) and display is None:
        return TurnedBolt(known.bolt, known.raise_mm, known.uncertainty_mm, known.form)
    assert display is not None
    made = (*job.rounds()[-1].turned, *made_before)
    ground = guided_ground(job, set_up, made)  # as the plan said it, where nothing else is said
    shown = (display.park_mm, display.before, display.after, set_up or ground.main)
    _refuse_a_stray_display(job.machine, ground, display, shown[-1])
    if isinstance(known, Typed):
        return TurnedBolt(known.bolt, known.raise_mm, known.uncertainty_mm, known.form, *shown)
    return _by_the_display(job, ground, TurnedBolt(known.bolt, 0.0, 0.0, "parked", *shown))


def _by_the_display(job: Job, ground: Ground, recorded: TurnedBolt) -> TurnedBolt:
    """How far a bolt went that was only read by the display: on what is believed of the response, and how surely."""
    bolt, park_mm = recorded.bolt, recorded.park_mm
    index = [each.name for each in job.machine.bolts].index(job.machine.bolt(bolt).name)
    parked = inputs.parked_of(job.machine, recorded, ground.main)
    assert parked is not None
    if ground.contact is not None:
        low, middle, high = np.quantile(parked_lifts(ground, parked, index), [0.025, 0.5, 0.975])
        return replace(recorded, raise_mm=float(middle), uncertainty_mm=float(max(0.5 * (high - low), 0.01)))
    weights = reading_weights(parked.set_up, ground.learned.prior.bench.carriage, np.array([parked.s_mm]))
    gain = np.einsum("dqb,q->db", ground.learned.state_response(np.array([parked.s_mm]))[:, 0], weights[0])[:, index]
    if abs(float(np.mean(gain))) < UNSEEN_PART * (1000.0 / 600.0 if parked.set_up.kind == "level" else 1.0):
        raise NotAllowed(
            f"At {park_mm:g} mm this set-up hardly sees {bolt}: its travel cannot be told from the display.",
            f"Give the thread travel instead, as {bolt}=+0.12mm.",
        )
    safe = np.where(np.abs(gain) < 0.02, np.copysign(0.02, float(np.mean(gain))), gain)
    rng = np.random.default_rng(13)
    lifts = (parked.change + parked.uncertainty * rng.standard_normal(len(safe))) / safe
    low, middle, high = np.quantile(lifts, [0.025, 0.5, 0.975])
    return replace(recorded, raise_mm=float(middle), uncertainty_mm=float(0.5 * (high - low)))


def _refuse_a_stray_display(machine: Machine, ground: Ground, move: ParkedMove, set_up: str) -> None:
    """NotAllowed where a parked display is nowhere near what sweep and moves lead to: learning from it would be wrong.

    An indicator that was knocked, zeroed again or off the edge (free rest) reads far away; so does inch taken for mm.
    What the moves before it did there is itself not known well: three of its standard uncertainties more are allowed.
    """
    given = machine.set_up(set_up)
    if given.kind == "level" or given.zero_mm is None or set_up != ground.main:
        return
    sweep, value = ground.sweeps[ground.main], ground.situation.value[ground.rows]
    shown = float(np.interp(move.park_mm, sweep.s_mm, value)) - _surface(machine, set_up, move.park_mm)
    expected = reading_from_height(shown, given.kind, given.zero_mm, given.sense)
    row = int(np.argmin(np.abs(sweep.s_mm - move.park_mm)))
    allowed = STRAY_mm + 3.0 * float(np.sqrt(ground.situation.covariance[row, row]))
    if abs(move.before - expected) > allowed:
        raise NotAllowed(
            f"Parked at {move.park_mm:g} mm the display should have shown about {expected:+.3f} mm before {move.bolt} "
            f"was turned; {move.before:+.3f} mm was given, more than {allowed:.1f} mm away.",
            "Was the indicator moved, zeroed again, or off the edge? Sweep again, or give the thread travel instead.",
        )


def _unseen(machine: Machine, ground: Ground) -> tuple[str, ...]:
    response = np.median(ground.situation.response[:, ground.rows], axis=0)
    scale = 1000.0 / 600.0 if ground.sweeps[ground.main].set_up.kind == "level" else 1.0
    seen = np.max(np.abs(response), axis=0) >= UNSEEN_PART * scale
    return tuple(bolt.name for bolt, is_seen in zip(machine.bolts, seen, strict=True) if not is_seen)


def _sweep_first(base: Plan, ground: Ground) -> Plan:
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


def _with_moves(machine: Machine, base: Plan, ground: Ground, price: float) -> Plan:
    outcome, nothing = plan(ground, ground.situation, price)
    if not outcome.steps and base.verdict.word != "inside":  # any move that helps beats standing still out of the band
        several = len(ground.situation.groups) > 1  # the main set-up alone would run off along what only others see
        whole = ground.situation if several else main_alone(ground, one_round=True)
        other, nothing = plan(ground, whole, 0.0, insist=True)
        enough = 0.0 if _measured_again(ground) else WORTH_A_TURN
        if base.verdict.word == "outside" or other.chance_inside > nothing.chance_inside + enough:
            outcome = other
    if len(ground.situation.groups) > 1 and nothing.chance_inside >= LIKELY and nothing.loss - outcome.loss < RISKED:
        outcome = nothing  # goals between several set-ups are likely met: a turn that gains little puts them at risk
    if base.verdict.word != "inside" and (not outcome.steps or hopeless(ground, outcome, nothing)):
        again = _measured_again(ground)
        outcome = surer(ground, ground.situation, price, nothing, again, stuck=_swept_twice(ground)) or outcome
    elif base.verdict.word != "inside":
        outcome = with_hardly_seen(ground, outcome, price) or outcome
    base = replace(base, warnings=(*base.warnings, *hardly_seen(machine, ground, outcome)))
    if not outcome.steps:
        return no_turn_helps(machine, base, ground, nothing.chance_inside > 0.5, _measured_again(ground))
    return _turning(machine, base, ground, outcome, nothing)


def _measured_again(ground: Ground) -> bool:
    """Whether this state was swept twice already, or lies so near to the limit that a second sweep cannot settle it."""
    found, limit = ground.findings.verdict, ground.situation.groups[0].limit
    if found.word == "cannot tell" and found.value <= limit < found.value + LOOK * doubt_of(ground):
        return True
    return _swept_twice(ground)


def _swept_twice(ground: Ground) -> bool:
    rounds = ground.state.rounds
    before = len(rounds) > 1 and not rounds[-2].turns and ground.main in rounds[-2].sweeps
    return before or len(ground.findings.sweeps) > 1


def _rest_of_the_round(machine: Machine, base: Plan, ground: Ground, price: float, made: Sequence[TurnedBolt]) -> Plan:
    """What is left to turn before the next sweep, from where the bolts already turned in this round have ended.

    Each bolt is planned once in a round: the others' targets take up what it overshot. Going back to it on a prediction
    is chasing the error of the prediction, and only for what its own display at its own park can put right.
    """
    done = {machine.bolt(move.bolt).name for move in made}
    free = np.array([bolt.name not in done for bolt in machine.bolts])
    situation = replace(
        ground.situation,
        lowest_mm=np.where(free, ground.situation.lowest_mm, 0.0),
        highest_mm=np.where(free, ground.situation.highest_mm, 0.0),
    )
    outcome, nothing = plan(ground, situation, price, made=turns_made(ground, made))
    if not outcome.steps and base.verdict.word != "inside":  # a bolt hardly seen may have been left for last
        outcome = surer(ground, situation, price, nothing, made=turns_made(ground, made)) or outcome
    if not outcome.steps or nothing.chance_inside >= SURE_ENOUGH:
        why = ("This round's moves are made: measure again.",)
        return replace(base, next="sweep", next_set_up=ground.main, why=why)
    return _turning(machine, base, ground, outcome, nothing)


def _turning(machine: Machine, base: Plan, ground: Ground, outcome: Outcome, nothing: Outcome) -> Plan:
    rows = ground.rows
    moves = tuple(replace(move, steps=steps_of(machine, move)) for move in _moves(machine, ground, outcome))
    return replace(
        base,
        next="turn",
        moves=moves,
        cautions=cautions_for(machine, moves),
        predicted=_of_every_goal(ground, outcome, predicted_of(ground, outcome.value)),
        warnings=(*base.warnings, *ORDER),
        why=(
            f"{len(outcome.steps)} of {len(machine.bolts)} bolts; "
            f"{100 * float(np.mean(outcome.ratio <= 1.0)):.0f} in 100 to be inside after this round, "
            f"{100 * nothing.chance_inside:.0f} in 100 with nothing turned "
            f"({rows.stop} stations, {ground.situation.bolts} bolts, {len(outcome.value)} draws).",
        ),
    )


def _of_every_goal(ground: Ground, outcome: Outcome, predicted: Predicted) -> Predicted:
    """A level that only guides the hand toward heights has no band of its own to be inside of: theirs counts."""
    if ground.sweeps[ground.main].set_up.kind != "level" or len(ground.situation.groups) < 2:
        return predicted
    return replace(predicted, chance_inside=outcome.chance_inside)


ORDER = (
    "One bolt at a time, in this order: never slack all supports at once.",
    "Every target counts on the moves before it: when one is skipped or overshot, ask again before the next.",
)


def _moves(machine: Machine, ground: Ground, outcome: Outcome) -> tuple[Move, ...]:
    given = machine.set_up(ground.main)
    zero = given.zero_mm_per_m if given.kind == "level" else given.zero_mm
    sweep = ground.sweeps[ground.main]
    moves = []
    for index, step in enumerate(outcome.steps, start=1):
        bolt = machine.bolts[step.bolt]
        seen = float(ground.situation.covariance[step.park, step.park])
        surface = _surface(machine, ground.main, float(sweep.s_mm[step.park]))
        now, target = step.before - surface, step.target - surface  # what is read stands on the surface, not the plane
        moves.append(
            Move(
                order=index,
                bolt=bolt.name,
                raise_mm=step.lift_mm,
                raise_at_most_mm=float(np.copysign(reach_mm(step.lift_mm), step.lift_mm)),
                turns=step.lift_mm / bolt.travel_per_turn_mm,
                flats=step.lift_mm / bolt.travel_per_turn_mm * bolt.flats,
                turn=turn_words(bolt, step.lift_mm, machine.wrench_length_mm),
                park_mm=float(sweep.s_mm[step.park]),
                reading_now=float(reading_from_height(now, given.kind, zero, given.sense)),
                reading_target=float(reading_from_height(target, given.kind, zero, given.sense)),
                height_now=now,
                height_target=target,
                uncertainty=float(2.0 * np.hypot(np.sqrt(seen), ground.situation.hand)),
                unit=sweep.set_up.unit,
                set_up=ground.main,
            )
        )
    return tuple(moves)


def _surface(machine: Machine, set_up: str, park_mm: float) -> float:
    """How high the table's mapped surface stands under the instrument, over its plane; 0 where nobody mapped it."""
    under = surface_under(machine, machine.set_up(set_up), np.array([park_mm]))
    return 0.0 if under is None else float(under[0][0])
