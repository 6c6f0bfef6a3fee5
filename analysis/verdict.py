"""The decision rule: inside, outside, or cannot tell.

Why it exists: accepting at the band's edge is wrong in one case in ten, because the estimate is as likely to be on the
far side of the edge as on the near one. It prevents a verdict that the uncertainty does not carry: conformity is said
only when the value is inside the limits by its expanded uncertainty, non-conformity only when it is outside by it
(ISO 14253-1:2017, default rule, guard band equal to U at 95 %).
"""

from __future__ import annotations

import math
from collections.abc import Sequence

from analysis.results import Verdict, VerdictWord


def judge(
    value: float,
    uncertainty: float,
    lower: float | None,
    upper: float | None,
    unit: str = "mm",
    name: str = "value",
) -> Verdict:
    """Judge ``value`` with expanded ``uncertainty`` (k = 2) against ``lower`` .. ``upper`` (either may be None).

    A value or uncertainty that is not finite cannot be judged.
    """
    if not (math.isfinite(value) and math.isfinite(uncertainty)):
        return Verdict("cannot tell", value, uncertainty, lower, upper, unit, f"The {name} could not be measured.")
    low = -math.inf if lower is None else lower
    high = math.inf if upper is None else upper
    word: VerdictWord
    if low + uncertainty <= value <= high - uncertainty:
        word = "inside"
    elif value < low - uncertainty or value > high + uncertainty:
        word = "outside"
    else:
        word = "cannot tell"
    return Verdict(
        word, value, uncertainty, lower, upper, unit, _reason(word, name, value, uncertainty, low, high, unit)
    )


def combine(verdicts: Sequence[Verdict]) -> Verdict:
    """One verdict for several limits: outside if any is, inside only if all are; the worst one is returned.

    Raises ValueError when there is nothing to combine.
    """
    if not verdicts:
        raise ValueError("There is no verdict to combine.")
    rank = {"outside": 0, "cannot tell": 1, "inside": 2}
    worst = min(verdicts, key=lambda verdict: rank[verdict.word])
    reasons = [verdict.reason for verdict in verdicts if verdict.word == worst.word and verdict.reason]
    return Verdict(
        worst.word,
        worst.value,
        worst.uncertainty,
        worst.lower,
        worst.upper,
        worst.unit,
        " ".join(dict.fromkeys(reasons)),
    )


def _reason(word: VerdictWord, name: str, value: float, uncertainty: float, low: float, high: float, unit: str) -> str:
    digits = 3 if unit == "mm" else 2
    shown = max(uncertainty, 10.0**-digits)  # "± 0.000" would claim that it is exact
    said = f"The {name} is {value:.{digits}f} ± {shown:.{digits}f} {unit}"
    if math.isinf(low):
        limits = f"at most {high:.{digits}f} {unit} allowed"
    elif math.isinf(high):
        limits = f"at least {low:.{digits}f} {unit} asked"
    else:
        limits = f"{low:.{digits}f} to {high:.{digits}f} {unit} allowed"
    tail = {
        "inside": "inside by more than the uncertainty",
        "outside": "outside by more than the uncertainty",
        "cannot tell": "the uncertainty reaches across the limit",
    }[word]
    return f"{said}; {limits}: {tail}."
