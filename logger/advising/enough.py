"""Whether a machine is done: what the swept set-up's verdict does not know, and what else was looked at.

Why it exists: a verdict speaks of one sweep's own stations. The last centimetres before the ends, a lucky sweep among
several of one state, another set-up or a goal between them may say otherwise. It prevents bolts being left alone on a
machine that is not true.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from analysis.results import PlaceFinding, Verdict
from analysis.uncertainty import peak_to_valley
from logger.advising.ground import Ground, doubt_of, hidden_of

GUARD_mm = 0.0015  # what a profile's own figures do not know: between stations, hysteresis (common practice, no source)
FINE = 0.85  # goals between set-ups that keep this part of their limit are left alone: turning puts them at risk
DOUBTED = 0.5  # ... the run over the stroke only if this part of its expanded uncertainty leaves it inside as well


def with_its_ends(verdict: Verdict, ground: Ground) -> Verdict:
    """Inside only if the last centimetres before the ends, carried on straight from the profile, do not say otherwise.

    An indicator loses the edge of the top a little before it is at its end, and where the carriage slopes the extremes
    of its run are just there.
    """
    sweep, group = ground.sweeps[ground.main], ground.situation.groups[0]
    if verdict.word != "inside":
        return verdict
    width, uncertainty = peak_to_valley(sweep.value, sweep.covariance)
    uncertainty = float(np.hypot(uncertainty, GUARD_mm * (1.0 if sweep.set_up.kind != "level" else 5.0)))
    if width + uncertainty <= group.limit:
        return as_the_same_state_said(verdict, ground)
    reason = (
        f"Carried on to the ends of the stretch at {sweep.s_mm[0]:.0f} and {sweep.s_mm[-1]:.0f} mm the peak to "
        f"valley is {width:.3f} ± {uncertainty:.3f} {verdict.unit}; at most {group.limit:.3f} {verdict.unit} allowed."
    )
    return Verdict("cannot tell", width, uncertainty, None, group.limit, verdict.unit, reason)


def as_the_same_state_said(verdict: Verdict, ground: Ground) -> Verdict:
    """Inside only if the mean of all sweeps of this state says so: swept often enough, one of them will by luck."""
    rounds, main = ground.state.rounds, ground.main
    widths = [ground.findings.extremes.peak_to_valley]
    for earlier in reversed(rounds[:-1]):
        if earlier.turns or main not in earlier.sweeps or earlier.visit != rounds[-1].visit:
            break
        width, _ = peak_to_valley(earlier.sweeps[main].value, earlier.sweeps[main].covariance)
        widths.append(width + hidden_of(ground))
    mean, doubt = float(np.mean(widths)), doubt_of(ground)
    limit = ground.situation.groups[0].limit
    if len(widths) == 1 or mean + doubt <= limit:
        return verdict
    reason = (
        f"Over {len(widths)} sweeps of this state the peak to valley is {mean:.3f} ± {doubt:.3f} {verdict.unit} in the "
        f"mean; at most {limit:.3f} {verdict.unit} allowed."
    )
    return Verdict("cannot tell", mean, doubt, None, limit, verdict.unit, reason)


def rest_is_fine(ground: Ground, places: Sequence[PlaceFinding], run: PlaceFinding | None = None) -> bool:
    """Nothing else that was swept or seen in this round is outside, and the goals between the set-ups are met; the
    ``run`` over the whole stroke with some of its doubt, which is mostly one number: how far the rail is tilted.
    """
    others = [each.verdict.word for name, each in ground.state.current.items() if name in ground.sweeps]
    if "outside" in others or any(place.verdict == "outside" for place in places if place.seen):
        return False
    situation = ground.situation
    goals = [group for group in situation.groups if group.name not in ground.sweeps]
    if goals and run is not None and not _surely_kept(run):
        return False
    return all(float(np.ptp(situation.value[goal.rows])) <= FINE * goal.limit for goal in goals)


def _surely_kept(run: PlaceFinding) -> bool:
    if run.peak_to_valley is None or run.uncertainty is None:
        return True
    return run.peak_to_valley + DOUBTED * run.uncertainty <= run.allowed
