"""``truestroke history``: the job over months, and two sweeps held against one another.

Why it exists: a machine that was true last spring has crept since, or has not; only the record knows, and only with the
uncertainty beside it. Turning and temperature are told apart from creeping where the record allows it.
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
        "history",
        "Shows how the rail and every typed check went over time: the height over each bolt, the sag between them,\n"
        "how much it creeps a year and with the temperature (where it was noted: truestroke note --temperature),\n"
        "and what moved since the last good state. A turned bolt is a step of its own, no creeping. What does not\n"
        "stand clear of its uncertainty is said not to. With --compare, two sweeps of one set-up.",
        "  truestroke history\n"
        "  truestroke history --since 2026-01-01 --pictures out\n"
        "  truestroke history --compare 3 17 --pictures out",
    )
    parser.add_argument("--since", metavar="DATE", default="", help="leave out what was measured before, as 2026-03-01")
    parser.add_argument("--compare", metavar="SWEEP", nargs=2, help="two sweeps, the earlier one first")
    parser.add_argument("--pictures", metavar="DIR", help="write the courses, or the comparison, as pictures into DIR")
    parser.add_argument("--as", dest="form", choices=("png", "pdf", "svg"), default="svg", help="their form (svg)")


def run(args: argparse.Namespace) -> Answer:
    from logger.commands import _history

    return _history.history(args)
