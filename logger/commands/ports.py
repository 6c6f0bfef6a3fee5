"""``truestroke ports``: serial ports, and which instrument answers on them.

Why it exists: nobody knows which device name their cable got, nor the speed it wants. It prevents two opposite
mistakes: opening a port can reset the device behind it (many boards reset when a terminal raises DTR), so no port is
opened without being asked to; and a port in a workshop may drive a machine, so nothing is ever sent to one unless the
person agreed for that port.
"""

from __future__ import annotations

from logger.commands import Answer, new_parser

TYPE_CHECKING = False
if TYPE_CHECKING:
    import argparse
    from collections.abc import Callable
    from typing import Any

    from logger.commands import Subparsers

RESETS = "Opening a port may reset the device behind it."
LONGEST_LISTENING_S = 60.0


def add_parser(subparsers: Subparsers) -> None:
    parser = new_parser(
        subparsers,
        "ports",
        "Lists the serial ports of this computer. To find out which instrument speaks on one, the port is opened\n"
        "and listened to at the usual line settings until one instrument file explains what arrives. Nothing is\n"
        "sent, unless you agree for that port: an instrument that only answers when asked is then sent read-only\n"
        f"requests. {RESETS} In a terminal you are asked first;\n"
        "elsewhere name the port with --listen, or say --yes for all of them.",
        "  truestroke ports\n  truestroke ports --listen /dev/ttyUSB0 --may-ask /dev/ttyUSB0\n"
        "  truestroke ports --listen /dev/ttyUSB0 --save my-indicator.yaml\n  truestroke ports --yes --json",
    )
    parser.add_argument(
        "--listen", metavar="PORT", action="append", default=[], help="listen to this port (repeatable)"
    )
    parser.add_argument("--yes", action="store_true", help="listen to every port without asking")
    parser.add_argument(
        "--may-ask",
        metavar="PORT",
        action="append",
        default=[],
        help="where nothing arrives on this port, send it read-only requests: only where you know that it drives no "
        "machine (repeatable)",
    )
    parser.add_argument(
        "--seconds", type=float, default=2.0, metavar="S", help="the longest to listen at one speed (default: 2)"
    )
    parser.add_argument(
        "--save", metavar="FILE", help="write the instrument file that was found, with the settings it was heard at"
    )


def run(args: argparse.Namespace) -> Answer:
    from logger.errors import InstrumentLost, NotAllowed, PortError
    from logger.link.listening import heard, real_ways
    from logger.port import find_ports

    if not 0.1 <= args.seconds <= LONGEST_LISTENING_S:
        raise NotAllowed(f"--seconds {args.seconds:g} is not possible.", f"Allowed: 0.1 to {LONGEST_LISTENING_S:g}.")
    rows: dict[str, dict[str, Any]] = {
        found.name: {"port": found.name, "description": found.description, "listened": False} for found in find_ports()
    }
    failure: PortError | InstrumentLost | None = None
    for name in _chosen(args, list(rows)):
        row = rows.setdefault(name, {"port": name, "description": "", "listened": False})
        try:
            found = heard(name, args.seconds, _consent(args, name), real_ways(args.terminal.progress))
            row.update(found, listened=True)
        except (PortError, InstrumentLost) as error:
            row.update(says=str(error))
            failure = error
    lines = [line for row in rows.values() for line in _lines(row)]
    if args.save is not None:
        lines.append(_saved(args.save, rows))
    if not rows:
        lines = ["No serial port was found. Plug the instrument's cable in, or give a port's name or URL to --listen."]
    elif not any("says" in row for row in rows.values()):
        lines += ["", f"To hear which instrument speaks: truestroke ports --listen PORT. {RESETS}"]
    # Asked for one port by name, its failure is the command's; among several it is a line of the answer.
    return Answer({"ports": list(rows.values())}, lines, failure if len(args.listen) == 1 else None)


def _lines(row: dict[str, Any]) -> list[str]:
    said = [f"    {row['says']}"] if "says" in row else []
    if row.get("instrument"):
        said.append(
            f"    score {row['score']:.2f} ({row['readings']} read, {row['refused']} not), {row['seconds']:.1f} s"
        )
        own = row["instrument"] if row["own_settings"] else "my-instrument.yaml"
        if not row["own_settings"]:
            said.append(f"    next: truestroke ports --listen {row['port']} --save {own}")
        said.append(
            f"    {'next' if row['own_settings'] else 'then'}: truestroke listen {row['port']} --instrument {own}"
        )
    elif row.get("heard") == "silent" and not row.get("asked"):
        said.append(
            f"    If it must be asked, and drives no machine: truestroke ports --listen {row['port']} "
            f"--may-ask {row['port']}"
        )
    return [f"{row['port']}  {row['description']}".rstrip(), *said]


def _chosen(args: argparse.Namespace, found: list[str]) -> list[str]:
    if args.listen:
        return list(args.listen)
    if args.yes:
        return found
    if not found or not args.terminal.interactive:
        return list(args.may_ask)
    from logger.link.listening import longest_s

    args.terminal.note(f"{RESETS} Nothing is sent. Move the tip a little meanwhile.")
    longest = longest_s(args.seconds)
    answer = args.terminal.ask(
        f"Listen to {', '.join(found)}? Usually a second or two each, {longest:.0f} s at most. [y/N]"
    )
    return found if answer.lower() in ("y", "yes") else list(args.may_ask)


def _consent(args: argparse.Namespace, name: str) -> Callable[[], bool]:
    """Whether read-only requests may be sent to this port: said beforehand for this port by name, or asked now."""

    def may_ask() -> bool:
        if name in args.may_ask:
            return True
        if not args.terminal.interactive:
            return False
        args.terminal.note(f"Nothing arrives on {name}.")
        args.terminal.note("Some instruments only answer when they are asked. A port in a workshop may")
        args.terminal.note("drive a machine: agree only where you know that this one does not.")
        answer = args.terminal.ask(f"Send read-only requests to {name}? [y/N]")
        return bool(answer.lower() in ("y", "yes"))

    return may_ask


def _saved(target: str, rows: dict[str, dict[str, Any]]) -> str:
    """Write the one instrument that was found to a file of the person's own; an existing file stays as it is."""
    from pathlib import Path

    from logger.errors import CannotSave, NotAllowed
    from logger.instruments import load_instrument
    from logger.link.listening import with_settings

    found = [row for row in rows.values() if row.get("instrument")]
    if len(found) != 1:
        raise NotAllowed(f"--save needs one instrument; {len(found)} were found.", "Name one port with --listen.")
    text = with_settings(load_instrument(found[0]["instrument"]).source_text, found[0])
    try:
        with Path(target).open("x", encoding="utf-8", newline="\n") as file:
            file.write(text)
    except FileExistsError as error:
        raise NotAllowed(f"{target} is there already and stays as it is.", "Name another file.") from error
    except OSError as error:
        raise CannotSave(f"{target} could not be written: {error.strerror}.", "Name another place.") from error
    return f"saved: {target}; use it as --instrument {target}"
