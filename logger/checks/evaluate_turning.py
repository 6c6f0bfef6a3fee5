"""What turns: run-out of flange and blade, and a spindle's lean, from readings round one turn.

Why it exists: swing, wobble and form show on one pointer. It prevents a shim under a foot that stands across the lean,
and an arbor changed for a chip under the blade.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from analysis import circle
from analysis.results import FloatArray
from logger.checks.model import Allowed, Check, Correction, Readings
from logger.checks.result import Evaluation, Result, array, judged

if TYPE_CHECKING:
    from logger.machines import Machine


def _run_out(check: Check, readings: Readings, allowed: Allowed, machine: Machine) -> Result:
    found = circle.run_out(*_turn(readings), readings.one("u"))
    scale = 100.0 / readings.one("diameter") if check.name == "flange" else 1.0
    verdict = judged(check, allowed, found.total_mm * scale, found.total_uncertainty_mm * scale)
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
    verdict = judged(check, allowed, found.tilt_mm_per_m, found.uncertainty_mm_per_m)
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


def _turn(readings: Readings) -> tuple[FloatArray, FloatArray]:
    values = array(readings, "readings")
    if "angles" in readings.numbers:
        return array(readings, "angles"), values
    return np.arange(len(values), dtype=np.float64) * 360.0 / len(values), values


EVALUATIONS: dict[str, Evaluation] = {"flange": _run_out, "blade": _run_out, "spindle": _spindle}
