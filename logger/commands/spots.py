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
        "  truestroke spots\n  truestroke spots 3 4 --json\n"
        "  truestroke spots --reference minimum-zone --local 300 --cutoff 100",
    )
    parser.add_argument("sweeps", metavar="SWEEP", nargs="*", help="number, name or path (default: the newest state)")
    parser.add_argument(
        "--reference",
        metavar="LINE",
        choices=("least-squares", "minimum-zone", "end-points"),
        default="least-squares",
        help="the line straightness is told about: least-squares (default), minimum-zone or end-points; "
        "--json always has all three",
    )
    parser.add_argument("--local", metavar="MM", type=float, help="also the straightness over any stretch of MM")
    parser.add_argument("--cutoff", metavar="MM", type=float, help="also the profile behind a Gaussian filter of MM")
    parser.add_argument(
        "--positions",
        metavar="SOURCE",
        choices=("tool", "encoder", "marks", "strips", "stops", "ends only"),
        help="where positions shall come from in these sweeps: encoder, marks, strips, stops, 'ends only'; "
        "tool: the strongest that holds together (default). It stays so for the other commands too",
    )
    parser.add_argument(
        "--agree",
        metavar="REPAIR",
        action="append",
        default=[],
        help="agree to a repair that was offered (in a terminal you are asked), e.g. 'encoder turned'",
    )
    parser.add_argument(
        "--ends",
        metavar="MM,MM",
        help="of a level: heights an indicator found at the first and the last place, to tie the heights to the table",
    )


def run(args: argparse.Namespace) -> Answer:
    from logger.commands import _findings

    return _findings.spots(args)
