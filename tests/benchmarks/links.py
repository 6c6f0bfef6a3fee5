"""What the link survives, by the hundred. Run: ``python -m tests.benchmarks.links [times]``.

Each kind of fault is done many times to the production reading process on a real pseudo terminal or socket: the cable
pulled and put back, put back under another name, the port held by another program when it comes back, half frames, an
instrument that only says "no reading", a megabyte of noise, terminal codes and markup inside lines. Counted: did the
process or the recording break, is every byte that arrived on disk, is what was shown free of codes, and how long after
the cable was back the next reading was there.
"""

from __future__ import annotations

import fcntl
import os
import random
import sys
import tempfile
import termios
import time
from collections.abc import Callable
from contextlib import suppress
from pathlib import Path

import numpy as np

from logger.decode.escaped import show_bytes, unescape_bytes
from logger.link.replug import Place, find_again
from logger.port import FoundPort
from logger.readings import Garbage
from logger.recorder import Recorder
from logger.recording import open_recording, verify
from tests.logger.wire_bench import Line, spec

LIMIT_S = 90.0
CODES = (b"\x1b[2J", b"\x1b]0;x\x07", b"[red]boo[/red]", b"<script>", b"=HYPERLINK(1)", b"\x9b31m", b"\r\x1b[A", b'","')


class Count:
    """What one kind of fault came to."""

    def __init__(self, name: str) -> None:
        self.name = name
        self.times = 0
        self.broken: list[str] = []
        self.lost_bytes = 0
        self.back_s: list[float] = []

    def say(self) -> None:
        back = ""
        if self.back_s:
            back = f"; reading again after {np.median(self.back_s):.2f} s (half), {max(self.back_s):.2f} s (worst)"
        print(
            f"  {self.name:<44} {self.times:4} times: {len(self.broken)} broken, {self.lost_bytes} bytes lost{back}",
            flush=True,
        )
        for what in self.broken[:3]:
            print(f"      {what}")


def wait(true: Callable[[], bool]) -> bool:
    end = time.monotonic() + LIMIT_S
    while not true():
        if time.monotonic() > end:
            return False
        time.sleep(0.002)
    return True


def more(recorder: Recorder, known: int) -> bool:
    """Wait until there are more readings than ``known``."""
    return wait(lambda: recorder.readings > known)


def on_disk(folder: Path) -> bytes:
    rows = (folder / "wire.csv").read_text().splitlines()[1:]
    return b"".join(unescape_bytes(row.split(",", 2)[2][1:-1]) for row in rows if row.split(",")[1] == "in")


def finish(recorder: Recorder, folder: Path, sent: bytes, count: Count) -> None:
    """Stop, and hold what is on disk against what was sent."""
    recorder.stop()
    if recorder.wait(LIMIT_S) is None:
        count.broken.append("it did not end")
        return
    count.lost_bytes += abs(len(sent) - len(on_disk(folder)))
    count.broken += [f"on disk: {fault}" for fault in verify(folder)]
    if on_disk(folder) != sent:
        count.broken.append("what is on disk is not what was sent")
    open_recording(folder)


def pulled(times: int) -> Count:
    """Pulled in the middle of a line and put back at once, again and again in one recording."""
    count, sent = Count("unplugged in mid-line, plugged in again"), b""
    with tempfile.TemporaryDirectory() as place:
        folder, cable = Path(place) / "0001-links", Line(Path(place))
        with Recorder.start(spec(cable.name, folder)) as recorder:
            for number in range(times):
                said = b"%+.3f\r\n+0.0" % (0.001 * number)
                known = recorder.readings
                cable.send(said)
                sent += said
                ok = more(recorder, known)
                cable.pull()
                ok = ok and wait(lambda: recorder.state == "lost")
                cable.plug()
                back = time.monotonic()
                known = recorder.readings
                ok = ok and wait(lambda: recorder.state != "lost")
                cable.send(b"+0.5\r\n")
                sent += b"+0.5\r\n"
                ok = ok and more(recorder, known)
                count.back_s.append(time.monotonic() - back)
                count.times += 1
                if not ok:
                    count.broken.append(f"no reading after plug {number}")
                    break
            finish(recorder, folder, sent, count)
        cable.pull()
    return count


def held(times: int) -> Count:
    """Another program opens the port first when it comes back, and lets it go after a moment."""
    count, sent = Count("held by another program when it came back"), b""
    with tempfile.TemporaryDirectory() as place:
        folder, cable = Path(place) / "0001-links", Line(Path(place))
        with Recorder.start(spec(cable.name, folder)) as recorder:
            for number in range(times):
                cable.pull()
                ok = wait(lambda: recorder.state == "lost")
                cable.plug()
                other = os.open(str(cable.name), os.O_RDWR | os.O_NOCTTY)
                with suppress(OSError):
                    fcntl.ioctl(other, termios.TIOCEXCL)
                fcntl.flock(other, fcntl.LOCK_EX)
                time.sleep(0.35)
                os.close(other)
                back, known = time.monotonic(), recorder.readings
                ok = ok and wait(lambda: recorder.state != "lost")
                cable.send(b"+0.5\r\n")
                sent += b"+0.5\r\n"
                ok = ok and more(recorder, known)
                count.back_s.append(time.monotonic() - back)
                count.times += 1
                if not ok:
                    count.broken.append(f"no reading after {number}")
                    break
            finish(recorder, folder, sent, count)
        cable.pull()
    return count


def renamed(times: int) -> Count:
    """The same device under another name, as the list of ports tells it (the cable itself needs a USB bus)."""
    count, chance = Count("found again under another name (list of ports)"), random.Random(5)
    for _ in range(times):
        serial = "" if chance.random() < 0.3 else f"SN{chance.randrange(100)}"
        here = FoundPort("/dev/ttyUSB0", "", (1, 2, serial), "1-1")
        others = [
            FoundPort(f"/dev/ttyUSB{n}", "", (1, 2, f"SN{200 + n}"), f"1-{n + 3}")
            for n in range(1, chance.randrange(1, 4))
        ]
        now = FoundPort("/dev/ttyUSB7", "", here.identity, here.location)
        count.times += 1
        before = [here.name, *(one.name for one in others)]
        if find_again(here, here.name, before, [*others, now]) != Place(now.name, True):
            count.broken.append("not found")
        if find_again(here, here.name, before, others) != Place(here.name, True):
            count.broken.append("taken for another device")
    return count


def dirty(name: str, times: int, said: Callable[[random.Random], bytes], *, flood: bool = False) -> Count:
    """``times`` pieces of dirt in one recording, a sound line after each, which must be read."""
    count, chance, sent = Count(name), random.Random(7), b""
    with tempfile.TemporaryDirectory() as place:
        folder, cable = Path(place) / "0001-links", Line(Path(place))
        with Recorder.start(spec(cable.name, folder)) as recorder:
            for number in range(times):
                piece, known = said(chance), recorder.readings
                began = time.monotonic()
                cable.send(piece)
                cable.send(b"\r\n+0.5\r\n")
                sent += piece + b"\r\n+0.5\r\n"
                if not more(recorder, known):
                    count.broken.append(f"no reading after piece {number}")
                    break
                count.times += 1
                if flood:
                    count.back_s.append(time.monotonic() - began)
            shown = [show_bytes(one.raw, 256) + one.why for one in recorder.drain() if isinstance(one, Garbage)]
            if not all(text.isprintable() and "\x1b" not in text for text in shown):
                count.broken.append("a code would have reached the terminal")
            finish(recorder, folder, sent, count)
            table = (folder / "readings.csv").read_bytes()
            if b"\x1b" in table or b"\n=" in table or b'"=' in table:
                count.broken.append("a code or formula stands in readings.csv")
        cable.pull()
    return count


def noise(chance: random.Random, size: int) -> bytes:
    return chance.randbytes(size).replace(b"\n", b"\x0b").replace(b"\r", b"\x0c")


def half_frame(chance: random.Random) -> bytes:
    return b"+0.1234"[: chance.randrange(1, 7)] + (b"\x00" * chance.randrange(3))


def code(chance: random.Random) -> bytes:
    return chance.choice((b"+0.1", b"", b"x")) + chance.choice(CODES) + chance.choice((b"23", b"", b"\x1b"))


def main() -> None:
    times = int(sys.argv[1]) if len(sys.argv) > 1 else 100
    print("faults of the link, on a pseudo terminal, the production reading process:")
    pulled(times).say()
    held(times // 4).say()
    renamed(10 * times).say()
    dirty("half frames", 5 * times, half_frame).say()
    dirty("an instrument stuck on 'no reading'", 5 * times, lambda _chance: b"ERR\r\n" * 40).say()
    dirty("terminal codes, markup, formulas in lines", 5 * times, code).say()
    dirty("a megabyte of noise", max(times // 20, 1), lambda chance: noise(chance, 1_000_000), flood=True).say()


if __name__ == "__main__":
    main()
