"""From the record of the rounds to what the estimator and the planner need.

Why it exists: sweeps of different rounds and set-ups stand on different stations, and the difference of two sweeps
carries the errors of both. This module brings them onto common stations with their covariances, once, so that learning
never counts one sweep's error as two independent ones.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from analysis.carriage import Carriage
from analysis.learn import Changes, Lifts
from analysis.response import SetUp, reading_weights
from analysis.results import FloatArray, IntArray

STATIONS = 24  # stations per set-up that learning looks at: the response is smooth over a bearing span
REACH_MM = 60.0  # a station is bridged from its neighbours over at most this
END_REACH_mm = 40.0  # a profile is carried on to the end of its stretch over at most this
END_BASE_mm = 50.0
END_BEND_mm = 0.004
ZERO_mm = 0.0015  # standard uncertainty of setting the zero again before each sweep (common practice, no source)
FLOOR_mm = 0.0007  # errors of a sweep that its own covariance does not know (common practice, no source)


@dataclass(frozen=True)
class Sweep:
    """One set-up's profile in one round: quantity ``value`` (stations,) at ``s_mm`` with its ``covariance``."""

    set_up: SetUp
    s_mm: FloatArray
    value: FloatArray
    covariance: FloatArray
    zero_known: bool = True


@dataclass(frozen=True)
class Parked:
    """What the quantity at a parked carriage did from before a turn to after its lock nut; ``uncertainty`` k = 1."""

    set_up: SetUp
    s_mm: float
    change: float
    uncertainty: float


@dataclass(frozen=True)
class Turn:
    """One bolt turned: index, believed lift and its standard uncertainty, and the parked readings if there were any."""

    bolt: int
    lift_mm: float
    standard_uncertainty_mm: float
    parked: Parked | None = None


@dataclass(frozen=True)
class Round:
    """Sweeps by the set-up's name, then the turns that followed them. Changes are taken within one ``visit`` only."""

    sweeps: dict[str, Sweep]
    turns: tuple[Turn, ...] = ()
    visit: int = 1


def onto(sweep: Sweep, s_mm: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
    """A sweep on other stations by linear interpolation: value, covariance, and where it is supported (bool)."""
    at = np.clip(np.searchsorted(sweep.s_mm, s_mm) - 1, 0, len(sweep.s_mm) - 2)
    gap = sweep.s_mm[at + 1] - sweep.s_mm[at]
    part = np.clip((s_mm - sweep.s_mm[at]) / gap, 0.0, 1.0)
    mix = np.zeros((len(s_mm), len(sweep.s_mm)))
    row = np.arange(len(s_mm))
    mix[row, at] = 1.0 - part
    mix[row, at + 1] += part
    inside = (s_mm >= sweep.s_mm[0] - 1e-6) & (s_mm <= sweep.s_mm[-1] + 1e-6)
    held = inside & ((gap <= REACH_MM) | (part < 1e-9) | (part > 1.0 - 1e-9))
    return mix @ sweep.value, mix @ sweep.covariance @ mix.T, held


def thinned(sweep: Sweep, count: int) -> Sweep:
    """At most ``count`` of a sweep's stations, evenly chosen by position, ends included."""
    if len(sweep.s_mm) <= count:
        return sweep
    wanted = np.linspace(sweep.s_mm[0], sweep.s_mm[-1], count)
    chosen = np.unique(np.abs(sweep.s_mm[None, :] - wanted[:, None]).argmin(axis=1))
    return Sweep(
        sweep.set_up,
        sweep.s_mm[chosen],
        sweep.value[chosen],
        sweep.covariance[np.ix_(chosen, chosen)],
        sweep.zero_known,
    )


def extended(sweep: Sweep, low_mm: float, high_mm: float) -> Sweep:
    """The sweep carried on to the ends of the stretch the set-up reads in, where they were missed by a little.

    The last centimetre before an edge is seldom in a profile, yet the carriage runs there too, and where it slopes the
    extremes are there. Half way between a straight line through the last ``END_BASE_mm`` and a parabola through the
    last twice as much; twice what the two differ by (a bend grows towards an end), and one nobody saw, is its doubt.
    """
    for end_mm, at_start in ((low_mm, True), (high_mm, False)):
        edge = 0 if at_start else len(sweep.s_mm) - 1
        beyond = (float(sweep.s_mm[edge]) - end_mm) * (1.0 if at_start else -1.0)
        if not 1.0 < beyond <= END_REACH_mm or len(sweep.s_mm) < 3:
            continue
        away = np.abs(sweep.s_mm - sweep.s_mm[edge])
        base = int(np.argmin(np.abs(away - END_BASE_mm) + 1e9 * (away == 0.0)))
        further = int(np.argmin(np.abs(away - 2.0 * END_BASE_mm) + 1e9 * (away <= away[base])))
        near, far = float(away[base]), float(away[further])
        mix, bend = np.zeros(len(sweep.s_mm)), np.zeros(len(sweep.s_mm))
        mix[edge], mix[base] = 1.0 + beyond / near, -beyond / near
        if far > near:  # the parabola through the three less the line through the first two (divided differences)
            bend[[edge, base, further]] = 1.0 / (near * far), -1.0 / (near * (far - near)), 1.0 / (far * (far - near))
            bend *= beyond * (beyond + near)
        bent = float(bend @ sweep.value)
        mix += 0.5 * bend
        across = sweep.covariance @ mix
        own = float(mix @ across) + (END_BEND_mm * beyond / END_REACH_mm) ** 2 + (2.0 * bent) ** 2
        place = 0 if at_start else len(sweep.s_mm)
        covariance = np.insert(
            np.insert(sweep.covariance, place, across, axis=0), place, np.insert(across, place, own), axis=1
        )
        sweep = Sweep(
            sweep.set_up,
            np.insert(sweep.s_mm, place, end_mm),
            np.insert(sweep.value, place, float(mix @ sweep.value)),
            covariance,
            sweep.zero_known,
        )
    return sweep


def observed(rounds: tuple[Round, ...], carriage: Carriage) -> tuple[Lifts, Changes]:
    """Everything the rounds say about the response: lifts made and changes seen, sweeps and parked readings alike.

    Sweeps are taken against the first of their set-up in the same visit, whose error is then shared by all of them
    (covariance); this is exactly the estimate with the first profile unknown.
    """
    turns = [(index, turn) for index, record in enumerate(rounds) for turn in record.turns]
    when = np.array([index for index, _ in turns], dtype=np.int64)
    lifts = Lifts(
        np.array([turn.bolt for _, turn in turns], dtype=np.int64),
        np.array([turn.lift_mm for _, turn in turns], dtype=np.float64),
        np.array([turn.standard_uncertainty_mm for _, turn in turns], dtype=np.float64),
    )
    visits = dict.fromkeys(record.visit for record in rounds)
    blocks = [_changes_of(name, rounds, carriage, when, visit) for visit in visits for name in _set_up_names(rounds)]
    blocks.append(_parked_changes([turn for _, turn in turns], carriage))
    return lifts, _joined([block for block in blocks if len(block.value)], len(turns))


def _set_up_names(rounds: tuple[Round, ...]) -> list[str]:
    return list(dict.fromkeys(name for record in rounds for name in record.sweeps))


def own_errors(sweep: Sweep, count: int) -> FloatArray:
    scale = 1.0 if sweep.set_up.kind != "level" else 5.0  # a level's own figures are in mm/m
    zero = ZERO_mm * scale if sweep.zero_known else 1.0
    return np.full((count, count), zero**2) + (FLOOR_mm * scale) ** 2 * np.eye(count)


def _changes_of(name: str, rounds: tuple[Round, ...], carriage: Carriage, when: IntArray, visit: int) -> Changes:
    there = [(index, record.sweeps) for index, record in enumerate(rounds) if record.visit == visit]
    swept = [(index, sweeps[name]) for index, sweeps in there if name in sweeps]
    if not swept:
        return _no_changes(len(when))
    first_round, first = swept[0]
    base = thinned(first, STATIONS)
    common = own_errors(base, len(base.s_mm)) + base.covariance
    values, causes, weights, stations, pieces, earlier = [], [], [], [], [], []
    for index, sweep in swept[1:]:
        value, covariance, held = onto(sweep, base.s_mm)
        at = np.flatnonzero(held)
        if len(at) == 0:
            continue
        pieces.append((at, covariance[np.ix_(at, at)] + own_errors(sweep, len(at))))
        values.append((value - base.value)[at])
        stations.append(base.s_mm[at])
        weights.append(reading_weights(first.set_up, carriage, base.s_mm[at]))
        between = ((when >= first_round) & (when < index)).astype(np.float64)
        causes.append(np.repeat(between[None], len(at), axis=0))
        earlier.append(np.repeat((when < first_round).astype(np.float64)[None], len(at), axis=0))
    if not values:
        return _no_changes(len(when))
    whole = np.concatenate([at for at, _ in pieces])
    covariance = common[np.ix_(whole, whole)]
    start = 0
    for at, own in pieces:
        covariance[start : start + len(at), start : start + len(at)] += own
        start += len(at)
    return Changes(
        np.concatenate(stations),
        np.concatenate(weights),
        np.concatenate(values),
        covariance,
        np.concatenate(causes),
        np.concatenate(earlier),
    )


def _parked_changes(turns: list[Turn], carriage: Carriage) -> Changes:
    seen = [(index, turn.parked) for index, turn in enumerate(turns) if turn.parked is not None]
    if not seen:
        return _no_changes(len(turns))
    stations = np.array([parked.s_mm for _, parked in seen])
    causes = np.zeros((len(seen), len(turns)))
    causes[np.arange(len(seen)), [index for index, _ in seen]] = 1.0
    earlier = (np.arange(len(turns)) < np.array([[index] for index, _ in seen])).astype(np.float64)
    weights = [reading_weights(parked.set_up, carriage, np.array([parked.s_mm]))[0] for _, parked in seen]
    return Changes(
        stations,
        np.array(weights),
        np.array([parked.change for _, parked in seen]),
        np.diag([parked.uncertainty**2 for _, parked in seen]),
        causes,
        earlier,
    )


def _no_changes(turns: int) -> Changes:
    none = np.zeros((0, turns))
    return Changes(np.zeros(0), np.zeros((0, 3)), np.zeros(0), np.zeros((0, 0)), none, none)


def _joined(blocks: list[Changes], turns: int) -> Changes:
    if not blocks:
        return _no_changes(turns)
    size = sum(len(block.value) for block in blocks)
    covariance, start = np.zeros((size, size)), 0
    for block in blocks:
        here = slice(start, start + len(block.value))
        covariance[here, here] = block.covariance
        start += len(block.value)
    return Changes(
        np.concatenate([block.s_mm for block in blocks]),
        np.concatenate([block.weights for block in blocks]),
        np.concatenate([block.value for block in blocks]),
        covariance,
        np.concatenate([block.caused_by for block in blocks]),
        np.concatenate([np.zeros_like(block.caused_by) if block.before is None else block.before for block in blocks]),
    )
