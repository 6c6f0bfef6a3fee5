"""Readings to a result: the value with its uncertainty, the verdict, and what to move.

Why it exists: it is the one bridge from typed readings to ``analysis``, so that command line, screen and report give
the same answer. It prevents a correction in millimetres of error: what is said is the movement of a foot, bolt or
screw, which way, and in turns where its pitch is known. Each family of checks is a module ``evaluate_*`` with its own
``EVALUATIONS``; this one only picks.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from logger.checks import (
    evaluate_base,
    evaluate_fence,
    evaluate_fit,
    evaluate_line,
    evaluate_surface,
    evaluate_toe,
    evaluate_travel,
    evaluate_turning,
)
from logger.checks.model import Allowed, Check, Readings
from logger.checks.result import Evaluation, Result
from logger.errors import NotAllowed

if TYPE_CHECKING:
    from analysis.results import Verdict
    from logger.machines import Machine

EVALUATIONS: dict[str, Evaluation] = {
    **evaluate_base.EVALUATIONS,
    **evaluate_fit.EVALUATIONS,
    **evaluate_surface.EVALUATIONS,
    **evaluate_travel.EVALUATIONS,
    **evaluate_turning.EVALUATIONS,
    **evaluate_line.EVALUATIONS,
    **evaluate_toe.EVALUATIONS,
    **evaluate_fence.EVALUATIONS,
}


def evaluate(check: Check, readings: Readings, allowed: Allowed, machine: Machine) -> Result:
    """The result of one check. NotAllowed in one sentence where the readings do not carry one."""
    try:
        with np.errstate(divide="raise", invalid="raise", over="raise"):
            result = EVALUATIONS[check.name](check, readings, allowed, machine)
    except ArithmeticError as wrong:  # a length of nothing, or sizes no machine has
        raise NotAllowed(
            f"{check.name}: these numbers cannot be worked with: one of them is nothing, or far out of size.",
            "Look through the readings and their units; nothing was recorded.",
        ) from wrong
    except ValueError as wrong:  # the analysis says in words what the readings lack
        raise NotAllowed(f"{check.name}: {wrong}", "Correct the readings; nothing was recorded.") from wrong
    return result


def would_decide(verdict: Verdict) -> float | None:
    """The expanded uncertainty below which this value could be judged, where it cannot; None else."""
    if verdict.word != "cannot tell":
        return None
    edges = [abs(verdict.value - limit) for limit in (verdict.lower, verdict.upper) if limit is not None]
    return min(edges) if edges else None
