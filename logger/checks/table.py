"""The checks in the order of work, and why one rests on another.

Why it exists: the order is geometry, not habit, so each dependence carries its reason. It prevents two costly mistakes:
measuring what the next correction underneath will spoil, and measuring again what a correction leaves alone.

Limits are defaults, each with its origin; a user's own (``allowed=``, ``origin=``) come first. Where no published limit
is known none is made up: it says common practice. The cautions are shown at the step, not in a preface.
"""

from __future__ import annotations

from logger.checks.model import COMMON_PRACTICE, Allowed, Ask, Because, Check

LOCK_OUT = (
    "Isolate and lock out the power (a licensed person where local codes ask for one) and try the switch before hands "
    "go near blade, cutter or arbor; the maker's manual comes first."
)
EDGES = "Blade and cutter edges cut when they stand still: gloves, a rag, or hold the blade by its body."
UNDER = (
    "Support the machine before a shim goes under it; never a hand or foot under a machine on jacks alone, and two "
    "people where it is heavy."
)
TEST_CUT = (
    "Guards and riving knife back on before the test cut; eyes, ears and lungs protected; the cut is made by someone "
    "competent. Blade standing before the board is drawn back or a hand goes near."
)
CLAMP = "Clamp the carriage before a bolt is slackened, and never slack all supports at once."

_TURN = (
    Ask("readings", "mm", "the readings round one turn, pushed in +, with commas between", (0.0, 3.0), many=True),
    Ask("angles", "deg", "where each was read (default: equal steps)", (0.0, 360.0), many=True, needed=False),
    Ask("u", "mm", "uncertainty of one reading (k = 2)", (0.0, 0.2), needed=False, default=0.004),
)
_CUTS = ("three", "over", "four", "five", "seven")
_WIDTHS = ("cuts", ("three", "over", "five", "seven"))
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
            Ask("feet_across", "mm", "distance of the feet across", (200.0, 3000.0)),
            Ask("pitch", "mm", "thread pitch of the foot screws", (0.5, 4.0), needed=False),
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
        ),
        cautions=(LOCK_OUT, UNDER),
        asks=(
            Ask("infeed", "mm/m", "across at the infeed end", _LEVEL),
            Ask("outfeed", "mm/m", "across at the outfeed end", _LEVEL),
            Ask("feet_across", "mm", "distance of the feet across", (200.0, 3000.0)),
            Ask("pitch", "mm", "thread pitch of the foot screws", (0.5, 4.0), needed=False),
            Ask("u", "mm/m", "uncertainty of one reading (k = 2)", (0.0, 2.0), needed=False, default=0.02),
        ),
        allowed=Allowed(-0.1, 0.1, "mm/m", COMMON_PRACTICE),
        rests_on=(
            Because("condition", "A burr under the level is read as twist."),
            Because("base", "The cast body lies on four feet: raising one to level it also twists it."),
        ),
    ),
    Check(
        name="rail",
        title="Carriage over the table, whole stroke",
        quantity="height of the carriage",
        needs="an indicator or level on a serial line; truestroke sweep",
        steps=(
            "Sweep set-ups until every place and the tilt have been seen: truestroke sweep, then truestroke bolts.",
        ),
        cautions=(LOCK_OUT, CLAMP, "One person moves the carriage and says so; all hands clear."),
        asks=(),
        allowed=Allowed(None, None, "mm", "band and places in machine.yaml"),
        rests_on=(
            Because("condition", "A loose bracket or dirt on the rail moves with every pass."),
            Because("twist", "Height is over the table: a table that twists changes it from one end to the other."),
        ),
    ),
    Check(
        name="flange",
        title="Run-out of the arbor's flange",
        quantity="run-out of the flange on 100 mm",
        needs="an indicator on a stand, the blade off",
        steps=(
            "Tip on the face of the flange near its rim, arbor pushed to one side; turn by hand, read at equal steps.",
        ),
        cautions=(LOCK_OUT, EDGES),
        asks=(
            *_TURN,
            Ask("diameter", "mm", "of the circle the tip ran on", (20.0, 400.0), needed=False, default=100.0),
        ),
        allowed=Allowed(None, 0.03, "mm", "GOST 9335-89 p. 2: supporting flange 0.03 mm on 100 mm diameter"),
        rests_on=(Because("condition", "A chip on the flange reads as run-out."),),
        left_alone_by=(Because("rail", "The arbor turns in its own bearings; the carriage has no part in it."),),
    ),
    Check(
        name="blade",
        title="Run-out of the blade",
        quantity="run-out of the blade",
        needs="an indicator on a stand, the blade on and tightened",
        steps=("Tip on the plate just inside the teeth; turn the blade by hand, read at equal steps.",),
        cautions=(LOCK_OUT, EDGES),
        asks=_TURN,
        allowed=Allowed(None, 0.1, "mm", COMMON_PRACTICE),
        rests_on=(
            Because("condition", "Dust between blade and flange tilts the blade."),
            Because("flange", "The blade lies against the flange and enlarges its wobble by the ratio of diameters."),
        ),
    ),
    Check(
        name="spindle",
        title="Spindle square to the table",
        quantity="tilt of the spindle",
        needs="an indicator on an arm clamped to the spindle",
        steps=(
            "Swing the arm by hand over the table: 0 degrees is toward outfeed, 90 toward the table side, and on.",
            "Read at four or more places round the turn; pushed in is +.",
        ),
        cautions=(LOCK_OUT, EDGES, "Cutter block off the spindle."),
        asks=(
            *_TURN,
            Ask("radius", "mm", "from the spindle's axis to the tip", (40.0, 1000.0)),
            Ask("feet_apart", "mm", "distance of the carrier's feet", (30.0, 2000.0), needed=False),
            Ask("foot_direction", "deg", "the direction of one of them", (0.0, 360.0), needed=False, default=0.0),
        ),
        allowed=Allowed(None, 0.1, "mm/m", COMMON_PRACTICE),
        rests_on=(
            Because("condition", "A cutter block or a loose carrier bends the swing."),
            Because("twist", "Square is square to the table; untwisting it turns the surface the tip touches."),
        ),
        left_alone_by=(Because("rail", "The tip runs on the table, not on the carriage."),),
    ),
    Check(
        name="toe",
        title="Toe of the carriage to the blade",
        quantity="toe",
        needs="an indicator on the carriage, its tip on a tooth",
        steps=(
            "Mark one tooth. Tip on it at the front; turn the same tooth to the rear, push the carriage along, read.",
            "Several teeth are better: front=0.10,0.11,0.09 rear=0.08,0.10,0.08. Pushed in is +.",
        ),
        cautions=(LOCK_OUT, EDGES, CLAMP),
        asks=(
            Ask("front", "mm", "on the tooth at the front (several teeth: with commas)", (0.0, 10.0), many=True),
            Ask("rear", "mm", "on the same tooth at the rear", (0.0, 10.0), many=True),
            Ask("span", "mm", "how far apart front and rear are", (50.0, 1000.0)),
            Ask("wanted", "mm/m", "the opening to aim at", (0.0, 1.0), needed=False, default=0.05),
            Ask("u", "mm", "uncertainty of one reading (k = 2)", (0.0, 0.2), needed=False, default=0.006),
        ),
        allowed=Allowed(0.0, 0.2, "mm/m", COMMON_PRACTICE),
        rests_on=(
            Because("condition", "Play in the carriage is read as toe."),
            Because(
                "blade", "A tooth that is not quite the same place of the blade brings its wobble into the reading."
            ),
            Because("rail", "Turning a support bolt tips its bracket, which pushes the rail sideways."),
        ),
        disturbs=(
            Because("rail", "The bolts were slackened to shift the rail: only a sweep shows the heights were kept."),
        ),
    ),
    Check(
        name="fence",
        title="Cross-cut fence square to the cut",
        quantity="error of the corner",
        needs="a flat panel, calipers",
        steps=(
            "cuts=five: cut, turn so that the fresh edge lies on the fence, cut again; measure the fifth cut's strip.",
            "cuts=three: the same, measure the panel; cuts=over: turn it over on the same edge, cut the other side.",
            "cuts=which sides=800,700: which of them is worth doing with this panel and these calipers.",
            "cuts=four: the panel's diagonals; cuts=seven: the fifth cut's strip and the panel after the seventh.",
            "fence_end is the width where the edge lay on the fence; far_end at the other end; length between them.",
        ),
        cautions=(LOCK_OUT, TEST_CUT),
        asks=(
            Ask("cuts", "", "which test", words=(*_CUTS, "which")),
            Ask("fence_end", "mm", "width at the fence end", (2.0, 3000.0), only=_WIDTHS),
            Ask("far_end", "mm", "width at the far end", (2.0, 3000.0), only=_WIDTHS),
            Ask("length", "mm", "between the two measured places", (100.0, 3500.0), only=_WIDTHS),
            Ask("panel_fence_end", "mm", "the panel's width, fence end", (50.0, 3000.0), only=("cuts", ("seven",))),
            Ask("panel_far_end", "mm", "the panel's width, far end", (50.0, 3000.0), only=("cuts", ("seven",))),
            Ask("last_diagonal", "mm", "through the last corner", (100.0, 5000.0), only=("cuts", ("four",))),
            Ask("other_diagonal", "mm", "the other diagonal", (100.0, 5000.0), only=("cuts", ("four",))),
            Ask("sides", "mm", "the panel's two sides", (100.0, 3500.0), many=True, only=("cuts", ("four", "which"))),
            Ask("fence", "", "where the fence is", words=("behind", "front"), only=("cuts", _CUTS)),
            Ask("screw", "mm", "pivot to stop screw, + away from the blade", (50.0, 4000.0), needed=False),
            Ask("pitch", "mm", "thread pitch of the stop screw", (0.25, 4.0), needed=False),
            Ask("u", "mm", "uncertainty of one width (k = 2)", (0.0, 2.0), needed=False, default=0.04),
            Ask("tape", "mm", "uncertainty of one diagonal (k = 2)", (0.0, 5.0), needed=False, default=0.5),
            Ask("opens", "mm", "how wide the calipers open", (50.0, 4000.0), needed=False, default=150.0),
            Ask("seating", "mm/m", "of laying the panel on (k = 2)", (0.0, 1.0), needed=False, default=0.02),
        ),
        allowed=Allowed(-0.1, 0.1, "mm/m", COMMON_PRACTICE),
        rests_on=(Because("condition", "Play in the carriage or the fence's seat makes every cut another corner."),),
        left_alone_by=(
            Because("rail", "Height of the rail turns fence and travel together."),
            Because("toe", "The cut follows the travel, and the fence turns with the rail: the corner stays."),
            Because("base", "Levelling turns the whole machine."),
        ),
    ),
    Check(
        name="rip",
        title="Rip fence along the cut",
        quantity="opening of the rip fence",
        needs="an inside rule, gauge or indicator",
        steps=(
            "Lock the fence as for work. Its distance from the carriage's edge (or the blade) at two or more x,",
            "toward outfeed rising: x=0,400 distance=100.00,100.04. Growing toward outfeed is opening, +.",
        ),
        cautions=(LOCK_OUT, EDGES),
        asks=(
            Ask("x", "mm", "where, toward outfeed rising", (0.0, 5000.0), many=True),
            Ask("distance", "mm", "from the line to the fence there", (1.0, 3000.0), many=True),
            Ask("wanted", "mm/m", "the opening to aim at", (0.0, 1.0), needed=False, default=0.05),
            Ask("screw", "mm", "pivot to screw, + toward outfeed", (50.0, 3000.0), needed=False),
            Ask("pitch", "mm", "thread pitch of that screw", (0.25, 4.0), needed=False),
            Ask("u", "mm", "uncertainty of one distance (k = 2)", (0.0, 2.0), needed=False, default=0.03),
        ),
        allowed=Allowed(0.0, 0.3, "mm/m", COMMON_PRACTICE),
        rests_on=(
            Because("condition", "A fence that shifts when it is locked reads differently each time."),
            Because("toe", "The fence is set to the carriage's travel: shifting the rail turns that line."),
        ),
    ),
)

BY_NAME = {check.name: check for check in CHECKS}


def all_below(name: str) -> dict[str, str]:
    """Every check that ``name`` rests on, near ones first, each with the reason that leads to it."""
    found: dict[str, str] = {}
    waiting = list(BY_NAME[name].rests_on)
    while waiting:
        because = waiting.pop(0)
        if because.check not in found:
            found[because.check] = because.reason
            waiting += BY_NAME[because.check].rests_on
    return found


def all_above(name: str) -> tuple[str, ...]:
    """Every check that rests on ``name``, in the order of work: what moving it makes stale."""
    return tuple(check.name for check in CHECKS if name in all_below(check.name))
