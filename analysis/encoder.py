"""Passes and positions from an encoder's track.

Why it exists: a draw-wire or wheel gives the place directly, and lies in its own ways: it slips, counts the wrong way,
or starts elsewhere than at the stroke's end. It prevents a whole profile from being mirrored or shifted unnoticed: the
track is held against the stroke and against its own return to the start before it is used.
"""

from __future__ import annotations

import itertools
from dataclasses import dataclass, replace

import numpy as np

from analysis.index import Index, checked_by_index
from analysis.motion import Motion
from analysis.results import BoolArray, FloatArray

TRACK_MM = 0.3  # standard uncertainty of a good track between its start and here; common practice, no source
_TURN_MM = 40.0
_OUTSIDE_MM = 60.0


class BadTrack(ValueError):
    """A track that cannot be the carriage's; ``turned``: read the other way round it could."""

    def __init__(self, what: str, turned: bool = False) -> None:
        super().__init__(what)
        self.turned = turned


@dataclass(frozen=True)
class Track:
    """One Motion per pass, and what was noticed."""

    motions: tuple[Motion, ...]
    slip_mm: float
    warnings: tuple[str, ...]


def motions_from_track(
    t_s: FloatArray,
    counted_mm: FloatArray,
    at_zero_mm: float,
    stroke_mm: tuple[float, float],
    accept_turned: bool = False,
    index: Index | None = None,
) -> Track:
    """Cut the track into passes. ``counted_mm`` from its zero, + toward outfeed; nan where none. With an ``index`` what
    the count lost between two passes of it is taken out first.

    Raises BadTrack when it leaves the stroke: counting the wrong way (unless ``accept_turned``) or the wrong start.
    """
    from scipy.optimize import isotonic_regression

    good = np.isfinite(t_s) & np.isfinite(counted_mm)
    order = np.argsort(t_s[good], kind="stable")
    t, x = t_s[good][order], counted_mm[good][order]
    if len(t) < 4:
        raise BadTrack(f"Only {len(t)} readings carry a position; a track needs more.")
    later = np.concatenate([[True], np.diff(t) > 0])
    t, x = t[later], x[later]
    if len(t) < 4:
        raise BadTrack("The readings' times stand still; a track needs them.")
    t, x, glitches = _without_glitches(t, x)
    if len(t) < 4:
        raise BadTrack("The position only jumps about; it is no carriage's track.")
    x, u_index, notes = _inside_stroke(t, x, index, at_zero_mm, stroke_mm, accept_turned)
    if glitches:
        notes.append(f"{glitches} positions jumped and came back; they were left out.")
    legs = _legs(x)
    if not legs:
        raise BadTrack(f"The position moved by {np.ptp(x):.0f} mm only; a pass needs {_TURN_MM:.0f} mm.")
    slip, slipped = _slip(t, x, legs)
    notes.extend(slipped)
    u = np.sqrt(TRACK_MM**2 + (slip / 2.0) ** 2 + u_index**2)
    motions = []
    for a, b in legs:
        direction = 1 if x[b] > x[a] else -1
        # Between turns the carriage does not run back: the counter's flutter is taken out by isotonic regression.
        x[a : b + 1] = direction * isotonic_regression(direction * x[a : b + 1]).x
        keep = _thinned(x[a : b + 1])
        motions.append(
            Motion(
                direction, t[a : b + 1][keep], np.clip(x[a : b + 1][keep], *stroke_mm), u[a : b + 1][keep],
                np.ones(int(keep.sum()), bool), measured=True,
            )
        )  # fmt: skip
    return Track(tuple(motions), slip, tuple(notes))


def _without_glitches(t: FloatArray, x: FloatArray) -> tuple[FloatArray, FloatArray, int]:
    from scipy.ndimage import median_filter

    keep = np.abs(x - median_filter(x, size=5, mode="nearest")) < 60.0
    return t[keep], x[keep], int(len(x) - keep.sum())


def _inside_stroke(
    t: FloatArray,
    counted: FloatArray,
    index: Index | None,
    at_zero_mm: float,
    stroke_mm: tuple[float, float],
    accept_turned: bool,
) -> tuple[FloatArray, FloatArray, list[str]]:
    """(positions, their standard uncertainty from what the index found lost, notes), counted as they came or, agreed,
    the other way."""
    x, u, notes = _placed(t, counted, index, at_zero_mm)
    low, high = float(np.quantile(x, 0.001)), float(np.quantile(x, 0.999))
    outside = max(stroke_mm[0] - low, high - stroke_mm[1])
    if outside <= _OUTSIDE_MM:
        if outside > 5.0:
            notes.append(f"The position runs {outside:.0f} mm beyond the stroke; it was cut off there.")
        return x, u, notes
    other = None if index is None else replace(index, counted_mm=-index.counted_mm)
    turned, u_turned, notes = _placed(t, -counted, other, at_zero_mm)
    fits = max(stroke_mm[0] - float(turned.min()), float(turned.max()) - stroke_mm[1]) <= _OUTSIDE_MM
    if fits and accept_turned:
        return turned, u_turned, ["The position counted the wrong way; it was turned round, as agreed.", *notes]
    said = (
        f"The position runs from {low:.0f} to {high:.0f} mm; the stroke is {stroke_mm[0]:.0f} to {stroke_mm[1]:.0f} mm."
    )
    if fits:
        raise BadTrack(f"{said} It counts the wrong way, or the sweep began at the other end.", turned=True)
    raise BadTrack(f"{said} The sweep began elsewhere, or the counts per mm are wrong.")


def _placed(
    t: FloatArray, counted: FloatArray, index: Index | None, at_zero_mm: float
) -> tuple[FloatArray, FloatArray, list[str]]:
    if index is None:
        return at_zero_mm + counted, np.zeros(len(t)), []
    checked = checked_by_index(t, counted, index, at_zero_mm)
    return checked.at_zero_mm + checked.counted_mm, checked.standard_uncertainty_mm, list(checked.notes)


def _legs(x: FloatArray) -> list[tuple[int, int]]:
    """(start, end) of each run in one direction, turning points found with a threshold, rests at the ends cut off."""
    turns, extreme, sign = [0], 0, 0
    threshold = max(_TURN_MM, 0.04 * float(np.ptp(x)))
    far = np.nonzero(np.abs(x - x[0]) > threshold)[0]
    if not len(far):
        return []
    sign = 1 if x[far[0]] > x[0] else -1
    extreme = int(far[0])
    for i in range(int(far[0]), len(x)):
        if sign * (x[i] - x[extreme]) > 0:
            extreme = i
        elif sign * (x[extreme] - x[i]) > threshold:
            turns.append(extreme)
            sign, extreme = -sign, i
    turns.append(extreme)
    legs = []
    for a, b in itertools.pairwise(turns):
        way = np.abs(x[a : b + 1] - x[a])
        moving = np.nonzero((way > 1.0) & (way < way[-1] - 1.0))[0]
        if len(moving) >= 3:
            legs.append((a + max(int(moving[0]) - 1, 0), a + min(int(moving[-1]) + 1, b - a)))
    return legs


def _slip(t: FloatArray, x: FloatArray, legs: list[tuple[int, int]]) -> tuple[float, list[str]]:
    """How far the track misses where it began, after each return; jumps no hand can make."""
    notes = []
    returns = [x[b] - x[legs[0][0]] for k, (_, b) in enumerate(legs) if k % 2 == 1]
    slip = max((abs(r) for r in returns), default=0.0)
    if slip > 4.0:
        notes.append(
            f"Back at the start the position is off by {slip:.0f} mm: the encoder slipped, "
            "or the carriage did not come back."
        )
    speed = np.abs(np.diff(x)) / np.maximum(np.diff(t), 1e-3)
    usual = float(np.quantile(speed, 0.95))
    jumps = (speed > max(6.0 * usual, 2000.0)) & (np.abs(np.diff(x)) > 20.0)
    if jumps.any():
        biggest = float(np.max(np.abs(np.diff(x))[jumps]))
        notes.append(f"The position jumped by {biggest:.0f} mm between two readings: the encoder slipped.")
        slip = max(slip, biggest)
    return (slip if slip > 4.0 else 0.0), notes


def _thinned(x: FloatArray) -> BoolArray:
    """Every reading is not needed: one about each 2 mm keeps the track, and standing still keeps its first and last."""
    cell = np.floor(np.abs(x - x[0]) / 2.0)
    keep = np.concatenate([[True], np.diff(cell) != 0])
    keep[-1] = True
    keep[:-1] |= np.diff(cell) != 0
    return keep
