"""The table's rows of the cut: toe, cross-cut fence and rip fence."""

from __future__ import annotations

from logger.checks.cautions import CLAMP, EDGES, LOCK_OUT, TEST_CUT
from logger.checks.model import COMMON_PRACTICE, Allowed, Ask, Because, Check

_CUTS = ("three", "over", "four", "five", "seven")
_WIDTHS = ("cuts", ("three", "over", "five", "seven"))

CHECKS: tuple[Check, ...] = (
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
