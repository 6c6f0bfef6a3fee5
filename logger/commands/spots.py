"""``truestroke spots``: profile, straightness, high and low spots, verdict.

Why it exists: the first question after a sweep is "where, how much, and is it true or is it noise". Every figure comes
with its uncertainty, and what was not seen is said beside what was.
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
        "spots",
        "Judges sweeps of one set-up. Without SWEEP: all of the newest set-up since the last moves. The verdict\n"
        "speaks only of the stretch that was seen; places and what was not seen stand beside it.\n"
        "Heights are those of the carriage when its middle is there; +/- is the expanded uncertainty (k = 2).",
        "  truestroke spots\n  truestroke spots 3 4 --json",
    )
    parser.add_argument("sweeps", metavar="SWEEP", nargs="*", help="number, name or path (default: the newest state)")


def run(args: argparse.Namespace) -> Answer:
    from logger.commands import _findings

    return _findings.spots(args)
