"""The table's row of the carriage's fit on its rail: before any bolt is touched."""

from __future__ import annotations

from logger.checks.cautions import LOCK_OUT
from logger.checks.model import Allowed, Ask, Because, Check

_PAIR = "lifted, pressed (several tries: lifted, pressed, lifted, pressed)"

FIT = Check(
    name="fit",
    title="Fit of the carriage on its rail",
    quantity="play",
    needs="an indicator on the carriage's top, a hand",
    steps=(
        "Rail and rollers cleaned. Indicator on the table, tip on the carriage's top near a corner; carriage at rest.",
        "Lift that corner gently by hand, read; let go, press gently, read. Each end and side: "
        "infeed_table=+0.131,+0.124.",
        "Park at one place, read, roll the carriage away and back, read again, ten times: parked=0.120,0.121,...",
        "A flat spot on a roller: sweep, then truestroke fit.",
    ),
    cautions=(LOCK_OUT, "The carriage may tip at the end of its stroke: test at mid-stroke, hands off the rollers."),
    asks=(
        Ask("infeed_table", "mm", f"infeed end, table side: {_PAIR}", (0.0, 5.0), many=True),
        Ask("outfeed_table", "mm", f"outfeed end, table side: {_PAIR}", (0.0, 5.0), many=True),
        Ask("infeed_outer", "mm", f"infeed end, outer side: {_PAIR}", (0.0, 5.0), many=True, needed=False),
        Ask("outfeed_outer", "mm", f"outfeed end, outer side: {_PAIR}", (0.0, 5.0), many=True, needed=False),
        Ask("parked", "mm", "a parked reading after rolling away, ten times", (0.0, 5.0), many=True, needed=False),
        Ask("u", "mm", "uncertainty of one reading (k = 2)", (0.0, 0.2), needed=False, default=0.003),
    ),
    allowed=Allowed(None, 0.0167, "mm", "a third of the band in machine.yaml; common practice, no source"),
    rests_on=(Because("condition", "Dirt on the rail or in a roller rocks the carriage like play."),),
)
