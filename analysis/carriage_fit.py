"""Does the carriage run on its rail without play, roundly, and back to the same place? Before any bolt is touched.

Why it exists: a carriage that rocks in its rollers, or one that rolls on a flat, moves the indicator by as much as the
band, and no bolt of the rail can take that out. It prevents an alignment that chases play: three short tests (lifting
and pressing, the same parked reading ten times, a part of the sweep that repeats with the roller's turn) are judged
before the first wrench.

Heights in mm, positions in mm along the rail. Uncertainties named ``uncertainty`` are expanded (k = 2).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from analysis.results import FloatArray
from analysis.stops import find_dwells

PART_OF_BAND = 1.0 / 3.0
"""Play above this part of the band makes the rest pointless (common practice, no source)."""
HARMONICS = 3
"""A flat spot is short: once a turn it strikes with its first few harmonics."""
SHORTEST_mm, LONGEST_mm = 50.0, 700.0
"""Rollers and wheels of saw carriages turn once in this much travel (common practice, no source)."""
STANDS_OUT = 3.0
"""Times the usual size at other periods, from which a period stands out of the rail's own waves."""
DIAMETER_KNOWN = 0.06
"""How well a caliper under a machine knows a roller, as a part of its diameter; wear and seat included."""


@dataclass(frozen=True)
class Play:
    """Height lifted minus height pressed at one place of the carriage; ``times`` it was tried."""

    place: str
    play_mm: float
    uncertainty_mm: float
    times: int


def play(place: str, lifted_mm: FloatArray, pressed_mm: FloatArray, standard_uncertainty_mm: float) -> Play:
    """Play from readings lifted and pressed by hand in turn (each (times,)), sign of the display aside.

    The scatter of repeated tries enters where there are two or more (type A, GUM 4.2). Raises ValueError where the two
    do not pair.
    """
    lifted, pressed = np.asarray(lifted_mm, float), np.asarray(pressed_mm, float)
    if len(lifted) != len(pressed) or not len(lifted):
        raise ValueError(
            f"{place}: {len(lifted)} readings lifted and {len(pressed)} pressed; they come in pairs, lifted first."
        )
    each = lifted - pressed
    standard = np.sqrt(2.0) * standard_uncertainty_mm
    if len(each) > 1:
        standard = float(np.hypot(standard / np.sqrt(len(each)), np.std(each, ddof=1) / np.sqrt(len(each))))
    return Play(place, abs(float(each.mean())), 2.0 * float(standard), len(each))


def play_in_recording(place: str, t_s: FloatArray, value_mm: FloatArray, resolution_mm: float = 0.0) -> Play:
    """Play from a recording in which somebody lifts, holds, presses, holds, and so on at one place.

    The held stretches are found (half a second and more), those above the middle of their range are *lifted*. Raises
    ValueError where fewer than one of each is held.
    """
    dwells = find_dwells(t_s, value_mm, resolution_mm, least_s=0.5)
    held = np.array([dwell.value for dwell in dwells])
    if len(held) < 2:
        raise ValueError(f"{place}: {len(held)} held stretches; lift and hold a second, press and hold a second.")
    middle = 0.5 * (held.max() + held.min())
    up, down = held[held > middle], held[held <= middle]
    if not len(up) or not len(down):
        return Play(place, 0.0, 2.0 * float(np.mean([d.standard_uncertainty for d in dwells])), len(held))
    own = float(np.mean([dwell.standard_uncertainty**2 for dwell in dwells]))
    spread = [np.var(part, ddof=1) / len(part) if len(part) > 1 else own for part in (up, down)]
    standard = float(np.sqrt(max(sum(spread), own * (1.0 / len(up) + 1.0 / len(down)))))
    return Play(place, float(up.mean() - down.mean()), 2.0 * standard, min(len(up), len(down)))


@dataclass(frozen=True)
class Repeat:
    """The same parked reading after rolling away and back, several times.

    ``deviation_mm`` is the standard deviation of one, ``range_mm`` highest minus lowest, ``drift_mm`` what a straight
    line rises from the first to the last, with ``drift_uncertainty_mm``: warming up or a stand that settles.
    """

    mean_mm: float
    deviation_mm: float
    range_mm: float
    mean_uncertainty_mm: float
    drift_mm: float
    drift_uncertainty_mm: float
    times: int


def repeat(readings_mm: FloatArray) -> Repeat:
    """Repeatability of parked readings (times,), at least three: GUM 4.2 for mean and deviation. ValueError else."""
    values = np.asarray(readings_mm, float)
    if len(values) < 3:
        raise ValueError(f"{len(values)} parked readings; roll away, back and read three times or more (ten is usual).")
    count = len(values)
    deviation = float(np.std(values, ddof=1))
    arm = np.arange(count) - 0.5 * (count - 1)
    slope = float(arm @ values / (arm @ arm))
    left = values - values.mean() - slope * arm
    about_line = float(np.sqrt(left @ left / (count - 2)))
    return Repeat(
        mean_mm=float(values.mean()),
        deviation_mm=deviation,
        range_mm=float(np.ptp(values)),
        mean_uncertainty_mm=2.0 * deviation / float(np.sqrt(count)),
        drift_mm=slope * (count - 1),
        drift_uncertainty_mm=2.0 * about_line / float(np.sqrt(arm @ arm)) * (count - 1),
        times=count,
    )


@dataclass(frozen=True)
class OncePerTurn:
    """A part of the sweep that repeats every ``period_mm`` of travel.

    ``height_mm`` is its peak to valley with ``uncertainty_mm``; ``stands_out`` how many times the usual size at other
    periods; ``diameters_mm``: rollers that turn once in that travel, rolling with the carriage (pi d) or between rail
    and carriage (2 pi d). ``seen`` False: nothing repeats that stands out.
    """

    period_mm: float
    height_mm: float
    uncertainty_mm: float
    stands_out: float
    diameters_mm: tuple[float, float]
    seen: bool


def once_per_turn(
    x_mm: FloatArray, height_mm: FloatArray, standard_uncertainty_mm: float, diameter_mm: float | None = None
) -> OncePerTurn:
    """Search a profile for a part that repeats with a roller's turn: (stations,) in order of ``x_mm``, 10 mm apart or
    nearer.

    Least squares of a smooth rail (cosine waves longer than twice the longest period) and ``HARMONICS`` harmonics of
    every period tried (N. R. Lomb, Astrophysics and Space Science 39 (1976) 447-462, with more than one harmonic). With
    a known diameter only periods near its turn and its double turn are candidates; the others say what is usual: a
    rail has waves of its own, and a period is only believed where it stands out of them. Raises ValueError for a
    stretch under two turns.
    """
    x, z = np.asarray(x_mm, float), np.asarray(height_mm, float)
    length = float(np.ptp(x)) if len(x) else 0.0
    longest = min(LONGEST_mm, length / 2.5)
    if len(x) < 30 or longest < 1.3 * SHORTEST_mm:
        raise ValueError(f"{length:.0f} mm of travel with {len(x)} stations; a roller must turn twice and more in it.")
    shortest = max(SHORTEST_mm, 2.5 * HARMONICS * float(np.median(np.diff(x))))
    step = 0.2 / length  # a fifth of what the stretch resolves
    periods = 1.0 / np.arange(1.0 / longest, 1.0 / shortest + step, step)
    sizes = np.array([_repeats(x, z, period, longest)[0] for period in periods])
    allowed = np.ones(len(periods), bool)
    if diameter_mm is not None:
        near = [np.abs(periods / (turns * np.pi * diameter_mm) - 1.0) <= DIAMETER_KNOWN for turns in (1.0, 2.0)]
        allowed = near[0] | near[1]
        if not allowed.any():
            raise ValueError(
                f"A roller of {diameter_mm:g} mm turns once in {np.pi * diameter_mm:.0f} mm, and this stretch shows "
                f"periods of {shortest:.0f} to {longest:.0f} mm."
            )
    usual = float(np.median(sizes))
    at = int(np.argmax(np.where(allowed, sizes / _slope_of(periods, sizes), -1.0)))
    period = float(periods[at])
    size, height, standard = _repeats(x, z, period, longest)
    doubt = float(np.hypot(max(standard, standard_uncertainty_mm / np.sqrt(len(x) / 10.0)), 0.35 * usual))
    trend = float(_slope_of(periods, sizes)[at])
    stands_out = size / max(trend, standard_uncertainty_mm / np.sqrt(len(x)), 1e-9)
    return OncePerTurn(
        period_mm=period,
        height_mm=height,
        uncertainty_mm=2.0 * 2.0 * doubt,
        stands_out=float(stands_out),
        diameters_mm=(period / np.pi, period / (2.0 * np.pi)),
        seen=bool(stands_out >= STANDS_OUT and height > 4.0 * doubt),
    )


def _repeats(x: FloatArray, z: FloatArray, period: float, longest: float) -> tuple[float, float, float]:
    """Root mean square of the repeating part, its peak to valley, and the standard uncertainty of an amplitude."""
    order = np.arange(1, int(np.ptp(x) / longest) + 1)
    along = (x - x[0]) / max(float(np.ptp(x)), 1e-9)
    smooth = np.column_stack([np.ones_like(x), along, np.cos(np.pi * along[:, None] * order)])
    turn = 2.0 * np.pi * x[:, None] / period * np.arange(1, HARMONICS + 1)
    waves = np.column_stack([np.cos(turn), np.sin(turn)])
    design = np.column_stack([smooth, waves])
    fitted, *_ = np.linalg.lstsq(design, z, rcond=None)
    own = waves @ fitted[smooth.shape[1] :]
    left = z - design @ fitted
    freedom = max(len(z) - design.shape[1], 1)
    return float(np.sqrt(np.mean(own**2))), float(np.ptp(own)), float(np.sqrt(2.0 * (left @ left) / freedom / len(z)))


def _slope_of(periods: FloatArray, sizes: FloatArray) -> FloatArray:
    """The usual size at each period: rails have larger long waves than short ones, so a line through the logarithms.

    Fitted to medians of stretches, which a single peak does not move.
    """
    log_p, log_s = np.log(periods), np.log(np.maximum(sizes, 1e-9))
    parts = np.array_split(np.argsort(log_p), 6)
    middles = np.array([(np.median(log_p[part]), np.median(log_s[part])) for part in parts])
    slopes = [(b[1] - a[1]) / (b[0] - a[0]) for i, a in enumerate(middles) for b in middles[i + 1 :]]
    slope = max(float(np.median(slopes)), 0.0)  # Theil-Sen: a peak in one stretch does not tip it
    level = float(np.median(middles[:, 1] - slope * middles[:, 0]))
    return np.asarray(np.exp(level + slope * log_p))


def worst(plays: Sequence[Play]) -> Play:
    """The place with the most play. ValueError for none."""
    if not plays:
        raise ValueError("No place was lifted and pressed.")
    return max(plays, key=lambda each: each.play_mm)
