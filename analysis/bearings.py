"""A carriage on more than two bearings in a row: which of them carry, and how it then stands.

Why it exists: a stiff frame on four rollers touches the rail with two or three of them, and with others a little
further on. What a bolt does to the reading depends on which carry, so the response to one and the same bolt changes
along the stroke and with every turn. It prevents the carriage being taken for the mean of all its bearings, which was
wrong by more than the band, and a response learned where one pair carried being used where another does.

Each bearing gives a little under its load and cannot pull. With ``z`` the rail's height under each, ``o`` its place and
``line`` the height of the carriage's underside there::

    f = max(z - line, 0) / give,      sum f = n,      sum f (o - middle) = 0

(``f`` in shares of the weight, ``give`` in mm under an equal share). This is the least of a convex function, quadratic
by pieces in the line's two unknowns, found by Newton's method with a line search; with stiff bearings it is the line
through the two that stand highest under the middle of mass, with soft ones the least-squares line through all.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from analysis.results import BoolArray, FloatArray

NEWTON_STEPS, WHOLE_STEPS, HALVINGS = 30, 6, 6
STIFFEST_mm = 2e-5  # a give below this is no other than none, and not worth the digits


Line = tuple[FloatArray, FloatArray]
"""Height over the middle of mass, and slope, each (cases,)."""


@dataclass(frozen=True)
class Stand:
    """How a carriage stands: ``state`` (..., 3) heave, pitch and roll; ``carries`` (..., bearings); and how heave and
    pitch answer to the heights, roll to the twists, of the bearings that carry: ``by_height`` (..., 2, bearings) and
    ``by_twist`` (..., bearings).
    """

    state: FloatArray
    carries: BoolArray
    by_height: FloatArray
    by_twist: FloatArray


def stand(
    offsets_mm: FloatArray,
    height_mm: FloatArray,
    twist: FloatArray,
    give_mm: FloatArray | float,
    middle_mm: float = 0.0,
) -> Stand:
    """Heave (mm), pitch and roll (mm/mm) of a carriage on rail heights and twists (..., bearings) under its bearings.

    ``give_mm`` (broadcast against the leading axes): what one bearing gives under an equal share of the weight, whose
    middle is at ``middle_mm`` from the carriage's own. Roll is the mean twist under the bearings that carry.
    """
    z = np.ascontiguousarray(height_mm.reshape(-1, height_mm.shape[-1]).T)  # bearings first: sums over few are quick
    scale = 0.5 * float(np.ptp(offsets_mm))
    o = (offsets_mm - middle_mm) / scale
    give = np.maximum(np.broadcast_to(give_mm, height_mm.shape[:-1]).reshape(-1), STIFFEST_mm)
    at, slope = _highest_line(o, z)
    at, slope = _settled(o, z, give, at - 0.5 * len(o) * give, slope)
    carries = z - at - o[:, None] * slope > 0.0
    on = carries.astype(np.float64)
    s0, s1, s2 = on.sum(axis=0), o @ on, (o * o) @ on
    det = np.maximum(s0 * s2 - s1 * s1, 1e-9)
    by_slope = on * (s0 * o[:, None] - s1) / det / scale
    by_at = on * (s2 - s1 * o[:, None]) / det
    by_twist = (on / np.maximum(s0, 1.0)).T.reshape(height_mm.shape)
    lead = height_mm.shape[:-1]
    pitch = slope / scale
    roll = np.sum(by_twist * twist, axis=-1)
    return Stand(
        state=np.stack([(at - middle_mm * pitch).reshape(lead), pitch.reshape(lead), roll], axis=-1),
        carries=carries.T.reshape(height_mm.shape),
        by_height=np.stack([by_at - middle_mm * by_slope, by_slope]).transpose(2, 0, 1).reshape(*lead, 2, len(o)),
        by_twist=by_twist,
    )


def _highest_line(o: FloatArray, z: FloatArray) -> Line:
    """The rigid carriage: of all lines through a bearing each side of the middle, the highest over it."""
    behind, ahead = np.flatnonzero(o <= 0.0), np.flatnonzero(o > 0.0)
    if not len(behind) or not len(ahead):  # the middle of mass beyond all bearings: it would tip; take the outermost
        behind, ahead = np.array([np.argmin(o)]), np.array([np.argmax(o)])
    at, slope = np.full(z.shape[1], -np.inf), np.zeros(z.shape[1])
    for left in behind:
        for right in ahead:
            tilt = (z[right] - z[left]) / (o[right] - o[left])
            over = z[left] - tilt * o[left]
            higher = over > at
            at, slope = np.where(higher, over, at), np.where(higher, tilt, slope)
    return at, slope


def _settled(o: FloatArray, z: FloatArray, give: FloatArray, at: FloatArray, slope: FloatArray) -> Line:
    """Height over the middle and slope (cases,) at which forces and moments balance; ``z`` (bearings, cases).

    Nearly every case is settled by a few whole steps: with the bearings that carry the same after a step as before it,
    the answer is exact. The others then go on with steps that never raise the energy.
    """
    at, slope = at.copy(), slope.copy()
    busy = np.arange(z.shape[1])
    for attempt in range(NEWTON_STEPS):
        zb, gb, a, p = z[:, busy], give[busy], at[busy], slope[busy]
        on, da, dp = _step(o, zb, gb, a, p)
        part = np.ones(len(busy))
        if attempt >= WHOLE_STEPS:
            before = _energy(o, zb, gb, a, p)
            for _ in range(HALVINGS):
                worse = _energy(o, zb, gb, a + part * da, p + part * dp) > before * (1.0 + 1e-12) + 1e-18
                if not worse.any():
                    break
                part[worse] *= 0.5
        a, p = a + part * da, p + part * dp
        at[busy], slope[busy] = a, p
        same = ((zb - a - o[:, None] * p > 0.0) == on).all(axis=0) & (part == 1.0)
        busy = busy[~same]
        if not len(busy):
            break
    return at, slope


def _step(
    o: FloatArray, z: FloatArray, give: FloatArray, at: FloatArray, slope: FloatArray
) -> tuple[BoolArray, FloatArray, FloatArray]:
    """The bearings that carry (bearings, cases), and Newton's step of height and slope with them."""
    over = z - at - o[:, None] * slope
    on = over > 0.0
    over = np.where(on, over, 0.0)
    force, moment = over.sum(axis=0) - len(o) * give, o @ over
    s0, s1, s2 = on.sum(axis=0) + 1e-9, o @ on, (o * o) @ on + 1e-9
    det = s0 * s2 - s1 * s1
    return on, (s2 * force - s1 * moment) / det, (s0 * moment - s1 * force) / det


def _energy(o: FloatArray, z: FloatArray, give: FloatArray, at: FloatArray, slope: FloatArray) -> FloatArray:
    over = np.maximum(z - at - o[:, None] * slope, 0.0)
    return np.asarray(0.5 * np.sum(over * over, axis=0) + len(o) * give * (at - z.max(axis=0)))
