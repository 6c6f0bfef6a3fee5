"""Readings as they come, for a person watching or a script counting: what listen, live, replay and sweep share.

Why it exists: a live instrument and a replayed sweep have the same read side, so one loop serves both. It prevents a
screenful of numbers per second (shown readings are thinned, recorded ones never), and a lost link that looks like a
number standing still.
"""

from __future__ import annotations

import sys
import time
from collections.abc import Callable, Iterator
from typing import TYPE_CHECKING, Protocol

from logger.decode.escaped import show_bytes
from logger.keyboard import Keyboard
from logger.readings import Ended, Gap, Garbage, LinkBack, LinkLost, Reading, Record

if TYPE_CHECKING:
    from logger.commands import Terminal
    from logger.link.together import Together
    from logger.recorder import Recorder

STEP_S = 0.05  #: how long the keyboard is waited for between two looks at the records
QUICK_S = 0.01  #: the same where a phone or a beep waits for them
SHOWN_PER_S = 10.0  #: readings shown per second on a terminal (common practice, no source)


class Source(Protocol):
    """The read side of a recorder and of a replay."""

    @property
    def state(self) -> str: ...
    def drain(self) -> list[Record]: ...


def records(source: Source, on_key: Callable[[str], None], step_s: float = STEP_S) -> Iterator[list[Record]]:
    """Batches of records until the source has ended; keys go to ``on_key`` between two batches."""
    with Keyboard(sys.stdin) as keys:
        while source.state != "ended":
            key = keys.wait(step_s)
            if key:
                on_key(key)
            yield source.drain()
        yield source.drain()


class Dirt:
    """What is said of bytes no reading could be made of: the first few of each kind, then how many more there were,
    once in a while. A line with a second talker would bury the readings; the recording has every one of them."""

    FIRST = 3
    EVERY_S = 2.0

    def __init__(self, clock: Callable[[], float] = time.monotonic) -> None:
        self._clock = clock
        self._count: dict[str, int] = {}
        self._why: dict[str, str] = {}
        self._said: dict[str, int] = {}
        self._next_s: dict[str, float] = {}

    def mostly(self) -> str:
        """The commonest reason, behind a colon; empty where there is none."""
        return f": {self._why[max(self._count, key=self._count.__getitem__)]}" if self._count else ""

    def __call__(self, record: Garbage) -> str | None:
        kind = "".join(char for char in record.why if not char.isdigit())  # "checksum 00 is not 0B" is one kind
        self._why[kind] = record.why
        now = self._clock()
        number = self._count[kind] = self._count.get(kind, 0) + 1
        if number > self.FIRST and now < self._next_s.get(kind, 0.0):
            return None
        left_out = number - 1 - self._said.get(kind, 0)
        self._said[kind], self._next_s[kind] = number, now + self.EVERY_S
        more = f" (and {left_out} more before it)" if left_out else ""
        return f"{record.t_ns / 1e9:9.3f} s  not understood ({record.why}): {show_bytes(record.raw)}{more}"


class Thinner:
    """Lets through at most ``per_s`` readings a second of the person's own time; 0 lets through all."""

    def __init__(self, per_s: float, clock: Callable[[], float] = time.monotonic) -> None:
        self._every_s = 1 / per_s if per_s else 0.0
        self._clock = clock
        self._next_s = -1.0

    def __call__(self) -> bool:
        now = self._clock()
        if self._every_s and now < self._next_s:
            return False
        self._next_s = now + self._every_s
        return True


def happened(record: Record) -> str | None:
    """What a record other than a reading, a mark or dirt means, as one line; None where it says nothing to a person."""
    seconds = record.t_ns / 1e9
    if isinstance(record, Gap) and record.reason not in ("no value", "link lost"):
        lasted = (record.until_ns - record.t_ns) / 1e9
        return f"{seconds:9.3f} s  gap: {record.reason}" + (f", {lasted:.3f} s" if lasted else "")
    if isinstance(record, LinkLost):
        return f"{seconds:9.3f} s  ╱ link lost: {record.why}"
    if isinstance(record, LinkBack):
        return f"{seconds:9.3f} s  link back on {record.port}"
    if isinstance(record, Ended):
        return record.message or None
    return None


def no_value_line(gap: Gap) -> str:
    """A line in which the instrument says that it has no reading."""
    where = "" if gap.position is None else f"  position {gap.position:g}"
    return f"{gap.t_ns / 1e9:9.3f} s  no reading, says the instrument{where}"


def reading_line(reading: Reading, text: str) -> str:
    """A reading as one line: time, what it shows, position and channel where it has them."""
    where = "" if reading.position is None else f"  position {reading.position:g}"
    channel = f"  {reading.channel}" if reading.channel else ""
    return f"{reading.t_ns / 1e9:9.3f} s  {text}{where}{channel}"


def to_the_end(
    recorder: Recorder | Together, terminal: Terminal, on_key: Callable[[str], None], after: Callable[[], object]
) -> Ended:
    """Follow a recording until it is over, saying what becomes of its link; ``after`` is called after every batch."""
    last: Ended | None = None
    for batch in records(recorder, on_key):
        for record in batch:
            if isinstance(record, LinkLost):
                terminal.note(f"╱ Link lost: {record.why.rstrip('.')}. Waiting for it to come back.")
            elif isinstance(record, LinkBack):
                terminal.note(f"Link back on {record.port}; the gap is recorded.")
            elif isinstance(record, Ended):
                last = record
        after()
    return last or recorder.wait(5.0) or Ended(0, "interrupted", "The reading process ended without a word.")
