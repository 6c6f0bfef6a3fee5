"""How near a swept profile comes to what its readings could give: each position source beside the bound, in one run.

Run: ``python -m tests.benchmarks.profiles [--sweeps 200] [--only encoder]``. Not a test. Sweeps of rough rails
(``fixtures.sweeps``: its own physics, uneven hand, late marks, a zero set a little off), 0.001 and 0.01 mm, 5 to
100 Hz, whole-stroke and partly seen set-ups, with and without "no value" lines, taken in turn.

* bound: the same readings with the true positions, noise, resolution and drift only (no play, no offset between
  directions), through the same smoothing: what better positions could give at most.
* limit: the bound with what the places of both directions were off by in common in that very sweep, which no
  registration of the one with the other can take away: each pass is put where it was, but for the mean of both misses.
* plain: straight lines between the marks (or constant speed), forward and return averaged in 20 mm bins.
"""

from __future__ import annotations

import argparse
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace
from multiprocessing import Pool

import numpy as np
from numpy.typing import NDArray

from analysis.motion import Motion
from analysis.passes import PassReadings, fit_passes
from analysis.positions import Evidence
from analysis.results import FloatArray
from analysis.spots import find_spots
from analysis.sweeps import Geometry, Outcome, SweepData, profile_of
from analysis.uncertainty import LINEARITY_MM, extremes
from fixtures.sweeps import Hand, Indicator, Layout, Rail, Sweep, simulate, straight_rail

RATES_HZ = (100.0, 50.0, 20.0, 10.0, 5.0)
ZERO_SET_MM = 0.0015
SOURCES = ("encoder", "9 marks", "5 marks", "ends only", "5 strips", "17 stops")
TARGETS = {"encoder": (1.4, 2.5), "9 marks": (1.8, 3.5), "5 marks": (2.2, 5.0), "ends only": (4.0, 9.0),
           "5 strips": (1.8, 3.5)}  # fmt: skip
LAYOUTS = (
    Layout(),
    Layout(kind="fixed"),
    Layout(table_mm=(700.0, 1500.0), openings_mm=((1010.0, 1090.0),)),
)


@dataclass
class Score:
    """What one sweep gave: root mean square shape errors (mm), and which stated intervals held the truth."""

    source: str
    found: float = np.nan
    plain: float = np.nan
    bound: float = np.nan
    limit: float = np.nan
    stations_held: float = np.nan
    peak_held: float = np.nan
    mean_held: float = np.nan
    false_spots: int = 0
    took_s: float = 0.0
    failed: str = ""
    warnings: tuple[str, ...] = field(default=())


def stations_for(source: str, stroke_mm: tuple[float, float]) -> tuple[float, ...]:
    """Even stations along the stroke, as many as the source's name says."""
    head = source.split()[0]
    return tuple(np.linspace(*stroke_mm, int(head)).tolist()) if head.isdigit() else ()


def sweep_for(
    source: str, number: int, rail: Rail | None = None, indicator: Indicator | None = None, strips: bool = True
) -> Sweep:
    """The number-th sweep for a source: resolution, rate, set-up and way of saying nothing taken in turn."""
    layout = LAYOUTS[number % len(LAYOUTS)]
    stations = stations_for(source, layout.stroke_mm)
    fine = Indicator(resolution_mm=0.001 if number % 2 == 0 else 0.01)
    # Strips are laid where the whole of them is crossed, not half over an end of the stroke.
    low, high = layout.stroke_mm
    laid = tuple(np.linspace(low + 60.0, high - 60.0, 5).tolist())
    if source == "5 strips":
        fine = replace(fine, resolution_mm=0.001)
    return simulate(
        number,
        rail=rail,
        rate_hz=RATES_HZ[number // 2 % len(RATES_HZ)] if source != "5 strips" else (100.0, 50.0)[number // 2 % 2],
        stations_mm=laid if source == "5 strips" else stations,
        encoder_step_mm=0.25 if source == "encoder" else None,
        indicator=indicator or fine,
        layout=LAYOUTS[0] if source == "5 strips" else layout,
        says_no_value=number % 4 < 2,
        stops_s=2.0 if source == "17 stops" else 0.0,
        strips_mm=laid if source == "5 strips" and strips else (),
    )


def heights(sweep: Sweep) -> FloatArray:
    """Readings to heights by the set-up's sign (the simulation's own convention, its zero is 0)."""
    return sweep.value * (1.0 if sweep.set_up["kind"] == "fixed" else -1.0)


def profile_for(source: str, sweep: Sweep, resolution: float, zero_error: float = 0.0) -> Outcome:
    """The production analysis."""
    fixed = sweep.set_up["kind"] == "fixed"
    evidence = Evidence(
        t_s=sweep.t_s, height=heights(sweep) + zero_error, stroke_mm=sweep.stroke_mm, windows=sweep.true_windows,
        passes=sweep.passes, counted_mm=sweep.encoder_mm,
        no_value_t_s=sweep.no_value_t_s,
        mark_t_s=np.zeros(0) if source == "5 strips" else sweep.mark_t_s,
        stations_mm=sweep.stations_mm, strip_sign=(1 if fixed else -1) if source == "5 strips" else 0,
        resolution=resolution,
    )  # fmt: skip
    geometry = Geometry(
        sweep.stroke_mm, sweep.true_windows, resolution=resolution, instrument=ZERO_SET_MM, tip_falls=-1 if fixed else 1
    )
    return profile_of([SweepData("0001", evidence)], geometry)


def passes_of(sweep: Sweep) -> list[tuple[int, NDArray[np.intp]]]:
    """(direction, readings' indices) of each push, from the true positions."""
    s = sweep.true_position_mm
    whole = np.abs(s - sweep.stroke_mm[0])
    far = int(np.argmax(whole)) if sweep.passes == 2 else len(s) - 1
    on = np.zeros(len(s), bool)
    for low, high in sweep.true_windows:
        on |= (s >= low + 2.0) & (s <= high - 2.0)
    legs = [(1, np.arange(far)), (-1, np.arange(far, len(s)))]
    return [(direction, index[on[index]]) for direction, index in legs]


def bound_of(source: str, number: int, x_mm: FloatArray, rail: Rail | None) -> float:
    """Shape error at ``x_mm`` with the true positions of the same readings, without play and direction offset."""
    step = 0.001 if number % 2 == 0 or source == "5 strips" else 0.01
    clean = Indicator(resolution_mm=step, direction_offset_mm=0.0, play_mm=0.0)
    sweep = sweep_for(source, number, rail, clean, strips=False)
    readings = []
    for direction, index in passes_of(sweep):
        t, s = sweep.t_s[index], sweep.true_position_mm[index]
        keep = np.concatenate([[True], np.diff(s) * direction > 0.05])
        if keep.sum() > 3:
            motion = Motion(
                direction, t[keep], s[keep], np.full(int(keep.sum()), 0.05), np.zeros(int(keep.sum()), bool), True
            )
            readings.append(PassReadings(motion, t[keep], heights(sweep)[index][keep]))
    fit = fit_passes(readings)
    return shape_error(fit.value(x_mm), sweep.true_height(x_mm))


def common_error(sweep: Sweep, outcome: Outcome, x_mm: FloatArray) -> float:
    """Shape error at ``x_mm`` from the mean of the passes' misses alone (weighed as the analysis weighs the passes),
    from the true places; 0 at stops, where nothing is registered."""
    if outcome.fit is None:
        return 0.0
    total, weights = np.zeros(len(x_mm)), np.zeros(len(x_mm))
    for one, (_, index) in zip(outcome.fit.passes, passes_of(sweep), strict=False):
        t, s = sweep.t_s[index], sweep.true_position_mm[index]
        late = one.motion.delay_effect_mm_s(t) * one.delay_s
        order = np.argsort(s)
        miss = np.interp(x_mm, s[order], (s - one.motion.position_mm(t) - late)[order])
        nodes = one.motion.covariance_mm2(one.motion.time_s(one.node_x_mm))
        weight = 1.0 / np.interp(x_mm, one.node_x_mm, np.maximum(np.diag(nodes), 1e-4))
        total, weights = total + weight * miss, weights + weight
    return shape_error(sweep.true_height(x_mm - total / weights), sweep.true_height(x_mm))


def bowed_score(number: int) -> tuple[float, float]:
    """(peak to valley, mean) held by their stated ± on a smooth bow of 0.3 mm, pushed at 150 or, every second time,
    25 mm/s, where delay and drift look alike."""
    x = np.arange(-1500.0, 4500.0, 2.0)
    rail = Rail(x, 0.3 * (1.0 - ((x - 1300.0) / 1300.0) ** 2))
    slow = number % 2 == 1
    stations = stations_for("9 marks", LAYOUTS[0].stroke_mm)
    hand = Hand(speed_mm_s=25.0 if slow else 150.0, mark_delay_s=(0.05, 0.15, 0.3)[number // 2 % 3])
    indicator = Indicator(drift_mm_per_min=(0.002, -0.005, 0.008)[number // 6 % 3])
    sweep = simulate(
        number, rail=rail, rate_hz=10.0 if slow else 50.0, stations_mm=stations, hand=hand, indicator=indicator
    )
    zero_error = float(np.random.default_rng([number, 31]).normal(0.0, ZERO_SET_MM))
    profile = profile_for("9 marks", sweep, 0.001, zero_error).profile
    ends = extremes(profile.x_mm, profile.value, profile.covariance, linearity=LINEARITY_MM)
    seen = sweep.true_height(seen_of(profile.x_mm))
    assert ends.mean is not None and ends.mean_uncertainty is not None
    return (
        float(abs(ends.peak_to_valley - np.ptp(seen)) <= ends.peak_to_valley_uncertainty),
        float(abs(ends.mean - seen.mean()) <= ends.mean_uncertainty),
    )


def plain_of(sweep: Sweep, x_mm: FloatArray) -> float:
    """Straight lines between marks, or constant speed between the ends; bins of 20 mm."""
    t, z = sweep.t_s, heights(sweep)
    position = np.full(len(t), np.nan)
    if sweep.encoder_mm is not None:
        position = sweep.stroke_mm[0] + sweep.encoder_mm
    else:
        for k, (direction, index) in enumerate(passes_of(sweep)):
            n = len(sweep.stations_mm)
            when = sweep.mark_t_s[k * n : (k + 1) * n]
            place = np.array(sweep.stations_mm)[::direction]
            if n < 2 and len(index):
                when = t[index[[0, -1]]]
                place = sweep.true_position_mm[index[[0, -1]]].round(-1)
            if len(when) == len(place) > 1:
                position[index] = np.interp(t[index], when, place)
    on = np.concatenate([index for _, index in passes_of(sweep)])
    cell = np.floor(position[on] / 20.0)
    good = np.isfinite(cell)
    cells, inverse, count = np.unique(cell[good], return_inverse=True, return_counts=True)
    if len(cells) < 3:
        return np.nan
    mean = np.bincount(inverse, z[on][good]) / count
    return shape_error(np.interp(x_mm, (cells + 0.5) * 20.0, mean), sweep.true_height(x_mm))


def shape_error(value: FloatArray, truth: FloatArray) -> float:
    """Root mean square of the error about its mean, mm."""
    return float(np.std(value - truth))


def seen_of(x_mm: FloatArray) -> FloatArray:
    """Places 2 mm apart over what the profile covers, its unseen stretches left out."""
    fine = np.arange(x_mm[0], x_mm[-1] + 1.0, 2.0)
    near = np.min(np.abs(fine[:, None] - x_mm[None, :]), axis=1) <= 6.0
    return np.asarray(fine[near], dtype=np.float64)


def score(task: tuple[str, int]) -> Score:
    """One sweep through the production analysis, the plain method and the bound."""
    source, number = task
    sweep = sweep_for(source, number)
    step = 0.001 if number % 2 == 0 or source == "5 strips" else 0.01
    began = time.perf_counter()
    try:
        zero_error = float(np.random.default_rng([number, 31]).normal(0.0, ZERO_SET_MM))
        outcome = profile_for(source, sweep, step, zero_error)
    except ValueError as fault:
        return Score(source, failed=str(fault))
    took = time.perf_counter() - began
    profile = outcome.profile
    x, truth = profile.x_mm, sweep.true_height(profile.x_mm)
    ends = extremes(x, profile.value, profile.covariance, linearity=LINEARITY_MM)
    error = profile.value - truth
    seen = sweep.true_height(seen_of(x))
    mean, peak = float(seen.mean()), float(np.ptp(seen))
    out = Score(source, shape_error(profile.value, truth), took_s=took, warnings=outcome.warnings)
    out.stations_held = float(np.mean(np.abs(error) <= profile.uncertainty))
    out.peak_held = float(abs(ends.peak_to_valley - peak) <= ends.peak_to_valley_uncertainty)
    if ends.mean is not None and ends.mean_uncertainty is not None:
        out.mean_held = float(abs(ends.mean - mean) <= ends.mean_uncertainty)
    out.bound = bound_of(source, number, x, None)
    out.limit = float(np.hypot(out.bound, common_error(sweep, outcome, x)))
    out.plain = plain_of(sweep, x)
    return out


def spots_score(number: int) -> tuple[int, int, int]:
    """(false spots on a straight rail, humps laid on it that should be found, those that were not)."""
    source = SOURCES[number % 3]
    straight = sweep_for(source, number, straight_rail())
    step = 0.001 if number % 2 == 0 else 0.01
    profile = profile_for(source, straight, step).profile
    false = len(find_spots(profile))
    middle = float(profile.x_mm[len(profile.x_mm) // 2])
    size = 3.0 * float(np.median(profile.uncertainty))
    x = np.arange(-2000.0, 6000.0, 2.0)
    # The carriage's two bearings halve a hump under one of them, an indicator between them sees the mean.
    hump = Rail(x, 2.0 * size * np.exp(-0.5 * ((x - middle + 320.0) / 90.0) ** 2))
    sweep = sweep_for(source, number, hump)
    profile = profile_for(source, sweep, step).profile
    truth = sweep.true_height(profile.x_mm)
    centre = np.polynomial.polynomial.polyval(profile.x_mm, np.polynomial.polynomial.polyfit(profile.x_mm, truth, 1))
    there = float(np.max(np.abs(truth - centre))) >= 3.0 * float(np.median(profile.uncertainty))
    missed = there and not find_spots(profile)
    return false, int(there), int(missed)


def growth(lengths_s: Sequence[float] = (75.0, 150.0, 300.0, 600.0)) -> list[tuple[float, int, float]]:
    """(seconds swept, readings, the processor's seconds of analysis) at 1 kHz, longer and longer; the first one twice,
    because it also loads what is loaded once."""
    out = []
    for length in (lengths_s[0], *lengths_s):
        sweep = simulate(1, rate_hz=1000.0, hand=Hand(speed_mm_s=5200.0 / length), encoder_step_mm=0.25)
        began = time.process_time()
        profile_for("encoder", sweep, 0.001)
        out.append((length, len(sweep.t_s), time.process_time() - began))
    return out[1:]


def row(source: str, scores: Sequence[Score]) -> str:
    """One line of the table."""
    done = [s for s in scores if not s.failed]
    ratio = np.array([s.found / s.bound for s in done])
    plain = np.array([s.plain / s.bound for s in done])
    limit = np.array([s.limit / s.bound for s in done])
    target = TARGETS.get(source)
    aim = f"{target[0]:.1f} ({target[1]:.1f})" if target else "stated"

    def held(pick: Callable[[Score], float]) -> str:
        return f"{100 * np.nanmean([pick(s) for s in done]):4.0f} %"

    return (
        f"{source:10s} {1e3 * np.median([s.bound for s in done]):6.2f} "
        f"{1e3 * np.median([s.found for s in done]):7.2f}"
        f"  {np.nanmedian(plain):6.1f}  {np.median(limit):5.2f} ({np.quantile(limit, 0.95):6.2f})"
        f"  {np.median(ratio):5.2f} ({np.quantile(ratio, 0.95):6.2f})  {aim:>10s}"
        f"  {held(lambda s: s.stations_held)} {held(lambda s: s.peak_held)} {held(lambda s: s.mean_held)}"
        f"  {np.median([s.took_s for s in done]):5.2f}  {len(scores) - len(done):3d}"
    )


def pool_of(workers: int, task: Callable[[int], tuple[float, float]], count: int) -> list[tuple[float, float]]:
    """The task for each number, on so many cores."""
    with Pool(workers) as pool:
        return pool.map(task, range(count), 4)


def main() -> None:
    """Print the whole table."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else "")
    parser.add_argument("--sweeps", type=int, default=200)
    parser.add_argument("--only", choices=SOURCES)
    parser.add_argument("--workers", type=int, default=2)
    asked = parser.parse_args()
    print(f"{asked.sweeps} sweeps a row. Bound and found: median root mean square shape error in um.")
    head = "source      bound   found   plain  limit (95 %)    ratio (95 %)    to reach   held: station, peak, mean   s"
    print(f"{head}  refused")
    with Pool(asked.workers) as pool:
        for source in [asked.only] if asked.only else SOURCES:
            print(row(source, pool.map(score, [(source, n) for n in range(asked.sweeps)], 4)), flush=True)
        if asked.only:
            return
        counts = np.array(pool.map(spots_score, range(asked.sweeps), 4)).sum(axis=0)
    print(f"False spots per 100 sweeps of a straight rail: {100 * counts[0] / asked.sweeps:.1f} (at most 2)")
    print(f"Missed spots of at least three times U: {counts[2]} of {counts[1]} (at most 5 %)")
    held = 100 * np.mean(pool_of(asked.workers, bowed_score, asked.sweeps // 2), axis=0)
    print(f"Smooth bows, pushed fast and very slowly: held peak {held[0]:.0f} %, mean {held[1]:.0f} %")
    grown = growth()
    for length, readings, seconds in grown:
        times = f"{readings / grown[0][1]:.1f} times the readings, {seconds / grown[0][2]:.1f} times the time"
        print(f"{length:.0f} s at 1 kHz, {readings} readings: {seconds:.2f} s of the processor ({times})", flush=True)


if __name__ == "__main__":
    main()
