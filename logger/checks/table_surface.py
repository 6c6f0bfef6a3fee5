"""The table's rows of the body on its feet and of the table's surface: load shared, sag and flatness."""

from __future__ import annotations

from logger.checks.asks import FOOT_PITCH
from logger.checks.cautions import LOCK_OUT, STRUT, UNDER
from logger.checks.model import COMMON_PRACTICE, Allowed, Ask, Because, Check

_SLOPE = (0.0, 20.0)
_FEELERS = ("by", ("feelers",))
_INDICATOR = ("by", ("indicator",))
_GUIDED = ("by", ("feelers", "indicator"))
_GRID = ("by", ("grid",))
_JACK = ("by", ("union_jack",))
_LEVEL = ("by", ("grid", "union_jack"))

FEET = Check(
    name="feet",
    title="Four feet, and the load on them",
    quantity="gap under a foot",
    needs="feelers, a wrench; an indicator where it rocks",
    steps=(
        "Feel under each foot: gap=..0.05,..0.05,0.10..0.15,..0.05 in the order infeed carriage side, infeed table "
        "side, outfeed carriage side, outfeed table side (..0.05: not even the leaf of 0.05 goes).",
        "Does it rock? Lean on a corner, the indicator beside your hand: how far does it dip; then the same at the "
        "corner beside it, the indicator there: rock=0.02,0.15.",
        "Load: let each screw down until it turns freely, note by how much, bring it back before the next: "
        "travel=0.30,0.24,0.22,0.31 (turns times pitch). As the travels share out, so do the loads.",
    ),
    cautions=(LOCK_OUT, UNDER, "One foot at a time, the others carrying; a second person steadies the machine."),
    asks=(
        Ask("gap", "mm", "under each of the four feet", (0.0, 3.0), many=True, feeler=True),
        Ask("rock", "mm", "dip of a corner leaned on, of the one beside it", (0.0, 5.0), many=True, needed=False),
        Ask("travel", "mm", "of each screw until it turns freely", (0.0, 10.0), many=True, needed=False),
        FOOT_PITCH,
        Ask("u", "mm", "uncertainty of one travel or dip (k = 2)", (0.0, 0.5), needed=False, default=0.03),
    ),
    allowed=Allowed(None, 0.05, "mm", COMMON_PRACTICE),
    rests_on=(
        Because("condition", "A chip under a foot is a gap beside it."),
        Because("base", "Levelling raises feet, and with every turn the load goes over to other ones."),
    ),
)

SAG = Check(
    name="sag",
    title="Sag and flatness of the table",
    quantity="flatness of the table",
    needs="a straightedge and feelers, or an indicator on a guide, or a level on a bridge",
    steps=(
        "by=feelers: straightedge on the table along x, feel under it: x=0,300,600 gap=..0.05,0.10..0.15,..0.05.",
        "Long ones sag themselves: on two equal blocks stand them at 0.223 of the length from either end.",
        "by=indicator: a foot with an indicator slid along a straight guide: x= readings= (y= for several lines), "
        "+ where the table stands higher.",
        "by=grid: a level on a bridge from point to point of a rectangle: step (and step_across); along= line by line "
        "from the carriage side, across= the steps between those lines, each from infeed; + rises to outfeed, table.",
        "by=union_jack: eight lines, N the table side and E outfeed, the level stepped from the first to the second.",
        "strut=X: where a jack rod or strut pushes. Then wait, and measure again: castings give way for days.",
    ),
    cautions=(LOCK_OUT, STRUT, UNDER),
    asks=(
        Ask(
            "by", "", "how", words=("feelers", "indicator", "grid", "union_jack"), needed=False, default_word="feelers"
        ),
        Ask("x", "mm", "where, toward outfeed", (0.0, 5000.0), many=True, only=_GUIDED),
        Ask("gap", "mm", "under the straightedge there", (0.0, 3.0), many=True, feeler=True, only=_FEELERS),
        Ask("readings", "mm", "there, + higher", (0.0, 5.0), many=True, only=_INDICATOR),
        Ask("y", "mm", "on which line, + table side", (0.0, 3000.0), many=True, needed=False, only=_INDICATOR),
        Ask(
            "edge", "mm", "straightedge or guide: its own (k = 2)", (0.0, 0.5), needed=False, default=0.02, only=_GUIDED
        ),
        Ask("step", "mm", "from point to point (the bridge's feet)", (50.0, 1000.0), only=_LEVEL),
        Ask("step_across", "mm", "the same across, if another", (50.0, 1000.0), needed=False, only=_GRID),
        Ask("along", "mm/m", "slopes along, line by line", _SLOPE, many=True, only=_GRID),
        Ask("across", "mm/m", "slopes across, line by line", _SLOPE, many=True, only=_GRID),
        Ask("nw_se", "mm/m", "diagonal, table side infeed to carriage side outfeed", _SLOPE, many=True, only=_JACK),
        Ask("ne_sw", "mm/m", "the other diagonal", _SLOPE, many=True, only=_JACK),
        Ask("ne_nw", "mm/m", "table side, outfeed to infeed", _SLOPE, many=True, only=_JACK),
        Ask("ne_se", "mm/m", "outfeed end, table side to carriage side", _SLOPE, many=True, only=_JACK),
        Ask("nw_sw", "mm/m", "infeed end, table side to carriage side", _SLOPE, many=True, only=_JACK),
        Ask("se_sw", "mm/m", "carriage side, outfeed to infeed", _SLOPE, many=True, only=_JACK),
        Ask("n_s", "mm/m", "across the middle", _SLOPE, many=True, only=_JACK),
        Ask("e_w", "mm/m", "along the middle, outfeed to infeed", _SLOPE, many=True, only=_JACK),
        Ask("strut", "mm", "x of the jack rod or strut", (0.0, 5000.0), needed=False),
        Ask("pitch", "mm", "its thread's pitch", (0.5, 4.0), needed=False),
        Ask("u", "mm", "uncertainty of one reading (k = 2)", (0.0, 0.2), needed=False, default=0.006, only=_GUIDED),
        Ask("u_level", "mm/m", "uncertainty of one slope (k = 2)", (0.0, 2.0), needed=False, default=0.02, only=_LEVEL),
    ),
    allowed=Allowed(None, 0.1, "mm", COMMON_PRACTICE),
    rests_on=(
        Because("condition", "A burr is the highest place of any table."),
        Because("twist", "The feet that untwist the table also bend it; and a twisted table is flat on no plane."),
    ),
    disturbs=(Because("feet", "What the strut carries the feet do not: the one that carried least may hang now."),),
)

CHECKS: tuple[Check, ...] = (FEET, SAG)
