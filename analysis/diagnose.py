"""What is wrong with the world: bolts that do nothing, or the opposite of what was written down.

Why it exists: a loose nut, a foot in the air or a name written on the wrong bolt looks to a learner like a strange
machine, and it will learn one. It prevents that by asking of every turn, after the fact: which part of its expected
effect was seen?
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from analysis.learn import Changes, Learned, Lifts
from analysis.prior import physics_response
from analysis.results import FloatArray

STRANGE = 4.0  # mean square of whitened residuals above which the physics does not explain what was seen


@dataclass(frozen=True)
class OddTurn:
    """A turn whose effect was ``part`` (with standard uncertainty) of the expected one; ``bolt`` is an index."""

    bolt: int
    kind: str  # "none", "opposite" or "strange"
    part: float
    uncertainty: float

    def sentence(self, name: str) -> str:
        """What to check, for people."""
        if self.kind == "none":
            return (
                f"{name}: the readings did not follow its turn. Check that the foot touches (a gap, a loose nut), and "
                f"that it was {name} that was turned."
            )
        if self.kind == "opposite":
            return (
                f"{name}: the readings went the opposite way. Check its turning sense (raises, seen_from) and its "
                f"name in machine.yaml."
            )
        return (
            "No stiffness explains what the readings did: check that nothing else moved (clamp, brace, dirt under a "
            "roller, the indicator's stand), that every turn was recorded, and sweep again."
        )


def effect_parts(learned: Learned, lifts: Lifts, changes: Changes) -> tuple[FloatArray, FloatArray]:
    """Seen part of every turn's expected effect, and its standard uncertainty: (turns,), (turns,).

    Expected: the prior's median response times the recorded lift. Generalised least squares about 1 +- 1 with the
    prior's own spread of responses as noise beside that of the readings.
    """
    prior = learned.prior
    draws = np.concatenate([np.zeros((1, prior.size)), prior.draw(60)])
    rows = np.einsum("dsqb,sq->dsb", physics_response(prior, draws, changes.s_mm), changes.weights)
    effects = rows[..., lifts.bolt] * changes.caused_by * lifts.mean_mm
    design = effects[0]
    off = effects[1:].sum(axis=2) - design.sum(axis=1)
    noise = changes.covariance + off.T @ off / len(off)
    weighted = np.linalg.solve(noise, design)
    covariance = np.linalg.inv(design.T @ weighted + np.eye(design.shape[1]))
    part = 1.0 + covariance @ (weighted.T @ (changes.value - design.sum(axis=1)))
    return part, np.sqrt(np.diag(covariance))


def odd_turns(learned: Learned, lifts: Lifts, changes: Changes) -> list[OddTurn]:
    """Turns that clearly did nothing or the opposite, and changes no stiffness explains."""
    if len(lifts.bolt) == 0 or len(changes.value) == 0:
        return []
    part, uncertainty = effect_parts(learned, lifts, changes)
    odd = []
    for turn, bolt in enumerate(lifts.bolt):
        if uncertainty[turn] > 0.3:
            continue
        if part[turn] < -0.3 and part[turn] + 2.0 * uncertainty[turn] < 0.0:
            odd.append(OddTurn(int(bolt), "opposite", float(part[turn]), float(uncertainty[turn])))
        elif abs(part[turn]) < 0.25 and part[turn] + 2.0 * uncertainty[turn] < 0.6:
            odd.append(OddTurn(int(bolt), "none", float(part[turn]), float(uncertainty[turn])))
    if learned.misfit > STRANGE and not odd:
        odd.append(OddTurn(int(lifts.bolt[-1]), "strange", float("nan"), float("nan")))
    return odd
