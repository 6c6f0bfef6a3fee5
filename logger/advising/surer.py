"""A turn for a machine that cannot be told inside where it stands, and words for one that no turn helps.

Why it exists: the bolts meet a band or miss it; a verdict must also carry its uncertainty. A plan that is content with
meeting the band leaves a machine at its edge, where sweep after sweep says "cannot tell". It prevents that, and giving
up while a bolt would do it that the display shows little of: such a bolt is turned by a little, and that is said.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from analysis.ahead import loss_ahead
from analysis.bolts import SELDOM, WORSE
from analysis.guided import Parks
from analysis.results import Plan
from analysis.situation import Outcome, Situation, ratio_and_slope
from logger.advising.extra_set_ups import sentence
from logger.advising.ground import Ground, doubt_of, hidden_of, plan

if TYPE_CHECKING:
    from logger.machines import Machine

WORTH_A_TURN = 0.05  # so much more chance of being inside makes a turn better than measuring again
LEAST_SEEN = 0.02  # mm of the display per mm of thread by which a bolt may still be guided, where nothing else helps
ONE_STEP_mm = 0.6  # further such a bolt is not moved in one round: where nobody looks it does ten times as much
TIGHTEST = 0.5  # of the band: aimed at where the uncertainty leaves less
LIKELY, MUCH = 0.7, 0.15  # a round this likely inside is made as it is; so much more chance is worth such bolts
FAR = 0.25  # ... and where a round is hardly the last one, one that such bolts bring much nearer
ANY = 0.01  # gain that is one at all
SETTLED = 0.15  # so much more chance that the verdict says inside is worth a turn where it would never say so otherwise
NEARER = 0.9  # outside the band, a round that ends at most at this part of where it began is worth its turns


def surer(
    ground: Ground,
    situation: Situation,
    cost_per_move: float,
    nothing: Outcome,
    again: bool = False,
    made: Parks = (),
    stuck: bool = False,
) -> Outcome | None:
    """The round that ends inside by more than the uncertainty, or nearer to it; None where none is surer than standing
    still.

    It is planned in the band that the verdict leaves, with bolts of which the display shows little, and compared in the
    true band with what the draws do not know counted: a table's own form, what is left of the extremes. ``situation``:
    the ground's, or what is left of it in the middle of a round, with the turns ``made``. ``again``: this state was
    swept more than once, and any gain is better than sweeping it once more: also that of a verdict at last.
    """
    if ground.contact is not None or len(situation.groups) > 1:  # goals between set-ups have doubts of their own
        return None
    wider, far = guarded(ground, situation), float(np.median(in_the_band(ground, nothing).ratio))
    other, still = plan(ground, wider, cost_per_move, made=made)
    if not other.steps and (far > 1.0 or again):
        other, still = plan(ground, wider, 0.0, insist=True, made=made)
    if not other.steps:
        return None
    teaches = stuck and loss_ahead(wider, other) < still.loss - WORTH_A_TURN
    other = in_the_band(ground, other)
    gain = chance_with_doubt(ground, other) - chance_with_doubt(ground, nothing)
    nearer = float(np.median(other.ratio)) / far
    if again:
        settled = chance_with_doubt(ground, other, tight=True) - chance_with_doubt(ground, nothing, tight=True)
        better = max(gain, settled - SETTLED) > ANY or (far > 1.0 and nearer <= 1.0 - ANY)
        return other if better or (teaches and float(np.mean(other.ratio > WORSE)) <= SELDOM) else None
    return other if gain > WORTH_A_TURN or (far > 1.0 and nearer <= NEARER) else None


def with_hardly_seen(ground: Ground, outcome: Outcome, cost_per_move: float) -> Outcome | None:
    """A round that bolts of which the display shows little make much surer, or bring much nearer from far off; None
    where there is none such.

    A carried tip sees only what happens over the table: without the bolts at the rail's ends round after round gained
    little.
    """
    situation = ground.situation
    if ground.contact is not None or len(situation.groups) > 1:
        return None
    chance = chance_with_doubt(ground, outcome)
    wider = guarded(ground, situation)
    if chance >= LIKELY or len(wider.turnable()) == len(situation.turnable()):
        return None
    other, _ = plan(ground, wider, cost_per_move)
    if other.steps and chance_with_doubt(ground, other) - chance > MUCH:
        return in_the_band(ground, other)
    if chance >= FAR:
        return None
    other, _ = plan(ground, replace(wider, groups=situation.groups), cost_per_move)
    ends, planned = other.ratio, in_the_band(ground, outcome).ratio
    nearer = all(np.quantile(ends, part) <= NEARER * np.quantile(planned, part) for part in (0.5, 0.9))
    return other if other.steps and nearer else None


def hopeless(ground: Ground, outcome: Outcome, nothing: Outcome) -> bool:
    """Whether a round from outside the band hardly leads anywhere: it is made for want of a better one."""
    far = float(np.median(nothing.ratio))
    little = chance_with_doubt(ground, outcome) <= chance_with_doubt(ground, nothing) + WORTH_A_TURN
    return far > 1.0 and little and float(np.median(outcome.ratio)) > NEARER * far


def guarded(ground: Ground, situation: Situation) -> Situation:
    """The situation with the band that the verdict leaves, and every bolt that moves the display surely."""
    first, *others = situation.groups
    tight = max(first.limit - doubt_of(ground) - hidden_of(ground), TIGHTEST * first.limit)
    level = ground.sweeps[ground.main].set_up.kind == "level"
    least = situation.least_gain if level else np.minimum(situation.least_gain, LEAST_SEEN)
    wider = replace(situation, groups=(replace(first, limit=tight), *others), least_gain=least)
    hardly = np.isin(np.arange(situation.bolts), list(set(wider.turnable()) - set(situation.turnable())))
    return replace(
        wider,
        lowest_mm=np.where(hardly, np.maximum(wider.lowest_mm, -ONE_STEP_mm), wider.lowest_mm),
        highest_mm=np.where(hardly, np.minimum(wider.highest_mm, ONE_STEP_mm), wider.highest_mm),
    )


def in_the_band(ground: Ground, outcome: Outcome) -> Outcome:
    """The same round held against the band itself."""
    ratio, _ = ratio_and_slope(outcome.value, ground.situation.groups)
    return replace(outcome, ratio=ratio)


def chance_with_doubt(ground: Ground, outcome: Outcome, tight: bool = False) -> float:
    """Chance of being inside with the verdict's own uncertainty (k = 2) about what every draw reads; ``tight``: inside
    by so much that the verdict can say so.
    """
    from scipy.special import ndtr

    limit, doubt = ground.situation.groups[0].limit, doubt_of(ground)
    allowed = (max(limit - doubt, TIGHTEST * limit) if tight else limit) - hidden_of(ground)
    ratio = in_the_band(ground, outcome).ratio
    return float(np.mean(ndtr((allowed - ratio * limit) / max(0.5 * doubt, 1e-6))))


def hardly_seen(machine: Machine, ground: Ground, outcome: Outcome) -> tuple[str, ...]:
    """A sentence where bolts are turned of which the display shows little (where contact decides, none is left out)."""
    if ground.contact is not None:
        return ()
    plain = ground.situation.turnable()
    names = [machine.bolts[b].name for b in dict.fromkeys(step.bolt for step in outcome.steps) if b not in plain]
    if not names:
        return ()
    return (
        f"{', '.join(names)}: {ground.main} shows little of it and the carriage moves more elsewhere: no further than "
        f"said, and look there afterwards.",
    )


def no_turn_helps(machine: Machine, base: Plan, ground: Ground, likely_inside: bool, measured_again: bool) -> Plan:
    """What to do where no turn is surer than standing still: another look, or what would make a look worth it."""
    if base.verdict.word == "outside" and not likely_inside:
        unseen = _not_guided(machine, ground)
        if not unseen:
            why = ("No move a hand can make would bring what was swept nearer to the band.",)
            return replace(base, next="stop", why=why)
        said = f"The bolts that {ground.main} can guide bring it no nearer, and it hardly sees {', '.join(unseen)}."
        return replace(base, next="sweep", next_set_up=base.next_set_up or ground.main, why=(said, *_more(base)))
    if not measured_again:
        why = ("No turn would surely improve it, and the uncertainty reaches across the limit: measure again.",)
        return replace(base, next="sweep", next_set_up=ground.main, why=why)
    said = "No turn would make it surer, and a third sweep of the same would say the same."
    if ground.sweeps[ground.main].set_up.kind == "carried" and not ground.mapped:
        said += " The table's own flatness is most of what is not known: map it along this line (truestroke map)."
    return replace(base, next="sweep", next_set_up=base.next_set_up or ground.main, why=(said, *_more(base)))


def _more(base: Plan) -> Sequence[str]:
    return [sentence(base.would_show[0])] if base.would_show else []


def _not_guided(machine: Machine, ground: Ground) -> list[str]:
    plain = ground.situation.turnable()
    return [bolt.name for index, bolt in enumerate(machine.bolts) if index not in plain]
