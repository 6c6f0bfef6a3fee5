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
from analysis.response import covering_positions, place_weights
from analysis.results import Findings, FloatArray, PlaceFinding
from analysis.rounds import Round
from analysis.running import stands
from analysis.state import Earlier, Formed, estimate_shape, place_rows
from analysis.uncertainty import peak_to_valley
from analysis.verdict import judge
from logger.advising import inputs
from logger.advising.carrying import lying_now
from logger.advising.extra_set_ups import would_show
from logger.machines import Machine

if TYPE_CHECKING:
    from logger.job import Job

STROKE_PART = 2.0  # the run over the whole stroke may be this many bands (common practice, no source)
EXTREMES_LOST = -1.0  # the mean of all forms it may have runs less far than any of them: what the draws add is added
SEEN_PART = 0.6  # a place is seen when its uncertainty is at most this part of what is allowed


def places(
    where: Job | Machine, findings: Findings | Sequence[Findings], lying: Formed | None = None
) -> tuple[PlaceFinding, ...]:
    """Every place of the machine, judged from the findings of one state (one set-up or several).

    ``lying``: the rail as it lies, where more is known of it than these findings say.
    """
    machine = where if isinstance(where, Machine) else where.machine
    several = [findings] if isinstance(findings, Findings) else list(findings)
    several = [f for f in several if f.set_up in machine.set_ups and machine.set_up(f.set_up).direction == "height"]
    if not machine.places or not several:
        return tuple(_not_seen(place.name, place.peak_to_valley_mm, "") for place in machine.places)
    shape = lying or shape_of(machine, several)
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
    """Heights to be kept constant beside what was swept: a place, the run over the whole stroke, or its rise.

    The rows are ``weights`` (stations, 3) times the state at ``s_mm``, and ``mix`` (rows, stations) of those where
    there is one. ``limit`` is what is allowed; ``aim`` what the planner is given, never tighter than the goal is known.
    """

    name: str
    s_mm: FloatArray
    weights: FloatArray
    value: FloatArray
    covariance: FloatArray
    limit: float
    aim: float
    mix: FloatArray | None = None

    @property
    def planned_covariance(self) -> FloatArray:
        """What a plan reckons with: most of how far the goal is unknown.

        With too little of it a goal half seen is brought just inside and is outside in truth; with all of it the worst
        goal of a draw is the one known worst, and no move seems to help.
        """
        return self.covariance * PLANNED_PART

    def response(self, of_state: FloatArray) -> FloatArray:
        """Response (draws, rows, bolts) of this goal, from that of (heave, pitch, roll) at its stations."""
        rows = np.einsum("dsqb,sq->dsb", of_state, self.weights)
        return np.asarray(rows if self.mix is None else np.einsum("rs,dsb->drb", self.mix, rows))


WHOLE_STROKE, RISE = "the whole stroke", "rise over the stroke"


def place_goals(
    machine: Machine, findings: Sequence[Findings], carriage: Carriage, lying: Formed | None = None
) -> list[Goal]:
    """Every place, and the carriage's run and rise over the whole stroke, as far as several set-ups tell of them.

    Only when several set-ups were swept: one alone is aimed at as it is. A goal known worse than it is allowed is
    aimed at all the same, as well as it is known; one that nothing tells of is left out.
    """
    several = [f for f in findings if f.set_up in machine.set_ups and machine.set_up(f.set_up).direction == "height"]
    if len(several) < 2:
        return []
    shape = lying or shape_of(machine, several)
    band = float(machine.band.peak_to_valley_mm)
    goals = []
    for place in machine.places:
        s_mm = covering_positions(carriage, float(place.x_mm))
        if len(s_mm) > 1:
            weights = place_weights(float(place.x_mm), float(place.y_mm or 0.0), s_mm)
            goals.append(_goal(f"place {place.name}", shape, s_mm, weights, float(place.peak_to_valley_mm)))
    s_mm = np.linspace(*carriage.stroke_mm, 21)
    run = _goal(WHOLE_STROKE, shape, s_mm, np.tile([1.0, 0.0, 0.0], (len(s_mm), 1)), STROKE_PART * band)
    return [goal for goal in (*goals, run, _rise_of(run, band)) if _shape_doubt(goal.covariance) <= KNOWN * goal.limit]


PLANNED_PART = 0.7  # of a goal's covariance
KNOWN = 3.0  # a goal known worse than so many times what is allowed is not aimed at


def shape_of(machine: Machine, findings: Sequence[Findings]) -> Formed:
    """The estimated running surface from every set-up's findings of one state."""
    sweeps = [inputs.sweep_of(machine, each) for each in findings]
    prior = inputs.prior_of(machine)
    if stands(prior.bench):
        return lying_now(
            prior,
            (Round({each.set_up: sweep for each, sweep in zip(findings, sweeps, strict=True)}),),
            bool(machine.table.map),
        )
    return estimate_shape(inputs.carriage_of(machine), sweeps, table_mapped=bool(machine.table.map))


def formed_now(machine: Machine, state: inputs.State) -> Formed | None:
    """The running surface as it was last swept, from that round and, for what no bolt moves, those before it in the
    visit; None where nothing reads heights or tilts. For carriages whose bearings all carry: else a form is learned.
    """
    *before, last = [each for each in state.rounds if each.sweeps] or [Round({})]
    if not last.sweeps or stands(inputs.prior_of(machine).bench):
        return None
    before = [each for each in before if each.visit == last.visit][-EARLIER_ROUNDS:]
    turned, earlier = False, []
    for each in reversed(before):
        turned = turned or bool(each.turns)
        earlier.append(Earlier(tuple(each.sweeps.values()), turned))
    lines = machine.table.map
    map_mm = float(np.mean([point[2] for line in lines for point in line.points])) if lines else 0.0
    return estimate_shape(inputs.carriage_of(machine), list(last.sweeps.values()), bool(lines), earlier, map_mm)


EARLIER_ROUNDS = 3


def _goal(name: str, shape: Formed, s_mm: FloatArray, weights: FloatArray, limit: float) -> Goal:
    value, covariance = shape.rows(s_mm, weights)
    return Goal(name, s_mm, weights, value, covariance, limit, max(limit, _shape_doubt(covariance)))


def _rise_of(run: Goal, band: float) -> Goal:
    """The tilt of the whole run as two rows, half its rise down and half up: their peak to valley is the rise.

    It may be as much as the run less what it is unknown by, and at least the band: known well it needs no tighter aim.
    """
    arm = run.s_mm - run.s_mm.mean()
    slope = arm / float(np.sum(arm * arm))
    pick = np.outer(np.array([-0.5, 0.5]) * float(np.ptp(run.s_mm)), slope)
    covariance = pick @ run.covariance @ pick.T
    doubt = 4.0 * float(np.sqrt(covariance[1, 1]))
    limit = max(band, run.limit - doubt)
    return Goal(RISE, run.s_mm, run.weights, pick @ run.value, covariance, limit, max(limit, doubt), pick)


def _shape_doubt(covariance: FloatArray) -> float:
    """Expanded uncertainty of the largest deviation from the mean: the mean's own doubt is not the shape's."""
    count = len(covariance)
    centre = np.eye(count) - 1.0 / count
    return 2.0 * float(np.sqrt(np.max(np.diag(centre @ covariance @ centre))))


def next_set_up(machine: Machine, swept: Sequence[str]) -> str | None:
    """The set-up of machine.yaml, not yet swept, that would show most for its work; None where none shows anything."""
    return next((extra.set_up for extra in would_show(machine, swept) if extra.set_up), None)


def whole_stroke(machine: Machine, findings: Sequence[Findings], lying: Formed | None = None) -> PlaceFinding | None:
    """The carriage's height over all of its stroke, judged like a place; None where nothing reads heights or tilts."""
    several = [f for f in findings if f.set_up in machine.set_ups and machine.set_up(f.set_up).direction == "height"]
    if not several:
        return None
    shape = lying or shape_of(machine, several)
    s_mm = np.linspace(*shape.carriage.stroke_mm, 21)
    value, covariance = shape.rows(s_mm, np.tile([1.0, 0.0, 0.0], (len(s_mm), 1)))
    limit = STROKE_PART * float(machine.band.peak_to_valley_mm)
    width, uncertainty = peak_to_valley(value, covariance, EXTREMES_LOST)
    if uncertainty > limit:
        swept = ", ".join(each.set_up for each in several)
        return _not_seen(
            WHOLE_STROKE, limit, f"From {swept} it is known to ±{uncertainty:.2f} mm only; {limit:.3f} mm is allowed."
        )
    verdict = judge(width, uncertainty, None, limit, "mm", "height over the whole stroke")
    return PlaceFinding(WHOLE_STROKE, verdict.word, width, uncertainty, limit, True, verdict.reason)


def not_seen_by_any(machine: Machine, findings: Sequence[Findings], lying: Formed | None = None) -> tuple[str, ...]:
    """What none of several set-ups sees: stretches of the stroke, tilt, roll, the table under a carried tip.

    One set-up says itself what it does not see.
    """
    several = [f for f in findings if f.set_up in machine.set_ups and machine.set_up(f.set_up).direction == "height"]
    if len(several) < 2:
        return several[0].not_seen if several else ()
    stretches = list(several[0].profile.not_seen)
    for each in several[1:]:
        stretches = [
            (max(low, a), min(high, b))
            for low, high in stretches
            for a, b in each.profile.not_seen
            if min(high, b) - max(low, a) > 1.0
        ]
    said = [f"{low:.0f} to {high:.0f} mm of the stroke" for low, high in stretches]
    run = whole_stroke(machine, several, lying)
    if run is not None and not run.seen:
        said.append(f"tilt of the whole rail ({run.why})")
    given = [machine.set_up(each.set_up) for each in several]
    lines = {each.y_mm for each in given if each.kind != "level"}
    if len(lines) < 2 and not any(each.axis == "roll" for each in given):
        said.append("roll")
    if any(each.kind == "carried" for each in given) and not machine.table.map:
        said.append("the table's own flatness (no map)")
    return tuple(said)


def _not_seen(name: str, allowed: float, why: str) -> PlaceFinding:
    return PlaceFinding(
        name, "cannot tell", None, None, float(allowed), False, why or "Nothing was swept that sees it."
    )
