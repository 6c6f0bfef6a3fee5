"""Where along the stroke the indicator touches what it should touch.

Why it exists: off the end of the carriage's top, or over an opening in the table, a real indicator goes on speaking:
it shows its free rest, a step, or a snag where it climbs back, with or without a "no value" line. It prevents those
stretches being smoothed into the profile as a deep valley beside the spindle, and it uses the step, whose place is
known from a tape measure, as a landmark for the position.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from analysis.motion import Motion
from analysis.results import BoolArray, FloatArray
from analysis.uncertainty import MAD_TO_SIGMA

Interval = tuple[float, float]

EDGE_PLACE_MM = 2.5  # standard uncertainty of an edge met by a tip: tape measure, chamfer, tip radius
_INSIDE_MARGIN_MM = 2.0
_HAND_DELAY_S, _LINE_DELAY_S = 0.25, 0.02  # how late a mark, and a position in the reading's own line, may be
_NODES = 60


def fixed_windows(stroke_mm: Interval, set_up_x_mm: float, top_length_mm: float) -> list[Interval]:
    """Carriage positions at which a fixed indicator at machine ``set_up_x_mm`` is under the carriage's top."""
    return _cut(stroke_mm, [(set_up_x_mm - top_length_mm / 2.0, set_up_x_mm + top_length_mm / 2.0)])


def carried_windows(
    stroke_mm: Interval, offset_mm: float, table_mm: Interval, openings_mm: Sequence[Interval] = ()
) -> list[Interval]:
    """Carriage positions at which an indicator carried at ``offset_mm`` stands on the table and over no opening."""
    stretches = [table_mm]
    for opening in openings_mm:
        low, high = min(opening), max(opening)
        stretches = [
            piece for a, b in stretches for piece in ((a, min(b, low)), (max(a, high), b)) if piece[1] > piece[0]
        ]
    return _cut(stroke_mm, [(a - offset_mm, b - offset_mm) for a, b in stretches])


def not_seen(stroke_mm: Interval, seen: Sequence[Interval], least_mm: float = 5.0) -> tuple[Interval, ...]:
    """What is left of the stroke outside ``seen``, stretches of at least ``least_mm``."""
    out: list[Interval] = []
    at = stroke_mm[0]
    for low, high in sorted(seen):
        if low - at >= least_mm:
            out.append((at, low))
        at = max(at, high)
    if stroke_mm[1] - at >= least_mm:
        out.append((at, stroke_mm[1]))
    return tuple(out)


@dataclass(frozen=True)
class Touch:
    """``touching`` (readings,) of one pass; ``motion`` with the edges that were seen added as anchors;
    ``steps`` the signed height steps on leaving (off minus on); ``unclear`` edges where no step was found."""

    touching: BoolArray
    motion: Motion
    steps: tuple[float, ...]
    unclear: tuple[float, ...]


def find_touching(
    motion: Motion,
    t_s: FloatArray,
    height: FloatArray,
    no_value_t_s: FloatArray,
    windows: Sequence[Interval],
    stroke_mm: Interval,
    resolution: float = 0.0,
) -> Touch:
    """Which readings of one pass touch, from geometry and from the step at each edge.

    All readings of the pass and the "no value" lines in and next to it (the motion may begin only where the readings
    do), in order of time; arrays (readings,) and (lines,).
    """
    touching = _well_inside(motion, t_s, windows, stroke_mm)
    moved, steps, unclear = motion, [], []
    quiet = max(3.0 * _noise(height[touching]), 2.0 * resolution, 1e-4)
    passed_s = -np.inf
    for edge, inward in sorted(_edges(windows, stroke_mm), key=lambda pair: motion.direction * pair[0]):
        reach = 3.0 * _uncertainty_at(motion, edge) + 15.0
        leaving = motion.direction != inward
        near = (np.abs(motion.position_mm(t_s) - edge) <= reach) & (t_s > passed_s)
        found = _edge_time(motion, t_s[near], height[near], no_value_t_s, edge, reach, leaving, quiet)
        if found is None:
            if near.any() or _uncertainty_at(motion, edge) > 5.0:
                unclear.append(edge)
            continue
        at_s, step, sound_s = found
        if not leaving:
            sound_s = max(sound_s, _settled_from(t_s, height, at_s, quiet))
        passed_s = at_s + 0.12  # an opening's far edge must not be taken for its near one
        on_side = (t_s < sound_s) if leaving else (t_s > sound_s)
        touching = np.where(near, on_side, touching)
        if step is not None:
            steps.append(step)
        spread = max(_spacing_s(t_s) * motion.speed_mm_s / 2.0, EDGE_PLACE_MM)
        moved = moved.with_anchor(at_s, edge, spread)
    touching &= np.isfinite(height)
    return Touch(touching & _clear_of_edges(moved, t_s, windows, stroke_mm), moved, tuple(steps), tuple(unclear))


def _cut(stroke_mm: Interval, stretches: Sequence[Interval]) -> list[Interval]:
    out = [(max(a, stroke_mm[0]), min(b, stroke_mm[1])) for a, b in sorted(stretches)]
    return [(a, b) for a, b in out if b - a > 1.0]


def _edges(windows: Sequence[Interval], stroke_mm: Interval) -> list[tuple[float, int]]:
    """(place, direction in which one must go to get on) of the edges inside the stroke."""
    out = []
    for low, high in windows:
        if low > stroke_mm[0] + 1.0:
            out.append((low, 1))
        if high < stroke_mm[1] - 1.0:
            out.append((high, -1))
    return out


def _uncertainty(motion: Motion, t_s: FloatArray) -> FloatArray:
    """Standard uncertainty (readings,) of the position at each of ``t_s``, its own delay taken in."""
    if not len(t_s):
        return np.zeros(0)
    nodes = np.linspace(float(np.min(t_s)), float(np.max(t_s)), _NODES)
    held = np.clip(nodes, motion.t_s[0], motion.t_s[-1])
    late = motion.delay_effect_mm_s(held) * (_LINE_DELAY_S if motion.measured else _HAND_DELAY_S)
    u = np.sqrt(np.maximum(np.diag(motion.covariance_mm2(held)), 0.0) + late**2)
    return np.asarray(np.interp(t_s, nodes, u), float)


def _uncertainty_at(motion: Motion, x_mm: float) -> float:
    """Standard uncertainty of the position where the pass goes by ``x_mm``."""
    return float(_uncertainty(motion, motion.time_s(np.array([x_mm])))[0])


def _well_inside(motion: Motion, t_s: FloatArray, windows: Sequence[Interval], stroke_mm: Interval) -> BoolArray:
    """Readings that lie in a window by twice their own position's uncertainty."""
    x, u = motion.position_mm(t_s), _uncertainty(motion, t_s)
    inside = np.zeros(len(t_s), bool)
    for low, high in windows:
        a = low if low <= stroke_mm[0] + 1.0 else low + 2.0 * u
        b = high if high >= stroke_mm[1] - 1.0 else high - 2.0 * u
        inside |= (x >= a - 1e-6) & (x <= b + 1e-6)
    return inside & np.isfinite(x)


def _clear_of_edges(motion: Motion, t_s: FloatArray, windows: Sequence[Interval], stroke_mm: Interval) -> BoolArray:
    """Keep a tip's margin from every edge: on the chamfer the reading is already going."""
    x = motion.position_mm(t_s)
    clear = np.zeros(len(t_s), bool)
    for low, high in windows:
        a = low - 1e-6 if low <= stroke_mm[0] + 1.0 else low + _INSIDE_MARGIN_MM
        b = high + 1e-6 if high >= stroke_mm[1] - 1.0 else high - _INSIDE_MARGIN_MM
        clear |= (x >= a) & (x <= b)
    return clear


def _edge_time(
    motion: Motion,
    t_s: FloatArray,
    height: FloatArray,
    no_value_t_s: FloatArray,
    edge: float,
    reach: float,
    leaving: bool,
    quiet: float,
) -> tuple[float, float | None, float] | None:
    """(time of passing the edge, step in height off minus on, time up to or from which readings are sound), or None."""
    silent = no_value_t_s[np.abs(motion.position_mm(no_value_t_s) - edge) <= reach]
    t, z = t_s, height
    step = _step_time(t, z, leaving, quiet)
    if len(silent):
        boundary = float(silent.min() if leaving else silent.max())
        on = t[t < boundary] if leaving else t[t > boundary]
        if not len(on):
            return None
        if step is not None and abs(step[0] - boundary) * motion.speed_mm_s < 60.0:
            return step if leaving else (min(step[0], float(on.min())), step[1], step[2])
        edge_s = (boundary + float(on.max() if leaving else on.min())) / 2.0
        return edge_s, None, edge_s if leaving else edge_s + 0.03
    return step


def _step_time(t: FloatArray, z: FloatArray, leaving: bool, quiet: float) -> tuple[float, float, float] | None:
    """(time of the edge, off minus on, time from or to which the reading is sound) of the first lasting jump.

    Either way the edge is where the jumping begins: leaving, the tip starts to run out; coming on, it leaves its free
    rest. Coming on, the climb, the snag over the edge and the instrument's own lag follow: the reading is sound only
    after the last jump.
    """
    if len(t) < 4:
        return None
    jumps = np.abs(np.diff(z))
    ordinary = float(np.median(jumps))
    threshold = max(8.0 * ordinary, 6.0 * quiet, 0.02)
    candidates = np.nonzero(jumps > threshold)[0]
    for at in candidates.tolist():
        before, after = z[max(at - 3, 0) : at + 1], z[at + 1 : at + 9]
        step = float(np.median(after) - np.median(before))
        if abs(step) < 0.5 * threshold:
            continue
        edge_s = float((t[at] + t[at + 1]) / 2.0)
        if leaving:
            return edge_s, step, float(t[at]) - 1e-9
        follows = candidates[(candidates >= at) & (t[candidates] - edge_s < 0.6)]
        lag = float(t[follows[-1] + 1]) - edge_s
        return edge_s, -step, edge_s + 2.0 * lag + 0.02
    return None


def _settled_from(t_s: FloatArray, height: FloatArray, edge_s: float, quiet: float) -> float:
    """When the reading has come down from the snag at the edge: from where on it keeps to the line that it follows from
    a quarter to three quarters of a second later. Without enough readings: at once."""
    after = (t_s > edge_s + 0.25) & (t_s < edge_s + 0.75)
    if int(after.sum()) < 4:
        return edge_s
    line = np.polyfit(t_s[after] - edge_s, height[after], 1)
    before = np.nonzero((t_s > edge_s) & (t_s <= edge_s + 0.25))[0]
    off = np.abs(height[before] - np.polyval(line, t_s[before] - edge_s)) > max(6.0 * quiet, 0.003)
    return float(t_s[before[off][-1]]) + 1e-9 if off.any() else edge_s


def _noise(z: FloatArray) -> float:
    """Noise of single readings from second differences, which a smooth profile hardly enters."""
    if len(z) < 5:
        return 0.0
    return float(MAD_TO_SIGMA * np.median(np.abs(np.diff(z, 2))) / np.sqrt(6.0))


def _spacing_s(t_s: FloatArray) -> float:
    return float(np.median(np.diff(t_s))) if len(t_s) > 1 else 0.0
