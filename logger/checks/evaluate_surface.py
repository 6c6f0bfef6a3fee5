"""The body on its feet and the table's surface: which foot hangs, how flat, how far the strut.

Why it exists: one more foot than three, and one more push than none, is where a casting is spoiled. It prevents a strut
being pushed at a twist, a rocking machine being called level, and a flatness finer than the straightedge's own.
"""

from __future__ import annotations

import math
from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from analysis import foot_load, straightedge
from analysis.base import CORNERS
from analysis.flatness import (
    Flatness,
    Points,
    grid_shape,
    level_grid,
    of_points,
    strut_rise,
    union_jack_points,
)
from analysis.surface import LINES
from analysis.touching import laid_on
from analysis.uncertainty import smooth_covariance
from analysis.verdict import judge
from logger.checks.model import Allowed, Check, Correction, Readings
from logger.checks.result import Evaluation, Result, SMALLEST_SHIM_mm, array, judged, judged_with
from logger.wording import plural

if TYPE_CHECKING:
    from analysis.results import FloatArray, Verdict
    from logger.machines import Machine

LEAST_SHARE = 0.1
"""A foot that carries less of the machine than this is nearly in the air (a quarter is even; common practice)."""


# --- four feet -------------------------------------------------------------------------------------------------------


def _feet(check: Check, readings: Readings, allowed: Allowed, machine: Machine) -> Result:
    gaps = _four(readings, "gap")
    halves = readings.halves.get("gap", (0.0,) * 4)
    worst = max(range(4), key=lambda foot: gaps[foot] + halves[foot])
    u = readings.one("u")
    # a feeler's interval is judged whole: the gap is certainly inside it
    doubt = halves[worst] if halves[worst] else 0.02
    verdicts = [judge(gaps[worst], doubt, None, allowed.upper, "mm", f"gap under foot {CORNERS[worst]}")]
    notes: list[str] = []
    corrections: list[Correction] = []
    pitch = readings.maybe("pitch")
    hanging = [foot for foot in range(4) if gaps[foot] - halves[foot] > 0.0]
    for foot in hanging:
        rise = gaps[foot] + halves[foot]
        corrections.append(_foot(foot, rise, halves[foot] or u, pitch))
        notes.append(f"The foot {CORNERS[foot]} hangs: raise it until it touches, then a hair more.")
    if "rock" in readings.numbers:
        verdicts.append(_rocking(readings, u, allowed, notes))
    details: dict[str, object] = {"gap_mm": list(gaps)}
    if "travel" in readings.numbers and not hanging:
        shared = foot_load.from_travels(np.array(_four(readings, "travel")), u)
        details |= {"share": [float(part) for part in shared.share], "least_share": shared.least}
        verdicts.append(_carried(shared, np.array(readings.numbers["travel"]), u))
        named = ", ".join(f"{name} {part:.0%}" for name, part in zip(CORNERS, shared.share, strict=True))
        notes.append(f"Load shared: {named} (±{shared.least_uncertainty:.0%}).")
        if verdicts[-1].word != "inside":
            corrections += [
                _foot(i, rise, u, pitch) for i, rise in enumerate(shared.raise_mm) if rise > SMALLEST_SHIM_mm
            ]
    elif "travel" in readings.numbers:
        notes.append("While a foot hangs the travels are no loads: put that right first.")
    if corrections:
        notes.append("Then level and twist again: where they and the load disagree, the table's twist comes first.")
    verdict, decided = judged_with(*verdicts)
    return Result(verdict, tuple(corrections), (*notes, *decided), details)


def _rocking(readings: Readings, u: float, allowed: Allowed, notes: list[str]) -> Verdict:
    pressed = readings.numbers["rock"]
    if len(pressed) != 2:
        raise ValueError(
            f"rock has {plural(len(pressed), 'value')}; two are needed: how far a corner dips, "
            "and how far the one beside it."
        )
    pair, play, doubt = foot_load.rocking_mm((pressed[0], pressed[1]), u)
    if play > doubt:
        notes.append(f"It rocks over {pair}: of the other two feet one hangs, by twice that play at most.")
    return judge(play, doubt, None, allowed.upper, "mm", "play of the rocking corner")


def _carried(shared: foot_load.Shared, travel: FloatArray, u: float) -> Verdict:
    """Judged as a travel, which is what was measured: a tenth of all four is the least."""
    least = LEAST_SHARE * float(travel.sum())
    return judge(float(travel.min()), shared.least_uncertainty * float(travel.sum()), least, None, "mm",
                 "travel until the least loaded foot is free")  # fmt: skip


def _foot(foot: int, rise_mm: float, u: float, pitch: float | None) -> Correction:
    return Correction(f"foot {CORNERS[foot]}", float(rise_mm), "up", u, float(rise_mm) / pitch if pitch else None)


def _four(readings: Readings, key: str) -> tuple[float, ...]:
    values = readings.numbers[key]
    if len(values) != 4:
        raise ValueError(
            f"{key} has {plural(len(values), 'value')}; four are needed, in the order {'; '.join(CORNERS)}."
        )
    return values


# --- sag and flatness ------------------------------------------------------------------------------------------------


def _sag(check: Check, readings: Readings, allowed: Allowed, machine: Machine) -> Result:
    points = POINTS[readings.words["by"]](readings)
    found = of_points(points)
    verdict = judged(check, allowed, found.zone_mm, found.zone_uncertainty_mm)
    long_side = max(float(np.ptp(points.x)), float(np.ptp(points.y)))
    notes = [*_shape_words(found), _grade_words(found, long_side)]
    if readings.words["by"] == "feelers":
        apart = straightedge.supports_from_end_mm(long_side)
        notes.append(f"A straightedge of that length lies straightest on two supports {apart:.0f} mm from its ends.")
    if math.isfinite(points.misclosure_mm):
        notes.append(f"The loops miss by {1000.0 * points.misclosure_mm:.0f} um (root mean square): that is in the ±.")
    corrections = _strut(readings, points, found, verdict, machine, notes)
    details = {
        "least_squares_mm": found.least_squares_mm,
        "sag_mm": _known(found.sag_mm),
        "sag_uncertainty_mm": _known(found.sag_uncertainty_mm),
        "sag_across_mm": _known(found.sag_across_mm),
        "misclosure_mm": _known(points.misclosure_mm),
        "iso_8512_grade": straightedge.iso_8512_grade(
            found.zone_mm + found.zone_uncertainty_mm, math.hypot(float(np.ptp(points.x)), float(np.ptp(points.y)))
        ),
        "din_876_grade": straightedge.din_876_grade(found.zone_mm + found.zone_uncertainty_mm, long_side),
    }
    return Result(verdict, corrections, tuple(notes), details)


def _strut(
    readings: Readings, points: Points, found: Flatness, verdict: Verdict, machine: Machine, notes: list[str]
) -> tuple[Correction, ...]:
    if verdict.word == "inside":
        return ()
    if not math.isfinite(found.sag_mm) or abs(found.sag_mm) <= found.sag_uncertainty_mm:
        notes.append("No sag stands clear of its uncertainty: what is out of flat here no strut takes out.")
        return ()
    at = readings.maybe("strut")
    if at is None:
        notes.append("With strut= (x of the jack rod or strut) it says how far to push.")
        return ()
    ends = float(points.x.min()), float(points.x.max())
    rise, doubt = strut_rise(points, at, ends)
    if rise < 0:
        notes.append("It is crowned: let the strut off; where it is off already, no strut pulls.")
    pitch = readings.maybe("pitch")
    notes.append(
        "After each push feel under all four feet (check feet): what the strut takes up they lose. One that hangs is "
        "raised until it touches and a hair more before the strut goes further; where that brings nothing more, no "
        "strut straightens so stiff a table: have it planed, or map it."
    )
    notes.append("Then wait an hour, and look again after a day and a week: a casting gives way for days.")
    way = "up" if rise > 0 else "down"
    return (Correction(f"strut at {at:.0f} mm", abs(rise), way, doubt, abs(rise) / pitch if pitch else None),)


def _shape_words(found: Flatness) -> list[str]:
    said = []
    for sag, doubt, way in (
        (found.sag_mm, found.sag_uncertainty_mm, "along"),
        (found.sag_across_mm, found.sag_across_uncertainty_mm, "across"),
    ):
        if math.isfinite(sag):
            shape = "hollow" if sag > 0 else "crowned"
            clear = "" if abs(sag) > doubt else ", not clear of it"
            said.append(f"{way.capitalize()} it is {shape} by {abs(sag):.3f} ± {doubt:.3f} mm{clear}.")
    return said


def _grade_words(found: Flatness, long_side: float) -> str:
    grade = straightedge.din_876_grade(found.zone_mm + found.zone_uncertainty_mm, long_side)
    limits = ", ".join(f"{name} {straightedge.din_876_mm(long_side, name):.3f}" for name in "0123")
    keeps = f"keeps grade {grade}" if grade is not None else "keeps no grade"
    return f"It {keeps} of DIN 876 ({limits} mm on {long_side:.0f} mm)."


def _by_feelers(readings: Readings) -> Points:
    x, gap = array(readings, "x"), array(readings, "gap")
    _as_many(x, gap, "gap")
    half = np.array(readings.halves.get("gap", (0.0,) * len(gap)))
    gap, standard = laid_on(x, gap, half)
    u = np.hypot(2.0 * standard, readings.one("u"))
    points = _on_a_line(x, np.zeros_like(x), -gap, u, readings.one("edge"))
    return replace(points, rounded=bool(half.any()))


def _by_indicator(readings: Readings) -> Points:
    x, z = array(readings, "x"), array(readings, "readings")
    _as_many(x, z, "readings")
    y = array(readings, "y") if "y" in readings.numbers else np.zeros_like(x)
    _as_many(x, y, "y")
    return _on_a_line(x, y, z, np.full(len(x), readings.one("u")), readings.one("edge"))


def _on_a_line(x: FloatArray, y: FloatArray, z: FloatArray, u: FloatArray, edge_mm: float) -> Points:
    """The guide's own error is a smooth shape, the same for all readings along it, its whole height within ``edge``."""
    alike = max(float(np.ptp(x)) / 3.0, 1.0)
    covariance = np.diag((u / 2.0) ** 2)
    same_line = np.abs(y[:, None] - y[None, :]) < 1e-6
    covariance = covariance + np.where(same_line, smooth_covariance(x, edge_mm / 3.0, alike), 0.0)
    return Points(x, y, z, covariance)


def _by_grid(readings: Readings) -> Points:
    along, across = array(readings, "along"), array(readings, "across")
    shape = grid_shape(len(along), len(across))
    if shape is None:
        raise ValueError(
            f"{len(along)} slopes along and {len(across)} across make no rectangle; 3 lines of 4 points have 9 and 8."
        )
    rows, columns = shape
    step = readings.one("step")
    return level_grid(
        along.reshape(rows, columns - 1),
        across.reshape(rows - 1, columns),
        step,
        readings.maybe("step_across") or step,
        readings.one("u_level"),
    )


def _by_union_jack(readings: Readings) -> Points:
    slopes = {line: array(readings, line.casefold()) for line in LINES}
    return union_jack_points(slopes, readings.one("step"), readings.one("u_level"))


POINTS = {"feelers": _by_feelers, "indicator": _by_indicator, "grid": _by_grid, "union_jack": _by_union_jack}


def _as_many(x: FloatArray, values: FloatArray, key: str) -> None:
    if len(x) != len(values):
        raise ValueError(f"x has {len(x)} places and {key} {len(values)} values; one for each place is needed.")


def _known(value: float) -> float | None:
    return value if math.isfinite(value) else None


EVALUATIONS: dict[str, Evaluation] = {"feet": _feet, "sag": _sag}
