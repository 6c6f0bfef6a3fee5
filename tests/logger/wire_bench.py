"""A bench to plug the recorder into: an instrument file, a serial line made of a pty, a server made of a socket."""

import os
import socket
import threading
import time
import tty
from contextlib import contextmanager, suppress
from pathlib import Path

from logger.instruments import instrument_from_text
from logger.recorder import RecorderSpec

INDICATOR = r"""
name: bench indicator
link: {baud: 115200}
frame: line
pattern: '^(?P<value>[+-]?\d+\.\d+)(?:,(?P<position>[+-]?\d+(?:\.\d+)?))?(?P<mark>,M)?$'
no_value: '^ERR(?:,(?P<position>\d+\.\d+))?$'
unit: mm
resolution_mm: 0.001
examples: [{bytes: "+0.123\r\n", value_mm: 0.123}]
"""
DEVICE_TIMED = r"""
name: bench indicator with a clock
frame: line
pattern: '^t(?P<time>\d+\.\d+) (?P<value>[+-]?\d+\.\d+)$'
clock: device
unit: in
resolution: 0.00005
examples: [{bytes: "t1.000 +0.1000\r\n", value: 0.1}]
"""
LIMIT_S = 90.0
"""No test waits longer for something that must happen; a computer with other work takes its time."""


def instrument(text=INDICATOR):
    return instrument_from_text(text, "bench.yaml")


def spec(port, folder=None, **more):
    return RecorderSpec(port=str(port), instrument=more.pop("instrument", instrument()), folder=folder, **more)


def until(true, what="it"):
    """Wait until ``true()``; the interval only sets how soon it is noticed."""
    end = time.monotonic() + LIMIT_S
    while not true():
        assert time.monotonic() < end, f"{what} did not happen within {LIMIT_S} s"
        time.sleep(0.005)


class Line:
    """A serial line: our end writes what an instrument sends; ``name`` is what the recorder opens. The name is a link
    that stays the same when the cable is pulled and put back."""

    def __init__(self, folder: Path) -> None:
        self.name = folder / "port"
        self.plug()

    def plug(self):
        self.far, self.near = os.openpty()
        self.name.unlink(missing_ok=True)
        self.name.symlink_to(os.ttyname(self.near))
        tty.setraw(self.near)

    def send(self, data):
        view = memoryview(data)
        while view:
            view = view[os.write(self.far, view[:1024]) :]

    def pull(self):
        self.name.unlink(missing_ok=True)
        for fd in (self.near, self.far):
            os.close(fd)


@contextmanager
def line(folder):
    made = Line(folder)
    try:
        yield made
    finally:
        made.pull()


@contextmanager
def server(*turns):
    """A server on loopback; each turn is a function of one accepted connection. Yields the URL."""
    listening = socket.create_server(("127.0.0.1", 0))

    def serve():
        for turn in turns:
            try:
                connection, _ = listening.accept()
            except OSError:
                return
            with connection:
                turn(connection)
        listening.close()

    thread = threading.Thread(target=serve)
    thread.start()
    try:
        yield f"socket://127.0.0.1:{listening.getsockname()[1]}"
    finally:
        with suppress(OSError):  # closed when all turns were taken
            listening.shutdown(socket.SHUT_RDWR)
        listening.close()
        thread.join(LIMIT_S)


def sender(data):
    """A turn that sends everything at once and closes."""
    return lambda connection: connection.sendall(data)
