"""The rail as a beam on elastic supports that bends and twists, solved exactly and for many draws at once.

Why it exists: a bolt under a rail does not lift the rail by what it is turned. Its bracket gives, its neighbours hold
the rail down, and an offset bolt twists the rail. Taking the lift for the rail's height is the worst mistake there is
in this job; taking the supports as rigid is the next worst. Both are prevented by solving the rail itself.

The rail is a free Euler-Bernoulli beam with Saint-Venant torsion. Under upward forces ``F`` and torques ``T`` at the
supports its shape is, exactly (Green's functions of the free beam; S. Timoshenko, Strength of Materials, and the
natural cubic spline of Holladay 1957 in the limit of rigid supports)::

    w(x)   = a + b x + sum_j F_j |x - x_j|^3 / (12 EI)          with sum F = 0 and sum F x = 0
    phi(x) = c       - sum_j T_j |x - x_j|   / (2 GJ)           with sum T = 0,  T_j = y_j F_j + M_j

Support ``i`` lifted by ``u_i`` gives under the forces on all of them (``C``: compliance of brackets and frame), and its
foot resists twist with a stiffness ``kappa_i``::

    w(x_i) + y_i phi(x_i) + sum_j C_ij F_j = u_i            phi(x_i) + M_i / kappa_i = 0

Units: N, mm. ``w`` + up; ``phi`` in mm/mm, + when the table side (y +) is higher; ``F`` + when it pushes the rail up.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from analysis.results import FloatArray

TWIST_ARM_MM = 100.0  # scales angles to lengths inside the solver, so that its unknowns are of one size


@dataclass(frozen=True)
class Rail:
    """A rail on its supports. Every array may carry leading axes (draws), which broadcast against each other.

    ``EI`` in N mm^2 and ``GJ`` in N mm^2, shape (...); ``x_mm`` and ``y_mm`` of the supports, shape (..., n);
    ``compliance`` in mm/N, symmetric, shape (..., n, n); ``foot_twist`` in N mm, shape (..., n), greater than 0.
    ``lifted`` (n, bolts): which supports rise with which bolt; None: each with its own.
    """

    EI: FloatArray
    GJ: FloatArray
    x_mm: FloatArray
    y_mm: FloatArray
    compliance: FloatArray
    foot_twist: FloatArray
    lifted: FloatArray | None = None

    @property
    def supports(self) -> int:
        """How many supports there are."""
        return int(self.x_mm.shape[-1])

    @property
    def length_mm(self) -> float:
        """The length that makes the solver's positions dimensionless."""
        return max(float(np.ptp(self.x_mm)), 1.0)


@dataclass(frozen=True)
class Load:
    """A load on the rail: ``force_N`` (+ up) spread evenly from ``from_mm`` to ``to_mm``, at lateral offset ``y_mm``.

    A point load has ``from_mm == to_mm``.
    """

    force_N: float
    from_mm: float
    to_mm: float
    y_mm: float = 0.0


@dataclass(frozen=True)
class Shape:
    """The solved shape: ``forces_N`` and ``couples_Nmm`` of the supports, shape (..., n, cases), and how to evaluate
    it.

    A case is one right-hand side: a unit lift of one bolt, or one set of lifts and loads.
    """

    rail: Rail
    forces_N: FloatArray
    couples_Nmm: FloatArray
    rigid: FloatArray  # (..., 3, cases): a in mm, b in mm per length_mm, c in mm per TWIST_ARM_MM
    loads: tuple[Load, ...] = ()
    apart: bool = False  # True: every load is a case of its own

    def _of_loads(self, parts: list[FloatArray]) -> FloatArray:
        """The free beam's own answer to the loads: in every case all of them, or each in its own."""
        if not parts:
            return np.asarray(0.0)
        each = np.stack(parts, axis=-1)
        return each if self.apart else each.sum(axis=-1, keepdims=True)

    def height(self, x_mm: FloatArray) -> FloatArray:
        """Rail height in mm at ``x_mm`` of shape (..., points); returns (..., points, cases)."""
        xi, _ = _dimensionless(self.rail, x_mm)
        bending = _cubes(x_mm, self.rail.x_mm) / (12.0 * self.rail.EI)[..., None, None]
        lines = self.rigid[..., 0:1, :] + xi[..., :, None] * self.rigid[..., 1:2, :]
        loads = self._of_loads([_load_bending(self.rail, load, x_mm) for load in self.loads])
        return np.asarray(bending @ self.forces_N + lines + loads)

    def twist(self, x_mm: FloatArray) -> FloatArray:
        """Rail twist in mm/mm (+ table side higher) at ``x_mm`` of shape (..., points); returns (..., points,
        cases).
        """
        torques = self.rail.y_mm[..., :, None] * self.forces_N + self.couples_Nmm
        spread = np.abs(x_mm[..., :, None] - self.rail.x_mm[..., None, :]) / (2.0 * self.rail.GJ)[..., None, None]
        loads = self._of_loads([_load_twist(self.rail, load, x_mm) for load in self.loads])
        return np.asarray(self.rigid[..., 2:3, :] / TWIST_ARM_MM - spread @ torques + loads)

    def moment(self, x_mm: FloatArray) -> FloatArray:
        """Bending moment EI w'' in N mm (+ sagging: hollow side up) under support forces and loads, (..., points,
        cases).

        Sum of forces to the left times their arms, which is the statics of the free body, not a second derivative.
        """
        arms = np.maximum(x_mm[..., :, None] - self.rail.x_mm[..., None, :], 0.0)
        loads = self._of_loads([_load_moment(load, x_mm) for load in self.loads])
        return np.asarray(arms @ self.forces_N + loads)


def lift_response(rail: Rail) -> Shape:
    """The rail's shape for a unit lift (1 mm) of every support in turn: case ``b`` is bolt ``b``.

    Weights drop out: they cancel in the difference between two states as long as nothing lifts off.
    """
    own = np.eye(rail.supports) if rail.lifted is None else rail.lifted
    return _solve(rail, _lifted(rail, np.broadcast_to(own, (*_leading(rail), *own.shape))))


def loaded_shape(rail: Rail, lifts_mm: FloatArray, loads: tuple[Load, ...]) -> Shape:
    """The rail's shape under ``lifts_mm`` (..., n) and ``loads`` together (one case): for contact, statics and
    checks.
    """
    lifts = np.broadcast_to(lifts_mm, (*_leading(rail), rail.supports))[..., None]
    right = _lifted(rail, lifts)
    for load in loads:
        right = right + _pressed(rail, load)
    return replace(_solve(rail, right), loads=loads)


def single_loads(rail: Rail, loads: tuple[Load, ...]) -> Shape:
    """What each of ``loads`` alone does to the rail, every bolt where it is: case ``k`` is load ``k``.

    The same compliance answers to loads and to bolts, so what a known mass does tells how a bolt will do.
    """
    right = np.concatenate([_pressed(rail, load) for load in loads], axis=-1)
    return replace(_solve(rail, right), loads=loads, apart=True)


def shared_compliance(
    stiffness_N_mm: FloatArray, coupling: FloatArray, closeness: FloatArray, x_mm: FloatArray
) -> FloatArray:
    """Compliance (..., n, n) of brackets on one frame: a load on one support moves the others a little too.

    ``stiffness_N_mm`` (..., n). ``coupling`` (...): the part of its own give that a neighbour at the mean spacing
    shares, falling off geometrically with distance; supports side by side share ``coupling ** closeness`` (closeness
    0 to 1). Symmetric (Maxwell, Betti) and positive definite.
    """
    own = 1.0 / np.sqrt(stiffness_N_mm)
    apart = np.abs(x_mm[:, None] - x_mm[None, :])
    places = np.unique(np.round(x_mm / 100.0))
    spacing = max(float(np.ptp(x_mm)) / max(len(places) - 1, 1), 1.0)
    near = np.asarray(closeness)[..., None, None]
    shared = np.asarray(coupling)[..., None, None] ** (near + (1.0 - near) * apart / spacing)
    shared = np.where(np.eye(len(x_mm), dtype=bool), 1.0, shared)
    return np.asarray(own[..., :, None] * shared * own[..., None, :])


def _leading(rail: Rail) -> tuple[int, ...]:
    return np.broadcast_shapes(
        np.shape(rail.EI),
        np.shape(rail.GJ),
        rail.x_mm.shape[:-1],
        rail.compliance.shape[:-2],
        rail.foot_twist.shape[:-1],
    )


def _dimensionless(rail: Rail, x_mm: FloatArray) -> tuple[FloatArray, float]:
    length = rail.length_mm
    return np.asarray((x_mm - float(np.min(rail.x_mm))) / length), length


def _cubes(x_mm: FloatArray, at_mm: FloatArray) -> FloatArray:
    apart = np.abs(x_mm[..., :, None] - at_mm[..., None, :])
    return np.asarray(apart * apart * apart)


def _solve(rail: Rail, right: FloatArray) -> Shape:
    """Solve for the supports' forces and couples under the right-hand sides ``right`` (..., 2n + 3, cases).

    Unknowns are scaled to lengths (forces by 12 EI / L^3, couples by 2 GJ / (L arm)), which keeps the matrix well
    conditioned from soft wooden plinths to rigid supports.
    """
    n, lead = rail.supports, _leading(rail)
    x, _ = _dimensionless(rail, rail.x_mm)
    force_unit, couple_unit = _units(rail)
    arm = (force_unit / couple_unit)[..., None] * rail.y_mm  # torque of a unit force, in couple units
    apart = np.abs(x[..., :, None] - x[..., None, :])
    tilt = rail.y_mm[..., :, None] / TWIST_ARM_MM
    matrix = np.zeros((*lead, 2 * n + 3, 2 * n + 3))
    matrix[..., :n, :n] = apart**3 - tilt * apart * arm[..., None, :] + rail.compliance * force_unit[..., None, None]
    matrix[..., :n, n : 2 * n] = -tilt * apart
    matrix[..., :n, 2 * n] = 1.0
    matrix[..., :n, 2 * n + 1] = x
    matrix[..., :n, 2 * n + 2] = rail.y_mm / TWIST_ARM_MM
    matrix[..., n : 2 * n, :n] = -apart * arm[..., None, :]
    give = (couple_unit * TWIST_ARM_MM)[..., None] / rail.foot_twist
    matrix[..., n : 2 * n, n : 2 * n] = -apart + give[..., None] * np.eye(n)
    matrix[..., n : 2 * n, 2 * n + 2] = 1.0
    matrix[..., 2 * n, :n] = 1.0
    matrix[..., 2 * n + 1, :n] = x
    matrix[..., 2 * n + 2, :n] = arm
    matrix[..., 2 * n + 2, n : 2 * n] = 1.0
    solved = np.linalg.solve(matrix, right)
    return Shape(
        rail=rail,
        forces_N=solved[..., :n, :] * force_unit[..., None, None],
        couples_Nmm=solved[..., n : 2 * n, :] * couple_unit[..., None, None],
        rigid=np.asarray(solved[..., 2 * n :, :]),
    )


def _units(rail: Rail) -> tuple[FloatArray, FloatArray]:
    """The force and the couple that belong to a deflection of one length unit."""
    length = rail.length_mm
    return np.asarray(12.0 * rail.EI / length**3), np.asarray(2.0 * rail.GJ / (length * TWIST_ARM_MM))


def _lifted(rail: Rail, lifts_mm: FloatArray) -> FloatArray:
    """Right-hand sides (..., 2n + 3, cases) of lifts (..., n, cases)."""
    n = rail.supports
    right = np.zeros((*_leading(rail), 2 * n + 3, lifts_mm.shape[-1]))
    right[..., :n, :] = lifts_mm
    return right


def _pressed(rail: Rail, load: Load) -> FloatArray:
    """Right-hand side (..., 2n + 3, 1) of one load."""
    n = rail.supports
    force_unit, couple_unit = _units(rail)
    right = np.zeros((*_leading(rail), 2 * n + 3, 1))
    twist = _load_twist(rail, load, rail.x_mm)
    lifted = _load_bending(rail, load, rail.x_mm) + rail.y_mm * twist
    middle, _ = _dimensionless(rail, np.asarray(0.5 * (load.from_mm + load.to_mm)))
    right[..., :n, 0] -= lifted
    right[..., n : 2 * n, 0] -= twist * TWIST_ARM_MM
    right[..., 2 * n, 0] -= load.force_N / force_unit
    right[..., 2 * n + 1, 0] -= load.force_N * middle / force_unit
    right[..., 2 * n + 2, 0] -= load.force_N * load.y_mm / couple_unit
    return right


def _mean_power(load: Load, x_mm: FloatArray, power: int) -> FloatArray:
    """Mean of |x - s|^power for s over the load's stretch: the load's own Green's function, exactly."""
    if load.to_mm - load.from_mm < 1e-9:
        return np.asarray(np.abs(x_mm - load.from_mm) ** power)

    def primitive(s: FloatArray) -> FloatArray:
        return np.asarray(np.sign(s) * np.abs(s) ** (power + 1) / (power + 1))

    return np.asarray((primitive(x_mm - load.from_mm) - primitive(x_mm - load.to_mm)) / (load.to_mm - load.from_mm))


def _load_bending(rail: Rail, load: Load, x_mm: FloatArray) -> FloatArray:
    return np.asarray(load.force_N * _mean_power(load, x_mm, 3) / (12.0 * rail.EI)[..., None])


def _load_twist(rail: Rail, load: Load, x_mm: FloatArray) -> FloatArray:
    return np.asarray(-load.force_N * load.y_mm * _mean_power(load, x_mm, 1) / (2.0 * rail.GJ)[..., None])


def _load_moment(load: Load, x_mm: FloatArray) -> FloatArray:
    """Force to the left of each point times its arm: 0.5 (|x - s| + x - s), averaged over the load's stretch."""
    middle = 0.5 * (load.from_mm + load.to_mm)
    return np.asarray(load.force_N * 0.5 * (_mean_power(load, x_mm, 1) + x_mm - middle))
