"""Times and evidence become positions along the stroke.

Why it exists: a reading is worth what its position is worth, and the evidence comes in five kinds (encoder, marks,
strips, stops, bare ends). This module picks the strongest that holds together and says which it was. It prevents weak
evidence from being used silently: every step down the list is a warning.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Final

import numpy as np

from analysis.contact import Interval
from analysis.encoder import BadTrack, motions_from_track
from analysis.ends import NoMotion, motions_from_ends
from analysis.marks import BadStations, clip_stations, match_marks, motions_from_marks
from analysis.motion import Motion
from analysis.results import FloatArray, Positions

SOURCES: Final = ("encoder", "marks", "strips", "stops", "ends only")
_EMPTY: Final = np.zeros(0)


@dataclass(frozen=True)
class Evidence:
    """All that may say where the carriage was. Times in s (device or host, as the recording's), places in mm.

    ``counted_mm`` is the encoder's position from its zero (nan where none); ``at_zero_mm`` that zero's place.
    ``accept`` names repairs a person has agreed to: ``encoder turned``.
    """

    t_s: FloatArray
    height: FloatArray
    stroke_mm: Interval
    windows: Sequence[Interval]
    passes: int = 2
    counted_mm: FloatArray | None = None
    no_value_t_s: FloatArray = field(default_factory=lambda: _EMPTY)
    no_value_counted_mm: FloatArray | None = None
    mark_t_s: FloatArray = field(default_factory=lambda: _EMPTY)
    stations_mm: Sequence[float] = ()
    at_zero_mm: float | None = None
    accept: frozenset[str] = frozenset()


@dataclass(frozen=True)
class Located:
    """One Motion per pass, where they came from, what must be said."""

    motions: tuple[Motion, ...]
    source: str
    warnings: tuple[str, ...]


class NoPosition(ValueError):
    """Nothing in the recording says where the carriage was."""


def locate(evidence: Evidence) -> Located:
    """The motions of all passes from the strongest evidence that holds together. Raises NoPosition."""
    warnings: list[str] = []
    for attempt in (_by_encoder, _by_marks, _by_ends):
        found = attempt(evidence, warnings)
        if found is not None:
            return found
    raise NoPosition(" ".join(warnings) or "Nothing says where the carriage was.")


def positions(located: Located, t_s: FloatArray) -> Positions:
    """Positions of readings at ``t_s`` before any registration of the passes; nan outside every pass."""
    x = np.full(len(t_s), np.nan)
    u = np.full(len(t_s), np.nan)
    index = np.full(len(t_s), -1, np.int64)
    for k, motion in enumerate(located.motions):
        inside = (t_s >= motion.t_s[0]) & (t_s <= motion.t_s[-1])
        x[inside] = motion.position_mm(t_s[inside])
        nodes = np.linspace(motion.t_s[0], motion.t_s[-1], 40)
        u[inside] = np.interp(t_s[inside], nodes, np.sqrt(np.maximum(np.diag(motion.covariance_mm2(nodes)), 0.0)))
        index[inside] = k
    direction = tuple(m.direction for m in located.motions)
    return Positions(x, u, index, direction, located.source, located.warnings)


def _by_encoder(evidence: Evidence, warnings: list[str]) -> Located | None:
    if evidence.counted_mm is None or not np.isfinite(evidence.counted_mm).any():
        return None
    t, x = evidence.t_s, evidence.counted_mm
    if evidence.no_value_counted_mm is not None and len(evidence.no_value_counted_mm) == len(evidence.no_value_t_s):
        t, x = np.concatenate([t, evidence.no_value_t_s]), np.concatenate([x, evidence.no_value_counted_mm])
    zero = evidence.stroke_mm[0] if evidence.at_zero_mm is None else evidence.at_zero_mm
    try:
        track = motions_from_track(t, x, zero, evidence.stroke_mm, "encoder turned" in evidence.accept)
    except BadTrack as fault:
        warnings.append(f"{fault} The encoder was left out.")
        return None
    warnings.extend(track.warnings)
    if len(track.motions) != evidence.passes:
        warnings.append(f"{len(track.motions)} passes were found; {evidence.passes} were asked for.")
    return Located(track.motions, "encoder", tuple(warnings))


def _by_marks(evidence: Evidence, warnings: list[str]) -> Located | None:
    if not len(evidence.stations_mm) or not len(evidence.mark_t_s):
        if len(evidence.stations_mm):
            warnings.append("Marks were asked for and none came.")
        elif len(evidence.mark_t_s):
            warnings.append("There are marks, but their stations were not given; they cannot be used.")
        return None
    try:
        stations, notes = clip_stations(evidence.stations_mm, evidence.stroke_mm)
    except BadStations as fault:
        warnings.append(f"{fault} The marks were left out.")
        return None
    warnings.extend(notes)
    marks = np.sort(evidence.mark_t_s[np.isfinite(evidence.mark_t_s)])
    matched = match_marks(marks, stations, evidence.passes)
    warnings.extend(matched.warnings)
    motions = motions_from_marks(marks, matched, stations, evidence.passes, evidence.stroke_mm)
    if not motions:
        warnings.append("No pass has two usable marks; the marks were left out.")
        return None
    missing = evidence.passes - len(motions)
    if missing:
        warnings.append(f"{missing} of {evidence.passes} passes had fewer than two usable marks and were left out.")
    return Located(tuple(motions), "marks", tuple(warnings))


def _by_ends(evidence: Evidence, warnings: list[str]) -> Located | None:
    if not evidence.windows:
        warnings.append("The indicator touches nowhere along the stroke.")
        return None
    first = 1
    if len(evidence.stations_mm) > 1 and evidence.stations_mm[-1] < evidence.stations_mm[0]:
        first = -1
    try:
        motions = motions_from_ends(
            evidence.t_s,
            evidence.height,
            evidence.no_value_t_s,
            evidence.passes,
            evidence.windows,
            evidence.stroke_mm,
            first,
        )
    except NoMotion as fault:
        warnings.append(str(fault))
        return None
    warnings.append("Positions come from the start and end of motion only: weak evidence; use marks or an encoder.")
    if len(motions) != evidence.passes:
        warnings.append(f"{len(motions)} passes were found; {evidence.passes} were asked for.")
    return Located(tuple(motions), "ends only", tuple(warnings))
