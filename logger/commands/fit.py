"""``truestroke fit``: does the carriage run on its rail without play, and roundly? Before any bolt.

Why it exists: play and flat rollers move the indicator as much as bolts do, and no bolt takes them out.
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
        "fit",
        "Searches a sweep for a part that repeats with a roller's turn (a flat, dirt). With --place: the play in a\n"
        "live recording in which the carriage was lifted, held, pressed, held (a second each). With --parked: how a\n"
        "parked reading comes back, marked each time after rolling away. Nothing is recorded; readings taken by eye\n"
        "go in with: truestroke take fit.",
        "  truestroke fit\n  truestroke fit 3 --diameter 40\n  truestroke fit 7 --place infeed_table\n"
        "  truestroke fit 8 --parked",
    )
    parser.add_argument(
        "recording", metavar="SWEEP", nargs="?", help="number, name or path (default: the newest sweep)"
    )
    parser.add_argument("--place", metavar="P", help="infeed_table, outfeed_table, infeed_outer or outfeed_outer")
    parser.add_argument(
        "--parked", action="store_true", help="the recording has the same parked reading at each of its marks"
    )
    parser.add_argument("--diameter", metavar="MM", type=float, help="of the rollers (default: as in machine.yaml)")


def run(args: argparse.Namespace) -> Answer:
    from logger.commands import _fit

    return _fit.fit(args)
