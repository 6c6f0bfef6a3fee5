"""One small module per command: arguments in, an :class:`Answer` out.

Why it exists: a command that printed by itself would sooner or later print something else beside its JSON. Here a
command only says what it found; ``logger.cli`` alone writes to the terminal and picks the exit code. Every command
module has ``add_parser(subparsers)`` and ``run(args) -> Answer``; ``args.terminal`` is the person, for the few things
that cannot wait for the answer (a question, progress, readings as they come).

A command's module is loaded only when the command is named, and what costs time (numpy, scipy, pyserial, pydantic,
textual) is imported inside ``run``: ``truestroke --help`` must not wait for any of it.
"""

from __future__ import annotations

TYPE_CHECKING = False  # typing itself would cost a tenth of the start-up
if TYPE_CHECKING:
    import argparse
    from collections.abc import Iterable
    from typing import Any, Protocol

    from logger.errors import TruestrokeError

    Subparsers = argparse._SubParsersAction[Any]

    class Command(Protocol):
        """What a command module offers."""

        def add_parser(self, subparsers: Subparsers) -> object: ...

        def run(self, args: argparse.Namespace) -> Answer: ...

    class Terminal(Protocol):
        """The person at the other end, if there is one. Everything handed over is escaped before it is shown."""

        interactive: bool  #: someone can be asked: standard input and error are a terminal, and not ``--json``
        plain: bool  #: ASCII only
        live_lines: bool  #: lines may be written while the command runs (not ``--json``)

        def can_draw(self) -> bool:
            """Whether the full screen can be opened here."""

        def write(self, line: str) -> None:
            """One line of the answer, now: for what comes bit by bit (live readings). Nothing with ``--json``."""

        def note(self, line: str) -> None:
            """One line beside the answer, on standard error."""

        def progress(self, line: str) -> None:
            """The same line of standard error again and again; nothing where standard error is no terminal."""

        def ask(self, question: str) -> str:
            """The answer in one line, stripped; empty where nobody can be asked."""


#: Names and summaries in the order of work: the order of ``truestroke --help`` and of the README. They stand here so
#: that listing them loads no command.
COMMANDS = {
    "demo": "the whole job on an invented machine, over a real serial path",
    "new": "a job folder with a commented machine.yaml",
    "ports": "serial ports and which instrument answers",
    "listen": "readings as they come",
    "instrument": "what an instrument is good for today: noise, drift, repeatability; a level's zero",
    "sweep": "record the carriage being pushed through its stroke",
    "live": "the height now, and what is still to go",
    "replay": "play a recorded sweep again",
    "fit": "play and roundness of the carriage on its rail, before any bolt",
    "load": "what a known mass or a panel moves: stiffness before any bolt",
    "seats": "which feet of the rail carry where it only rests, before any bolt",
    "map": "the table's own flatness along a line, to be subtracted",
    "spots": "profile, straightness, high and low spots, verdict",
    "bolts": "which bolt, how far, and what the indicator must show",
    "turned": "record what was really turned",
    "board": "every check of the alignment, and the next sensible one",
    "take": "readings typed in for one check: its result, and what to move",
    "note": "a remark or the shop's temperature, into the journal",
    "report": "the whole job as one HTML file, to hand over and to print",
    "history": "the job over months: creeping, seasons, what moved since the last good state",
    "import": "a CSV from elsewhere, its columns named by you, as a sweep of this job",
    "export": "copy recordings out, as CSV with a Data Package descriptor",
    "completion": "what a shell needs to finish half-typed commands",
    "verify": "check recordings against their checksums",
}


class Answer:
    """What a command found: ``json`` for scripts, ``lines`` for people; the same facts twice.

    ``failure`` is set when something was found *and* something went wrong (a cable pulled in the middle of a sweep):
    the answer is given, then the failure is said and decides the exit code.
    """

    __slots__ = ("failure", "json", "lines")

    def __init__(self, json: dict[str, Any], lines: Iterable[str] = (), failure: TruestrokeError | None = None) -> None:
        self.json = json
        self.lines = lines
        self.failure = failure


def new_parser(subparsers: Subparsers, name: str, description: str, examples: str) -> argparse.ArgumentParser:
    """One command's parser: every command's help ends with an example that can be typed as it stands."""
    parser: argparse.ArgumentParser = subparsers.add_parser(
        name, help=COMMANDS[name], description=description, epilog=f"example:\n{examples}"
    )
    return parser
