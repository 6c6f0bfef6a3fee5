"""Gaps by feelers under an edge that is laid on: somewhere on either side of its middle it touches.

Why it exists: "not even the thinnest leaf goes" is read as half that leaf everywhere, but an edge laid on something
touches it at two places, and there the gap is nothing. It prevents every hollow being found too shallow by half a leaf.

Among the places of one side that no leaf enters, each is as likely as another to be the one that touches; the others
lie anywhere up to the leaf. Mean and variance follow (JCGM 100:2008, 4.3.7, for the uniform part).
"""

from __future__ import annotations

import numpy as np

from analysis.results import BoolArray, FloatArray
from analysis.uncertainty import draws

TOUCHING_mm = 0.003
"""What a touch leaves in doubt: dust, an edge's own roughness (standard; common practice, no source)."""


def laid_on(x_mm: FloatArray, gap_mm: FloatArray, half_mm: FloatArray) -> tuple[FloatArray, FloatArray]:
    """(gap, its standard uncertainty) at each place (places,), from feelers' middles and half-widths.

    A place typed as a plain number (half 0) stays as it is. Where one side has no place that may touch, the edge rocks
    on the others, which are then one group.
    """
    x, gap, half = (np.asarray(values, float) for values in (x_mm, gap_mm, half_mm))
    value, standard = gap.copy(), half / np.sqrt(3.0)
    may_touch = (half > 0) & (gap - half <= 1e-9)
    middle = (x.min() + x.max()) / 2.0
    sides = [may_touch & (x < middle), may_touch & (x > middle)]
    groups: list[BoolArray] = [*sides, may_touch & (x == middle)] if all(side.any() for side in sides) else [may_touch]
    for place, group in enumerate(groups):
        count = int(group.sum())
        if not count or place == 2:  # the very middle may hang between two touching sides: it keeps its interval
            continue
        leaf = 2.0 * half[group]
        one_less = (count - 1) / count
        value[group] = one_less * leaf / 2.0
        variance = one_less * leaf**2 / 3.0 - value[group] ** 2
        standard[group] = np.hypot(np.sqrt(np.maximum(variance, 0.0)), TOUCHING_mm)
    return value, standard


def rounded_zone(away: FloatArray, covariance: FloatArray, design: FloatArray) -> tuple[float, float]:
    """(zone, expanded uncertainty) of deviations known as intervals as coarse as what is looked for.

    ``away`` (places,) from the best line or plane, ``design`` (places, unknowns) that line's or plane's columns. The
    middles alone find the zone too small (equal intervals have no spread), drawing the places apart finds it too wide
    (real edges are smooth). A quarter of the way from the first to the second, with the drawn zone's 95 % range and
    half the way between the two as doubt, held the truth of simulated tables and boards best.
    """
    off = np.eye(len(away)) - design @ np.linalg.pinv(design)
    wide = np.ptp(draws(off @ away, off @ covariance @ off), axis=1)
    low, high = np.quantile(wide, [0.025, 0.975])
    plain, drawn = float(np.ptp(away)), float(wide.mean())
    return plain + 0.25 * (drawn - plain), float(np.hypot((high - low) / 2.0, (drawn - plain) / 2.0))
