"""What was noted of the surroundings: temperature, and remarks.

Why it exists: a rail moves with the seasons, and a figure from a cold January shop is not comparable with one from
July. Nothing measures the room here; somebody writes it down (``truestroke note``), and it is told with what it was
written for. It prevents a temperature from another day being held against a sweep.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from logger.journal import JournalEntry

NEAR_HOURS = 12.0
"""A temperature holds for what was measured so long before or after it (common practice, no source)."""
COLDEST_C, HOTTEST_C = -40.0, 60.0


@dataclass(frozen=True, slots=True)
class Noted:
    """One note: when (ISO 8601, UTC), by whom, the temperature in degrees Celsius if there is one, and the words."""

    time: str
    who: str
    temperature_C: float | None
    text: str


def noted_in(entries: Sequence[JournalEntry]) -> tuple[Noted, ...]:
    """The notes among standing entries, oldest first; a temperature that cannot be is left out."""
    found = []
    for entry in entries:
        if entry.kind != "note":
            continue
        value = entry.data.get("temperature_C")
        ok = isinstance(value, int | float) and not isinstance(value, bool) and math.isfinite(value)
        temperature = float(value) if ok and COLDEST_C <= value <= HOTTEST_C else None  # type: ignore[operator,arg-type]
        text = entry.data.get("text")
        found.append(Noted(entry.time, entry.who, temperature, text[:2000] if isinstance(text, str) else ""))
    return tuple(found)


def temperature_at(noted: Sequence[Noted], time: str) -> float | None:
    """The nearest noted temperature within ``NEAR_HOURS`` of ``time``; None where there is none."""
    at = hours_of(time)
    if at is None:
        return None
    near = [
        (abs(hours - at), note.temperature_C)
        for note in noted
        if note.temperature_C is not None and (hours := hours_of(note.time)) is not None
    ]
    best = min(near, default=None)
    return best[1] if best is not None and best[0] <= NEAR_HOURS else None


def hours_of(time: str) -> float | None:
    """Hours since 1970 of an ISO 8601 time with its zone; None where it is none."""
    try:
        at = datetime.fromisoformat(time)
        return at.timestamp() / 3600.0 if at.tzinfo is not None else None
    except (ValueError, OverflowError, OSError):
        return None
