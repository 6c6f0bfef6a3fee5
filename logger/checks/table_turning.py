"""The table's rows of what turns: flange, blade and spindle."""

from __future__ import annotations

from logger.checks.cautions import EDGES, LOCK_OUT
from logger.checks.model import COMMON_PRACTICE, Allowed, Ask, Because, Check

_TURN = (
    Ask("readings", "mm", "the readings round one turn, pushed in +, with commas between", (0.0, 3.0), many=True),
    Ask("angles", "deg", "where each was read (default: equal steps)", (0.0, 360.0), many=True, needed=False),
    Ask("u", "mm", "uncertainty of one reading (k = 2)", (0.0, 0.2), needed=False, default=0.004),
)

CHECKS: tuple[Check, ...] = (
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
)
