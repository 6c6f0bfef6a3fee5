"""What turns: run-out of arbor, flange and blade, and a spindle's lean, from readings round one turn.

Why it exists: swing, wobble and form show on one pointer. It prevents a shim under a foot that stands across the lean,
and an arbor changed for a chip under the blade.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any

import numpy as np

from analysis import circle
from analysis.results import FloatArray
from logger.checks.model import Allowed, Check, Correction, Readings
from logger.checks.result import Evaluation, Result, array, carrier_shim, judged, whole_degrees

if TYPE_CHECKING:
    from logger.machines import Machine

WORTH_NAMING = 0.2  # of the swing: a higher wave smaller than this is not worth a word
WANDERS_mm = 0.005
"""More than this from turn to turn is no bearing one can set a blade by (common practice, no source)."""


def _run_out(check: Check, readings: Readings, allowed: Allowed, machine: Machine) -> Result:
    scale = 100.0 / readings.one("diameter") if check.name == "flange" else 1.0
    if "readings" not in readings.numbers:
        return _total_only(check, readings, allowed, scale)
    wander = readings.maybe("wander") or 0.0
    found = circle.run_out(*_turn(readings), readings.one("u"), wander)
    verdict = judged(check, allowed, found.total_mm * scale, found.total_uncertainty_mm * scale)
    notes = [
        f"Highest at {whole_degrees(found.direction_deg)} degrees; once a turn {2.0 * found.eccentric_mm:.3f} mm, the "
        f"rest {found.form_mm:.3f} mm peak to valley.",
        *_waves(found),
    ]
    if scale != 1.0:
        notes.append(f"It is what {found.total_mm:.3f} mm at the tip's circle come to on 100 mm.")
    details: dict[str, Any] = {
        "eccentric_mm": found.eccentric_mm,
        "eccentric_uncertainty_mm": found.eccentric_uncertainty_mm,
        "direction_deg": found.direction_deg,
        "form_mm": found.form_mm,
        "harmonics_mm": list(found.harmonics_mm),
    }
    if wander > WANDERS_mm:
        notes.append("It reads differently from turn to turn: look for play in the bearing before anything else.")
    named = _whose(check, readings, found, details) if check.name == "blade" else []
    notes += named
    if verdict.word == "outside" and not named:
        notes.append(_who_is_it(check))
    if found.form_mm > 2.0 * found.eccentric_mm:
        notes.append("More form than swing: look for a burr, a chip or a bent place before anything is changed.")
    return Result(verdict, (), tuple(notes), details)


def _total_only(check: Check, readings: Readings, allowed: Allowed, scale: float) -> Result:
    total = readings.maybe("total")
    if total is None:
        raise ValueError(
            "readings= round one turn (four or more), total= or recording= is needed; or --port to let them stream."
        )
    doubt = math.hypot(math.sqrt(2.0) * readings.one("u"), 2.0 * (readings.maybe("wander") or 0.0))
    verdict = judged(check, allowed, abs(total) * scale, doubt * scale)
    notes = ["Only the total is known: with readings at angles it also says where it is highest, and what is form."]
    return Result(verdict, (), tuple(notes), {})


def _waves(found: circle.RunOut) -> list[str]:
    names = {2: "twice a turn (an oval or a saddle)", 3: "three times a turn"}
    return [
        f"{2.0 * size:.3f} mm of it comes {names.get(order, f'{order} times a turn')}."
        for order, size in enumerate(found.harmonics_mm[1:], 2)
        if size > max(WORTH_NAMING * found.harmonics_mm[0], found.eccentric_uncertainty_mm)
    ]


def _whose(check: Check, readings: Readings, found: circle.RunOut, details: dict[str, Any]) -> list[str]:
    """Flange or blade: by the flange's own readings, by the blade half round, or by the flange's size alone."""
    parts: circle.Parts | None = None
    if "half_round" in readings.numbers:
        again = circle.run_out(_angles(readings, "half_round"), array(readings, "half_round"), readings.one("u"))
        parts = circle.half_round(found, again)
    elif "flange" in readings.numbers:
        if "diameter" not in readings.numbers:
            raise ValueError("flange= goes with diameter= (the circle the tip ran on, on the blade).")
        flange = circle.run_out(_angles(readings, "flange"), array(readings, "flange"), readings.one("u"))
        parts = circle.flange_and_blade(found, flange, readings.one("diameter"), readings.one("flange_diameter"))
    if parts is not None:
        details |= {
            "flange_part_mm": parts.flange_mm,
            "flange_direction_deg": parts.flange_direction_deg,
            "blade_part_mm": parts.blade_mm,
            "blade_direction_deg": parts.blade_direction_deg,
            "parts_uncertainty_mm": parts.uncertainty_mm,
        }
        one, other = whole_degrees(parts.flange_direction_deg), whole_degrees(parts.blade_direction_deg)
        return [
            f"The flange swings it by {2 * parts.flange_mm:.3f} mm (high at {one} degrees), the blade itself by "
            f"{2 * parts.blade_mm:.3f} (at {other}), each ± {2 * parts.uncertainty_mm:.3f}."
        ]
    if "flange" in readings.known and "diameter" in readings.numbers:
        share = readings.known["flange"][0] * readings.one("diameter") / 100.0
        details["flange_could_mm"] = share
        return [f"The flange as measured can swing it by up to {share:.3f} mm on that circle."]
    return []


def _who_is_it(check: Check) -> str:
    if check.name == "blade":
        return "Turn the blade half round on its flange and read again (half_round=): what goes with it is the blade's."
    return "Clean and read again with the arbor pushed the other way: what changes is the bearing, what stays the part."


def _spindle(check: Check, readings: Readings, allowed: Allowed, machine: Machine) -> Result:
    found = circle.swing(*_turn(readings), readings.one("radius"), readings.one("u"), readings.one("flat"))
    verdict = judged(check, allowed, found.tilt_mm_per_m, found.uncertainty_mm_per_m)
    notes = [f"The spindle leans toward {whole_degrees(found.direction_deg)} degrees (0 outfeed, 90 table side)."]
    corrections: tuple[Correction, ...] = ()
    if verdict.word != "inside" and found.tilt_mm_per_m <= found.uncertainty_mm_per_m:
        notes.append("The lean is less than its uncertainty, so no shim is named.")
    elif verdict.word != "inside":
        corrections = carrier_shim(readings, found, notes)
    details = {"direction_deg": found.direction_deg, "form_mm": found.form_mm}
    return Result(verdict, corrections, tuple(notes), details)


def _turn(readings: Readings) -> tuple[FloatArray, FloatArray]:
    values = array(readings, "readings")
    if "angles" in readings.numbers:
        return array(readings, "angles"), values
    return _angles(readings, "readings"), values


def _angles(readings: Readings, key: str) -> FloatArray:
    count = len(readings.numbers[key])
    return np.arange(count, dtype=np.float64) * 360.0 / max(count, 1)


EVALUATIONS: dict[str, Evaluation] = {"arbor": _run_out, "flange": _run_out, "blade": _run_out, "spindle": _spindle}
