"""What to say to the person who pushes: how fast, what is still unseen, and which stretch to sweep again.

Why it exists: a weak stretch found after the instrument was packed away means setting up again. It prevents a whole
sweep being repeated for a hole of a hand's width: the stations that enclose the hole are enough, and the findings join
both sweeps.
"""

from __future__ import annotations

from collections.abc import Sequence

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
