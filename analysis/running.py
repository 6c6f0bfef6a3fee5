"""The running form of a rail under a carriage on more than two bearings: draws of it, and how the carriage stands.

Why it exists: which bearings carry depends on the rail's own shape under them, so the response to a bolt cannot be told
without the shape. It prevents a response learned where one pair carried being used where another does.

A draw has the coordinates of ``prior`` (rail, brackets, discrepancy) and those of the *form*: the rail's height and
twist under the bearings before the first turn (smooth Gaussian processes, as in ``state``), and how deep a hollow the
carriage presses under itself. ``running_learn`` conditions them on what was read.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from analysis.bearings import Stand, stand
from analysis.carriage import Carriage, bearing_positions
from analysis.gaps import GRAVITY_m_s2
from analysis.learn import Learned
from analysis.load import ROLLERS_N_per_mm
from analysis.prior import WAVES, ARM_mm, Bench, Prior, bearing_discrepancy, bearing_response, rails
from analysis.rail import Load, single_loads
from analysis.results import FloatArray
from analysis.state import form_prior

MEAN_mm = 0.1  # of the height, before anything is read
LN_HOLLOW = 0.7  # how far the hollow may be from the median machine's, as a natural logarithm
NUGGET_mm = 5e-4  # what a finite number of draws leaves out of a covariance
KEPT_mm, KEPT = 5e-4, 3e-6  # smallest patterns of height and of twist (mm/mm) worth a coordinate


def stands(bench: Bench) -> bool:
    """Whether the carriage stands on more bearings than it needs, on a rail that is held."""
    carriage = bench.carriage
    return len(carriage.bearing_offsets_mm) > 2 and carriage.travel_ratio == 1.0 and not bench.rests


@dataclass(frozen=True)
class Grid:
    """Everything at given stations that no draw changes: bases of the form, the hollow and the discrepancy."""

    s_mm: FloatArray
    height: FloatArray  # (stations, bearings, form)
    twist: FloatArray
    hollow_mm: FloatArray  # (stations, bearings)
    waves: FloatArray  # (bolts, stations, bearings, WAVES)


@dataclass(frozen=True)
class Running:
    """Draws of the posterior: ``learned`` as elsewhere; ``form`` (draws, form) the coordinates of the rail's form."""

    learned: Learned
    form: FloatArray
    knots: Knots

    def at(self, s_mm: FloatArray) -> Bearings:
        """The bearings of all draws at stations, before the first turn, and their response."""
        prior, coordinates = self.learned.prior, self.learned.coordinates
        grid = grid_at(prior, self.knots, s_mm)
        height, twist = responses_of(prior, coordinates, grid)
        start, turned = start_of(grid, self.form)
        return Bearings(prior.bench.carriage, start, turned, height, twist, gives(prior, coordinates))


@dataclass(frozen=True)
class Lying:
    """The form with the bolts lifted by ``lifts_mm`` (draws, 1, bolts): what ``state.Shape`` is for other carriages."""

    running: Running
    lifts_mm: FloatArray

    @property
    def carriage(self) -> Carriage:
        """The carriage."""
        return self.running.learned.prior.bench.carriage

    def drawn(self, s_mm: FloatArray, weights: FloatArray) -> FloatArray:
        """``weights`` (stations, 3) times the state in every draw: (draws, stations)."""
        state = self.running.at(s_mm).stand(self.lifts_mm).state
        return np.asarray(np.einsum("dsq,sq->ds", state, weights))

    def rows(self, s_mm: FloatArray, weights: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Mean (stations,) and covariance of the same."""
        drawn = self.drawn(s_mm, weights)
        return drawn.mean(axis=0), np.atleast_2d(np.cov(drawn.T)) + NUGGET_mm**2 * np.eye(len(s_mm))


@dataclass(frozen=True)
class Bearings:
    """Heights and twists (draws, stations, bearings) under the bearings, how they answer (..., bolts), and what the
    bearings give (draws,).
    """

    carriage: Carriage
    height_mm: FloatArray
    twist: FloatArray
    by_height: FloatArray
    by_twist: FloatArray
    give_mm: FloatArray

    def first(self, draws: int) -> Bearings:
        """The first draws."""
        return Bearings(
            self.carriage,
            self.height_mm[:draws],
            self.twist[:draws],
            self.by_height[:draws],
            self.by_twist[:draws],
            self.give_mm[:draws],
        )

    def only(self, station: int) -> Bearings:
        """One station."""
        one = slice(station, station + 1)
        return Bearings(
            self.carriage,
            self.height_mm[:, one],
            self.twist[:, one],
            self.by_height[:, one],
            self.by_twist[:, one],
            self.give_mm,
        )

    def stand(self, lifts_mm: FloatArray) -> Stand:
        """How the carriage stands with the bolts lifted by (draws, stations or 1, bolts) since the first sweep."""
        height = self.height_mm + _lifted(self.by_height, lifts_mm)
        twist = self.twist + _lifted(self.by_twist, lifts_mm)
        return stand(np.asarray(self.carriage.bearing_offsets_mm), height, twist, self.give_mm[:, None])

    def response(self, on: Stand) -> FloatArray:
        """Response (draws, stations, 3, bolts) of the state to the bolts with the bearings that carry in ``on``."""
        roll = on.by_twist[..., None, :] @ self.by_twist
        return np.concatenate([on.by_height @ self.by_height, roll], axis=2)


def _lifted(by_bolts: FloatArray, lifts_mm: FloatArray) -> FloatArray:
    """(draws, stations, bearings, bolts) times lifts (draws, cases, bolts), with stations and cases alike or one 1."""
    if lifts_mm.shape[1] == 1:
        draws, stations, bearings, bolts = by_bolts.shape
        flat = by_bolts.reshape(draws, stations * bearings, bolts) @ lifts_mm[:, 0, :, None]
        return np.asarray(flat.reshape(draws, stations, bearings))
    return np.asarray((by_bolts @ lifts_mm[..., None])[..., 0])


@dataclass(frozen=True)
class Knots:
    """The form's knots along the rail, and roots (knots, patterns) of the prior of heights and of twists there."""

    x_mm: FloatArray
    height: FloatArray
    twist: FloatArray

    @property
    def size(self) -> int:
        """Coordinates of the form: patterns of height, of twist, and one for the hollow."""
        return int(self.height.shape[1] + self.twist.shape[1] + 1)


def knots_of(carriage: Carriage) -> Knots:
    """Knots over all that a bearing ever touches."""
    x_mm, prior = form_prior(carriage)
    n = len(x_mm)
    return Knots(x_mm, _root(prior[:n, :n], KEPT_mm), _root(prior[n:, n:], KEPT))


def _root(covariance: FloatArray, least: float) -> FloatArray:
    size, vectors = np.linalg.eigh(covariance)
    kept = size > least**2
    return np.asarray(vectors[:, kept] * np.sqrt(size[kept]))


def grid_at(prior: Prior, knots: Knots, s_mm: FloatArray) -> Grid:
    """The bases at stations."""
    at = bearing_positions(prior.bench.carriage, s_mm)
    left = np.clip(np.searchsorted(knots.x_mm, at) - 1, 0, len(knots.x_mm) - 2)
    part = ((at - knots.x_mm[left]) / (knots.x_mm[left + 1] - knots.x_mm[left]))[..., None]
    height = (1.0 - part) * knots.height[left] + part * knots.height[left + 1]
    twist = (1.0 - part) * knots.twist[left] + part * knots.twist[left + 1]
    none_h, none_t = np.zeros_like(height), np.zeros_like(twist)
    last = np.zeros((*at.shape, 1))
    return Grid(
        s_mm,
        np.concatenate([height, none_t, last], axis=-1),
        np.concatenate([none_h, twist, last], axis=-1),
        _hollow(prior, s_mm, at),
        bearing_discrepancy(prior, s_mm),
    )


def _hollow(prior: Prior, s_mm: FloatArray, at: FloatArray) -> FloatArray:
    """What the carriage's weight, shared alike, presses the median rail down under every bearing: (stations, bearings)
    mm, + down.
    """
    rail, _ = rails(prior, np.zeros((1, prior.size)))
    share = prior.bench.carriage.mass_kg * GRAVITY_m_s2 / at.shape[1]
    pressed = np.zeros(at.shape)
    for row, points in enumerate(at):
        shape = single_loads(rail, tuple(Load(1.0, float(x), float(x)) for x in points))
        pressed[row] = share * shape.height(points[None])[0].sum(axis=-1)
    return pressed


def start_of(grid: Grid, form: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Heights and twists (draws, stations, bearings) before the first turn."""
    hollow = np.exp(LN_HOLLOW * np.clip(form[:, -1], -3.0, 3.0))
    height = MEAN_mm + np.einsum("sbk,dk->dsb", grid.height, form) - hollow[:, None, None] * grid.hollow_mm
    return height, np.einsum("sbk,dk->dsb", grid.twist, form)


def gives(prior: Prior, coordinates: FloatArray) -> FloatArray:
    """What a bearing gives under an equal share of the weight (draws,), mm."""
    carriage = prior.bench.carriage
    share = carriage.mass_kg * GRAVITY_m_s2 / len(carriage.bearing_offsets_mm)
    known = carriage.bearing_N_mm is not None
    spread = prior.spread.ln_stiffness_measured if known else prior.spread.ln_share
    stiffness = carriage.bearing_N_mm if carriage.bearing_N_mm is not None else ROLLERS_N_per_mm
    return np.asarray(share / stiffness * np.exp(spread * coordinates[:, 7]))


def responses_of(prior: Prior, coordinates: FloatArray, grid: Grid) -> tuple[FloatArray, FloatArray]:
    """Response of height and twist under the bearings, discrepancy included: (draws, stations, bearings, bolts)."""
    height, twist, _ = bearing_response(prior, coordinates, grid.s_mm)
    own = coordinates[:, prior.physics : prior.size].reshape(len(coordinates), prior.bench.bolts, 2, WAVES)
    spread = prior.spread
    height = height + spread.height_discrepancy * np.einsum("nsbw,dnw->dsbn", grid.waves, own[:, :, 0])
    twist = twist + spread.twist_discrepancy / ARM_mm * np.einsum("nsbw,dnw->dsbn", grid.waves, own[:, :, 1])
    return height, twist
