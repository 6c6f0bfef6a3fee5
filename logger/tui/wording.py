"""How numbers, states and moves are said: every word of the screen that carries a number is made here.

Why it exists: a sign left out in one place or a unit guessed in another costs someone a day. Heights and errors carry
their sign, widths never do; a value and its uncertainty share decimals and unit; the state is a word with an amount.
Lengths come in millimetres and slopes in mm/m; what the reader sees is mm or thou, never both at one size.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from fractions import Fraction
from typing import Literal

from logger.tui.glyphs import Alphabet
from logger.wording import MM_PER_THOU, THOU_PER_FOOT_IN_MM_PER_M, decimals_for, number, position

WRENCH_MM = 200.0
"""Length of the wrench a small turn is explained with where the machine file names none."""

StateWord = Literal["inside", "high", "low", "cannot tell", "lost", "none"]


@dataclass(frozen=True, slots=True)
class Units:
    """How lengths are shown: ``mm`` or ``in`` (heights in thou, positions in sixteenths of an inch)."""

    mode: Literal["mm", "in"] = "mm"
    quantity: Literal["mm", "mm/m"] = "mm"

    @property
    def unit(self) -> str:
        """The unit word that stands after a value."""
        if self.quantity == "mm/m":
            return "mm/m" if self.mode == "mm" else "thou/ft"
        return "mm" if self.mode == "mm" else "thou"

    @property
    def factor(self) -> float:
        """What a stored value is multiplied by for showing."""
        if self.mode == "mm":
            return 1.0
        return THOU_PER_FOOT_IN_MM_PER_M if self.quantity == "mm/m" else 1 / MM_PER_THOU

    def other(self) -> Units:
        """The second voice."""
        return Units("in" if self.mode == "mm" else "mm", self.quantity)

    def decimals(self, uncertainty: float | None = None) -> int:
        """How many decimals are shown."""
        if self.mode == "in":
            return 1
        if self.quantity == "mm/m":
            return 2
        return 3 if uncertainty is None else decimals_for(uncertainty)

    def height(self, value: float | None, uncertainty: float | None = None) -> str:
        """A height or an error, sign always: ``+0.104``."""
        if value is None or not math.isfinite(value):
            return "not known"
        return number(value * self.factor, self.decimals(uncertainty), sign=True)

    def width(self, value: float | None, uncertainty: float | None = None) -> str:
        """A width (peak to valley, a gap), never a sign: ``0.109``."""
        if value is None or not math.isfinite(value):
            return "not known"
        return number(abs(value) * self.factor, self.decimals(uncertainty), sign=False)

    def pm(self, uncertainty: float | None) -> str:
        """The uncertainty: ``±0.004``."""
        if uncertainty is None or not math.isfinite(uncertainty):
            return "± not known"
        decimals = self.decimals(uncertainty)
        never_nothing = max(uncertainty * self.factor, 10.0**-decimals)
        return "±" + number(never_nothing, decimals, sign=False)

    def position(self, x_mm: float) -> str:
        """A place along the rail: whole mm, or inches to a sixteenth."""
        return position(x_mm, self.mode).removesuffix(" mm")


def rate(per_second: float) -> str:
    """Readings per second, said with what the eye can use."""
    return f"{per_second:.0f}/s" if per_second >= 9.5 else f"{per_second:.1f}/s"


def ago(seconds: float) -> str:
    """How long since: ``12 s``, ``3 min``, ``2 h``."""
    if seconds < 120:
        return f"{max(0, seconds):.0f} s"
    return f"{seconds / 60:.0f} min" if seconds < 7200 else f"{seconds / 3600:.0f} h"


@dataclass(frozen=True, slots=True)
class State:
    """A state of the live number: the word that decides shape and colour, and the sentence with its amount."""

    word: StateWord
    sentence: str


def live_state(height: float, uncertainty: float, lower: float, upper: float, units: Units) -> State:
    """Where a height stands against two limits: inside, high, low, or a limit within its ±."""
    far = 4 * (upper - lower)
    if height > upper + uncertainty or height < lower - uncertainty:
        word: StateWord = "high" if height > upper else "low"
        amount = height - upper if height > upper else lower - height
        name = f"far {word}, by" if amount > far else f"{word} by"
        return State(word, f"{name} {units.width(amount)}")
    if height > upper - uncertainty or height < lower + uncertainty:
        return State("cannot tell", "cannot tell, limit within ±")
    return State("inside", "inside")


def target_state(to_go: float, tolerance: float, units: Units) -> State:
    """Where the carriage stands against the height to stop at. ``to_go`` + : it must still rise."""
    if abs(to_go) <= tolerance:
        return State("inside", "here: stop, and hold it with the lock nut")
    word: StateWord = "low" if to_go > 0 else "high"
    return State(word, f"{units.width(to_go)} to go, {'raise' if to_go > 0 else 'lower'}")


def astray_state(further: float, to_go: float, units: Units, rests: bool) -> State:
    """The carriage is ``further`` from the height to stop at than before the turn: going on would only spoil more.

    A bolt that holds both ways is turned back and on, after its display; a foot that only ``rests`` is left there.
    """
    told = f"runs the other way by {units.width(further)}: {'stop' if rests else 'turn back'}"
    return State("low" if to_go > 0 else "high", told)


def fraction_of_turn(turns: float) -> str:
    """A turn as a hand thinks of it: ``1/16``, ``2/3``, ``1 1/4``."""
    amount = abs(turns)
    if amount < 0.004:
        return "less than 1/250"
    if amount < 0.17:
        below = 1 / amount
        step = 1 if below < 12 else 2 if below < 24 else 5 if below < 60 else 10
        return f"1/{round(below / step) * step}"
    whole, rest = divmod(Fraction(amount).limit_denominator(6 if amount > 0.4 else 8), 1)
    if not rest:
        return str(whole)
    return f"{whole} {rest}" if whole else str(rest)


def way_of_turning(raises: str, seen_from: str, raise_mm: float) -> str:
    """``clockwise from below``: which way the bolt goes for a rise (or a fall) of ``raise_mm``."""
    other = "anticlockwise" if raises == "clockwise" else "clockwise"
    return f"{raises if raise_mm >= 0 else other} from {seen_from}"


def wrench_way(turns: float, wrench_mm: float) -> str:
    """A turn too small to judge by eye, as the way the wrench's end goes; empty for turns one can see."""
    if abs(turns) >= 1 / 24 or abs(turns) < 1e-4:
        return ""
    way = abs(turns) * 2 * math.pi * wrench_mm
    return f"{way:.0f} mm at the end of a {wrench_mm:.0f} mm wrench"


def arrow(raise_mm: float, units: Units, letters: Alphabet, *, words: bool = False) -> str:
    """A move: ``↑0.09`` in a picture, ``↑ 0.09 up`` in a table."""
    sign = letters.up if raise_mm >= 0 else letters.down
    amount = number(abs(raise_mm) * units.factor, 2 if units.mode == "mm" else 1, sign=False)
    if not words:
        return f"{sign}{amount}" if len(sign) == 1 else f"{sign} {amount}"
    return f"{sign} {amount} {'up' if raise_mm >= 0 else 'down'}" if len(sign) == 1 else f"{amount} {sign}"


def chance(share: float) -> str:
    """A chance in words that do not pretend: ``88 in 100``, at most ``99 in 100``."""
    return f"{min(99, max(1, round(share * 100)))} in 100"


def joined(parts: list[str]) -> str:
    """``a, b and c``."""
    return parts[0] if len(parts) == 1 else f"{', '.join(parts[:-1])} and {parts[-1]}" if parts else ""


CAUTIONS = (
    ("power off", "Isolate the machine from its supply and lock it out. Blade and cutter block have stopped."),
    ("carriage parked and clamped", "The carriage stands at {park} and cannot roll. Nobody leans on it."),
    ("one support at a time", "Slack only the nut of {bolt}. Never slack all supports at once: the rail can drop."),
    ("hands and cables", "Stand and cable clear of the carriage. A prop under the rail before a brace is loosened."),
    ("maker's manual first", "What the maker's manual and local rules say goes before what this screen says."),
)
"""Shown before a bolt is touched; common practice, no source."""

SWEEP_CAUTIONS = "Power isolated and locked out, blade and cutter still, cable and stand clear."
AFTER_CAUTIONS = "Guards and riving knife back in place before any test cut."
