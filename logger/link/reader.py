"""The reading process: read, stamp, append to disk, decode, pass on. Started by :mod:`logger.recorder`.

Why it exists: a screen that draws thirty times a second delays everything else in its process by tens of
milliseconds, which is millimetres of carriage travel; and a screen may die. So reading has a process of its own, which
imports nothing heavy, ignores Ctrl-C, and goes on without its parent. The mistakes prevented: a late stamp, and a
recording that ends with the program that shows it.

The loop: wait for bytes, take what is there, stamp it; every ``BATCH_NS`` append the batch to ``wire.csv`` in one
write, then decode it, append the readings, and hand everything to the parent. Nothing here waits for the disk's fsync
or for the parent. Commands come in on stdin and reports go out on stdout (:mod:`logger.link.frames`).
"""

from __future__ import annotations

import contextlib
import gc
import logging
import os
import pickle
import signal
import sys
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any

from logger.clock import Start, now_ns
from logger.decode import make_decoder
from logger.errors import CannotSave, InstrumentLost, TruestrokeError
from logger.link import frames
from logger.link.ending import EndRules, Watch
from logger.link.port_words import shown
from logger.link.replug import Place, find_again, identify, speaks_alike
from logger.link.wire import Interpreter, WireRow
from logger.port import Link, Port, find_ports, open_port
from logger.readings import Ended
from logger.record.writing import Description, RecordingWriter

if TYPE_CHECKING:
    from logger.decode import FrameSpec

log = logging.getLogger(__name__)

BATCH_NS = 33_000_000
IDLE_NS = 50_000_000
BATCH_BYTES = 65_536
SYNC_NS = 1_000_000_000
RETRY_NS = 300_000_000
LISTEN_NS = 5_000_000_000
"""So long a port that is only likely is listened to: a board that starts anew when it is opened takes two seconds."""
POLLED_BATCH_NS = 5_000_000
"""An answer is handed on sooner than a stream: the next request waits for it."""
PATIENCE_NS = 500_000_000
"""A request is given up after this long, or after the polling interval where that is longer (common practice)."""


@dataclass(frozen=True, slots=True)
class ReaderSpec:
    """What the reading process needs, and nothing that would have to import a heavy module to arrive."""

    port: str
    link: Link
    frame: FrameSpec
    folder: Path | None
    description: Description
    rules: EndRules = field(default_factory=EndRules)
    requests: tuple[bytes, ...] = ()
    poll_interval_s: float = 0.1


class Reader:
    """One recording from the opened port to its end."""

    def __init__(self, spec: ReaderSpec, port: Port, link: frames.ChildEnd) -> None:
        self._spec = spec
        self._link = link
        self._port: Port | None = port
        self._name = spec.port
        ports = [] if "://" in spec.port else find_ports()
        self._device = identify(spec.port, ports)
        self._before = {one.name for one in ports}
        self._start = Start.now()
        self._writer = (
            None
            if spec.folder is None
            else RecordingWriter(spec.folder, spec.description, self._start.utc, self._start.monotonic_ns)
        )
        self._interpreter = Interpreter(make_decoder(spec.frame))
        self._watch = Watch(spec.rules)
        self._batch: list[WireRow] = []
        self._ended: tuple[str, str] | None = None
        self._lost_ns = 0
        self._heard = True
        self._synced_ns = 0
        self._asked = 0
        self._next_request_ns = 0
        self._answer_due_ns = 0

    def run(self) -> Ended:
        """Until it is over; the last report has been handed on and the descriptor completed when this returns."""
        self._link.report_opened(self._start.monotonic_ns, self._start.utc)
        try:
            while self._ended is None:
                if self._port is None:
                    self._wait_for_the_device()
                else:
                    self._one_batch(self._port)
                self._obey()
                self._check_end()
        except CannotSave as error:
            log.warning("%s", error)
            self._ended = ("disk full", str(error))
        return self._finish()

    # -- reading -------------------------------------------------------------------------------------------------------

    def _one_batch(self, port: Port) -> None:
        """Collect for at most BATCH_NS after the first byte, then write, decode and hand on."""
        chunks: list[tuple[int, bytes]] = []
        due, batch_ns = now_ns() + IDLE_NS, BATCH_NS
        if self._spec.requests:
            due, batch_ns = min(due, self._ask(port)), POLLED_BATCH_NS
            if self._port is None:  # it went away while it was asked
                self._flush()
                return
        lost: InstrumentLost | None = None
        try:
            port.collect(chunks, due, batch_ns, BATCH_BYTES)
        except InstrumentLost as error:
            lost = error
        since = self._start.since
        self._batch += [WireRow(since(stamp), "in", chunk) for stamp, chunk in chunks]
        if lost is not None:
            self._far_end_gone(lost)
        self._flush()

    def _ask(self, port: Port) -> int:
        """Send the next request of a polled instrument when its time has come and the one before was answered or given
        up; when to look again. What is sent is a row of wire.csv like what comes."""
        now = now_ns()
        if now < self._answer_due_ns:
            return self._answer_due_ns
        if now >= self._next_request_ns:
            interval_ns = round(self._spec.poll_interval_s * 1e9)
            self._next_request_ns = max(self._next_request_ns + interval_ns, now)
            request = self._spec.requests[self._asked % len(self._spec.requests)]
            self._asked += 1
            try:
                port.write(request)
            except InstrumentLost as error:
                self._far_end_gone(error)
                return now
            self._batch.append(WireRow(self._start.since(now_ns()), "out", request))
            self._answer_due_ns = now + max(PATIENCE_NS, interval_ns)
            return self._answer_due_ns
        return self._next_request_ns

    def _flush(self) -> None:
        rows, self._batch = self._batch, []
        now = self._start.since(now_ns())
        if rows:
            self._handle(rows, now)
        if now - self._synced_ns >= SYNC_NS and self._writer is not None:
            self._synced_ns = now
            self._writer.sync_soon()

    def _handle(self, rows: list[WireRow], now: int) -> None:
        """Disk first, then meaning, then disk again, then the screen."""
        if self._writer is not None:
            self._writer.write_wire(rows)
        came = any(row.channel == "in" for row in rows)
        self._heard = self._heard or came
        records = [record for row in rows for record in self._interpreter.records(row)]
        if came and records:
            self._answer_due_ns = 0
        if all(row.channel == "out" for row in rows):
            return  # our own question is no sign of life
        if self._writer is not None:
            self._writer.write_records(records)
        self._watch.note(records, now)
        self._link.report(records, self._interpreter.totals, now)

    # -- losing and finding again --------------------------------------------------------------------------------------

    def _far_end_gone(self, error: InstrumentLost) -> None:
        if self._port is not None:
            self._port.close()
            self._port = None
        self._answer_due_ns = 0
        now = now_ns()
        if self._heard:
            self._lost_ns, self._heard = now, False
            self._before |= {self._name} if "://" in self._name else {self._name, *(one.name for one in find_ports())}
        else:  # it came back and went again without a byte: that was no return
            self._give_up_if_too_long()
        if self._spec.rules.until == "closed" or self._watch.without_screen:
            self._ended = ("screen gone" if self._watch.without_screen else "closed", "")
            return
        self._batch.append(WireRow(self._start.since(now), "link", f"lost: {error.what}".encode()))

    def _wait_for_the_device(self) -> None:
        self._link.wait(RETRY_NS / 1e9)
        place = self._place()
        came: list[WireRow] = []
        try:
            port = open_port(place.name, self._spec.link)
            opened = self._now()
            if not place.sure:
                came = self._heard_from(port, place.name)
        except TruestrokeError as error:
            log.info("%s", error)
            self._give_up_if_too_long()
            return
        if not place.sure and not came:
            port.close()
            self._give_up_if_too_long()
            return
        said = shown(place.name) if place.name == self._name else f"{shown(place.name)} (was {shown(self._name)})"
        self._port, self._name = port, place.name
        self._device = identify(place.name, [] if "://" in place.name else find_ports())
        self._handle([WireRow(opened, "link", f"back: {said}".encode()), *came], self._now())

    def _place(self) -> Place:
        """Where the instrument is now, as far as the list of ports tells."""
        ports = [] if "://" in self._name else find_ports()
        self._before &= {one.name for one in ports} | {self._name}
        place = find_again(self._device, self._name, self._before, ports)
        back = self._device is None and Path(self._name).exists()  # a link, a pseudo terminal: in no list
        # What must be asked is only asked on the port that the person named, or of the same device.
        return Place(self._name, True) if not place.sure and (back or self._spec.requests) else place

    def _heard_from(self, port: Port, name: str) -> list[WireRow]:
        """What a likely port said, if it speaks as the instrument does; else nothing, and it is not looked at again
        unless it said nothing at all."""
        chunks: list[tuple[int, bytes]] = []
        due, alike = now_ns() + LISTEN_NS, None
        while alike is None and now_ns() < due and sum(len(chunk) for _, chunk in chunks) < BATCH_BYTES:
            try:
                port.collect(chunks, min(due, now_ns() + RETRY_NS), BATCH_NS, BATCH_BYTES)
            except InstrumentLost:
                port.close()
                raise
            alike = speaks_alike(self._spec.frame, b"".join(chunk for _, chunk in chunks))
        if alike:
            return [WireRow(self._start.since(stamp), "in", chunk) for stamp, chunk in chunks]
        if chunks:
            log.info("%s says something else", shown(name))
            self._before.add(name)
        return []

    def _give_up_if_too_long(self) -> None:
        give_up_s = self._spec.rules.give_up_s
        if now_ns() - self._lost_ns >= give_up_s * 1e9:
            self._ended = ("link lost", f"{shown(self._spec.port)} did not come back within {give_up_s:g} s.")

    # -- commands and the end ------------------------------------------------------------------------------------------

    def _now(self) -> int:
        return self._start.since(now_ns())

    def _obey(self) -> None:
        for command, argument in self._link.commands():
            if command == "mark":
                self._handle([WireRow(self._start.since(argument), "key", b"")], self._now())
                self._sync()
            elif command == "take back":
                self._handle([WireRow(self._start.since(argument), "undo", b"")], self._now())
                self._sync()
            elif command == "gap":
                self._handle([WireRow(self._start.since(argument), "gap", b"")], self._now())
            elif command == "stop" and self._ended is None:
                self._ended = (argument, "")
            elif command == "gone":
                log.info("the screen is gone; recording on")
                self._watch.screen_gone(self._now())

    def _sync(self) -> None:
        if self._writer is not None:
            self._writer.sync_soon()

    def _check_end(self) -> None:
        how = self._watch.over(self._now())
        if how is not None and self._ended is None:
            self._ended = (how, "")

    def _finish(self) -> Ended:
        if self._port is not None:
            self._port.close()
        how, message = self._ended or ("operator", "")
        interpreter, writer = self._interpreter, self._writer
        last = interpreter.finish()
        ended = Ended(interpreter.in_time_base(self._now()), how, message)
        try:
            if writer is not None:
                if how != "disk full":
                    writer.write_records(last)
                writer.finish(ended, interpreter.totals)
        except CannotSave as error:
            ended = Ended(ended.t_ns, "disk full", str(error))
        self._link.report([*last, ended], interpreter.totals, self._now())
        return ended


def serve(link: frames.ChildEnd, spec: ReaderSpec) -> None:
    """Open, record, end; whatever prevents the start is reported as an error to raise in the parent."""
    port: Port | None = None
    try:
        port = open_port(spec.port, spec.link)
        reader = Reader(spec, port, link)
    except TruestrokeError as error:
        if port is not None:
            port.close()
        link.report_failed(error)
        return
    reader.run()


def _on_terminate(link: frames.ChildEnd) -> Any:
    return lambda _number, _frame: link.push(("stop", "operator"))


def main() -> None:
    """Entry point of the reading process."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    if hasattr(signal, "SIGHUP"):
        signal.signal(signal.SIGHUP, signal.SIG_IGN)
    incoming = frames.Incoming(0)
    first = incoming.next_frame()
    if first is None:
        return
    spec: ReaderSpec = pickle.loads(first)
    link = frames.ChildEnd(incoming, out_fd=os.dup(1))
    with contextlib.suppress(ValueError, OSError):  # nothing else may write into the frames
        os.dup2(2, 1)
    signal.signal(signal.SIGTERM, _on_terminate(link))
    gc.freeze()
    gc.disable()  # nothing in the loop makes cycles; a collection would only delay a stamp
    serve(link, spec)
    link.close()
    sys.stderr.flush()


if __name__ == "__main__":
    main()
