"""The rail's check, judged from what was swept.

Why it exists: one stand's sweep that is inside says nothing of the rail's tilt or of the spindle. The check is inside
only when every place and the run over the whole stroke (the tilt) have been seen and are inside; until then it says
what has not been seen.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

from analysis.uncertainty import peak_to_valley
from analysis.verdict import judge
from logger.job import Job

if TYPE_CHECKING:
    from collections.abc import Sequence

    from analysis.results import Findings, Verdict, VerdictWord
    from logger.advising.inputs import State
    from logger.journal import JournalEntry
    from logger.machines import Machine

WHOLE_STROKE = "the whole stroke"


@dataclass(frozen=True, slots=True)
class RailState:
    """``verdict`` and why; ``value_mm`` and ``uncertainty_mm`` are of the set-up swept last, if in mm."""

    verdict: VerdictWord
    why: str
    value_mm: float | None
    uncertainty_mm: float | None


@dataclass(frozen=True)
class _Since(Job):
    """The job as if its journal began at ``place``: sweeps from before something moved are no part of the state."""

    place: int = 0

    def standing_entries(self) -> list[JournalEntry]:
        return super().standing_entries()[self.place :]


def rail_state(job: Job, since: int = 0) -> RailState | None:
    """From the sweeps at and after standing entry ``since``; None where there are none."""
    job = _Since(job.folder, job.machine, job.journal, place=since)
    return _judged(job)


def _judged(job: Job) -> RailState | None:
    from logger.advising.inputs import state_of
    from logger.errors import NotAllowed, NotUnderstood

    if not any(each.sweeps for each in job.rounds()):
        return None
    try:
        state = state_of(job)
    except (NotAllowed, NotUnderstood) as fault:
        return RailState("cannot tell", str(fault), None, None)
    known = job.machine.set_ups
    found = [f for f in state.current.values() if f.set_up in known and known[f.set_up].direction == "height"]
    if not found:
        return RailState("cannot tell", "Nothing was swept that reads heights, pitch or roll.", None, None)
    heights = [each for each in found if known[each.set_up].kind != "level"]
    swept = [each.verdict for each in (heights or found)]  # a level beside a stand informs places and tilt instead
    seen, not_seen = _seen_and_not(job.machine, state, found)
    last = swept[-1]
    value, uncertainty = (last.value, last.uncertainty) if last.unit == "mm" else (None, None)
    if value is not None and not math.isfinite(value):
        value = uncertainty = None
    outside = [verdict for verdict in (*swept, *seen) if verdict.word == "outside"]
    if outside:
        return RailState("outside", outside[0].reason, value, uncertainty)
    unsure = [verdict.reason for verdict in (*swept, *seen) if verdict.word == "cannot tell"]
    if unsure or not_seen:
        named = [f"Not seen yet: {', '.join(not_seen)}."] if not_seen else []
        return RailState("cannot tell", " ".join([*named, *unsure]), value, uncertainty)
    return RailState("inside", "Every place and the tilt have been seen and are inside.", value, uncertainty)


def _seen_and_not(machine: Machine, state: State, found: Sequence[Findings]) -> tuple[list[Verdict], list[str]]:
    """Verdicts of the places and of the run over the whole stroke, and the names of what was not seen."""
    from logger.advising.inputs import carriage_of
    from logger.advising.places import EXTREMES_LOST, formed_now, place_goals, places

    verdicts, not_seen = [], []
    formed = formed_now(machine, state)
    for place in places(machine, found, formed):
        if place.seen and place.peak_to_valley is not None and place.uncertainty is not None:
            name = f"height at the {place.name}"
            verdicts.append(judge(place.peak_to_valley, place.uncertainty, None, place.allowed, "mm", name))
        else:
            not_seen.append(place.name)
    goals = {goal.name: goal for goal in place_goals(machine, found, carriage_of(machine), formed)}
    if WHOLE_STROKE in goals:
        goal = goals[WHOLE_STROKE]
        width, uncertainty = peak_to_valley(goal.value, goal.covariance, EXTREMES_LOST)
        verdicts.append(judge(width, uncertainty, None, goal.limit, "mm", "height over the whole stroke"))
    else:
        not_seen.append("tilt of the whole rail")
    return verdicts, not_seen
