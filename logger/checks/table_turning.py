"""The table's rows of what turns: arbor, flange, blade and spindle."""

from __future__ import annotations

from logger.checks.asks import CARRIER
from logger.checks.cautions import CARRIER_HELD, EDGES, LOCK_OUT
from logger.checks.model import COMMON_PRACTICE, Allowed, Ask, Because, Check

_ROUND = (
    Ask("readings", "mm", "round one turn, pushed in +, with commas between", (0.0, 3.0), many=True, needed=False),
    Ask("angles", "deg", "where each was read (default: equal steps)", (0.0, 360.0), many=True, needed=False),
)
_TURN = (
    *_ROUND,
    Ask("total", "mm", "or the highest less the lowest, watched over a turn", (0.0, 3.0), needed=False),
    Ask("recording", "", "or a recording of it, turned by hand, by number or name", name=True, needed=False),
    Ask("marks_a_turn", "", "marks in one turn of that recording", words=("1", "2", "4", "6", "12"), needed=False),
    Ask("wander", "mm", "left of what differs from turn to turn (k = 1)", (0.0, 0.5), needed=False),
    Ask("u", "mm", "uncertainty of one reading (k = 2)", (0.0, 0.2), needed=False, default=0.004),
)
_STREAMED = (
    "Or let the readings stream while you turn it slowly by hand, power locked out (on the screen t; on the command "
    "line --port P --instrument I): space, or its own button, each time the chalk mark passes, two whole turns or "
    "more, Enter to end; recording=NAME takes one again.",
)

CHECKS: tuple[Check, ...] = (
    Check(
        name="arbor",
        title="Run-out of the arbor",
        quantity="run-out of the arbor",
        needs="an indicator on a stand, the blade off",
        steps=("Tip on the arbor's seat for the bore, across its axis; turn by hand, read at equal steps.", *_STREAMED),
        cautions=(LOCK_OUT, EDGES),
        asks=_TURN,
        allowed=Allowed(None, 0.03, "mm", "GOST 9335-89 p. 2: journal of the saw arbor, radial run-out 0.03 mm"),
        rests_on=(Because("condition", "A chip or a burr on the arbor reads as run-out."),),
        left_alone_by=(Because("rail", "The arbor turns in its own bearings; the carriage has no part in it."),),
    ),
    Check(
        name="flange",
        title="Run-out of the arbor's flange",
        quantity="run-out of the flange on 100 mm",
        needs="an indicator on a stand, the blade off",
        steps=(
            "Tip on the face of the flange near its rim, arbor pushed to one side; turn by hand, read at equal steps.",
            "Begin at the chalk mark on the arbor: blade and flange are compared from there.",
            *_STREAMED,
        ),
        cautions=(LOCK_OUT, EDGES),
        asks=(
            *_TURN,
            Ask("diameter", "mm", "of the circle the tip ran on", (20.0, 400.0), needed=False, default=100.0),
        ),
        allowed=Allowed(None, 0.03, "mm", "GOST 9335-89 p. 2: supporting flange 0.03 mm on 100 mm diameter"),
        rests_on=(
            Because("condition", "A chip on the flange reads as run-out."),
            Because("arbor", "A bent arbor or a worn bearing tips the flange with it."),
        ),
        left_alone_by=(Because("rail", "The arbor turns in its own bearings; the carriage has no part in it."),),
    ),
    Check(
        name="blade",
        title="Run-out of the blade",
        quantity="run-out of the blade",
        needs="an indicator on a stand, the blade on and tightened",
        steps=(
            "Tip on the plate just inside the teeth; turn the blade by hand, read at equal steps from the chalk mark.",
            "Flange or blade? flange= its readings from the same mark (diameter=, flange_diameter=: the circles); or "
            "turn the blade half round on its flange and read again from the same mark on the arbor: half_round=. "
            "Where the readings streamed: flange_recording=, half_round_recording=, by the recording's number.",
            *_STREAMED,
        ),
        cautions=(LOCK_OUT, EDGES),
        asks=(
            *_TURN,
            Ask("diameter", "mm", "of the circle the tip ran on", (50.0, 800.0), needed=False),
            Ask("flange", "mm", "the flange's readings, same mark", (0.0, 1.0), many=True, needed=False),
            Ask("flange_recording", "", "or a recording of the flange, same mark", name=True, needed=False),
            Ask("half_round_recording", "", "or one with the blade half round", name=True, needed=False),
            Ask("flange_diameter", "mm", "of the circle on it", (20.0, 400.0), needed=False, default=100.0),
            Ask("half_round", "mm", "blade half round on its flange", (0.0, 3.0), many=True, needed=False),
        ),
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
        cautions=(LOCK_OUT, EDGES, "Cutter block off the spindle.", CARRIER_HELD),
        asks=(
            Ask("readings", "mm", "round one turn, pushed in +, with commas between", (0.0, 3.0), many=True),
            _ROUND[1],
            Ask("radius", "mm", "from the spindle's axis to the tip", (40.0, 1000.0)),
            Ask("flat", "mm", "how far from flat the table is there (k = 2)", (0.0, 0.5), needed=False, default=0.0),
            *CARRIER,
            Ask("u", "mm", "uncertainty of one reading (k = 2)", (0.0, 0.2), needed=False, default=0.004),
        ),
        allowed=Allowed(None, 0.1, "mm/m", COMMON_PRACTICE),
        rests_on=(
            Because("condition", "A cutter block or a loose carrier bends the swing."),
            Because("twist", "Square is square to the table; untwisting it turns the surface the tip touches."),
            Because("sag", "Pushing the table's middle turns the surface round the spindle."),
        ),
        left_alone_by=(Because("rail", "The tip runs on the table, not on the carriage."),),
    ),
)
