"""``truestroke demo``: the whole job on an invented saw, over a real serial path.

Why it exists: nobody should have to crawl under a machine to find out what the program does. The saw is invented, but
its indicator's bytes come through a real port into the production reader, decoder, recorder and analysis; nothing is
bypassed, so the demo is also the shortest proof that the whole chain works here.
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
        "demo",
        "Aligns the rail of the invented Kiln Street panel saw. In a terminal: the real screens with a guided tour.\n"
        "Without one, or with --headless: the story in lines, ending with one JSON line. The job is made in a new\n"
        "folder (--job DIR to choose it) and kept, so that every other command can be tried on it afterwards.",
        "  truestroke demo\n  truestroke demo --headless\n  truestroke demo --headless --job kiln-street",
    )
    parser.add_argument("--headless", action="store_true", help="no screen: the story in lines and one JSON line")
    parser.add_argument("--seed", metavar="N", type=int, help="another invented saw of the same kind")
    parser.add_argument("--pace", metavar="N", type=float, help="how much faster than life the saw runs")


def run(args: argparse.Namespace) -> Answer:
    from logger.commands import _demo

    return _demo.demo(args)
