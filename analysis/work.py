"""What the work would show: errors of the machine as they come out in a board, a panel, a groove.

Why it exists: nobody buys a millimetre per metre. It prevents an error being corrected for a week that the work cannot
show, and one being left that ruins every tenth panel. Each is plain geometry with the machine's own uncertainty.

Arguments are a measured error and its expanded uncertainty in the unit of its check; results in mm on the work, with
their uncertainty. A change that depends on where the work lies is given at its worst.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from analysis.toe import chord_mm


@dataclass(frozen=True, slots=True)
class Shown:
    """``what`` the work shows, how much (mm, never negative) and its expanded uncertainty; ``of`` names the check."""

    of: str
    what: str
    size_mm: float
    uncertainty_mm: float
    why: str


def groove_depth(place: str, peak_to_valley_mm: float, uncertainty_mm: float) -> Shown:
    """The board rides on the carriage and the cutter stands on the machine: the groove is shallower where it rides
    high. Its depth changes along the board by the height's peak to valley at the cutter while the board passes."""
    why = f"The carriage's height at the {place} while the board passes is the depth's change."
    return Shown(
        "rail", f"change of a groove's depth along a board at the {place}", peak_to_valley_mm, uncertainty_mm, why
    )


def out_of_square(error_mm_per_m: float, uncertainty_mm_per_m: float, panel_mm: float) -> Shown:
    """A cut ``panel_mm`` long by a fence out of square by so much misses its corner by error x length."""
    return Shown(
        "fence",
        f"out of square over a cut of {panel_mm:.0f} mm",
        abs(error_mm_per_m) * panel_mm / 1000.0,
        uncertainty_mm_per_m * panel_mm / 1000.0,
        "The corner's error times the length of the cut.",
    )


def rip_taper(opening_mm_per_m: float, uncertainty_mm_per_m: float, board_mm: float) -> Shown:
    """A board laid against the rip fence and carried by the carriage: one edge follows the fence, the other the travel.

    Its width changes by opening x length. (Pushed along the fence instead, every place of the board passes the same
    teeth at the same distance: the width stays, and only the saw marks tell.)
    """
    return Shown(
        "rip",
        f"taper of a rip {board_mm:.0f} mm long, laid against the fence and carried",
        abs(opening_mm_per_m) * board_mm / 1000.0,
        uncertainty_mm_per_m * board_mm / 1000.0,
        "One edge follows the fence, the other the carriage's travel.",
    )


def saw_marks(
    of: str,
    toe_mm_per_m: float,
    uncertainty_mm_per_m: float,
    radius_mm: float,
    projection_mm: float,
    thickness_mm: float,
) -> Shown:
    """The rear teeth cut into a wall that the front teeth made by toe x chord, deepest at the table (lowest in the cut
    for the table side, where the blade is longest)."""
    chord = chord_mm(radius_mm, projection_mm, 0.0)
    upper = chord_mm(radius_mm, projection_mm, thickness_mm)
    if chord <= 0.0:
        raise ValueError(f"A blade of radius {radius_mm:g} mm standing out {projection_mm:g} mm cuts nothing.")
    wall = (
        "on the wall away from the guide" if toe_mm_per_m >= 0 else "on the guide's wall, where it burns and kicks back"
    )
    return Shown(
        of,
        f"depth of the rear teeth's marks {wall}",
        abs(toe_mm_per_m) * chord / 1000.0,
        uncertainty_mm_per_m * chord / 1000.0,
        f"Toe times the blade's length in the wood, {upper:.0f} mm at the top to {chord:.0f} mm at the table.",
    )


def wobble_marks(run_out_mm: float, uncertainty_mm: float) -> Shown:
    """A plate that wobbles cuts wider: the kerf by its run-out at the rim, half of it into each wall, a ripple that
    comes once a turn of the blade."""
    return Shown(
        "blade", "ripple on either wall of the cut", run_out_mm / 2.0, uncertainty_mm / 2.0,
        "Half of the blade's run-out goes into each wall.",
    )  # fmt: skip


def hollow_edge(bow_mm: float, uncertainty_mm: float, swept_mm: float, board_mm: float) -> Shown:
    """An edge cut over ``board_mm`` of a travel that bows by ``bow_mm`` over ``swept_mm``: a bow's height goes with the
    square of its length. Two such edges laid together gape by twice as much."""
    part = min(board_mm / swept_mm, 1.0) ** 2
    return Shown(
        "straight",
        f"hollow or belly of an edge {board_mm:.0f} mm long",
        abs(bow_mm) * part,
        uncertainty_mm * part,
        "The travel's bow, by the square of the board's part of it; two edges laid together gape by twice as much.",
    )


def bevel_over(lean_mm_per_m: float, uncertainty_mm_per_m: float, thickness_mm: float) -> Shown:
    """An edge out of square to the face: the blade's lean times the board's thickness."""
    return Shown(
        "bevel",
        f"edge out of square over {thickness_mm:.0f} mm of thickness",
        abs(lean_mm_per_m) * thickness_mm / 1000.0,
        uncertainty_mm_per_m * thickness_mm / 1000.0,
        "The blade's lean times the board's thickness.",
    )


def edge_tipped(height_mm: float, uncertainty_mm: float, reach_mm: float, thickness_mm: float) -> Shown:
    """A panel whose far side lies ``height_mm`` off on the outrigger is tipped by height / reach: so is its edge."""
    tip = thickness_mm / reach_mm
    return Shown(
        "outrigger",
        f"edge out of square over {thickness_mm:.0f} mm, a panel reaching {reach_mm:.0f} mm to the outrigger",
        abs(height_mm) * tip,
        uncertainty_mm * tip,
        "The panel is tipped by height over reach.",
    )


def length_error(offset_mm: float, uncertainty_mm: float) -> Shown:
    """Parts come out by the stop's error."""
    return Shown("length", "error of a part's length", abs(offset_mm), uncertainty_mm, "Stop and scale as they read.")


def groove_square(tilt_mm_per_m: float, uncertainty_mm_per_m: float, depth_mm: float) -> Shown:
    """A rebate's wall leans with the spindle: tilt times its height."""
    return Shown(
        "upright",
        f"wall of a rebate {depth_mm:.0f} mm high out of square",
        tilt_mm_per_m * depth_mm / 1000.0,
        uncertainty_mm_per_m * depth_mm / 1000.0,
        "The spindle's lean to the carriage, where the work rides.",
    )


def sag_under(flatness_mm: float, uncertainty_mm: float) -> Shown:
    """A limp board lies down into a hollow table: over the cutter its depth is out by as much at the worst; a stiff one
    bridges it."""
    return Shown(
        "sag", "change of depth of a limp board on the table", flatness_mm, uncertainty_mm,
        "A limp board follows the table; a stiff one bridges it.",
    )  # fmt: skip


def worth_correcting(shown: Shown, visible_mm: float = 0.05) -> bool:
    """More than a hand feels or light shows at a joint (0.05 mm: common practice, no source), doubt taken off."""
    return math.isfinite(shown.size_mm) and shown.size_mm - shown.uncertainty_mm > visible_mm
