"""``truestroke board``: every check of the alignment, what state it is in, and which is the next sensible one.

Why it exists: one thing rests on another, and a result from before something under it was moved looks like any other.
"""

from __future__ import annotations

from logger.commands import Answer, new_parser

TYPE_CHECKING = False
if TYPE_CHECKING:
    import argparse

    from logger.commands import Subparsers


def add_parser(subparsers: Subparsers) -> None:
    new_parser(
        subparsers,
        "board",
        "Shows each check as not measured, inside, outside, cannot tell, or stale (something it rests on was moved\n"
        "after it), in the order in which one rests on another, and the next sensible one with the reason. The rail's\n"
        "check is inside only when every place and the tilt have been seen.",
        "  truestroke board\n  truestroke board --json",
    )


def run(args: argparse.Namespace) -> Answer:
    from logger.commands import _checks

    return _checks.board(args)
