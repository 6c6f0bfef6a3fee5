"""``truestroke listen PORT``: readings as they come.

Why it exists: before a sweep one wants to see that the instrument speaks, and that lifting its tip moves the number the
right way. Nothing is recorded, nothing is sent unless the instrument has to be asked for each reading.
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
        "listen",
        "Shows what an instrument says, as it says it, with its own sign and zero. Records nothing. Without\n"
        "--instrument it listens first and names the instrument file that explains what arrives.\n"
        "Opening a port may reset the device behind it. Ends with Ctrl-C, Enter or --until.",
        "  truestroke listen /dev/ttyUSB0 --instrument indicator-line\n"
        "  truestroke listen socket://127.0.0.1:5000 --until 10 --json",
    )
    parser.add_argument("port", metavar="PORT", help="a device name or a URL such as socket://127.0.0.1:5000")
    parser.add_argument(
        "--instrument", metavar="I", help="a name from the instruments folder, or a path to a YAML file"
    )
    parser.add_argument(
        "--until", metavar="END", help="closed (the far end closes the line) or a number of seconds; default: Ctrl-C"
    )


def run(args: argparse.Namespace) -> Answer:
    from logger.commands import _live

    return _live.listen(args)
