"""``truestroke take``: readings typed in for one check, and what they say.

Why it exists: a bubble, a dial, calipers and feelers have no plug. What they show deserves the same care as what
streams: a unit, an uncertainty, a verdict, a place in the journal, and the screw to move instead of an error.
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
        "take",
        "Without readings: what the check needs, its cautions, a drawing, how to set up, the keys to type. With them:\n"
        "the result, the verdict and the correction; it goes into the journal. A bare number is in the unit the key\n"
        "says (mm, mm/m, degrees); others are written out: 0.004in, 4thou, 20arcsec. allowed=0..0.1 with\n"
        "origin='maker's manual' sets your own limit; adjusted=yes records that the thing was corrected (part=0.5: by\n"
        "half of what was said). direction=yes: the tip was lifted, and the number moved as said; skip=yes\n"
        "leaves a check out (a machine without a scoring blade) and says what that costs; skip=no takes it up again.",
        "  truestroke take toe\n"
        "  truestroke take toe front=0.10,0.11 rear=0.08,0.10 span=240\n"
        "  truestroke take sag x=0,300,600,900 gap=..0.05,0.10..0.15,0.10..0.15,..0.05 strut=450 pitch=1.5\n"
        "  truestroke take final state=compare\n"
        "  truestroke take fence cuts=five fence_end=25.12 far_end=25.00 length=600 fence=behind screw=1500 pitch=1",
    )
    parser.add_argument("check", metavar="CHECK", help="a check of 'truestroke board', as toe")
    parser.add_argument("readings", metavar="KEY=VALUE", nargs="*", help="readings, as span=240 or front=0.10,0.11")
    parser.add_argument(
        "--port", metavar="P", help="let readings stream while arbor, flange or blade is turned by hand"
    )
    parser.add_argument("--instrument", metavar="I", help="with --port: a name or a path to a YAML file")
    parser.add_argument("--until", metavar="END", help="with --port: closed, or seconds; default: Enter")


def run(args: argparse.Namespace) -> Answer:
    from logger.commands import _checks

    return _checks.take(args)
