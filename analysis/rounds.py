"""From the record of the rounds to what the estimator and the planner need.

Why it exists: sweeps of different rounds and set-ups stand on different stations, and the difference of two sweeps
carries the errors of both. This module brings them onto common stations with their covariances, once, so that learning
never counts one sweep's error as two independent ones.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from analysis.carriage import Carriage
from analysis.learn import Changes, Lifts
from analysis.level import OnTable
from analysis.response import SetUp, reading_weights
from analysis.results import BoolArray, FloatArray, IntArray

STATIONS = 24  # stations per set-up that learning looks at: the response is smooth over a bearing span
REACH_MM = 60.0  # a station is bridged from its neighbours over at most this
END_REACH_mm = 40.0  # a profile is carried on to the end of its stretch over at most this
END_BASE_mm = 50.0
END_BEND_mm = 0.004
LEVEL_SCALE = 5.0  # a level's own figures are in mm/m
ZERO_mm = 0.0015  # standard uncertainty of setting the zero again before each sweep (common practice, no source)
FLOOR_mm = 0.0007  # errors of a sweep that its own covariance does not know (common practice, no source)
STANDING_mm = 0.0015  # a display at rest against the profile of a sweep: friction, lag (common practice, no source)
SHIFTED_mm = 0.1  # an indicator touched after the sweep shows itself in the first parked reading, and costs that one


@dataclass(frozen=True)
class Sweep:
    """One set-up's profile in one round: quantity ``value`` (stations,) at ``s_mm`` with its ``covariance``.

    ``on_table``: what a level shows lying along the table, in the quantity's sense and over the same zero; None where
    nobody laid it there.
    """

    set_up: SetUp
    s_mm: FloatArray
    value: FloatArray
    covariance: FloatArray
    zero_known: bool = True
    on_table: OnTable | None = None


@dataclass(frozen=True)
class Parked:
    """What the quantity at a parked carriage did from before a turn to after its lock nut; ``uncertainty`` k = 1.

    ``before``: the quantity itself before the turn, over the zero of the round's sweep (None: not told).
    """

    set_up: SetUp
    s_mm: float
    change: float
    uncertainty: float
    before: float | None = None


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
    covariance = sweep.covariance[np.ix_(chosen, chosen)]
    return replace(sweep, s_mm=sweep.s_mm[chosen], value=sweep.value[chosen], covariance=covariance)


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
        sweep = replace(
            sweep,
            s_mm=np.insert(sweep.s_mm, place, end_mm),
            value=np.insert(sweep.value, place, float(mix @ sweep.value)),
            covariance=covariance,
        )
    return sweep


def observed(rounds: tuple[Round, ...], carriage: Carriage) -> tuple[Lifts, Changes]:
    """Everything the rounds say about the response: lifts made and changes seen, sweeps and parked readings alike.

    Sweeps are taken against the first of their set-up in the same visit, whose error is then shared by all of them
    (covariance); this is exactly the estimate with the first profile unknown. A parked reading before a turn, against
    the round's sweep at that place, tells what the turns before it in the round did there.
    """
    turns = [(index, turn) for index, record in enumerate(rounds) for turn in record.turns]
    when = np.array([index for index, _ in turns], dtype=np.int64)
    lifts = Lifts(
        np.array([turn.bolt for _, turn in turns], dtype=np.int64),
        np.array([turn.lift_mm for _, turn in turns], dtype=np.float64),
        np.array([turn.standard_uncertainty_mm for _, turn in turns], dtype=np.float64),
    )
    read = _Read(carriage, when)
    visits = dict.fromkeys(record.visit for record in rounds)
    names = dict.fromkeys(name for record in rounds for name in record.sweeps)
    for visit in visits:
        for name in names:
            _add_sweeps(read, [(i, r) for i, r in enumerate(rounds) if r.visit == visit and name in r.sweeps], name)
    for index, record in enumerate(rounds):
        _add_parked(read, index, record)
    return lifts, read.changes()


class _Read:
    """What was read, with its errors, and the differences taken of it: readings ``plus`` less readings ``minus``."""

    def __init__(self, carriage: Carriage, when: IntArray) -> None:
        self.carriage, self.when = carriage, when
        self.at_parks: dict[tuple[int, SetUp], dict[float, int]] = {}  # swept readings where the carriage was parked
        self._value: list[FloatArray] = []
        self._covariance: list[FloatArray] = []
        self._plus: list[IntArray] = []
        self._minus: list[IntArray] = []
        self._s_mm: list[FloatArray] = []
        self._weights: list[FloatArray] = []
        self._caused_by: list[FloatArray] = []
        self._before: list[FloatArray] = []

    def add(self, value: FloatArray, covariance: FloatArray) -> IntArray:
        """Readings whose errors are those of no others; returns their numbers."""
        first = sum(len(each) for each in self._value)
        self._value.append(value)
        self._covariance.append(covariance)
        return np.arange(first, first + len(value))

    def take(
        self, plus: IntArray, minus: IntArray, set_up: SetUp, s_mm: FloatArray, caused_by: BoolArray, before: BoolArray
    ) -> None:
        """Differences (rows,) at ``s_mm``, with the turns (turns,) that lie between and before their readings."""
        self._plus.append(plus)
        self._minus.append(minus)
        self._s_mm.append(s_mm)
        self._weights.append(reading_weights(set_up, self.carriage, s_mm))
        self._caused_by.append(np.repeat(caused_by[None].astype(np.float64), len(s_mm), axis=0))
        self._before.append(np.repeat(before[None].astype(np.float64), len(s_mm), axis=0))

    def changes(self) -> Changes:
        """All differences with the covariance of their errors."""
        if not self._plus:
            none = np.zeros((0, len(self.when)))
            return Changes(np.zeros(0), np.zeros((0, 3)), np.zeros(0), np.zeros((0, 0)), none, none)
        value, covariance = np.concatenate(self._value), np.zeros((0, 0))
        covariance, start = np.zeros((len(value), len(value))), 0
        for block in self._covariance:
            here = slice(start, start + len(block))
            covariance[here, here] = block
            start += len(block)
        plus, minus = np.concatenate(self._plus), np.concatenate(self._minus)
        half = covariance[plus] - covariance[minus]
        return Changes(
            np.concatenate(self._s_mm),
            np.concatenate(self._weights),
            value[plus] - value[minus],
            half[:, plus] - half[:, minus],
            np.concatenate(self._caused_by),
            np.concatenate(self._before),
        )


def scale_of(set_up: SetUp) -> float:
    """What a height's error in mm is in the set-up's own unit."""
    return 1.0 if set_up.kind != "level" else LEVEL_SCALE


def own_errors(sweep: Sweep, count: int) -> FloatArray:
    scale = scale_of(sweep.set_up)
    zero = ZERO_mm * scale if sweep.zero_known else 1.0
    return np.full((count, count), zero**2) + (FLOOR_mm * scale) ** 2 * np.eye(count)


def _add_sweeps(read: _Read, there: list[tuple[int, Round]], name: str) -> None:
    """The sweeps ``name`` of one visit against the first of them, and what each showed where the carriage was parked
    later in its round.
    """
    if not there:
        return
    first_round, first = there[0][0], there[0][1].sweeps[name]
    grid = thinned(first, STATIONS).s_mm
    base = np.zeros(0, dtype=np.int64)
    for index, record in there:
        sweep = record.sweeps[name]
        parks = [parked.s_mm for _, parked in _parked_in(record, sweep.set_up) if parked.before is not None]
        value, covariance, held = onto(sweep, np.concatenate([grid, parks]))
        standing = np.repeat([0.0, (STANDING_mm * scale_of(sweep.set_up)) ** 2], [len(grid), len(parks)])
        numbers = read.add(value, covariance + own_errors(sweep, len(value)) + np.diag(standing))
        seen = zip(parks, numbers[len(grid) :], held[len(grid) :], strict=True)
        read.at_parks[index, sweep.set_up] = {park: int(number) for park, number, is_held in seen if is_held}
        if index == first_round:
            base = numbers[: len(grid)]
            continue
        on = np.flatnonzero(held[: len(grid)])
        between = (read.when >= first_round) & (read.when < index)
        read.take(numbers[on], base[on], first.set_up, grid[on], between, read.when < first_round)


def _parked_in(record: Round, set_up: SetUp) -> list[tuple[int, Parked]]:
    """The parked readings of a round through one set-up, each with the number of its turn in the round."""
    parked = [(number, turn.parked) for number, turn in enumerate(record.turns)]
    return [(number, each) for number, each in parked if each is not None and each.set_up == set_up]


def _add_parked(read: _Read, index: int, record: Round) -> None:
    """The parked readings of one round: after a turn against before it, and before it against the round's sweep."""
    order, first = np.arange(len(read.when)), int(np.sum(read.when < index))
    for set_up in dict.fromkeys(turn.parked.set_up for turn in record.turns if turn.parked is not None):
        seen = _parked_in(record, set_up)
        before = np.array([parked.before or 0.0 for _, parked in seen])
        after = before + np.array([parked.change for _, parked in seen])
        each = np.array([0.5 * parked.uncertainty**2 for _, parked in seen])
        shifted = (SHIFTED_mm * scale_of(set_up)) ** 2
        numbers = read.add(np.concatenate([before, after]), np.diag(np.tile(each, 2)) + shifted)
        swept = read.at_parks.get((index, set_up), {})
        for row, (number, parked) in enumerate(seen):
            turn, s_mm = first + number, np.array([parked.s_mm])
            start, end = numbers[[row]], numbers[[len(seen) + row]]
            read.take(end, start, set_up, s_mm, order == turn, order < turn)
            if parked.before is not None and parked.s_mm in swept:
                earlier = (read.when == index) & (order < turn)
                read.take(start, np.array([swept[parked.s_mm]]), set_up, s_mm, earlier, read.when < index)
