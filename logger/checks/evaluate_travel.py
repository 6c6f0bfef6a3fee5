"""What goes with the travel: its straightness in plan, the outrigger, the length stop.

Why it exists: three things that are set to the carriage's own line. It prevents a bend being corrected as toe, an
outrigger's leaning pivot by its height screw, and a scale that stretches by shifting it.
"""

from __future__ import annotations

import math
from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from analysis import lengths, outrigger, sideways
from analysis.touching import laid_on
from analysis.verdict import combine, judge
from logger.checks.model import Allowed, Check, Correction, Readings
from logger.checks.result import Evaluation, Result, array, judged

if TYPE_CHECKING:
    from logger.machines import Machine

SMALLEST_SHIFT_mm = 0.01
"""Less than a hand shifts on purpose (common practice, no source)."""


def _straight(check: Check, readings: Readings, allowed: Allowed, machine: Machine) -> Result:
    turned_end = readings.words["turned"] == "end"
    x = array(readings, "x")
    if readings.words["by"] == "edges":
        gap = array(readings, "gap")
        half = np.array(readings.halves.get("gap", (0.0,) * len(gap)))
        gap, standard = laid_on(x, gap, half)
        doubt = np.hypot(standard, readings.one("u") / 2.0)
        travel = sideways.from_two_edges(x, gap, doubt, turned_end=turned_end)
        travel = replace(travel, rounded=bool(half.any()))
    else:
        travel = sideways.from_straightedge(
            x,
            array(readings, "first"),
            array(readings, "second"),
            readings.one("u"),
            readings.one("edge"),
            turned_end=turned_end,
        )
    found = sideways.bend_of(travel)
    verdict = judged(check, allowed, found.bow_mm, found.uncertainty_mm)
    side = "toward the table: edges come out hollow" if found.middle_mm > 0 else "away from it: edges come out bellied"
    clear = "" if abs(found.middle_mm) > found.middle_uncertainty_mm else " (not clear of its uncertainty)"
    notes = [f"Its middle lies {abs(found.middle_mm):.3f} ± {found.middle_uncertainty_mm:.3f} mm {side}{clear}."]
    if turned_end:
        notes.append("Turned end for end, a bend like an S was not told apart: turned=over shows it too.")
    details: dict[str, object] = {
        "middle_mm": found.middle_mm,
        "middle_uncertainty_mm": found.middle_uncertainty_mm,
        "swept_mm": float(np.ptp(x)),
    }
    if travel.straightedge_mm is not None:
        own = travel.straightedge_mm - np.interp(x, x[[0, -1]], travel.straightedge_mm[[0, -1]])
        details["straightedge_mm"] = float(np.ptp(own))
        notes.append(f"The straightedge itself is {np.ptp(own):.3f} mm out over that length.")
    corrections = _shifts(travel, machine, notes) if verdict.word != "inside" else ()
    return Result(verdict, corrections, tuple(notes), details)


def _shifts(travel: sideways.Travel, machine: Machine, notes: list[str]) -> tuple[Correction, ...]:
    bolts = {bolt.name: float(bolt.x_mm) for bolt in machine.bolts}
    tight, shifts = sideways.straightening(travel, bolts)
    clear = [each for each in shifts if abs(each.shift_mm) > max(each.uncertainty_mm, SMALLEST_SHIFT_mm)]
    if not clear:
        notes.append("No bolt's share of the bend stands clear of its uncertainty: more places, or a longer sweep.")
        return ()
    pairs = len({bolt.x_mm for bolt in machine.bolts}) < len(machine.bolts)
    notes += [
        f"{tight} stays tight; slacken the others one at a time, and shift by an indicator from the side.",
        "Then the toe: it is a turn of the whole rail about the bolt left tight, all bolts by the same angle.",
        *(["Bolts of a pair go the same way by as much."] if pairs else []),
    ]
    return tuple(
        Correction(
            f"rail at {each.bolt}",
            abs(each.shift_mm),
            "toward the table" if each.shift_mm > 0 else "away from the table",
            each.uncertainty_mm,
        )
        for each in clear
    )


# --- outrigger -------------------------------------------------------------------------------------------------------


def _outrigger(check: Check, readings: Readings, allowed: Allowed, machine: Machine) -> Result:
    stroke = machine.carriage.stroke_mm
    apart = readings.maybe("apart") or float(stroke[1] - stroke[0])
    doubts = [readings.uncertainties(key, readings.one("u"))[0] for key in ("infeed", "outfeed")]
    u = max(doubts)
    ends = readings.one("infeed"), readings.one("outfeed")
    found = outrigger.at_both_ends(*ends, apart, u, u)
    verdicts = [
        judge(height, u, allowed.lower, allowed.upper, "mm", f"height at the {name} end")
        for name, height in zip(("infeed", "outfeed"), ends, strict=True)
    ]
    notes = [
        f"On the whole {found.height_mm:+.2f} ± {found.height_uncertainty_mm:.2f} mm; toward outfeed it "
        f"{'climbs' if found.climb_mm > 0 else 'sinks'} by {abs(found.climb_mm):.2f} mm "
        f"({found.lean_mm_per_m:+.2f} mm/m)."
    ]
    details: dict[str, object] = {
        "height_mm": found.height_mm,
        "climb_mm": found.climb_mm,
        "lean_mm_per_m": found.lean_mm_per_m,
    }
    if "level_carriage" in readings.numbers and "level_outrigger" in readings.numbers:
        slope = readings.one("level_outrigger") - readings.one("level_carriage")
        over = slope * readings.one("width") / 1000.0
        doubt = math.sqrt(2.0) * readings.one("u_level") * readings.one("width") / 1000.0
        verdicts.append(judge(over, doubt, allowed.lower, allowed.upper, "mm", "slope over the outrigger's width"))
        details["slope_mm_per_m"] = slope
    verdict = combine(verdicts)
    corrections: list[Correction] = []
    if verdict.word != "inside":
        corrections = _outrigger_moves(readings, found, notes)
    return Result(verdict, tuple(corrections), tuple(notes), details)


def _outrigger_moves(readings: Readings, found: outrigger.Outrigger, notes: list[str]) -> list[Correction]:
    moves: list[Correction] = []
    pitch, bearings = readings.maybe("pitch"), readings.maybe("bearings")
    if abs(found.lean_mm_per_m) > found.lean_uncertainty_mm_per_m:
        if bearings is None:
            notes.append("Its pivot leans; with bearings= (between its two bearings) it says how far to move one.")
        else:
            move = outrigger.pivot_move_mm(found, bearings)
            way = "toward infeed" if move > 0 else "toward outfeed"
            doubt = found.lean_uncertainty_mm_per_m * bearings / 1000.0
            moves.append(Correction("lower bearing of the outrigger's pivot", abs(move), way, doubt))
            notes.append("The pivot first: the height screw after it, with both ends measured again.")
    if abs(found.height_mm) > found.height_uncertainty_mm:
        moves.append(
            Correction(
                "outrigger at its height screw",
                abs(found.height_mm),
                "down" if found.height_mm > 0 else "up",
                found.height_uncertainty_mm,
                abs(found.height_mm) / pitch if pitch else None,
            )
        )
    return moves


# --- length stop and scale -------------------------------------------------------------------------------------------


def _length(check: Check, readings: Readings, allowed: Allowed, machine: Machine) -> Result:
    set_at, measured = array(readings, "set"), array(readings, "measured")
    if len(set_at) == 1:
        set_at = np.full(len(measured), set_at[0])
    found = lengths.of_parts(set_at, measured, readings.one("u"))
    verdict = judged(check, allowed, found.worst_mm, found.worst_uncertainty_mm)
    notes = [
        f"Parts come out {'long' if found.offset_mm > 0 else 'short'} by {abs(found.offset_mm):.2f} mm on the whole."
    ]
    if math.isfinite(found.spread_mm):
        notes.append(f"One setting comes back within ±{2.0 * found.spread_mm:.2f} mm.")
    else:
        notes.append("Repeat one setting, fence off and on between: only that shows how it comes back.")
    stretched = math.isfinite(found.scale_uncertainty_mm_per_m) and (
        abs(found.scale_mm_per_m) > found.scale_uncertainty_mm_per_m
    )
    if stretched:
        notes.append(
            f"The error grows by {found.scale_mm_per_m:+.2f} ± {found.scale_uncertainty_mm_per_m:.2f} mm/m: the "
            "scale's own division, or a fence that is not square; shifting it makes one length right and no other."
        )
    corrections: tuple[Correction, ...] = ()
    if verdict.word != "inside" and abs(found.offset_mm) > found.offset_uncertainty_mm:
        position = readings.words.get("position")
        where = f"scale or pointer of the length stop{f', position {position}' if position else ''}"
        way = "so that it reads more" if found.offset_mm > 0 else "so that it reads less"
        corrections = (Correction(where, abs(found.offset_mm), way, found.offset_uncertainty_mm),)
    details = {
        "offset_mm": found.offset_mm,
        "offset_uncertainty_mm": found.offset_uncertainty_mm,
        "scale_mm_per_m": found.scale_mm_per_m,
        "spread_mm": found.spread_mm if math.isfinite(found.spread_mm) else None,
    }
    return Result(verdict, corrections, tuple(notes), details)


EVALUATIONS: dict[str, Evaluation] = {"straight": _straight, "outrigger": _outrigger, "length": _length}
