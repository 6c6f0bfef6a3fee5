"""``truestroke map``: the table's own flatness along a line, to be subtracted from what rides over it.

Why it exists: an indicator carried over the table reads the casting's hollows as the carriage's humps.
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
        "map",
        "Works out the table's flatness along one line (y, default the carriage's edge), in one of three ways:\n"
        "  by=straightedge  x= gap=          a straightedge on two equal blocks; edge= its own error, peak to valley\n"
        "  by=level         from= step= slopes=   a level set down foot to foot, mm/m, + outfeed end up\n"
        "  by=reversal      x= first= turned= table=   from the carriage: along a straightedge, along it turned over,\n"
        "                   along the table; + where the surface is higher. Needs no straight straightedge.\n"
        "With --write it goes into machine.yaml, where nothing else is touched; sweeps made before are read with it\n"
        "too. Without arguments: what is mapped. Power isolated and locked out.",
        "  truestroke map y=150 x=700,900,1100,1300,1500 gap=0.050,0.062,0.071,0.060,0.050 edge=0.010 --write\n"
        "  truestroke map by=level from=700 step=100 slopes=+0.04,+0.02,0,-0.03",
    )
    parser.add_argument("readings", metavar="KEY=VALUE", nargs="*", help="as above; lists with commas")
    parser.add_argument("--write", action="store_true", help="put it into machine.yaml")


def run(args: argparse.Namespace) -> Answer:
    from logger.commands import _map

    return _map.map_table(args)
