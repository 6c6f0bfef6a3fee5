"""What a correction really did, and what to do next: one adjustment learned from its own first try.

Why it exists: a cast body follows a foot only in part, a strut pushes against a floor that gives, a rail slips under
its clamp. It prevents the two usual answers, doing the whole computed move again and again, or turning twice as far
because half of it came: what to do follows from one trial with its uncertainty, not from a habit.

Value after = value before - share x (what the correction would have done if everything followed). The share has a prior
(0.6 with a standard deviation of 0.35: common practice, no source) and is updated as a normal mean (JCGM 101:2008 would
draw; with one number the formula is exact).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

PRIOR_SHARE, PRIOR_SPREAD = 0.6, 0.35
SMALLEST_SHARE = 0.08
"""A machine that follows less is held by something: more of the same would only load it. A stiff casting on a floor
that gives follows a tenth to a third (simulated bodies)."""


@dataclass(frozen=True, slots=True)
class Trial:
    """One correction: what was measured before and after (value, expanded uncertainty), and how much was corrected of
    it, in the same unit (1:1: the whole value before)."""

    before: float
    before_uncertainty: float
    after: float
    after_uncertainty: float
    corrected: float


@dataclass(frozen=True, slots=True)
class Share:
    """The part of a correction that arrives, and its standard uncertainty; ``trials`` it was learned from.

    ``held`` True: it follows so little that something holds it (a brace, a rail, a foot in the air).
    """

    share: float
    standard_uncertainty: float
    trials: int
    held: bool

    @property
    def factor(self) -> float:
        """By what to multiply the computed correction."""
        return 1.0 / max(self.share, SMALLEST_SHARE)


def share_of(trials: Sequence[Trial]) -> Share:
    """What the trials so far say of the share; trials that corrected less than could be measured say little."""
    weight, total = 1.0 / PRIOR_SPREAD**2, PRIOR_SHARE / PRIOR_SPREAD**2
    counted = 0
    for trial in trials:
        if abs(trial.corrected) <= 0.0:
            continue
        seen = (trial.before - trial.after) / trial.corrected
        spread = math.hypot(trial.before_uncertainty, trial.after_uncertainty) / 2.0 / abs(trial.corrected)
        spread = math.hypot(spread, 0.05)  # the hand's own
        weight, total, counted = weight + 1.0 / spread**2, total + seen / spread**2, counted + 1
    mean, spread = total / weight, math.sqrt(1.0 / weight)
    return Share(mean, spread, counted, held=counted > 0 and mean + spread < SMALLEST_SHARE + 0.03)
