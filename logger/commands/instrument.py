"""``truestroke instrument``: try an instrument before the job.

Why it exists: the resolution on the display says little about the number. Standing still for half a minute and coming
back to one place ten times says what the instrument, its stand and the hand can do today; every later uncertainty has
that as its floor. For a level the same command finds its zero by turning it end for end.
"""

from __future__ import annotations

from logger.commands import Answer, new_parser

TYPE_CHECKING = False
if TYPE_CHECKING:
    import argparse

    from logger.commands import Subparsers


def add_parser(subparsers: Subparsers) -> None:
    parser = new_parser(
        subparsers,
        "instrument",
        "Tries an instrument where it will be used: it stands still for a while, then the tip is brought back to the\n"
        "same place ten times, from below and from above in turn. Says noise, drift, repeatability and hysteresis,\n"
        "writes them into the journal, and every later uncertainty is at least that large.\n"
        "With --reverse, a level's zero: read, turn it end for end on the same place, read again.\n"
        "With --on-table, what a pitch level shows along the table: set it down foot to foot from the infeed end, the\n"
        "same way round as on the carriage. Then the rise of the carriage over its whole stroke is told against the\n"
        "table, which stands near each other hardly see. Again after every change of a foot or of the level's zero.\n"
        "\n"
        "Keys in a terminal: space = the tip stands there now (or the level lies there now); Enter = end.\n"
        "Isolate and lock out the power before hands go near blade or cutter.",
        "  truestroke instrument --port /dev/ttyUSB0 --instrument indicator-line --set-up across\n"
        "  truestroke instrument --port /dev/ttyUSB1 --instrument level-line --set-up roll --reverse\n"
        "  truestroke instrument --port /dev/ttyUSB1 --instrument level-line --set-up pitch --on-table 720,1480\n"
        "  truestroke instrument --instrument typed-mm --set-up across --readings 0.12,0.13,0.12,0.12,0.13,0.12",
    )
    parser.add_argument("--port", metavar="P", help="a device name or a URL (socket://HOST:PORT)")
    parser.add_argument(
        "--instrument", metavar="I", required=True, help="a name from the instruments folder, or a YAML file"
    )
    parser.add_argument("--set-up", metavar="S", help="a set-up of machine.yaml (may be left out if there is only one)")
    parser.add_argument("--still", metavar="S", type=float, default=30.0, help="seconds to stand still (default: 30)")
    parser.add_argument("--times", metavar="N", type=int, default=10, help="how often to come back (default: 10)")
    parser.add_argument(
        "--from",
        dest="side",
        choices=("both", "below", "above"),
        default="both",
        help="from which side the tip comes: in turn, the first from below (default), or always the same",
    )
    parser.add_argument("--reverse", action="store_true", help="a level's zero, by turning it end for end")
    parser.add_argument(
        "--on-table",
        metavar="FROM,TO",
        help="a pitch level set down foot to foot along the table, between these x in mm",
    )
    parser.add_argument(
        "--lever", metavar="DEG", type=float, help="a lever indicator: the lever's angle to the surface it touches"
    )
    parser.add_argument(
        "--readings",
        metavar="X,X,...",
        help="no port: the approaches read by eye (with --reverse: the two readings; --on-table: each place)",
    )
    parser.add_argument("--until", metavar="END", help="closed (the far end closes the line), or seconds; for scripts")


def run(args: argparse.Namespace) -> Answer:
    from logger.commands import _instrument

    return _instrument.tried(args)
