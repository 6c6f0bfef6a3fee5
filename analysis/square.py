"""Is the cross-cut square? Cut tests that multiply the fence's error, and the screw movement that takes it out.

Why it exists: nobody can measure a tenth of a millimetre per metre with a square, but cuts add up: a panel turned and
cut again collects the error once a cut. It prevents the three classic mistakes: dividing by the wrong number, losing
the sign (the strip cut off tapers the other way than the panel that is kept), and turning the fence's screw the same
way for a fence in front of the board as for one behind it.

The error is that of the corner between the fence and the fresh cut on the part that stays on the carriage, in mm/m,
+ when that corner is obtuse. All formulas are derived by geometry (small angles: relative error 1e-4 at 2 mm/m) and
held against an exact polygon cutter; dividing by four after five cuts is common practice.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

FenceSide = Literal["behind", "in front"]

ADDED_UP = {"three": 2, "over": 2, "five": 4, "seven": 6}
"""How many times the error is between the two edges measured: once for every cut made against an earlier one."""


@dataclass(frozen=True, slots=True)
class Squareness:
    """``error_mm_per_m`` + when the kept corner is obtuse; ``uncertainty_mm_per_m`` expanded (k = 2)."""

    error_mm_per_m: float
    uncertainty_mm_per_m: float


@dataclass(frozen=True, slots=True)
class CutTest:
    """A cut test, how many cuts it takes, what it would leave uncertain (expanded), and whether that decides."""

    name: str
    cuts: int
    uncertainty_mm_per_m: float
    decides: bool
    sentence: str


@dataclass(frozen=True, slots=True)
class FenceScrew:
    """What the fence's screw must move. ``toward_outfeed_mm`` is the fence at the screw; ``turns`` None: no pitch."""

    toward_outfeed_mm: float
    uncertainty_mm: float
    turns: float | None


def from_kept_panel(
    fence_end_mm: float, far_end_mm: float, length_mm: float, calipers_mm: float, seating_mm_per_m: float = 0.0
) -> Squareness:
    """Three cuts: two opposite sides of the panel that is kept, both cut square to the same edge.

    Either the panel is turned twice (cut, turn, cut, turn, cut) or turned over with the same reference edge against
    the fence. Both corners are 90 degrees + error, so the panel is wider away from the edge that lay on the fence:
    error = (far - fence end) / (2 length). ``length_mm`` is between the two measured places; ``calipers_mm`` the
    expanded uncertainty of one width; ``seating_mm_per_m`` that of laying the panel against the fence, once a cut.
    """
    taper = 1000.0 * (far_end_mm - fence_end_mm) / _length(length_mm)
    return Squareness(taper / 2.0, _doubt(2, 2, length_mm, calipers_mm, seating_mm_per_m))


def from_strip(
    fence_end_mm: float, far_end_mm: float, length_mm: float, calipers_mm: float, seating_mm_per_m: float = 0.0
) -> Squareness:
    """Five cuts: a strip cut off along the first edge; its width where it lay on the fence, and at its far end.

    Four corners have been added up, and what the panel has gained the strip has lost: error = (fence end - far) /
    (4 length). Arguments as in ``from_kept_panel``.
    """
    taper = 1000.0 * (fence_end_mm - far_end_mm) / _length(length_mm)
    return Squareness(taper / 4.0, _doubt(4, 2, length_mm, calipers_mm, seating_mm_per_m))


def from_strip_and_panel(
    strip_fence_end_mm: float,
    strip_far_end_mm: float,
    panel_fence_end_mm: float,
    panel_far_end_mm: float,
    length_mm: float,
    calipers_mm: float,
    seating_mm_per_m: float = 0.0,
    panel_length_mm: float | None = None,
) -> Squareness:
    """Seven cuts: the strip of the fifth cut and the panel left between the fifth and the seventh.

    Edges one and seven are six errors out of parallel, but edge one has gone with the strip: the strip's taper (four)
    and the panel's (two), each over its own length, are added: error = sum / 6. It takes four widths, which is why it
    gains so little. ``panel_length_mm``: between the panel's two measured places, where it is not the strip's.
    """
    kept = length_mm if panel_length_mm is None else panel_length_mm
    tapers = (strip_fence_end_mm - strip_far_end_mm) / _length(length_mm)
    tapers += (panel_far_end_mm - panel_fence_end_mm) / _length(kept)
    shorter = min(length_mm, kept)
    return Squareness(1000.0 * tapers / 6.0, _doubt(6, 4, shorter, calipers_mm, seating_mm_per_m))


def from_diagonals(
    through_last_corner_mm: float,
    other_mm: float,
    side_mm: tuple[float, float],
    tape_mm: float,
    seating_mm_per_m: float = 0.0,
) -> Squareness:
    """Four cuts: three corners of 90 degrees + error and one, where the last cut meets the first, of 90 - 3 x error.

    The diagonal through that last corner is longer by 2 x error x a x b / diagonal. The second corner's error falls
    out of it, so two seatings count. ``side_mm`` are the panel's sides, ``tape_mm`` the expanded uncertainty of one
    diagonal.
    """
    a, b = (_length(side) for side in side_mm)
    gain = 1000.0 * math.hypot(a, b) / (2.0 * a * b)
    doubt = math.hypot(gain * math.sqrt(2.0) * tape_mm, seating_mm_per_m / math.sqrt(2.0))
    return Squareness(gain * (through_last_corner_mm - other_mm), doubt)


@dataclass(frozen=True, slots=True)
class Seating:
    """How a fence comes back when it is taken off and put on again, from ``times`` refits.

    ``standard_mm_per_m`` is the spread of one refit (k = 1); ``uncertainty_mm_per_m`` is how far, at 95 %, the next one
    may be from the one the cuts were made with: t(times - 1) x sqrt(2) x spread.
    """

    times: int
    standard_mm_per_m: float
    uncertainty_mm_per_m: float


def seating_from_refits(readings_mm: Sequence[float], from_pivot_mm: float) -> Seating:
    """An indicator touches the fence ``from_pivot_mm`` from its pivot; one reading after each refit, three or more.

    Student's t, because three or five refits know their own spread badly (JCGM 100:2008, G.3).
    """
    from scipy.special import stdtrit

    times = len(readings_mm)
    if times < 3:
        raise ValueError(f"{times} refits show no spread worth a figure; three or more are needed, five are better.")
    mean = math.fsum(readings_mm) / times
    spread = math.sqrt(math.fsum((each - mean) ** 2 for each in readings_mm) / (times - 1))
    standard = 1000.0 * spread / abs(_length(abs(from_pivot_mm)))
    return Seating(times, standard, float(stdtrit(times - 1, 0.975)) * math.sqrt(2.0) * standard)


def length_that_decides(
    added_up: int, widths: int, calipers_mm: float, seating_mm_per_m: float, allowed_mm_per_m: float
) -> float | None:
    """How long the panel must be for this test to decide (U at most half the limit); None: none is long enough.

    Laying the panel on costs the same on every panel: what it leaves has to be enough for the calipers.
    """
    left = (0.5 * allowed_mm_per_m) ** 2 - seating_mm_per_m**2 / added_up
    if left <= 0:
        return None
    return 1000.0 * math.sqrt(widths) * calipers_mm / added_up / math.sqrt(left)


def out_of_square_mm(error_mm_per_m: float, panel_mm: float) -> float:
    """What the error comes to over a panel ``panel_mm`` along the cut: how far off its corner is."""
    return error_mm_per_m * panel_mm / 1000.0


def cut_tests_for(
    side_mm: tuple[float, float],
    calipers_mm: float,
    calipers_open_mm: float,
    tape_mm: float,
    seating_mm_per_m: float,
    allowed_mm_per_m: float,
) -> tuple[CutTest, ...]:
    """The cut tests this panel and these calipers can do, the least work first; ``decides``: U at most half the limit.

    A kept panel's width needs calipers that open as wide as its shorter side. Half the limit leaves half of it in
    which a good fence can be called good (ISO 14253-1: inside by more than the uncertainty).
    """
    length, width = max(_length(side) for side in side_mm), min(side_mm)
    choices = []
    wide = calipers_open_mm >= width
    if wide:
        choices.append(("over", 3, _doubt(2, 2, length, calipers_mm, seating_mm_per_m)))
        choices.append(("three", 3, _doubt(2, 2, length, calipers_mm, seating_mm_per_m)))
    choices.append(("four", 4, from_diagonals(0.0, 0.0, side_mm, tape_mm, seating_mm_per_m).uncertainty_mm_per_m))
    choices.append(("five", 5, _doubt(4, 2, length, calipers_mm, seating_mm_per_m)))
    if wide:
        choices.append(("seven", 7, _doubt(6, 4, length, calipers_mm, seating_mm_per_m)))
    return tuple(_choice(name, cuts, doubt, allowed_mm_per_m) for name, cuts, doubt in choices)


def worth_doing(choices: Sequence[CutTest]) -> CutTest:
    """The one with the fewest cuts that decides, or where none does the one that leaves least uncertain."""
    deciding = [choice for choice in choices if choice.decides]
    return deciding[0] if deciding else min(choices, key=lambda choice: choice.uncertainty_mm_per_m)


def fence_screw(
    found: Squareness, screw_from_pivot_mm: float, fence: FenceSide, pitch_mm: float | None = None
) -> FenceScrew:
    """Movement of the fence at its stop screw that makes the corner square.

    ``screw_from_pivot_mm`` + when the screw is farther from the blade than the pivot, - when nearer. Behind the board
    (the fence pushes it) an obtuse corner means the outer end is too far infeed: toward outfeed with it. In front of
    the board it is too far outfeed: the other way. Turns are movement over pitch, without sign: which way the screw
    must be turned depends on its seat, and the indicator shows it.
    """
    if fence not in ("behind", "in front"):
        raise ValueError(f"The fence is {fence!r}; allowed: behind, in front.")
    if screw_from_pivot_mm == 0:
        raise ValueError("The screw is at the pivot and moves nothing; its distance from the pivot is needed.")
    sense = 1.0 if fence == "behind" else -1.0
    movement = sense * found.error_mm_per_m * screw_from_pivot_mm / 1000.0
    turns = abs(movement) / pitch_mm if pitch_mm else None
    return FenceScrew(movement, found.uncertainty_mm_per_m * abs(screw_from_pivot_mm) / 1000.0, turns)


def _choice(name: str, cuts: int, doubt: float, allowed: float) -> CutTest:
    decides = doubt <= 0.5 * allowed
    tail = "enough" if decides else "too much"
    sentence = f"{cuts} cuts ({name}) would leave ±{doubt:.3f} mm/m, {tail} for {allowed:.3f} mm/m."
    return CutTest(name, cuts, doubt, decides, sentence)


def _doubt(added_up: int, widths: int, length_mm: float, calipers_mm: float, seating_mm_per_m: float) -> float:
    """Expanded: ``widths`` independent readings over ``added_up`` errors, and one seating for each of those errors."""
    calipers = 1000.0 * math.sqrt(widths) * calipers_mm / (added_up * _length(length_mm))
    return math.hypot(calipers, seating_mm_per_m / math.sqrt(added_up))


def _length(length_mm: float) -> float:
    if not length_mm > 0:
        raise ValueError(f"A length of {length_mm:g} mm cannot be; the distance between the measured places is needed.")
    return length_mm
