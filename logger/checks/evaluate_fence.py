"""The cross-cut fence: from widths and diagonals to the error of its corner, and to its stop screw.

Why it exists: the error is far smaller than anything one could measure at the fence. It prevents the wrong way: the
screw turned as for a fence on the other side of the board.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from analysis import square
from logger.checks.model import Allowed, Check, Correction, Readings
from logger.checks.result import Evaluation, Result, judged
from logger.errors import NotAllowed
from logger.wording import plural

if TYPE_CHECKING:
    from analysis.results import Verdict
    from logger.machines import Machine


def _fence(check: Check, readings: Readings, allowed: Allowed, machine: Machine) -> Result:
    found = _corner(readings)
    seating = _seating(readings)
    doubt = math.hypot(found.uncertainty_mm_per_m, seating.uncertainty_mm_per_m if seating else 0.0)
    verdict = judged(check, allowed, found.error_mm_per_m, doubt)
    panel = readings.one("panel")
    off, give = (square.out_of_square_mm(each, panel) for each in (found.error_mm_per_m, doubt))
    notes = [
        f"The corner is {'obtuse' if found.error_mm_per_m >= 0 else 'acute'}; over {panel:.0f} mm that is "
        f"{abs(off):.3f} ± {max(give, 0.001):.3f} mm."
    ]
    details = {
        "over_panel_mm": off,
        "over_panel_uncertainty_mm": give,
        "over_600_mm": square.out_of_square_mm(found.error_mm_per_m, 600),
        "cuts_uncertainty_mm_per_m": found.uncertainty_mm_per_m,
    }
    if seating is not None:
        details |= {"seating_mm_per_m": seating.standard_mm_per_m, "refit_mm_per_m": seating.uncertainty_mm_per_m}
        notes += _how_it_comes_back(seating, found, allowed)
    corrections = _screw(readings, verdict, found, notes)
    if verdict.word == "cannot tell":
        notes += _what_would_decide(readings, found, allowed)
    return Result(verdict, corrections, tuple(notes), details)


def _screw(readings: Readings, verdict: Verdict, found: square.Squareness, notes: list[str]) -> tuple[Correction, ...]:
    screw, side = readings.maybe("screw"), readings.words["fence"]
    if verdict.word == "inside":
        return ()
    if screw is None:
        notes.append("With screw= (pivot to stop screw) it says how far to move it.")
        return ()
    if abs(found.error_mm_per_m) <= found.uncertainty_mm_per_m:
        return ()
    move = square.fence_screw(found, screw, "behind" if side == "behind" else "in front", readings.maybe("pitch"))
    outfeed = move.toward_outfeed_mm > 0
    if move.turns is None:
        notes.append("With pitch= it says how many turns of the screw.")
    if "screwed_in" in readings.words:
        notes.append(f"Screw it {'in' if outfeed == (readings.words['screwed_in'] == 'outfeed') else 'out'}.")
    position = readings.words.get("position")
    where = f"fence at its stop screw{f', position {position}' if position else ''}"
    way = "toward outfeed" if outfeed else "toward infeed"
    return (Correction(where, abs(move.toward_outfeed_mm), way, move.uncertainty_mm, move.turns),)


def _seating(readings: Readings) -> square.Seating | None:
    if "refit" not in readings.numbers:
        return None
    if "refit_at" not in readings.numbers:
        raise ValueError("refit= goes with refit_at= (how far from the pivot the indicator touched the fence, mm).")
    return square.seating_from_refits(readings.numbers["refit"], readings.one("refit_at"))


def _how_it_comes_back(seating: square.Seating, found: square.Squareness, allowed: Allowed) -> list[str]:
    said = [
        f"Taken off and put on again it comes back within ±{seating.uncertainty_mm_per_m:.2f} mm/m "
        f"({seating.times} refits); the verdict holds for the next time it is put on."
    ]
    if allowed.upper is not None and seating.uncertainty_mm_per_m > max(allowed.upper, found.uncertainty_mm_per_m):
        said.append("The seat is what to put right first (dirt, burrs, a worn pin): no screw makes that better.")
    return said


def _what_would_decide(readings: Readings, found: square.Squareness, allowed: Allowed) -> list[str]:
    cuts, limit = readings.words["cuts"], allowed.upper or 0.0
    if found.uncertainty_mm_per_m <= 0.5 * limit:
        return []
    if cuts == "four":
        return ["Five cuts and calipers on the strip say far more than a tape over the diagonals."]
    widths = 4 if cuts == "seven" else 2
    length = square.length_that_decides(
        square.ADDED_UP[cuts], widths, readings.one("u"), readings.one("seating"), limit
    )
    said = []
    if length is None:
        said.append("No panel is long enough: how it is laid on the fence (seating=) leaves too much.")
    elif length > readings.one("length"):
        said.append(f"The panel is too small to decide: {length:.0f} mm between the measured places would do.")
    if cuts in ("three", "over"):
        said.append("Five cuts halve what the calipers leave uncertain.")
    return said


def _corner(readings: Readings) -> square.Squareness:
    cuts, u, seating = readings.words["cuts"], readings.one("u"), readings.one("seating")
    if cuts == "four":
        diagonals = readings.one("last_diagonal"), readings.one("other_diagonal")
        return square.from_diagonals(*diagonals, _sides(readings), readings.one("tape"), seating)
    ends = readings.one("fence_end"), readings.one("far_end")
    length = readings.one("length")
    if cuts == "seven":
        panel = readings.one("panel_fence_end"), readings.one("panel_far_end")
        return square.from_strip_and_panel(*ends, *panel, length, u, seating, readings.maybe("panel_length"))
    formula = square.from_strip if cuts == "five" else square.from_kept_panel
    return formula(*ends, length, u, seating)


def _sides(readings: Readings) -> tuple[float, float]:
    sides = readings.numbers["sides"]
    if len(sides) != 2:
        raise ValueError(f"sides has {plural(len(sides), 'value')}; the panel's two sides are needed, sides=800,600.")
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
