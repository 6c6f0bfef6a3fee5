"""What must lie in the saw blade's line: the riving knife behind it, the scoring blade in front of it.

Why it exists: both are set against a blade that cannot be held in calipers, by gaps beside it or by two steps in a test
cut, and a difference of two gaps is twice the error. It prevents a shift by twice too much, and a scoring kerf being
shifted when it is its width that is wrong.

Sideways positions in mm, + toward the table (away from the carriage). Uncertainties expanded (k = 2).
"""

from __future__ import annotations

import math
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Knife:
    """A riving knife against the kerf. ``offset_mm`` its middle's distance from the kerf's middle; ``lean_mm`` how much
    farther over it stands at the top; ``spare_mm`` what is left between knife and kerf wall on the tighter side."""

    offset_mm: float
    lean_mm: float
    offset_uncertainty_mm: float
    spare_mm: float
    spare_uncertainty_mm: float


@dataclass(frozen=True, slots=True)
class Scoring:
    """The scoring kerf against the main kerf. ``shift_mm``: how far it must go, + toward the table; ``wider_mm`` how
    much wider it is; ``widen_mm`` how much wider it should become for an equal step on both sides."""

    shift_mm: float
    shift_uncertainty_mm: float
    wider_mm: float
    wider_uncertainty_mm: float
    widen_mm: float
    smallest_step_mm: float


def knife(
    carriage_side_mm: tuple[float, float],
    table_side_mm: tuple[float, float],
    kerf_mm: float,
    knife_mm: float,
    u_gap_mm: float,
) -> Knife:
    """From the gaps between knife and a straightedge laid along the teeth, on either side of the blade.

    Each pair is (at the bottom, at the top) of the knife. The straightedge lies on the outer corners of the teeth, so
    both gaps together are kerf less knife, and half their difference is how far the knife stands over. Raises
    ValueError where gaps and thicknesses contradict each other.
    """
    offsets = [(a - b) / 2.0 for a, b in zip(carriage_side_mm, table_side_mm, strict=True)]
    for a, b, where in zip(carriage_side_mm, table_side_mm, ("bottom", "top"), strict=True):
        missing = kerf_mm - knife_mm - a - b
        if abs(missing) > 3.0 / math.sqrt(2.0) * u_gap_mm + 0.03:  # three standard deviations, and the calipers'
            raise ValueError(
                f"At the {where} the two gaps come to {a + b:.2f} mm, and kerf less knife is {kerf_mm - knife_mm:.2f}: "
                "they contradict each other; measure kerf and knife again, straightedge on the teeth."
            )
    doubt = u_gap_mm / math.sqrt(2.0)
    worst = max(offsets, key=abs)
    return Knife(
        offset_mm=sum(offsets) / 2.0,
        lean_mm=offsets[1] - offsets[0],
        offset_uncertainty_mm=doubt / math.sqrt(2.0),
        spare_mm=(kerf_mm - knife_mm) / 2.0 - abs(worst),
        spare_uncertainty_mm=math.hypot(doubt, 0.02),
    )


def scoring_from_steps(carriage_side_mm: float, table_side_mm: float, wanted_step_mm: float, u_mm: float) -> Scoring:
    """From the two steps at the bottom of a test cut: + where the scoring kerf is the wider one on that side.

    Steps a (carriage side) and b (table side): its middle stands (b - a)/2 over toward the table, it is a + b wider.
    """
    wider = carriage_side_mm + table_side_mm
    over = (table_side_mm - carriage_side_mm) / 2.0
    return Scoring(
        shift_mm=-over,
        shift_uncertainty_mm=u_mm / math.sqrt(2.0),
        wider_mm=wider,
        wider_uncertainty_mm=u_mm * math.sqrt(2.0),
        widen_mm=2.0 * wanted_step_mm - wider,
        smallest_step_mm=min(carriage_side_mm, table_side_mm),
    )


def scoring_from_readings(
    main_mm: tuple[float, float], scoring_mm: tuple[float, float], wanted_step_mm: float, u_mm: float
) -> Scoring:
    """From an indicator carried past the teeth of both blades: (carriage side, table side) of each.

    Readings at the carriage side grow toward the carriage, those at the table side toward the table (pushed in +, the
    tip pointing at the tooth from that side), each side with its own zero for both blades.
    """
    steps = [scoring - main for main, scoring in zip(main_mm, scoring_mm, strict=True)]
    return scoring_from_steps(steps[0], steps[1], wanted_step_mm, u_mm * math.sqrt(2.0))


def cone_height_mm(widen_mm: float, flank_deg: float) -> float:
    """How far a conical scoring blade must rise (+) to cut wider by ``widen_mm``; each flank leans ``flank_deg``."""
    if not 0.0 < flank_deg < 45.0:
        raise ValueError(f"A flank of {flank_deg:g} degrees is none of a conical blade; 3 to 15 are usual.")
    return widen_mm / (2.0 * math.tan(math.radians(flank_deg)))
