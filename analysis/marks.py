"""Which mark belongs to which station of which pass.

Why it exists: people miss a station, press twice, press late, or press in the wrong place, and one mark too few moves
every later one by a whole station. It prevents marks being used by counting alone: they are matched to the expected
sequence by order, spacing and speed, and a mark that does not fit is left out and said.

Contract: each pass begins with a mark at its own first station; the next mark is the next station in the direction of
travel. N stations and P passes give N x P marks; pass 2 runs back, its first station is the last one.
"""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from analysis.motion import Motion, with_idle_time
from analysis.results import FloatArray, IntArray

HAND_SCATTER_S = 0.07  # of one mark set while the carriage moves; common practice, no source
AIM_MM = 2.5  # standard uncertainty of sighting a mark on the moving carriage; common practice, no source
STATION_PLACE_MM = 1.0  # standard uncertainty of a station laid off with a tape
CLIP_MM = 5.0
_PACE_SPREAD = 0.22  # relative, of the time between two marks
_LEFT_OUT = 4.0  # cost of a missed station or of a mark too many, as a squared deviation over two
_MOST_SKIPPED = 4
_DOUBT = 2.0  # so much dearer the next best assignment must be, as a squared deviation over two
_MOST_WEIGHED = 2500


class BadStations(ValueError):
    """Stations that cannot be those of the stroke."""


@dataclass(frozen=True)
class Matched:
    """``expected`` index of each mark (marks,), -1 where it was left out; ``warnings`` say why in plain words.

    ``doubtful`` (marks,): the mark could nearly as well belong to another station."""

    expected: IntArray
    warnings: tuple[str, ...]
    doubtful: tuple[bool, ...] = ()

    def without_doubtful(self) -> Matched:
        """The same with the doubtful ones left out."""
        kept = np.where(np.array(self.doubtful, bool), -1, self.expected) if len(self.doubtful) else self.expected
        return Matched(kept, self.warnings, self.doubtful)


def clip_stations(
    stations_mm: Sequence[float], stroke_mm: tuple[float, float]
) -> tuple[tuple[float, ...], tuple[str, ...]]:
    """Stations in the order of the first pass; up to 5 mm outside the stroke they are clipped, with a note.

    Raises BadStations for a station farther outside, for one given twice, or for stations in no order.
    """
    out, notes = [], []
    low, high = stroke_mm
    for station in stations_mm:
        if not np.isfinite(station) or station < low - CLIP_MM or station > high + CLIP_MM:
            raise BadStations(
                f"Station {station:g} mm is outside the stroke {low:g} to {high:g} mm; "
                f"up to {CLIP_MM:g} mm outside is allowed."
            )
        clipped = min(max(float(station), low), high)
        if clipped != station:
            notes.append(f"Station {station:g} mm lies outside the stroke; taken as {clipped:g} mm.")
        out.append(clipped)
    steps = np.diff(out)
    if np.any(steps == 0):
        raise BadStations(f"A station is given twice: {', '.join(f'{s:g}' for s in out)} mm.")
    if len(steps) and not (np.all(steps > 0) or np.all(steps < 0)):
        notes.append("The stations were not in order along the stroke; they were sorted from infeed to outfeed.")
        out.sort()
    return tuple(out), tuple(notes)


def station_of(expected: int, stations_mm: Sequence[float]) -> tuple[int, float]:
    """(pass, station) of the expected-th mark: every second pass runs back."""
    pass_number, k = divmod(expected, len(stations_mm))
    return pass_number, float(stations_mm[k if pass_number % 2 == 0 else len(stations_mm) - 1 - k])


def match_marks(mark_t_s: FloatArray, stations_mm: Sequence[float], passes: int) -> Matched:
    """Match marks (in order of time) to the N x P expected ones by order, spacing and speed."""
    marks = np.asarray(mark_t_s, float)
    count, wanted = len(marks), len(stations_mm) * passes
    places = np.array([station_of(i, stations_mm)[1] for i in range(wanted)])
    passes_of = np.array([station_of(i, stations_mm)[0] for i in range(wanted)])
    if count == 0 or wanted == 0:
        return Matched(np.full(count, -1, np.int64), ("There are no marks.",) if wanted else ())
    if count > 4 * wanted + 20:
        return Matched(
            np.full(count, -1, np.int64), (f"There are {count} marks; {wanted} were expected: none of them is used.",)
        )
    pace = _pace(marks, places, passes_of)
    best: IntArray = np.full(count, -1, np.int64)
    cost = 0.0
    for _ in range(3):
        best, cost = _align(marks, places, passes_of, pace)
        fresh = _pace_of(marks, best, places, passes_of)
        if fresh is None or abs(fresh / pace - 1.0) < 0.02:
            break
        pace = fresh
    doubtful = _doubtful(marks, best, places, passes_of, pace, cost)
    return Matched(best, _explain(marks, best, places, passes_of, count, wanted), doubtful)


def motions_from_marks(
    mark_t_s: FloatArray,
    matched: Matched,
    stations_mm: Sequence[float],
    passes: int,
    stroke_mm: tuple[float, float],
    rest_marks: Sequence[bool] | None = None,
) -> list[Motion]:
    """One Motion per pass with at least two usable marks. ``rest_marks``: True where the carriage stood still."""
    motions = []
    for number in range(passes):
        chosen = [
            (float(mark_t_s[i]), station_of(int(e), stations_mm)[1], bool(rest_marks[i]) if rest_marks else False)
            for i, e in enumerate(matched.expected)
            if e >= 0 and station_of(int(e), stations_mm)[0] == number
        ]
        if len(chosen) >= 2:
            motions.append(_motion(chosen, stroke_mm, stations_mm, number))
    return with_idle_time(motions)


def _motion(
    chosen: Sequence[tuple[float, float, bool]],
    stroke_mm: tuple[float, float],
    stations_mm: Sequence[float],
    number: int,
) -> Motion:
    t, x = np.array([c[0] for c in chosen]), np.array([c[1] for c in chosen])
    direction = 1 if x[-1] > x[0] else -1
    first = station_of(number * len(stations_mm), stations_mm)[1]
    # A pass begins with a mark at its first station, before it sets off; it ends at rest where the stroke ends.
    starts_at_rest = x[0] == first
    ends_at_rest = min(abs(x[-1] - stroke_mm[0]), abs(x[-1] - stroke_mm[1])) < CLIP_MM
    rest = np.array([c[2] for c in chosen])
    rest[0] |= starts_at_rest
    rest[-1] |= ends_at_rest
    speed = abs(x[-1] - x[0]) / max(t[-1] - t[0], 1e-6)
    u = np.where(rest, 2.0, np.hypot(HAND_SCATTER_S * speed, AIM_MM))
    return Motion(direction, t, x, u, ~rest, standing=(starts_at_rest, ends_at_rest))


def _pace(marks: FloatArray, places: FloatArray, passes_of: IntArray) -> float:
    """Seconds per mm, from the typical step of the stations and the typical time between marks."""
    steps = np.abs(np.diff(places))[np.diff(passes_of) == 0]
    times = np.diff(marks)
    times = times[times > 0.3]
    if not len(steps) or not len(times):
        return 1.0 / 150.0
    return float(np.median(times) / np.median(steps))


def _pace_of(marks: FloatArray, best: IntArray, places: FloatArray, passes_of: IntArray) -> float | None:
    used = np.nonzero(best >= 0)[0]
    paces = [
        (marks[b] - marks[a]) / abs(places[best[b]] - places[best[a]])
        for a, b in itertools.pairwise(used)
        if passes_of[best[a]] == passes_of[best[b]]
    ]
    return float(np.median(paces)) if paces else None


def _doubtful(
    marks: FloatArray, best: IntArray, places: FloatArray, passes_of: IntArray, pace: float, cost: float
) -> tuple[bool, ...]:
    """Marks beside something missing or left over that would cost hardly more at another station."""
    out = [False] * len(marks)
    if len(marks) * len(places) > _MOST_WEIGHED:
        return tuple(out)
    missing = sorted(set(range(len(places))) - set(best[best >= 0].tolist()))
    beside = {a + step for a in np.nonzero(best < 0)[0].tolist() for step in (-1, 1)}
    for i in missing:
        beside |= {a for a, e in enumerate(best.tolist()) if e in (i - 1, i + 1)}
    for a in sorted(beside):
        if 0 <= a < len(marks) and best[a] >= 0:
            _, other = _align(marks, places, passes_of, pace, (a, int(best[a])))
            out[a] = other - cost < _DOUBT
    return tuple(out)


def _align(
    marks: FloatArray, places: FloatArray, passes_of: IntArray, pace: float, forbidden: tuple[int, int] = (-1, -1)
) -> tuple[IntArray, float]:
    """(the cheapest assignment in order, its cost): dynamic programming over (mark, expected) pairs, one of which may
    be ``forbidden``."""
    count, wanted = len(marks), len(places)
    cost = np.full((count, wanted), np.inf)
    back = np.full((count, wanted, 2), -1, np.int64)
    for a in range(count):
        for i in range(wanted):
            if (a, i) == forbidden:
                continue
            cost[a, i] = _LEFT_OUT * (a + i) if a <= _MOST_SKIPPED + 2 else np.inf
            for pa in range(max(a - 1 - _MOST_SKIPPED, 0), a):
                for pi in range(max(i - 1 - _MOST_SKIPPED, 0), i):
                    skipped = (a - pa - 1) + (i - pi - 1)
                    step = _step_cost(
                        marks[a] - marks[pa], abs(places[i] - places[pi]), passes_of[i] != passes_of[pi], pace
                    )
                    total = cost[pa, pi] + _LEFT_OUT * skipped + step
                    if total < cost[a, i]:
                        cost[a, i], back[a, i] = total, (pa, pi)
    rest_marks = np.arange(count - 1, -1, -1)[:, None]
    rest_wanted = np.arange(wanted - 1, -1, -1)[None, :]
    end = cost + _LEFT_OUT * (rest_marks + rest_wanted)
    a, i = (int(v) for v in np.unravel_index(int(np.argmin(end)), end.shape))
    total_cost = float(end[a, i])
    out = np.full(count, -1, np.int64)
    while a >= 0:
        out[a] = i
        a, i = (int(v) for v in back[a, i])
    return out, total_cost


def _step_cost(took_s: float, way_mm: float, turned: bool, pace: float) -> float:
    """How unlikely it is that this way took this time, as a squared deviation over two, bounded."""
    if turned:
        usual = way_mm * pace
        return 0.0 if usual * 0.5 <= took_s else 2.0 * _LEFT_OUT
    if took_s <= 0.05:
        return 3.0 * _LEFT_OUT
    expected = max(way_mm * pace, 1e-3)
    slack = 0.7 / expected  # setting off and stopping cost time that short ways feel more
    deviation = abs(np.log(took_s / expected)) / np.hypot(_PACE_SPREAD, 0.5 * min(slack, 1.0))
    return float(min(0.5 * deviation**2, 3.0 * _LEFT_OUT))


def _explain(
    marks: FloatArray, best: IntArray, places: FloatArray, passes_of: IntArray, count: int, wanted: int
) -> tuple[str, ...]:
    notes = []
    if count != wanted:
        notes.append(f"There are {count} marks; {wanted} were expected.")
    for a in np.nonzero(best < 0)[0]:
        near = [abs(marks[a] - marks[b]) for b in np.nonzero(best >= 0)[0]]
        why = "pressed twice" if near and min(near) < 0.8 else "does not fit the order, the spacing and the speed"
        notes.append(f"The mark at {marks[a]:.1f} s {why}; it was left out.")
    for i in sorted(set(range(wanted)) - set(best[best >= 0].tolist())):
        notes.append(f"The mark at {places[i]:g} mm in pass {passes_of[i] + 1} is missing.")
    return tuple(notes)
