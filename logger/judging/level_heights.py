"""What a level's tilts say of heights: the angular method, with what a level cannot see said beside it.

Why it exists: pitch read at stations is how much higher the rail is under the front bearings than under the rear ones;
added up it is the rail's shape. It prevents the two usual mistakes: adding up readings that were not taken one bearing
span apart as if they had been, and taking the summed end for an error when it is the line's own tilt.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from analysis.slopes import BadSteps, Heights, heights_from_overlapping, tied_to_ends, twist_from_roll
from analysis.straightness import REFERENCES, straightness
from logger.errors import NotAllowed
from logger.wording import amount

if TYPE_CHECKING:
    from analysis.results import Findings
    from logger.machines import Machine

TIE_MM = 0.002  # standard uncertainty of an indicator's height at an end; common practice, no source


def heights_of_level(found: Findings, machine: Machine, ends: str | None = None) -> Heights | None:
    """Heights of the rail under the bearings from pitch at stops; else None. NotAllowed for bad ``ends``."""
    if found.profile.quantity != "pitch" or found.position_source != "stops":
        if ends:
            raise NotAllowed("--ends goes with a level's pitch, read at stops.", "Leave it out here.")
        return None
    profile = found.profile
    offsets = machine.carriage.bearing_offsets_mm
    foot = float(max(offsets) - min(offsets))
    u = float(np.median(profile.parts.get("repeatability", profile.uncertainty / 2.0)))
    try:
        heights = heights_from_overlapping(profile.x_mm, profile.value, foot, max(u, 1e-4))
    except BadSteps:
        return None
    span = float(profile.x_mm[-1] - profile.x_mm[0])
    closure = 2.0 * found.reports.get("direction_offset", 0.0) * span / 1000.0
    heights = Heights(heights.x_mm, heights.height_mm, heights.covariance_mm2, closure)
    if ends:
        first, last = _two(ends)
        heights = tied_to_ends(heights, first, last, TIE_MM)
    return heights


def in_steps(found: Findings, machine: Machine) -> bool:
    """Whether the stations stand so that the places of the feet meet: then nothing is guessed between."""
    offsets = machine.carriage.bearing_offsets_mm
    foot = float(max(offsets) - min(offsets))
    steps = np.diff(found.profile.x_mm)
    return bool(len(steps)) and bool(np.all(np.abs(foot / steps - np.round(foot / steps)) < 0.02))


def as_json(found: Findings, machine: Machine, ends: str | None = None) -> dict[str, Any]:
    """``heights`` of a pitch level and ``twist`` of a roll level, for ``spots``; for an indicator nothing."""
    out: dict[str, Any] = {}
    heights = heights_of_level(found, machine, ends)
    if heights is not None:
        u = 2.0 * np.sqrt(np.maximum(np.diag(heights.covariance_mm2), 0.0))
        out["heights"] = {
            "x_mm": [round(float(v), 3) for v in heights.x_mm],
            "height_mm": [round(float(v), 6) for v in heights.height_mm],
            "uncertainty_mm": [round(float(v), 6) for v in u],
            "closure_mm": round(heights.closure_mm, 6),
            "steps_meet": in_steps(found, machine),
            "tied_to_the_table": bool(ends),
            "straightness_mm": {
                name: round(straightness(heights.x_mm, heights.height_mm, name).STRt, 6) for name in REFERENCES
            },
            "not_seen": _unseen(bool(ends)),
        }
    twist = _twist(found)
    if twist is not None:
        out["twist"] = {"twist_mm_per_m_per_m": round(twist[0], 6), "uncertainty_mm_per_m_per_m": round(twist[1], 6)}
    return out


def lines(found: Findings, machine: Machine, ends: str | None = None) -> list[str]:
    """The same in words."""
    out = []
    heights = heights_of_level(found, machine, ends)
    if heights is not None:
        line = straightness(heights.x_mm, heights.height_mm, "minimum zone")
        out.append(
            f"  rail's heights from pitch, {len(heights.x_mm)} places "
            f"{heights.x_mm[0]:.0f} to {heights.x_mm[-1]:.0f} mm: "
            f"straight within {amount(line.STRt, None, 'mm', sign=False)} (minimum zone)"
        )
        out.append(f"  there and back miss each other by {amount(heights.closure_mm, None, 'mm')} over the whole way")
        if not in_steps(found, machine):
            out.append(
                "  the stations are no whole part of the bearing span apart: between them the smoothest line was taken"
            )
        out.extend(f"  not seen by the level: {text}" for text in _unseen(bool(ends)))
    twist = _twist(found)
    if twist is not None:
        out.append(f"  twist of the rail: {twist[0]:+.3f} ±{twist[1]:.3f} mm/m over each metre")
    return out


def _unseen(tied: bool) -> list[str]:
    return [] if tied else ["the rail's lift over the table", "its tilt against the table (only against gravity)"]


def _twist(found: Findings) -> tuple[float, float] | None:
    if found.profile.quantity != "roll" or len(found.profile.x_mm) < 3:
        return None
    return twist_from_roll(found.profile.x_mm, found.profile.value)


def _two(ends: str) -> tuple[float, float]:
    try:
        first, last = (float(word) for word in ends.split(","))
    except ValueError:
        raise NotAllowed(f"--ends '{ends}' is not two heights.", "Write them as --ends 0.020,-0.010 (mm).") from None
    if not (np.isfinite(first) and np.isfinite(last) and abs(first) < 100 and abs(last) < 100):
        raise NotAllowed(f"--ends '{ends}' is not possible.", "Allowed: heights up to 100 mm.")
    return first, last
