"""The table's rows of what stands in the blade's line or square: knife, scoring blade, stops, carriage's plane."""

from __future__ import annotations

from logger.checks.asks import CARRIER
from logger.checks.cautions import CARRIER_HELD, EDGES, LOCK_OUT, NO_LISTENING, TEST_CUT
from logger.checks.model import COMMON_PRACTICE, ENDS, Allowed, Ask, Because, Check

MANUAL = f"{COMMON_PRACTICE}; the maker's manual comes first"
_CUT = ("by", ("cut",))
_TEETH = ("by", ("teeth",))
_OVER = ("by", ("indicator",))
_TILT = ("by", ("level",))
_ARC = ("by", ("arc",))

KNIFE = Check(
    name="knife",
    title="Riving knife behind the blade",
    quantity="knife out of the kerf's middle",
    needs="a straightedge, feelers, calipers",
    steps=(
        "Measure the blade's plate, a kerf it cut, and the knife: plate= kerf= knife=.",
        "Straightedge along the teeth on the carriage side, past the knife: feel its gap to the knife at the bottom "
        "and at the top: carriage_side=0.15..0.20,0.20..0.25; the same on the table side.",
        "Gap between teeth and knife at three places: gap=5,5.5,6.",
    ),
    cautions=(LOCK_OUT, EDGES, TEST_CUT),
    asks=(
        Ask("carriage_side", "mm", "gap beside the knife: bottom, top", (0.0, 3.0), many=True, feeler=True),
        Ask("table_side", "mm", "the same on the table side", (0.0, 3.0), many=True, feeler=True),
        Ask("kerf", "mm", "a cut's width", (0.5, 8.0)),
        Ask("knife", "mm", "the knife's thickness", (0.5, 8.0)),
        Ask("plate", "mm", "the thickness of the blade's plate", (0.3, 8.0)),
        Ask("gap", "mm", "between teeth and knife", (0.5, 30.0), many=True, needed=False, feeler=True),
        Ask("gap_least", "mm", "the manual's smallest gap", (0.5, 20.0), needed=False, default=3.0),
        Ask("gap_most", "mm", "the manual's largest gap", (1.0, 30.0), needed=False, default=8.0),
        Ask("u", "mm", "uncertainty of one gap (k = 2)", (0.0, 0.5), needed=False, default=0.03),
        ENDS,
    ),
    ends=(("carriage_side", "table_side"),),
    allowed=Allowed(-0.15, 0.15, "mm", MANUAL),
    rests_on=(
        Because("condition", "A knife that is not clamped stands where it was pushed."),
        Because("blade", "The knife is set to the plane the teeth run in; a new seat of the blade is another plane."),
    ),
    left_alone_by=(
        Because("rail", "Knife and blade hang on one carrier; the carriage has no part in it."),
        Because("toe", "Shifting the rail moves neither blade nor knife."),
    ),
)

SCORING = Check(
    name="scoring",
    title="Scoring blade in line with the blade",
    quantity="scoring kerf out of line",
    needs="a test cut and calipers, or an indicator on the carriage",
    steps=(
        "by=cut: score and cut a board half-way; at its end the scoring kerf makes a step on either side: "
        "carriage_step=0.05 table_step=0.04, + where the scoring kerf is the wider one, - where it is narrower.",
        "by=teeth: indicator on the carriage, on a tooth of the blade and of the scoring blade, once from the carriage "
        "side and once from the table side, pushed in +: main=0.30,0.50 scoring=0.35,0.55 (carriage side, table side).",
        "depth: how deep it scores; flank: the cone's angle, where it is a conical one.",
    ),
    cautions=(LOCK_OUT, EDGES, TEST_CUT, NO_LISTENING),
    asks=(
        Ask("by", "", "how", words=("cut", "teeth"), needed=False, default_word="cut"),
        Ask("carriage_step", "mm", "step on the carriage side, + wider", (0.0, 1.0), only=_CUT),
        Ask("table_step", "mm", "step on the table side, + wider", (0.0, 1.0), only=_CUT),
        Ask("main", "mm", "a tooth of the blade: carriage side, table side", (0.0, 10.0), many=True, only=_TEETH),
        Ask("scoring", "mm", "of the scoring blade, the same", (0.0, 10.0), many=True, only=_TEETH),
        Ask("depth", "mm", "how deep it scores", (0.2, 6.0), needed=False),
        Ask("wanted", "mm", "the step to aim at on either side", (0.0, 0.3), needed=False, default=0.05),
        Ask("flank", "deg", "a conical blade's flank", (1.0, 30.0), needed=False),
        Ask("pitch", "mm", "thread pitch of its sideways screw", (0.25, 4.0), needed=False),
        Ask("u", "mm", "uncertainty of one step or reading (k = 2)", (0.0, 0.2), needed=False, default=0.02),
        ENDS,
    ),
    ends=(("carriage_step", "table_step"), ("main", "main"), ("scoring", "scoring")),
    allowed=Allowed(-0.05, 0.05, "mm", COMMON_PRACTICE),
    rests_on=(
        Because("condition", "Resin on a tooth is a wider kerf."),
        Because("blade", "A wobbling blade cuts another kerf than it stands; and a new seat shifts it."),
        Because("toe", "The scoring blade stands ahead: turning the travel shifts its kerf by toe times the distance."),
    ),
    left_alone_by=(Because("fence", "The fence turns the board, not the two kerfs against each other."),),
)

BEVEL = Check(
    name="bevel",
    title="Blade square to the table, and its tilt stops",
    quantity="error at the stop",
    needs="an indicator run up a square, or an inclinometer",
    steps=(
        "Blade up high, against its stop. position=0 or 45 keeps the stops apart.",
        "by=indicator: a square on the table, an indicator slid up it from the carriage side, tip on the plate (not on "
        "teeth) toward the table: low= at the bottom, high= at the top, height= between; again with the blade turned "
        "half round: low=0.10,0.14 high=0.08,0.12. Pushed in is +.",
        "by=level: inclinometer zeroed on the table, or zero=0.05 as it shows there; on the plate: shown=45.10; "
        "nominal= what the stop should give, from upright.",
    ),
    cautions=(LOCK_OUT, EDGES),
    asks=(
        Ask("position", "", "which stop, as 0 or 45", name=True, needed=False),
        Ask("by", "", "how", words=("indicator", "level"), needed=False, default_word="indicator"),
        Ask("low", "mm", "readings at the bottom", (0.0, 10.0), many=True, only=_OVER),
        Ask("high", "mm", "readings at the top", (0.0, 10.0), many=True, only=_OVER),
        Ask("height", "mm", "between the two", (15.0, 300.0), only=_OVER),
        Ask("square", "mm/m", "the square's own error (k = 2)", (0.0, 1.0), needed=False, default=0.05, only=_OVER),
        Ask("shown", "deg", "inclinometer on the plate", (0.0, 180.0), many=True, only=_TILT),
        Ask("zero", "deg", "the same on the table", (0.0, 180.0), many=True, needed=False, default=0.0, only=_TILT),
        Ask("nominal", "deg", "what the stop should give", (0.0, 90.0), needed=False, default=0.0, only=_TILT),
        Ask("arm", "mm", "from the tilt axis to the stop screw", (20.0, 1000.0), needed=False),
        Ask("pitch", "mm", "thread pitch of the stop screw", (0.25, 4.0), needed=False),
        Ask("u", "mm", "uncertainty of one reading (k = 2)", (0.0, 0.2), needed=False, default=0.006, only=_OVER),
        Ask(
            "u_deg",
            "deg",
            "uncertainty of the inclinometer (k = 2)",
            (0.0, 1.0),
            needed=False,
            default=0.05,
            only=_TILT,
        ),
        ENDS,
    ),
    ends=(("low", "high"),),
    allowed=Allowed(-0.5, 0.5, "mm/m", COMMON_PRACTICE),
    rests_on=(
        Because("condition", "Dust at the stop is an angle."),
        Because("blade", "A wobbling plate stands at another angle at every turn."),
        Because("sag", "Square is square to the table; pushing its middle turns the surface beside the blade."),
    ),
    left_alone_by=(Because("toe", "Shifting the rail moves neither blade nor table."),),
)

UPRIGHT = Check(
    name="upright",
    title="Spindle and blade square to the carriage",
    quantity="tilt to the carriage's plane",
    needs="an indicator on an arm clamped to the spindle, or a level",
    steps=(
        "The work rides on the carriage. by=arc: carriage beside the spindle, swing the arm over it: readings= at "
        "angles= (0 toward outfeed, 90 toward the table side), four or more over 60 degrees and more; radius=.",
        "by=level: a level the same way round on the table and on the carriage, along and across; then tilt= and "
        "leans= as the spindle's own check gave them (of=blade: its lean is taken from the check bevel).",
    ),
    cautions=(
        LOCK_OUT,
        EDGES,
        "Cutter block off the spindle.",
        "The carriage clamped while the arm swings over it.",
        CARRIER_HELD,
    ),
    asks=(
        Ask("of", "", "what stands", words=("spindle", "blade"), needed=False, default_word="spindle"),
        Ask("by", "", "how", words=("arc", "level"), needed=False, default_word="arc"),
        Ask("readings", "mm", "over the carriage, pushed in +", (0.0, 10.0), many=True, only=_ARC),
        Ask("angles", "deg", "where each was read", (0.0, 360.0), many=True, only=_ARC),
        Ask("radius", "mm", "from the spindle's axis to the tip", (40.0, 1500.0), only=_ARC),
        Ask("along_table", "mm/m", "along, on the table", (0.0, 20.0), only=_TILT),
        Ask("along_carriage", "mm/m", "along, on the carriage", (0.0, 20.0), only=_TILT),
        Ask("across_table", "mm/m", "across, on the table", (0.0, 20.0), only=_TILT),
        Ask("across_carriage", "mm/m", "across, on the carriage", (0.0, 20.0), only=_TILT),
        Ask("tilt", "mm/m", "the spindle's tilt to the table", (0.0, 10.0), needed=False, only=_TILT),
        Ask("leans", "deg", "where it leans to", (0.0, 360.0), needed=False, default=0.0, only=_TILT),
        *CARRIER,
        Ask("u", "mm", "uncertainty of one reading (k = 2)", (0.0, 0.2), needed=False, default=0.006, only=_ARC),
        Ask("u_level", "mm/m", "uncertainty of one slope (k = 2)", (0.0, 2.0), needed=False, default=0.02, only=_TILT),
    ),
    allowed=Allowed(None, 0.2, "mm/m", COMMON_PRACTICE),
    rests_on=(
        Because("condition", "A loose carrier leans where it is pushed."),
        Because("spindle", "A shim under the spindle's carrier leans it to table and carriage alike."),
        Because("bevel", "The blade's lean to the carriage is its lean to the table and the roll between the two."),
        Because("rail", "Roll and pitch of the carriage's plane are set at the rail's bolts."),
    ),
)

CHECKS: tuple[Check, ...] = (BEVEL, UPRIGHT, KNIFE, SCORING)
