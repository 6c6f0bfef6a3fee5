"""The marks of the rear teeth in a smooth test board, read as toe.

Why it exists: everybody has a board and light to see by, and the marks say which way the guide runs. It prevents three
mistakes: reading the deepest mark as toe when the blade wobbles (the wobble deepens it), reading "no marks" as nothing
when it only means too little to see, and reading marks on both walls at all.

Derivation. A guide that opens by ``toe`` draws the board sideways by T = toe x chord while a place of it goes from the
front teeth to the rear ones. Let M be the most by which a rear tooth stands out beyond the front tooth that made the
wall: the wobble and uneven teeth, the same on both sides once every tooth has followed every other. The rear teeth then
reach T + M into one wall and M - T into the other. Marks on one wall only mean M - T is too little to see, so T is
between half the depth and the whole of it; a blade whose swing at the teeth is known (M is at most that) narrows it.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

from analysis.toe import chord_mm

Wall = Literal["away", "guide", "both", "none"]

VISIBLE_mm = 0.01
"""The shallowest mark seen in raking light on a smooth board (common practice, no source)."""

UNLIKE = 0.16
"""How far a blade's teeth stand out unlike on its two sides, as a part of the marks' depth (simulated blades)."""


@dataclass(frozen=True, slots=True)
class Marks:
    """Toe from marks: value and expanded uncertainty (k = 2) in mm/m, + opening; over the blade's ``chord_mm``.

    ``says``: opening, closing, or cannot tell (marks on both walls, or on none). ``lowest_mm_per_m`` and
    ``highest_mm_per_m``: the toes between which the marks leave it, before the depth's own uncertainty.
    """

    toe_mm_per_m: float
    uncertainty_mm_per_m: float
    lowest_mm_per_m: float
    highest_mm_per_m: float
    chord_mm: float
    says: Literal["opening", "closing", "cannot tell"]


def from_depths(
    wall: Wall,
    away_mm: float,
    guide_mm: float,
    depth_uncertainty_mm: float,
    chord: float,
    swing_mm: float | None = None,
    visible_mm: float = VISIBLE_mm,
) -> Marks:
    """Toe from the depth of the marks on the wall away from the guide and on the guide's own wall (0: none seen).

    ``chord`` is the blade's length at the height the marks were read at (``toe.chord_mm``), ``depth_uncertainty_mm``
    the expanded uncertainty of one depth, ``swing_mm`` the total reading of the blade at its teeth where it is known.
    Raises ValueError where depth and wall contradict each other.
    """
    _agree(wall, away_mm, guide_mm)
    if not chord > 0:
        raise ValueError(f"The blade is {chord:g} mm long at that height; a height below its top is needed.")
    if wall == "none":
        return _marks(-visible_mm, visible_mm, 0.0, chord, "cannot tell")
    if wall == "both":
        # T = (away - guide) / 2 for a blade that is alike on both sides; what it is not is a tenth of the depths.
        middle, unlike = (away_mm - guide_mm) / 2.0, UNLIKE * (away_mm + guide_mm) / 2.0
        doubt = depth_uncertainty_mm / math.sqrt(2.0)
        return _marks(middle - unlike, middle + unlike, doubt, chord, "cannot tell")
    depth = away_mm if wall == "away" else guide_mm
    lowest = max((depth * (1.0 - UNLIKE / 2.0) - visible_mm) / 2.0, 0.0)
    if swing_mm is not None:
        lowest = min(max(lowest, depth - swing_mm), depth)
    sense = 1.0 if wall == "away" else -1.0
    ends = sorted((sense * lowest, sense * depth))
    return _marks(ends[0], ends[1], depth_uncertainty_mm, chord, "opening" if wall == "away" else "closing")


def at_height(radius_mm: float, projection_mm: float, height_mm: float) -> float:
    """The blade's chord at ``height_mm`` above the table; ValueError in words where the figures do not fit."""
    if projection_mm > 2.0 * radius_mm:
        raise ValueError(f"A blade of radius {radius_mm:g} mm cannot stand {projection_mm:g} mm out of the table.")
    if height_mm >= projection_mm:
        raise ValueError(
            f"The marks were read {height_mm:g} mm above the table, and the blade's top is at {projection_mm:g} mm; "
            "a height below it is needed."
        )
    return chord_mm(radius_mm, projection_mm, height_mm)


def _agree(wall: Wall, away_mm: float, guide_mm: float) -> None:
    needed = {"away": (True, False), "guide": (False, True), "both": (True, True), "none": (False, False)}[wall]
    if (away_mm > 0, guide_mm > 0) != needed:
        raise ValueError(
            f"Marks on the wall {wall} and depths of {away_mm:g} mm (away from the guide) and {guide_mm:g} mm (on its "
            "side) contradict each other; the depth belongs to the wall that is marked."
        )


def _marks(
    low_mm: float, high_mm: float, depth_uncertainty_mm: float, chord: float,
    says: Literal["opening", "closing", "cannot tell"],
) -> Marks:  # fmt: skip
    half = (high_mm - low_mm) / 2.0
    # Any toe between the two is as likely as any other, so 0.95 of half the way holds 95 % (JCGM 101:2008, 6.4.2).
    doubt = math.hypot(0.95 * half, depth_uncertainty_mm)
    scale = 1000.0 / chord
    return Marks((low_mm + high_mm) / 2.0 * scale, doubt * scale, low_mm * scale, high_mm * scale, chord, says)
