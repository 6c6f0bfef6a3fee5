"""Has anything moved since the machine was accepted, and which single bolt or foot would explain it?

Why it exists: a quick check is one sweep against a stored one, and two sweeps of the same machine always differ. It
prevents noise being called a change, a change of the indicator's own zero being blamed on the machine, and a bolt being
turned because it *could* explain a change that another one explains as well.

Two profiles are compared at common places with both covariances. Their difference d with covariance C is no change
when d' inv(C) d is no more than chi-squared lets it be. A cause is a column g (what one unit of it does to the
readings); its best amount is g' inv(C) d / g' inv(C) g, and what it leaves is judged the same way (generalised least
squares, JCGM 102:2011; chi-squared by any table).
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from analysis.results import FloatArray
from analysis.uncertainty import draws

UNLIKELY = 0.01
"""A difference as large as that comes once in a hundred quick checks of a machine that did not move."""
LEAST_PLACES = 4


@dataclass(frozen=True)
class Difference:
    """Now minus then at ``x_mm`` (places,), its covariance (k = 1); ``unit`` as the profile's.

    ``largest`` is the change that stands clear of its uncertainty most, at ``largest_x_mm``; ``size`` the largest of
    all without its sign, with half of the bias of a largest taken off (as ``uncertainty.peak_to_valley`` does).
    """

    x_mm: FloatArray
    change: FloatArray
    covariance: FloatArray
    moved: bool
    chance: float
    largest: float
    largest_uncertainty: float
    largest_x_mm: float
    size: float
    size_uncertainty: float


@dataclass(frozen=True, slots=True)
class Cause:
    """A single cause: the ``amount`` of it that fits best with its expanded uncertainty; ``explains`` True when what
    it leaves is no more than noise; ``share`` of the change (in chi-squared) that it takes away, 0 to 1; ``chance``
    that so much of it is seen in a machine that did not move."""

    name: str
    amount: float
    uncertainty: float
    explains: bool
    share: float
    chance: float = 1.0


def difference(
    then_x: FloatArray,
    then: FloatArray,
    then_covariance: FloatArray,
    now_x: FloatArray,
    now: FloatArray,
    now_covariance: FloatArray,
    instrument: float,
) -> Difference:
    """Compare at the places of ``now`` that the older profile reaches, interpolated there; at most 24 of them.

    ``instrument`` is the standard uncertainty of one place's value that no pass shows (the tip on another grain of the
    same surface, the stand set down again). Raises ValueError where the two have too little in common.
    """
    inside = (now_x >= then_x.min() - 1e-6) & (now_x <= then_x.max() + 1e-6)
    places = np.flatnonzero(inside)
    if len(places) < LEAST_PLACES:
        raise ValueError(
            f"The two sweeps share {len(places)} places; at least {LEAST_PLACES} are needed to compare them."
        )
    places = places[np.unique(np.linspace(0, len(places) - 1, min(len(places), 24)).round().astype(int))]
    x = now_x[places]
    weights = _interpolation(then_x, x)
    covariance = (
        weights @ then_covariance @ weights.T + now_covariance[np.ix_(places, places)] + np.eye(len(x)) * instrument**2
    )
    change = now[places] - weights @ then
    standard = np.sqrt(np.diag(covariance))
    worst = int(np.argmax(np.abs(change) / standard))
    chance = _chance(change, covariance, 0)
    drawn = np.abs(draws(change, covariance)).max(axis=1)
    plain = float(np.abs(change).max())
    bias = float(drawn.mean()) - plain
    low, high = np.quantile(drawn, [0.025, 0.975])
    size, doubt = max(plain - 0.5 * bias, 0.0), float(np.hypot((high - low) / 2.0, 0.5 * bias))
    return Difference(
        x,
        change,
        covariance,
        moved=chance < UNLIKELY,
        chance=chance,
        largest=float(change[worst]),
        largest_uncertainty=2.0 * float(standard[worst]),
        largest_x_mm=float(x[worst]),
        size=size,
        size_uncertainty=doubt,
    )


def causes(found: Difference, columns: Mapping[str, FloatArray], doubt: float = 0.25) -> tuple[Cause, ...]:
    """Every single cause by how much of the change it takes away, the best first.

    ``columns``: what one unit of a cause does to the reading at ``found.x_mm`` (places,). ``doubt`` is how far a column
    itself may be out (standard, as a part of it): the response of a rail is not known better before it is learned.
    """
    whole = float(found.change @ np.linalg.solve(found.covariance, found.change))
    out = []
    for name, column in columns.items():
        inverse = np.linalg.inv(found.covariance)
        power = float(column @ inverse @ column)
        if power <= 0.0:
            continue
        amount = float(column @ inverse @ found.change) / power
        left = found.change - amount * column
        # where the column is doubted, its share of what it moved counts as noise
        widened = found.covariance + np.diag((doubt * amount * column) ** 2)
        explains = _chance(left, widened, 1) >= UNLIKELY
        share = 1.0 - float(left @ inverse @ left) / whole if whole > 0 else 0.0
        chance = math.erfc(abs(amount) * math.sqrt(power / 2.0))
        out.append(Cause(name, amount, 2.0 / math.sqrt(power), explains, share, chance))
    return tuple(sorted(out, key=lambda cause: -cause.share))


def stands_out(found: Sequence[Cause]) -> bool:
    """Whether a single cause alone is too much for a machine that did not move.

    Over 24 places a small change of one bolt drowns in what the other 23 allow; along its own column it does not. As
    many causes as are asked, so many times the chance of a false alarm (Bonferroni).
    """
    return bool(found) and min(cause.chance for cause in found) * len(found) < UNLIKELY / 2.0


def noticed_from(found: Difference, columns: Mapping[str, FloatArray]) -> dict[str, float]:
    """How much of each cause alone would be noticed 19 times in 20, whichever way it went (by ``stands_out``)."""
    from scipy.special import ndtri

    needed = float(-ndtri(UNLIKELY / 4.0 / max(len(columns), 1)) - ndtri(0.05))
    inverse = np.linalg.inv(found.covariance)
    powers = {name: float(column @ inverse @ column) for name, column in columns.items()}
    return {name: needed / math.sqrt(power) if power > 0.0 else math.inf for name, power in powers.items()}


def joined(found: Sequence[Difference]) -> Difference:
    """Several set-ups' differences as one: places one behind the other, nothing shared between them."""
    from scipy.linalg import block_diag

    worst = max(found, key=lambda each: abs(each.largest) / each.largest_uncertainty)
    return replace(
        worst,
        x_mm=np.concatenate([each.x_mm for each in found]),
        change=np.concatenate([each.change for each in found]),
        covariance=block_diag(*[each.covariance for each in found]),
        moved=any(each.moved for each in found),
        chance=min(each.chance for each in found),
    )


def _chance(change: FloatArray, covariance: FloatArray, fitted: int) -> float:
    """The chance of so large a change in a machine that did not move."""
    from scipy.special import chdtrc

    scale, vectors = np.linalg.eigh((covariance + covariance.T) / 2.0)
    kept = scale > 1e-9 * scale.max()
    squares = float(np.sum((vectors.T[kept] @ change) ** 2 / scale[kept]))
    return float(chdtrc(max(int(kept.sum()) - fitted, 1), squares))


def _interpolation(from_x: FloatArray, to_x: FloatArray) -> FloatArray:
    """Rows (to, from) of straight-line interpolation."""
    right = np.clip(np.searchsorted(from_x, to_x), 1, len(from_x) - 1)
    span = np.maximum(from_x[right] - from_x[right - 1], 1e-12)
    part = np.clip((to_x - from_x[right - 1]) / span, 0.0, 1.0)
    rows = np.zeros((len(to_x), len(from_x)))
    rows[np.arange(len(to_x)), right - 1] = 1.0 - part
    rows[np.arange(len(to_x)), right] += part
    return rows
