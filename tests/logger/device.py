"""A device at the end of a socket, for tests of the command line: it says its lines once and goes, or stays.

The sweep it tells is worked by hand: the carriage is pushed there and back over known stations, and the height along
the stroke is a formula of the test. Nothing of ``analysis`` or ``fixtures`` is used to make it.
"""

import contextlib
import math
import socket
import threading
from collections.abc import Callable

STATIONS = (0.0, 500.0, 1000.0, 1500.0, 2000.0, 2600.0)
PATTERN = (
    r"^(?P<value>[+-]?\d+\.\d+),t(?P<time>\d+\.\d+)(?:,(?P<position>[+-]?\d+\.\d+))?"
    r"(?P<mark>,M)?(?:,k(?P<mark_time>\d+\.\d+))?$"
)
INSTRUMENT = rf"""
name: bench indicator with a clock
link: {{baud: 115200}}
frame: line
pattern: '{PATTERN}'
no_value: '^ERR,t(?P<time>\d+\.\d+)(?:,(?P<position>[+-]?\d+\.\d+))?(?P<mark>,M)?(?:,k(?P<mark_time>\d+\.\d+))?$'
clock: device
unit: mm
resolution_mm: 0.001
examples:
  - {{bytes: "+0.123,t1.25\r\n", value_mm: 0.123}}
  - {{bytes: "+0.123,t1.25,810.5\r\n", value_mm: 0.123, position: 810.5}}
  - {{bytes: "ERR,t1.25,M\r\n", no_value: true, mark: true}}
"""
LEVEL = r"""
name: bench level with a clock
frame: line
pattern: '^(?P<value>[+-]?\d+\.\d+),t(?P<time>\d+\.\d+)(?P<mark>,M)?$'
clock: device
unit: mm/m
resolution: 0.001
settle_s: 0.2
examples:
  - {bytes: "+0.123,t1.25\r\n", value_mm_per_m: 0.123}
"""
RATE_HZ = 50.0


def beside_the_blade(s_mm: float) -> bool:
    """Where the Kiln Street stand ``across`` (x 1100) is under the carriage's top, 1200 mm long."""
    return abs(s_mm - 1100.0) <= 600.0


def over_the_table(s_mm: float) -> bool:
    """Where an indicator 250 mm ahead of the carriage's middle touches the Kiln Street table, but for its insert."""
    touched = s_mm + 250.0
    return 700.0 <= touched <= 1500.0 and not 1010.0 < touched < 1090.0


def pushed(
    passes: int = 2, rest_s: float = 2.0, rate_hz: float = RATE_HZ, pace_mm_per_s: float = 300.0
) -> list[tuple[float, float, float | None]]:
    """(time, position, time of the key) for each line: pushes at an uneven pace, a rest before, between and after.

    The key goes down at each station, the first station of a pass when the rest before it is over.
    """
    told: list[tuple[float, float, float | None]] = []
    t_s = 0.0
    for number in range(passes):
        along = STATIONS if number % 2 == 0 else STATIONS[::-1]
        way, start = (1.0, along[0]) if number % 2 == 0 else (-1.0, along[0])
        for _ in range(round(rest_s * rate_hz)):
            told.append((t_s, start, None))
            t_s += 1 / rate_hz
        told.append((t_s, start, t_s))
        waiting, s_mm = list(along[1:]), start
        while waiting:
            speed = pace_mm_per_s * (1.0 + 0.13 * math.sin(t_s))
            left = abs(waiting[0] - s_mm)
            t_s += 1 / rate_hz
            key = None
            if left <= speed / rate_hz:
                key = t_s - 1 / rate_hz + left / speed
                last = waiting.pop(0)
                s_mm = last if not waiting else s_mm + way * speed / rate_hz
            else:
                s_mm += way * speed / rate_hz
            told.append((t_s, s_mm, key))
        t_s += 1 / rate_hz
    told += [(t_s + k / rate_hz, told[-1][1], None) for k in range(round(rest_s * rate_hz))]
    return told


def sweep_lines(
    reading_mm: Callable[[float], float],
    *,
    passes: int = 2,
    seen: Callable[[float], bool] = beside_the_blade,
    marks: bool = True,
    mark_time: bool = False,
    position: bool = False,
    rate_hz: float = RATE_HZ,
    pace_mm_per_s: float = 300.0,
) -> bytes:
    """What the instrument says of ``pushed``: ``reading_mm`` of the carriage's position in its own sign, or ERR."""
    lines = []
    for t_s, s_mm, key in pushed(passes, rate_hz=rate_hz, pace_mm_per_s=pace_mm_per_s):
        wobble = 0.0006 * math.sin(37.0 * t_s)
        line = f"{reading_mm(s_mm) + wobble:+.3f}" if seen(s_mm) else "ERR"
        line += f",t{t_s:.4f}" + (f",{s_mm:.2f}" if position else "")
        if key is not None and marks:
            line += ",M" + (f",k{key:.4f}" if mark_time else "")
        lines.append(line + "\r\n")
    return "".join(lines).encode("ascii")


def level_lines(slope_mm_per_m: Callable[[float], float], passes: int = 2) -> bytes:
    """A level on the carriage, which stops for 4 s at each station; the key goes down in the middle of each stop."""
    lines, t_s = [], 0.0

    def say(s_mm: float, felt: float, mark: bool = False) -> None:
        nonlocal t_s
        value = slope_mm_per_m(s_mm) + felt + 0.0006 * math.sin(37.0 * t_s)
        lines.append(f"{value:+.3f},t{t_s:.4f}{',M' if mark else ''}\r\n")
        t_s += 1 / RATE_HZ

    for number in range(passes):
        along = STATIONS if number % 2 == 0 else STATIONS[::-1]
        for place, s_mm in enumerate(along):
            stop = round(4.0 * RATE_HZ)
            for step in range(stop):
                say(s_mm, 0.0, mark=step == stop // 2)
            if place + 1 < len(along):
                steps = round(2.0 * RATE_HZ)
                for step in range(1, steps):  # pushed and braked: it feels both
                    say(s_mm + (along[place + 1] - s_mm) * step / steps, 5.0 * math.sin(2 * math.pi * step / steps))
    return "".join(lines).encode("ascii")


class Device:
    """Listens on a free port of this computer; says ``data`` to the first who calls. ``stays`` keeps the line open."""

    def __init__(self, data: bytes, *, stays: bool = False) -> None:
        self._server = socket.create_server(("127.0.0.1", 0))
        self.url = f"socket://127.0.0.1:{self._server.getsockname()[1]}"
        self.said_all = threading.Event()
        self._let_go = threading.Event()
        self._data, self._stays = data, stays
        self._thread = threading.Thread(target=self._serve, daemon=True)
        self._thread.start()

    def _serve(self) -> None:
        try:
            line, _ = self._server.accept()
        except OSError:
            return  # nobody called before the test was over
        with line:
            self._server.close()  # who calls again finds nobody: a cable that stays out
            with contextlib.suppress(OSError):  # who called has gone again
                line.sendall(self._data)
            self.said_all.set()
            if self._stays:
                self._let_go.wait(60)

    def __enter__(self) -> "Device":
        return self

    def __exit__(self, *_: object) -> None:
        self._let_go.set()
        if self._thread.is_alive():  # nobody called: closing alone would leave it waiting for a call
            with contextlib.suppress(OSError):
                socket.create_connection(self._server.getsockname(), timeout=1).close()
        self._server.close()
        self._thread.join(10)
