"""Is the travel straight in plan? A straightedge reversed, or two sawn edges laid together, and the rail's bend.

Why it exists: a rail nudged at its ends with the middle tight is bent in plan, and edges come out hollow though the toe
is right. It prevents two mistakes: taking the straightedge's own bow for the travel's (turned end for end with the same
edge toward the indicator, a bow looks the same both times), and straightening a rail by turning it.

``travel`` is the carriage's sideways deviation, mm, + toward the table, at positions ``x_mm``. A cut edge's hollow is
the travel's bow: the material left stands at y = blade - travel, so an edge that is hollow in its middle was carried
nearer to the blade there. Reversal: ISO 230-1:2012 (straightedge method; the derivation here is ours).
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from analysis.results import FloatArray
from analysis.touching import rounded_zone
from analysis.uncertainty import peak_to_valley

DEGREE = 3
"""A rail held at a few bolts bends in a bow or an S; finer waves are the rail's own and no bolt takes them out."""


@dataclass(frozen=True)
class Travel:
    """Sideways deviation at ``x_mm`` (places,), its covariance (k = 1), and what is said of the straightedge.

    ``rounded``: from feelers, whose steps are as coarse as the bend (``touching.rounded_zone``).
    """

    x_mm: FloatArray
    deviation_mm: FloatArray
    covariance: FloatArray
    straightedge_mm: FloatArray | None = None
    rounded: bool = False


@dataclass(frozen=True, slots=True)
class Bend:
    """``bow_mm`` is the smallest zone the travel lies in; ``middle_mm`` how far its middle lies off the line through
    its ends, + toward the table (edges come out hollow). Uncertainties expanded."""

    bow_mm: float
    uncertainty_mm: float
    middle_mm: float
    middle_uncertainty_mm: float


@dataclass(frozen=True, slots=True)
class Shift:
    """How far the rail must go sideways at one bolt, mm, + toward the table, with its expanded uncertainty."""

    bolt: str
    shift_mm: float
    uncertainty_mm: float


def from_straightedge(
    x_mm: FloatArray, first_mm: FloatArray, turned_mm: FloatArray, u_mm: float, edge_mm: float, *, turned_end: bool
) -> Travel:
    """Readings of an indicator on the carriage along a straightedge, and again with it turned, (places,) each.

    First: the tip points toward the table and touches the straightedge's good edge: travel - edge. Then the
    straightedge is turned so that this edge faces the table, and the tip touches it from there, pointing back to the
    carriage: -travel - edge. Half the difference is the travel, whatever the edge.

    Turned over about its own length (``turned_end`` False) each place meets the same place of the edge again, and all
    of the edge's error cancels. Turned end for end about the upright, place x meets place L - x: a bow cancels, a
    straightedge bent like an S does not, and ``edge_mm`` (expanded, its whole error, part bow and part S) enters by
    its S.
    """
    x, first, turned = _same(x_mm, first_mm, turned_mm)
    standard = u_mm / 2.0 / math.sqrt(2.0)
    covariance = np.eye(len(x)) * standard**2
    if turned_end:
        place = 2.0 * (x - x.mean()) / max(float(np.ptp(x)), 1e-9)
        wave = np.sin(math.pi * place)  # the odd part of an edge, as one S
        covariance = covariance + np.outer(wave, wave) * (edge_mm / 5.0) ** 2
    return Travel(x, (first - turned) / 2.0, covariance, -(first + turned) / 2.0)


def from_two_edges(
    x_mm: FloatArray, gap_mm: FloatArray, standard_uncertainty_mm: FloatArray, *, turned_end: bool
) -> Travel:
    """Two edges sawn over the same stretch of travel and laid together: the gap is twice their deviation.

    One board turned over about the length of the cut: gap = 2 travel at every place. Turned end for end: gap(x) =
    travel(x) + travel(L - x), the bow doubled and the S gone. The gap's constant and slope mean nothing.
    """
    x, gap, standard = _same(x_mm, gap_mm, standard_uncertainty_mm)
    covariance = np.diag((standard / 2.0) ** 2)
    half = gap / 2.0
    if turned_end:
        half = (half + half[::-1]) / 2.0 if np.allclose(x - x[0], (x[-1] - x)[::-1], atol=1.0) else half
    return Travel(x, half, covariance)


def bend_of(travel: Travel) -> Bend:
    """Smallest zone and bow of the travel. Raises ValueError for fewer than three places."""
    from analysis.straightness import minimum_zone_line

    if len(np.unique(travel.x_mm)) < 3:
        raise ValueError(f"{len(np.unique(travel.x_mm))} places show no bend; three or more are needed.")
    slope, offset = minimum_zone_line(travel.x_mm, travel.deviation_mm)
    away = travel.deviation_mm - offset - slope * travel.x_mm
    if travel.rounded:
        design = np.stack([np.ones_like(travel.x_mm), travel.x_mm], axis=1)
        width, doubt = rounded_zone(away, travel.covariance, design)
    else:
        width, doubt = peak_to_valley(away, travel.covariance)
    ends = np.array([travel.x_mm.min(), travel.x_mm.mean(), travel.x_mm.max()])
    row = np.array([-0.5, 1.0, -0.5]) @ _bent(travel, ends)
    middle = float(row @ travel.deviation_mm)
    return Bend(width, doubt, middle, 2.0 * math.sqrt(float(row @ travel.covariance @ row)))


def straightening(travel: Travel, bolts_x_mm: Mapping[str, float]) -> tuple[str, tuple[Shift, ...]]:
    """The bolt left tight, and the shift at every other one that takes the bend out and leaves the mean line alone.

    The bend is a polynomial through the readings (a bow, and an S where five places or more tell of it); at the bolts
    it is the rail's own, because a carriage on two bearings moves as the rail does but for a line. What is taken out
    is the bend's distance from the straight line through it *at the bolts*. The one with least to go stays tight; all
    others are told from it, which shifts the whole travel a little and turns nothing.
    """
    names = list(bolts_x_mm)
    at = np.array([bolts_x_mm[name] for name in names], float)
    if len(names) < 3:
        raise ValueError(f"A rail on {len(names)} bolts cannot be straightened by them; three or more are needed.")
    rows = _bent(travel, at)
    line = np.vander((at - at.mean()) / np.ptp(at), 2)
    rows = rows - line @ np.linalg.pinv(line) @ rows
    tight = int(np.argmin(np.abs(rows @ travel.deviation_mm)))
    rows = -(rows - rows[tight])
    shifts = rows @ travel.deviation_mm
    doubts = 2.0 * np.sqrt(np.einsum("bp,pq,bq->b", rows, travel.covariance, rows))
    return names[tight], tuple(
        Shift(name, float(shift), float(doubt))
        for place, (name, shift, doubt) in enumerate(zip(names, shifts, doubts, strict=True))
        if place != tight
    )


def _bent(travel: Travel, at: FloatArray) -> FloatArray:
    """Rows (at, places): the fitted bend at ``at`` from the deviations, weighted least squares."""
    degree = min(DEGREE, 2 if len(np.unique(travel.x_mm)) < 5 else DEGREE)
    middle, size = travel.x_mm.mean(), max(float(np.ptp(travel.x_mm)) / 2.0, 1e-9)
    design = np.vander((travel.x_mm - middle) / size, degree + 1)
    weight = 1.0 / np.sqrt(np.maximum(np.diag(travel.covariance), 1e-18))
    fit = np.linalg.pinv(design * weight[:, None]) * weight
    return np.asarray(np.vander((at - middle) / size, degree + 1) @ fit, float)


def _same(x: FloatArray, a: FloatArray, b: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
    x, a, b = (np.asarray(values, float) for values in (x, a, b))
    if not len(x) == len(a) == len(b):
        raise ValueError(f"{len(x)} places, {len(a)} and {len(b)} readings; one of each for every place is needed.")
    order = np.argsort(x)
    return x[order], a[order], b[order]
