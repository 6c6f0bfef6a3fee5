"""Did the carriage stand where the marks were set, and what did the instrument show there?

Why it exists: at a stop the place is that of the station and nobody's reaction time is in it, which is worth more than
any registration, but only if it was a stop. It prevents two mistakes: a slow push taken for stops because a coarse
display hardly changes, and stops taken for a push because two stations happen to be equally high. The marks say where
to look; whether the readings keep still there, against how they change half-way between, decides for the whole sweep.
"""

from __future__ import annotations

import numpy as np

from analysis.results import FloatArray
from analysis.stops import Dwell, settled_mean, von_neumann_ratio
from analysis.uncertainty import MAD_TO_SIGMA

_HALF_S = 0.35  # either half of the look at a mark; half a second passes between a stop and its key
_BEFORE_S, _AFTER_S = 3.0, 4.0
_STILL_SHARE = 0.35  # the change at marks against that between them
_LEAST_MARKS = 4
_FAR_STILLER = 0.15  # of a push F(4, 2) is below the square of this in 2 of 1000 sweeps
_CLEAR = 2.5  # standard errors between the changes at marks and those between them


def stood_still(t_s: FloatArray, value: FloatArray, mark_t_s: FloatArray, resolution: float = 0.0) -> bool:
    """Whether the readings keep still at the marks and change between them (all marks of one sweep together).

    ``mark_t_s`` are the marks between the first and the last of each pass. A profile too flat for the display to show
    the motion says nothing: then False, and it does not matter.
    """
    marks = np.sort(mark_t_s)
    if len(marks) < _LEAST_MARKS:
        return False
    gaps = np.diff(marks)
    middles = marks[:-1] + gaps / 2.0
    middles = middles[(gaps > 4.0 * _HALF_S) & (gaps < 4.0 * np.median(gaps))]
    at = [c for m in marks if (c := _change(t_s, value, m + 0.1)) is not None]
    between = [c for m in middles if (c := _change(t_s, value, m)) is not None]
    if len(at) < _LEAST_MARKS or len(between) < _LEAST_MARKS:
        return False
    noise = MAD_TO_SIGMA * float(np.median(np.abs(np.diff(value)))) / np.sqrt(2.0) if len(value) > 1 else 0.0
    floor = 0.15 * resolution + 0.3 * noise
    apart = float(np.mean(between) - np.mean(at))
    spread = float(np.hypot(np.std(between) / np.sqrt(len(between)), np.std(at) / np.sqrt(len(at))))
    clear = apart > (_CLEAR if len(at) >= 8 else 2.0 * _CLEAR) * max(spread, 1e-12)
    # Of a few stations the ground between some is level, and the spread is large. That all marks of a push lie where
    # the ground is level has no such chance: a ratio of mean squares, judged as for two pairs of stations.
    clear |= float(np.mean(np.square(at))) < _FAR_STILLER**2 * float(np.mean(np.square(between)))
    return bool(clear and np.mean(between) > floor and np.mean(at) < _STILL_SHARE * np.mean(between) + 0.3 * floor)


def standing_at_marks(
    t_s: FloatArray, value: FloatArray, mark_t_s: FloatArray, resolution: float = 0.0
) -> list[Dwell | None]:
    """The settled reading at each mark (marks,), None where there are no readings. Times in order; values finite.

    A stretch runs from the mark to either side as long as the reading keeps to what it showed there. On level ground
    that runs on into the motion, so no stretch is taken longer than those of the steeper places.
    """
    noise = MAD_TO_SIGMA * float(np.median(np.abs(np.diff(value, 2)))) / np.sqrt(6.0) if len(value) > 4 else 0.0
    near = max(1.01 * resolution, 5.0 * noise, 1e-6)
    runs: list[tuple[float, float] | None] = []
    for i, mark in enumerate(mark_t_s.tolist()):
        earliest = max(mark - _BEFORE_S, (mark_t_s[i - 1] + mark) / 2.0 if i else -np.inf)
        latest = min(mark + _AFTER_S, (mark_t_s[i + 1] + mark) / 2.0 if i + 1 < len(mark_t_s) else np.inf)
        runs.append(_run(t_s, value, mark, earliest, latest, near))
    before = [mark - run[0] for mark, run in zip(mark_t_s.tolist(), runs, strict=True) if run is not None]
    after = [run[1] - mark for mark, run in zip(mark_t_s.tolist(), runs, strict=True) if run is not None]
    if not before:
        return [None] * len(runs)
    usual_before, usual_after = float(np.quantile(before, 0.3)), float(np.quantile(after, 0.3))
    out: list[Dwell | None] = []
    for mark, run in zip(mark_t_s.tolist(), runs, strict=True):
        if run is None:
            out.append(None)
            continue
        start, end = max(run[0], mark - usual_before), min(run[1], mark + usual_after)
        inside = (t_s >= start - 1e-9) & (t_s <= end + 1e-9)
        if int(inside.sum()) < 1:
            out.append(None)
            continue
        mean, u, count = settled_mean(value[inside], resolution)
        u = u if count > 1 else float(np.hypot(u, near / 2.0))
        out.append(Dwell(float(start), float(end), mean, u, count, von_neumann_ratio(value[inside])))
    return out


def _change(t: FloatArray, z: FloatArray, middle_s: float) -> float | None:
    """By how much the mean changes from just before to just after."""
    first, last = np.searchsorted(t, [middle_s - _HALF_S, middle_s + _HALF_S])
    turn = int(np.searchsorted(t, middle_s))
    if turn - first < 1 or last - turn < 1:
        return None
    return abs(float(z[first:turn].mean() - z[turn:last].mean()))


def _run(
    t: FloatArray, z: FloatArray, mark_s: float, earliest_s: float, latest_s: float, near: float
) -> tuple[float, float] | None:
    """(start, end) of the readings about the mark that keep to what it showed there; single ones may stand out."""
    first, last = (int(v) for v in np.searchsorted(t, [earliest_s, latest_s]))
    if last - first < 1:
        return None
    about = (t[first:last] > mark_s - 0.3) & (t[first:last] < mark_s + 0.5)
    if not about.any():
        return None
    reference = float(np.median(z[first:last][about]))
    alike = np.abs(z[first:last] - reference) <= near
    at = int(np.clip(np.searchsorted(t[first:last], mark_s), 0, last - first - 1))
    if not alike[at]:
        hits = np.nonzero(alike & about)[0]
        if not len(hits):
            return None
        at = int(hits[np.argmin(np.abs(hits - at))])
    low = high = at
    while low > 0 and (alike[low - 1] or (low > 1 and alike[low - 2])):
        low -= 1
    while high < len(alike) - 1 and (alike[high + 1] or (high < len(alike) - 2 and alike[high + 2])):
        high += 1
    return float(t[first + low]), float(t[first + high])
