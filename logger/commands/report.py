"""``truestroke report``: the job as one HTML file, as a one-page sheet, or as pictures.

Why it exists: what was done to a machine must be shown to somebody who was not there, without this program and without
a network. What it says are the figures of ``spots``, ``bolts`` and ``board``, and what was not done.
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
        "report",
        "Writes report.html into the job's folder: the machine, the instruments and their check, every check before\n"
        "and after with its picture, what was turned, verdicts with their uncertainty, tolerances with their origin,\n"
        "cautions, surroundings, and what was not done. One file that needs nothing else; it prints on A4 and Letter.\n"
        "An earlier report is replaced; any other file is left alone.",
        "  truestroke report\n"
        "  truestroke report --sheet --out folder-sheet.html\n"
        "  truestroke report --pictures out --as pdf",
    )
    parser.add_argument(
        "--out", metavar="FILE", help="where to write it (default: report.html or sheet.html in the job)"
    )
    parser.add_argument("--sheet", action="store_true", help="one page for the machine's folder instead of the report")
    parser.add_argument("--pictures", metavar="DIR", help="also write its pictures as files into DIR; made if needed")
    parser.add_argument("--as", dest="form", choices=("png", "pdf", "svg"), default="png", help="their form (png)")


def run(args: argparse.Namespace) -> Answer:
    from logger.commands import _report

    return _report.report(args)
