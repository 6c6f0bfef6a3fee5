"""Arguments to calls; the only place that prints and picks exit codes.

Why it exists: beside a machine nobody reads a traceback. Whatever goes wrong below arrives here as one exception tree
and leaves as one sentence of what happened, one of what to do next, and an exit code a script can trust: 0 done,
1 could not, 2 wrong arguments or file, 3 instrument lost, 130 interrupted. It prevents the mistake of every command
inventing its own way to fail, and of bytes from a wire or a file driving somebody's terminal: all that is printed goes
through :class:`Console`, which escapes it.

Only cheap modules are imported at the top: ``truestroke --help`` must not wait for numpy.
"""

from __future__ import annotations

import argparse
import os
import sys
from importlib import import_module

from logger import __version__
from logger.commands import COMMANDS
from logger.console import Console, width

TYPE_CHECKING = False
if TYPE_CHECKING:
    from collections.abc import Sequence
    from typing import Any, NoReturn

    from logger.commands import Answer, Command
    from logger.errors import TruestrokeError

INTERRUPTED = 130
COULD_NOT = 1

DESCRIPTION = """\
Get a sliding-carriage saw bench true, and keep it true: reads a digital indicator or
electronic level while the carriage is pushed through its stroke, finds the high and low
spots, and says which support bolt to turn, which way, how far, and what the indicator
must show when it is right. Without a command it opens the screen."""

EPILOG = """\
example:
  truestroke demo                       the whole job on an invented machine
  truestroke new my-saw                 a folder for your own machine

exit codes: 0 done, 1 could not, 2 wrong arguments or file, 3 instrument lost, 130 interrupted
Isolate and lock out power before hands go near blade or cutter."""


def main(argv: Sequence[str] | None = None) -> int:
    """Run one command line; returns the exit code. Prints everything that is to be printed."""
    console = Console(sys.stdout, sys.stderr)
    if argv is None:
        argv = sys.argv[1:]
        sys.excepthook = console.unforeseen
    try:
        return _run(list(argv), console)
    except KeyboardInterrupt:
        return _interrupted(console)
    except BrokenPipeError:
        console.let_go()  # whoever read our output has stopped reading: nothing to say, nobody to say it to
        return COULD_NOT
    except Exception as error:  # a Ctrl-C in other clothes is one all the same; everything else goes on up
        if not _was_interrupt(error):
            raise
        return _interrupted(console)
    finally:
        console.end_progress()


def _was_interrupt(error: Exception) -> bool:
    """Whether a Ctrl-C was made into another error: by Python 3.11 in the making of a class (RuntimeError, with it as
    the cause), or as a condition takes its lock again (RuntimeError, raised in dealing with it), by pydantic in
    the making of a validator (SchemaError, which only names it in its text).
    """
    named = type(error).__name__ == "SchemaError" and "KeyboardInterrupt" in str(error)
    relocking = isinstance(error, RuntimeError) and isinstance(error.__context__, KeyboardInterrupt)
    return isinstance(error.__cause__, KeyboardInterrupt) or named or relocking


def _interrupted(console: Console) -> int:
    console.note("truestroke: Interrupted. Whatever was recorded until now is kept.")
    return INTERRUPTED


def _run(arguments: list[str], console: Console) -> int:
    try:
        args = parse(arguments)
    except SystemExit as stop:  # --help or --version, printed; asked first, so that neither loads the errors
        return stop.code if isinstance(stop.code, int) else 0
    except _our_errors() as error:
        return console.failed(error)
    return _command(args, console)


def _our_errors() -> type[TruestrokeError]:
    from logger.errors import TruestrokeError

    return TruestrokeError


def _command(args: argparse.Namespace, console: Console) -> int:
    from logger.errors import TruestrokeError

    try:
        console.configure(plain=args.plain, json_only=args.json)
        if args.command is None:
            return _screen(args, console)
        args.terminal = console
        with console.patience(args.command):
            answer: Answer = args.run(args)
        console.answer(answer)
    except TruestrokeError as error:
        return console.failed(error)
    except OSError as error:
        if isinstance(error, BrokenPipeError):
            raise
        return console.failed(_from_system(error))
    if answer.failure is not None:
        return console.failed(answer.failure)
    return 0


def _from_system(error: OSError) -> TruestrokeError:
    """An operating system error that no module below has put into words of its own."""
    from logger.errors import TruestrokeError

    where = f"{os.fspath(error.filename)}: " if isinstance(error.filename, str) else ""
    return TruestrokeError(
        f"{where}{error.strerror or error}.", "Check that it exists and that you may read and write it, then try again."
    )


def _screen(args: argparse.Namespace, console: Console) -> int:
    from logger.errors import TruestrokeError

    if args.json or not console.can_draw():
        raise TruestrokeError(
            "The screen needs a terminal (standard input and error, and TERM not 'dumb'), and there is none here.",
            "Use a command instead: 'truestroke --help' lists them, 'truestroke live --plain' shows readings as lines.",
        )
    from logger import tui

    unnamed = args.job == COMMON_DEFAULTS["job"] and not os.access("machine.yaml", os.F_OK)
    return tui.run(None if unnamed else args.job, plain=args.plain, units=args.units)


# --- arguments -------------------------------------------------------------------------------------------------------


class Help(argparse.RawDescriptionHelpFormatter):
    """Help as wide as the terminal, at most 100. Finding the width ourselves saves importing ``shutil``."""

    def __init__(self, prog: str) -> None:
        super().__init__(prog, max_help_position=26, width=min(100, width(sys.stdout)))


class Parser(argparse.ArgumentParser):
    """An argument parser whose complaints are :class:`~logger.errors.NotAllowed`, and which takes no abbreviations."""

    def __init__(self, **settings: Any) -> None:
        settings.setdefault("formatter_class", Help)
        super().__init__(allow_abbrev=False, **settings)

    def error(self, message: str) -> NoReturn:
        from logger.errors import NotAllowed

        message = message.replace("argument -", "-")
        raise NotAllowed(f"{message[:1].upper()}{message[1:]}.", f"See '{self.prog} --help'.")


def build_parser(named: str | None = None) -> Parser:
    """The command line; the arguments of the command ``named`` only, the others with their summaries.

    Options common to all commands are taken before and after the command's name.
    """
    parser = Parser(
        prog="truestroke",
        description=DESCRIPTION,
        epilog=EPILOG,
    )
    parser.add_argument("--version", action="version", version=f"truestroke {__version__}")
    _add_common(parser)
    parser.set_defaults(command=None)
    commands = parser.add_subparsers(metavar="COMMAND", dest="command", parser_class=Parser, title="commands")
    for name, summary in COMMANDS.items():
        if name != named:
            commands.add_parser(name, help=summary)
            continue
        module = command_module(name)
        module.add_parser(commands)
        _add_common(commands.choices[name])
        commands.choices[name].set_defaults(run=module.run, parser=commands.choices[name])
    return parser


def command_module(name: str) -> Command:
    """The module of one command: what it offers is described in ``logger.commands``."""
    module: Any = import_module(f"logger.commands.{name}")
    command: Command = module
    return command


def _add_common(parser: argparse.ArgumentParser) -> None:
    # SUPPRESS: a default here would overwrite what was said before the command's name.
    group = parser.add_argument_group("common options")
    group.add_argument("--job", metavar="DIR", default=argparse.SUPPRESS, help="the job folder (default: here)")
    group.add_argument(
        "--units", choices=("mm", "in"), default=argparse.SUPPRESS, help="units of what is shown; JSON is always in mm"
    )
    group.add_argument(
        "--plain", action="store_true", default=argparse.SUPPRESS, help="lines of ASCII instead of screen and signs"
    )
    group.add_argument(
        "--json", action="store_true", default=argparse.SUPPRESS, help="one JSON object on standard output, no more"
    )


COMMON_DEFAULTS = {"job": ".", "units": "mm", "plain": False, "json": False}


def parse(arguments: Sequence[str]) -> argparse.Namespace:
    """Parse, or raise :class:`~logger.errors.NotAllowed` naming the nearest known command or option."""
    arguments = _join_negative_lists(list(arguments))
    args, rest = build_parser(_named_command(arguments)).parse_known_args(arguments)
    if rest:
        _refuse(rest[0], args)
    for name, value in COMMON_DEFAULTS.items():
        if not hasattr(args, name):
            setattr(args, name, value)
    return args


def _join_negative_lists(arguments: list[str]) -> list[str]:
    """``--marks -300,0`` becomes ``--marks=-300,0``: argparse takes a leading minus for an option."""
    joined: list[str] = []
    for argument in arguments:
        if joined and joined[-1] in ("--marks", "--at") and argument[:1] == "-" and argument[1:2] in _NUMBER_START:
            joined[-1] += f"={argument}"
        else:
            joined.append(argument)
    return joined


_NUMBER_START = frozenset("0123456789.")


def _named_command(arguments: Sequence[str]) -> str | None:
    """The command's name, or None. For one that does not exist name the nearest: argparse would only list them."""
    takes_value = False
    for argument in arguments:
        if takes_value or argument.startswith("-"):
            takes_value = not takes_value and argument in ("--job", "--units")
        elif argument in COMMANDS:
            return argument
        else:
            from logger.errors import NotAllowed
            from logger.wording import nearest

            raise NotAllowed(
                f"There is no command '{argument}'{nearest(argument, COMMANDS)}.",
                f"The commands are {', '.join(COMMANDS)}.",
            )
    return None


def _refuse(argument: str, args: argparse.Namespace) -> NoReturn:
    from logger.errors import NotAllowed
    from logger.wording import nearest

    parser: argparse.ArgumentParser = getattr(args, "parser", None) or build_parser()
    if not argument.startswith("-"):
        raise NotAllowed(f"'{argument}' is one argument too many.", f"See '{parser.prog} --help'.")
    options = [option for action in parser._actions for option in action.option_strings]
    word = argument.split("=", 1)[0]
    raise NotAllowed(f"There is no option '{word}'{nearest(word, options)}.", f"See '{parser.prog} --help'.")
