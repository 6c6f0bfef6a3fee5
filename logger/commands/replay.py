"""``truestroke replay``: a recorded sweep, played again.

Why it exists: what the indicator did at 1480 mm is easier to see the second time. The replayed readings go through the
same widgets and the same wording as live ones.
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
        "replay",
        "Plays a recording at real or chosen speed: on the screen in a terminal, as lines with --plain.",
        "  truestroke replay 3\n  truestroke replay 0003-across --speed 4 --plain",
    )
    parser.add_argument("sweep", metavar="SWEEP", help="number, name or path of a recording")
    parser.add_argument(
        "--speed", metavar="N", type=float, default=1.0, help="times real speed (default: 1; 0: as fast as it goes)"
    )


def run(args: argparse.Namespace) -> Answer:
    from logger.commands import _live

    return _live.replay(args)
