"""The table's last row: the final sweep, accepted, and the quick check against it."""

from __future__ import annotations

from logger.checks.cautions import LOCK_OUT, ONE_MOVES
from logger.checks.model import COMMON_PRACTICE, Allowed, Ask, Because, Check

_WHAT = "An accepted state that holds something not measured accepts nothing."

FINAL = Check(
    name="final",
    title="Final sweep and quick check",
    quantity="change since the machine was accepted",
    needs="an indicator on a serial line, five minutes",
    steps=(
        "When everything is inside: one more sweep of each set-up, then state=accept keeps them as what true is.",
        "Any later day, with the machine as it stands: the same sweep again, then state=compare.",
        "It says whether anything moved, where, and which single bolt or foot would explain it.",
    ),
    cautions=(LOCK_OUT, ONE_MOVES),
    asks=(
        Ask("state", "", "keep this state, or compare with it", words=("accept", "compare")),
        Ask("again", "mm", "the stand set up again, one place (k = 2)", (0.0, 0.1), needed=False, default=0.004),
    ),
    allowed=Allowed(None, 0.02, "mm", COMMON_PRACTICE),
    rests_on=(
        Because("rail", "It is the rail's own sweep."),
        Because("feet", _WHAT),
        Because("upright", _WHAT),
        Because("knife", _WHAT),
        Because("scoring", _WHAT),
        Because("outrigger", _WHAT),
        Because("fence", _WHAT),
        Because("length", _WHAT),
        Because("rip", _WHAT),
    ),
)

CHECKS: tuple[Check, ...] = (FINAL,)
