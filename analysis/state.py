"""What several set-ups together say of heave, pitch and roll over the whole stroke, and what none of them sees.

Why it exists: one stand sees one mixture of heave, pitch and roll. After a "success" in front of it the carriage can
still run uphill by a quarter of a millimetre. It prevents that mistake by estimating the rail itself from whatever was
swept, with an honest uncertainty where nothing looked.

The unknown is the shape of the running surface: height ``w(x)`` and twist ``phi(x)`` along the rail, smooth Gaussian
processes with free position and tilt (C. E. Rasmussen & C. K. I. Williams, Gaussian Processes for Machine Learning,
2006, chapter 2). The carriage on its bearings turns them into a state, each set-up reads its functional of the state,
and conditioning on all sweeps at once gives the state everywhere. A level also reads the base's tilt against gravity, a
fixed indicator the form of the carriage's top: both are unknowns here, not noise. A level that was laid on the table
first has shown that tilt, and tells the rise over the stroke far better than two stands near each other.

Bolts bend a rail in long waves and leave the rest as it is: the short waves of its running surface, the carriage's top,
the table and a level's own zero are the same in every round of a visit, so what was swept before the last turns still
tells of them. How far the bolts bent the rail between is taken as unknown: nothing that was learned counts twice.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
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
FINE_KNOT_mm = 40.0
SURFACE_mm, SURFACE_TWIST = (
    (90.0, 0.004),
    (120.0, 1e-5),
)  # what rolling and wear leave on it (common practice, no source)
LOCAL_BEND_mm, LOCAL_TWIST = (250.0, 0.003), (250.0, 1e-5)  # what a bolt bends in shorter waves than the long ones
POSITION_mm = 1.0
TILT = 1e-3
TOP_FORM_mm = (300.0, 0.004)
FORM_LEFT_mm = (300.0, 0.0025)  # of that, what the stands' readings leave in the heights of a place (simulated saws)
TABLE_mm = (250.0, 0.008)  # a cast table nobody mapped, what is scraped and what sags (common practice, no source)
LEVEL_ZERO_mm_per_m = 1.0
SET_DOWN_mm_per_m = 0.005  # a level put back where it stood (common practice, no source)
FLOOR_mm = (
    0.001  # of a swept height beside its own figures: rollers, what a profile smooths (common practice, no source)
)
MAP_ALIKE_mm = 50.0
ANOTHER = 3.0  # standard deviations beyond which a level's zero is another one
STATIONS = 40


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


@dataclass(frozen=True)
class Earlier:
    """Sweeps of an earlier round of the same visit; ``turned``: bolts were turned between them and the state now."""

    sweeps: Sequence[Sweep]
    turned: bool = True


def estimate_shape(
    carriage: Carriage,
    sweeps: Sequence[Sweep],
    table_mapped: bool = False,
    earlier: Sequence[Earlier] = (),
    map_mm: float = 0.0,
) -> Shape:
    """The rail's running surface from every sweep of one state of the machine (at least one).

    ``earlier``: what was swept before in this visit, for what no bolt moves. ``map_mm``: standard uncertainty of the
    table's map, which stands in every round's heights alike.
    """
    free = [_bare(sweep) for sweep in sweeps]
    alone = _conditioned(carriage, [Earlier(free, turned=False)], table_mapped, map_mm)
    alike = [each for each in earlier if _levels_stood_alike(alone, sweeps, each.sweeps, map_mm)]
    laid = any(sweep.on_table is not None for sweep in sweeps) and all(_agrees(alone, sweep) for sweep in sweeps)
    if not laid:
        sweeps, alike = free, [Earlier([_bare(sweep) for sweep in each.sweeps], each.turned) for each in alike]
        if not alike:
            return alone
    return _conditioned(carriage, [Earlier(sweeps, turned=False), *alike], table_mapped, map_mm)


def table_denied(carriage: Carriage, sweeps: Sequence[Sweep], table_mapped: bool = False) -> tuple[float, float] | None:
    """What the stands say a level would show on the table and what it is said to have shown, mm/m, where the two cannot
    both be; None where they can. Such a table reading is not used.
    """
    alone = _conditioned(carriage, [Earlier([_bare(sweep) for sweep in sweeps], turned=False)], table_mapped, 0.0)
    for sweep in sweeps:
        if sweep.on_table is not None and not _agrees(alone, sweep):
            return _zero_of(alone, sweep)[0], sweep.on_table.slope_mm_per_m
    return None


def _bare(sweep: Sweep) -> Sweep:
    """A level's sweep as if it had never lain on the table."""
    return replace(sweep, on_table=None)


def _agrees(alone: Shape, sweep: Sweep) -> bool:
    """Whether what a level showed on the table can be what it reads beside the state; true of all other sweeps."""
    if sweep.on_table is None:
        return True
    zero, variance = _zero_of(alone, sweep)
    doubt = float(np.hypot(np.sqrt(variance), sweep.on_table.standard_uncertainty_mm_per_m))
    return abs(zero - sweep.on_table.slope_mm_per_m) <= ANOTHER * doubt


def _levels_stood_alike(now: Shape, sweeps: Sequence[Sweep], then: Sequence[Sweep], map_mm: float) -> bool:
    """Whether every level of an earlier round read from the zero it has now, as far as its own round tells: one set to
    zero again, or a machine that was moved, makes all of that round another machine's.
    """
    levels = {sweep.set_up: sweep for sweep in sweeps if sweep.set_up.kind == "level"}
    if not any(sweep.set_up in levels for sweep in then):
        return True
    bare = Earlier([_bare(sweep) for sweep in then], turned=False)
    before = _conditioned(now.carriage, [bare], now.table_mapped, map_mm)
    for sweep in then:
        if sweep.set_up in levels:
            zero, doubt = _zero_of(now, levels[sweep.set_up])
            its_zero, its_doubt = _zero_of(before, sweep)
            if abs(its_zero - zero) > ANOTHER * float(np.sqrt(doubt + its_doubt + 2.0 * SET_DOWN_mm_per_m**2)):
                return False
    return True


def _zero_of(shape: Shape, level: Sweep) -> tuple[float, float]:
    """What a level reads beside the state, mm/m, and its variance."""
    value, covariance = shape.rows(level.s_mm, reading_weights(level.set_up, shape.carriage, level.s_mm))
    return float(np.mean(level.value - value)), float(np.mean(covariance) + np.mean(level.covariance))


def _conditioned(carriage: Carriage, epochs: Sequence[Earlier], table_mapped: bool, map_mm: float) -> Shape:
    """The surface at the first of several rounds, from all of them."""
    knots, prior, stays = _fine_prior(carriage)
    few = [[thinned(sweep, STATIONS) for sweep in epoch.sweeps] for epoch in epochs]
    designs = [_design(carriage, knots, each) for each in few]
    flat = [sweep for each in few for sweep in each]
    noise = _noise(flat, carriage, table_mapped, map_mm)
    seen = np.concatenate(
        [design @ (stays if epoch.turned else prior) for epoch, design in zip(epochs, designs, strict=True)]
    )
    expected = [
        [one @ (prior if _same_state(epochs, i, j) else stays) @ other.T for j, other in enumerate(designs)]
        for i, one in enumerate(designs)
    ]
    gain = np.linalg.solve(np.block(expected) + noise, seen).T
    covariance = prior - gain @ seen
    mean_height = np.concatenate([np.full(len(knots), 0.1), np.zeros(len(knots))])
    value = np.concatenate([sweep.value - base_under(sweep) for sweep in flat])
    mean = mean_height + gain @ (value - np.concatenate(designs) @ mean_height)
    return Shape(carriage, knots, mean, 0.5 * (covariance + covariance.T), table_mapped)


def _same_state(epochs: Sequence[Earlier], one: int, other: int) -> bool:
    """Whether surely no bolt was turned between two rounds."""
    return one == other or not (epochs[one].turned or epochs[other].turned)


def _design(carriage: Carriage, knots: FloatArray, sweeps: Sequence[Sweep]) -> FloatArray:
    rows = [_state_rows(carriage, knots, f.s_mm, reading_weights(f.set_up, carriage, f.s_mm)) for f in sweeps]
    return np.concatenate(rows)


def _noise(sweeps: list[Sweep], carriage: Carriage, table_mapped: bool, map_mm: float) -> FloatArray:
    """Covariance of all that the sweeps read beside the state, and of their errors."""
    starts = np.concatenate([[0], np.cumsum([len(sweep.s_mm) for sweep in sweeps])])
    noise = np.zeros((starts[-1], starts[-1]))
    for i, one in enumerate(sweeps):
        here = slice(starts[i], starts[i + 1])
        noise[here, here] += one.covariance + _nuisance(one)
        for j, other in enumerate(sweeps):
            there = slice(starts[j], starts[j + 1])
            if one.set_up.kind == "level" and one.set_up == other.set_up:
                noise[here, there] += zero_doubt(one) * zero_doubt(other)
            elif i != j and table_mapped and "level" not in (one.set_up.kind, other.set_up.kind):
                apart = np.abs(_touched_mm(one)[:, None] - _touched_mm(other)[None, :])
                noise[here, there] += map_mm**2 * np.exp(-apart / MAP_ALIKE_mm)
    share_top_form(sweeps, noise)
    if not table_mapped:
        share_table(sweeps, carriage, noise)
    return noise


def place_rows(shape: Formed, x_mm: float, y_mm: float) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Positions, heights and their covariance at a place while a board passes: heave, lever of pitch, arm of roll.

    The form of the carriage's own top is not in the value: it rides along with the board, which lies on its high spots.
    What a stand took of it for the rail's stays in the covariance.
    """
    s_mm = covering_positions(shape.carriage, x_mm)
    value, covariance = shape.rows(s_mm, place_weights(x_mm, y_mm, s_mm))
    return s_mm, value, covariance + _waves(s_mm, *FORM_LEFT_mm)


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


def form_prior(carriage: Carriage, knot_mm: float = KNOT_mm) -> tuple[FloatArray, FloatArray]:
    """Knots (knots,) over all that a bearing ever touches, and the prior covariance of height and twist there."""
    ends = bearing_positions(carriage, np.array(carriage.stroke_mm))
    knots = np.linspace(float(ends.min()), float(ends.max()), int(np.ceil(np.ptp(ends) / knot_mm)) + 1)
    return knots, _prior(knots)


def _fine_prior(carriage: Carriage) -> tuple[FloatArray, FloatArray, FloatArray]:
    """As ``form_prior`` with the running surface's own waves, and the part of it that no bolt bends."""
    knots, prior = form_prior(carriage, FINE_KNOT_mm)
    n, stays = len(knots), np.zeros_like(prior)
    stays[:n, :n] = _waves(knots, *BOWS_mm[1]) + _waves(knots, *SURFACE_mm)
    stays[n:, n:] = _waves(knots, *TWISTS_mm[1]) + _waves(knots, *SURFACE_TWIST)
    prior[:n, :n] += _waves(knots, *SURFACE_mm) + _waves(knots, *LOCAL_BEND_mm)
    prior[n:, n:] += _waves(knots, *SURFACE_TWIST) + _waves(knots, *LOCAL_TWIST)
    return knots, prior, stays


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
    """What a set-up reads beside the state, in this sweep alone: its zero, or how a level was set down."""
    count = len(sweep.s_mm)
    if sweep.set_up.kind == "level":
        return SET_DOWN_mm_per_m**2 + 1e-6 * np.eye(count)
    zero = 0.0015**2 if sweep.zero_known else POSITION_mm**2
    return np.asarray(zero + FLOOR_mm**2 * np.eye(count))


def base_under(sweep: Sweep) -> float:
    """What a level is known to read beside the state, mm/m: what it showed on the table. 0 for all else."""
    return 0.0 if sweep.on_table is None else sweep.on_table.slope_mm_per_m


def zero_doubt(level: Sweep) -> float:
    """Standard uncertainty of what a level reads beside the state, mm/m."""
    return LEVEL_ZERO_mm_per_m if level.on_table is None else level.on_table.standard_uncertainty_mm_per_m


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
