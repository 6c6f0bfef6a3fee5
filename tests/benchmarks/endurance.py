"""Ten minutes of a 1 kHz stream with the live screen drawing. Run: ``python -m tests.benchmarks.endurance [minutes]``.

The whole command as a user starts it (``truestroke live`` in a terminal of 120x34), a writer of its own on a pty, and
afterwards the recording on disk held against what was written: readings lost, how late the stamps are, the CPU of the
screen and of the reading process, and whether their memory stays flat.
"""

from __future__ import annotations

import fcntl
import math
import multiprocessing
import os
import pty
import struct
import subprocess
import sys
import tempfile
import termios
import threading
import time
from pathlib import Path

import numpy as np

from fixtures.kiln_street import kiln_street_machine
from logger.job import Job
from logger.recording import open_recording
from tests.benchmarks.reader import _cpu_s, _line
from tests.logger.wire_bench import INDICATOR

HERTZ = 1000
SAMPLES = 12  # looks at memory, evenly over the time


def main() -> None:
    minutes = float(sys.argv[1]) if len(sys.argv) > 1 else 10.0
    seconds = 60.0 * minutes
    with tempfile.TemporaryDirectory() as folder:
        job = Path(folder)
        (job / "machine.yaml").write_text(kiln_street_machine().machine_yaml(), encoding="utf-8")
        (job / "indicator.yaml").write_text(INDICATOR, encoding="utf-8")
        far, near, name = _line()
        screen, leader = _screen(job, name)
        reader = _wait_for_reader(screen.pid)
        ours, theirs = multiprocessing.Pipe()
        writer = multiprocessing.Process(target=_paced, args=(far, seconds, theirs))
        cpu = {pid: _cpu_s(pid) for pid in (screen.pid, reader)}
        start = time.monotonic()
        writer.start()
        memory = _watch((screen.pid, reader), start, seconds)
        sent = np.array(ours.recv())
        took = time.monotonic() - start
        share = {pid: 100 * (_cpu_s(pid) - cpu[pid]) / took for pid in cpu}
        time.sleep(0.5)
        os.write(leader, b"\x1bq")
        screen.terminate()
        screen.wait(20)
        _wait_gone(reader)
        _say(job, sent, share, memory, (screen.pid, reader), minutes)
        for fd in (far, near, leader):
            os.close(fd)


def _paced(far: int, seconds: float, pipe: multiprocessing.connection.Connection) -> None:
    """A height that rises and falls, so that bar and digits are drawn anew all the time; the line's number with it."""
    sent, start, period = [], time.monotonic_ns(), 1_000_000_000 // HERTZ
    for i in range(int(seconds * HERTZ)):
        while (left := start + i * period - time.monotonic_ns()) > 0:
            time.sleep(left / 1e9)
        line = b"%+.4f,%d.000\r\n" % (0.1 + 0.06 * math.sin(i / 700.0), i)
        sent.append(time.monotonic_ns())
        os.write(far, line)
    pipe.send(sent)


def _screen(job: Path, port: str) -> tuple[subprocess.Popen[bytes], int]:
    """``truestroke live`` in a terminal of its own, whose output is read and thrown away."""
    leader, follower = pty.openpty()
    fcntl.ioctl(follower, termios.TIOCSWINSZ, struct.pack("HHHH", 34, 120, 0, 0))
    command = [sys.executable, "-m", "logger", "live", "--job", str(job), "--port", port]
    command += ["--instrument", str(job / "indicator.yaml"), "--set-up", "across"]
    process = subprocess.Popen(
        command,
        stdin=follower,
        stdout=follower,
        stderr=follower,
        start_new_session=True,
        env={**os.environ, "TERM": "xterm-256color", "COLORTERM": "truecolor"},
    )
    os.close(follower)
    threading.Thread(target=_read_away, args=(leader,), daemon=True).start()
    return process, leader


def _read_away(leader: int) -> None:
    try:
        while os.read(leader, 65536):
            continue
    except OSError:
        return


def _children(pid: int) -> list[int]:
    return [int(child) for child in Path(f"/proc/{pid}/task/{pid}/children").read_text().split()]


def _wait_for_reader(pid: int) -> int:
    end = time.monotonic() + 20
    while time.monotonic() < end:
        for child in _children(pid):
            if b"logger.link.reader" in Path(f"/proc/{child}/cmdline").read_bytes():
                time.sleep(2.0)  # until the port is open; nothing is written before that
                return child
        time.sleep(0.1)
    raise SystemExit("The live screen did not start its reading process.")


def _wait_gone(pid: int) -> None:
    end = time.monotonic() + 20
    while Path(f"/proc/{pid}").exists() and time.monotonic() < end:
        time.sleep(0.1)


def _rss_mb(pid: int) -> float:
    return int(Path(f"/proc/{pid}/statm").read_text().split()[1]) * os.sysconf("SC_PAGE_SIZE") / 2**20


def _watch(pids: tuple[int, int], start: float, seconds: float) -> list[tuple[float, ...]]:
    """Memory in MB of both processes, ``SAMPLES`` times."""
    seen = []
    for number in range(SAMPLES):
        time.sleep(max(0.0, start + (number + 0.5) * seconds / SAMPLES - time.monotonic()))
        seen.append(tuple(_rss_mb(pid) for pid in pids))
    return seen


def _say(
    job: Path,
    sent: np.ndarray,
    share: dict[int, float],
    memory: list[tuple[float, ...]],
    pids: tuple[int, int],
    minutes: float,
) -> None:
    folder = Job.open(job).recordings("live")[0]
    recording = open_recording(folder)
    index = recording.position_mm.astype(int)
    offset = recording.t_s * 1e9 - sent[index]
    late_ms = (offset - np.percentile(offset, 0.5)) / 1e6  # over the promptest, a few strays left aside
    lost = len(sent) - len(np.unique(index))
    p50, p99 = np.percentile(late_ms, [50, 99])
    print(f"{minutes:g} min at {HERTZ} Hz beside the drawing screen: {len(sent)} lines written, {lost} lost")
    print(f"stamps late (over the promptest) by {p50:.3f} ms (p50), {p99:.3f} ms (p99), {late_ms.max():.3f} ms (max)")
    for name, place in (("screen", 0), ("reader", 1)):
        first, last = memory[1][place], memory[-1][place]
        print(f"{name}: {share[pids[place]]:.1f} % of a core; memory {first:.1f} MB at first, {last:.1f} MB at last")
    print(f"recording: ended '{recording.ended}', {sum(f.stat().st_size for f in folder.iterdir()) / 2**20:.1f} MB")


if __name__ == "__main__":
    main()
