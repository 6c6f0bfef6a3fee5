"""A check's value, limits and corrections in words, and its readings as the journal keeps them.

Why it exists: command line, screen and report say the same check, so it is worded once; and one entry of the journal
must be the same whoever typed the readings.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any

from analysis.verdict import judge
from logger.wording import amount, number, state

if TYPE_CHECKING:
    from collections.abc import Sequence

    from logger.checks.board import Row
    from logger.checks.model import Allowed, Check, Correction
    from logger.checks.result import Result
    from logger.checks.typed import Typed
    from logger.wording import Units


def adjusted_data(check: Check, typed: Typed) -> dict[str, Any]:
    """What a ``taken`` entry holds that has no readings: a thing was corrected (all of it or a part), or left out."""
    if typed.skip is not None:
        return {"check": check.name, "skipped": typed.skip}
    position = typed.readings.words.get("position")
    return {
        "check": check.name,
        "adjusted": True,
        **({"part": typed.part} if typed.part != 1.0 else {}),
        **({"words": {"position": position}} if position else {}),
    }


def taken_data(check: Check, typed: Typed, result: Result, texts: Sequence[str]) -> dict[str, Any]:
    """What a ``taken`` entry holds."""
    verdict = result.verdict
    return {
        "check": check.name,
        "typed": list(texts),
        "numbers": {key: list(values) for key, values in typed.readings.numbers.items()},
        **({"halves": {k: list(v) for k, v in typed.readings.halves.items()}} if typed.readings.halves else {}),
        "words": dict(typed.readings.words),
        "value": verdict.value,
        "uncertainty": verdict.uncertainty,
        "unit": verdict.unit,
        "verdict": verdict.word,
        "reason": verdict.reason,
        "allowed": typed.allowed,
        "own_limits": typed.own_limits,
        "corrections": result.corrections,
        "details": {key: each for key, each in result.details.items() if _plain(each)},
        **({"accepted": result.details["accepted"]} if "accepted" in result.details else {}),
    }


def _plain(value: Any) -> bool:
    """A figure or a word; lists and what could not be told stay with the answer."""
    return isinstance(value, str) or (isinstance(value, int | float) and math.isfinite(value))


def verdict_line(result: Result, allowed: Allowed, units: Units) -> str:
    """The verdict with its value, its limit and where the limit comes from."""
    verdict = result.verdict
    if not allowed.unit:
        return f"{state(verdict.word)}. {verdict.reason}"
    value = value_words(verdict.value, verdict.uncertainty, allowed, units)
    own = judge(verdict.value, verdict.uncertainty, allowed.lower, allowed.upper).word
    # a condition beside the check's own quantity decided: that the figure is inside must not look like a mistake
    decided = "" if own == verdict.word else "not by its own figure, "
    return f"{state(verdict.word)}, {decided}{value}; allowed {limits_words(allowed, units)} ({allowed.origin})"


def value_words(value: float | None, uncertainty: float | None, allowed: Allowed, units: Units) -> str:
    """``+0.04 ±0.03 mm``; nothing for a check that has no figure."""
    if value is None or not allowed.unit:
        return ""
    return amount(value, uncertainty, allowed.unit, units, sign=allowed.lower is not None)


def limits_words(allowed: Allowed, units: Units) -> str:
    """``at most 0.10 mm``, ``±0.10 mm/m``, ``0.00 to 0.20 mm/m``."""
    if not allowed.unit or allowed.upper is None:
        return "yes"
    upper = amount(allowed.upper, None, allowed.unit, units, sign=False)
    if allowed.lower is None:
        return f"at most {upper}"
    if allowed.lower == -allowed.upper:
        return f"±{upper}"
    return f"{amount(allowed.lower, None, allowed.unit, units, sign=False).split()[0]} to {upper}"


def standing(row: Row) -> str:
    """The state of a check, or that it was left out on purpose."""
    return "left out" if row.skipped else row.state


def look_again_words(row: Row) -> str:
    """When something that was pushed wants measuring again; empty where nothing does."""
    if row.look_again is None:
        return ""
    when = row.look_again.astimezone().strftime("%Y-%m-%d %H:%M")
    said = f"it gives way again after it was pushed; measure it from {when} on"
    return f"{said}, which has passed." if row.late else f"{said}."


def correction_lines(corrections: tuple[Correction, ...], units: Units) -> list[str]:
    """One line for each foot, bolt or screw to move."""
    lines = []
    for each in corrections:
        turns = "" if each.turns is None else f", {number(each.turns, 2, sign=False)} turn of its screw"
        moved = amount(each.move_mm, each.uncertainty_mm, "mm", units, sign=False)
        lines.append(f"  {each.where}: {moved} {each.way}{turns}")
    return lines
