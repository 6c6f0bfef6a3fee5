"""A set-up's recordings become findings: positions, one profile, straightness, spots, a verdict.

Why it exists: it is the one bridge between what is on disk and what the analysis says, used by the command line, the
screen and the report alike, so that the three cannot disagree. It prevents a result that hides its weakness: whatever
was left out, cut off, repaired or not seen is in ``warnings`` and ``not_seen``, and the verdict follows ISO 14253-1.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING, Any

import numpy as np

from analysis import positions as located_positions
from analysis.contact import Interval, carried_windows, fixed_windows
from analysis.index import Index
from analysis.marks import STATION_PLACE_MM
from analysis.positions import Evidence, NoPosition, locate
from analysis.results import Findings, FloatArray, Positions, Profile, Quantity, Straightness
from analysis.spots import find_spots
from analysis.stop_profile import STOOD_MM
from analysis.straightness import REFERENCES, NotEnoughPoints, straightness
from analysis.sweeps import Geometry, Outcome, SweepData, profile_of
from analysis.uncertainty import LINEARITY_MM, extremes, smooth_covariance
from analysis.units import height_from_reading
from logger.description.channels import of_its_channel
from logger.errors import NotAllowed, NotUnderstood
from logger.judging.instrument_trial import extremes_with_floor, floor_for, with_floor
from logger.judging.judged import (
    FOOT_MM,
    TABLE_ALIKE_MM,
    TABLE_MM,
    as_far_as_seen,
    not_seen_by,
    unless_doubtful,
    verdict_on,
)
from logger.judging.pushed_level import pushed_level
from logger.judging.words import as_json as as_json
from logger.judging.words import lines as lines
from logger.record.typed_sweep import is_typed, typed_outcome, typed_positions

if TYPE_CHECKING:
    from logger.machines import Machine, SetUp
    from logger.recording import Recording


ZERO_SET_MM = 0.0015
"""Standard uncertainty of setting an indicator's zero on the table; common practice, no source."""


Accepted = Iterable[str] | Mapping[str, Iterable[str]]
"""What the person has agreed to: for all the sweeps, or by a sweep's name."""

FORMS_RUN_FURTHER = -1.0
"""``bias_share`` where the table's own form lies inside the heights: it is no noise that made them too large. Bolts are
turned until the *readings* are flat, and the carriage then runs up and down with the table."""


def find(recordings: Sequence[Recording], accept: Accepted = ()) -> Findings:
    """All sweeps of one set-up in one state -> findings.

    ``accept`` names repairs the person has agreed to (``analysis.positions.REPAIRS``) and a choice of where positions
    come from (``positions from marks``); without it nothing is repaired, the evidence is left out, ``warnings`` says so
    and ``repairs`` offers what could be done. Raises NotAllowed for recordings that do not belong together and
    NotUnderstood when nothing can be made of them.
    """
    outcome = outcome_of(recordings, accept)
    first = recordings[0]
    profile = outcome.profile
    whole = _with_table(profile, first)
    unmapped = set_up_of(first).kind == "carried" and whole is not profile.covariance
    share = FORMS_RUN_FURTHER if unmapped else outcome.bias_share
    ends = extremes(profile.x_mm, profile.value, whole, profile.zero_known, share, LINEARITY_MM)
    ends = extremes_with_floor(ends, profile)
    return Findings(
        set_up=first.set_up,
        sweeps=tuple(recording.name for recording in recordings),
        position_source=outcome.source,
        profile=_said_over_the_plane(profile, whole),
        extremes=ends,
        straightness=_straightness(profile),
        spots=find_spots(replace(profile, covariance=whole)),
        verdict=unless_doubtful(
            as_far_as_seen(verdict_on(first.machine, profile, ends), profile, geometry_of(first).windows), outcome.doubt
        ),
        not_seen=not_seen_by(first.machine, first.set_up, profile),
        warnings=tuple(dict.fromkeys([*_recordings_say(recordings), *outcome.warnings])),
        reports=dict(profile.reports),
        position_uncertainty_mm=_place_uncertainty(outcome),
        position_why="; ".join(
            dict.fromkeys([*(where.why for where in outcome.located if where.why), *_edges(outcome)])
        ),
        repairs=outcome.repairs,
    )


def _said_over_the_plane(profile: Profile, whole: FloatArray) -> Profile:
    """The profile with the uncertainty of a height over the table's *plane*: the flatness of an unmapped table in it.

    Its covariance stays that of the height over the table as it lies there: whoever compares two sweeps over the same
    table needs that one.
    """
    table = np.sqrt(np.maximum(np.diag(whole) - np.diag(profile.covariance), 0.0))
    if not table.any():
        return profile
    uncertainty = 2.0 * np.sqrt(np.diag(whole))
    return replace(profile, uncertainty=uncertainty, parts={**profile.parts, "table": table})


def _edges(outcome: Outcome) -> list[str]:
    """Edges of the top, the table and its openings that were met: places from ``machine.yaml``, used like marks."""
    motions = [one.motion for one in outcome.fit.passes] if outcome.fit is not None else []
    met = sum(int(np.sum(motion.landmark)) for motion in motions if motion.landmark is not None and not motion.measured)
    return [f"{met} edges of the surface that were met serve as marks too"] if met else []


def _place_uncertainty(outcome: Outcome) -> FloatArray:
    """Expanded uncertainty (stations,) of the places: the passes' own together, and the tape's."""
    x = outcome.profile.x_mm
    if outcome.fit is None:
        return np.full(len(x), 2.0 * float(np.hypot(STATION_PLACE_MM, STOOD_MM)))
    variance = np.zeros(len(x))
    for one in outcome.fit.passes:
        variance += np.interp(x, one.node_x_mm, one.shift_standard_uncertainty_mm**2)
    return np.asarray(2.0 * np.sqrt(variance / max(len(outcome.fit.passes), 1) + STATION_PLACE_MM**2), float)


def outcome_of(recordings: Sequence[Recording], accept: Accepted = ()) -> Outcome:
    """The profile with the fit behind it (corrected positions of each pass, residuals) for the screen and the bolts;
    no better known than the instrument was found to repeat, where it was tried."""
    outcome = _outcome(recordings, accept)
    floors = [floor for floor in map(floor_for, recordings) if floor is not None]
    return replace(outcome, profile=with_floor(outcome.profile, max(floors, default=None)))


def _outcome(recordings: Sequence[Recording], accept: Accepted) -> Outcome:
    _belong_together(recordings)
    geometry = geometry_of(recordings[0])
    if any(map(is_typed, recordings)):
        return _typed_outcome(recordings, geometry)
    sweeps = [
        SweepData(recording.name, evidence_of(recording, geometry, accept_for(recording, accept)))
        for recording in recordings
    ]
    try:
        outcome = profile_of(sweeps, geometry)
        return replace(
            outcome,
            profile=_over_the_plane(outcome.profile, recordings[0]),
            warnings=(*outcome.warnings, *pushed_level(outcome, sweeps)),
        )
    except ValueError as fault:
        names = ", ".join(recording.name for recording in recordings)
        raise NotUnderstood(
            f"Nothing can be made of {names}. {fault}", "Sweep again, with marks or an encoder."
        ) from fault


def _typed_outcome(recordings: Sequence[Recording], geometry: Geometry) -> Outcome:
    if not all(map(is_typed, recordings)):
        raise NotAllowed(
            "Typed readings and readings from a wire are of different kinds.", "Judge those sweeps one by one."
        )
    try:
        outcome = typed_outcome(recordings, [heights_of(recording) for recording in recordings], geometry)
    except ValueError as fault:
        raise NotUnderstood(str(fault), "Type readings at more stations.") from fault
    return replace(outcome, profile=_over_the_plane(outcome.profile, recordings[0]))


def accept_for(recording: Recording, accept: Accepted) -> frozenset[str]:
    """What was agreed to for this recording."""
    return frozenset(accept.get(recording.name, ()) if isinstance(accept, Mapping) else accept)


def positions(recording: Recording, accept: Accepted = ()) -> Positions:
    """Where the carriage was at each reading of one recording. Raises NotUnderstood where nothing says so."""
    if is_typed(recording):
        return typed_positions(recording)
    geometry = geometry_of(recording)
    try:
        located = locate(evidence_of(recording, geometry, accept_for(recording, accept)))
    except NoPosition as fault:
        raise NotUnderstood(f"{recording.name}: {fault}", "Sweep again, with marks or an encoder.") from fault
    return located_positions.positions(located, recording.t_s)


def geometry_of(recording: Recording) -> Geometry:
    """What this recording's set-up can see of its machine. Raises NotAllowed where it can see nothing."""
    machine, set_up = recording.machine, set_up_of(recording)
    stroke = (float(machine.carriage.stroke_mm[0]), float(machine.carriage.stroke_mm[1]))
    windows = tuple(windows_of(machine, set_up))
    if not windows:
        raise NotAllowed(
            f"In set-up {recording.set_up} the indicator touches nowhere along the stroke "
            f"{stroke[0]:g} to {stroke[1]:g} mm.",
            "Check x_mm, offset_mm and the table in machine.yaml.",
        )
    level = set_up.kind == "level"
    if level != (recording.unit == "mm/m"):
        raise NotAllowed(
            f"Set-up {recording.set_up} is a {set_up.kind} and {recording.name} is in {recording.unit}.",
            "Use a level's instrument for a level, an indicator's for a height.",
        )
    return Geometry(
        stroke_mm=stroke,
        windows=windows,
        quantity=_quantity(set_up),
        unit="mm/m" if level else "mm",
        zero_known=zero_of(set_up) is not None and set_up.direction == "height",
        resolution=_resolution(recording),
        instrument=0.0 if zero_of(set_up) is None else max(ZERO_SET_MM, _resolution(recording) / 3.5) * (not level),
        tip_falls={"fixed": -1, "carried": 1}.get(set_up.kind, 0) if set_up.direction == "height" else 0,
    )


def _quantity(set_up: SetUp) -> Quantity:
    if set_up.kind == "level":
        return "pitch" if set_up.axis == "pitch" else "roll"
    return "height" if set_up.direction == "height" else "sideways"


def windows_of(machine: Machine, set_up: SetUp) -> list[Interval]:
    """Stretches of the stroke (positions of the carriage's middle) in which the set-up reads."""
    stroke = (float(machine.carriage.stroke_mm[0]), float(machine.carriage.stroke_mm[1]))
    if set_up.kind == "fixed":
        return fixed_windows(stroke, float(set_up.x_mm or 0.0), float(machine.carriage.top_length_mm))
    if set_up.kind == "carried":
        openings = [(float(a), float(b)) for a, b in machine.table.insert_mm]
        table = (float(machine.table.from_mm), float(machine.table.to_mm))
        return carried_windows(stroke, float(set_up.offset_mm or 0.0), table, openings)
    return [stroke]


def set_up_of(recording: Recording) -> SetUp:
    """The set-up the recording was made in. Raises NotAllowed when the machine does not have it."""
    return recording.machine.set_up(recording.set_up)


def zero_of(set_up: SetUp) -> float | None:
    """The reading that means "in the table's plane" (or level); None where it is not known."""
    return set_up.zero_mm_per_m if set_up.kind == "level" else set_up.zero_mm


def heights_of(recording: Recording) -> np.ndarray[Any, np.dtype[np.float64]]:
    """The recording's readings as heights (mm) or tilts (mm/m), signs and zero as in the units module.

    Of an indicator held sideways: how far the carriage stands toward the table (+ y). Its tip is pushed in when what it
    touches comes against it.
    """
    set_up = set_up_of(recording)
    if set_up.direction != "height" and set_up.kind != "level":
        comes = (set_up.direction == "from_table") == (set_up.kind == "fixed")
        sign = (1.0 if comes else -1.0) * (1.0 if set_up.sense == "normal" else -1.0)
        return np.asarray((recording.value - (zero_of(set_up) or 0.0)) * sign, float)
    return height_from_reading(recording.value, set_up.kind, zero_of(set_up), set_up.sense)


def evidence_of(recording: Recording, geometry: Geometry, accept: Iterable[str] = ()) -> Evidence:
    """All that the recording says about where the carriage was."""
    set_up, accept = set_up_of(recording), frozenset(accept)
    counts = set_up.encoder.counts_per_mm
    counted, silent = recording.position_mm, recording.no_value_position_mm
    at_index = recording.index_position_mm
    if counts is not None and not recording.position_from and not getattr(recording.instrument, "counts_per_mm", None):
        counted, silent, at_index = counted / counts, silent / counts, at_index / counts
    read = of_its_channel(recording, set_up)
    return Evidence(
        t_s=recording.t_s[read],
        height=heights_of(recording)[read] * (-1.0 if "sign switched" in accept else 1.0),
        stroke_mm=geometry.stroke_mm,
        windows=geometry.windows,
        passes=max(recording.passes, 1),
        counted_mm=counted[read],
        no_value_t_s=recording.no_value_t_s,
        no_value_counted_mm=silent,
        mark_t_s=recording.mark_t_s,
        stations_mm=recording.stations_mm,
        at_zero_mm=set_up.encoder.at_zero_mm,
        index=Index(recording.index_t_s, at_index, set_up.encoder.index_every_mm, set_up.encoder.index_mm)
        if len(at_index)
        else None,
        strip_sign=-geometry.tip_falls,
        unit=geometry.unit,
        resolution=geometry.resolution,
        accept=accept,
    )


def _belong_together(recordings: Sequence[Recording]) -> None:
    if not recordings:
        raise NotAllowed("There is no sweep to judge.", "Make one with: truestroke sweep")
    set_ups = list(dict.fromkeys(recording.set_up for recording in recordings))
    if len(set_ups) > 1:
        raise NotAllowed(
            f"The sweeps are of {len(set_ups)} set-ups: {', '.join(set_ups)}.", "Judge one set-up at a time."
        )
    for recording in recordings:
        if not np.isfinite(recording.value).any():
            raise NotUnderstood(
                f"{recording.name} holds {len(recording.value)} readings and none of them is a number.", "Sweep again."
            )


def _resolution(recording: Recording) -> float:
    """The display's step: what the instrument's file says, else the smallest difference between two readings."""
    said = recording.instrument.step
    if said:
        return said
    values = np.unique(np.round(recording.value[np.isfinite(recording.value)], 7))
    return float(np.min(np.diff(values))) if len(values) > 1 else 0.0


def _straightness(profile: Profile) -> tuple[Straightness, ...]:
    try:
        return tuple(straightness(profile.x_mm, profile.value, reference) for reference in REFERENCES)
    except NotEnoughPoints:
        return ()


def surface_under(
    machine: Machine, set_up: SetUp, x_mm: np.ndarray[Any, Any]
) -> tuple[np.ndarray[Any, Any], np.ndarray[Any, Any]] | None:
    """Height of the table's mapped surface under the instrument, and its standard uncertainty, with the carriage's
    middle at ``x_mm``; None where nobody mapped it, and for a level.

    A carried tip reads the height over the surface under it, which changes along the stroke; a fixed one has its zero
    from the surface at its own foot. Height over the table's plane = what the display says + this.
    """
    if not machine.table.map or set_up.kind == "level" or set_up.direction != "height":
        return None
    nearest = min(machine.table.map, key=lambda line: abs(line.y_mm - (set_up.y_mm or 0.0)))
    x, height, u = np.array(sorted(nearest.points), float).T
    carried = set_up.kind == "carried"
    at = x_mm + float(set_up.offset_mm or 0.0) if carried else np.full(len(x_mm), float(set_up.x_mm or 0.0))
    return np.interp(at, x, height), np.interp(at, x, u)


def _over_the_plane(profile: Profile, recording: Recording) -> Profile:
    """Heights over the table's plane: the map of the table's surface, where there is one, added where the tip stood."""
    surface, set_up = surface_under(recording.machine, set_up_of(recording), profile.x_mm), set_up_of(recording)
    if surface is None:
        return profile
    height, u = surface
    apart = np.abs(profile.x_mm[:, None] - profile.x_mm[None, :]) * (1.0 if set_up.kind == "carried" else 0.0)
    covariance = profile.covariance + np.outer(u, u) * np.exp(-apart / 50.0)
    return replace(
        profile,
        value=profile.value + height,
        covariance=covariance,
        uncertainty=2.0 * np.sqrt(np.diag(covariance)),
        parts={**profile.parts, "table": u},
    )


def _with_table(profile: Profile, recording: Recording) -> Any:
    """The covariance the verdict rests on: on a table nobody mapped, the table's own flatness lies inside the heights
    and nothing in the readings can tell it from the carriage's."""
    kind = set_up_of(recording).kind
    if kind == "level" or recording.machine.table.map or profile.quantity == "sideways":
        return profile.covariance
    if (
        kind == "fixed"
    ):  # the stand's own foot is on one place of that table: the mean takes it along, the shape does not
        return profile.covariance + FOOT_MM**2
    return profile.covariance + smooth_covariance(profile.x_mm, TABLE_MM, TABLE_ALIKE_MM)


def _recordings_say(recordings: Sequence[Recording]) -> list[str]:
    several = len(recordings) > 1
    return [f"{r.name}: {text}" if several else text for r in recordings for text in r.warnings]
