"""Learning the running form of a rail and its response together, from every sweep of the rounds.

Why it exists: where a carriage stands on more bearings than it needs, a change of the readings may be the bolt's doing,
or that of another pair which began to carry. It prevents the one being booked to the other.

What is seen are whole sweeps, not their differences, and parked changes; each is the contact (``bearings``) of the form
with all lifts made by then. The form of the carriage's top and of the table, and the base's tilt, are in every sweep
alike. Every draw goes to its own perturbed data by damped Gauss-Newton steps with the bearings that carry in it
(randomised maximum likelihood, as in ``learn``); the data are believed little at first and then more, because bearings
that take over from each other leave many shapes that fit nearly as well.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from analysis.bearings import Stand, stand
from analysis.carriage import HEAVE, PITCH, ROLL, Carriage
from analysis.each_draw import pulled
from analysis.learn import Learned, Lifts
from analysis.prior import ARM_mm, Prior, bearing_response
from analysis.response import reading_weights
from analysis.results import BoolArray, FloatArray, IntArray
from analysis.rounds import Round, Sweep, own_errors, thinned
from analysis.running import LN_HOLLOW, Grid, Knots, Running, gives, grid_at, knots_of, responses_of, start_of
from analysis.state import base_under, share_table, share_top_form, zero_doubt

STATIONS, EARLIER = 20, 14  # of each sweep of the present state, and of those before it
DRIFT_mm, DRIFT_LENGTH_mm = 0.3, 400.0  # what a form may change by between visits: earlier ones tell changes only
DOUBTS_mm = (0.03, 0.02, 0.01, 0.007, 0.004, 0.002, 0.001, 0.0, 0.0)  # added to every reading, step by step


@dataclass(frozen=True)
class Seen:
    """What was read: row ``r`` at ``s_mm[r]`` through ``weights[r]`` (3,). ``after`` (rows,) turns made by then; where
    ``change`` (rows,) the row is a difference, and ``before`` (rows, turns) had been made at its other reading.
    """

    s_mm: FloatArray
    weights: FloatArray
    value: FloatArray
    covariance: FloatArray
    after: FloatArray
    before: FloatArray
    change: BoolArray


def seen_in(rounds: tuple[Round, ...], carriage: Carriage, table_mapped: bool) -> tuple[Lifts, Seen]:
    """Every sweep and parked reading of the rounds."""
    turns = [(index, turn) for index, record in enumerate(rounds) for turn in record.turns]
    when = np.array([index for index, _ in turns], dtype=np.int64)
    lifts = Lifts(
        np.array([turn.bolt for _, turn in turns], dtype=np.int64),
        np.array([turn.lift_mm for _, turn in turns], dtype=np.float64),
        np.array([turn.standard_uncertainty_mm for _, turn in turns], dtype=np.float64),
    )
    last = max((index for index, record in enumerate(rounds) if record.sweeps), default=0)
    sweeps, after, visits = [], [], []
    for index, record in enumerate(rounds):
        for sweep in record.sweeps.values():
            sweeps.append(thinned(sweep, STATIONS if index == last else EARLIER))
            after.append((when < index).astype(np.float64))
            visits.append(record.visit)
    parked = [(index, turn.parked) for index, (_, turn) in enumerate(turns) if turn.parked is not None]
    made = np.arange(len(turns))
    counts = [len(sweep.s_mm) for sweep in sweeps]
    swept, rows = sum(counts), sum(counts) + len(parked)
    covariance = np.zeros((rows, rows))
    covariance[:swept, :swept] = _noise(sweeps, visits, carriage, table_mapped)
    covariance[range(swept, rows), range(swept, rows)] = [each.uncertainty**2 for _, each in parked]
    stations = [sweep.s_mm for sweep in sweeps] + [np.array([each.s_mm]) for _, each in parked]
    set_ups = [sweep.set_up for sweep in sweeps] + [each.set_up for _, each in parked]
    none = np.zeros((0, len(turns)))
    of_sweeps = [np.repeat(row[None], count, axis=0) for row, count in zip(after, counts, strict=True)]
    return lifts, Seen(
        s_mm=np.concatenate(stations),
        weights=np.concatenate([reading_weights(u, carriage, s) for u, s in zip(set_ups, stations, strict=True)]),
        value=np.concatenate(
            [*(sweep.value - base_under(sweep) for sweep in sweeps), np.array([each.change for _, each in parked])]
        ),
        covariance=covariance,
        after=np.concatenate([none, *of_sweeps, *(1.0 * (made <= index)[None] for index, _ in parked)]),
        before=np.concatenate([none, np.zeros((swept, len(turns))), *(1.0 * (made < i)[None] for i, _ in parked)]),
        change=np.arange(rows) >= swept,
    )


def _noise(sweeps: list[Sweep], visits: list[int], carriage: Carriage, table_mapped: bool) -> FloatArray:
    """Covariance of all sweeps' readings: their own errors; the form of the top, of the table and the base's tilt,
    which are the same in every round; and what a machine does between visits.
    """
    starts = np.concatenate([[0], np.cumsum([len(sweep.s_mm) for sweep in sweeps])])
    noise = np.zeros((starts[-1], starts[-1]))
    share_top_form(sweeps, noise)
    if not table_mapped:
        share_table(sweeps, carriage, noise)
    for i, one in enumerate(sweeps):
        here = slice(starts[i], starts[i + 1])
        noise[here, here] += one.covariance + own_errors(one, len(one.s_mm))
        for j, other in enumerate(sweeps):
            there = slice(starts[j], starts[j + 1])
            if one.set_up == other.set_up and one.set_up.kind == "level":
                noise[here, there] += zero_doubt(one) * zero_doubt(other)
            if visits[i] == visits[j] != visits[-1] and one.set_up == other.set_up:
                apart = (one.s_mm[:, None] - other.s_mm) / DRIFT_LENGTH_mm
                unit = 1.0 if one.set_up.kind != "level" else 1000.0 / DRIFT_LENGTH_mm
                noise[here, there] += (DRIFT_mm * unit) ** 2 * (1.0 + np.exp(-0.5 * apart * apart))
    return noise


def learn_running(prior: Prior, lifts: Lifts, seen: Seen, draws: int = 120, seed: int = 20_260_101) -> Running:
    """Draws of machine, form and lifts given everything that was seen (at least one sweep)."""
    knots = knots_of(prior.bench.carriage)
    model = _Model.of(prior, knots, lifts, seen)
    rng = np.random.default_rng(seed + 1)
    begin = np.concatenate(
        [prior.draw(draws, seed), rng.standard_normal((draws, knots.size + len(lifts.bolt)))], axis=1
    )
    at, predicted, misfit = pulled(model, begin, seen.value, DOUBTS_mm, seed + 2)
    coordinates, form, shifts = np.split(at, [prior.size, prior.size + knots.size], axis=1)
    learned = Learned(
        prior=prior,
        coordinates=coordinates,
        lifts_mm=lifts.mean_mm + lifts.standard_uncertainty_mm * shifts,
        misfit=misfit,
        residual=(seen.value - predicted.mean(axis=0))[seen.change],
    )
    return Running(learned, form, knots)


@dataclass(frozen=True)
class _Model:
    """What every row should read, for given coordinates of everything."""

    prior: Prior
    lifts: Lifts
    seen: Seen
    grid: Grid
    station: IntArray  # (evaluations,): which of the grid's stations
    made: FloatArray  # (evaluations, turns)
    through: FloatArray  # (evaluations, 3)
    mix: FloatArray  # (rows, evaluations)
    by_physics: tuple[FloatArray, FloatArray]  # (physics, stations, bearings, bolts) of height and of twist
    form: int

    @classmethod
    def of(cls, prior: Prior, knots: Knots, lifts: Lifts, seen: Seen) -> _Model:
        stations, station = np.unique(seen.s_mm, return_inverse=True)
        rows, changes = len(seen.value), np.flatnonzero(seen.change)
        mix = np.zeros((rows, rows + len(changes)))
        mix[range(rows), range(rows)] = 1.0
        mix[changes, range(rows, rows + len(changes))] = -1.0
        step, n = 1e-3, prior.physics
        trials = np.zeros((n + 1, prior.size))
        trials[range(1, n + 1), range(n)] = step
        height, twist, _ = bearing_response(prior, trials, stations)
        return cls(
            prior,
            lifts,
            seen,
            grid_at(prior, knots, stations),
            np.concatenate([station, station[changes]]),
            np.concatenate([seen.after, seen.before[changes]]),
            np.concatenate([seen.weights, seen.weights[changes]]),
            mix,
            ((height[1:] - height[0]) / step, (twist[1:] - twist[0]) / step),
            knots.size,
        )

    @property
    def weights(self) -> FloatArray:
        """How each row reads the state."""
        return self.seen.weights

    @property
    def covariance(self) -> FloatArray:
        """Of the readings' errors."""
        return self.seen.covariance

    def _evaluated(self, at: FloatArray) -> tuple[Stand, FloatArray, FloatArray, FloatArray, FloatArray]:
        prior, bolts = self.prior, self.prior.bench.bolts
        coordinates, form, shifts = np.split(at, [prior.size, prior.size + self.form], axis=1)
        lifted = self.lifts.mean_mm + self.lifts.standard_uncertainty_mm * shifts
        each = np.eye(bolts)[self.lifts.bolt]
        lifts = np.einsum("et,dt,tn->den", self.made, lifted, each)
        by_height, by_twist = responses_of(prior, coordinates, self.grid)
        start, turned = start_of(self.grid, form)
        height = start[:, self.station] + np.einsum("debn,den->deb", by_height[:, self.station], lifts)
        twist = turned[:, self.station] + np.einsum("debn,den->deb", by_twist[:, self.station], lifts)
        offsets = np.asarray(prior.bench.carriage.bearing_offsets_mm)
        return stand(offsets, height, twist, gives(prior, coordinates)[:, None]), lifts, by_height, by_twist, form

    def predicted(self, at: FloatArray) -> FloatArray:
        """Readings (draws, rows)."""
        on, *_ = self._evaluated(at)
        return np.asarray(np.einsum("deq,eq->de", on.state, self.through) @ self.mix.T)

    def linearised(self, at: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Readings (draws, rows) and their Jacobian (draws, rows, unknowns) with the bearings that carry in each draw;
        how the response follows from the physics is taken at the median machine.
        """
        on, lifts, by_height, by_twist, form = self._evaluated(at)
        spread, where, n = self.prior.spread, self.station, self.prior.physics
        of_height = np.einsum("deqb,eq->deb", on.by_height, self.through[:, [HEAVE, PITCH]])
        of_twist = on.by_twist * self.through[:, ROLL, None]
        physics = np.einsum("deb,kebn,den->dek", of_height, self.by_physics[0][:, where], lifts, optimize=True)
        physics += np.einsum("deb,kebn,den->dek", of_twist, self.by_physics[1][:, where], lifts, optimize=True)
        waves = self.grid.waves[:, where]
        wavy = np.stack(
            [
                spread.height_discrepancy * np.einsum("deb,nebw,den->denw", of_height, waves, lifts, optimize=True),
                spread.twist_discrepancy
                / ARM_mm
                * np.einsum("deb,nebw,den->denw", of_twist, waves, lifts, optimize=True),
            ],
            axis=3,
        ).reshape(*lifts.shape[:2], -1)
        formed = np.einsum("deb,ebk->dek", of_height, self.grid.height[where])
        formed += np.einsum("deb,ebk->dek", of_twist, self.grid.twist[where])
        hollow = LN_HOLLOW * np.exp(LN_HOLLOW * np.clip(form[:, -1], -3.0, 3.0))
        formed[:, :, -1] = -hollow[:, None] * np.einsum("deb,eb->de", of_height, self.grid.hollow_mm[where])
        columns = np.einsum("deb,debn->den", of_height, by_height[:, where])
        columns += np.einsum("deb,debn->den", of_twist, by_twist[:, where])
        by_lift = columns[:, :, self.lifts.bolt] * self.made * self.lifts.standard_uncertainty_mm
        whole = np.concatenate([physics, wavy, formed, by_lift], axis=2)
        assert physics.shape[2] == n
        predicted = np.einsum("deq,eq->de", on.state, self.through) @ self.mix.T
        return np.asarray(predicted), np.asarray(self.mix @ whole)
