"""``truestroke load``: what a known mass moves, before any bolt is turned.

Why it exists: a mass and a bolt move the rail through the same brackets. Laid on at marked places, it tells how soft
they are while nothing has been turned yet; and a rail that is true empty only was set for nothing.
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
        "load",
        "Records what a known mass moves. Parked: lay it on the carriage's top at a marked x, and give the display\n"
        "without..with it, in its own sign:  20kg@1300:+0.120..+0.112mm. Three parks, over both bearings at each,\n"
        "tell most for the work.\n"
        "Swept: sweep empty, sweep again with the load on the carriage, and say which sweep that was: --sweep 2\n"
        "--mass 25. That sweep then no longer counts as one of the empty machine. Without arguments: how it is done,\n"
        "and what is known so far. Two people lift what is heavy; the carriage clamped while the mass is laid on.",
        "  truestroke load 20kg@1300:+0.120..+0.112mm 20kg@900:+0.120..+0.109mm --park 1100\n"
        "  truestroke load --sweep 2 --mass 25 --ahead 0 --y 50",
    )
    parser.add_argument("loads", metavar="LOAD", nargs="*", help="MASS@X:WITHOUT..WITH, as 20kg@1300:+0.120..+0.112mm")
    parser.add_argument("--park", metavar="MM", type=float, help="where the carriage's middle stands (parked loads)")
    parser.add_argument("--set-up", metavar="S", help="the set-up that was read (parked loads; default: the newest)")
    parser.add_argument("--y", metavar="MM", type=float, default=0.0, help="the mass beside the rail's middle line")
    parser.add_argument("--on-rail", action="store_true", help="the mass lay on the rail itself, not on the carriage")
    parser.add_argument("--sweep", metavar="N", help="the sweep that was made with the load on the carriage")
    parser.add_argument("--mass", metavar="KG", type=float, help="of the load in that sweep")
    parser.add_argument("--ahead", metavar="MM", type=float, default=0.0, help="its middle from the carriage's middle")


def run(args: argparse.Namespace) -> Answer:
    from logger.commands import _load

    return _load.load(args)
