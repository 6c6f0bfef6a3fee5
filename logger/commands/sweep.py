"""``truestroke sweep``: record one set of passes.

Why it exists: this is where a measurement happens, and it must not be lost. The port is opened once, every byte is on
disk before it is understood, and whatever ends the sweep (the last mark, Enter, the clock, the far end, a pulled cable,
Ctrl-C) leaves a recording that opens.
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
        "sweep",
        "Records one or more passes of the carriage and says what was recorded. Marks come from the space bar,\n"
        "a foot switch that types a space, or the instrument's line. Each pass begins with a mark at its own\n"
        "first station, so N stations and P passes give N x P marks. Opening a port may reset the device behind it.\n"
        "\n"
        "Keys in a terminal: space = the carriage passes a station now; z = the last mark was a slip;\n"
        "g = note a gap; Enter = end of the sweep.\n"
        "Stand clear of the blade; power isolated and locked out.",
        "  truestroke sweep --port /dev/ttyUSB0 --instrument indicator-line --set-up across \\\n"
        "                   --passes 2 --marks 0,500,1000,1500,2000,2600\n"
        "  truestroke sweep --port /dev/ttyUSB0 --instrument indicator-line --set-up across \\\n"
        "                   --with /dev/ttyUSB1 node-encoder position --with /dev/ttyUSB2 level-line roll\n"
        "  truestroke sweep --typed --set-up across --marks 0,500,1000,1500,2000,2600\n"
        "  truestroke sweep --port socket://127.0.0.1:5000 --instrument my.yaml --set-up across \\\n"
        "                   --passes 2 --marks -300,0,300 --until closed --json",
    )
    parser.add_argument("--port", metavar="P", help="a device name or a URL (socket://HOST:PORT)")
    parser.add_argument(
        "--instrument", metavar="I", help="a name from the instruments folder, or a path to a YAML file"
    )
    parser.add_argument("--set-up", metavar="S", help="a set-up of machine.yaml (may be left out if there is only one)")
    parser.add_argument(
        "--with",
        dest="with_",
        metavar=("PORT", "INSTRUMENT", "SET-UP"),
        nargs=3,
        action="append",
        help="a second instrument on a port of its own, recorded at the same time; SET-UP 'position' for an encoder, "
        "which gives positions to the others (repeatable)",
    )
    parser.add_argument(
        "--also",
        metavar="S",
        action="append",
        default=[],
        help="the same instrument says this set-up too (the other axis of a level): a second sweep of the same push "
        "(repeatable)",
    )
    parser.add_argument(
        "--typed",
        action="store_true",
        help="no port: one reading is typed at each station of --marks (a dial, a bubble, feelers as 0.10..0.15); "
        "without a terminal they are read from standard input, one a line",
    )
    parser.add_argument("--passes", metavar="N", type=int, default=2, help="pushes, there and back (default: 2)")
    parser.add_argument(
        "--until",
        metavar="END",
        help="closed (the far end closes the line: the normal end), still (the carriage has come to rest), "
        "or seconds; default: the last mark, or Enter",
    )
    parser.add_argument("--marks", metavar="MM,MM,...", help="the stations along the first pass, in mm")
    parser.add_argument(
        "--give-up",
        metavar="S",
        type=float,
        default=30.0,
        help="seconds to wait for an instrument that went away to come back (default: 30)",
    )


def run(args: argparse.Namespace) -> Answer:
    from logger.commands import _record

    return _record.sweep(args)
