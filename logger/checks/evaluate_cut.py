"""The cut: toe of the carriage, the cross-cut fence and the rip fence, from readings to the bolt or screw to move.

Why it exists: each of the three is corrected far from where it is measured. It prevents the wrong way: the rail turned
about the wrong bolt, the fence's screw turned as for a fence on the other side of the board.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from analysis import square, toe
from logger.checks.model import Allowed, Check, Correction, Readings
from logger.checks.result import Evaluation, Result, array, judged
from logger.errors import NotAllowed

if TYPE_CHECKING:
    from logger.machines import Machine


def _toe(check: Check, readings: Readings, allowed: Allowed, machine: Machine) -> Result:
    found = toe.from_same_tooth(
        array(readings, "front"), array(readings, "rear"), readings.one("span"), readings.one("u")
    )
    verdict = judged(check, allowed, found.toe_mm_per_m, found.uncertainty_mm_per_m)
    way = "opening" if found.toe_mm_per_m >= 0 else "closing"
    notes = [f"{way} toward outfeed by {abs(found.over_span_mm):.3f} mm over the span."]
    if found.toe_mm_per_m + found.uncertainty_mm_per_m < 0:
        notes.append(
            "It closes: the rear teeth press into the part that is kept and throw it back. No cut until it opens."
        )
    corrections: tuple[Correction, ...] = ()
    if verdict.word != "inside" and abs(found.toe_mm_per_m - readings.one("wanted")) > found.uncertainty_mm_per_m:
        bolts = {bolt.name: float(bolt.x_mm) for bolt in machine.bolts}
        middle = sum(bolts.values()) / len(bolts)
        tight = min(bolts, key=lambda name: abs(bolts[name] - middle))
        shifts = toe.sideways_shifts(found.toe_mm_per_m, readings.one("wanted"), bolts, tight)
        corrections = tuple(
            Correction(
                f"rail at {name}",
                abs(shift),
                "toward the table" if shift > 0 else "away from the table",
                found.uncertainty_mm_per_m * abs(bolts[name] - bolts[tight]) / 1000.0,
            )
            for name, shift in shifts.items()
            if name != tight
        )
        notes.append(f"{tight} stays tight; slacken the others a little, one at a time, and shift by an indicator.")
        notes.append("All by the same angle, or the rail is bent in plan; then sweep: were the heights kept?")
    return Result(verdict, corrections, tuple(notes), {"over_span_mm": found.over_span_mm})


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


def _rip(check: Check, readings: Readings, allowed: Allowed, machine: Machine) -> Result:
    found = toe.from_distances(array(readings, "x"), array(readings, "distance"), readings.one("u"))
    verdict = judged(check, allowed, found.toe_mm_per_m, found.uncertainty_mm_per_m)
    corrections: tuple[Correction, ...] = ()
    notes: list[str] = []
    screw = readings.maybe("screw")
    clear = abs(found.toe_mm_per_m - readings.one("wanted")) > found.uncertainty_mm_per_m
    if verdict.word != "inside" and clear and screw is not None:
        move = (found.toe_mm_per_m - readings.one("wanted")) * screw / 1000.0
        pitch = readings.maybe("pitch")
        corrections = (
            Correction(
                "rip fence at its screw",
                abs(move),
                "toward the blade" if move > 0 else "away from the blade",
                found.uncertainty_mm_per_m * abs(screw) / 1000.0,
                abs(move) / pitch if pitch else None,
            ),
        )
    elif verdict.word != "inside" and screw is None:
        notes.append("With screw= (pivot to screw, + toward outfeed) it says how far to move it.")
    if found.toe_mm_per_m + found.uncertainty_mm_per_m < 0:
        notes.append(
            "It closes toward outfeed: the work is pinched against the rising teeth. Do not rip until it opens."
        )
    return Result(verdict, corrections, tuple(notes), {"over_span_mm": found.over_span_mm})


EVALUATIONS: dict[str, Evaluation] = {"toe": _toe, "fence": _fence, "rip": _rip}
