"""``truestroke turned``: what was really done to the bolts, before the next sweep.

Why it exists: a plan is not what a hand does. What was really turned is what the tool learns this machine from, so it
is recorded as it was done, with how well it is known.
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
        "turned",
        "Records moves in one of three forms, + raising the rail in the first two:\n"
        "  B2=+0.12mm                   thread travel (mm, in, thou)\n"
        "  B4=-1/6turn                  turns (turn, flat)\n"
        "  B3@810:+0.036..+0.084mm      parked at 810 mm: the display before, and after the lock nut; its own sign",
        "  truestroke turned B2=+0.12mm B4=-1/6turn B3@810:+0.036..+0.084mm",
    )
    parser.add_argument("moves", metavar="MOVE", nargs="+", help="BOLT=AMOUNT or BOLT@PARKED:BEFORE..AFTER")
    parser.add_argument(
        "--set-up", metavar="S", help="the set-up the parked readings were taken in (default: the newest)"
    )


def run(args: argparse.Namespace) -> Answer:
    from logger.commands import _findings

    return _findings.turned(args)
