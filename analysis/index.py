"""The encoder's index: a place that every pass goes by, which says how many counts were lost on the way.

Why it exists: a count that slips is wrong from there on, and by the return to the start one only learns of it when the
whole sweep is over, not where it happened. An index (the reference of a scale, or one pulse a turn of a wheel) is
always at the same place, so between two passes of it the loss shows, stretch by stretch. It prevents two mistakes: a
slip spread over readings that were good, and a zero that was where somebody thought the carriage stood.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from analysis.results import BoolArray, FloatArray

LEAST_LOSS_MM = 0.6  # less than this is the index's own width, which its two sides show in the two directions
_ODD_MM = 3.0  # an index so far from where both its neighbours put it is a stray pulse
_JUMP_MM = 2.0
_ONE_PLACE_MM = 60.0
MOST_SAID = 3


@dataclass(frozen=True)
class Index:
    """When the index was passed and the count at it in mm from the count's zero, arrays (passed,). ``every_mm``: one
    more follows after each so much (a wheel's turn), None: there is one only; ``at_mm``: the place of one of them."""

    t_s: FloatArray
    counted_mm: FloatArray
    every_mm: float | None = None
    at_mm: float | None = None


@dataclass(frozen=True)
class Checked:
    """What the index makes of a track (readings,): the positions with what was lost put back, the standard uncertainty
    that this leaves, the place of the count's zero, and what was found."""

    counted_mm: FloatArray
    standard_uncertainty_mm: FloatArray
    at_zero_mm: float
    notes: tuple[str, ...]


def checked_by_index(t_s: FloatArray, counted_mm: FloatArray, index: Index, at_zero_mm: float) -> Checked:
    """Hold a track (times rising) against the index.

    Before the first index and after the last one the count is taken as it is there. Between two of them what was lost
    went at a jump of the count where there is one; else nobody knows where, and the place is somewhere between with it
    and without it.
    """
    x, u = np.asarray(counted_mm, float).copy(), np.zeros(len(t_s))
    good = np.isfinite(index.t_s) & np.isfinite(index.counted_mm)
    order = np.argsort(index.t_s[good], kind="stable")
    when, count = index.t_s[good][order], index.counted_mm[good][order]
    if not len(when) or not len(t_s):
        return Checked(x, u, at_zero_mm, ())
    notes: list[str] = []
    if index.every_mm is None and float(np.ptp(count)) > _ONE_PLACE_MM:
        return Checked(x, u, at_zero_mm, (_several_words(count),))
    off = _off(count, index.every_mm)
    keep = ~_stray(off)
    if not keep.all():
        notes.append(f"{int((~keep).sum())} passes of the index do not fit those around them; they were left out.")
    when, count, off = when[keep], count[keep], off[keep]
    zero, said = _zero(count[0], index, at_zero_mm)
    notes.extend(said)
    put_back = np.zeros(len(t_s))
    words: list[str] = []
    for k in range(1, len(when)):
        lost = float(off[k - 1] - off[k])
        if abs(lost) < LEAST_LOSS_MM:
            off[k] = off[k - 1]  # the width of the index is no loss, and must not add up to one
            continue
        share, spread = _where(t_s, x, when[k - 1], when[k], lost)
        put_back += lost * share
        u = np.hypot(u, abs(lost) * spread)
        words.append(_slip_words(lost, when[k - 1], when[k], x + put_back + zero, t_s, float(spread.max())))
    notes.extend(words[:MOST_SAID])
    if len(words) > MOST_SAID:
        notes.append(
            f"So it went {len(words) - MOST_SAID} times more: the encoder slips, or counts_per_mm or index_every_mm is "
            "wrong."
        )
    return Checked(x + put_back, u, zero, tuple(notes))


def _off(count: FloatArray, every_mm: float | None) -> FloatArray:
    """By how much the count at each pass of the index differs from the first one's, whole turns left out."""
    off = count - count[0]
    if every_mm is not None:
        for k in range(1, len(count)):
            way = float(count[k] - count[0] - off[k - 1])
            off[k] = off[k - 1] + way - round(way / every_mm) * every_mm
    return np.asarray(off, float)


def _stray(off: FloatArray) -> BoolArray:
    """Passes of the index that are far from both neighbours, which agree with each other."""
    out = np.zeros(len(off), bool)
    for k in range(1, len(off) - 1):
        alike = abs(off[k - 1] - off[k + 1]) < LEAST_LOSS_MM
        out[k] = alike and not out[k - 1] and abs(off[k] - off[k - 1]) > _ODD_MM
    return out


def _zero(first_mm: float, index: Index, at_zero_mm: float) -> tuple[float, list[str]]:
    """The place of the count's zero: by the index where its place is known."""
    if index.at_mm is None:
        return at_zero_mm, []
    zero = index.at_mm - first_mm
    if index.every_mm is not None:
        zero += round((at_zero_mm - zero) / index.every_mm) * index.every_mm
    apart = zero - at_zero_mm
    if abs(apart) < LEAST_LOSS_MM:
        return zero, []
    return zero, [
        f"By the index the count's zero is at {zero:.1f} mm and not at {at_zero_mm:.1f} mm; positions are from the "
        "index."
    ]


def _where(t_s: FloatArray, x: FloatArray, from_s: float, until_s: float, lost: float) -> tuple[FloatArray, FloatArray]:
    """(share of the loss that is put back (readings,), its standard uncertainty as a share)."""
    inside = np.nonzero((t_s > from_s) & (t_s <= until_s))[0]
    if len(inside) > 3:
        steps = np.diff(x[np.concatenate([inside[:1] - 1, inside])] if inside[0] > 0 else x[inside])
        usual = float(np.median(np.abs(steps)))
        jump = int(np.argmax(np.abs(steps)))
        if abs(abs(steps[jump]) - usual - abs(lost)) < max(_JUMP_MM, 0.3 * abs(lost)) and abs(steps[jump]) > 6.0 * max(
            usual, 0.05
        ):
            first = inside[0] + jump if inside[0] > 0 else inside[0] + jump + 1
            return (np.arange(len(t_s)) >= first).astype(float), np.zeros(len(t_s))
    way = np.concatenate([[0.0], np.cumsum(np.abs(np.diff(x)))])
    ends = np.interp([from_s, until_s], t_s, way)
    share = np.clip((way - ends[0]) / max(float(ends[1] - ends[0]), 1e-9), 0.0, 1.0)
    share = np.where(t_s <= from_s, 0.0, np.where(t_s > until_s, 1.0, share))
    # Lost at one moment, equally likely anywhere on the way: by then with probability `share`.
    return share, np.sqrt(share * (1.0 - share))


def _several_words(count: FloatArray) -> str:
    steps = np.abs(np.diff(count))
    usual = float(np.median(steps[steps > _ONE_PLACE_MM]))
    return (
        f"The index was passed at counts that are {usual:.0f} mm apart and more: there are several, and index_every_mm "
        "does not say how far apart, or the encoder slipped by that. The index was not used."
    )


def _slip_words(lost: float, from_s: float, until_s: float, x_mm: FloatArray, t_s: FloatArray, spread: float) -> str:
    where = np.interp([from_s, until_s], t_s, x_mm)
    said = (
        f"Between two passes of its index, at {where[0]:.0f} mm after {from_s:.1f} s and at {where[1]:.0f} mm after "
        f"{until_s:.1f} s, the encoder's count slipped by {abs(lost):.1f} mm: that was taken out."
    )
    if spread <= 0.0:
        return f"{said} The count jumps where it happened."
    return (
        f"{said} Where between them is not known: places there are uncertain by up to ±{2 * spread * abs(lost):.1f} mm."
    )
