"""A rail that only rests on its bolts: which feet carry, and which hang in the air.

Why it exists: a foot with a gap under it does nothing until it touches, and a bolt lowered out of contact does nothing
at all; a linear response learned from such a turn is a wrong column. It prevents that by finding contact from the
weights.

The feet push and never pull: with ``F`` the forces at the one-way feet and ``g`` their gaps, ``F >= 0``, ``g >= 0`` and
``F g = 0``, a linear complementarity problem (R. W. Cottle, J.-S. Pang & R. E. Stone, The Linear Complementarity
Problem, 1992). Solved by changing the set of carrying feet one at a time, lowest index first once it could go round in
circles (Murty's rule, which always ends for such matrices).
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from analysis.rail import Load, Rail, Shape, loaded_shape
from analysis.results import BoolArray, FloatArray

AIR_mm_per_N = 1e6  # a foot in the air: a support so soft that it carries nothing


@dataclass(frozen=True)
class Contact:
    """The rail at rest: its shape, which feet carry (n,), and the gap under those that do not (n,) in mm."""

    shape: Shape
    carries: BoolArray
    gap_mm: FloatArray


class NoContact(ValueError):
    """Too few feet carry for the rail to stand: it would tip."""


def at_rest(rail: Rail, lifts_mm: FloatArray, loads: tuple[Load, ...], one_way: BoolArray) -> Contact:
    """Where a rail (one, no leading axes) comes to rest under ``loads`` on feet of which some are ``one_way``.

    Raises NoContact when fewer than two feet carry.
    """
    carries = np.ones(rail.supports, dtype=bool)
    for attempt in range(60 * rail.supports):
        shape = loaded_shape(_in_the_air(rail, ~carries), lifts_mm, loads)
        under = shape.height(rail.x_mm)[:, 0] + rail.y_mm * shape.twist(rail.x_mm)[:, 0]
        force = np.where(carries, shape.forces_N[:, 0], 0.0)
        gap = under + rail.compliance @ force - lifts_mm
        wrong = one_way & np.where(carries, force < -1e-6, gap < -1e-9)
        if not wrong.any():
            if carries.sum() < 2:
                raise NoContact(f"Only {int(carries.sum())} of {rail.supports} feet carry: the rail would tip.")
            return Contact(shape, carries, np.where(carries, 0.0, gap))
        if attempt > 3 * rail.supports:
            wrong &= np.cumsum(wrong) == 1
        carries = carries ^ wrong
    raise NoContact("No set of feet carries this rail: it would tip.")


def _in_the_air(rail: Rail, open_feet: BoolArray) -> Rail:
    """The rail with some feet taken away: they share no force with the frame and resist no twist."""
    keep = ~open_feet
    compliance = np.where(np.outer(keep, keep), rail.compliance, 0.0) + np.diag(np.where(open_feet, AIR_mm_per_N, 0.0))
    return replace(rail, compliance=compliance, foot_twist=np.where(open_feet, 1e-3, rail.foot_twist))
