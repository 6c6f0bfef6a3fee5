"""Gaps under feet that only push, for many rails and many positions of the carriage at once.

Why it exists: the carriage rolling along presses a resting rail down on feet that hang in the air when it is elsewhere,
so which feet carry changes along the stroke and with every turn. It prevents one linear response being learned for a
bolt that does nothing until it touches.

All of it is a layer over the rail held both ways. There the feet push with ``F = K u + F0``: ``K`` what a unit lift of
each bolt changes, ``F0`` the weights (by reciprocity the load at a point times what a unit lift of the foot does to the
height there: Maxwell 1864, Betti 1872). An open foot is one whose bolt stood ``g`` higher and carried nothing::

    F + K g >= 0,   g >= 0,   g (F + K g) = 0       (a linear complementarity problem; Cottle, Pang & Stone 1992)

and the readings answer to ``u + g`` as they would to lifts. Units: N, mm.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from analysis.carriage import HEAVE
from analysis.prior import Prior, misfits, rails
from analysis.rail import lift_response
from analysis.results import BoolArray, FloatArray

GRAVITY_m_s2 = 9.80665
"""By definition (3rd CGPM, 1901)."""
LENGTHS = 81  # points at which the rail's own weight is summed
SLACK_N, SLACK_mm = 1e-6, 1e-9


@dataclass(frozen=True)
class Feet:
    """The feet of every draw: ``stiffness`` (draws, bolts, bolts) in N/mm, ``force_N`` (draws, stations, bolts) with
    nothing turned and all feet held both ways, ``one_way`` (bolts,).
    """

    stiffness: FloatArray
    force_N: FloatArray
    one_way: BoolArray

    def effective(self, lifts_mm: FloatArray) -> FloatArray:
        """Lifts with the gaps of open feet added: what the readings answer to. (draws, stations or 1, bolts) in,
        (draws, stations, bolts) out.
        """
        force = self.force_N + lifts_mm @ self.stiffness
        return lifts_mm + gaps(self.stiffness, force, self.one_way)

    def answer(self, lifts_mm: FloatArray) -> FloatArray:
        """How effective lifts follow lifts at this state: (draws, stations, bolts, bolts), the identity where all
        feet carry.
        """
        force = self.force_N + lifts_mm @ self.stiffness
        open_feet = gaps(self.stiffness, force, self.one_way) > 0.0
        n = len(self.one_way)
        both = open_feet[..., :, None] & open_feet[..., None, :]
        stiffness = np.broadcast_to(self.stiffness[:, None], (*force.shape, n))
        matrix = np.where(both, stiffness, 0.0) + np.eye(n) * np.where(open_feet, 1e-6, 1.0)[..., None, :]
        return np.asarray(np.eye(n) - np.linalg.solve(matrix, np.where(open_feet[..., :, None], stiffness, 0.0)))


def gaps(stiffness: FloatArray, force_N: FloatArray, one_way: BoolArray) -> FloatArray:
    """Gaps (draws, stations, bolts) that leave no one-way foot pulling; ``stiffness`` (draws, bolts, bolts).

    Block pivoting; once it could go round in circles, one foot at a time, lowest first (Murty's rule).
    """
    draws, stations, n = force_N.shape
    flat = force_N.reshape(-1, n)
    owner = np.repeat(np.arange(draws), stations)
    gap, is_open = np.zeros_like(flat), np.zeros(flat.shape, bool)
    busy = np.flatnonzero((one_way & (flat < -SLACK_N)).any(axis=1))
    is_open[busy] = one_way & (flat[busy] < -SLACK_N)
    for attempt in range(30 * n):
        if len(busy) == 0:
            break
        here, own = is_open[busy], stiffness[owner[busy]]
        both = here[:, :, None] & here[:, None, :]
        matrix = np.where(both, own, 0.0) + np.eye(n) * np.where(here, 1e-6, 1.0)[:, None, :]
        found = np.linalg.solve(matrix, np.where(here, -flat[busy], 0.0)[..., None])[..., 0]
        force = flat[busy] + (own @ found[..., None])[..., 0]
        wrong = one_way & np.where(here, found < -SLACK_mm, force < -SLACK_N)
        if attempt > 3 * n:
            wrong &= np.cumsum(wrong, axis=1) == 1
        gap[busy] = np.maximum(found, 0.0)
        is_open[busy] = here ^ wrong
        busy = busy[wrong.any(axis=1)]
    return gap.reshape(draws, stations, n)


def feet_of(prior: Prior, coordinates: FloatArray, state: FloatArray) -> Feet:
    """The feet of draws (draws, >= physics) with the carriage where ``state`` (draws, stations, 3, bolts), the response
    of heave, pitch and roll, was taken.
    """
    bench = prior.bench
    assert bench.one_way is not None
    rail, _ = rails(prior, coordinates)
    shape = lift_response(rail)
    force = shape.forces_N if rail.lifted is None else rail.lifted.T @ shape.forces_N
    stiffness = 0.5 * (force + np.swapaxes(force, -1, -2))
    along = np.linspace(*bench.rail_mm, LENGTHS)
    share = np.full(LENGTHS, (bench.rail_mm[1] - bench.rail_mm[0]) / (LENGTHS - 1))
    share[[0, -1]] *= 0.5
    own = bench.rail_N_mm * np.einsum(
        "dxb,x->db", shape.height(np.broadcast_to(along, (len(coordinates), LENGTHS))), share
    )
    carriage = bench.carriage.mass_kg * GRAVITY_m_s2 * state[:, :, HEAVE]
    found = (stiffness @ misfits(prior, coordinates)[..., None])[..., 0]
    return Feet(stiffness, carriage + (own + found)[:, None, :], bench.one_way)
