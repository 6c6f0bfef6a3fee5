"""Several instruments recorded at once, seen from one of them: its positions and marks taken from the others.

Why it exists: an indicator on one port and an encoder on another are one measurement. Each is recorded by itself, with
its own bytes and its own clock, so that nothing one of them does can harm the other; only when a recording is opened
are they laid on one time base. The mistakes prevented: two files merged at their first lines, as if they had begun
together, and a position carried across a stretch in which the encoder was not heard.

The tie is this computer's monotonic clock, read once when each recording began. An instrument whose own clock is the
time base (``clock: device``) is tied to it by its lines: every row of wire.csv has the host's stamp.
"""

from __future__ import annotations

import re
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from logger.decode import make_decoder
from logger.errors import TruestrokeError
from logger.link.wire import Interpreter
from logger.record.rows import RowsFile, read_wire
from logger.record.writing import WIRE

if TYPE_CHECKING:
    from collections.abc import Callable

    from numpy.typing import NDArray

    from logger.recording import Recording

    Array = NDArray[np.float64]

POSITION = "position"
"""Folder of the encoder's recording, inside the recording that it gives positions to; and its role in a command."""
LONGEST_SILENCE_S = 0.6
"""The node says its position four times a second while the carriage stands; over a longer silence nothing is known."""
STANDS_MM = 1.0
MOST_BESIDE = 4
_PLACE = re.compile(r"\.\.|(?:\.\./)?[0-9a-z][0-9a-z-]{0,60}(?:/position(?:-\d)?)?")


def places_of(folder: Path, folders: list[Path]) -> list[str]:
    """How the descriptor in ``folder`` names the recordings made together with it: relative, so that a job may move.
    An encoder's, which lies inside the sweep it gives positions to, names that sweep alone."""
    if folder.parent in folders:
        return [".."]
    return [_place_of(other, folder, inside=other.parent in folders) for other in folders if other != folder]


def _place_of(other: Path, folder: Path, *, inside: bool) -> str:
    if other.parent == folder:
        return other.name
    return f"../{other.parent.name}/{other.name}" if inside else f"../{other.name}"


def with_beside(recording: Recording, open_alone: Callable[[Path], Recording]) -> Recording:
    """``recording`` with the positions and the marks of those made together with it, where it has none of its own."""
    others, warnings = _others(recording, open_alone)
    if not others and not warnings:
        return recording
    for other in others:
        own_time = time_of(other, recording)
        if not np.isfinite(recording.position_mm).any():
            recording = _positioned(recording, other, own_time)
        if not len(recording.mark_t_s) and len(other.mark_t_s):
            recording = replace(recording, mark_t_s=own_time(other.mark_t_s), mark_source=other.mark_source)
    names = tuple(other.name for other in others)
    return replace(recording, beside=names, warnings=(*recording.warnings, *warnings))


def _others(recording: Recording, open_alone: Callable[[Path], Recording]) -> tuple[list[Recording], list[str]]:
    named = recording.descriptor["truestroke"].get("extra", {}).get("together", [])
    others, warnings = [], []
    for place in (named if isinstance(named, list) else [])[:MOST_BESIDE]:
        if not isinstance(place, str) or _PLACE.fullmatch(place) is None:
            warnings.append("what was recorded beside it is named in a way that is not ours, and was left out")
            continue
        try:
            other = open_alone(recording.folder / place)
        except TruestrokeError:
            warnings.append(f"{place.removeprefix('../')}, recorded beside it, is not here")
            continue
        others.append(other)
        warnings += [f"{other.name}: {text}" for text in other.warnings if place == POSITION]
    return others, warnings


def time_of(other: Recording, recording: Recording) -> Callable[[Array], Array]:
    """From times of ``other`` to the time base of ``recording``."""
    offset_s = _began_s(other) - _began_s(recording)
    from_base, to_base = _host_track(other), _host_track(recording)

    def convert(t_s: Array) -> Array:
        host = t_s if from_base is None else _along(t_s, from_base[1], from_base[0])
        host = host + offset_s
        return host if to_base is None else _along(host, to_base[0], to_base[1])

    return convert


def _began_s(recording: Recording) -> float:
    start: Any = recording.descriptor["truestroke"].get("start", {})
    moment = start.get("monotonic_ns") if isinstance(start, dict) else None
    return float(moment) / 1e9 if isinstance(moment, int) else 0.0


def _host_track(recording: Recording) -> tuple[Array, Array] | None:
    """(host seconds, seconds of its time base) of a recording whose time base is the device's clock, else None."""
    if getattr(recording.instrument, "clock", "host") != "device":
        return None
    rows, _ = read_wire(RowsFile.read(recording.folder / WIRE))
    interpreter = Interpreter(make_decoder(recording.instrument.frame_spec()))
    pairs = []
    for row in rows:
        interpreter.records(row)
        if row.channel == "in":
            pairs.append((row.t_ns / 1e9, interpreter.in_time_base(row.t_ns) / 1e9))
    if len(pairs) < 2:
        return None
    host, base = np.array(pairs).T
    keep = np.concatenate([[True], np.diff(np.maximum.accumulate(base)) > 0])
    return (host[keep], base[keep]) if int(keep.sum()) >= 2 else None


def _along(x: Array, known: Array, wanted: Array) -> Array:
    """Straight between known pairs, at their mean pace beyond them."""
    pace = (wanted[-1] - wanted[0]) / (known[-1] - known[0])
    inside = np.interp(x, known, wanted)
    return np.where(
        x < known[0],
        wanted[0] + (x - known[0]) * pace,
        np.where(x > known[-1], wanted[-1] + (x - known[-1]) * pace, inside),
    )


def _positioned(recording: Recording, other: Recording, own_time: Callable[[Array], Array]) -> Recording:
    t_s = np.concatenate([other.t_s, other.no_value_t_s])
    x_mm = np.concatenate([other.position_mm, other.no_value_position_mm])
    known = np.isfinite(x_mm)
    if int(known.sum()) < 2:
        return recording
    t_s, x_mm = own_time(t_s[known]), x_mm[known]
    order = np.argsort(t_s, kind="stable")
    t_s, x_mm = t_s[order], x_mm[order]
    shift_mm, said = _began_elsewhere(recording, x_mm)
    x_mm = x_mm - shift_mm
    return replace(
        recording,
        warnings=(*recording.warnings, *said),
        index_t_s=own_time(other.index_t_s),
        index_position_mm=other.index_position_mm - shift_mm,
        position_mm=position_at(recording.t_s, t_s, x_mm),
        no_value_position_mm=position_at(recording.no_value_t_s, t_s, x_mm),
        position_from=other.name,
    )


def _began_elsewhere(recording: Recording, x_mm: Array) -> tuple[float, list[str]]:
    """What to take off an encoder's positions: nothing, or its count at the start where only then they fit the stroke
    (a board that did not start again when its port was opened goes on counting from an earlier push)."""
    try:
        set_up, carriage = recording.machine.set_up(recording.set_up), recording.machine.carriage
    except TruestrokeError:
        return 0.0, []
    low, high = (float(end) for end in carriage.stroke_mm)
    zero = low if set_up.encoder.at_zero_mm is None else set_up.encoder.at_zero_mm
    slack = 0.03 * (high - low)

    def fits(shift_mm: float) -> bool:
        moved = zero + x_mm - shift_mm
        return bool(moved.min() >= low - slack and moved.max() <= high + slack)

    if fits(0.0) or not fits(float(x_mm[0])):
        return 0.0, []
    said = f"the encoder's count began at {x_mm[0]:.0f} mm; positions are from where the carriage stood at the start"
    return float(x_mm[0]), [said]


def position_at(wanted_s: Array, t_s: Array, x_mm: Array) -> Array:
    """The track (``t_s`` rising, ``x_mm``) at ``wanted_s``: straight between two positions that are close in time or
    alike, nan where the encoder was silent while the carriage moved, or long before the first and after the last."""
    after = np.clip(np.searchsorted(t_s, wanted_s), 1, len(t_s) - 1)
    silent = (t_s[after] - t_s[after - 1] > LONGEST_SILENCE_S) & (np.abs(x_mm[after] - x_mm[after - 1]) > STANDS_MM)
    beyond = (wanted_s < t_s[0] - LONGEST_SILENCE_S) | (wanted_s > t_s[-1] + LONGEST_SILENCE_S)
    return np.where(silent | beyond, np.nan, np.interp(wanted_s, t_s, x_mm))
