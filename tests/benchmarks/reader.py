"""How fast, how late and how dear the reader is. Run: ``python -m tests.benchmarks.reader [seconds]``.

Prints ratios measured side by side in one run, on one machine, over a pty:

* lines a second of the production path (decode, both tables on disk and the reports to the parent included), of a plain
  pyserial ``readline()`` loop that only turns a line into a number, and of a bare ``os.read`` that only counts;
* the reading process's CPU at 1 and 2 kHz of paced lines, beside that of a loop in the same language that only waits,
  reads and takes the time: what is left when nothing is decoded, written or told. Other work on the machine (its load
  is printed) makes both dearer and later; their ratio stays. Not to be run at a raised priority: the system's own
  worker behind a pty would wait for us;
* how late stamps are, those of the recording and those of the bare loop: stamp minus the moment the line was written.
"""

from __future__ import annotations

import multiprocessing
import os
import resource
import select
import sys
import tempfile
import time
import tty
from collections.abc import Callable
from pathlib import Path

import numpy as np
import serial

from logger.recorder import Recorder
from logger.recording import open_recording
from tests.logger.wire_bench import spec

LINE = b"+0.1234,1480.500\r\n"


def _flood(far: int, seconds: float) -> None:
    block, end = LINE * 200, time.monotonic() + seconds
    while time.monotonic() < end:
        os.write(far, block)


def _paced(far: int, seconds: float, hertz: int, pipe: multiprocessing.connection.Connection) -> None:
    sent, start, period = [], time.monotonic_ns(), 1_000_000_000 // hertz
    for i in range(int(seconds * hertz)):
        while (left := start + i * period - time.monotonic_ns()) > 0:
            time.sleep(left / 1e9)
        sent.append(time.monotonic_ns())
        os.write(far, b"+0.1234,%d.000\r\n" % i)
    pipe.send(sent)


def _line() -> tuple[int, int, str]:
    far, near = os.openpty()
    tty.setraw(near)
    return far, near, os.ttyname(near)


def lines_per_second(count: Callable[[str, float], int], seconds: float) -> float:
    """What ``count(name, seconds)`` counts while another process writes as fast as it can; opening is left out."""
    far, near, name = _line()
    writer = multiprocessing.Process(target=_flood, args=(far, seconds + 5.0))
    writer.start()
    try:
        return count(name, seconds) / seconds
    finally:
        writer.kill()
        writer.join()
        os.close(far)
        os.close(near)


def production(name: str, seconds: float) -> int:
    with tempfile.TemporaryDirectory() as folder, Recorder.start(spec(name, Path(folder) / "0001-bench")) as recorder:
        before, start = recorder.readings, time.perf_counter()
        time.sleep(seconds)
        lines, took = recorder.readings - before, time.perf_counter() - start
        recorder.stop()
        recorder.wait(10)
    return int(lines / took * seconds)


def plain_readline(name: str, seconds: float) -> int:
    lines = 0
    with serial.Serial(name, timeout=1) as port:
        port.readline()  # the rest of the line that was under way when the port was opened
        end = time.perf_counter() + seconds
        while time.perf_counter() < end:
            float(port.readline().split(b",")[0])
            lines += 1
    return lines


def bare_count(name: str, seconds: float) -> int:
    fd, lines = os.open(name, os.O_RDONLY | os.O_NOCTTY), 0
    end = time.perf_counter() + seconds
    while time.perf_counter() < end:
        lines += os.read(fd, 4096).count(b"\n")
    os.close(fd)
    return lines


def _cpu_s(pid: int) -> float:
    """What the scheduler counted for all threads of ``pid``, to the nanosecond."""
    threads = Path(f"/proc/{pid}/task").iterdir()
    return sum(int((thread / "schedstat").read_text().split()[0]) for thread in threads) / 1e9


def _bare_loop(name: str, lines: int, pipe: multiprocessing.connection.Connection) -> None:
    fd, stamps = os.open(name, os.O_RDONLY | os.O_NOCTTY), list[int]()
    poller = select.poll()
    poller.register(fd, select.POLLIN)
    pipe.send("ready")
    while len(stamps) < lines:
        if poller.poll(50):
            chunk = os.read(fd, 4096)
            stamps += [time.monotonic_ns()] * chunk.count(b"\n")
    pipe.send((stamps, _cpu_s(os.getpid())))


def bare(hertz: int, seconds: float) -> tuple[float, np.ndarray]:
    """CPU share of a loop that only waits, reads and takes the time, and how late its stamps are in ms."""
    far, near, name = _line()
    ours, theirs = multiprocessing.Pipe()
    heard, tell = multiprocessing.Pipe()
    reader = multiprocessing.Process(target=_bare_loop, args=(name, int(seconds * hertz), tell))
    writer = multiprocessing.Process(target=_paced, args=(far, seconds, hertz, theirs))
    reader.start()
    heard.recv()
    before, start = _cpu_s(reader.pid or 0), time.monotonic()
    writer.start()
    sent = np.array(ours.recv())
    stamps, cpu = heard.recv()
    took = time.monotonic() - start
    writer.join()
    reader.join()
    os.close(far)
    os.close(near)
    return (cpu - before) / took, (np.array(stamps) - sent) / 1e6


def paced(hertz: int, seconds: float) -> tuple[float, np.ndarray, int]:
    """CPU share of the reading process, lateness of each stamp in ms, lines lost."""
    far, near, name = _line()
    ours, theirs = multiprocessing.Pipe()
    with tempfile.TemporaryDirectory() as folder, Recorder.start(spec(name, Path(folder) / "0001-bench")) as recorder:
        writer = multiprocessing.Process(target=_paced, args=(far, seconds, hertz, theirs))
        cpu, start = _cpu_s(recorder.pid), time.monotonic()
        writer.start()
        sent = np.array(ours.recv())
        cpu = (_cpu_s(recorder.pid) - cpu) / (time.monotonic() - start)
        writer.join()
        time.sleep(0.2)
        recorder.stop()
        recorder.wait(10)
        recording = open_recording(Path(folder) / "0001-bench")
        started_ns = recorder.started_ns
    os.close(far)
    os.close(near)
    index = recording.position_mm.astype(int)
    late_ms = (recording.t_s * 1e9 + started_ns - sent[index]) / 1e6
    return cpu, late_ms, len(sent) - len(index)


def main() -> None:
    seconds = float(sys.argv[1]) if len(sys.argv) > 1 else 3.0
    rates: dict[str, list[float]] = {}
    for _ in range(3):
        for call in (plain_readline, production, bare_count):
            rates.setdefault(call.__name__, []).append(lines_per_second(call, seconds))
    median = {name: sorted(found)[1] for name, found in rates.items()}
    for name, rate in median.items():
        print(f"{name:15} {rate:12,.0f} lines/s   ({', '.join(f'{r:,.0f}' for r in rates[name])})")
    print(f"production : readline   {median['production'] / median['plain_readline']:6.1f} : 1")
    print(f"production : bare count {median['production'] / median['bare_count']:6.3f} : 1")
    at_pace(max(seconds, 5.0))
    print(f"largest child: {resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss / 1024:.0f} MB")


def at_pace(seconds: float, times: int = 3) -> None:
    """CPU and lateness at 1 and 2 kHz, in turn, ``times`` times."""
    for hertz in (1000, 2000) * times:
        least, least_late = bare(hertz, seconds)
        cpu, late, lost = paced(hertz, seconds)
        share = f"reader {100 * cpu:.2f} % of a core ({cpu / least:.1f} times the bare loop)"
        stamps = f"stamps late by {_late(late)} (the bare loop's: {_late(least_late)})"
        print(f"{hertz} Hz: {share}; {stamps}; lines lost: {lost}; beside a load of {os.getloadavg()[0]:.1f}")


def _late(late_ms: np.ndarray) -> str:
    return f"{np.percentile(late_ms, 50):.3f}, {np.percentile(late_ms, 99):.3f}, {late_ms.max():.3f} ms (p50, p99, max)"


if __name__ == "__main__":
    main()
