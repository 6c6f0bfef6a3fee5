"""What is believed of a rail before anything is turned: many draws of the physics, not one nominal machine.

Why it exists: nobody knows the stiffness of a bracket under a saw bench within a factor of three. A plan made from one
nominal value is confidently wrong; a plan made over draws knows which moves are safe whatever the brackets do, and the
same draws are what learning narrows. It prevents false certainty in the first round.

A draw is a vector of independent standard normal numbers (``coordinates``); this module turns it into a rail and the
rail into the response of the carriage's state to every bolt. Because the coordinates are normal, learning is plain
Gaussian conditioning however skewed the physical parameters are.

Figures (common practice, no source; by the cantilever formula on common dimensions): bracket stiffness 5 to 50 kN/mm
common, 1.5 to 200 possible; 5 to 20 % of a load's give shared with the neighbour through the frame; a foot that
resists twist like its own stiffness at an arm of 25 to 50 mm; bending and torsion known within a factor of 1.5. What is
common is taken as nine in ten; what is possible, as one in a hundred: no normal number does both, so the stiffness has
a tail of its own.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace

import numpy as np

from analysis.carriage import Carriage, bearing_positions, state_on_rail
from analysis.rail import Rail, lift_response, shared_compliance
from analysis.results import BoolArray, FloatArray, IntArray

YOUNG_N_MM2 = {"steel": 206e3, "aluminium": 70e3, "cast iron": 110e3}  # handbook values, from memory
SHEAR_N_MM2 = {"steel": 79e3, "aluminium": 26e3, "cast iron": 44e3}
PHYSICS = 9  # coordinates of the whole rail, before those of each support
UNLIKE = 8  # the one that says how unlike its brackets are
WAVES = 8  # cosine terms of the discrepancy along the rail
ARM_mm = 150.0  # at which the discrepancy of the twist is given


@dataclass(frozen=True)
class Bench:
    """What a tape measure and the manual say: supports, carriage, section.

    ``x_mm``, ``y_mm``: supports, shape (n,). ``EI``, ``GJ`` in N mm^2; ``section_known`` False widens both.
    ``stiffness_N_mm`` (n,): bracket and bolt where they were measured, nan where not. ``clamped`` (n,): feet that also
    hold the rail's slope. ``one_way`` (n,): feet on which the rail only rests; then its own weight counts,
    ``rail_N_mm`` per length between ``rail_mm``. ``brace_mm``: (x, y) of tight braces, which hold as a bracket does.
    """

    x_mm: FloatArray
    y_mm: FloatArray
    EI: float
    GJ: float
    carriage: Carriage
    section_known: bool = True
    stiffness_N_mm: FloatArray | None = None
    one_way: BoolArray | None = None
    clamped: BoolArray | None = None
    rail_mm: tuple[float, float] = (0.0, 0.0)
    rail_N_mm: float = 0.0
    brace_mm: tuple[tuple[float, float], ...] = ()

    @property
    def bolts(self) -> int:
        """How many bolts."""
        return len(self.x_mm)

    @property
    def rests(self) -> bool:
        """Whether any foot only rests."""
        return self.one_way is not None and bool(self.one_way.any())


@dataclass(frozen=True)
class Spread:
    """How far each belief reaches: medians, and standard deviations of natural logarithms or of lengths."""

    ln_EI: float = 0.30
    ln_GJ: float = 0.45
    stiffness_N_mm: float = 16e3
    ln_stiffness_all: float = 0.66  # all brackets of one machine are alike ...
    stiffness_tail: float = 0.05  # ... and those of some machines far from common: part of the cube of the coordinate
    ln_stiffness_each: float = 0.30  # they are not the same either; how much they differ is itself not known: ...
    ln_stiffness_differ: float = 0.65  # ... in some as much as brackets of different machines
    ln_stiffness_measured: float = 0.20  # a measured one, with what a dial and a bar at a bracket are worth
    coupling: float = 0.10
    ln_coupling: float = 0.45
    closeness: float = 0.5  # supports side by side share the square root of what neighbours share
    ln_closeness: float = 0.4
    twist_arm_mm: float = 35.0
    ln_twist_arm: float = 0.22
    span: float = 0.01  # a roller's contact is not exactly where the tape said
    ln_share: float = 1.0  # of more than two bearings, which carry: only the outer, only the inner, or all
    ln_share_of_cage: float = 0.4  # rollers of a cage run between two guideways that press on all of them
    x_mm: float = 3.0
    y_mm: float = 2.0
    height_discrepancy: float = 0.006  # rail mm per mm of lift no draw explains: uneven section, frame, joints
    twist_discrepancy: float = 0.006  # the same at an arm of 150 mm
    wave_mm: float = 350.0  # shortest length over which a discrepancy changes
    misfit_mm: float = 0.12  # how far the feet of a resting rail stand from where it would touch them all


@dataclass(frozen=True)
class Prior:
    """The prior of one bench. ``coordinates`` are ordered: physics first, then the discrepancy of each bolt."""

    bench: Bench
    spread: Spread = field(default_factory=Spread)

    @property
    def physics(self) -> int:
        """How many coordinates the physics has."""
        return PHYSICS + (4 if self.bench.rests else 3) * self.bench.bolts

    @property
    def discrepancy(self) -> int:
        """How many coordinates the discrepancy has: height and twist waves of every bolt."""
        return 2 * WAVES * self.bench.bolts

    @property
    def size(self) -> int:
        """Length of a coordinate vector."""
        return self.physics + self.discrepancy

    def draw(self, count: int, seed: int = 20_260_101) -> FloatArray:
        """``count`` coordinate vectors (count, size), antithetic so that their mean is exactly the median machine."""
        half = np.random.default_rng(seed).standard_normal(((count + 1) // 2, self.size))
        return np.concatenate([half, -half])[:count]


@dataclass(frozen=True)
class Riding:
    """How the carriages of the draws stand on their bearings: factors (draws,) on the span and the outer's share."""

    span: FloatArray
    share: FloatArray


def rails(prior: Prior, coordinates: FloatArray) -> tuple[Rail, Riding]:
    """The rails of draws (draws, >= physics) and how their carriages stand on them."""
    bench, spread, n, first = prior.bench, prior.spread, prior.bench.bolts, PHYSICS
    wider = 1.0 if bench.section_known else 2.5
    z = np.clip(coordinates, -4.0, 4.0)  # beyond four standard deviations the physics is not meant
    middle, common, own = _stiffness(bench, spread)
    measured = np.zeros(n, bool) if bench.stiffness_N_mm is None else np.isfinite(bench.stiffness_N_mm)
    unlike = np.where(measured, 1.0, np.exp(spread.ln_stiffness_differ * z[:, UNLIKE, None]))
    alike = z[:, 2:3] + spread.stiffness_tail * z[:, 2:3] ** 3
    stiffness = middle * np.exp(common * alike + own * unlike * z[:, first : first + n])
    bending = wider * spread.ln_EI * z[:, 0]
    arm = spread.twist_arm_mm * np.exp(spread.ln_twist_arm * z[:, 4])
    coupling = np.minimum(spread.coupling * np.exp(spread.ln_coupling * z[:, 3]), 0.6)
    closeness = np.minimum(spread.closeness * np.exp(spread.ln_closeness * z[:, 6]), 1.0)
    x_mm = bench.x_mm + spread.x_mm * z[:, first + n : first + 2 * n]
    y_mm = bench.y_mm + spread.y_mm * z[:, first + 2 * n : first + 3 * n]
    nominal_mm = bench.x_mm
    if bench.brace_mm and not bench.rests:
        held = np.repeat(np.array(bench.brace_mm)[None], len(z), axis=0)
        x_mm, y_mm = np.concatenate([x_mm, held[..., 0]], axis=1), np.concatenate([y_mm, held[..., 1]], axis=1)
        as_stiff = np.exp(np.log(stiffness).mean(axis=1, keepdims=True))  # a brace is as stiff as brackets on average
        stiffness = np.concatenate([stiffness, np.repeat(as_stiff, len(bench.brace_mm), axis=1)], axis=1)
        nominal_mm = np.concatenate([bench.x_mm, held[0, :, 0]])
    rail = Rail(
        EI=bench.EI * np.exp(bending),
        GJ=bench.GJ * np.exp(wider * spread.ln_GJ * z[:, 1] + 0.5 * bending),
        x_mm=x_mm,
        y_mm=y_mm,
        compliance=shared_compliance(stiffness, coupling, closeness, nominal_mm),
        foot_twist=stiffness * arm[:, None] ** 2,
    )
    if bench.clamped is not None and bench.clamped.any():
        rail = _held_in_tilt(rail, np.flatnonzero(bench.clamped), bench.bolts, arm)
    share = spread.ln_share if bench.carriage.travel_ratio == 1.0 else spread.ln_share_of_cage
    return rail, Riding(1.0 + spread.span * z[:, 5], np.exp(share * z[:, 7]))


def _held_in_tilt(rail: Rail, clamped: IntArray, bolts: int, arm_mm: FloatArray) -> Rail:
    """The rail with every ``clamped`` foot as two supports an arm before and behind its bolt, which rise with it:
    together they hold the height as one did, and the slope along the rail with ``k arm^2``, as a foot holds its twist.
    """
    supports = rail.supports
    which = np.sort(np.concatenate([np.arange(supports), clamped]))
    side = np.zeros(len(which))
    for support in clamped:
        side[np.flatnonzero(which == support)] = -1.0, 1.0
    pair = (which[:, None] == which[None, :]) & (side != 0.0)[:, None]
    give = np.diagonal(rail.compliance, axis1=-2, axis2=-1)[..., which]
    rocking = np.where(pair, side[:, None] * side[None, :], 0.0) * give[..., :, None]
    return replace(
        rail,
        x_mm=rail.x_mm[..., which] + side * arm_mm[:, None],
        y_mm=rail.y_mm[..., which],
        compliance=rail.compliance[..., which[:, None], which[None, :]] + rocking,
        foot_twist=rail.foot_twist[..., which] * np.where(side != 0.0, 0.5, 1.0),
        lifted=np.eye(supports)[which][:, :bolts],
    )


def _stiffness(bench: Bench, spread: Spread) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Median stiffness of every bracket, and the standard deviations of its logarithm: shared by all, and its own.

    A measured bracket is what was measured; the others of the machine are then believed to be like those.
    """
    n = bench.bolts
    given = np.full(n, np.nan) if bench.stiffness_N_mm is None else bench.stiffness_N_mm
    known = np.isfinite(given)
    middle = np.full(n, spread.stiffness_N_mm)
    common, own = np.full(n, spread.ln_stiffness_all), np.full(n, spread.ln_stiffness_each)
    if known.any():
        middle[~known] = np.exp(np.mean(np.log(given[known])))
        common[~known] = min(spread.ln_stiffness_all, spread.ln_stiffness_each * (0.5 + 1.0 / np.sqrt(known.sum())))
        middle[known], common[known], own[known] = given[known], 0.0, spread.ln_stiffness_measured
    return middle, common, own


def misfits(prior: Prior, coordinates: FloatArray) -> FloatArray:
    """How far each foot of a resting rail was found above (+) where the rail would just touch it: (draws, bolts) mm."""
    n, first = prior.bench.bolts, PHYSICS + 3 * prior.bench.bolts
    return np.asarray(prior.spread.misfit_mm * np.clip(coordinates[:, first : first + n], -4.0, 4.0))


def bearing_response(prior: Prior, coordinates: FloatArray, s_mm: FloatArray) -> tuple[FloatArray, FloatArray, Riding]:
    """Response of the rail's height and twist under every bearing to the bolts, by physics alone: each (draws,
    stations, bearings, bolts), mm and mm/mm per mm of lift; and how the carriages stand.
    """
    rail, riding = rails(prior, coordinates)
    shape = lift_response(rail)
    at = bearing_positions(prior.bench.carriage, s_mm, riding.span)
    draws, stations, bearings = at.shape
    flat = at.reshape(draws, stations * bearings)
    grid = (draws, stations, bearings, prior.bench.bolts)
    turned = slice(prior.bench.bolts)  # braces hold, and are not turned
    return shape.height(flat)[..., turned].reshape(grid), shape.twist(flat)[..., turned].reshape(grid), riding


def physics_response(prior: Prior, coordinates: FloatArray, s_mm: FloatArray) -> FloatArray:
    """Response of the state to the bolts by physics alone: (draws, stations, 3, bolts), mm and mm/mm per mm of lift."""
    height, twist, riding = bearing_response(prior, coordinates, s_mm)
    return state_on_rail(prior.bench.carriage, s_mm, height, twist, riding.span, riding.share)


def bearing_discrepancy(prior: Prior, s_mm: FloatArray) -> FloatArray:
    """Waves along the rail under every bearing, strongest near each bolt: (bolts, stations, bearings, WAVES)."""
    bench, spread = prior.bench, prior.spread
    at = bearing_positions(bench.carriage, s_mm)
    low, high = float(min(at.min(), bench.x_mm.min())), float(max(at.max(), bench.x_mm.max()))
    order = np.arange(WAVES)
    power = np.exp(-0.5 * (order * np.pi * spread.wave_mm / max(high - low, 1.0)) ** 2)
    power = np.sqrt(power / power.sum()) * np.where(order == 0, 1.0, np.sqrt(2.0))
    waves = np.cos(order * np.pi * ((at - low) / max(high - low, 1.0))[..., None]) * power
    near = 0.25 + 0.75 * np.exp(-0.5 * ((at - bench.x_mm[:, None, None]) / (2.0 * spread.wave_mm)) ** 2)
    return np.asarray(near[..., None] * waves)


def discrepancy_basis(prior: Prior, s_mm: FloatArray) -> FloatArray:
    """How the discrepancy coordinates of one bolt move the state: (bolts, stations, 3, 2 WAVES), standard deviation 1.

    Waves along the rail, seen through the carriage like any other shape of the rail.
    """
    local, spread = bearing_discrepancy(prior, s_mm), prior.spread
    none = np.zeros_like(local)
    height = state_on_rail(prior.bench.carriage, s_mm, spread.height_discrepancy * local, none)
    twist = state_on_rail(prior.bench.carriage, s_mm, none, spread.twist_discrepancy / ARM_mm * local)
    return np.concatenate([height, twist], axis=-1)


def state_response(prior: Prior, coordinates: FloatArray, s_mm: FloatArray) -> FloatArray:
    """Response of (heave, pitch, roll) to the bolts, discrepancy included: (draws, stations, 3, bolts)."""
    physics = physics_response(prior, coordinates, s_mm)
    own = coordinates[:, prior.physics : prior.size].reshape(len(coordinates), prior.bench.bolts, 2 * WAVES)
    return np.asarray(physics + np.einsum("bsqw,dbw->dsqb", discrepancy_basis(prior, s_mm), own))
