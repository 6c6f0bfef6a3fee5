"""What the phone's page costs: its size, and how late a reading is on it.

    python -m tests.benchmarks.phone

A device at the end of a socket says 100 readings a second; each carries the number of its line, so that the moment it
was said can be held against the moment a looker on the same computer is told of it. The yardstick, in the same run: a
program that reads the same socket and notes when the line has arrived.
"""

import http.client
import json
import socket
import subprocess
import tempfile
import threading
import time
from importlib import resources
from pathlib import Path

import numpy as np

from tests.logger.shell import COMMAND, ENVIRONMENT, MACHINE

RATE_HZ, SECONDS = 100, 8
INSTRUMENT = r"""
name: counting indicator
frame: line
pattern: '^(?P<value>[+-]?\d+\.\d+)$'
unit: mm
resolution_mm: 0.001
examples: [{bytes: "+0.123\r\n", value_mm: 0.123}]
"""


class Counting:
    """Says +0.001, +0.002, ... and remembers when."""

    def __init__(self):
        self.said_s = {}
        self._server = socket.create_server(("127.0.0.1", 0))
        self.port = self._server.getsockname()[1]
        self.over = threading.Event()
        self.thread = threading.Thread(target=self._serve, daemon=True)
        self.thread.start()

    def _serve(self):
        line, _ = self._server.accept()
        with line:
            for number in range(1, RATE_HZ * SECONDS + 1):
                if self.over.wait(1 / RATE_HZ):
                    return
                self.said_s[number] = time.perf_counter()
                try:
                    line.sendall(b"+%.3f\r\n" % (number / 1000))
                except OSError:
                    return  # the reader has seen enough
            self.over.wait(2)


def plain_reader():
    """Milliseconds from said to read by a loop that does nothing else."""
    device = Counting()
    late = []
    with socket.create_connection(("127.0.0.1", device.port)) as line:
        for text in line.makefile("rb"):
            number = round(float(text) * 1000)
            late.append(1000 * (time.perf_counter() - device.said_s[number]))
            if number >= RATE_HZ * 2:
                break
    device.over.set()
    return np.array(late)


def phone_looker():
    """Milliseconds from said to told, for every moment a looker was told of; and moments a second."""
    device = Counting()
    with tempfile.TemporaryDirectory() as folder:
        (Path(folder) / "machine.yaml").write_text(MACHINE, encoding="utf-8")
        (Path(folder) / "counting.yaml").write_text(INSTRUMENT, encoding="utf-8")
        view = subprocess.Popen(
            [
                *(*COMMAND, "live", "--phone", "--json", "--until", str(SECONDS), "--set-up", "across"),
                *("--port", f"socket://127.0.0.1:{device.port}", "--instrument", "counting.yaml"),
            ],
            cwd=folder,
            env=ENVIRONMENT,
            stdin=subprocess.DEVNULL,
            stdout=subprocess.DEVNULL,
            stderr=subprocess.PIPE,
            text=True,
        )
        assert view.stderr is not None
        url = next(line.strip() for line in view.stderr if line.startswith("http://"))
        host, _, path = url.removeprefix("http://").partition("/")
        connection = http.client.HTTPConnection(host, timeout=20)
        connection.request("GET", f"/{path}stream")
        late, last = [], 0
        for raw in connection.getresponse():
            if not raw.startswith(b"data: "):
                continue
            now, shown = time.perf_counter(), json.loads(raw[6:])["shown"]
            number = round(1000 * (shown["height"] or 0.0))
            if number > last and number in device.said_s:
                late.append(1000 * (now - device.said_s[number]))
                last = number
        view.wait(30)
        view.stderr.close()
    device.over.set()
    return np.array(late[10:])


def main():
    size = len(resources.files("logger.phone").joinpath("page.html").read_bytes())
    print(f"page: {size} bytes ({60_000 / size:.1f} times under the 60 kB allowed)")
    plain = plain_reader()
    told = phone_looker()
    for name, late in (("a loop that only reads", plain), ("the phone's page", told)):
        half, most, worst = np.quantile(late, [0.5, 0.99, 1.0])
        print(
            f"{name}: late by {half:.1f} ms (half), {most:.1f} ms (99 in 100), {worst:.1f} ms (worst), {len(late)} told"
        )


if __name__ == "__main__":
    main()
