"""Readings to a result: the value with its uncertainty, the verdict, and what to move.

Why it exists: it is the one bridge from typed readings to ``analysis``, so that command line, screen and report give
the same answer. It prevents a correction in millimetres of error: what is said is the movement of a foot, bolt or
screw, which way, and in turns where its pitch is known.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from analysis import base, circle, square, toe
from analysis.level import reversal
from analysis.results import FloatArray, Verdict
from analysis.verdict import combine, judge
from logger.checks.model import Allowed, Check, Correction, Readings
from logger.errors import NotAllowed

if TYPE_CHECKING:
    from logger.machines import Machine


@dataclass(frozen=True)
class Result:
    """What a check's readings say. ``details`` are further figures, the unit in every name."""

    verdict: Verdict
    corrections: tuple[Correction, ...]
    notes: tuple[str, ...]
    details: dict[str, Any]


def evaluate(check: Check, readings: Readings, allowed: Allowed, machine: Machine) -> Result:
    """The result of one check. NotAllowed in one sentence where the readings do not carry one."""
    try:
        result = EVALUATIONS[check.name](check, readings, allowed, machine)
    except ValueError as wrong:  # the analysis says in words what the readings lack
        raise NotAllowed(f"{check.name}: {wrong}", "Correct the readings; nothing was recorded.") from wrong
    return result


def would_decide(verdict: Verdict) -> float | None:
    """The expanded uncertainty below which this value could be judged, where it cannot; None else."""
    if verdict.word != "cannot tell":
        return None
    edges = [abs(verdict.value - limit) for limit in (verdict.lower, verdict.upper) if limit is not None]
    return min(edges) if edges else None


def _condition(check: Check, readings: Readings, allowed: Allowed, machine: Machine) -> Result:
    wrong = [ask.text for ask in check.asks if readings.words[ask.key] == "no"]
    word = "outside" if wrong else "inside"
    reason = f"Not so: {'; '.join(wrong)}." if wrong else "Clean, tight, bare and free."
    notes = ("Put that right before anything is measured; all else rests on it.",) if wrong else ()
    return Result(Verdict(word, float(len(wrong)), 0.0, None, 0.0, "", reason), (), notes, {})  # type: ignore[arg-type]


def _base(check: Check, readings: Readings, allowed: Allowed, machine: Machine) -> Result:
    standard = readings.one("u") / 2.0
    along = reversal(readings.one("along"), readings.one("along_turned"), standard)
    across = reversal(readings.one("across"), readings.one("across_turned"), standard)
    verdict = combine(
        [
            judge(each.slope, 2.0 * each.standard_uncertainty, allowed.lower, allowed.upper, "mm/m", f"slope {way}")
            for way, each in (("along", along), ("across", across))
        ]
    )
    lifts = base.level_feet(
        along.slope, across.slope, base.corner_feet(readings.one("feet_along"), readings.one("feet_across"))
    )
    notes = ["After it: all four feet carry (a feeler goes under none, each screw has the same resistance)."]
    if abs(along.zero_error - across.zero_error) > 2.0 * 2.0 * standard:
        notes.append(
            f"The level's zero error is {along.zero_error:+.2f} mm/m along and {across.zero_error:+.2f} across: it is "
            "one level, so one of the four readings is wrong."
        )
    details = {
        "along_mm_per_m": along.slope,
        "across_mm_per_m": across.slope,
        "zero_error_mm_per_m": along.zero_error,
    }
    return Result(verdict, _feet(lifts, readings.maybe("pitch"), verdict), tuple(notes), details)


def _twist(check: Check, readings: Readings, allowed: Allowed, machine: Machine) -> Result:
    found = base.twist(readings.one("infeed"), readings.one("outfeed"), readings.one("feet_across"), readings.one("u"))
    verdict = _judged(check, allowed, found.twist_mm_per_m, found.uncertainty_mm_per_m)
    corrections = _feet(base.untwist(found), readings.maybe("pitch"), verdict)
    notes = ("A cast body follows a foot only in part: make this much, wait, measure again, and go on by what it did.",)
    details = {"over_feet_mm": found.over_width_mm}
    return Result(verdict, corrections, notes if corrections else (), details)


def _run_out(check: Check, readings: Readings, allowed: Allowed, machine: Machine) -> Result:
    found = circle.run_out(*_turn(readings), readings.one("u"))
    scale = 100.0 / readings.one("diameter") if check.name == "flange" else 1.0
    verdict = _judged(check, allowed, found.total_mm * scale, found.total_uncertainty_mm * scale)
    notes = [
        f"Highest at {found.direction_deg:.0f} degrees; once a turn {2.0 * found.eccentric_mm:.3f} mm, the rest "
        f"{found.form_mm:.3f} mm peak to valley."
    ]
    if verdict.word == "outside":
        notes.append(_who_is_it(check))
    if found.form_mm > found.eccentric_mm:
        notes.append("More form than swing: look for a burr, a chip or a bent place before anything is changed.")
    details = {
        "eccentric_mm": found.eccentric_mm,
        "eccentric_uncertainty_mm": found.eccentric_uncertainty_mm,
        "direction_deg": found.direction_deg,
        "form_mm": found.form_mm,
    }
    return Result(verdict, (), tuple(notes), details)


def _who_is_it(check: Check) -> str:
    if check.name == "blade":
        return "Turn the blade half round on its flange and read again: a high place that goes with it is the blade's."
    return (
        "Clean and read again with the arbor pushed the other way: what changes is the bearing, what stays the flange."
    )


def _spindle(check: Check, readings: Readings, allowed: Allowed, machine: Machine) -> Result:
    found = circle.swing(*_turn(readings), readings.one("radius"), readings.one("u"))
    verdict = _judged(check, allowed, found.tilt_mm_per_m, found.uncertainty_mm_per_m)
    notes = [f"The spindle leans toward {found.direction_deg:.0f} degrees (0 outfeed, 90 table side)."]
    corrections: tuple[Correction, ...] = ()
    apart = readings.maybe("feet_apart")
    if verdict.word != "inside" and apart is not None:
        direction = readings.one("foot_direction")
        shim = circle.shim_mm(found, direction, apart)
        where = direction if shim >= 0 else (direction + 180.0) % 360.0
        corrections = (Correction(f"under the foot at {where:.0f} degrees", abs(shim), "to be added"),)
        other = circle.shim_mm(found, direction + 90.0, apart)
        if abs(other) > abs(shim):
            notes.append("Most of the lean is across these feet; a shim there does little: name the other pair.")
    elif verdict.word != "inside":
        notes.append("With feet_apart= and foot_direction= it says what to shim.")
    return Result(verdict, corrections, tuple(notes), {"direction_deg": found.direction_deg, "form_mm": found.form_mm})


def _toe(check: Check, readings: Readings, allowed: Allowed, machine: Machine) -> Result:
    found = toe.from_same_tooth(
        _array(readings, "front"), _array(readings, "rear"), readings.one("span"), readings.one("u")
    )
    verdict = _judged(check, allowed, found.toe_mm_per_m, found.uncertainty_mm_per_m)
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
    verdict = _judged(check, allowed, found.error_mm_per_m, found.uncertainty_mm_per_m)
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
    found = toe.from_distances(_array(readings, "x"), _array(readings, "distance"), readings.one("u"))
    verdict = _judged(check, allowed, found.toe_mm_per_m, found.uncertainty_mm_per_m)
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


Evaluation = Callable[[Check, Readings, Allowed, "Machine"], Result]

EVALUATIONS: dict[str, Evaluation] = {
    "condition": _condition,
    "base": _base,
    "twist": _twist,
    "flange": _run_out,
    "blade": _run_out,
    "spindle": _spindle,
    "toe": _toe,
    "fence": _fence,
    "rip": _rip,
}


def _judged(check: Check, allowed: Allowed, value: float, uncertainty: float) -> Verdict:
    return judge(value, uncertainty, allowed.lower, allowed.upper, allowed.unit, check.quantity)


def _feet(lifts: dict[str, float], pitch: float | None, verdict: Verdict) -> tuple[Correction, ...]:
    """Feet to raise, the farthest first; none where the thing is inside, and none for a hair."""
    if verdict.word == "inside":
        return ()
    wanted = sorted(((lift, name) for name, lift in lifts.items() if lift > SMALLEST_SHIM_mm), reverse=True)
    return tuple(Correction(f"foot {name}", lift, "up", None, lift / pitch if pitch else None) for lift, name in wanted)


SMALLEST_SHIM_mm = 0.02
"""Thinner than any shim sold (common practice, no source)."""


def _turn(readings: Readings) -> tuple[FloatArray, FloatArray]:
    values = _array(readings, "readings")
    if "angles" in readings.numbers:
        return _array(readings, "angles"), values
    return np.arange(len(values), dtype=np.float64) * 360.0 / len(values), values


def _array(readings: Readings, key: str) -> FloatArray:
    return np.array(readings.numbers[key], dtype=np.float64)
