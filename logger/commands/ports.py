"""``truestroke ports``: serial ports, and which instrument answers on them.

Why it exists: nobody knows which device name their cable got. It prevents the opposite mistake too: opening a port can
reset the device behind it (many boards reset when a terminal raises DTR), so no port is opened without being asked to.
"""

from __future__ import annotations

from logger.commands import Answer, new_parser

TYPE_CHECKING = False
if TYPE_CHECKING:
    import argparse
    from typing import Any

    from logger.commands import Subparsers

RESETS = "Opening a port may reset the device behind it."


def add_parser(subparsers: Subparsers) -> None:
    parser = new_parser(
        subparsers,
        "ports",
        "Lists the serial ports of this computer. To find out which instrument speaks on one, the port is opened\n"
        f"and listened to; nothing is sent. {RESETS} In a terminal you are asked first;\n"
        "elsewhere name the port with --listen, or say --yes for all of them.",
        "  truestroke ports\n  truestroke ports --listen /dev/ttyUSB0\n  truestroke ports --yes --json",
    )
    parser.add_argument(
        "--listen", metavar="PORT", action="append", default=[], help="listen to this port (repeatable)"
    )
    parser.add_argument("--yes", action="store_true", help="listen to every port without asking")
    parser.add_argument(
        "--seconds", type=float, default=2.0, metavar="S", help="how long to listen to each port (default: 2)"
    )


def run(args: argparse.Namespace) -> Answer:
    from logger.errors import InstrumentLost, PortError
    from logger.listening import heard
    from logger.port import find_ports

    rows: dict[str, dict[str, Any]] = {
        found.name: {"port": found.name, "description": found.description, "listened": False} for found in find_ports()
    }
    failure: PortError | InstrumentLost | None = None
    for name in _chosen(args, list(rows)):
        row = rows.setdefault(name, {"port": name, "description": "", "listened": False})
        try:
            row.update(heard(name, args.seconds), listened=True)
        except (PortError, InstrumentLost) as error:
            row.update(says=str(error))
            failure = error
    lines = [line for row in rows.values() for line in _lines(row)]
    if not rows:
        lines = ["No serial port was found. Plug the instrument's cable in, or give a port's name or URL to --listen."]
    elif not any("says" in row for row in rows.values()):
        lines += ["", f"To hear which instrument speaks: truestroke ports --listen PORT. {RESETS}"]
    # Asked for one port by name, its failure is the command's; among several it is a line of the answer.
    return Answer({"ports": list(rows.values())}, lines, failure if len(args.listen) == 1 else None)


def _lines(row: dict[str, Any]) -> list[str]:
    said = [f"    {row['says']}"] if "says" in row else []
    return [f"{row['port']}  {row['description']}".rstrip(), *said]


def _chosen(args: argparse.Namespace, found: list[str]) -> list[str]:
    if args.listen:
        return list(args.listen)
    if args.yes:
        return found
    if not found or not args.terminal.interactive:
        return []
    args.terminal.note(RESETS)
    answer = args.terminal.ask(f"Listen to {', '.join(found)}, a few seconds each? [y/N]")
    return found if answer.lower() in ("y", "yes") else []
