"""``truestroke live``: the height now, and what is still to go.

Why it exists: a bolt is turned with the eyes on one number. In a terminal this opens the live bar; ``--plain`` or
without a terminal it writes one line per reading, for a screen reader, a slow line or a script.
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
        "live",
        "Shows the reading as a height with its state: the live bar in a terminal, lines with --plain or without one.\n"
        "With --bolt, lines of what is to go until the planned move of that bolt is right; with --target, until a\n"
        "height of your own. (On the screen, bolts are turned from the findings.)\n"
        "With --phone, a small read-only page with bar, number, target and bolt, on this computer only; with\n"
        "--network too, for phones on the local network. Its address is random, shown as text and QR code, and dies\n"
        "with the view. With --sound, beeps: low = too low, high = too high, faster = nearer, silence = inside; the\n"
        "key s turns them off and on.\n"
        "Opening a port may reset the device behind it. Ends with Ctrl-C, Enter or --until.",
        "  truestroke live --port /dev/ttyUSB0 --instrument indicator-line --set-up across --bolt B3\n"
        "  truestroke live --plain --port socket://127.0.0.1:5000 --instrument my.yaml --set-up across --target 0.1\n"
        "  truestroke live --port /dev/ttyUSB0 --instrument indicator-line --set-up across --bolt B3 --phone --network",
    )
    parser.add_argument("--port", metavar="P", required=True, help="a device name or a URL (socket://HOST:PORT)")
    parser.add_argument(
        "--instrument", metavar="I", required=True, help="a name from the instruments folder, or a path to a YAML file"
    )
    parser.add_argument("--set-up", metavar="S", help="a set-up of machine.yaml (may be left out if there is only one)")
    goal = parser.add_mutually_exclusive_group()
    goal.add_argument("--bolt", metavar="B", help="show what is to go for the planned move of this bolt")
    goal.add_argument(
        "--target", metavar="MM", type=float, help="show what is to go to this height (mm, or mm/m for a level)"
    )
    parser.add_argument("--phone", action="store_true", help="serve a read-only page for a phone, this computer only")
    parser.add_argument(
        "--network",
        metavar="ADDRESS",
        nargs="?",
        const="",
        help="with --phone: to the local network, on this computer's address (or the one given)",
    )
    parser.add_argument("--sound", action="store_true", help="beeps that say which way and how close")
    parser.add_argument("--until", metavar="END", help="closed, or a number of seconds; default: Ctrl-C or Enter")


def run(args: argparse.Namespace) -> Answer:
    from logger.commands import _live

    return _live.live(args)
