"""Toe of the carriage and opening of the rip fence: from readings to the bolt or screw to move.

Why it exists: both are one geometry, and both are corrected far from where they are measured. It prevents the wrong
way: the rail turned about the wrong bolt, a fence set to the travel where the blade was meant.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Literal

import numpy as np

from analysis import kerf, toe
from analysis.verdict import combine
from logger.checks.model import Allowed, Check, Correction, Readings
from logger.checks.result import Evaluation, Result, array, judged
from logger.errors import NotAllowed
from logger.wording import nearest

if TYPE_CHECKING:
    from analysis.results import FloatArray, Verdict
    from logger.machines import Machine

CLOSES = "It closes: the rear teeth press into the part that is kept and throw it back. No cut until it opens."
PINCHES = "It closes toward outfeed: the work is pinched against the rising teeth. Do not rip until it opens."
DRAWN_BACK = (
    "For solid wood the fence is often drawn back so that it ends ahead of the rising teeth; opening matters less then "
    "(common practice, no source)."
)


def _toe(check: Check, readings: Readings, allowed: Allowed, machine: Machine) -> Result:
    found, notes, details = _measured_toe(readings)
    verdict = _verdict(check, readings, allowed, found)
    way = "Opening" if found.toe_mm_per_m >= 0 else "Closing"
    if details.get("marks") != "cannot tell":
        notes.insert(0, f"{way} toward outfeed by {abs(found.over_span_mm):.3f} mm over {found.span_mm:.0f} mm.")
    if found.toe_mm_per_m + found.uncertainty_mm_per_m < 0:
        notes.append(CLOSES)
    corrections = _rail_shifts(readings, verdict, found, machine, notes, details)
    if "tilted_front" in readings.numbers or "tilted_rear" in readings.numbers:
        verdict, shim = _at_bevel(check, readings, allowed, found, verdict, notes, details)
        corrections = (*corrections, *shim)
    notes += _heights_kept(readings, machine, details)
    return Result(verdict, corrections, tuple(notes), details)


def _measured_toe(readings: Readings) -> tuple[toe.Toe, list[str], dict[str, Any]]:
    by, u = readings.words["by"], readings.one("u")
    if by == "marks":
        return _from_marks(readings, "the carriage")
    if by == "straightedge":
        x = _rising(readings)
        found, wobble = toe.from_straightedge(
            x, array(readings, "readings"), array(readings, "half_round"), u, readings.one("parallel")
        )
        note = f"The blade's wobble over that stretch is {abs(wobble):.3f} mm; turning it half round took it out."
        return found, [note], {"over_span_mm": found.over_span_mm, "wobble_mm": wobble}
    found = _by_tips(readings, "front", "rear")
    return found, [], {"over_span_mm": found.over_span_mm}


def _by_tips(readings: Readings, front: str, rear: str) -> toe.Toe:
    """From readings at two places: on the same teeth, or on a plate turned on between."""
    both, span, u = (array(readings, front), array(readings, rear)), readings.one("span"), readings.one("u")
    if readings.words["by"] == "plate":
        return toe.from_plate(*both, span, u, readings.one("flat"))
    return toe.from_same_tooth(*both, span, u)


def _from_marks(readings: Readings, guide: str) -> tuple[toe.Toe, list[str], dict[str, Any]]:
    """Toe over the chord at the height of the reading, with what the marks leave open in words."""
    chord = kerf.at_height(readings.one("radius"), readings.one("projection"), readings.one("height"))
    away, near, doubt = _depths(readings)
    marks = kerf.from_depths(_wall(readings), away, near, doubt, chord, readings.maybe("swing"))
    over = marks.toe_mm_per_m * chord / 1000.0
    low, high = marks.lowest_mm_per_m, marks.highest_mm_per_m
    said = {
        "opening": f"Marks on the wall away from {guide} mean opening, between {low:.2f} and {high:.2f} mm/m.",
        "closing": f"Marks on the wall beside {guide} mean closing, between {low:.2f} and {high:.2f} mm/m: a fault.",
        "cannot tell": (
            f"No marks: the toe is below what can be seen, {high:.2f} mm/m either way."
            if readings.words["wall"] == "none"
            else "Marks on both walls are a wobbling blade or dull teeth: which way it runs cannot be told from them. "
            "See to the blade first, or measure on one tooth (by=tooth)."
        ),
    }
    notes = [said[marks.says]]
    if marks.says != "cannot tell" and readings.maybe("swing") is None:
        notes.append("A wobble deepens the marks: with swing= (the blade's total reading at its teeth) it narrows.")
    details = {
        "over_blade_mm": over,
        "chord_mm": chord,
        "lowest_mm_per_m": low,
        "highest_mm_per_m": high,
        "marks": marks.says,
        "over_span_mm": over,
    }
    return toe.Toe(marks.toe_mm_per_m, marks.uncertainty_mm_per_m, over, chord), notes, details


def _wall(readings: Readings) -> kerf.Wall:
    word = readings.words["wall"]
    return "away" if word == "away" else "guide" if word == "guide" else "both" if word == "both" else "none"


def _depths(readings: Readings) -> tuple[float, float, float]:
    """Depth away from the guide, on its side, and the worst expanded uncertainty of one."""
    wall, given = readings.words["wall"], readings.numbers.get("depth", ())
    needed = {"away": 1, "guide": 1, "both": 2, "none": 0}[wall]
    if len(given) != needed:
        raise ValueError(f"wall={wall} goes with {needed} depths, and {len(given)} are given (mm, depth=0.03).")
    doubts = readings.uncertainties("depth", readings.one("depth_u")) if given else (0.0,)
    away = given[0] if wall in ("away", "both") else 0.0
    near = given[-1] if wall in ("guide", "both") else 0.0
    return away, near, max(doubts)


def _verdict(check: Check, readings: Readings, allowed: Allowed, found: toe.Toe) -> Verdict:
    verdict = judged(check, allowed, found.toe_mm_per_m, found.uncertainty_mm_per_m)
    if readings.words["by"] == "marks" and readings.words["wall"] == "both":
        from dataclasses import replace

        reason = "Marks on both walls: a wobbling blade or dull teeth, and no toe can be told from them."
        # no uncertainty would decide it: another way of measuring does
        return replace(verdict, word="cannot tell", reason=reason, lower=None, upper=None)
    return verdict


def _rail_shifts(
    readings: Readings, verdict: Verdict, found: toe.Toe, machine: Machine, notes: list[str], details: dict[str, Any]
) -> tuple[Correction, ...]:
    away = abs(found.toe_mm_per_m - readings.one("wanted"))
    if verdict.word == "inside" or away <= found.uncertainty_mm_per_m:
        return ()
    bolts = {bolt.name: float(bolt.x_mm) for bolt in machine.bolts}
    tight = _tight(readings, bolts)
    shifts = toe.sideways_shifts(found.toe_mm_per_m, readings.one("wanted"), bolts, tight)
    notes.append(
        f"{tight} stays tight; slacken the others, one at a time, by {_slack(machine, tight)}, and shift each by an "
        "indicator against its bracket. All by the same angle, or the rail is bent in plan."
    )
    notes.append("Then sweep: were the heights kept? (Before and after at each bolt: height_before=, height_after=.)")
    details["tight"] = tight
    return tuple(
        Correction(
            f"rail at {name}",
            abs(shift),
            "toward the table" if shift > 0 else "away from the table",
            found.uncertainty_mm_per_m * abs(bolts[name] - bolts[tight]) / 1000.0,
        )
        for name, shift in shifts.items()
        if abs(bolts[name] - bolts[tight]) > 1.0
    )


def _tight(readings: Readings, bolts: dict[str, float]) -> str:
    named = readings.words.get("tight")
    if named is None:
        middle = sum(bolts.values()) / len(bolts)
        return min(bolts, key=lambda name: abs(bolts[name] - middle))
    found = {name.casefold(): name for name in bolts}.get(named.casefold())
    if found is None:
        raise NotAllowed(f"There is no bolt '{named}'{nearest(named, bolts)}.", f"The bolts are {', '.join(bolts)}.")
    return found


def _slack(machine: Machine, tight: str) -> str:
    pitches = {round(bolt.pitch_mm, 3) for bolt in machine.bolts if bolt.name != tight and bolt.pitch_mm}
    if not pitches:
        return f"{toe.SLACK_mm:g} mm"
    parts = " or ".join(f"1/{round(1.0 / toe.slacken_turns(pitch))}" for pitch in sorted(pitches))
    return f"about {parts} turn ({toe.SLACK_mm:g} mm; common practice, no source)"


def _at_bevel(
    check: Check,
    readings: Readings,
    allowed: Allowed,
    upright: toe.Toe,
    verdict: Verdict,
    notes: list[str],
    details: dict[str, Any],
) -> tuple[Verdict, tuple[Correction, ...]]:
    """Toe at full tilt as well: the worse of both, and the climb of the tilt axis that would make the difference."""
    if not {"tilted_front", "tilted_rear"} <= set(readings.numbers):
        raise ValueError("One end at full tilt is missing; tilted_front= and tilted_rear= belong together.")
    tilted = _by_tips(readings, "tilted_front", "tilted_rear")
    top: Literal["carriage", "table"] = "table" if readings.words["top"] == "table" else "carriage"
    axis = toe.tilt_axis(upright, tilted, readings.one("bevel"), top)
    details |= {
        "tilted_toe_mm_per_m": tilted.toe_mm_per_m,
        "change_mm_per_m": axis.change_mm_per_m,
        "change_uncertainty_mm_per_m": axis.uncertainty_mm_per_m,
        "axis_climb_mm_per_m": axis.climb_mm_per_m,
    }
    both = combine([verdict, judged(check, allowed, tilted.toe_mm_per_m, tilted.uncertainty_mm_per_m)])
    notes.append(f"At {readings.one('bevel'):.0f} degrees the toe is {tilted.toe_mm_per_m:+.2f} mm/m.")
    if abs(axis.change_mm_per_m) <= axis.uncertainty_mm_per_m:
        notes.append("It does not change with the bevel by more than the readings can tell.")
        return both, ()
    notes.append(f"It changes by {axis.change_mm_per_m:+.2f} mm/m: the tilt axis is not in the carriage's plane.")
    apart = readings.maybe("trunnions")
    if apart is None:
        notes.append("With trunnions= (how far apart the axis is carried) it says what to shim.")
        return both, ()
    move = axis.climb_mm_per_m * apart / 1000.0
    end = "infeed" if move > 0 else "outfeed"
    doubt = abs(move) * axis.uncertainty_mm_per_m / abs(axis.change_mm_per_m)
    notes.append("Shim the axis first, then the toe at 0 degrees; an axis askew in plan does it too, but less.")
    return both, (Correction(f"tilt axis at its {end} end", abs(move), "up", doubt),)


def _heights_kept(readings: Readings, machine: Machine, details: dict[str, Any]) -> list[str]:
    given = {"height_before", "height_after"} & set(readings.numbers)
    if not given:
        return []
    if len(given) == 1:
        raise ValueError("Heights before and after belong together: height_before= and height_after=.")
    before, after = array(readings, "height_before"), array(readings, "height_after")
    if len(before) != len(machine.bolts):
        raise ValueError(f"{len(before)} heights and {len(machine.bolts)} bolts; one for each bolt is needed.")
    lost = toe.heights_lost(before, after, readings.one("u"))
    details["heights_changed_mm"] = {bolt.name: float(c) for bolt, c in zip(machine.bolts, lost, strict=True) if c}
    if not lost.any():
        return ["The heights were kept at every bolt."]
    return [
        f"The height at {bolt.name} changed by {change:+.3f} mm: bring its display back to {first:+.3f}, then sweep."
        for bolt, change, first in zip(machine.bolts, lost, before, strict=True)
        if change
    ]


def _rising(readings: Readings) -> FloatArray:
    x = array(readings, "x")
    if len(x) > 1 and bool((x[1:] < x[:-1]).all()):
        raise ValueError(
            f"x falls from {x[0]:g} to {x[-1]:g} mm, and it rises toward outfeed: are the ends swapped? "
            "Write x rising, each reading at its own place."
        )
    return x


def _rip(check: Check, readings: Readings, allowed: Allowed, machine: Machine) -> Result:
    found, notes, details = _measured_rip(readings)
    verdict = _verdict(check, readings, allowed, found)
    corrections: tuple[Correction, ...] = ()
    screw, wanted = readings.maybe("screw"), readings.one("wanted")
    clear = abs(found.toe_mm_per_m - wanted) > found.uncertainty_mm_per_m
    if verdict.word != "inside" and clear and screw is not None:
        move = (found.toe_mm_per_m - wanted) * screw / 1000.0
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
        if pitch is None:
            notes.append("With pitch= it says how many turns of the screw.")
    elif verdict.word != "inside" and screw is None:
        notes.append("With screw= (pivot to screw, + toward outfeed) it says how far to move it.")
    if found.toe_mm_per_m + found.uncertainty_mm_per_m < 0:
        notes.append(PINCHES)
    return Result(verdict, corrections, (*notes, DRAWN_BACK), details)


def _measured_rip(readings: Readings) -> tuple[toe.Toe, list[str], dict[str, Any]]:
    by = readings.words["by"]
    if by == "marks":
        return _from_marks(readings, "the fence")
    key = "gap" if by == "sheet" else "distance"
    doubts = np.array(readings.uncertainties(key, readings.one("u")))
    found = toe.from_distances(_rising(readings), array(readings, key), doubts)
    if by == "distances":
        return found, _beside_the_blade(readings, found), {"over_span_mm": found.over_span_mm}
    corner = readings.one("corner"), readings.one("corner_u")
    known = readings.known.get("toe", (0.1, 0.2))
    travel = readings.numbers.get("toe", (known[0],))[0], readings.numbers.get("toe_u", (known[1],))[0]
    to_blade = toe.to_the_blade(found, corner, travel)
    guessed = "" if {"toe"} & (set(readings.numbers) | set(readings.known)) else " (not measured: a guess)"
    notes = [
        f"The sheet carries the travel's line. To the blade it is less the toe, {travel[0]:+.2f} ± {travel[1]:.2f} "
        f"mm/m{guessed}; the sheet's corner is good to ± {corner[1]:.2f} mm/m. Both are in the uncertainty."
    ]
    details = {"over_span_mm": to_blade.over_span_mm, "to_sheet_mm_per_m": found.toe_mm_per_m}
    return to_blade, notes, details


def _beside_the_blade(readings: Readings, found: toe.Toe) -> list[str]:
    if readings.words["to"] != "carriage" or "toe" not in readings.known:
        return []
    opening = found.toe_mm_per_m - readings.known["toe"][0]
    return [f"That is to the carriage's travel; to the blade it is {opening:+.2f} mm/m (less the toe)."]


EVALUATIONS: dict[str, Evaluation] = {"toe": _toe, "rip": _rip}
