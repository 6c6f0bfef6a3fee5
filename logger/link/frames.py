"""What travels between the screen's process and the reading process, and how.

Why it exists: two pipes, one owner for their format. The reading process must never wait for a screen that is stuck or
dead, and the screen must never wait for a reading. The mistakes prevented: a full pipe that stops the recording, and a
class that has to be imported in one process because it exists in the other.

A frame is four bytes of length and a marshalled tuple of plain values (the first frame to the child is the pickled
:class:`~logger.link.reader.ReaderSpec`). The child sends from a thread of its own out of a bounded queue: when the
parent does not keep up, the oldest readings are left out of what is *shown*, never of what is recorded.
"""

from __future__ import annotations

import marshal
import os
import struct
import threading
from collections import deque
from collections.abc import Iterable, Sequence
from typing import Any

from logger.errors import CannotSave, NotAllowed, PortError, TruestrokeError
from logger.link.wire import Totals
from logger.readings import Ended, Gap, Garbage, Index, LinkBack, LinkLost, Mark, Reading, Record, TakenBack

_LENGTH = struct.Struct("<I")
LARGEST_FRAME = 64 * 1024 * 1024
MOST_WAITING = 256
"""Reports kept for a parent that does not read: about five seconds of batches."""

_CLASSES: tuple[type[Any], ...] = (Reading, Mark, Gap, Garbage, LinkLost, LinkBack, Ended, TakenBack, Index)
_CODES = {cls: code for code, cls in enumerate(_CLASSES)}
_FIELDS = {cls: tuple(cls.__dataclass_fields__) for cls in _CLASSES}
ERRORS: tuple[type[TruestrokeError], ...] = (PortError, CannotSave, NotAllowed)

Packed = tuple[Any, ...]


def pack(records: Iterable[Record]) -> list[Packed]:
    """Records as tuples of plain values: a code and the fields."""
    return [
        (0, record.t_ns, record.value, record.unit, record.channel, record.position)
        if type(record) is Reading
        else (_CODES[type(record)], *(getattr(record, name) for name in _FIELDS[type(record)]))
        for record in records
    ]


def unpack(packed: Sequence[Packed]) -> list[Record]:
    return [_CLASSES[code](*fields) for code, *fields in packed]


def send(fd: int, data: bytes) -> None:
    """One frame, whole. OSError when the other side is gone."""
    view = memoryview(_LENGTH.pack(len(data)) + data)
    while view:
        view = view[os.write(fd, view) :]


class Incoming:
    """Frames from a pipe, one at a time; blocks."""

    def __init__(self, fd: int) -> None:
        self._fd = fd
        self._data = b""

    def next_frame(self) -> bytes | None:
        """The next frame, or None when the other side is gone."""
        head = self._take(_LENGTH.size)
        if head is None:
            return None
        (length,) = _LENGTH.unpack(head)
        return self._take(length) if length <= LARGEST_FRAME else None

    def _take(self, count: int) -> bytes | None:
        parts = [self._data]
        have = len(self._data)
        while have < count:
            try:
                part = os.read(self._fd, 65_536)
            except OSError:
                return None
            if not part:
                return None
            parts.append(part)
            have += len(part)
        data = b"".join(parts)
        self._data = data[count:]
        return data[:count]


class ChildEnd:
    """The reading process's side: commands come in by one thread, reports go out by another."""

    def __init__(self, incoming: Incoming, out_fd: int) -> None:
        self._incoming = incoming
        self._out_fd = out_fd
        self._commands: deque[tuple[str, Any]] = deque()
        self._told = threading.Event()
        self._waiting: deque[Any] = deque()
        self._something = threading.Condition()
        self._closed = False
        self._broken = False
        self._left_out = 0
        self._sender = threading.Thread(target=self._send_all, name="report", daemon=True)
        self._sender.start()
        threading.Thread(target=self._listen, name="commands", daemon=True).start()

    # -- commands

    def commands(self) -> list[tuple[str, Any]]:
        """Everything asked since the last call."""
        taken = []
        while self._commands:
            taken.append(self._commands.popleft())
        self._told.clear()
        return taken

    def wait(self, timeout_s: float) -> None:
        """Until something is asked, or the time is over."""
        self._told.wait(timeout_s)

    def push(self, command: tuple[str, Any]) -> None:
        self._commands.append(command)
        self._told.set()

    def _listen(self) -> None:
        while (frame := self._incoming.next_frame()) is not None:
            self.push(marshal.loads(frame))
        self.push(("gone", None))

    # -- reports

    def report(self, records: Sequence[Record], totals: Totals, t_ns: int) -> None:
        counts = (totals.readings, totals.marks, totals.garbage, totals.gaps)
        self._report(("batch", t_ns, counts, pack(records)))

    def report_opened(self, monotonic_ns: int, utc: str) -> None:
        self._report(("opened", monotonic_ns, utc))

    def report_failed(self, error: TruestrokeError) -> None:
        code = next((code for code, cls in enumerate(ERRORS) if isinstance(error, cls)), 0)
        self._report(("failed", code, error.what, error.todo))

    def close(self, timeout_s: float = 5.0) -> None:
        """Wait until everything is handed over, but not for ever: the parent may be stuck."""
        with self._something:
            self._closed = True
            self._something.notify()
        self._sender.join(timeout_s)

    def _report(self, message: tuple[Any, ...]) -> None:
        if self._broken:
            return
        with self._something:
            if len(self._waiting) >= MOST_WAITING:
                self._drop_oldest_readings()
            self._waiting.append(message)
            self._something.notify()

    def _drop_oldest_readings(self) -> None:
        """Keep what is rare (marks, gaps, the link), leave out the oldest readings and garbage."""
        for index, message in enumerate(self._waiting):
            if message[0] == "batch" and any(item[0] in (0, 3) for item in message[3]):
                kept = [item for item in message[3] if item[0] not in (0, 3)]
                self._left_out += len(message[3]) - len(kept)
                if kept:
                    self._waiting[index] = (*message[:3], kept)
                else:
                    del self._waiting[index]
                return

    def _send_all(self) -> None:
        while True:
            with self._something:
                while not self._waiting and not self._closed:
                    self._something.wait()
                if not self._waiting:
                    return
                message = self._waiting.popleft()
            try:
                send(self._out_fd, marshal.dumps(message))
            except OSError:
                self._broken = True
                return
