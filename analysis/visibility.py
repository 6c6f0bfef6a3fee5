"""What a choice of set-ups will show before any of them is swept: how well each goal would be known.

Why it exists: the cheapest way to a true machine is often one more stand, not one more round of bolts. Uncertainty does
not depend on what will be read, only on where one looks, so it can be told beforehand. It prevents an afternoon of
turning at what nobody could see.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from analysis.carriage import Carriage
from analysis.level import OnTable
from analysis.response import SetUp, covering_positions, place_weights
from analysis.results import FloatArray
from analysis.rounds import Sweep
from analysis.state import Shape, estimate_shape

READING_mm = 0.002
"""Standard uncertainty of a swept height (common practice, no source); a level's is five times that, in mm/m."""
LEVEL_SHOWS = 0.1
"""mm/m: some figure, the same on the table as on a carriage that runs level to it."""
CAP = 5.0
"""A goal known five times worse than allowed is as good as unknown."""


@dataclass(frozen=True)
class Place:
    """A goal at one place: its machine x and y, and what its height may span."""

    name: str
    x_mm: float
    y_mm: float
    limit_mm: float


def known_with(
    carriage: Carriage,
    seen: Mapping[str, tuple[SetUp, FloatArray]],
    places: tuple[Place, ...],
    table_mapped: bool,
    laid_u_mm_per_m: float | None = None,
) -> dict[str, float]:
    """Expanded uncertainty (mm) of every place's shape and of the rise over the stroke, once ``seen`` is swept.

    ``seen``: set-ups by name with the stations at which they read. Empty: nothing is known. ``laid_u_mm_per_m``: how
    well (k = 1) it is known what a pitch level shows along the table; None: it was not laid there.
    """
    if not seen:
        return {**{place.name: np.inf for place in places}, RISE: np.inf}
    sweeps = [_as_swept(set_up, s_mm, laid_u_mm_per_m) for set_up, s_mm in seen.values()]
    shape = estimate_shape(carriage, sweeps, table_mapped)
    known = {place.name: _of_place(shape, carriage, place) for place in places}
    s_mm = np.linspace(*carriage.stroke_mm, 25)
    _, covariance = shape.rows(s_mm, np.tile([1.0, 0.0, 0.0], (len(s_mm), 1)))
    arm = s_mm - s_mm.mean()
    pick = float(np.ptp(s_mm)) * arm / float(arm @ arm)
    return {**known, RISE: 2.0 * float(np.sqrt(pick @ covariance @ pick))}


RISE = "rise over the stroke"


def worth(now: Mapping[str, float], then: Mapping[str, float], limits: Mapping[str, float]) -> float:
    """How much less unknown the goals become, each counted as a part of what it is allowed and capped."""

    def unknown(known: Mapping[str, float]) -> float:
        return sum(min(known[name] / limit, CAP) for name, limit in limits.items())

    return unknown(now) - unknown(then)


def _as_swept(set_up: SetUp, s_mm: FloatArray, laid_u_mm_per_m: float | None) -> Sweep:
    u = READING_mm * (5.0 if set_up.kind == "level" else 1.0)
    laid = laid_u_mm_per_m is not None and set_up.kind == "level" and set_up.axis == "pitch"
    on_table = OnTable(LEVEL_SHOWS, float(laid_u_mm_per_m)) if laid and laid_u_mm_per_m is not None else None
    value = np.full(len(s_mm), LEVEL_SHOWS if set_up.kind == "level" else 0.1)
    return Sweep(set_up, s_mm, value, u * u * np.eye(len(s_mm)), on_table=on_table)


def _of_place(shape: Shape, carriage: Carriage, place: Place) -> float:
    """Expanded uncertainty of the largest deviation from the mean while a board passes."""
    s_mm = covering_positions(carriage, place.x_mm)
    if len(s_mm) < 2:
        return float("inf")
    _, covariance = shape.rows(s_mm, place_weights(place.x_mm, place.y_mm, s_mm))
    centre = np.eye(len(s_mm)) - 1.0 / len(s_mm)
    return 2.0 * float(np.sqrt(np.max(np.diag(centre @ covariance @ centre))))
