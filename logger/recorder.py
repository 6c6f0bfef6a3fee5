"""The parent's handle of the reading process: start it, see what it sees, mark, stop.

Why it exists: the screen and the command line want readings as they come and a key that marks *now*, and must not be
able to delay or break the recording. The mistakes prevented: blocking the screen on a pipe, stamping a mark when the
child got round to it, and a Ctrl-C that reaches the process which is recording.
"""

from __future__ import annotations

import contextlib
import marshal
import os
import pickle
import subprocess
import sys
import tempfile
import threading
from collections import deque
from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path
from types import TracebackType
from typing import IO, TYPE_CHECKING, Any, Literal, Self

from logger.clock import now_ns
from logger.decode.escaped import show_bytes
from logger.errors import PortError, TruestrokeError
from logger.link import frames
from logger.link.ending import EndRules
from logger.link.reader import ReaderSpec
from logger.port import Link
from logger.readings import Ended, LinkBack, LinkLost, Reading, Record
from logger.record.writing import Description

if TYPE_CHECKING:
    from logger.instruments import Instrument
    from logger.machines import Machine

State = Literal["opening", "receiving", "quiet", "lost", "ended"]

QUIET_NS = 1_500_000_000
MOST_KEPT = 200_000
"""Records kept for a caller that does not drain; the oldest go first. The recording has them all."""
OPENING_S = 15.0
_PARITY = {"none": "N", "even": "E", "odd": "O"}


@dataclass(frozen=True)
class RecorderSpec:
    """What to record, from where, until when.

    ``folder`` None only passes on. ``until`` is ``closed`` (the far end closing is the normal end), ``still``, a number
    of seconds, or None: until stopped, or one second after ``marks_expected`` marks.
    """

    port: str
    instrument: Instrument
    folder: Path | None = None
    until: Literal["closed", "still"] | float | None = None
    marks_expected: int | None = None
    set_up: str = ""
    passes: int = 0
    stations_mm: tuple[float, ...] = ()
    kind: Literal["sweep", "live"] = "sweep"
    machine: Machine | None = None
    instrument_name: str = ""
    give_up_s: float = 30.0
    extra: dict[str, Any] = field(default_factory=dict)
    """Whatever else the descriptor shall carry, as JSON values."""

    def for_reader(self) -> ReaderSpec:
        """The same in plain values, for the process that reads."""
        instrument, until = self.instrument, self.until
        seconds = float(until) if isinstance(until, int | float) else None
        step = instrument.resolution or instrument.resolution_mm or 0.001
        counts = abs(instrument.counts_per_mm) if instrument.counts_per_mm else 1.0
        description = Description(
            kind=self.kind,
            set_up=self.set_up,
            passes=self.passes,
            stations_mm=tuple(self.stations_mm),
            port=self.port,
            until="" if until is None else str(until),
            instrument=instrument.source_text,
            instrument_name=self.instrument_name or instrument.name,
            machine=self.machine.source_text if self.machine is not None else "",
            unit=instrument.unit,
            clock=getattr(instrument, "clock", "host"),
            resolution=instrument.step,
            extra=self.extra,
        )
        return ReaderSpec(
            port=self.port,
            link=_link(instrument),
            frame=instrument.frame_spec(),
            folder=self.folder,
            description=description,
            rules=EndRules(
                until=until if isinstance(until, str) else "",
                seconds=seconds,
                marks=self.marks_expected if until is None else None,
                give_up_s=self.give_up_s,
                step=step,
                position_step=0.25 * counts,
                goes_on_alone=self.folder is not None and self.kind == "sweep",
            ),
            requests=instrument.requests,
            poll_interval_s=instrument.poll_interval_s,
        )


def _link(instrument: Instrument) -> Link:
    link = instrument.link
    return Link(link.baud, link.bits, _PARITY[link.parity], link.stop, link.flow, link.dtr, link.rts)


class Recorder:
    """A running recording, seen from the screen's process. Nothing here blocks but :meth:`start` and :meth:`wait`."""

    def __init__(self) -> None:
        self._complaints = tempfile.TemporaryFile()  # noqa: SIM115 - closed in close()
        self._process = _launch(self._complaints)
        self._records: deque[list[Record]] = deque()
        self._kept = 0
        self._lock = threading.Lock()
        self._opened = threading.Event()
        self._over = threading.Event()
        self._ended: Ended | None = None
        self._heard_ns = 0
        self._lost = False
        self._stopping = False
        self.error: TruestrokeError | None = None
        """Why the port never opened or the folder could not be made; what ``start`` raises."""
        self.started_ns = 0
        """The recording's beginning on this computer's monotonic clock; 0 until it began."""
        self.started_utc = ""
        self.readings = 0
        self.marks = 0
        self.garbage = 0
        self.gaps = 0
        self.latest: Reading | None = None
        self._listener = threading.Thread(target=self._listen, name="reports", daemon=True)
        self._listener.start()

    @classmethod
    def start(cls, spec: RecorderSpec, *, wait_open: bool = True) -> Recorder:
        """Start the reading process, which opens the port. Raises what kept the port or the folder from opening;
        with ``wait_open=False`` returns at once, ``state`` is ``opening``, and ``error`` tells it later."""
        recorder = cls()
        recorder._send(pickle.dumps(spec.for_reader()))
        if wait_open:
            recorder.wait_until_open()
        return recorder

    def wait_until_open(self, timeout_s: float = OPENING_S) -> None:
        """Raises :class:`PortError` and its kin where the recording did not begin."""
        if not self._opened.wait(timeout_s):
            self._process.kill()
            self.close()
            raise PortError(f"The port did not open within {timeout_s:g} s.", "Unplug it, plug it in, try again.")
        if self.error is not None:
            self._over.wait(timeout_s)
            self.close()
            raise self.error

    # -- what came

    @property
    def state(self) -> State:
        if self._over.is_set():
            return "ended"
        if not self._opened.is_set():
            return "opening"
        if self._lost:
            return "lost"
        return "receiving" if self._heard_ns and now_ns() - self._heard_ns < QUIET_NS else "quiet"

    @property
    def pid(self) -> int:
        """The reading process."""
        return self._process.pid

    @property
    def ended(self) -> Ended | None:
        return self._ended

    def drain(self) -> list[Record]:
        """Everything since the last call, oldest first; never blocks."""
        with self._lock:
            batches, self._records, self._kept = self._records, deque(), 0
        return [record for batch in batches for record in batch]

    # -- what to do

    def mark(self, moment_ns: int | None = None) -> None:
        """A position mark, now (or at a moment of the monotonic clock): the stamp is taken here, whenever the reading
        process gets to it."""
        self._command("mark", now_ns() if moment_ns is None else moment_ns)

    def take_back(self, moment_ns: int | None = None) -> None:
        """The newest mark was a slip: it stays on the record, and so does this, and it counts no more."""
        self._command("take back", now_ns() if moment_ns is None else moment_ns)

    def note_gap(self) -> None:
        """The operator says that what comes now is no reading (a hand on the indicator, a snag)."""
        self._command("gap", now_ns())

    def stop(self, how: str = "operator") -> None:
        """Ask for the end; :meth:`wait` tells when it has come."""
        self._stopping = True
        self._command("stop", how)

    def wait(self, timeout_s: float) -> Ended | None:
        """How it ended, once everything is on disk; None where it goes on."""
        if not self._over.wait(timeout_s):
            return None
        return self._ended

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()

    def close(self, timeout_s: float = 10.0) -> None:
        """End it if it goes on, and let the process go. One that does not obey is killed: its bytes are on disk."""
        if not self._over.is_set():
            self.stop()
            if self.wait(timeout_s) is None:
                self._process.kill()
        self._listener.join(timeout_s)
        for pipe in (self._process.stdin, self._process.stdout):
            if pipe is not None:
                with contextlib.suppress(OSError):
                    pipe.close()
        self._process.wait(timeout_s)
        self._complaints.close()

    # -- the pipes

    def _command(self, command: str, argument: Any) -> None:
        self._send(marshal.dumps((command, argument)))

    def _send(self, data: bytes) -> None:
        pipe = self._process.stdin
        if pipe is None or pipe.closed:
            return
        with contextlib.suppress(OSError):  # the process has ended; the listener says how
            frames.send(pipe.fileno(), data)

    def _listen(self) -> None:
        pipe = self._process.stdout
        if pipe is None:
            return
        incoming = frames.Incoming(pipe.fileno())
        while (frame := incoming.next_frame()) is not None:
            self._hear(marshal.loads(frame))
        code = self._process.wait()
        if self._ended is None:
            self._ended = Ended(0, "interrupted", "" if self.error else _died(code, self._last_complaint()))
            self._keep([self._ended])
        self._opened.set()
        self._over.set()

    def _hear(self, message: tuple[Any, ...]) -> None:
        kind = message[0]
        if kind == "batch":
            _, _, (self.readings, self.marks, self.garbage, self.gaps), packed = message
            self._heard_ns = now_ns()
            self._take(frames.unpack(packed))
        elif kind == "opened":
            _, self.started_ns, self.started_utc = message
            self._opened.set()
        else:
            _, code, what, todo = message
            self.error = frames.ERRORS[code](what, todo)
            self._opened.set()

    def _take(self, records: Sequence[Record]) -> None:
        for record in records:
            if type(record) is Reading:
                self.latest = record
            elif isinstance(record, LinkLost):
                self._lost = True
            elif isinstance(record, LinkBack):
                self._lost = False
            elif isinstance(record, Ended):
                self._ended = record
        self._keep(list(records))

    def _last_complaint(self) -> str:
        """The last line the process wrote about itself: in a file, because the screen's stderr is the screen."""
        size = self._complaints.seek(0, os.SEEK_END)
        self._complaints.seek(max(0, size - 2000))
        lines = self._complaints.read().splitlines()
        return show_bytes(lines[-1], 200) if lines else ""

    def _keep(self, records: list[Record]) -> None:
        with self._lock:
            self._records.append(records)
            self._kept += len(records)
            while self._kept > MOST_KEPT and len(self._records) > 1:
                self._kept -= len(self._records.popleft())


def _died(code: int, complaint: str) -> str:
    how = f"signal {-code}" if code < 0 else f"exit code {code}" + (f", {complaint}" if complaint else "")
    return f"The reading process died ({how}); everything that arrived before is on disk."


def _launch(complaints: IO[bytes]) -> subprocess.Popen[bytes]:
    """The reading process: the same Python, the same places to import from, a session of its own so that neither
    Ctrl-C nor a closed terminal reaches it."""
    places = [os.path.abspath(place) for place in sys.path]  # noqa: PTH100 - "" is the current folder here
    code = f"import sys; sys.path[:] = {places!r}; from logger.link.reader import main; main()"
    windows_only: dict[str, Any] = {}
    if sys.platform == "win32":
        windows_only["creationflags"] = subprocess.CREATE_NEW_PROCESS_GROUP | subprocess.CREATE_NO_WINDOW
    return subprocess.Popen(
        [sys.executable, "-S", "-c", code],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        stderr=complaints,
        start_new_session=True,
        bufsize=0,
        **windows_only,
    )
