"""Four feet under one body: which one hangs or rocks, and is the load shared.

Why it exists: three feet carry anything, the fourth is one too many, and a foot in the air is no support: raising it
does nothing until it touches, and a table whose foot hangs moves when somebody leans on it. It prevents a level being
read on a machine that rocks, and a foot screwed up by feel until the *other* diagonal hangs.

Feet in the order of ``base.CORNERS``: infeed carriage side, infeed table side, outfeed carriage and table side.

Derivation. Equilibrium leaves one free number in the four loads, the diagonal pattern n = (1, -1, -1, 1). Lowering
foot i by t changes the loads by -n_i n t / C, where C is the compliance of body, feet and floor against that pattern,
whatever they are. The screw travel until a foot turns freely is therefore t_i = C F_i: travels share out as the loads
do, and their sum times the share is what a foot carries. The loads are shared evenly over the diagonals when
t1 - t2 - t3 + t4 = 0; raising a foot by h adds n h to the travels, so a quarter of that difference at one foot of the
weaker diagonal, or an eighth at both, brings it about. (A body of springs solved apart from this is in the tests.)
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from analysis.results import FloatArray

PATTERN = np.array([1.0, -1.0, -1.0, 1.0])


@dataclass(frozen=True)
class Shared:
    """``share`` of the load on each foot (4,), summing to 1; ``least`` the smallest with its expanded uncertainty.

    ``raise_mm`` (4,): what to raise so that both diagonals carry alike (0: leave it).
    """

    share: FloatArray
    least: float
    least_uncertainty: float
    raise_mm: FloatArray


def from_travels(travel_mm: FloatArray, u_mm: float) -> Shared:
    """From how far each foot's screw was let down until it turned freely, each brought back before the next.

    ``travel_mm`` (4,), ``u_mm`` the expanded uncertainty of one. Raises ValueError unless all four carry: with one foot
    in the air the body rocks before a neighbour is free, and the travels are no loads; raise it by its gap first.
    """
    travel = np.asarray(travel_mm, float)
    if travel.shape != (4,):
        raise ValueError(f"{travel.size} feet; the load of four feet is what can be shared (three always carry).")
    if (travel <= 0).any():
        foot = int(np.argmin(travel))
        raise ValueError(
            f"Foot {foot + 1} turns freely as it stands: it hangs. Raise it until it touches, then measure."
        )
    share = travel / travel.sum()
    least = int(np.argmin(share))
    doubt = u_mm / float(travel.sum()) * math.sqrt(1.0 - 2.0 * float(share[least]) + 4.0 * float(share[least]) ** 2)
    uneven = float(PATTERN @ travel) / 4.0
    weak = PATTERN * np.sign(uneven) < 0
    return Shared(share, float(share[least]), doubt, np.where(weak, abs(uneven) / 2.0, 0.0))


def rocking_mm(pressed_mm: tuple[float, float], u_mm: float) -> tuple[str, float, float]:
    """(the pair of feet it rocks over, its play, expanded uncertainty) from how far two corners dip when leaned on.

    ``pressed``: the dip of one corner when it is itself leaned on, and that of the corner beside it when that one is.
    A body that rocks about one diagonal stands still when a corner of that diagonal is leaned on, and dips at the
    other two: the larger dip is the play, and where it is, no foot carries for certain.
    """
    play = max(pressed_mm, key=abs)
    own = abs(pressed_mm[0]) >= abs(pressed_mm[1])
    return (
        "the corner beside it and the one across from that" if own else "the first corner and the one across from it",
        abs(play),
        u_mm * math.sqrt(2.0),
    )
