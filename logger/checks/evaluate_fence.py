"""The cross-cut fence: from widths and diagonals to the error of its corner, and to its stop screw.

Why it exists: the error is far smaller than anything one could measure at the fence. It prevents the wrong way: the
screw turned as for a fence on the other side of the board.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from analysis import square
from logger.checks.model import Allowed, Check, Correction, Readings
from logger.checks.result import Evaluation, Result, judged
from logger.errors import NotAllowed

if TYPE_CHECKING:
    from logger.machines import Machine


def _fence(check: Check, readings: Readings, allowed: Allowed, machine: Machine) -> Result:
    found = _corner(readings)
    verdict = judged(check, allowed, found.error_mm_per_m, found.uncertainty_mm_per_m)
    notes = [f"The corner is {'obtuse' if found.error_mm_per_m >= 0 else 'acute'}; over 600 mm that is "
             f"{abs(square.out_of_square_mm(found.error_mm_per_m, 600.0)):.3f} mm."]  # fmt: skip
    corrections: tuple[Correction, ...] = ()
    screw, side = readings.maybe("screw"), readings.words["fence"]
    if verdict.word != "inside" and screw is not None and abs(found.error_mm_per_m) > found.uncertainty_mm_per_m:
        move = square.fence_screw(found, screw, "behind" if side == "behind" else "in front", readings.maybe("pitch"))
        way = "toward outfeed" if move.toward_outfeed_mm > 0 else "toward infeed"
        corrections = (
            Correction("fence at its stop screw", abs(move.toward_outfeed_mm), way, move.uncertainty_mm, move.turns),
        )
        if move.turns is None:
            notes.append("With pitch= it says how many turns of the screw.")
    elif verdict.word != "inside" and screw is None:
        notes.append("With screw= (pivot to stop screw) it says how far to move it.")
    if verdict.word == "cannot tell" and readings.words["cuts"] in ("three", "over", "four"):
        notes.append("Five cuts halve what the calipers leave uncertain; a longer panel does as well.")
    return Result(
        verdict, corrections, tuple(notes), {"over_600_mm": square.out_of_square_mm(found.error_mm_per_m, 600)}
    )


def _corner(readings: Readings) -> square.Squareness:
    cuts, u, seating = readings.words["cuts"], readings.one("u"), readings.one("seating")
    if cuts == "four":
        diagonals = readings.one("last_diagonal"), readings.one("other_diagonal")
        return square.from_diagonals(*diagonals, _sides(readings), readings.one("tape"), seating)
    ends = readings.one("fence_end"), readings.one("far_end")
    length = readings.one("length")
    if cuts == "seven":
        panel = readings.one("panel_fence_end"), readings.one("panel_far_end")
        return square.from_strip_and_panel(*ends, *panel, length, u, seating)
    formula = square.from_strip if cuts == "five" else square.from_kept_panel
    return formula(*ends, length, u, seating)


def _sides(readings: Readings) -> tuple[float, float]:
    sides = readings.numbers["sides"]
    if len(sides) != 2:
        raise ValueError(f"sides has {len(sides)} values; the panel's two sides are needed, sides=800,600.")
    return sides[0], sides[1]


def worth_cutting(readings: Readings, allowed: Allowed) -> tuple[tuple[square.CutTest, ...], square.CutTest]:
    """Every cut test this panel and these calipers can do, and the one worth doing. NotAllowed as ``evaluate``."""
    try:
        choices = square.cut_tests_for(
            _sides(readings),
            readings.one("u"),
            readings.one("opens"),
            readings.one("tape"),
            readings.one("seating"),
            allowed.upper or 0.0,
        )
    except ValueError as wrong:
        raise NotAllowed(f"fence: {wrong}", "Nothing was recorded.") from wrong
    return choices, square.worth_doing(choices)


EVALUATIONS: dict[str, Evaluation] = {"fence": _fence}
