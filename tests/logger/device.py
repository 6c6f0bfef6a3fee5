"""A device at the end of a socket, for tests of the command line: it says its lines once and goes, or stays.

The sweep it tells is worked by hand: the carriage is pushed there and back over known stations, and the height along
the stroke is a formula of the test. Nothing of ``analysis`` or ``fixtures`` is used to make it.
"""

import math
import socket
import threading
from collections.abc import Callable

STATIONS = (0.0, 500.0, 1000.0, 1500.0, 2000.0, 2600.0)
STANDS_AT, HALF_TOP = 1100.0, 600.0  # the Kiln Street stand "across", and half the length of the carriage's top

INSTRUMENT = r"""
name: bench indicator with a clock
link: {baud: 115200}
frame: line
pattern: '^(?P<value>[+-]?\d+\.\d+),t(?P<time>\d+\.\d+)(?P<mark>,M)?$'
no_value: '^ERR,t(?P<time>\d+\.\d+)(?P<mark>,M)?$'
clock: device
unit: mm
resolution_mm: 0.001
examples:
  - {bytes: "+0.123,t1.25\r\n", value_mm: 0.123}
  - {bytes: "ERR,t1.25,M\r\n", no_value: true, mark: true}
"""


def sweep_lines(
    height_mm: Callable[[float], float], *, passes: int = 2, marks: bool = True, rate_hz: float = 50.0
) -> bytes:
    """Two pushes at an uneven 300 mm/s with a rest of 2 s before, between and after, as lines on the wire."""
    lines, t_s, step_s = [], 0.0, 1.0 / rate_hz
    waiting = [*STATIONS]

    def say(s_mm: float, mark: bool) -> None:
        seen = abs(s_mm - STANDS_AT) <= HALF_TOP
        wobble = 0.0006 * math.sin(37.0 * t_s)
        value = f"{height_mm(s_mm) + wobble:+.3f}" if seen else "ERR"
        lines.append(f"{value},t{t_s:.4f}{',M' if mark and marks else ''}\r\n")

    for number in range(passes):
        toward_outfeed = number % 2 == 0
        waiting = [*STATIONS] if toward_outfeed else [*reversed(STATIONS)]
        s_mm = waiting[0]
        for _ in range(round(2.0 * rate_hz)):
            say(s_mm, False)
            t_s += step_s
        say(s_mm, True)
        waiting.pop(0)
        while waiting:
            t_s += step_s
            ahead = (300.0 + 40.0 * math.sin(t_s)) * step_s
            s_mm = s_mm + ahead if toward_outfeed else s_mm - ahead
            passed = s_mm >= waiting[0] if toward_outfeed else s_mm <= waiting[0]
            if passed and len(waiting) == 1:
                s_mm = waiting[0]
            say(s_mm, passed)
            if passed:
                waiting.pop(0)
        t_s += step_s
    for _ in range(round(2.0 * rate_hz)):
        say(s_mm, False)
        t_s += step_s
    return "".join(lines).encode("ascii")


class Device:
    """Listens on a free port of this computer; says ``data`` to the first who calls. ``stays`` keeps the line open."""

    def __init__(self, data: bytes, *, stays: bool = False, stays_away: bool = True) -> None:
        self._server = socket.create_server(("127.0.0.1", 0))
        self.url = f"socket://127.0.0.1:{self._server.getsockname()[1]}"
        self.said_all = threading.Event()
        self._let_go = threading.Event()
        self._data, self._stays, self._stays_away = data, stays, stays_away
        self._thread = threading.Thread(target=self._serve, daemon=True)
        self._thread.start()

    def _serve(self) -> None:
        try:
            line, _ = self._server.accept()
        except OSError:
            return  # nobody called before the test was over
        with line:
            if self._stays_away:
                self._server.close()
            line.sendall(self._data)
            self.said_all.set()
            if self._stays:
                self._let_go.wait(60)

    def __enter__(self) -> "Device":
        return self

    def __exit__(self, *_: object) -> None:
        self._let_go.set()
        self._server.close()
        self._thread.join(10)
