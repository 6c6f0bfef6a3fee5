"""What to say to the person who pushes: how fast, what is still unseen, and which stretch to sweep again.

Why it exists: a weak stretch found after the instrument was packed away means setting up again. It prevents a whole
sweep being repeated for a hole of a hand's width: the stations that enclose the hole are enough, and the findings join
both sweeps.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from logger.tui.trace import Trace
    from logger.tui.wording import Units

FASTEST_MM_PER_S = 150.0
"""A steady push (common practice, no source)."""
READING_EVERY_MM = 4.0
"""So close together readings are wanted: about what the analysis gathers into one."""
SLOWEST_MM_PER_S = 20.0
TOO_FAST = 1.4


def pace_mm_per_s(rate_per_s: float | None) -> float:
    """How fast to push an instrument that sends ``rate_per_s`` readings."""
    if rate_per_s is None or rate_per_s <= 0:
        return FASTEST_MM_PER_S
    return float(round(min(max(READING_EVERY_MM * rate_per_s, SLOWEST_MM_PER_S), FASTEST_MM_PER_S), -1))


def pace_words(rate_per_s: float | None, speed_mm_per_s: float | None) -> str:
    """``about 150 mm/s`` and, where it is much more, what it is now."""
    wanted = pace_mm_per_s(rate_per_s)
    said = f"about {wanted:.0f} mm/s"
    if speed_mm_per_s is None or speed_mm_per_s < 1.0:
        return said
    return f"{said}, now {speed_mm_per_s:.0f}: slower" if speed_mm_per_s > TOO_FAST * wanted else said


def stations_round(stretches: Sequence[tuple[float, float]], stations_mm: Sequence[float]) -> tuple[float, ...]:
    """The stations that enclose all of ``stretches``: the last one before, the first one after, those between."""
    if not stretches or len(stations_mm) < 2:
        return tuple(stations_mm)
    along = sorted(stations_mm)
    low, high = min(a for a, _ in stretches), max(b for _, b in stretches)
    first = max((x for x in along if x <= low), default=along[0])
    last = min((x for x in along if x >= high), default=along[-1])
    inside = tuple(x for x in along if first <= x <= last)
    return inside if len(inside) >= 2 else tuple(along[:2])


def stretch_words(stretches: Sequence[tuple[float, float]], most: int = 2) -> str:
    """``900 to 1240 mm, 1500 to 1600 mm and 1 more``."""
    said = ", ".join(f"{a:.0f} to {b:.0f} mm" for a, b in stretches[:most])
    more = len(stretches) - most
    return f"{said} and {more} more" if more > 0 else said


def push_words(trace: Trace, rate_hz: float | None, units: Units, *, at_stops: bool, by_position: bool) -> str:
    """What the person at the carriage does now. ``at_stops``: a level, which is read standing; ``by_position``: the
    lines carry the carriage's position, so that marks may be made and need not be."""
    end = "outfeed" if trace.now.direction > 0 else "infeed"
    if trace.now.complete:
        last = len(trace.passes) >= trace.wanted
        return "All marks made. Press enter." if last else "This pass is complete. Press enter, then come back."
    if by_position and not trace.now.marks_s:
        return f"It sends its position: no marks needed. Push to the {end} stop, then press enter."
    if not trace.now.marks_s:
        first = trace.now.stations_mm[0] if trace.now.stations_mm else 0.0
        pace = "stopping at each mark" if at_stops else pace_words(rate_hz, None)
        return f"Stand at {units.position(first)}, press space, push to the {end} stop, {pace}."
    if at_stops:
        return f"On to the {end} stop: stop at each mark, wait until it stands, press space."
    return f"On to the {end} stop, {pace_words(rate_hz, trace.speed_mm_per_s())}. Space at each mark."
