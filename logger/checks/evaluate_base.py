"""The ground: condition, base level and twist of the table, from readings to the foot that must be raised.

Why it exists: everything else is measured against the table, and the table lies on four feet. It prevents a foot raised
by the error instead of by what takes the error out.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from analysis import base
from analysis.level import reversal
from analysis.results import Verdict
from analysis.verdict import combine, judge
from logger.checks.model import Allowed, Check, Readings
from logger.checks.result import Evaluation, Result, array, feet, judged

if TYPE_CHECKING:
    from logger.machines import Machine


def _condition(check: Check, readings: Readings, allowed: Allowed, machine: Machine) -> Result:
    wrong = [ask.text for ask in check.asks if readings.words[ask.key] == "no"]
    word = "outside" if wrong else "inside"
    reason = f"Not so: {'; '.join(wrong)}." if wrong else "Clean, tight, bare and free."
    notes = ("Put that right before anything is measured; all else rests on it.",) if wrong else ()
    return Result(Verdict(word, float(len(wrong)), 0.0, None, 0.0, "", reason), (), notes, {})  # type: ignore[arg-type]


def _base(check: Check, readings: Readings, allowed: Allowed, machine: Machine) -> Result:
    standard = readings.one("u") / 2.0
    form = base.form_mm_per_m(readings.one("flat"), readings.one("level"))
    along = reversal(readings.one("along"), readings.one("along_turned"), standard)
    across = reversal(readings.one("across"), readings.one("across_turned"), standard)
    verdict = combine(
        [
            judge(
                each.slope,
                math.hypot(2.0 * each.standard_uncertainty, form),
                allowed.lower,
                allowed.upper,
                "mm/m",
                f"slope {way}",
            )
            for way, each in (("along", along), ("across", across))
        ]
    )
    lifts = base.level_feet(
        along.slope, across.slope, base.corner_feet(readings.one("feet_along"), readings.one("feet_across"))
    )
    doubt = math.hypot(2.0 * along.standard_uncertainty, form)
    notes = [f"Along {along.slope:+.2f}, across {across.slope:+.2f}, each ± {doubt:.2f} mm/m."]
    if verdict.word != "inside":
        notes.append("After it: all four feet carry (a feeler goes under none, each screw has the same resistance).")
    if abs(along.zero_error - across.zero_error) > 2.0 * 2.0 * standard:
        notes.append(
            f"The level's zero error is {along.zero_error:+.2f} mm/m along and {across.zero_error:+.2f} across: it is "
            "one level, so one of the four readings is wrong."
        )
    details = {
        "along_mm_per_m": along.slope,
        "across_mm_per_m": across.slope,
        "zero_error_mm_per_m": along.zero_error,
        "repeat_uncertainty_mm_per_m": 2.0 * along.standard_uncertainty,
        "slope_uncertainty_mm_per_m": doubt,
    }
    return Result(verdict, feet(lifts, readings.maybe("pitch"), verdict), tuple(notes), details)


def _twist(check: Check, readings: Readings, allowed: Allowed, machine: Machine) -> Result:
    found = base.twist(
        array(readings, "infeed"), array(readings, "outfeed"), readings.one("feet_across"), readings.one("u"),
        readings.one("flat"), readings.one("level"),
    )  # fmt: skip
    verdict = judged(check, allowed, found.twist_mm_per_m, found.uncertainty_mm_per_m)
    corrections = feet(base.untwist(found), readings.maybe("pitch"), verdict)
    width = readings.one("feet_across")
    said = (
        f"Over the {width:.0f} mm between the feet that is {found.over_width_mm:+.3f} mm.",
        "A cast body follows a foot only in part: make this much, wait, measure again, and go on by what it did.",
    )
    readings_only = base.twist(
        array(readings, "infeed"), array(readings, "outfeed"), readings.one("feet_across"), readings.one("u")
    )
    details = {
        "over_feet_mm": found.over_width_mm,
        "repeat_uncertainty_mm_per_m": readings_only.uncertainty_mm_per_m,
    }
    return Result(verdict, corrections, said if corrections else said[:1], details)


EVALUATIONS: dict[str, Evaluation] = {"condition": _condition, "base": _base, "twist": _twist}
