"""Contact first: a round that brings hanging feet to touch, where no other promises anything.

Why it exists: how far a foot hangs is hardly known, so no lift of it can be planned, and a plan among the feet that do
carry goes to and fro between two of them for ever. A display that begins to follow shows to a hundredth when a foot
touches. It prevents such rounds: the feet that probably hang are raised until the display just follows, and the next
round knows where they stand.
"""

from __future__ import annotations

import numpy as np

from analysis.contact_plan import play_in_contact
from analysis.resting import Resting
from analysis.results import FloatArray
from analysis.situation import Outcome, Situation, Step, draw_errors

OUTSIDE, NEARER = 1.2, 0.85  # of the band, and of where the round began: a round that ends nearer than one is made
PROBABLY = 0.5  # chance to hang from which on a foot is brought to touch
FOLLOWS_mm = 0.012  # how much the display must move, in the mean, to be seen to follow
FOLLOWS_PART = 0.5  # ... or this part of what it does per mm, where that is less
SEEN = 0.05  # mm of the display per mm of thread once the foot carries: less shows nobody when it touches
STEP_mm, FURTHEST_mm = 0.02, 1.0
WORSE, OFTEN = 1.2, 0.5  # such a round may not make it worse by a fifth in more than half of the draws


def with_contact_first(situation: Situation, resting: Resting, planned: Outcome, nothing: Outcome) -> Outcome:
    """``planned``, or a round of contact first where its middle draw ends outside the band and hardly nearer."""
    end, begin = float(np.median(planned.ratio)), float(np.median(nothing.ratio))
    if end <= OUTSIDE or end <= NEARER * begin:
        return planned
    errors = draw_errors(situation, max(situation.bolts, 1))
    steps = touching_steps(situation, resting)
    if not steps:
        return planned
    played = play_in_contact(situation, resting, errors, steps)
    spoilt = float(np.mean(played.ratio > WORSE * np.maximum(nothing.ratio, 1.0)))
    return played if spoilt <= OFTEN else planned


def touching_steps(situation: Situation, resting: Resting) -> tuple[Step, ...]:
    """A turn for every foot that probably hangs, the surest first: up until the display follows, in the mean."""
    chance, held = resting.hanging(), resting.held().mean(axis=0)
    lifts = np.zeros((len(resting.lifts_mm), situation.bolts))
    steps = []
    for bolt in np.argsort(-chance):
        park = int(situation.parks[np.argmax(np.abs(held[situation.parks, bolt]))])
        furthest = min(FURTHEST_mm, float(situation.highest_mm[bolt]))
        if chance[bolt] < PROBABLY or abs(held[park, bolt]) < SEEN or furthest < STEP_mm:
            continue
        ways = np.arange(0.5 * STEP_mm, furthest, STEP_mm)
        follows = np.abs(_followed(resting, lifts, int(bolt), park, ways))
        enough = np.flatnonzero(follows >= min(FOLLOWS_mm, FOLLOWS_PART * abs(held[park, bolt])))
        if not len(enough):
            continue
        lift = float(ways[enough[0]])
        lifts[:, bolt] += lift
        steps.append(Step(int(bolt), park, 0.0, lift))
    return tuple(steps)


def _followed(resting: Resting, lifts_mm: FloatArray, bolt: int, park: int, ways_mm: FloatArray) -> FloatArray:
    """How the display changes in the mean of the draws (ways,) when this bolt goes up by each of the ways."""
    trials = np.repeat(lifts_mm[:, None], len(ways_mm) + 1, axis=1)
    trials[:, 1:, bolt] += ways_mm
    shown = resting.display(park, trials).mean(axis=0)
    return np.asarray(shown[1:] - shown[0])
