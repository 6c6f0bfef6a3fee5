"""Ways to bring a simulated saw true: the advice as the command line leads it, an oracle, and common practice.

Why it exists: what the advice is worth shows only beside what could be reached with the same counts and the same hand.
Every figure is of the noise-free truth in the state after the last move of a round.

* oracle: the same planner, told the true response (and nothing else). Where contact decides (feet that rest, a carriage
  on whichever bearings carry) one response is no bound: there it knows the machine itself and goes to its best setting.
* practice: one bolt a round, the nearest to the worst place, by the local error (common practice, no source).
"""

from __future__ import annotations

import time
from dataclasses import dataclass, field, replace

import numpy as np

from analysis.bolts import plan_round
from analysis.results import Move, Plan
from fixtures.turning import TurnedTrue
from fixtures.workshop import SimMachine
from logger import advice
from logger.advising.enough import with_its_ends
from logger.advising.ground import ground_of
from logger.advising.turned import HAND_MM, HAND_TURN
from logger.job import TurnedBolt
from logger.machines import Machine
from tests.benchmarks.workbench import MemoryJob, sweep

ROUNDS = 8
ORACLE_SPARE_mm = 0.008  # how much further inside its band it aims the mean, for its zero's sake
ASTRAY_mm = 0.04


@dataclass
class History:
    """One machine's way. ``inside`` after each round; ``spread`` of the truth before the first and after each."""

    inside: list[bool] = field(default_factory=list)
    spread: list[float] = field(default_factory=list)
    moves: list[int] = field(default_factory=list)
    accepted: int | None = None
    accepted_wrongly: bool = False
    given_up: bool = False
    band_hits: list[bool] = field(default_factory=list)
    station_hits: list[float] = field(default_factory=list)
    plan_s: list[float] = field(default_factory=list)

    def inside_after(self, rounds: int) -> bool:
        return self.inside[min(rounds, len(self.inside)) - 1] if self.inside else True

    def truth(self, machine: SimMachine, set_up: str, band_mm: float) -> None:
        band = replace(machine.layout.band, peak_to_valley_mm=band_mm)
        self.inside.append(machine.truth_inside(set_up, band))
        self.spread.append(machine.truth_peak_to_valley(set_up))


def advised(machine: SimMachine, job: MemoryJob, set_up: str, band_mm: float) -> History:
    """Rounds of sweep, bolts, turned, as the command line would lead them."""
    way = History(spread=[machine.truth_peak_to_valley(set_up)])
    for index in range(ROUNDS):
        job.swept([sweep(machine, job.machine, set_up)])
        start = time.process_time()
        plan = advice.advise(job)  # type: ignore[arg-type]
        way.plan_s.append(time.process_time() - start)
        if plan.verdict.word == "inside":
            way.accepted = index
            way.accepted_wrongly = not machine.truth_inside(
                set_up, replace(machine.layout.band, peak_to_valley_mm=band_mm)
            )
        if not plan.reachable:
            way.given_up = True
        if plan.next == "stop":
            way.truth(machine, set_up, band_mm)
            way.moves.append(0)
            break
        made: list[TurnedBolt] = []
        for move in plan.moves:
            done = turned_as_said(machine, job.machine, move)
            if done.before is not None and done.after is not None:
                made.append(recorded(job.machine, move, done, plan.set_up))
        job.turned(made)
        way.moves.append(len(plan.moves))
        way.truth(machine, set_up, band_mm)
        if plan.predicted is not None and plan.moves:
            away = abs(way.spread[-1] - plan.predicted.peak_to_valley)
            way.band_hits.append(away <= plan.predicted.peak_to_valley_uncertainty)
            way.station_hits.append(stations_held(machine, plan, set_up))
    return way


def turned_as_said(machine: SimMachine, described: Machine, move: Move) -> TurnedTrue:
    """The hand at one bolt, as the steps tell it: until the display shows the target, whichever way that is, and no
    further than was said; where the rail only rests, only the way that was said.
    """
    assert move.park_mm is not None and move.reading_target is not None
    most = abs(move.raise_at_most_mm) if move.raise_at_most_mm is not None else np.inf
    toward = move.raise_mm if described.bolt(move.bolt).kind == "rest_only" else 0.0
    return machine.turn_until(move.bolt, move.set_up, move.park_mm, move.reading_target, most, toward)


def recorded(machine: Machine, move: Move, done: TurnedTrue, set_up: str) -> TurnedBolt:
    """What a hand writes down: the display where it showed the target; where it never did, also how far it turned."""
    display = (move.park_mm, done.before, done.after, set_up)
    if done.reached:
        return TurnedBolt(move.bolt, move.raise_mm, abs(move.raise_mm), "parked", *display)
    by_eye = float(np.hypot(HAND_TURN * machine.bolt(move.bolt).travel_per_turn_mm, HAND_MM))
    return TurnedBolt(move.bolt, done.counted_mm, by_eye, "turns", *display)


def stations_held(machine: SimMachine, plan: Plan, set_up: str) -> float:
    """Part of the predicted stations whose 95 % band holds the truth after the moves."""
    assert plan.predicted is not None
    given = machine.set_up(set_up)  # height over the table as it lies there, as the findings say it
    truth = given.sign * machine.noise_free_reading(set_up, plan.predicted.x_mm) + given.zero_mm
    seen = np.isfinite(truth)
    away = np.abs(truth - plan.predicted.value)[seen]
    return float(np.mean(away <= plan.predicted.uncertainty[seen]))


def oracle(machine: SimMachine, job: MemoryJob, set_up: str, band_mm: float) -> History:
    """The same planner with the true response; where contact decides, the machine itself."""
    way = History(spread=[machine.truth_peak_to_valley(set_up)])
    touches = machine.layout.carriage.contact == "carried" or bool(machine.truth.rail.one_way.any())
    for index in range(ROUNDS):
        job.records.clear()
        job.swept([sweep(machine, job.machine, set_up)])
        ground = ground_of(job, None, ())  # type: ignore[arg-type]
        if with_its_ends(ground.findings.verdict, ground).word == "inside":
            way.accepted = index
            way.truth(machine, set_up, band_mm)
            break
        if touches:
            way.moves.append(to_its_best(machine, set_up, band_mm))
            way.truth(machine, set_up, band_mm)
            continue
        x = ground.sweeps[set_up].s_mm
        truth = machine.response(set_up, np.clip(x, *machine.stations(set_up)[[0, -1]]))
        known = replace(ground.situation, response=np.repeat(truth[None], 100, axis=0), offset=None, least_gain=0.02)
        outcome, _ = plan_round(known)
        for step in outcome.steps:
            target = machine.set_up(set_up).sign * step.target
            machine.turn_until(machine.bolts[step.bolt], set_up, float(x[step.park]), target)
        way.moves.append(len(outcome.steps))
        way.truth(machine, set_up, band_mm)
    return way


def to_its_best(machine: SimMachine, set_up: str, band_mm: float) -> int:
    """Turn every bolt to where the machine is as good as it can be, each guided by the display where it follows most,
    or by angle where the display led it astray; how many were turned.
    """
    low, high = machine.layout.band.mean_mm
    band = replace(
        machine.layout.band, peak_to_valley_mm=band_mm, mean_mm=(low + ORACLE_SPARE_mm, high - ORACLE_SPARE_mm)
    )
    lifts = machine.best_possible(set_up, band).thread_mm - machine.thread_mm
    ahead, stations = machine.copy(), machine.stations(set_up)[5:-5:5]
    order = [int(bolt) for bolt in np.argsort(-np.abs(lifts)) if abs(lifts[bolt]) >= 0.01]
    for bolt in order:
        before = ahead.noise_free_reading(set_up, stations)
        ahead.thread_mm = ahead.thread_mm + lifts * (np.arange(len(lifts)) == bolt)
        after = ahead.noise_free_reading(set_up, stations)
        park = int(np.nanargmax(np.abs(after - before)))
        done = machine.turn_until(machine.bolts[bolt], set_up, float(stations[park]), float(after[park]))
        left = float(lifts[bolt]) - done.thread_mm
        if abs(left) > ASTRAY_mm:
            machine.turn(machine.bolts[bolt], left)
    return len(order)


def practice(machine: SimMachine, job: MemoryJob, set_up: str, band_mm: float, rounds: int = 40) -> History:
    """One bolt a round: the one nearest to the worst place, by the local error, as people do it."""
    way = History(spread=[machine.truth_peak_to_valley(set_up)])
    wanted = float(np.mean(machine.layout.band.mean_mm))
    where = np.array([bolt.x_mm for bolt in machine.layout.bolts])
    for _ in range(rounds):
        s = machine.stations(set_up)
        heights = machine.truth_heights(set_up, s)  # a perfect reading: practice is not handicapped by noise
        good = np.isfinite(heights)
        worst = int(np.argmax(np.abs(heights[good] - wanted)))
        bolt = int(np.argmin(np.abs(where - s[good][worst])))
        machine.turn(machine.bolts[bolt], wanted - float(heights[good][worst]))
        way.moves.append(1)
        way.truth(machine, set_up, band_mm)
        if way.inside[-1]:
            break
    return way
