"""A move in the words of somebody with a wrench in hand: "1/16 clockwise from below".

Why it exists: a decimal of a turn cannot be made by hand, and "clockwise" means nothing until it is said from where.
It prevents the bolt being turned the wrong way, which in the first minutes of an alignment is the commonest mistake.
"""

from __future__ import annotations

import math
from fractions import Fraction
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from analysis.results import Move
    from logger.machines import Bolt

PARTS = (1, 2, 3, 4, 6, 8, 12, 16)
SMALL_PARTS = (18, 20, 24, 30, 36, 40, 50, 60, 80, 100)
JUDGED_BY_EYE = 1.0 / 20.0
"""A smaller part of a turn is also said as the way of the wrench's end (common practice, no source)."""


def turn_words(bolt: Bolt, raise_mm: float, wrench_length_mm: float) -> str:
    """How to turn ``bolt`` so that it rises by ``raise_mm`` (+ up): part of a turn, which way, seen from where.

    >>> # 0.094 mm up on a 1.5 mm thread: "1/16 clockwise from below"
    """
    turns = abs(raise_mm) / bolt.travel_per_turn_mm
    words = f"{fraction_words(turns)} {way_of_turning(bolt, raise_mm)} from {bolt.seen_from}"
    if turns < JUDGED_BY_EYE:
        length = bolt.wrench_length_mm or wrench_length_mm
        words += f", {2.0 * math.pi * length * turns:.0f} mm at the end of a {length:.0f} mm wrench"
    return words


def way_of_turning(bolt: Bolt, raise_mm: float) -> str:
    """Clockwise or anticlockwise, seen from where the bolt's description says."""
    if raise_mm >= 0:
        return bolt.raises
    return "anticlockwise" if bolt.raises == "clockwise" else "clockwise"


def most_words(bolt: Bolt, raise_at_most_mm: float | None) -> str:
    """How far ``bolt`` is turned at most, whatever the display shows: "1/6 turn"; "" where nothing was said."""
    if raise_at_most_mm is None:
        return ""
    turns = abs(raise_at_most_mm) / bolt.travel_per_turn_mm
    return f"{fraction_words(turns)} turn{'s' if turns > 1.0 else ''}"


def turn_and_most_words(bolt: Bolt, move: Move) -> str:
    """The turn of a move and where it ends at the latest, for a page that has no room for steps."""
    most = most_words(bolt, move.raise_at_most_mm)
    return f"{move.turn}; stop after {most}" if most else move.turn


def typed_turns(turns: float) -> str:
    """The same as it is typed: "1/16", "2/3", "5/4"."""
    whole, _, part = fraction_words(turns).rpartition(" ")
    if not whole:
        return part
    above, below = part.split("/")
    return f"{int(whole) * int(below) + int(above)}/{below}"


def fraction_words(turns: float) -> str:
    """The simplest fraction within a twelfth of the part (or the nearest): "1/16", "2/3", "1 1/4"."""
    whole, rest = divmod(turns, 1.0)
    choices = [Fraction(n, d) for d in PARTS for n in range(d + 1)] if turns > 1.0 / 17.0 else []
    choices += [Fraction(1, d) for d in SMALL_PARTS] if turns < 1.0 / 15.0 else []
    close = [choice for choice in choices if abs(float(choice) - rest) <= max(rest, 0.02 * turns) / 12.0]
    if close:
        best = min(close, key=lambda choice: (choice.denominator, abs(float(choice) - rest)))
    else:
        best = min(choices, key=lambda choice: abs(float(choice) - rest))
    total = int(whole) + best
    whole_part, part = divmod(total, 1)
    if part == 0:
        return f"{whole_part}"
    return f"{part}" if whole_part == 0 else f"{whole_part} {part}"
