"""Times and evidence become positions along the stroke.

Why it exists: a reading is worth what its position is worth, and the evidence comes in five kinds (encoder, marks,
strips, stops, bare ends). This module picks the strongest that holds together and says which it was. It prevents weak
evidence from being used silently: every step down the list is a warning.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from typing import Final

import numpy as np

from analysis.contact import Interval
from analysis.encoder import BadTrack, motions_from_track
from analysis.ends import NoMotion, free_rest, motions_from_ends
from analysis.index import Index
from analysis.marks import CLIP_MM, BadStations, clip_stations, match_marks, motions_from_marks
from analysis.midway import stood_words, stopped_between
from analysis.motion import Motion
from analysis.results import BoolArray, FloatArray, Positions
from analysis.standing import standing_at_marks, stood_still
from analysis.stops import LEAST_S, SETTLING_S, Dwell, Stop, find_dwells, last_dwell, with_dwells
from analysis.strips import with_strips

SOURCES: Final = ("encoder", "marks", "strips", "stops", "ends only")
REPAIRS: Final = ("encoder turned", "began at the other end", "marks as matched", "sign switched", "late mark moved")
CHOICE: Final = "positions from "
_EMPTY: Final = np.zeros(0)
_SILENCE_S: Final = 0.5  # a carriage goes less than a tenth of a stroke in this time


@dataclass(frozen=True)
class Evidence:
    """All that may say where the carriage was. Times in s (device or host, as the recording's), places in mm.

    ``counted_mm`` is the encoder's position from its zero (nan where none); ``at_zero_mm`` that zero's place.
    ``strip_sign`` is the way a strip moves the height (+1 fixed, -1 carried, 0 no strips). ``accept`` names repairs a
    person has agreed to (:data:`REPAIRS`), and a choice of source as ``positions from marks``.
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
    index: Index | None = None
    strip_sign: int = 0
    unit: str = "mm"
    resolution: float = 0.0
    accept: frozenset[str] = frozenset()


@dataclass(frozen=True)
class Located:
    """One Motion per pass, where they came from, what must be said; the dwells, where the carriage stood at stations;
    which readings lie on strips and must not enter the profile (readings,); the settled readings, where an indicator
    was read at stops; why these positions, and what could be repaired as (key, found, offer)."""

    motions: tuple[Motion, ...]
    source: str
    warnings: tuple[str, ...]
    dwells: tuple[Dwell, ...] = ()
    on_strip: BoolArray | None = None
    stops: tuple[Stop, ...] = ()
    why: str = ""
    repairs: tuple[tuple[str, str, str], ...] = ()


Repairs = list[tuple[str, str, str]]


class NoPosition(ValueError):
    """Nothing in the recording says where the carriage was."""


def locate(evidence: Evidence) -> Located:
    """The motions of all passes from the strongest evidence that holds together, or from the kind the person chose
    where that holds together. Raises NoPosition."""
    warnings: list[str] = []
    repairs: list[tuple[str, str, str]] = []
    chosen = next((word[len(CHOICE) :] for word in sorted(evidence.accept) if word.startswith(CHOICE)), "")
    order = [_by_encoder, _by_marks, _by_ends]
    first = {"marks": _by_marks, "stops": _by_marks, "strips": _by_ends, "ends only": _by_ends}.get(chosen)
    if first is not None:
        order = [first, *[attempt for attempt in order if attempt is not first]]
    for attempt in order:
        found = attempt(evidence, warnings, repairs)
        if found is None:
            continue
        why = found.why or _why(evidence, found)
        if chosen and found.source != chosen:
            extra = (
                f"Positions from {chosen} were chosen; the sweep does not hold them, so they come from {found.source}."
            )
            found = replace(found, warnings=(*found.warnings, extra))
        elif chosen:
            why = f"chosen by hand: {why}"
        return replace(found, why=why, repairs=tuple(repairs))
    raise NoPosition(" ".join(warnings) or "Nothing says where the carriage was.")


def _why(evidence: Evidence, found: Located) -> str:
    """In half a sentence, why the places come from where they come from."""
    used = sum(int(np.sum(motion.delayed)) for motion in found.motions)
    wanted = len(evidence.stations_mm) * evidence.passes
    set_marks = sum(len(motion.t_s) for motion in found.motions)
    return {
        "encoder": "the instrument's line carries a position that stays in the stroke"
        + (f", held against {len(evidence.index.t_s)} passes of its index" if evidence.index is not None else ""),
        "marks": f"{set_marks} of {wanted} marks fit the order, the spacing and the speed; no usable position "
        "came with the readings",
        "stops": f"the readings keep still where the {wanted} marks were set",
        "strips": "steps of one height stand where strips were laid; no marks were set",
        "ends only": "nothing but the beginning and the end of motion is known",
    }[found.source] + ("" if used or found.source != "marks" else ", all at rest")


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


def _by_encoder(evidence: Evidence, warnings: list[str], repairs: Repairs) -> Located | None:
    if evidence.counted_mm is None or not np.isfinite(evidence.counted_mm).any():
        return None
    t, x = evidence.t_s, evidence.counted_mm
    if evidence.no_value_counted_mm is not None and len(evidence.no_value_counted_mm) == len(evidence.no_value_t_s):
        t, x = np.concatenate([t, evidence.no_value_t_s]), np.concatenate([x, evidence.no_value_counted_mm])
    zero = _encoder_zero(evidence, t, x)
    if "began at the other end" in evidence.accept and evidence.at_zero_mm is None:
        zero = evidence.stroke_mm[0] + evidence.stroke_mm[1] - zero
        warnings.append(f"The sweep began at {zero:.0f} mm, as agreed.")
    try:
        track = motions_from_track(t, x, zero, evidence.stroke_mm, "encoder turned" in evidence.accept, evidence.index)
    except BadTrack as fault:
        warnings.append(f"{fault} The encoder was left out.")
        if fault.turned:
            repairs.append(("encoder turned", str(fault), "read the encoder with its sign switched"))
            if evidence.at_zero_mm is None:
                repairs.append(
                    (
                        "began at the other end",
                        str(fault),
                        f"take it that the sweep began at {evidence.stroke_mm[1]:.0f} mm",
                    )
                )
        return None
    warnings.extend(track.warnings)
    if _other_end(evidence, track.motions, warnings, repairs):
        return None
    if len(track.motions) != evidence.passes:
        warnings.append(f"{len(track.motions)} passes were found; {evidence.passes} were asked for.")
    return Located(track.motions, "encoder", tuple(warnings))


def _encoder_zero(evidence: Evidence, t_s: FloatArray, counted_mm: FloatArray) -> float:
    """Where the count is 0: as the set-up says, else the stroke's first end, else, for a sweep over a part of the
    stroke that begins with a mark before anything has moved, the first station."""
    if evidence.at_zero_mm is not None:
        return evidence.at_zero_mm
    marks = evidence.mark_t_s[np.isfinite(evidence.mark_t_s)]
    good = np.isfinite(t_s) & np.isfinite(counted_mm)
    if len(marks) and len(evidence.stations_mm) and good.sum() > 1:
        order = np.argsort(t_s[good])
        there = float(np.interp(marks.min(), t_s[good][order], counted_mm[good][order]))
        first = float(evidence.stations_mm[0])
        if abs(there) < 15.0 and min(abs(first - end) for end in evidence.stroke_mm) > CLIP_MM:
            return first
    return evidence.stroke_mm[0]


def _other_end(evidence: Evidence, motions: Sequence[Motion], warnings: list[str], repairs: Repairs) -> bool:
    """Whether the places at which the indicator touches say that the sweep began at the other end. Said and offered."""
    if evidence.unit != "mm" or "began at the other end" in evidence.accept:
        return False
    here, there = _misplaced(evidence, motions, False), _misplaced(evidence, motions, True)
    if here < 0.12 or there > 0.5 * here:
        return False
    found = (
        f"{100 * here:.0f} in 100 readings touch where the indicator cannot reach; seen from the other end it is "
        f"{100 * there:.0f} in 100: the sweep began at the other end, or the set-up is another one."
    )
    warnings.append(f"{found} These positions were left out.")
    repairs.append(("began at the other end", found, "take it that the sweep began at the other end"))
    return True


def _misplaced(evidence: Evidence, motions: Sequence[Motion], turned: bool) -> float:
    """Share of the readings (and of the "no value" lines) that lie where they cannot, the motions as they are or
    ``turned`` end for end."""
    rest = free_rest(evidence.height)
    off = np.zeros(len(evidence.t_s), bool) if rest is None else np.abs(evidence.height - rest.value) <= rest.near
    silent = _placed_silence(evidence)
    t = np.concatenate([evidence.t_s, silent])
    touches = np.concatenate([~off & np.isfinite(evidence.height), np.zeros(len(silent), bool)])
    wrong = total = 0
    for motion in motions:
        within = (t > motion.t_s[0]) & (t < motion.t_s[-1])
        x = motion.position_mm(t[within])
        x = evidence.stroke_mm[0] + evidence.stroke_mm[1] - x if turned else x
        inside = np.zeros(len(x), bool)
        for low, high in evidence.windows:
            inside |= (x >= low) & (x <= high)
        wrong += int(np.sum(inside != touches[within]))
        total += len(x)
    return wrong / total if total else 0.0


def _placed_silence(evidence: Evidence) -> FloatArray:
    """The times of the "no value" lines whose place is known: those without a position of their own, in a long silence
    of an encoder, say nothing of where the tip was off."""
    silent = evidence.no_value_t_s
    if evidence.counted_mm is None or not len(silent):
        return silent
    known = np.isfinite(evidence.counted_mm)
    t = [evidence.t_s[known]]
    counted = evidence.no_value_counted_mm
    if counted is not None and len(counted) == len(silent):
        t.append(silent[np.isfinite(counted)])
    spoken = np.sort(np.concatenate(t))
    if not len(spoken):
        return silent
    after = np.clip(np.searchsorted(spoken, silent), 1, max(len(spoken) - 1, 1))
    near = np.minimum(np.abs(spoken[np.minimum(after, len(spoken) - 1)] - silent), np.abs(spoken[after - 1] - silent))
    return np.asarray(silent[near < _SILENCE_S], float)


def _by_marks(evidence: Evidence, warnings: list[str], repairs: Repairs) -> Located | None:
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
    if "began at the other end" in evidence.accept:
        stations = stations[::-1]
        warnings.append(f"The sweep began at {stations[0]:.0f} mm, as agreed.")
    marks = np.sort(evidence.mark_t_s[np.isfinite(evidence.mark_t_s)])
    matched = match_marks(marks, stations, evidence.passes)
    warnings.extend(matched.warnings)
    doubtful = int(np.sum(matched.doubtful))
    if doubtful and "marks as matched" not in evidence.accept:
        found = f"{doubtful} marks beside a missing or a surplus one could belong to the station before or after."
        warnings.append(f"{found} They were left out.")
        repairs.append(("marks as matched", found, "use them at the stations that fit the speed best"))
        matched = matched.without_doubtful()
    motions = motions_from_marks(marks, matched, stations, evidence.passes, evidence.stroke_mm)
    if not motions:
        warnings.append("No pass has two usable marks; the marks were left out.")
        return None
    if _other_end(evidence, motions, warnings, repairs):
        return None
    missing = evidence.passes - len(motions)
    if missing:
        warnings.append(f"{missing} of {evidence.passes} passes had fewer than two usable marks and were left out.")
    stops = _stops(evidence, motions) if evidence.unit == "mm" else ()
    if stops:
        return Located(tuple(motions), "stops", tuple(warnings), (), None, stops)
    dwells = find_dwells(evidence.t_s, _where_touching(evidence, motions), evidence.resolution, LEAST_S[evidence.unit])
    if evidence.unit != "mm":
        order = np.argsort(evidence.t_s, kind="stable")
        last_mark = max(float(motion.t_s[-1]) for motion in motions)
        dwells = last_dwell(evidence.t_s[order], evidence.height[order], last_mark, dwells, evidence.resolution)
    if evidence.unit == "mm":  # a carriage that goes over the top of a hump looks as if it stood, but not steadily
        dwells = tuple(dwell for dwell in dwells if dwell.steadiness > 0.8)
    standing = [with_dwells(motion, dwells, SETTLING_S[evidence.unit]) for motion in motions]
    between = sum(_inside(evidence.windows, motion.x_mm[1:-1]) for motion in motions)
    stood = sum(found for _, found in standing)
    if between >= 4 and stood >= 0.6 * between:
        return Located(tuple(motion for motion, _ in standing), "stops", tuple(warnings), dwells)
    if evidence.unit == "mm":
        motions = list(stopped_between(motions, evidence.t_s, _where_touching(evidence, motions), evidence.resolution))
        warnings.extend(stood_words(motions))
    return Located(tuple(motions), "marks", tuple(warnings), dwells)


def _stops(evidence: Evidence, motions: Sequence[Motion]) -> tuple[Stop, ...]:
    """The settled readings of an indicator that was read at stops; none where the carriage was pushed through."""
    height = _where_touching(evidence, motions)
    good = np.isfinite(height)
    order = np.argsort(evidence.t_s[good], kind="stable")
    t, z = evidence.t_s[good][order], height[good][order]
    seen = [
        [_inside(evidence.windows, motion.x_mm[i : i + 1], 1.0) > 0 for i in range(len(motion.t_s))]
        for motion in motions
    ]
    between = [
        time
        for motion, here in zip(motions, seen, strict=True)
        for time, on in zip(motion.t_s[1:-1].tolist(), here[1:-1], strict=True)
        if on
    ]
    if len(t) < 8 or not stood_still(t, z, np.array(between), evidence.resolution):
        return ()
    out = []
    for number, (motion, here) in enumerate(zip(motions, seen, strict=True)):
        dwells = standing_at_marks(t, z, motion.t_s, evidence.resolution)
        for i, dwell in enumerate(dwells):
            if dwell is not None and here[i]:
                middle = (dwell.start_s + dwell.end_s) / 2.0
                out.append(
                    Stop(
                        number, motion.direction, middle, float(motion.x_mm[i]), dwell.value, dwell.standard_uncertainty
                    )
                )
    return tuple(out) if len({stop.x_mm for stop in out}) >= 4 else ()


def _inside(windows: Sequence[Interval], x_mm: FloatArray, margin_mm: float = 30.0) -> int:
    """How many places lie well inside a window."""
    return sum(any(low + margin_mm <= x <= high - margin_mm for low, high in windows) for x in x_mm)


def _where_touching(evidence: Evidence, motions: Sequence[Motion]) -> FloatArray:
    """The readings that can touch; nan for the others, whose free rest would look like one long stop."""
    touching = np.zeros(len(evidence.t_s), bool)
    for motion in motions:
        within = (evidence.t_s >= motion.t_s[0] - 3.0) & (evidence.t_s <= motion.t_s[-1] + 3.0)
        x = motion.position_mm(evidence.t_s)
        for low, high in evidence.windows:
            touching |= within & (x >= low - 1.0) & (x <= high + 1.0)
    rest = free_rest(evidence.height) if evidence.unit == "mm" and len(evidence.windows) else None
    if rest is not None:
        touching &= np.abs(evidence.height - rest.value) > rest.near
    return np.where(touching, evidence.height, np.nan)


def _by_ends(evidence: Evidence, warnings: list[str], repairs: Repairs) -> Located | None:
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
            evidence.resolution,
        )
    except NoMotion as fault:
        warnings.append(str(fault))
        return None
    if len(evidence.stations_mm) and evidence.strip_sign:
        found = with_strips(
            motions, evidence.t_s, evidence.height, evidence.stations_mm, evidence.windows, evidence.strip_sign
        )
        if found is not None:
            kept = [w for w in warnings if not w.startswith("Marks were asked for")]
            return Located(found.motions, "strips", (*kept, *found.notes), (), found.on_strip)
    if evidence.unit == "mm" and not stood_words(motions):  # between edges of the surface: those without have looked
        height = _where_touching(evidence, motions)
        motions = list(stopped_between(motions, evidence.t_s, height, evidence.resolution))
    warnings.extend(stood_words(motions))
    warnings.append("Positions come from the start and end of motion only: weak evidence; use marks or an encoder.")
    if len(motions) != evidence.passes:
        warnings.append(f"{len(motions)} passes were found; {evidence.passes} were asked for.")
    return Located(tuple(motions), "ends only", tuple(warnings))
