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

from analysis.results import BoolArray, FloatArray
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
    rail has waves of its own, and a period is only believed where it stands out of them. Without a diameter it must
    also strike (show a higher harmonic): a plain wave of unknown length may just as well be the rail's. Raises
    ValueError for a stretch under two turns.
    """
    x, z = np.asarray(x_mm, float), np.asarray(height_mm, float)
    length = float(np.ptp(x)) if len(x) else 0.0
    longest = min(LONGEST_mm, length / 2.5)
    if len(x) < 30 or longest < 1.3 * SHORTEST_mm:
        raise ValueError(f"{length:.0f} mm of travel with {len(x)} stations; a roller must turn twice and more in it.")
    shortest = max(SHORTEST_mm, 2.5 * HARMONICS * float(np.median(np.diff(x))))
    step = 0.2 / length  # a fifth of what the stretch resolves
    periods = 1.0 / np.arange(1.0 / longest, 1.0 / shortest + step, step)
    found = [_repeats(x, z, float(period), longest) for period in periods]
    sizes = np.array([each.size for each in found])
    usual = np.maximum(_usual(periods, sizes), standard_uncertainty_mm / np.sqrt(len(x)))
    allowed = _candidates(periods, found, diameter_mm)
    at = _whole_turn(periods, found, allowed, int(np.argmax(np.where(allowed, sizes / usual, -1.0))))
    best = found[at]
    doubt = float(np.hypot(best.standard_uncertainty, usual[at]))
    stands_out = float(sizes[at] / usual[at])
    enough = STANDS_OUT if diameter_mm is not None else STANDS_OUT + 1.0
    return OncePerTurn(
        period_mm=float(periods[at]),
        height_mm=best.height,
        uncertainty_mm=2.0 * doubt,
        stands_out=stands_out,
        diameters_mm=(float(periods[at]) / np.pi, float(periods[at]) / (2.0 * np.pi)),
        seen=bool(stands_out >= enough and best.height > 2.0 * doubt and (diameter_mm is not None or best.struck)),
    )


@dataclass(frozen=True)
class _Repeating:
    """The part that repeats with one period: root mean square, peak to valley, its harmonics' amplitudes."""

    size: float
    height: float
    standard_uncertainty: float
    amplitudes: FloatArray

    @property
    def fundamental(self) -> bool:
        """The turn itself is in it, not only a half or a third of it."""
        return bool(
            self.amplitudes[0] >= 0.35 * self.amplitudes.max() and self.amplitudes[0] > 3.0 * self.standard_uncertainty
        )

    @property
    def struck(self) -> bool:
        """It strikes (a flat, a dent) and is no plain wave, of which every rail has some."""
        higher = self.amplitudes[1:]
        return bool(np.any((higher > 3.0 * self.standard_uncertainty) & (higher >= 0.25 * self.amplitudes[0])))


def _candidates(periods: FloatArray, found: Sequence[_Repeating], diameter_mm: float | None) -> BoolArray:
    """Periods that may be a roller's turn: near the known ones, else those with their own fundamental in them."""
    if diameter_mm is None:
        return np.array([each.fundamental for each in found])
    near = [np.abs(periods / (turns * np.pi * diameter_mm) - 1.0) <= DIAMETER_KNOWN for turns in (1.0, 2.0)]
    if not (near[0] | near[1]).any():
        raise ValueError(
            f"A roller of {diameter_mm:g} mm turns once in {np.pi * diameter_mm:.0f} mm, and this stretch shows "
            f"periods of {periods.min():.0f} to {periods.max():.0f} mm."
        )
    own = np.array([each.fundamental for each in found])
    allowed = (near[0] | near[1]) & own
    return allowed if allowed.any() else near[0] | near[1]


def _whole_turn(periods: FloatArray, found: Sequence[_Repeating], allowed: BoolArray, at: int) -> int:
    """From the half or a third of a turn to the turn itself: two bearings may all but cancel its fundamental."""
    for times in (2.0, 3.0):
        longer = np.abs(periods / (times * periods[at]) - 1.0) < 0.03
        tried = [int(i) for i in np.flatnonzero(longer & allowed)]
        better = [i for i in tried if found[i].fundamental and found[i].size > 1.1 * found[at].size]
        if better:
            return max(better, key=lambda i: found[i].size)
    return at


def _repeats(x: FloatArray, z: FloatArray, period: float, longest: float) -> _Repeating:
    order = np.arange(1, int(np.ptp(x) / longest) + 1)
    along = (x - x[0]) / max(float(np.ptp(x)), 1e-9)
    smooth = np.column_stack([np.ones_like(x), along, np.cos(np.pi * along[:, None] * order)])
    turn = 2.0 * np.pi * x[:, None] / period * np.arange(1, HARMONICS + 1)
    waves = np.column_stack([np.cos(turn), np.sin(turn)])
    design = np.column_stack([smooth, waves])
    fitted, *_ = np.linalg.lstsq(design, z, rcond=None)
    parts = fitted[smooth.shape[1] :]
    own = waves @ parts
    left = z - design @ fitted
    freedom = max(len(z) - design.shape[1], 1)
    return _Repeating(
        size=float(np.sqrt(np.mean(own**2))),
        height=float(np.ptp(own)),
        standard_uncertainty=float(np.sqrt(2.0 * (left @ left) / freedom / len(z))),
        amplitudes=np.hypot(parts[:HARMONICS], parts[HARMONICS:]),
    )


def _usual(periods: FloatArray, sizes: FloatArray) -> FloatArray:
    """The usual size at each period: rails have larger long waves than short ones, so a line through the logarithms.

    Fitted to medians of stretches by the median of slopes (Theil-Sen), which a single peak does not tip.
    """
    log_p, log_s = np.log(periods), np.log(np.maximum(sizes, 1e-9))
    parts = np.array_split(np.argsort(log_p), 6)
    middles = np.array([(np.median(log_p[part]), np.median(log_s[part])) for part in parts])
    slopes = [(b[1] - a[1]) / (b[0] - a[0]) for i, a in enumerate(middles) for b in middles[i + 1 :]]
    slope = max(float(np.median(slopes)), 0.0)
    level = float(np.median(middles[:, 1] - slope * middles[:, 0]))
    return np.asarray(np.exp(level + slope * log_p))


def worst(plays: Sequence[Play]) -> Play:
    """The place with the most play. ValueError for none."""
    if not plays:
        raise ValueError("No place was lifted and pressed.")
    return max(plays, key=lambda each: each.play_mm)
