"""``truestroke import``: a CSV from elsewhere becomes a recording of the job.

Why it exists: what was measured before, or with another program, is still evidence. Its owner says which column is
which and in which unit; nothing is guessed about what a column means.
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
        "import",
        "Reads a table (CSV with commas, semicolons, tabs or bars; decimal points or commas; any of the usual\n"
        "encodings) and keeps it as a sweep of this job, with the file itself beside it. Columns are named by their\n"
        "heading, or by their number from 1. Positions are those of the carriage's middle along x.\n"
        "Without a time column, one row for each station and pass is taken as read at rest there.\n"
        "\n"
        "units: position mm cm m um in thou; value the same, or mm/m in/ft arcsec deg for a level; time s ms min",
        "  truestroke import old.csv --columns position=x_mm value=height:um --set-up across --as heights\n"
        '  truestroke import log.csv --columns "position=Pos [cm]:cm" value=Reading:mm time=t:ms --set-up along\n'
        "  truestroke import plain.txt --columns position=1 value=3:thou --set-up across",
    )
    parser.add_argument("file", metavar="FILE", help="the table")
    parser.add_argument(
        "--columns", metavar="ROLE=NAME[:UNIT]", nargs="+", required=True, help="position=, value= and time= (optional)"
    )
    parser.add_argument("--set-up", metavar="S", help="a set-up of machine.yaml (may be left out if there is only one)")
    parser.add_argument(
        "--as",
        dest="kind",
        choices=("readings", "heights"),
        default="readings",
        help="what the values are: the instrument's own readings (default), or heights of the carriage (+ higher)",
    )
    parser.add_argument("--separator", metavar="S", help="comma, semicolon, tab or bar (default: found by itself)")
    parser.add_argument("--decimal", metavar="D", help="the decimal sign, , or . (default: found by itself)")


def run(args: argparse.Namespace) -> Answer:
    from logger.commands import _import

    return _import.import_(args)
