"""The only printing: everything that leaves the program as text goes through one object, escaped.

Why it exists: bytes from a wire or a file must not drive somebody's terminal, a progress bar must not end up in an
answer, and a script that asked for JSON must get one line of it and nothing else. ``logger.cli`` alone makes one.

Only cheap modules are imported at the top: ``truestroke --help`` must not wait for numpy.
"""

from __future__ import annotations

import os
import sys

TYPE_CHECKING = False
if TYPE_CHECKING:
    from contextlib import AbstractContextManager
    from types import TracebackType
    from typing import TextIO

    from logger.commands import Answer
    from logger.errors import TruestrokeError

COMPUTING = frozenset(
    ("spots", "bolts", "turned", "board", "take", "report", "history", "export", "import", "verify", "fit", "load")
)
"""Commands that compute and then answer: a person is told that they are at work."""


class Console:
    """Everything that leaves the program as text: answers on ``out``, the rest on ``err``, all of it escaped."""

    def __init__(self, out: TextIO, err: TextIO) -> None:
        self.out = out
        self.err = err
        self.plain = False
        self.json_only = False
        self._progress = ""
        self._used = False

    def patience(self, command: str) -> AbstractContextManager[object]:
        """Say once a second that a computing command is at work, until it says something itself or is over."""
        from contextlib import nullcontext

        if command not in COMPUTING or self.json_only or not is_terminal(self.err):
            return nullcontext()
        from logger.commands._progress import Patience

        self._used = False
        return Patience(lambda seconds: self._wait(f"{command}: at work, {seconds} s"))

    def _wait(self, line: str) -> bool:
        """A line of patience; False where the command has spoken and needs none."""
        if not self._used:
            self._show(line)
        return not self._used

    def configure(self, *, plain: bool, json_only: bool) -> None:
        self.plain = plain or not is_terminal(self.out) or not speaks_unicode(self.out)
        self.json_only = json_only

    @property
    def interactive(self) -> bool:
        return not self.json_only and is_terminal(sys.stdin) and is_terminal(self.err)

    @property
    def live_lines(self) -> bool:
        return not self.json_only

    def can_draw(self) -> bool:
        """Whether a full screen can be drawn: the screen library itself does not refuse, so we ask."""
        dumb = os.environ.get("TERM", "") in ("dumb", "") and os.name != "nt"
        return not dumb and is_terminal(sys.stdin) and is_terminal(sys.__stderr__)

    def answer(self, answer: Answer) -> None:
        if self.json_only:
            import json

            # allow_nan=False: "NaN" is no JSON, and a script must not meet it.
            self._put(self.out, json.dumps(answer.json, allow_nan=False))
        else:
            for line in answer.lines:
                self.write(line)
        self.out.flush()

    def write(self, line: str) -> None:
        if not self.json_only:
            self.end_progress()
            self._tell(self.out, line)
            self.out.flush()

    def note(self, line: str) -> None:
        self.end_progress()
        self._tell(self.err, line)

    def progress(self, line: str) -> None:
        if self.json_only or not is_terminal(self.err):
            return
        self._used = True
        self._show(line)

    def _show(self, line: str) -> None:
        text = self._safe(self.err, line)[: width(self.err)]
        if text == self._progress:
            return  # a slow line is not told twice what it shows already
        self.err.write("\r" + text.ljust(len(self._progress)))
        self.err.flush()
        self._progress = text

    def end_progress(self) -> None:
        self._used = True
        if self._progress:
            self._progress = ""
            self.err.write("\n")

    def ask(self, question: str) -> str:
        self._used = True
        if not self.interactive:
            return ""
        self.end_progress()
        self.err.write(self._safe(self.err, question) + " ")
        self.err.flush()
        return sys.stdin.readline().strip()

    def failed(self, error: TruestrokeError) -> int:
        """Say what happened and what to do next; every fault of a bad file on a line of its own."""
        self.note(f"truestroke: {error}")
        for fault in getattr(error, "faults", ()):
            self.note(f"  {fault}")
        return error.exit_code

    def let_go(self) -> None:
        """Nobody reads standard output any more: point it away, so that Python's last flush is quiet too."""
        devnull = os.open(os.devnull, os.O_WRONLY)
        os.dup2(devnull, self.out.fileno())
        os.close(devnull)

    def unforeseen(self, kind: type[BaseException], error: BaseException, trace: TracebackType | None) -> None:
        """For what no module foresaw (``sys.excepthook``): the details to a file, one sentence to the person."""
        import traceback

        text = "".join(traceback.format_exception(kind, error, trace))
        self.note(
            f"truestroke: This is a fault in truestroke itself ({kind.__name__}: {error}). "
            f"Everything that was received is on disk; the details for its makers are in {_keep_details(text)}."
        )

    def _tell(self, stream: TextIO, line: str) -> None:
        """A line for a person: on a terminal folded between words; in a pipe one line stays one line."""
        text = self._safe(stream, line)
        for part in folded(text, width(stream)) if is_terminal(stream) else [text]:
            stream.write(part + "\n")

    def _put(self, stream: TextIO, line: str) -> None:
        stream.write(self._safe(stream, line) + "\n")

    def _safe(self, stream: TextIO, line: str) -> str:
        from logger.wording import in_ascii, printable

        line = printable(line)
        if self.plain or not speaks_unicode(stream):
            line = in_ascii(line)
        encoding = stream.encoding or "utf-8"
        return line.encode(encoding, "backslashreplace").decode(encoding)


def folded(line: str, columns: int) -> list[str]:
    """``line`` in parts of at most ``columns``, broken between words, the later ones set in by two more.

    A command stays whole: somebody will copy it.
    """
    if len(line) <= columns or line.lstrip().startswith("truestroke "):
        return [line]
    from textwrap import wrap

    lead = line[: len(line) - len(line.lstrip())]
    return wrap(line, columns, subsequent_indent=lead + "  ", break_long_words=False, break_on_hyphens=False)


def _keep_details(text: str) -> str:
    import tempfile

    with tempfile.NamedTemporaryFile(
        "w", prefix="truestroke-fault-", suffix=".txt", delete=False, encoding="utf-8", errors="backslashreplace"
    ) as file:
        file.write(text)
    return file.name


def is_terminal(stream: TextIO | None) -> bool:
    return stream is not None and not stream.closed and stream.isatty()


def speaks_unicode(stream: TextIO) -> bool:
    return (stream.encoding or "").lower().replace("-", "").startswith("utf")


def width(stream: TextIO) -> int:
    """Columns that can be written without wrapping; a terminal that says 0 (some lines do) is taken for 80 wide."""
    try:
        columns = os.get_terminal_size(stream.fileno()).columns
    except (OSError, ValueError):
        columns = 0
    return (columns or 80) - 1
