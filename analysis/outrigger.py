"""The outrigger beside the carriage: at its height and level with it at both ends of travel.

Why it exists: the outrigger hangs on a swinging arm whose pivot stands on the machine's base, the carriage runs on the
rail. Where the pivot leans, the outrigger climbs or sinks along the travel, and no height screw takes that out. It
prevents the screw being set right at one end and the other end being wrong by twice as much.

Heights in mm, outrigger minus the carriage's plane carried on to it, + when the outrigger is higher.
"""

from __future__ import annotations

import math
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Outrigger:
    """``height_mm`` the mean of both ends, ``climb_mm`` outfeed end minus infeed end, ``lean_mm_per_m`` of the pivot
    (+ its top toward infeed: the arm then rises toward outfeed); uncertainties expanded (k = 2)."""

    height_mm: float
    height_uncertainty_mm: float
    climb_mm: float
    lean_mm_per_m: float
    lean_uncertainty_mm_per_m: float


def at_both_ends(
    infeed_mm: float, outfeed_mm: float, apart_mm: float, u_infeed_mm: float, u_outfeed_mm: float
) -> Outrigger:
    """From its height at the two ends of travel, ``apart_mm`` between them; uncertainties expanded, of one height.

    An arm about a pivot that leans by a small angle moves in a plane of that slope: climb = lean x distance.
    """
    if not apart_mm > 0:
        raise ValueError(f"The two ends are {apart_mm:g} mm apart; a length above 0 is needed.")
    both = math.hypot(u_infeed_mm, u_outfeed_mm)
    climb = outfeed_mm - infeed_mm
    return Outrigger(
        height_mm=(infeed_mm + outfeed_mm) / 2.0,
        height_uncertainty_mm=both / 2.0,
        climb_mm=climb,
        lean_mm_per_m=1000.0 * climb / apart_mm,
        lean_uncertainty_mm_per_m=1000.0 * both / apart_mm,
    )


def pivot_move_mm(found: Outrigger, bearings_apart_mm: float) -> float:
    """How far the pivot's lower bearing must go toward infeed (+) or outfeed (-), the two so far apart, to stand it up.

    Moving the upper one as far the other way does the same.
    """
    return found.lean_mm_per_m * bearings_apart_mm / 1000.0
