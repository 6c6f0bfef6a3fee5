"""What a known mass does to the readings: evidence of the supports' stiffness before any bolt is turned.

Why it exists: bolts and weights move the rail through the same compliance. A mass laid at marked places, or a sweep
with and without a panel, says how soft brackets and rail are while nothing has been turned yet. It prevents the first
plan resting on a guess of a factor of ten. It also says what a typical panel moves: a rail that is true empty and not
under load was set for nothing.

The carriage passes a load on to the rail as it follows the rail (virtual work): with the state (heave, pitch, roll) a
linear functional of the heights and twists under the bearings, the forces on the rail are the same functional's
transpose, so that the compliance of readings to loads is symmetric (Maxwell 1864, Betti 1872).

Masses in kg, + down; positions in mm; changes loaded minus empty, in the set-up's unit.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from analysis.carriage import Carriage, bearing_positions, state_on_rail
from analysis.prior import Prior, rails
from analysis.rail import Load, Rail, single_loads
from analysis.response import SetUp, reading_weights
from analysis.results import FloatArray

GRAVITY_m_s2 = 9.80665
"""By definition (3rd CGPM, 1901)."""
ROLLERS_N_per_mm = 60e3
"""What rollers, seats and the carriage's own frame give under a load on top (common practice, no source); k = 1 of a
give that is the same in every reading, because no bolt and no bracket explains it."""
UNMODELLED = 0.06
"""Part of an expected change that no draw explains (carriage frame, panel that bends), k = 1."""


@dataclass(frozen=True)
class Loaded:
    """Readings with and without a mass: ``change`` (rows,) loaded minus empty, with ``covariance``.

    ``s_mm`` (rows,): where the carriage's middle stood; ``x_mm`` (rows,), ``y_mm``: where on the machine the mass lay,
    on the carriage's top (``on_rail`` False) or directly on the rail.
    """

    set_up: SetUp
    mass_kg: float
    s_mm: FloatArray
    x_mm: FloatArray
    y_mm: float
    change: FloatArray
    covariance: FloatArray
    on_rail: bool = False


def load_response(prior: Prior, coordinates: FloatArray, loaded: Loaded) -> FloatArray:
    """Change of the readings in every draw: (draws, rows)."""
    rail, riding = rails(prior, coordinates)
    return changes_of(rail, prior.bench.carriage, loaded, riding.share)


def changes_of(rail: Rail, carriage: Carriage, loaded: Loaded, share: FloatArray | float = 1.0) -> FloatArray:
    """Change of the readings (draws, rows) on given rails; ``share`` as in ``state_on_rail``."""
    at = bearing_positions(carriage, loaded.s_mm)
    force = -loaded.mass_kg * GRAVITY_m_s2
    draws = np.broadcast_shapes(np.shape(rail.EI), np.shape(share))[:1] or (1,)
    out = np.zeros((draws[0], len(loaded.s_mm)))
    weights = reading_weights(loaded.set_up, carriage, loaded.s_mm)
    for row in range(len(loaded.s_mm)):
        here = slice(row, row + 1)
        points = at[row] if not loaded.on_rail else np.array([loaded.x_mm[row]])
        loads = tuple(Load(1.0, float(x), float(x), y) for y in (0.0, 1.0) for x in points)
        shape = single_loads(rail, loads)
        where = np.broadcast_to(at[row], (*np.shape(rail.EI), len(at[row])))
        grid = (draws[0], 1, len(at[row]), len(loads))
        height = np.broadcast_to(shape.height(where)[..., None, :, :], grid)
        twist = np.broadcast_to(shape.twist(where)[..., None, :, :], grid)
        state = state_on_rail(carriage, loaded.s_mm[here], height, twist, 1.0, share)[:, 0]
        of_case = np.einsum("dqc,q->dc", state, weights[row])
        force_case, couple_case = of_case[:, : len(points)], of_case[:, len(points) :] - of_case[:, : len(points)]
        forces, couples = _passed_on(carriage, loaded, row, share, draws[0])
        out[:, row] = force * (np.sum(force_case * forces, axis=1) + np.sum(couple_case * couples, axis=1))
    return out


def _passed_on(
    carriage: Carriage, loaded: Loaded, row: int, share: FloatArray | float, draws: int
) -> tuple[FloatArray, FloatArray]:
    """Forces and couples (draws, points) on the rail under a unit load: the transpose of the state's functional."""
    if loaded.on_rail:
        return np.ones((draws, 1)), np.full((draws, 1), loaded.y_mm)
    count = len(carriage.bearing_offsets_mm)
    one = np.eye(count)[None, None]  # (draws, stations, bearings, cases): a unit height, or twist, under one bearing
    shares = np.broadcast_to(np.asarray(share, float), (draws,))
    unit = np.broadcast_to(one, (draws, 1, count, count))
    none = np.zeros_like(unit)
    s_mm = loaded.s_mm[row : row + 1]
    by_height = state_on_rail(carriage, s_mm, unit, none, 1.0, shares)[:, 0]
    by_twist = state_on_rail(carriage, s_mm, none, unit, 1.0, shares)[:, 0]
    arm = float(loaded.x_mm[row] - s_mm[0])
    return by_height[:, 0] + arm * by_height[:, 1], loaded.y_mm * by_twist[:, 2]


def noise_of(loaded: Loaded, carriage: Carriage, expected: FloatArray) -> FloatArray:
    """Covariance (rows, rows) of the changes: reading, rollers that give, what no draw explains of ``expected``."""
    rollers = loaded.mass_kg * GRAVITY_m_s2 / ROLLERS_N_per_mm * (0.0 if loaded.on_rail else 1.0)
    lever = reading_weights(loaded.set_up, carriage, loaded.s_mm)
    common = rollers * np.hypot(lever[:, 0], np.hypot(lever[:, 1], lever[:, 2]) / 300.0)
    own = UNMODELLED * np.maximum(np.abs(expected), 0.2 * float(np.max(np.abs(expected), initial=0.0)))
    return np.asarray(loaded.covariance + np.outer(common, common) + np.diag(own**2))


@dataclass(frozen=True)
class Moved:
    """What a load moves: difference of two profiles at common stations, with its expanded uncertainty.

    ``most`` is the largest change (signed) at ``most_at_mm``; ``spread`` its peak to valley, what the load does to the
    shape, with ``spread_uncertainty``.
    """

    s_mm: FloatArray
    change: FloatArray
    uncertainty: FloatArray
    covariance: FloatArray
    most: float
    most_at_mm: float
    spread: float
    spread_uncertainty: float


def moved_by_load(
    s_mm: FloatArray, empty: FloatArray, loaded: FloatArray, empty_covariance: FloatArray, loaded_covariance: FloatArray
) -> Moved:
    """The difference of a loaded and an empty profile (stations,) on the same stations."""
    from analysis.uncertainty import peak_to_valley

    change = loaded - empty
    covariance = empty_covariance + loaded_covariance
    at = int(np.argmax(np.abs(change)))
    spread, uncertainty = peak_to_valley(change, covariance)
    return Moved(
        s_mm=s_mm,
        change=change,
        uncertainty=2.0 * np.sqrt(np.diag(covariance)),
        covariance=covariance,
        most=float(change[at]),
        most_at_mm=float(s_mm[at]),
        spread=spread,
        spread_uncertainty=uncertainty,
    )
