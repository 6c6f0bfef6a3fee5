"""The table's rows of what goes with the travel: straight in plan, the outrigger, the length stop."""

from __future__ import annotations

from logger.checks.cautions import CLAMP, LOCK_OUT, ONE_MOVES, PROP, TEST_CUT
from logger.checks.model import COMMON_PRACTICE, Allowed, Ask, Because, Check

_REVERSAL = ("by", ("reversal",))
_EDGES = ("by", ("edges",))

STRAIGHT = Check(
    name="straight",
    title="Straightness of the travel, sideways",
    quantity="bow of the travel in plan",
    needs="a straightedge and an indicator on the carriage, or two boards",
    steps=(
        "by=reversal: straightedge on the table, its good edge toward the carriage; indicator on the carriage, tip "
        "toward the table: x=0,300,... first=...; then the straightedge turned over about its length (turned=over) or "
        "end for end (turned=end), so that the same edge faces away, and the tip touches it from there: second=...",
        "sweeps=3,4: two recorded sweeps instead, set-ups with direction: toward_table and from_table.",
        "Both times + is pushed in. With the same edge toward the carriage both times a bow of either looks alike.",
        "by=edges: saw two boards over the same stretch, lay the sawn edges together, feel the gap: x= gap=..., one "
        "board turned over about the length of the cut (turned=over) or end for end (turned=end).",
    ),
    cautions=(LOCK_OUT, ONE_MOVES, CLAMP, PROP, TEST_CUT),
    asks=(
        Ask("by", "", "how", words=("reversal", "edges"), needed=False, default_word="reversal"),
        Ask("turned", "", "how it was turned", words=("over", "end"), needed=False, default_word="over"),
        Ask("x", "mm", "carriage positions (edges: along the cut)", (0.0, 5000.0), many=True),
        Ask(
            "sweeps",
            "",
            "two sideways sweeps instead, as 3,4: x, first and second come from them",
            name=True,
            needed=False,
        ),
        Ask("first", "mm", "readings, as it lay first", (0.0, 10.0), many=True, only=_REVERSAL),
        Ask("second", "mm", "readings at the same x, turned", (0.0, 10.0), many=True, only=_REVERSAL),
        Ask(
            "edge", "mm", "the straightedge's own error (k = 2)", (0.0, 1.0), needed=False, default=0.05, only=_REVERSAL
        ),
        Ask("gap", "mm", "between the edges", (0.0, 5.0), many=True, feeler=True, only=_EDGES),
        Ask("u", "mm", "uncertainty of one reading or gap (k = 2)", (0.0, 0.2), needed=False, default=0.008),
    ),
    allowed=Allowed(None, 0.1, "mm", COMMON_PRACTICE),
    rests_on=(
        Because("condition", "Play in the carriage is read as a bend."),
        Because("rail", "Turning a support bolt tips its bracket, which pushes the rail sideways there."),
    ),
    disturbs=(
        Because("rail", "The bolts were slackened to shift the rail: only a sweep shows the heights were kept."),
        Because(
            "fence", "The fence turned with the old curve of the travel during the cut; the corner is another now."
        ),
    ),
)

OUTRIGGER = Check(
    name="outrigger",
    title="Outrigger level with the carriage",
    quantity="height of the outrigger",
    needs="a straightedge from the carriage over the outrigger, feelers or a depth gauge",
    steps=(
        "Carriage at its infeed end: straightedge on it, out over the outrigger; how much higher (+) or lower (-) is "
        "the outrigger's top: infeed=-0.20. The same with the carriage at its outfeed end: outfeed=+0.15.",
        "Level on the carriage and, the same way round, on the outrigger: level_carriage= level_outrigger=",
    ),
    cautions=(
        LOCK_OUT,
        ONE_MOVES,
        "A carriage without its outrigger may tip: it stays propped while a screw is slack.",
    ),
    asks=(
        Ask("infeed", "mm", "higher than the carriage, infeed end", (0.0, 10.0), feeler=True),
        Ask("outfeed", "mm", "the same at the outfeed end", (0.0, 10.0), feeler=True),
        Ask("apart", "mm", "between the two (default: the stroke)", (300.0, 5000.0), needed=False),
        Ask("level_carriage", "mm/m", "across, on the carriage", (0.0, 20.0), needed=False),
        Ask("level_outrigger", "mm/m", "across, on the outrigger", (0.0, 20.0), needed=False),
        Ask("width", "mm", "of the outrigger's top, across", (50.0, 1500.0), needed=False, default=300.0),
        Ask("pitch", "mm", "thread pitch of its height screw", (0.5, 4.0), needed=False),
        Ask("bearings", "mm", "between the arm's two pivot bearings", (50.0, 2000.0), needed=False),
        Ask("u", "mm", "uncertainty of one height (k = 2)", (0.0, 1.0), needed=False, default=0.05),
        Ask("u_level", "mm/m", "uncertainty of one slope (k = 2)", (0.0, 2.0), needed=False, default=0.05),
    ),
    allowed=Allowed(-0.3, 0.3, "mm", COMMON_PRACTICE),
    rests_on=(
        Because("condition", "A roller with dirt on it carries the arm higher at every turn."),
        Because("rail", "It is set to the carriage's height, and that is set at the rail's bolts."),
    ),
    left_alone_by=(Because("toe", "The arm hangs from the carriage sideways as well and follows it."),),
    disturbs=(Because("fence", "The fence sits on the outrigger: raising it tips the fence on its pivot."),),
)

LENGTH = Check(
    name="length",
    title="Length stop and scale",
    quantity="error of a length",
    needs="boards, calipers or a measured rule",
    steps=(
        "Set the stop, cut, measure: set=300,1000,2000 measured=300.10,1000.24,2000.44; repeat one setting as well.",
        "Take the fence off and put it on again between cuts: that is how it will be used.",
        "Each position of fence and pin has its own error: position=NAME keeps them apart.",
    ),
    cautions=(LOCK_OUT, TEST_CUT),
    asks=(
        Ask("set", "mm", "what the stop was set to (one for all, or one each)", (20.0, 4000.0), many=True),
        Ask("measured", "mm", "how long the parts came out", (20.0, 4000.0), many=True),
        Ask("position", "", "which position of fence and pin", name=True, needed=False),
        Ask("u", "mm", "uncertainty of one length (k = 2)", (0.0, 2.0), needed=False, default=0.05),
    ),
    allowed=Allowed(-0.15, 0.15, "mm", COMMON_PRACTICE),
    rests_on=(
        Because("condition", "Dust at the stop makes every part shorter."),
        Because("fence", "The scale lies along the fence: turning it about its pivot carries the stop along."),
        Because("toe", "Shifting the rail carries fence and stop toward the blade or away from it."),
    ),
)

CHECKS: tuple[Check, ...] = (STRAIGHT, OUTRIGGER, LENGTH)
