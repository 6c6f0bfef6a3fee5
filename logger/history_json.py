"""The history as scripts read it: the ``history`` object and the comparison of two sweeps.

Why it exists: names of keys carry units, and a level's figures are no millimetres; one place decides the endings.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

if TYPE_CHECKING:
    from logger.history import Compared, Followed, History, SetUpHistory


def as_json(found: History) -> dict[str, Any]:
    """The ``history`` object: lengths in mm, a level's figures in mm/m, changes a year and a degree Celsius."""
    return {
        "set_ups": [_set_up_json(each) for each in found.set_ups],
        "checks": [
            {
                "check": each.check.name,
                "unit": each.followed.unit,
                "taken": [
                    {"time": t.time, "value": t.value, "uncertainty": t.uncertainty, "verdict": t.verdict}
                    for t in each.taken
                ],
                **_course_json(each.followed),
            }
            for each in found.checks
        ],
        "warnings": list(found.warnings),
    }


def _set_up_json(each: SetUpHistory) -> dict[str, Any]:
    unit = "mm" if each.unit == "mm" else "mm_per_m"
    return {
        "set_up": each.set_up,
        "sweeps": [
            {
                "sweep": s.name,
                "time": s.time,
                "state": s.state,
                "temperature_C": s.temperature_C,
                f"peak_to_valley_{unit}": _number(s.findings.extremes.peak_to_valley),
                f"peak_to_valley_uncertainty_{unit}": _number(s.findings.extremes.peak_to_valley_uncertainty),
                f"mean_{unit}": _number(s.findings.extremes.mean),
                "verdict": s.findings.verdict.word,
            }
            for s in each.sweeps
        ],
        "bolts": [{"bolt": b.name, **_values_json(b, unit), **_course_json(b, unit)} for b in each.bolts],
        "sag": {**_values_json(each.sag, unit), **_course_json(each.sag, unit)} if each.sag is not None else None,
        "peak_to_valley": _course_json(each.width, unit),
        "since_last_good": compared_json(each.since_good) if each.since_good is not None else None,
        "why_not": each.why_not,
    }


def _values_json(each: Followed, unit: str) -> dict[str, Any]:
    return {
        f"height_{unit}": [_number(v) for v in each.value.tolist()],
        f"uncertainty_{unit}": [_number(2.0 * u) for u in each.standard_uncertainty.tolist()],
    }


def _course_json(each: Followed, unit: str = "") -> dict[str, Any]:
    ending = f"_{unit}" if unit else ""
    out: dict[str, Any] = {"why": list(each.course.why), "scatter": _number(each.course.scatter)}
    for name, term in (("per_year", each.course.per_year), ("per_C", each.course.per_C)):
        out[f"{name}{ending}"] = None if term is None else _number(term.size)
        out[f"{name}_uncertainty{ending}"] = None if term is None else _number(term.uncertainty)
        out[f"{name}_clear"] = None if term is None else term.clear
    return out


def compared_json(each: Compared) -> dict[str, Any]:
    """Two sweeps held against one another; ``clear`` where a change stands clear of its uncertainty."""
    unit = "mm" if each.after.findings.profile.unit == "mm" else "mm_per_m"
    return {
        "before": each.before.name,
        "after": each.after.name,
        "moved": each.moved,
        "chance_if_nothing_moved": _number(each.chance),
        "bolts": [
            {
                "bolt": s.place,
                "x_mm": s.x_mm,
                f"change_{unit}": _number(s.change),
                f"uncertainty_{unit}": _number(s.uncertainty),
                "clear": s.clear,
            }
            for s in each.shifts
        ],
        "turned": [{"bolt": m.bolt, "raise_mm": m.raise_mm, "uncertainty_mm": m.uncertainty_mm} for m in each.turned],
        "warnings": list(each.warnings),
    }


def _number(value: float | None) -> float | None:
    return round(float(value), 6) if value is not None and np.isfinite(value) else None
