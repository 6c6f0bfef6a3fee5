"""The places that matter, judged from whatever was swept, and the set-up that would show most next.

Why it exists: the verdict of a sweep speaks of its own stretch only. What the work feels is the carriage's height at
the spindle and the blade while the whole board passes. It prevents a machine being called true that was never looked at
there: a place is either judged with its uncertainty or named not seen.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np

from analysis.response import SetUp, seen_by_geometry
from analysis.results import Findings, FloatArray, PlaceFinding
from analysis.state import doubt_with, estimate_shape, place_rows
from analysis.uncertainty import peak_to_valley
from analysis.verdict import judge
from logger import advice_inputs as inputs
from logger.machines import Machine

if TYPE_CHECKING:
    from logger.job import Job

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
