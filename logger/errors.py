"""Every error a person may meet, in one tree, so that one place can print it and pick the exit code.

Why it exists: a tool used beside a machine must say what happened (with the number), what was allowed and what to do
next; a traceback says none of that. It prevents the mistake of deciding exit codes and wording in twenty places.

::

    TruestrokeError            exit 1   could not
    ├── NotAllowed             exit 2   asked for something impossible: arguments, a bolt that does not exist
    │   └── BadFile            exit 2   a file that cannot be used: YAML, recording, journal; lists every fault at once
    ├── PortError              exit 1   no such port, busy, no permission: it never opened
    ├── InstrumentLost         exit 3   it was there and went away, and did not come back in time
    ├── InstrumentSaysNo       exit 1   it answered, and the answer is that it cannot
    ├── NotUnderstood          exit 1   bytes arrive, but no reading can be made of them
    └── CannotSave             exit 1   the disk is full or the folder is not writable
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass


class TruestrokeError(Exception):
    """Base of all errors shown to people: one sentence of what happened, one of what to do next.

    ``what`` says what happened with its number and what was allowed; ``todo`` says what to do next.
    """

    exit_code = 1

    def __init__(self, what: str, todo: str = "") -> None:
        super().__init__(f"{what} {todo}".strip())
        self.what = what
        self.todo = todo


class NotAllowed(TruestrokeError):
    """The person asked for something that cannot be: wrong arguments, a bolt that does not exist."""

    exit_code = 2


@dataclass(frozen=True, slots=True)
class Fault:
    """One thing wrong in a file: where (line, dotted key), what was found, what is allowed."""

    line: int | None
    key: str
    found: str
    allowed: str

    def __str__(self) -> str:
        place = f"line {self.line}, " if self.line is not None else ""
        return f"{place}{self.key}: found {self.found}; allowed: {self.allowed}"


class BadFile(NotAllowed):
    """A file that cannot be used. Carries every fault found, not only the first."""

    def __init__(self, what: str, todo: str = "", faults: Sequence[Fault] = ()) -> None:
        super().__init__(what, todo)
        self.faults = tuple(faults)


class PortError(TruestrokeError):
    """The port never opened: no such port, busy, no permission."""


class InstrumentLost(TruestrokeError):
    """The instrument was there and went away, and did not come back in the time allowed."""

    exit_code = 3


class InstrumentSaysNo(TruestrokeError):
    """The instrument answered, and the answer is that it cannot."""


class NotUnderstood(TruestrokeError):
    """Bytes arrive, but no reading can be made of them (wrong speed, wrong instrument file)."""


class CannotSave(TruestrokeError):
    """The disk is full or the folder is not writable."""
