"""A sweep whose readings were typed in at the stations: what each station's reading is, and the profile of them.

Why it exists: a dial, a bubble and a pair of feelers serve the same measurements as an instrument on a wire, so what
was typed becomes the same record and the same findings. It prevents a feeler gap treated as a number (it lies anywhere
between two leaves), and a typing mistake that was put right from counting twice.

In the recording each station has a mark, and after it the reading as it was typed; the last reading after a mark counts
(what was typed again replaces what was typed first).
"""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from analysis.fit import Scales
from analysis.results import Positions
from analysis.stops import Stop, station_profile
from analysis.sweeps import Geometry, Outcome
from logger.decode.typed import FROM, TO

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from logger.recording import Recording

SOURCE = "typed"
FEWEST_STATIONS = 3
READ_BY_EYE = 0.5
"""A figure typed without an interval lies within this part of its last digit's step either way; common practice, no
source."""


def is_typed(recording: Recording) -> bool:
    """Whether its readings were typed in."""
    return getattr(recording.instrument, "frame", "") == "typed"


def stops_typed(recording: Recording, heights: NDArray[np.float64], resolution: float, number: int = 0) -> list[Stop]:
    """One stop for each station that has a reading; ``heights`` (readings,) in mm or mm/m with their sign and zero."""
    names = [recording.channels[index] for index in recording.channel.tolist()] if len(recording.channel) else []
    ends = [*recording.mark_t_s[1:].tolist(), np.inf]
    stops = []
    for place, (mark_s, until_s) in enumerate(zip(recording.mark_t_s.tolist(), ends, strict=True)):
        which, x_mm, direction = _place(recording, place)
        inside = np.flatnonzero((recording.t_s >= mark_s) & (recording.t_s < until_s))
        if which >= recording.passes or not len(inside):
            continue
        value, u = _last(heights, names, inside.tolist(), resolution)
        stops.append(Stop(which + 100 * number, direction, mark_s, x_mm, value, u))
    return stops


def _place(recording: Recording, place: int) -> tuple[int, float, int]:
    """Pass, station and direction of the ``place``-th mark."""
    along = recording.stations_mm
    which, station = divmod(place, len(along))
    x_mm = along[station] if which % 2 == 0 else along[-1 - station]
    rising = 1 if along[-1] >= along[0] else -1
    return which, x_mm, rising if which % 2 == 0 else -rising


def _last(
    heights: NDArray[np.float64], names: Sequence[str], inside: Sequence[int], resolution: float
) -> tuple[float, float]:
    """The value typed last and its standard uncertainty: of an interval half its width over root three (GUM 4.3.7)."""
    last = inside[-1]
    if names[last] == TO and last - 1 >= inside[0] and names[last - 1] == FROM:
        low, high = sorted((float(heights[last - 1]), float(heights[last])))
        return (low + high) / 2, (high - low) / 2 / np.sqrt(3.0)
    return float(heights[last]), READ_BY_EYE * resolution / np.sqrt(3.0)


def typed_outcome(
    recordings: Sequence[Recording], heights: Sequence[NDArray[np.float64]], geometry: Geometry
) -> Outcome:
    """The profile at the stations of all typed sweeps of one state. Raises ValueError where too few were read."""
    warnings: list[str] = []
    stops: list[Stop] = []
    for number, (recording, values) in enumerate(zip(recordings, heights, strict=True)):
        found = stops_typed(recording, values, geometry.resolution, number)
        touching = [stop for stop in found if any(low <= stop.x_mm <= high for low, high in geometry.windows)]
        if len(touching) < len(found):
            off = sorted({stop.x_mm for stop in found} - {stop.x_mm for stop in touching})
            warnings.append(
                f"At {', '.join(f'{x:.0f}' for x in off)} mm the instrument cannot touch in this set-up; left out."
            )
        asked = recording.passes * len(recording.stations_mm)
        if len(recording.mark_t_s) < asked:
            warnings.append(f"{len(recording.mark_t_s)} of {asked} stations were come to.")
        stops += touching
    stations = {stop.x_mm for stop in stops}
    if len(stations) < FEWEST_STATIONS:
        raise ValueError(f"Readings were typed at {len(stations)} stations; at least {FEWEST_STATIONS} are needed.")
    if len(stops) == len(stations):
        warnings.append("Each station was read once only: nothing shows how well the readings repeat.")
    scales = Scales()
    profile = station_profile(
        stops, geometry.quantity, geometry.unit, geometry.stroke_mm, geometry.zero_known, geometry.resolution,
        scales.hysteresis_both, scales.drift_per_s / 10, warnings,
    )  # fmt: skip
    if geometry.instrument:
        covariance = profile.covariance + geometry.instrument**2
        parts = {**profile.parts, "instrument": np.full(len(profile.x_mm), geometry.instrument)}
        profile = replace(profile, covariance=covariance, uncertainty=2.0 * np.sqrt(np.diag(covariance)), parts=parts)
    return Outcome(profile, None, SOURCE, (), tuple(warnings))


def typed_positions(recording: Recording) -> Positions:
    """Where the carriage stood at each typed reading; exact, as far as the stations are."""
    x = np.full(len(recording.t_s), np.nan)
    index = np.full(len(recording.t_s), -1, np.int64)
    after = np.searchsorted(recording.mark_t_s, recording.t_s, side="right") - 1
    for reading, place in enumerate(after.tolist()):
        if place >= 0 and _place(recording, place)[0] < recording.passes:
            index[reading], x[reading], _ = _place(recording, place)
    passes = sorted(set(index[index >= 0].tolist()))
    direction = tuple(_place(recording, number * len(recording.stations_mm))[2] for number in passes)
    return Positions(x, np.zeros(len(x)), index, direction, SOURCE)
