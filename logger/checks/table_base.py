"""The table's rows of the ground: condition, base level, twist, the carriage's fit, and the rail, which is swept."""

from __future__ import annotations

from logger.checks.asks import FEET_ACROSS, FOOT_PITCH, LEVEL_ON_CASTING
from logger.checks.cautions import CLAMP, EDGES, LOCK_OUT, ONE_MOVES, PROP, UNDER
from logger.checks.model import COMMON_PRACTICE, ENDS, Allowed, Ask, Because, Check
from logger.checks.table_fit import FIT

_LEVEL = (0.0, 20.0)

CHECKS: tuple[Check, ...] = (
    Check(
        name="condition",
        title="Condition of the machine",
        quantity="condition",
        needs="a rag, a wrench, a look",
        steps=(
            "Clean table, rail, rollers, arbor and flanges; take burrs off with a stone.",
            "Cutter block off the spindle, scoring blade lowered.",
            "Braces, brackets and lock nuts tight; push and pull at the carriage's edge: no play to feel.",
        ),
        cautions=(LOCK_OUT, EDGES),
        asks=(
            Ask("clean", "", "ways, table and flanges are clean", words=("yes", "no")),
            Ask("tight", "", "braces, brackets and lock nuts are tight", words=("yes", "no")),
            Ask("bare", "", "cutter block is off, scoring blade lowered", words=("yes", "no")),
            Ask("free", "", "the carriage runs freely and without play", words=("yes", "no")),
        ),
        allowed=Allowed(None, 0.0, "", COMMON_PRACTICE),
    ),
    Check(
        name="base",
        title="Base level, both ways",
        quantity="slope of the table",
        needs="a level, turned end for end",
        steps=(
            "Level along the middle of the table: read, turn it end for end, read again; the same across.",
            "+ is the outfeed end up (along) and the table side up (across), as the level lay first.",
        ),
        cautions=(LOCK_OUT, UNDER),
        asks=(
            Ask("along", "mm/m", "along the table", _LEVEL),
            Ask("along_turned", "mm/m", "the same with the level turned", _LEVEL),
            Ask("across", "mm/m", "across the table", _LEVEL),
            Ask("across_turned", "mm/m", "the same with the level turned", _LEVEL),
            Ask("feet_along", "mm", "distance of the feet along", (200.0, 5000.0)),
            FEET_ACROSS,
            FOOT_PITCH,
            *LEVEL_ON_CASTING,
            Ask("u", "mm/m", "uncertainty of one reading (k = 2)", (0.0, 2.0), needed=False, default=0.05),
        ),
        allowed=Allowed(-0.5, 0.5, "mm/m", COMMON_PRACTICE),
        rests_on=(Because("condition", "A loose foot or a burr under the level is read as a slope."),),
    ),
    Check(
        name="twist",
        title="Twist of the table",
        quantity="twist of the table",
        needs="a level, the same way round at both ends",
        steps=(
            "Level across the table at its infeed end, then at its outfeed end, not turned round between.",
            "+ is the table side up. The level's own zero error is in both and cancels.",
            "At three or four places side by side across each end it says far more: infeed=0.10,0.14,0.08 outfeed=...",
            "A table is not flat under a level (flat=, level=), and side by side what one gains the next loses.",
        ),
        cautions=(LOCK_OUT, UNDER),
        asks=(
            Ask("infeed", "mm/m", "across at the infeed end", _LEVEL, many=True),
            Ask("outfeed", "mm/m", "across at the outfeed end", _LEVEL, many=True),
            ENDS,
            FEET_ACROSS,
            FOOT_PITCH,
            *LEVEL_ON_CASTING,
            Ask("u", "mm/m", "uncertainty of one reading (k = 2)", (0.0, 2.0), needed=False, default=0.02),
        ),
        ends=(("infeed", "outfeed"),),
        allowed=Allowed(-0.1, 0.1, "mm/m", COMMON_PRACTICE),
        rests_on=(
            Because("condition", "A burr under the level is read as twist."),
            Because("base", "The cast body lies on four feet: raising one to level it also twists it."),
            Because("feet", "A foot in the air is no support: raised, it does nothing to the table until it touches."),
        ),
        disturbs=(Because("feet", "Taking a twist out loads one diagonal more: see that no foot of the other hangs."),),
    ),
    FIT,
    Check(
        name="rail",
        title="Carriage over the table, whole stroke",
        quantity="height of the carriage",
        needs="an indicator or level on a serial line; truestroke sweep",
        steps=(
            "Sweep set-ups until every place and the tilt have been seen: truestroke sweep, then truestroke bolts.",
            "Before a bolt is turned: an overhanging rail propped, then end braces and brackets beside it loosened, or "
            "they hold the rail where it was.",
            "After: lock nuts, then braces and brackets tight again, and one more sweep: it shows what tightening did.",
        ),
        cautions=(LOCK_OUT, CLAMP, ONE_MOVES, PROP),
        asks=(),
        allowed=Allowed(None, None, "mm", "band and places in machine.yaml"),
        rests_on=(
            Because("condition", "A loose bracket or dirt on the rail moves with every pass."),
            Because("fit", "Play in the carriage moves it at every pass by more than a bolt corrects."),
            Because("twist", "Height is over the table: a table that twists changes it from one end to the other."),
            Because("sag", "Height is over the table: pushing its middle up takes it away in the middle."),
        ),
    ),
)
