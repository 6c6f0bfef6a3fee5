"""What several set-ups together say of heave, pitch and roll over the whole stroke, and what none of them sees.

Why it exists: one stand sees one mixture of heave, pitch and roll. After a "success" in front of it the carriage can
still run uphill by a quarter of a millimetre. It prevents that mistake by estimating the rail itself from whatever was
swept, with an honest uncertainty where nothing looked.

The unknown is the shape of the running surface: height ``w(x)`` and twist ``phi(x)`` along the rail, smooth Gaussian
processes with free position and tilt (C. E. Rasmussen & C. K. I. Williams, Gaussian Processes for Machine Learning,
2006, chapter 2). The carriage on its bearings turns them into a state, each set-up reads its functional of the state,
and conditioning on all sweeps at once gives the state everywhere. A level also reads the base's tilt against gravity, a
fixed indicator the form of the carriage's top: both are unknowns here, not noise.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Protocol

import numpy as np

from analysis.carriage import Carriage, bearing_positions, state_on_rail
from analysis.response import SetUp, covering_positions, place_weights, reading_weights
from analysis.results import FloatArray
from analysis.rounds import Sweep, thinned

KNOT_mm = 60.0
BOWS_mm = (
    (700.0, 0.30),
    (200.0, 0.020),
)  # length and size (k = 1) of a rail's height waves: common practice, no source
TWISTS_mm = ((900.0, 3e-4), (250.0, 3e-5))  # the same of its twist, mm/mm
POSITION_mm = 1.0
TILT = 1e-3
TOP_FORM_mm = (300.0, 0.004)
TABLE_mm = (250.0, 0.008)  # a cast table nobody mapped, what is scraped and what sags (common practice, no source)
LEVEL_ZERO_mm_per_m = 1.0
STATIONS = 30


class Formed(Protocol):
    """A rail whose running surface is known with its doubt, and a carriage on it."""

    @property
    def carriage(self) -> Carriage:
        """The carriage."""

    def rows(self, s_mm: FloatArray, weights: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Value (stations,) and covariance of ``weights`` (stations, 3) times the state at ``s_mm``."""


@dataclass(frozen=True)
class Shape:
    """The estimated rail: knots and the mean and covariance of (w at the knots, phi at the knots)."""

    carriage: Carriage
    knots_mm: FloatArray
    mean: FloatArray
    covariance: FloatArray
    table_mapped: bool

    def rows(self, s_mm: FloatArray, weights: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Value (stations,) and covariance of ``weights`` (stations, 3) times the state at ``s_mm``."""
        design = _state_rows(self.carriage, self.knots_mm, s_mm, weights)
        return design @ self.mean, design @ self.covariance @ design.T


def estimate_shape(carriage: Carriage, sweeps: list[Sweep], table_mapped: bool = False) -> Shape:
    """The rail's running surface from every sweep of one state of the machine (at least one)."""
    knots, prior = form_prior(carriage)
    few = [thinned(sweep, STATIONS) for sweep in sweeps]
    rows = [_state_rows(carriage, knots, f.s_mm, reading_weights(f.set_up, carriage, f.s_mm)) for f in few]
    design, value = np.concatenate(rows), np.concatenate([f.value for f in few])
    noise = np.zeros((len(value), len(value)))
    start = 0
    for sweep in few:
        here = slice(start, start + len(sweep.s_mm))
        noise[here, here] = sweep.covariance + _nuisance(sweep)
        start += len(sweep.s_mm)
    share_top_form(few, noise)
    if not table_mapped:
        share_table(few, carriage, noise)
    seen = design @ prior
    gain = np.linalg.solve(seen @ design.T + noise, seen).T
    covariance = prior - gain @ seen
    mean_height = np.concatenate([np.full(len(knots), 0.1), np.zeros(len(knots))])
    return Shape(
        carriage,
        knots,
        mean_height + gain @ (value - design @ mean_height),
        0.5 * (covariance + covariance.T),
        table_mapped,
    )


def place_rows(shape: Formed, x_mm: float, y_mm: float) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Positions, heights and their covariance at a place while a board passes: design's heave + lever + roll arm.

    The form of the carriage's top along the place's own line is not known and stands in the covariance.
    """
    s_mm = covering_positions(shape.carriage, x_mm)
    value, covariance = shape.rows(s_mm, place_weights(x_mm, y_mm, s_mm))
    return s_mm, value, covariance + _waves(s_mm, *TOP_FORM_mm)


def tilt_over_stroke(shape: Formed) -> tuple[float, float]:
    """Slope of the carriage's heave along the whole stroke in mm/m, and its standard uncertainty."""
    s_mm = np.linspace(*shape.carriage.stroke_mm, 40)
    value, covariance = shape.rows(s_mm, np.tile([1.0, 0.0, 0.0], (len(s_mm), 1)))
    arm = s_mm - s_mm.mean()
    pick = 1000.0 * arm / np.sum(arm * arm)
    return float(pick @ value), float(np.sqrt(max(pick @ covariance @ pick, 0.0)))


def doubt_with(carriage: Carriage, s_of: dict[str, tuple[SetUp, FloatArray]], u_mm: float = 0.002) -> float:
    """Root mean square standard uncertainty (mm) of the edge's height over the stroke once these set-ups are swept.

    ``s_of``: set-ups by name with the stations at which they read. Needs no data: uncertainty does not depend on it.
    """
    sweeps = [
        Sweep(s, at, np.full(len(at), 0.1), u_mm**2 * (25.0 if s.kind == "level" else 1.0) * np.eye(len(at)))
        for s, at in s_of.values()
    ]
    shape = estimate_shape(carriage, sweeps)
    s_mm = np.linspace(*carriage.stroke_mm, 25)
    total = 0.0
    for weights in ([1.0, 0.0, carriage.edge_y_mm], [0.0, 300.0, 0.0], [0.0, 0.0, carriage.edge_y_mm]):
        _, covariance = shape.rows(s_mm, np.tile(weights, (len(s_mm), 1)))
        total += float(np.mean(np.diag(covariance)))
    return float(np.sqrt(total))


def _state_rows(carriage: Carriage, knots: FloatArray, s_mm: FloatArray, weights: FloatArray) -> FloatArray:
    """Rows (stations, 2 knots): how the set-up's quantity follows from the surface at the knots (linear between)."""
    at = bearing_positions(carriage, s_mm)
    left = np.clip(np.searchsorted(knots, at) - 1, 0, len(knots) - 2)
    part = (at - knots[left]) / (knots[left + 1] - knots[left])
    hat = np.zeros((*at.shape, len(knots)))
    station, bearing = np.indices(at.shape)
    hat[station, bearing, left] = 1.0 - part
    hat[station, bearing, left + 1] = part
    none = np.zeros_like(hat)
    height = state_on_rail(carriage, s_mm, hat, none)
    twist = state_on_rail(carriage, s_mm, none, hat)
    return np.concatenate([np.einsum("sqk,sq->sk", height, weights), np.einsum("sqk,sq->sk", twist, weights)], axis=1)


def form_prior(carriage: Carriage) -> tuple[FloatArray, FloatArray]:
    """Knots (knots,) over all that a bearing ever touches, and the prior covariance of height and twist there."""
    ends = bearing_positions(carriage, np.array(carriage.stroke_mm))
    knots = np.linspace(float(ends.min()), float(ends.max()), int(np.ceil(np.ptp(ends) / KNOT_mm)) + 1)
    return knots, _prior(knots)


def _prior(knots: FloatArray) -> FloatArray:
    n = len(knots)
    away = (knots - knots.mean())[:, None]
    height = POSITION_mm**2 + TILT**2 * away @ away.T + sum(_waves(knots, *bow) for bow in BOWS_mm) + 1e-9 * np.eye(n)
    twist = TILT**2 + sum(_waves(knots, *wave) for wave in TWISTS_mm) + 1e-15 * np.eye(n)
    prior = np.zeros((2 * n, 2 * n))
    prior[:n, :n], prior[n:, n:] = height, twist
    return prior


def _waves(x_mm: FloatArray, length_mm: float, size: float) -> FloatArray:
    apart = (x_mm[:, None] - x_mm[None, :]) / length_mm
    return np.asarray(size**2 * np.exp(-0.5 * apart * apart))


def _nuisance(sweep: Sweep) -> FloatArray:
    """What a set-up reads beside the state: its zero, and the base's tilt under a level."""
    count = len(sweep.s_mm)
    if sweep.set_up.kind == "level":
        return LEVEL_ZERO_mm_per_m**2 + 1e-6 * np.eye(count)
    zero = 0.0015**2 if sweep.zero_known else POSITION_mm**2
    return np.asarray(zero + 1e-7 * np.eye(count))


def share_table(sweeps: list[Sweep], carriage: Carriage, noise: FloatArray) -> None:
    """On a table nobody mapped its own form stands under every tip and under the foot of every stand.

    One form for all of them: stands near each other share it, and the tilt two of them tell is no better than the
    table between their feet. Along lines far apart sideways it is another form.
    """
    length, size = TABLE_mm
    starts = np.concatenate([[0], np.cumsum([len(sweep.s_mm) for sweep in sweeps])])
    for i, one in enumerate(sweeps):
        for j, other in enumerate(sweeps):
            if "level" in (one.set_up.kind, other.set_up.kind):
                continue
            apart = (_touched_mm(one)[:, None] - _touched_mm(other)[None, :]) / length
            aside = (_line_mm(one, carriage) - _line_mm(other, carriage)) / length
            noise[starts[i] : starts[i + 1], starts[j] : starts[j + 1]] += size**2 * np.exp(
                -0.5 * (apart * apart + aside * aside)
            )


def _touched_mm(sweep: Sweep) -> FloatArray:
    """Where on the table (x) the height was counted from: the stand's own foot, or the carried tip's place."""
    if sweep.set_up.kind == "fixed":
        return np.full(len(sweep.s_mm), sweep.set_up.x_mm)
    return np.asarray(sweep.s_mm + sweep.set_up.offset_mm)


def _line_mm(sweep: Sweep, carriage: Carriage) -> float:
    return carriage.edge_y_mm if sweep.set_up.y_mm is None else sweep.set_up.y_mm


def share_top_form(sweeps: list[Sweep], noise: FloatArray) -> None:
    """Fixed stands on one line of the top meet the same form of it, at the same point of the carriage."""
    starts = np.concatenate([[0], np.cumsum([len(sweep.s_mm) for sweep in sweeps])])
    length, size = TOP_FORM_mm
    for i, one in enumerate(sweeps):
        for j, other in enumerate(sweeps):
            if one.set_up.kind != "fixed" or other.set_up.kind != "fixed" or one.set_up.y_mm != other.set_up.y_mm:
                continue
            apart = (one.set_up.x_mm - one.s_mm)[:, None] - (other.set_up.x_mm - other.s_mm)[None, :]
            noise[starts[i] : starts[i + 1], starts[j] : starts[j + 1]] += size**2 * np.exp(
                -0.5 * (apart / length) ** 2
            )
