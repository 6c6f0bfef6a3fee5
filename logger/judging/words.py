"""Findings in words: the ``spots`` object for scripts, and its lines for people.

Why it exists: the same facts are said twice, and the two must not drift apart. It prevents a figure without its
uncertainty, and an uncertainty nobody can take apart: its parts stand beside it, at every station and for peak to
valley and mean.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from analysis.results import Findings, FloatArray, PlaceFinding, Profile, Straightness
from analysis.straightness import NotEnoughPoints, Reference, gaussian_filter, local_straightness, straightness
from analysis.uncertainty import peak_to_valley, station_weights
from analysis.units import MM_PER_INCH

END_TREATMENT = (
    "near its ends and beside what was not seen a straight line is fitted under the filter's weights "
    "(moment correction, after ISO 16610-28)"
)


@dataclass(frozen=True)
class Shape:
    """How straightness is wanted: about which line, over which length, filtered at which cut-off (mm; None: not)."""

    reference: Reference = "least squares"
    local_mm: float | None = None
    cutoff_mm: float | None = None


def as_json(findings: Findings, places: Sequence[PlaceFinding] = (), shape: Shape | None = None) -> dict[str, Any]:
    """The ``spots`` object: lengths in mm; for a level the same keys end in ``_mm_per_m``."""
    shape = shape or Shape()
    unit = "mm" if findings.profile.unit == "mm" else "mm_per_m"
    profile, ends = findings.profile, findings.extremes
    lines = {line.reference: line for line in findings.straightness}
    return {
        "set_up": findings.set_up,
        "sweeps": list(findings.sweeps),
        "position_source": findings.position_source,
        "profile": {
            "x_mm": _numbers(profile.x_mm),
            f"height_{unit}": _numbers(profile.value),
            f"uncertainty_{unit}": _numbers(profile.uncertainty),
        },
        f"peak_to_valley_{unit}": _number(ends.peak_to_valley),
        f"peak_to_valley_uncertainty_{unit}": _number(ends.peak_to_valley_uncertainty),
        f"mean_{unit}": _number(ends.mean),
        f"mean_uncertainty_{unit}": _number(ends.mean_uncertainty),
        "straightness": _straightness_json(lines, unit, shape.reference),
        "local_straightness": _local_json(profile, unit, shape),
        "filtered": _filtered_json(profile, unit, shape),
        "spots": [
            {
                "kind": spot.kind,
                "x_mm": _number(spot.x_mm),
                f"height_{unit}": _number(spot.value),
                f"uncertainty_{unit}": _number(spot.uncertainty),
                "from_mm": _number(spot.from_mm),
                "to_mm": _number(spot.to_mm),
                "sentence": spot.sentence,
            }
            for spot in findings.spots
        ],
        "verdict": findings.verdict.word,
        "verdict_reason": findings.verdict.reason,
        "places": [
            {
                "name": place.name,
                "verdict": place.verdict,
                f"peak_to_valley_{unit}": _number(place.peak_to_valley),
                f"uncertainty_{unit}": _number(place.uncertainty),
                "seen": place.seen,
                "why": place.why,
            }
            for place in places
        ],
        "uncertainty_parts": {name: _numbers(part) for name, part in profile.parts.items()},
        f"peak_to_valley_parts_{unit}": {name: _number(u) for name, u in parts_of_peak_to_valley(profile).items()},
        f"mean_parts_{unit}": {name: _number(u) for name, u in parts_of_mean(profile).items()},
        "positions": {
            "source": findings.position_source,
            "why": findings.position_why,
            "x_mm": _numbers(profile.x_mm),
            "uncertainty_mm": None
            if findings.position_uncertainty_mm is None
            else _numbers(findings.position_uncertainty_mm),
        },
        "repairs": [
            {"repair": each.key, "sweep": each.sweep, "found": each.found, "offer": each.offer}
            for each in findings.repairs
        ],
        "reports": {name: _number(value) for name, value in findings.reports.items()},
        "not_seen": list(findings.not_seen),
        "warnings": list(findings.warnings),
    }


def lines(findings: Findings, units: str = "mm") -> list[str]:
    """The findings in plain text, in mm or thou (``units`` in)."""
    show = _shower(units, findings.profile.unit)
    ends, profile = findings.extremes, findings.profile
    out = [
        f"Set-up {findings.set_up}, {', '.join(findings.sweeps)}, positions from {findings.position_source}.",
        f"Verdict: {findings.verdict.word}. {findings.verdict.reason}",
        f"Peak to valley {show(ends.peak_to_valley)} ± {show(ends.peak_to_valley_uncertainty)}",
    ]
    if ends.mean is not None and ends.mean_uncertainty is not None:
        out.append(f"Mean {show(ends.mean)} ± {show(ends.mean_uncertainty)}")
    else:
        out.append("Mean not known: the zero of the instrument is not known, only the shape is.")
    out.extend(f"Straightness about the {line.reference} line: {show(line.STRt)}" for line in findings.straightness)
    out.append(f"Seen from {profile.x_mm[0]:.0f} to {profile.x_mm[-1]:.0f} mm of the carriage's travel.")
    if findings.spots:
        for spot in findings.spots:
            out.append(
                f"{spot.kind} by {show(abs(spot.value))} ± {show(spot.uncertainty)} from {spot.from_mm:.0f} to "
                f"{spot.to_mm:.0f} mm, {'highest' if spot.kind == 'high' else 'deepest'} at {spot.x_mm:.0f}"
            )
    else:
        out.append("No spot stands clear of the noise.")
    out.extend(f"Not seen: {text}" for text in findings.not_seen)
    out.extend(f"Note: {text}" for text in findings.warnings)
    return out


def _straightness_json(lines: dict[str, Straightness], unit: str, reference: str) -> dict[str, Any] | None:
    if "least squares" not in lines:
        return None
    line = lines[reference]
    return {
        "lines": {name: _line_json(each, unit) for name, each in lines.items()},
        "reference": line.reference,
        f"STRt_{unit}": _number(line.STRt),
        f"STRp_{unit}": _number(line.STRp),
        f"STRv_{unit}": _number(line.STRv),
        f"STRq_{unit}": _number(line.STRq),
        f"minimum_zone_{unit}": _number(lines["minimum zone"].STRt),
        f"end_points_{unit}": _number(lines["end points"].STRt),
    }


def _line_json(line: Straightness, unit: str) -> dict[str, Any]:
    return {
        f"STRt_{unit}": _number(line.STRt),
        f"STRp_{unit}": _number(line.STRp),
        f"STRv_{unit}": _number(line.STRv),
        f"STRq_{unit}": _number(line.STRq),
        f"slope_{unit}_per_m": _number(1000.0 * line.slope),
    }


def _local_json(profile: Profile, unit: str, shape: Shape) -> dict[str, Any] | None:
    found = local_of(profile, shape.local_mm)
    if found is None:
        return None
    worst, uncertainty, at = found
    return {
        "length_mm": shape.local_mm,
        f"straightness_{unit}": _number(worst),
        f"uncertainty_{unit}": _number(uncertainty),
        "at_mm": _number(at),
        "reference": "minimum zone",
    }


def _filtered_json(profile: Profile, unit: str, shape: Shape) -> dict[str, Any] | None:
    filtered = filtered_of(profile, shape.cutoff_mm)
    if filtered is None:
        return None
    line = straightness(profile.x_mm, filtered, shape.reference)
    return {
        "cutoff_mm": shape.cutoff_mm,
        "filter": "Gaussian, ISO 16610-21",
        "ends": END_TREATMENT,
        f"height_{unit}": _numbers(filtered),
        "reference": line.reference,
        **_line_json(line, unit),
    }


def local_of(profile: Profile, length_mm: float | None) -> tuple[float, float, float] | None:
    """(worst straightness over any stretch of that length, its expanded uncertainty, the stretch's middle); None where
    it was not asked for or nothing so long was seen in one piece."""
    if length_mm is None:
        return None
    worst: tuple[float, float] | None = None
    for piece in pieces(profile.x_mm):
        if profile.x_mm[piece][-1] - profile.x_mm[piece][0] < length_mm - 1e-6:
            continue
        found = local_straightness(profile.x_mm[piece], profile.value[piece], length_mm)
        worst = found if worst is None or found[0] > worst[0] else worst
    if worst is None:
        return None
    zone, at = worst
    near = np.abs(profile.x_mm - at) <= length_mm / 2.0 + 1e-6
    spread = peak_to_valley(_off_line(profile, near), profile.covariance[np.ix_(near, near)])[1]
    return zone, spread, at


def filtered_of(profile: Profile, cutoff_mm: float | None) -> FloatArray | None:
    """The long-wave part of the profile, each stretch seen in one piece for itself; None where none was asked for."""
    if cutoff_mm is None or len(profile.x_mm) < 3:
        return None
    out = np.array(profile.value, float)
    for piece in pieces(profile.x_mm):
        if piece.stop - piece.start >= 3:
            out[piece] = gaussian_filter(profile.x_mm[piece], profile.value[piece], cutoff_mm)
    return out


def pieces(x_mm: FloatArray) -> list[slice]:
    """Stretches of stations without a hole between them."""
    if len(x_mm) < 2:
        return [slice(0, len(x_mm))]
    gaps = np.diff(x_mm)
    breaks = np.nonzero(gaps > 2.5 * np.median(gaps))[0] + 1
    return [slice(int(a), int(b)) for a, b in zip([0, *breaks], [*breaks, len(x_mm)], strict=True)]


def _off_line(profile: Profile, near: np.ndarray[Any, Any]) -> FloatArray:
    try:
        return straightness(profile.x_mm[near], profile.value[near], "minimum zone").deviations
    except NotEnoughPoints:
        return np.zeros(int(near.sum()))


ALIKE_MM = {"repeatability": 60.0, "resolution": 100.0, "position": 300.0, "between stops": 150.0}
"""Over what length a part's error is alike; parts that are not named here are alike over the whole stroke."""


def parts_of_mean(profile: Profile) -> dict[str, float]:
    """What each part gives to the expanded uncertainty of the mean."""
    weight = station_weights(profile.x_mm)
    apart: FloatArray = np.abs(profile.x_mm[:, None] - profile.x_mm[None, :])
    out = {}
    for name, u in profile.parts.items():
        alike = np.exp(-apart / ALIKE_MM.get(name, 1e9))
        both = weight * u
        out[name] = 2.0 * math.sqrt(max(float(both @ alike @ both), 0.0))
    return out


def parts_of_peak_to_valley(profile: Profile) -> dict[str, float]:
    """What each part gives to the expanded uncertainty of peak to valley: of the highest and the lowest station."""
    if len(profile.x_mm) < 2:
        return {}
    high, low = int(np.argmax(profile.value)), int(np.argmin(profile.value))
    apart = abs(float(profile.x_mm[high] - profile.x_mm[low]))
    out = {}
    for name, u in profile.parts.items():
        shared = math.exp(-apart / ALIKE_MM.get(name, 1e9))
        out[name] = 2.0 * math.sqrt(max(float(u[high] ** 2 + u[low] ** 2 - 2.0 * shared * u[high] * u[low]), 0.0))
    return out


def _shower(units: str, unit: str) -> Callable[[float], str]:
    if unit != "mm":
        return lambda value: f"{value:.3f} mm/m"
    if units == "in":
        return lambda value: f"{value / MM_PER_INCH * 1000.0:.2f} thou"
    return lambda value: f"{value:.3f} mm"


def _number(value: float | None) -> float | None:
    """JSON knows no nan: what is not known is null."""
    return float(round(value, 6)) if value is not None and np.isfinite(value) else None


def _numbers(values: Iterable[float]) -> list[float | None]:
    return [_number(float(value)) for value in values]
