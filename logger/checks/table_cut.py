"""The table's rows of the cut: toe, cross-cut fence and rip fence."""

from __future__ import annotations

from logger.checks.asks import OPENING, by_marks
from logger.checks.cautions import CLAMP, EDGES, LOCK_OUT, TEST_CUT
from logger.checks.model import COMMON_PRACTICE, ENDS, Allowed, Ask, Because, Check

_CUTS = ("three", "over", "four", "five", "seven")
_TOE_BY = ("tooth", "plate", "straightedge", "marks")
_TIPS = ("by", ("tooth", "plate"))
_PLATE = ("by", ("plate",))
_EDGE = ("by", ("straightedge",))
_RIP_BY = ("distances", "sheet", "marks")
_GAPS = ("by", ("distances", "sheet"))
_FAR = ("by", ("distances",))
_SHEET = ("by", ("sheet",))
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
            "Or by=plate: a plate on the arbor instead of a blade; the same two places, then again half a turn on.",
            "Or by=straightedge: held against the plate between teeth; x=0,200,400 readings=... along it, then the "
            "blade half round, the straightedge laid on again: half_round=... at the same x.",
            "Or by=marks: a smooth board, clamped, cut through; scoring blade lowered and off; motor stopped and blade "
            "standing before the board is drawn back. wall=away|guide|both|none: which wall of the kerf the rear teeth "
            "marked; depth=0.03 (both: the one away from the guide first), radius, projection, height of the reading.",
            "At full tilt, square to the plate: tilted_front= tilted_rear= bevel=45 top=carriage (where it leans to).",
            "The height at each bolt, carriage parked there: height_before= before any is slack, height_after= after.",
        ),
        cautions=(LOCK_OUT, EDGES, CLAMP, TEST_CUT),
        asks=(
            Ask("by", "", "how it is measured", words=_TOE_BY, needed=False, default_word="tooth"),
            Ask(
                "front",
                "mm",
                "pushed in, at the front (several teeth: with commas)",
                (0.0, 10.0),
                many=True,
                only=_TIPS,
            ),
            Ask("rear", "mm", "the same teeth at the rear", (0.0, 10.0), many=True, only=_TIPS),
            Ask("span", "mm", "how far apart front and rear are", (50.0, 1000.0), only=_TIPS),
            Ask(
                "flat",
                "mm",
                "how far the plate is from flat (k = 2)",
                (0.0, 0.5),
                needed=False,
                default=0.01,
                only=_PLATE,
            ),
            Ask("x", "mm", "where along the straightedge, toward outfeed rising", (0.0, 5000.0), many=True, only=_EDGE),
            Ask("readings", "mm", "there, pushed in +", (0.0, 10.0), many=True, only=_EDGE),
            Ask("half_round", "mm", "the same, blade turned half round", (0.0, 10.0), many=True, only=_EDGE),
            Ask(
                "parallel",
                "mm",
                "its edges are parallel to (k = 2)",
                (0.0, 0.5),
                needed=False,
                default=0.02,
                only=_EDGE,
            ),
            *by_marks("the carriage"),
            Ask("tilted_front", "mm", "at full tilt, at the front", (0.0, 10.0), many=True, needed=False, only=_TIPS),
            Ask("tilted_rear", "mm", "at full tilt, at the rear", (0.0, 10.0), many=True, needed=False, only=_TIPS),
            Ask("bevel", "deg", "how far it was tilted", (10.0, 60.0), needed=False, default=45.0, only=_TIPS),
            Ask("top", "", "where its top leans", words=("carriage", "table"), needed=False, default_word="carriage"),
            Ask("trunnions", "mm", "how far apart the tilt axis is carried", (50.0, 1500.0), needed=False, only=_TIPS),
            OPENING,
            Ask("tight", "", "the bolt left tight (default: the middle one)", name=True, needed=False),
            Ask("height_before", "mm", "height at each bolt before", (0.0, 5.0), many=True, needed=False),
            Ask("height_after", "mm", "height at each bolt after", (0.0, 5.0), many=True, needed=False),
            Ask("u", "mm", "uncertainty of one reading (k = 2)", (0.0, 0.2), needed=False, default=0.006),
            ENDS,
        ),
        ends=(
            ("front", "rear"),
            ("tilted_front", "tilted_rear"),
            ("readings", "readings"),
            ("half_round", "half_round"),
        ),
        allowed=Allowed(0.0, 0.2, "mm/m", COMMON_PRACTICE),
        rests_on=(
            Because("condition", "Play in the carriage is read as toe."),
            Because(
                "blade", "A tooth that is not quite the same place of the blade brings its wobble into the reading."
            ),
            Because("rail", "Turning a support bolt tips its bracket, which pushes the rail sideways."),
            Because("straight", "Toe is the travel's direction past the blade: straightening the rail turns it there."),
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
            "Which test is worth the wood with this panel and these calipers: cuts=which sides=800,700.",
            "Five cuts, cuts=five: cut, turn so that the fresh edge lies on the fence, cut again; measure the strip "
            "that falls off at the fifth. Seven, cuts=seven: and the panel after the seventh.",
            "Three, cuts=three: the same, measure the panel; or cuts=over: turn it over on the same edge, cut the "
            "other side. Four, cuts=four: the panel's diagonals.",
            "Widths: fence_end where the edge lay on the fence, far_end at the other end, length between the two.",
            "Each position of the fence has its own stop screw: position=NAME keeps them apart, each its own cuts.",
            "How it comes back: take it off and put it on again three times or more, an indicator at refit_at: refit=",
        ),
        cautions=(LOCK_OUT, TEST_CUT),
        asks=(
            Ask("cuts", "", "which test", words=(*_CUTS, "which")),
            Ask("fence_end", "mm", "width at the fence end", (2.0, 3000.0), only=_WIDTHS),
            Ask("far_end", "mm", "width at the far end", (2.0, 3000.0), only=_WIDTHS),
            Ask("length", "mm", "between the two measured places", (100.0, 3500.0), only=_WIDTHS),
            Ask("panel_fence_end", "mm", "the panel's width, fence end", (50.0, 3000.0), only=("cuts", ("seven",))),
            Ask("panel_far_end", "mm", "the panel's width, far end", (50.0, 3000.0), only=("cuts", ("seven",))),
            Ask(
                "panel_length",
                "mm",
                "between those two, if another",
                (50.0, 3500.0),
                needed=False,
                only=("cuts", ("seven",)),
            ),
            Ask("last_diagonal", "mm", "through the last corner", (100.0, 5000.0), only=("cuts", ("four",))),
            Ask("other_diagonal", "mm", "the other diagonal", (100.0, 5000.0), only=("cuts", ("four",))),
            Ask("sides", "mm", "the panel's two sides", (100.0, 3500.0), many=True, only=("cuts", ("four", "which"))),
            Ask("fence", "", "where the fence is", words=("behind", "front"), only=("cuts", _CUTS)),
            Ask("position", "", "which of the fence's positions", name=True, needed=False),
            Ask("screw", "mm", "pivot to stop screw, + away from the blade", (50.0, 4000.0), needed=False),
            Ask("pitch", "mm", "thread pitch of the stop screw", (0.25, 4.0), needed=False),
            Ask("screwed_in", "", "where screwing in moves the fence", words=("outfeed", "infeed"), needed=False),
            Ask("refit", "mm", "at the fence after each refit", (0.0, 5.0), many=True, needed=False),
            Ask("refit_at", "mm", "the indicator from the pivot", (50.0, 4000.0), needed=False),
            Ask("panel", "mm", "your usual panel, along the cut", (50.0, 4000.0), needed=False, default=600.0),
            Ask("u", "mm", "uncertainty of one width (k = 2)", (0.0, 2.0), needed=False, default=0.04),
            Ask("tape", "mm", "uncertainty of one diagonal (k = 2)", (0.0, 5.0), needed=False, default=0.5),
            Ask("opens", "mm", "how wide the calipers open", (50.0, 4000.0), needed=False, default=150.0),
            Ask("seating", "mm/m", "of laying the panel on (k = 2)", (0.0, 1.0), needed=False, default=0.02),
            ENDS,
        ),
        ends=(
            ("fence_end", "far_end"),
            ("panel_fence_end", "panel_far_end"),
            ("last_diagonal", "other_diagonal"),
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
            "Lock the fence as for work. Its distance from the blade (or the carriage's edge: to=carriage) at two or "
            "more x, toward outfeed rising: x=0,400 distance=100.00,100.04. Growing toward outfeed is opening, +.",
            "Or by=sheet: a squared sheet on the carriage against the cross-cut fence, its edge at the rip fence; feel "
            "the gap: x=0,600 gap=0.10..0.15,0.20..0.25 (the leaf that goes, the one that does not).",
            "Or by=marks: a smooth board ripped along the fence, motor stopped and blade standing before it is drawn "
            "back; wall=away|guide|both|none, depth, radius, projection, as for the toe.",
        ),
        cautions=(LOCK_OUT, EDGES, TEST_CUT),
        asks=(
            Ask("by", "", "how it is measured", words=_RIP_BY, needed=False, default_word="distances"),
            Ask("x", "mm", "where, toward outfeed rising", (0.0, 5000.0), many=True, only=_GAPS),
            Ask("distance", "mm", "from the line to the fence there", (1.0, 3000.0), many=True, feeler=True, only=_FAR),
            Ask("to", "", "the line", words=("blade", "carriage"), needed=False, default_word="blade"),
            Ask("gap", "mm", "between sheet and fence there", (0.0, 20.0), many=True, feeler=True, only=_SHEET),
            Ask(
                "corner",
                "mm/m",
                "the sheet's edge leans from the travel, + away from the blade",
                (0.0, 5.0),
                needed=False,
                default=0.0,
                only=_SHEET,
            ),
            Ask(
                "corner_u", "mm/m", "how far that is known (k = 2)", (0.0, 5.0), needed=False, default=0.15, only=_SHEET
            ),
            Ask("toe", "mm/m", "of the carriage (default: as measured)", (0.0, 2.0), needed=False, only=_SHEET),
            Ask("toe_u", "mm/m", "how far that is known (k = 2)", (0.0, 2.0), needed=False, only=_SHEET),
            *by_marks("the fence"),
            OPENING,
            Ask("screw", "mm", "pivot to screw, + toward outfeed", (50.0, 3000.0), needed=False),
            Ask("pitch", "mm", "thread pitch of that screw", (0.25, 4.0), needed=False),
            Ask("u", "mm", "uncertainty of one distance or gap (k = 2)", (0.0, 2.0), needed=False, default=0.03),
            ENDS,
        ),
        ends=(("distance", "distance"), ("gap", "gap")),
        allowed=Allowed(0.0, 0.3, "mm/m", COMMON_PRACTICE),
        rests_on=(
            Because("condition", "A fence that shifts when it is locked reads differently each time."),
            Because("toe", "The fence is set to the carriage's travel: shifting the rail turns that line."),
        ),
    ),
)
