"""From the readings of one set-up's sweeps to one profile: the steps in their order.

Why it exists: positions, touching stretches, registration and the search for bad marks depend on each other, and the
order matters: geometry needs rough positions, edges sharpen them, the fit shows which mark was late. It prevents each
caller from stringing the steps together in its own, slightly different way.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from analysis.bad_marks import without_bad_marks
from analysis.cells import PassReadings
from analysis.contact import Interval, Touch, find_touching
from analysis.ends import free_rest
from analysis.fit import Fit, Scales
from analysis.motion import Motion
from analysis.passes import NothingToFit, fit_passes
from analysis.positions import Evidence, Located, NoPosition, locate
from analysis.profile import make_profile
from analysis.rests import set_off
from analysis.results import FloatArray, Profile, Quantity, Repair
from analysis.stop_profile import height_profile
from analysis.stops import LEAST_S, Stop, find_dwells, station_profile, stops_of, stops_on_track


@dataclass(frozen=True)
class Geometry:
    """What the machine and the set-up allow to be seen, and what the instrument's figures mean."""

    stroke_mm: Interval
    windows: tuple[Interval, ...]
    quantity: Quantity = "height"
    unit: str = "mm"
    zero_known: bool = True
    resolution: float = 0.0
    instrument: float = 0.0
    tip_falls: int = 0  # sign of the height step when the tip loses the surface: -1 fixed, +1 carried, 0 not known


@dataclass(frozen=True)
class SweepData:
    """One recorded sweep: ``evidence.height`` already has the sign and zero of the units module."""

    name: str
    evidence: Evidence


@dataclass(frozen=True)
class Outcome:
    """The profile of one set-up's sweeps, the fit behind it (None for a level read at stops), where the positions came
    from."""

    profile: Profile
    fit: Fit | None
    source: str
    located: tuple[Located, ...]
    warnings: tuple[str, ...] = field(default=())
    repairs: tuple[Repair, ...] = ()
    bias_share: float = 0.5  # of the bias of noisy extremes that is left in the profile
    doubt: str = ""  # why the whole profile may be wrong; no verdict stands on it


def profile_of(sweeps: Sequence[SweepData], geometry: Geometry) -> Outcome:
    """One profile from all sweeps of the same state. Raises NoPosition, NothingToFit or NothingSeen (ValueErrors).

    Of several sweeps one that nothing can be made of is left out and said.
    """
    used: list[SweepData] = []
    located: list[Located] = []
    touched: list[PassReadings] = []
    warnings: list[str] = []
    repairs: list[Repair] = []
    for sweep in sweeps:
        prefix = f"{sweep.name}: " if len(sweeps) > 1 else ""
        try:
            where = locate(sweep.evidence)
        except NoPosition as fault:
            if len(sweeps) == 1:
                raise
            warnings.append(f"{prefix}{fault} This sweep was left out.")
            continue
        readings, notes, offers = _touched(_without_strips(sweep.evidence, where), where, geometry, len(used))
        repairs.extend(Repair(key, sweep.name, found, offer) for key, found, offer in (*where.repairs, *offers))
        touched.extend(readings)
        warnings.extend(prefix + note for note in (*where.warnings, *notes))
        used.append(sweep)
        located.append(where)
    if not located:
        raise NoPosition(" ".join(warnings))
    outcome = _outcome(used, located, touched, geometry, warnings)
    doubts = {
        repair.key: repair.found for repair in repairs if repair.key in _DOUBTS and _in_doubt(repair.key, located)
    }
    profile = outcome.profile
    for key in doubts:
        profile = _widened(profile, key)
    doubt = " ".join(dict.fromkeys(doubts.values()))
    return replace(outcome, profile=profile, repairs=(*repairs, *outcome.repairs), doubt=doubt)


_DOUBTS = ("sign switched", "began at the other end")


def _in_doubt(key: str, located: Sequence[Located]) -> bool:
    """Where a sweep began matters no more once the places come from evidence that has its own ends."""
    return key == "sign switched" or any(where.source in ("ends only", "strips") for where in located)


def _widened(profile: Profile, key: str) -> Profile:
    """Which of two readings of a sweep is right nobody has said: the uncertainty reaches from the one to the other."""
    if key == "sign switched":
        apart = 2.0 * profile.value
    else:
        mirrored = profile.x_mm[0] + profile.x_mm[-1] - profile.x_mm
        apart = profile.value - np.interp(mirrored, profile.x_mm, profile.value)
    covariance = profile.covariance + np.outer(apart, apart) / 4.0
    parts = {**profile.parts, "what is in doubt": np.abs(apart) / 2.0}
    return replace(
        profile, covariance=covariance, uncertainty=2.0 * np.sqrt(np.maximum(np.diag(covariance), 0.0)), parts=parts
    )


def _outcome(
    sweeps: Sequence[SweepData],
    located: list[Located],
    touched: list[PassReadings],
    geometry: Geometry,
    warnings: list[str],
) -> Outcome:
    stopped = _heights_at_stops(located, geometry, len(sweeps), warnings)
    if stopped is not None:
        return stopped
    if not touched:
        raise NothingToFit("No reading lies where the indicator can touch.")
    if geometry.unit != "mm":
        stopped = _level_at_stops(sweeps, located, geometry, warnings)
        if stopped is not None:
            return stopped
        warnings.append(
            "The level was read while it moved: what it shows then is acceleration as much as tilt. "
            "Stop at each station, let it settle, then mark."
        )
    scales = Scales() if geometry.unit == "mm" else _level_scales()
    if len(sweeps) > 1 and geometry.instrument > 0:  # each sweep had its zero set anew
        scales = replace(scales, sweep_shift=geometry.instrument)
    fit = fit_passes(touched, scales, resolution=geometry.resolution)
    sharpened = [_sharpened(readings, sweeps[readings.sweep].evidence, fit, geometry) for readings in touched]
    if any(new is not old for new, old in zip(sharpened, touched, strict=True)):
        touched = sharpened
        fit = fit_passes(touched, scales, resolution=geometry.resolution)
    fit, notes, repairs = without_bad_marks(
        touched, fit, scales, geometry.resolution, [(sweep.name, sweep.evidence.accept) for sweep in sweeps]
    )
    warnings.extend(notes)
    warnings.extend(_what_was_set_aside(fit))
    profile = make_profile(
        fit, geometry.windows, geometry.stroke_mm, geometry.quantity, geometry.unit, geometry.zero_known,
        geometry.resolution, geometry.instrument if len(sweeps) == 1 else 0.0, warnings,
    )  # fmt: skip
    sources = list(dict.fromkeys(where.source for where in located))
    return Outcome(profile, fit, " and ".join(sources), tuple(located), tuple(warnings), tuple(repairs))


def _touched(
    evidence: Evidence, located: Located, geometry: Geometry, sweep: int
) -> tuple[list[PassReadings], list[str], list[tuple[str, str, str]]]:
    out: list[PassReadings] = []
    steps: list[float] = []
    notes: list[str] = []
    everywhere = geometry.windows == (geometry.stroke_mm,)
    rest = None if everywhere or geometry.unit != "mm" else free_rest(evidence.height)
    for number, motion in enumerate(located.motions):
        within = (evidence.t_s >= motion.t_s[0]) & (evidence.t_s <= motion.t_s[-1])
        silent = _next_to(evidence.no_value_t_s, located.motions, number)
        within &= np.isfinite(evidence.height)
        t, z = evidence.t_s[within], evidence.height[within]
        touch = find_touching(motion, t, z, silent, geometry.windows, geometry.stroke_mm, geometry.resolution)
        steps.extend(touch.steps)
        if rest is not None:
            touch = replace(touch, touching=touch.touching & (np.abs(z - rest.value) > rest.near))
        if int(touch.touching.sum()) < 3:
            notes.append(f"Pass {number + 1} has {int(touch.touching.sum())} readings that touch; it was left out.")
            continue
        out.append(PassReadings(touch.motion, t[touch.touching], z[touch.touching], sweep))
        notes.extend(_cut_short(touch, t, geometry, number, evidence.stations_mm))
    switched = _sign_of_steps(steps, geometry)
    notes.extend(switched)
    return out, notes, [("sign switched", text, "read this sweep with its sign switched") for text in switched]


def _next_to(no_value_t_s: FloatArray, motions: Sequence[Motion], number: int) -> FloatArray:
    """The "no value" lines of one pass: those from half-way since the pass before to half-way to the pass after.

    A position that comes in the reading's own line begins with the first reading: the silence before it is what shows
    that the tip was off.
    """
    motion = motions[number]
    start = (motions[number - 1].t_s[-1] + motion.t_s[0]) / 2.0 if number > 0 else -np.inf
    end = (motions[number + 1].t_s[0] + motion.t_s[-1]) / 2.0 if number + 1 < len(motions) else np.inf
    return no_value_t_s[(no_value_t_s >= start) & (no_value_t_s <= end)]


def _without_strips(evidence: Evidence, located: Located) -> Evidence:
    """The readings without those on strips: the strip is a mark, not a high spot."""
    if located.on_strip is None:
        return evidence
    return replace(evidence, height=np.where(located.on_strip, np.nan, evidence.height))


def _level_at_stops(
    sweeps: Sequence[SweepData], located: Sequence[Located], geometry: Geometry, warnings: Sequence[str]
) -> Outcome | None:
    """A level's profile from settled readings only, or None where the carriage did not stop."""
    stops: list[Stop] = []
    for number, (sweep, where) in enumerate(zip(sweeps, located, strict=True)):
        dwells = where.dwells or find_dwells(
            sweep.evidence.t_s, sweep.evidence.height, geometry.resolution, LEAST_S[geometry.unit]
        )
        found = stops_on_track(where.motions, dwells) if where.source == "encoder" else stops_of(where.motions, dwells)
        stops.extend(replace(stop, pass_number=stop.pass_number + 100 * number) for stop in found)
    if len({stop.x_mm for stop in stops}) < 3:
        return None
    scales = _level_scales()
    profile = station_profile(
        stops, geometry.quantity, geometry.unit, geometry.stroke_mm, geometry.zero_known, geometry.resolution,
        scales.hysteresis_both, scales.drift_per_s, warnings,
    )  # fmt: skip
    return Outcome(profile, None, "stops", tuple(located), tuple(warnings), bias_share=1.0)


def _heights_at_stops(
    located: Sequence[Located], geometry: Geometry, sweeps: int, warnings: Sequence[str]
) -> Outcome | None:
    """An indicator's profile from its settled readings, where every sweep was read at stops."""
    if geometry.unit != "mm" or not all(where.stops for where in located):
        return None
    stops = [
        replace(stop, pass_number=stop.pass_number + 100 * number)
        for number, where in enumerate(located)
        for stop in where.stops
    ]
    profile = height_profile(
        stops, geometry.windows, geometry.stroke_mm, geometry.zero_known, geometry.resolution,
        geometry.instrument if sweeps == 1 else 0.0, warnings=warnings,
    )  # fmt: skip
    return Outcome(profile, None, "stops", tuple(located), tuple(warnings), bias_share=0.0)


def _sharpened(readings: PassReadings, evidence: Evidence, fit: Fit, geometry: Geometry) -> PassReadings:
    """The pass with the moments of setting off and of coming to rest added, where the readings show them."""
    motion = readings.motion
    noise = max(fit.reading_noise, geometry.resolution / 3.0)
    for at_start in (True, False):
        anchor = 0 if at_start else -1
        x = float(readings.motion.x_mm[anchor])
        if not motion.standing[anchor] or not any(low - 1.0 <= x <= high + 1.0 for low, high in geometry.windows):
            continue
        inward = x + 25.0 * motion.direction * (1.0 if at_start else -1.0)
        slope = float(fit.slope(np.array([inward]))[0])
        found = set_off(readings.motion, at_start, evidence.t_s, evidence.height, slope, noise)
        if found is not None:
            motion = motion.with_start(found.t_s, found.x_mm, found.u_mm, at_start)
    return readings if motion is readings.motion else replace(readings, motion=motion)


def _cut_short(touch: Touch, t: FloatArray, geometry: Geometry, number: int, stations_mm: Sequence[float]) -> list[str]:
    """A pass whose touching readings end well before the windows, or the stations asked for, do."""
    x = touch.motion.position_mm(t[touch.touching])
    low, high = geometry.windows[0][0], geometry.windows[-1][1]
    if len(stations_mm) > 1:
        low, high = max(low, min(stations_mm)), min(high, max(stations_mm))
    short = max(float(x.min()) - low, high - float(x.max()))
    if high > low and short > max(0.08 * (high - low), 60.0):
        return [
            f"Pass {number + 1} covers {x.min():.0f} to {x.max():.0f} mm only; "
            f"{low:.0f} to {high:.0f} mm could be seen."
        ]
    return []


def _sign_of_steps(steps: Sequence[float], geometry: Geometry) -> list[str]:
    clear = [step for step in steps if abs(step) > 0.1]
    if geometry.tip_falls == 0 or len(clear) < 2 or any(step * geometry.tip_falls > 0 for step in clear):
        return []
    return [
        f"Where the tip loses the surface the height goes the wrong way by {abs(float(np.median(clear))):.2f} mm: "
        "the sign may be switched. Lift the tip by hand and see that the number moves as the set-up says."
    ]


def _what_was_set_aside(fit: Fit) -> list[str]:
    total = sum(len(p.weight) for p in fit.passes)
    notes = []
    if fit.spikes > 3:
        notes.append(f"{fit.spikes} single readings stood out from their neighbours (a spike) and were set aside.")
    if fit.set_aside > max(3, 0.03 * total):
        notes.append(
            f"{fit.set_aside} short stretches of {total} did not agree with the rest (dust, a knock) "
            "and were set aside."
        )
    return notes


def _level_scales() -> Scales:
    """Nuisances of a level in mm/m."""
    return replace(
        Scales(), hysteresis_both=0.05, hysteresis_one=0.01, drift_per_s=2e-4, pass_shift=0.003, sweep_shift=0.01
    )
