"""The cautions, each worded once and shown at the step where it matters, on the screen and in print.

Why it exists: a caution in a preface is read by nobody. It prevents two wordings of the same danger.
"""

LOCK_OUT = (
    "Isolate and lock out the power (a licensed person where local codes ask for one) and try the switch before hands "
    "go near blade, cutter or arbor; the maker's manual comes first."
)
EDGES = "Blade and cutter edges cut when they stand still: gloves, a rag, or hold the blade by its body."
UNDER = (
    "Support the machine before a shim goes under it; never a hand or foot under a machine on jacks alone, and two "
    "people where it is heavy."
)
CARRIER_HELD = (
    "Support the carrier before its bolts are slackened for a shim: it is heavy, and no hand goes between it and its "
    "seat."
)
TEST_CUT = (
    "Guards and riving knife back on before the test cut; eyes, ears and lungs protected; the cut is made by someone "
    "competent. Blade standing before the board is drawn back or a hand goes near."
)
CLAMP = "Clamp the carriage before a bolt is slackened, and never slack all supports at once."
ONE_MOVES = "One person moves the carriage and says so; all hands clear."
PROP = "Prop an overhanging rail before its brace is loosened, and never slack all supports at once."
STRUT = (
    "A jack rod or strut holds the casting up: a little at a time, no hand between them, and the machine "
    "stands on its feet, never on the strut."
)
NO_LISTENING = "Nobody puts an ear or a hand near what turns to listen or to look."
