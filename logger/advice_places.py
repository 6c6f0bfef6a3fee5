"""The places that matter, judged from whatever was swept, and the set-up that would show most next.

Why it exists: the verdict of a sweep speaks of its own stretch only. What the work feels is the carriage's height at
the spindle and the blade while the whole board passes. It prevents a machine being called true that was never looked at
there: a place is either judged with its uncertainty or named not seen.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from analysis.carriage import Carriage
from analysis.response import SetUp, covering_positions, place_weights, seen_by_geometry
from analysis.results import Findings, FloatArray, PlaceFinding
from analysis.state import doubt_with, estimate_shape, place_rows
from analysis.uncertainty import peak_to_valley
from analysis.verdict import judge
from logger import advice_inputs as inputs
from logger.machines import Machine

if TYPE_CHECKING:
    from logger.job import Job

STROKE_PART = 2.0  # the run over the whole stroke may be this many bands (common practice, no source)
SEEN_PART = 0.6  # a place is seen when its uncertainty is at most this part of what is allowed


def places(where: Job | Machine, findings: Findings | Sequence[Findings]) -> tuple[PlaceFinding, ...]:
    """Every place of the machine, judged from the findings of one state (one set-up or several)."""
    machine = where if isinstance(where, Machine) else where.machine
    several = [findings] if isinstance(findings, Findings) else list(findings)
    several = [f for f in several if f.set_up in machine.set_ups and machine.set_up(f.set_up).direction == "height"]
    if not machine.places or not several:
        return tuple(_not_seen(place.name, place.peak_to_valley_mm, "") for place in machine.places)
    shape = estimate_shape(inputs.carriage_of(machine), [inputs.sweep_of(machine, each) for each in several])
    judged = []
    for place in machine.places:
        y_mm = machine.carriage.edge_y_mm if place.y_mm is None else place.y_mm
        s_mm, value, covariance = place_rows(shape, float(place.x_mm), float(y_mm))
        if len(s_mm) == 0:
            judged.append(_not_seen(place.name, place.peak_to_valley_mm, "The carriage's top never covers it."))
            continue
        width, uncertainty = peak_to_valley(value, covariance)
        if uncertainty > SEEN_PART * place.peak_to_valley_mm:
            swept = ", ".join(each.set_up for each in several)
            why = (
                f"From {swept} it is known to ±{uncertainty:.3f} mm only; {place.peak_to_valley_mm:.3f} mm is allowed."
            )
            judged.append(_not_seen(place.name, place.peak_to_valley_mm, why))
            continue
        verdict = judge(width, uncertainty, None, float(place.peak_to_valley_mm), "mm", f"height at the {place.name}")
        judged.append(
            PlaceFinding(
                place.name, verdict.word, width, uncertainty, float(place.peak_to_valley_mm), True, verdict.reason
            )
        )
    return tuple(judged)


@dataclass(frozen=True)
class Goal:
    """Heights to be kept constant beside what was swept: a place, or the carriage's run over the whole stroke."""

    name: str
    s_mm: FloatArray
    weights: FloatArray
    value: FloatArray
    covariance: FloatArray
    limit: float


def place_goals(machine: Machine, findings: Sequence[Findings], carriage: Carriage) -> list[Goal]:
    """Places that are seen well enough to be aimed at, and the whole stroke's run once its tilt is seen.

    Only when several set-ups were swept: one alone is aimed at as it is.
    """
    several = [f for f in findings if f.set_up in machine.set_ups and machine.set_up(f.set_up).direction == "height"]
    if len(several) < 2:
        return []
    shape = estimate_shape(carriage, [inputs.sweep_of(machine, each) for each in several])
    wanted = [
        (p.name, covering_positions(carriage, p.x_mm), float(p.x_mm), float(p.y_mm or 0.0), p.peak_to_valley_mm)
        for p in machine.places
    ]
    goals = []
    for name, s_mm, x_mm, y_mm, limit in wanted:
        if len(s_mm) > 1:
            weights = place_weights(x_mm, y_mm, s_mm)
            goals.append(Goal(f"place {name}", s_mm, weights, *shape.rows(s_mm, weights), float(limit)))
    s_mm = np.linspace(*carriage.stroke_mm, 21)
    level = np.tile([1.0, 0.0, 0.0], (len(s_mm), 1))
    goals.append(
        Goal("the whole stroke", s_mm, level, *shape.rows(s_mm, level), STROKE_PART * machine.band.peak_to_valley_mm)
    )
    return [goal for goal in goals if _shape_doubt(goal.covariance) <= goal.limit]


def _shape_doubt(covariance: FloatArray) -> float:
    """Expanded uncertainty of the largest deviation from the mean: the mean's own doubt is not the shape's."""
    count = len(covariance)
    centre = np.eye(count) - 1.0 / count
    return 2.0 * float(np.sqrt(np.max(np.diag(centre @ covariance @ centre))))


def next_set_up(machine: Machine, swept: Sequence[str]) -> str | None:
    """The set-up not yet swept that would take most doubt from the carriage's run over the whole stroke."""
    carriage, table = inputs.carriage_of(machine), inputs.table_of(machine)
    s_mm = np.linspace(*carriage.stroke_mm, 27)
    usable: dict[str, tuple[SetUp, FloatArray]] = {}
    for name, given in machine.set_ups.items():
        if given.direction == "height":
            set_up = inputs.set_up_of(machine, name)
            seen = s_mm[seen_by_geometry(set_up, carriage, table, s_mm)]
            if len(seen) > 2:
                usable[name] = (set_up, seen)
    have = {name: usable[name] for name in swept if name in usable}
    rest = [name for name in usable if name not in have]
    if not have or not rest:
        return None
    now = doubt_with(carriage, have)
    doubts = {name: doubt_with(carriage, {**have, name: usable[name]}) for name in rest}
    best = min(rest, key=lambda name: doubts[name])
    return best if doubts[best] < 0.9 * now else None


def _not_seen(name: str, allowed: float, why: str) -> PlaceFinding:
    return PlaceFinding(
        name, "cannot tell", None, None, float(allowed), False, why or "Nothing was swept that sees it."
    )
