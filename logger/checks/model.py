"""The frozen records of the checks: what is asked, what is allowed, what rests on what, what came out.

Why it exists: command line, screen and report tell the same check. It prevents a caution that stands in one of them
only, and a limit without its origin.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import Literal

COMMON_PRACTICE = "common practice, no source"

Unit = Literal["mm", "mm/m", "deg", ""]
State = Literal["not measured", "inside", "outside", "cannot tell", "stale"]
VERDICTS = ("inside", "outside", "cannot tell")


@dataclass(frozen=True, slots=True)
class Ask:
    """One reading a check asks for, typed as ``key=value``.

    ``unit`` is what a bare number means; ``usual`` the sizes (without sign) that are believed without asking.
    ``words``: one of these instead of a number. ``many``: a list. Not ``needed``: taken as ``default`` or left out.
    ``only``: asked for only when another key is one of these words. ``default_word``: taken where no word is given.
    ``feeler``: a gap may be typed as ``0.10..0.15``, the leaf that goes and the one that does not. ``name``: any short
    name, as the label of a fence position.
    """

    key: str
    unit: Unit
    text: str
    usual: tuple[float, float] = (0.0, float("inf"))
    words: tuple[str, ...] = ()
    many: bool = False
    needed: bool = True
    default: float | None = None
    only: tuple[str, tuple[str, ...]] | None = None
    default_word: str = ""
    feeler: bool = False
    name: bool = False


ENDS = Ask("ends", "", "the readings' ends, where they are doubted", words=("right", "swapped"), needed=False)


@dataclass(frozen=True, slots=True)
class Allowed:
    """Limits (None: none on that side) in the check's unit, and where they come from."""

    lower: float | None
    upper: float | None
    unit: Unit
    origin: str


@dataclass(frozen=True, slots=True)
class Because:
    """Another check and the reason, by geometry, why this one rests on it (or is left alone by it)."""

    check: str
    reason: str


@dataclass(frozen=True, slots=True)
class Check:
    """One measurement of the alignment: ``quantity`` is what is judged; cautions are shown before the ``steps``.

    ``rests_on`` is the order of work. ``disturbs``: what adjusting this one may spoil underneath. ``ends``: keys that
    change places when the ends were swapped (twice the same: its list is read backwards).
    """

    name: str
    title: str
    quantity: str
    needs: str
    steps: tuple[str, ...]
    cautions: tuple[str, ...]
    asks: tuple[Ask, ...]
    allowed: Allowed
    rests_on: tuple[Because, ...] = ()
    left_alone_by: tuple[Because, ...] = ()
    disturbs: tuple[Because, ...] = ()
    ends: tuple[tuple[str, str], ...] = ()


@dataclass(frozen=True)
class Readings:
    """What was typed, in the unit of each ask: numbers by key (a tuple each) and words by key.

    ``halves``: for keys typed as feelers, half of each interval (0 for a plain number); the number is its middle.
    ``known``: what other checks gave last and still holds, by name: value and expanded uncertainty in their unit.
    """

    numbers: Mapping[str, tuple[float, ...]]
    words: Mapping[str, str]
    warnings: tuple[str, ...] = ()
    halves: Mapping[str, tuple[float, ...]] = field(default_factory=dict)
    known: Mapping[str, tuple[float, float]] = field(default_factory=dict)

    def one(self, key: str) -> float:
        return self.numbers[key][0]

    def maybe(self, key: str) -> float | None:
        return self.numbers[key][0] if key in self.numbers else None

    def ends_swapped(self, pairs: tuple[tuple[str, str], ...]) -> Readings:
        """The same readings with what was read at one end put down for the other."""
        numbers, halves = dict(self.numbers), dict(self.halves)
        for one, other in pairs:
            for table in (numbers, halves):
                if one == other and one in table:
                    table[one] = table[one][::-1]
                elif one in table or other in table:
                    table[one], table[other] = table.get(other, ()), table.get(one, ())
        halves = {key: values for key, values in halves.items() if values}
        return replace(self, numbers=numbers, halves=halves)

    def uncertainties(self, key: str, of_one: float) -> tuple[float, ...]:
        """Expanded uncertainty (k = 2) of each number of a key: ``of_one``, and for feelers that of the interval.

        Any gap between the two leaves is as likely as any other: half / sqrt(3) (JCGM 100:2008, 4.3.7).
        """
        halves = self.halves.get(key, (0.0,) * len(self.numbers[key]))
        return tuple(math.hypot(of_one, 2.0 * half / math.sqrt(3.0)) if half else of_one for half in halves)


@dataclass(frozen=True, slots=True)
class Correction:
    """One screw, bolt or foot: ``move_mm`` (never negative) the ``way`` it says; ``turns`` None: pitch not known."""

    where: str
    move_mm: float
    way: str
    uncertainty_mm: float | None = None
    turns: float | None = None
