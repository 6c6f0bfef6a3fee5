"""``truestroke seats``: which feet of a rail that only rests carry, felt with a leaf before any bolt is turned.

Why it exists: such a rail stands on some of its feet, and a bolt under one that hangs does nothing. No sweep shows
which; a leaf under each does, and saves the rounds that would be lost in finding out.
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
        "seats",
        "Records which feet carry where the rail only rests on its bolts (kind: rest_only in machine.yaml). Power\n"
        "isolated and locked out, carriage clamped at one place: try leaves under every foot, never a finger; give\n"
        "the thickest that goes and the thinnest that does not (..0.05: not even that goes, the foot carries).\n"
        "Without arguments: how it is done, and what was felt last. The machine's own feet on the floor are another\n"
        "thing: truestroke take feet.",
        "  truestroke seats B1=..0.05 B2=0.10..0.15 B3=..0.05 B4=..0.05 --park 1300",
    )
    parser.add_argument("feet", metavar="FOOT", nargs="*", help="BOLT=GOES..STOPS (mm, in, thou), every foot")
    parser.add_argument("--park", metavar="MM", type=float, help="where the carriage's middle stands")


def run(args: argparse.Namespace) -> Answer:
    from logger.commands import _seats

    return _seats.seats(args)
