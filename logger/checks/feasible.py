"""Can these readings decide that limit at all, and if not, which instrument could?

Why it exists: a rule that reads half a millimetre cannot judge a tenth, however often it is laid on. It prevents an
afternoon of readings that end in "cannot tell": before it, or at once after it, the instrument that would do is named.

An instrument decides a limit when its readings leave at most half of it in doubt (ISO 14253-1: inside only by more than
the uncertainty; half is left to be called good in). What each instrument leaves is common practice, no source.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from logger.errors import NotAllowed

if TYPE_CHECKING:
    from analysis.results import Verdict
    from logger.checks.model import Allowed, Check, Readings

ENOUGH = 0.5
"""The part of a limit that may be in doubt."""

INSTRUMENTS: dict[str, tuple[tuple[float, str], ...]] = {
    "mm": (
        (0.5, "a tape"),
        (0.2, "a steel rule"),
        (0.05, "calipers of 0.02 mm"),
        (0.03, "feelers in steps of 0.05 mm"),
        (0.012, "a dial indicator of 0.01 mm"),
        (0.004, "an indicator of 0.001 mm"),
        (0.002, "an indicator of 0.001 mm, every place read five times"),
    ),
    "mm/m": (
        (0.5, "a carpenter's level"),
        (0.1, "a level of 0.1 mm/m"),
        (0.05, "an electronic level of 0.05 mm/m"),
        (0.02, "a machine level of 0.02 mm/m"),
        (0.005, "an electronic level of 0.001 mm/m, at rest"),
    ),
    "deg": ((0.2, "an inclinometer of 0.1 degrees"), (0.05, "one of 0.01 degrees")),
}
"""Expanded uncertainty of one reading by hand, coarse to fine."""

DOUBTS = ("u", "u_level", "u_deg", "tape", "depth_u")
"""The keys by which a check is told the uncertainty of one reading."""


@dataclass(frozen=True, slots=True)
class Feasible:
    """``decides``: these readings can; else ``needs`` is the uncertainty of the result that could, and ``instrument``
    names one that would (empty: none does; it takes a longer base or more readings)."""

    decides: bool
    needs: float
    instrument: str
    sentence: str


def room(allowed: Allowed) -> float | None:
    """Half of what lies between the limits, or the one limit there is; None where there is none."""
    if allowed.upper is None:
        return None
    if allowed.lower is None:
        return allowed.upper
    return (allowed.upper - allowed.lower) / 2.0


def deciding(allowed: Allowed) -> float | None:
    """The expanded uncertainty of a result that can decide this limit; None where there is none to decide."""
    half = room(allowed)
    return ENOUGH * half if half is not None and half > 0.0 and allowed.unit else None


def of_result(
    check: Check, readings: Readings, allowed: Allowed, verdict: Verdict, again: Callable[[Readings], Verdict]
) -> Feasible | None:
    """Whether the readings taken decide the limit; ``again`` judges the same readings with another uncertainty.

    None where there is no limit to decide, or nothing whose uncertainty could be another.
    """
    needs = deciding(allowed)
    asks = [ask for ask in check.asks if ask.key in DOUBTS and ask.key in readings.numbers]
    if needs is None or not asks or not verdict.unit:
        return None
    if verdict.uncertainty <= needs:
        return Feasible(True, needs, "", "")
    said = f"These readings leave ±{verdict.uncertainty:.3g} {allowed.unit}, too much to decide the limit"
    for ask in asks:
        found = _finer(ask.key, ask.unit, readings, needs, again)
        if found:
            return Feasible(False, needs, found, f"{said}: {found} would.")
    tail = "A finer instrument alone would not do; a longer base, more places or repeated readings would"
    return Feasible(False, needs, "", f"{said}. {tail}.")


def _finer(key: str, unit: str, readings: Readings, needs: float, again: Callable[[Readings], Verdict]) -> str:
    """The coarsest instrument, finer than what was used, that brings the result's uncertainty down to ``needs``."""
    used = readings.one(key)
    for doubt, name in INSTRUMENTS.get(unit, ()):
        if doubt >= used:
            continue
        finer = replace(readings, numbers={**readings.numbers, key: (doubt,)}, halves={})
        try:
            enough = again(finer).uncertainty <= needs
        except NotAllowed:  # finer readings would contradict one another: then these are not to be had finer
            continue
        if enough:
            return name
    return ""
