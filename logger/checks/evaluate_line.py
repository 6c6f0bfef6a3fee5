"""What stands in the blade's line or square to it: riving knife, scoring blade, tilt stops, the carriage's plane.

Why it exists: these are set against edges nobody can hold in calipers. It prevents a difference of two gaps being taken
for the error (it is twice that), and a tilt stop being set to the blade's wobble.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np

from analysis import circle, in_line, upright
from analysis.verdict import judge
from logger.checks.model import Allowed, Check, Correction, Readings
from logger.checks.result import Evaluation, Result, array, carrier_shim, judged, judged_with, whole_degrees
from logger.wording import plural

if TYPE_CHECKING:
    from analysis.results import Verdict
    from logger.machines import Machine


def _knife(check: Check, readings: Readings, allowed: Allowed, machine: Machine) -> Result:
    sides = [_pair(readings, key, "bottom, top") for key in ("carriage_side", "table_side")]
    kerf, thick, plate = (readings.one(key) for key in ("kerf", "knife", "plate"))
    u = _gap_doubt(readings)
    if not plate < kerf:
        raise ValueError(f"The plate ({plate:g} mm) is not thinner than its kerf ({kerf:g} mm): one of both is wrong.")
    found = in_line.knife(sides[0], sides[1], kerf, thick, u)
    worst = max((found.offset_mm - found.lean_mm / 2.0, found.offset_mm + found.lean_mm / 2.0), key=abs)
    doubt = u / math.sqrt(2.0)
    verdicts = [
        judged(check, allowed, worst, doubt),
        judge(found.spare_mm, found.spare_uncertainty_mm, 0.0, None, "mm", "room left between knife and kerf wall"),
        judge(thick, 0.02, plate, kerf, "mm", "thickness of the knife, between plate and kerf"),
    ]
    if "gap" in readings.numbers:
        least, most = readings.one("gap_least"), readings.one("gap_most")
        doubts = dict(zip(readings.numbers["gap"], readings.uncertainties("gap", u), strict=True))
        verdicts += [
            judge(gap, doubts[gap], least, most, "mm", "gap from the teeth")
            for gap in _extremes(readings.numbers["gap"])
        ]
    verdict, decided = judged_with(*verdicts)
    stands = f"It stands {abs(found.offset_mm):.2f} mm to the {_side(found.offset_mm)}"
    notes = [f"{stands}; {found.spare_mm:.2f} mm is left in the kerf at its tightest.", *decided]
    if abs(found.lean_mm) > math.sqrt(2.0) * doubt:
        notes.append(f"Its top leans {abs(found.lean_mm):.2f} mm to the {_side(found.lean_mm)}: bent, or its clamp is.")
    if thick <= plate:
        notes.append("Not thicker than the plate it keeps no kerf open: it needs another knife, no setting.")
    corrections: tuple[Correction, ...] = ()
    if verdict.word != "inside" and abs(found.offset_mm) > found.offset_uncertainty_mm:
        corrections = (
            Correction(
                "riving knife, spacers at its clamp",
                abs(found.offset_mm),
                f"toward the {_side(-found.offset_mm)}",
                found.offset_uncertainty_mm,
            ),
        )
    details = {"offset_mm": found.offset_mm, "lean_mm": found.lean_mm, "spare_mm": found.spare_mm}
    return Result(verdict, corrections, tuple(notes), details)


def _gap_doubt(readings: Readings) -> float:
    """Expanded, of one gap beside the knife, so that the half difference of two has half the interval at least.

    The two gaps add up to kerf less knife, so their leaves err together, one up and one down: what half an interval
    leaves (0.9 of it holds nine cases in ten of a uniform one, the rest is in ``u``) is not divided by sqrt(2).
    """
    halves = [half for key in ("carriage_side", "table_side") for half in readings.halves.get(key, ())]
    return math.hypot(readings.one("u"), math.sqrt(2.0) * 0.9 * max(halves, default=0.0))


def _scoring(check: Check, readings: Readings, allowed: Allowed, machine: Machine) -> Result:
    wanted, u = readings.one("wanted"), readings.one("u")
    if readings.words["by"] == "cut":
        steps = readings.one("carriage_step"), readings.one("table_step")
        found = in_line.scoring_from_steps(*steps, wanted, u)
    else:
        both = "carriage side, table side"
        found = in_line.scoring_from_readings(
            _pair(readings, "main", both), _pair(readings, "scoring", both), wanted, u
        )
    verdicts = [
        judged(check, allowed, -found.shift_mm, found.shift_uncertainty_mm),
        judge(found.smallest_step_mm, u, 0.0, None, "mm", "smaller step of the scoring kerf"),
    ]
    if "depth" in readings.numbers:
        verdicts.append(judge(readings.one("depth"), 0.2, 0.8, 3.0, "mm", "depth of scoring (common practice)"))
    verdict, decided = judged_with(*verdicts)
    notes = [
        f"Its kerf stands {abs(found.shift_mm):.3f} mm to the {_side(-found.shift_mm)} and is "
        f"{abs(found.wider_mm):.3f} mm {'wider' if found.wider_mm >= 0 else 'narrower'} than the blade's.",
        *decided,
    ]
    corrections: list[Correction] = []
    if verdict.word != "inside":
        corrections = _scoring_moves(readings, found, notes)
    details = {"shift_mm": found.shift_mm, "wider_mm": found.wider_mm, "widen_mm": found.widen_mm}
    return Result(verdict, tuple(corrections), tuple(notes), details)


def _scoring_moves(readings: Readings, found: in_line.Scoring, notes: list[str]) -> list[Correction]:
    moves: list[Correction] = []
    pitch, flank = readings.maybe("pitch"), readings.maybe("flank")
    if abs(found.shift_mm) > found.shift_uncertainty_mm:
        turns = abs(found.shift_mm) / pitch if pitch else None
        way = f"toward the {_side(found.shift_mm)}"
        moves.append(Correction("scoring blade, sideways", abs(found.shift_mm), way, found.shift_uncertainty_mm, turns))
    if abs(found.widen_mm) > found.wider_uncertainty_mm and flank is None:
        way = "more of spacers" if found.widen_mm > 0 else "less of spacers"
        moves.append(
            Correction("between the halves of the scoring blade", abs(found.widen_mm), way, found.wider_uncertainty_mm)
        )
    elif abs(found.widen_mm) > found.wider_uncertainty_mm and flank is not None:
        rise = in_line.cone_height_mm(found.widen_mm, flank)
        moves.append(Correction("scoring blade, height", abs(rise), "up" if rise > 0 else "down"))
        notes.append("A conical blade cuts wider the higher it stands.")
    return moves


def _bevel(check: Check, readings: Readings, allowed: Allowed, machine: Machine) -> Result:
    by_level = readings.words["by"] == "level"
    if by_level:
        zero = np.array(readings.numbers["zero"])
        error, doubt = upright.at_stop(array(readings, "shown"), zero, readings.one("nominal"), readings.one("u_deg"))
        way = "Tilted too far" if error > 0 else "Not tilted far enough"
    else:
        low, high = array(readings, "low"), array(readings, "high")
        error, doubt = upright.over_height(low, high, readings.one("height"), readings.one("u"))
        doubt = math.hypot(doubt, readings.one("square"))
        way = "Leaning toward the table" if error > 0 else "Leaning toward the carriage"
    verdict = judged(check, allowed, error, doubt)
    notes = [f"{way}, by {abs(error) / 17.4533:.3f} degrees; over 19 mm of board that is {abs(error) * 0.019:.3f} mm."]
    if not by_level and len(readings.numbers["low"]) == 1:
        notes.append("With the blade turned half round and read again its wobble would not be in it.")
    arm, pitch = readings.maybe("arm"), readings.maybe("pitch")
    corrections: tuple[Correction, ...] = ()
    if verdict.word != "inside" and abs(error) > doubt:
        if arm is None:
            notes.append("With arm= (tilt axis to stop screw) it says how far to move the screw.")
        else:
            corrections = (_stop_screw(readings, error, doubt, arm, pitch, by_level),)
    return Result(verdict, corrections, tuple(notes), {"error_deg": error / 17.4533})


def _stop_screw(
    readings: Readings, error: float, doubt: float, arm: float, pitch: float | None, by_level: bool
) -> Correction:
    position = readings.words.get("position")
    arm = abs(arm)
    move = abs(error) * arm / 1000.0
    if by_level:
        way = "so that it stops sooner" if error > 0 else "so that it stops later"
    else:
        way = f"so that the blade stands over toward the {'carriage' if error > 0 else 'table'}"
    where = f"stop screw{f' {position}' if position else ''}"
    return Correction(where, move, way, doubt * arm / 1000.0, move / pitch if pitch else None)


def _upright(check: Check, readings: Readings, allowed: Allowed, machine: Machine) -> Result:
    blade = readings.words["of"] == "blade"
    lean = _lean(readings, blade)
    size = abs(lean.across_mm_per_m) if blade else lean.tilt_mm_per_m
    doubt = lean.across_uncertainty_mm_per_m if blade else lean.uncertainty_mm_per_m
    verdict = judged(check, allowed, size, doubt)
    if blade:
        notes = [
            f"The blade leans toward the {'table' if lean.across_mm_per_m > 0 else 'carriage'}, told from the carriage."
        ]
        return Result(verdict, (), (*notes, "It is corrected at its tilt stop: check bevel."), _parts(lean))
    leans = whole_degrees(lean.direction_deg)
    notes = [f"It leans toward {leans} degrees (0 outfeed, 90 table side), told from the carriage."]
    corrections = _carrier(readings, lean, verdict, notes)
    return Result(verdict, corrections, tuple(notes), {**_parts(lean), "direction_deg": lean.direction_deg})


def _lean(readings: Readings, blade: bool) -> upright.Lean:
    if readings.words["by"] == "arc":
        if blade:
            raise ValueError(
                "A blade swings no arm over the carriage; by=level tells its lean from the carriage's plane."
            )
        radius, u = readings.one("radius"), readings.one("u")
        return upright.from_arc(array(readings, "angles"), array(readings, "readings"), radius, u)
    u = readings.one("u_level")
    along, across = (readings.one(f"{way}_carriage") - readings.one(f"{way}_table") for way in ("along", "across"))
    known = readings.known.get("bevel" if blade else "spindle")
    if blade:
        if known is None:
            raise ValueError("The blade's lean to the table is not known yet: take the check bevel first.")
        table = upright.Lean(0.0, known[0], known[1], known[1])
    else:
        tilt = readings.maybe("tilt")
        if tilt is None:
            raise ValueError("tilt= and leans= of the spindle to the table are needed, as its own check gave them.")
        turn = math.radians(readings.one("leans"))
        doubt = known[1] if known is not None else 0.05
        table = upright.Lean(tilt * math.cos(turn), tilt * math.sin(turn), doubt, doubt)
    return upright.to_other_plane(table, along, across, math.sqrt(2.0) * u)


def _carrier(readings: Readings, lean: upright.Lean, verdict: Verdict, notes: list[str]) -> tuple[Correction, ...]:
    if verdict.word == "inside":
        return ()
    notes.append("Square to the table and not to the carriage: then it is the carriage's roll or pitch (check rail).")
    swing = circle.Swing(lean.tilt_mm_per_m, lean.uncertainty_mm_per_m, lean.direction_deg, 0.0)
    return carrier_shim(readings, swing, notes)


def _parts(lean: upright.Lean) -> dict[str, object]:
    return {"along_mm_per_m": lean.along_mm_per_m, "across_mm_per_m": lean.across_mm_per_m}


def _pair(readings: Readings, key: str, what: str) -> tuple[float, float]:
    values = readings.numbers[key]
    if len(values) != 2:
        raise ValueError(f"{key} has {plural(len(values), 'value')}; two are needed: {what}.")
    return values[0], values[1]


def _extremes(values: tuple[float, ...]) -> tuple[float, ...]:
    return tuple({min(values), max(values)})


def _side(value: float) -> str:
    return "table" if value > 0 else "carriage"


EVALUATIONS: dict[str, Evaluation] = {"knife": _knife, "scoring": _scoring, "bevel": _bevel, "upright": _upright}
