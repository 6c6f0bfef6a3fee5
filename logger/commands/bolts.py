"""``truestroke bolts``: which bolt, how far, which way, and what the indicator must show when it is right.

Why it exists: this is the question the whole program answers. It prevents turning the bolt under the low spot, which is
often the wrong bolt; and it says what to make safe before a hand goes under a machine.
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
        "bolts",
        "Advises the next moves from every sweep and every move of this job. With --if: what would happen if these\n"
        "bolts were turned (repeatable, several at once); nothing is recorded.",
        "  truestroke bolts\n  truestroke bolts --choose few\n  truestroke bolts --if B2=-1/6turn\n"
        "  truestroke bolts --if B2=+0.1mm B4=-0.05mm --json\n  truestroke bolts --learned",
    )
    parser.add_argument(
        "--if",
        dest="what_if",
        metavar="MOVE",
        nargs="+",
        action="extend",
        default=[],
        help="a move to try out, as B2=-1/6turn",
    )
    parser.add_argument(
        "--choose",
        choices=("few", "least", "best"),
        help="few: the fewest bolts; least: the least turning; best: the best chance to be inside (default: between)",
    )
    parser.add_argument(
        "--learned", action="store_true", help="what a turn of each bolt does to the reading: as learned, and nominal"
    )
    parser.add_argument("--picture", metavar="FILE.svg", help="the same (--learned) as a picture")
    parser.add_argument("--set-up", metavar="S", help="plan from this set-up (default: that of the newest sweep)")


def run(args: argparse.Namespace) -> Answer:
    from logger.commands import _bolts

    return _bolts.bolts(args)
