"""What the screen costs: first paint, CPU at 30 frames a second under a 1 kHz stream, key to paint, byte to paint.

``python -m tests.benchmarks.screen`` prints figures measured side by side in one run, in a real terminal of its own
(a pty that is read and thrown away), at 80x24 and 160x45. For the CPU the stream is made in the process itself, so the
figures are the screen's alone; an app that only ticks is measured beside it. The lateness goes the whole way: a byte
written to a device's pty, through the reading process to the frame in which the bar has moved, at 1 kHz; and a key
written to the terminal's pty, to the frame in which it has acted. Both clocks are the system's monotonic one.
"""

from __future__ import annotations

import fcntl
import io
import os
import pty
import resource
import statistics
import struct
import subprocess
import sys
import termios
import threading
import time

SIZES = ((80, 24), (160, 45))
SECONDS = 10.0


def started_in_terminal(
    mode: str, size: tuple[int, int], *more: str
) -> tuple[int, subprocess.Popen[bytes], io.TextIOWrapper]:
    """This file in ``mode`` in a terminal of that size: the terminal's other end, the process, what it answers."""
    leader, follower = pty.openpty()
    fcntl.ioctl(follower, termios.TIOCSWINSZ, struct.pack("HHHH", size[1], size[0], 0, 0))
    read, write = os.pipe()
    environment = {**os.environ, "TERM": "xterm-256color", "COLORTERM": "truecolor", "RESULT_FD": str(write)}
    started = time.perf_counter()
    process = subprocess.Popen(
        [sys.executable, "-m", "tests.benchmarks.screen", mode, str(started), *more],
        stdin=follower,
        stdout=follower,
        stderr=follower,
        pass_fds=(write,),
        env=environment,
        start_new_session=True,
    )
    os.close(write)
    os.close(follower)
    return leader, process, os.fdopen(read)


def in_terminal(mode: str, size: tuple[int, int]) -> str:
    """Run this file in ``mode`` in a terminal of that size; what it answered."""
    leader, process, result = started_in_terminal(mode, size)
    sink = threading.Thread(target=_read_away, args=(leader,), daemon=True)
    sink.start()
    with result:
        text = result.read()
    process.wait()
    os.close(leader)
    return text.strip()


def _read_away(leader: int) -> None:
    try:
        while os.read(leader, 65536):
            continue
    except OSError:
        return


def answer(text: str) -> None:
    """Hand a result to the parent."""
    os.write(int(os.environ["RESULT_FD"]), text.encode())


def cpu_s() -> float:
    """CPU time of this process so far."""
    used = resource.getrusage(resource.RUSAGE_SELF)
    return used.ru_utime + used.ru_stime


def run_screen(started: float, *, stream: bool) -> None:
    """The live screen for ten seconds under a 1 kHz stream, or an app that only ticks."""
    import math

    from textual.app import App

    from logger.readings import Reading
    from logger.tui.invented import InventedParts, invented_app

    if not stream:

        class Idle(App[None]):
            def on_mount(self) -> None:
                self.ticks = 0
                self.set_interval(1 / 30, self.tick)
                self.before = cpu_s()
                self.set_timer(SECONDS, self.finish)

            def tick(self) -> None:
                self.ticks += 1

            def finish(self) -> None:
                answer(f"{(cpu_s() - self.before) / SECONDS * 100:.1f} {self.ticks / SECONDS:.1f}")
                self.exit()

        Idle().run()
        return
    parts = InventedParts()
    app = invented_app(parts=parts)
    app.session.clock = time.monotonic
    source = parts.source
    frames: list[float] = []
    keys: list[float] = []
    state = {"sent": 0, "begun": 0.0, "cpu": 0.0, "first": 0.0}

    def more() -> list[object]:
        due = int((time.monotonic() - state["begun"]) * 1000)
        new = [
            Reading(i * 1_000_000, 0.1 + 0.08 * math.sin(i / 700) + 0.001 * (i % 3), "mm")
            for i in range(int(state["sent"]), due)
        ]
        state["sent"] = due
        source.readings += len(new)
        return list(new)

    def begin() -> None:
        state["first"] = (time.perf_counter() - started) * 1000
        state["begun"] = time.monotonic()
        source.drain = more  # type: ignore[method-assign,assignment]
        app.open_live()
        app.set_timer(2.0, settle)

    def settle() -> None:
        state["cpu"] = cpu_s()
        frames.clear()
        app.screen.set_interval(0.5, press)
        app.set_timer(SECONDS, finish)

    def press() -> None:
        began = time.perf_counter()

        def painted() -> None:
            keys.append((time.perf_counter() - began) * 1000)

        app.action_swap_units()
        app.call_after_refresh(painted)

    def finish() -> None:
        used = (cpu_s() - state["cpu"]) / SECONDS * 100
        keys.sort()
        memory = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
        times = f"{statistics.median(keys):.1f} {keys[-1]:.1f}"
        answer(f"{state['first']:.0f} {used:.1f} {times} {source.readings} {memory:.0f}")
        app.exit(0)

    app.call_later(lambda: app.call_after_refresh(begin))
    app.run()


STEPS = 100
STEP_S = 0.25
HEIGHTS_MM = (0.104, 0.130)


def run_late(started: float, *, port: str) -> None:
    """The real live screen on a real port; every frame's time and height go to the parent, and every key's."""
    import tempfile
    from pathlib import Path

    from logger.job import new_job
    from logger.tui import OpenOn
    from logger.tui.app import make_app
    from logger.tui.parts import RealParts
    from logger.tui.widgets.step import StepBar

    class Parts(RealParts):
        def remember(self, *_: object) -> None:
            return None

    seen: list[str] = []

    with tempfile.TemporaryDirectory() as folder:
        job = new_job(Path(folder) / "saw")
        on = OpenOn("live", port=port, instrument="indicator-line", set_up="across")
        app = make_app(job, plain=False, units="mm", dark=False, tour=None, open_on=on, parts=Parts())
        swap, show = app.action_swap_units, StepBar.show

        def pressed() -> None:
            swap()
            app.call_after_refresh(lambda: seen.append(f"key {time.monotonic():.6f} 0"))

        def shown(bar: StepBar, step: object) -> None:
            height = getattr(step, "height", None)
            if height is not None and step != bar._step:
                app.call_after_refresh(lambda: seen.append(f"bar {time.monotonic():.6f} {height:.6f}"))
            show(bar, step)  # type: ignore[arg-type]

        app.action_swap_units = pressed  # type: ignore[method-assign]
        StepBar.show = shown  # type: ignore[method-assign,assignment]

        def finish() -> None:
            answer("\n".join(seen))
            app.exit(0)

        def begin() -> None:
            answer("ready\n")
            app.set_timer(STEPS * STEP_S + 3.0, finish)

        app.call_later(lambda: app.call_after_refresh(begin))
        app.run()


def lateness(size: tuple[int, int]) -> tuple[list[float], list[float]]:
    """Milliseconds from byte to paint and from key to paint, ascending."""
    import tty

    device, device_end = pty.openpty()
    tty.setraw(device_end)
    leader, process, result = started_in_terminal("late", size, os.ttyname(device_end))
    threading.Thread(target=_read_away, args=(leader,), daemon=True).start()
    assert result.readline().strip() == "ready"
    steps: list[tuple[float, float]] = []
    keys: list[float] = []
    begun = time.monotonic() + 1.0
    sent = 0
    value = HEIGHTS_MM[0]
    while (now := time.monotonic()) < begun + STEPS * STEP_S:
        due = int((now - begun + 1.0) * 1000)
        number = int((now - begun) / STEP_S) if now > begun else -1
        if number >= len(steps):
            value = HEIGHTS_MM[(number + 1) % 2]
        if due > sent:
            os.write(device, f"{value:+.4f}\r\n".encode() * (due - sent))
            sent = due
        if number >= len(steps):
            steps.append((time.monotonic(), value))
        if number >= len(keys) and (now - begun) % STEP_S > STEP_S / 2:
            keys.append(time.monotonic())
            os.write(leader, b"u")
        time.sleep(0.0005)
    frames = [line.split() for line in result.read().split("\n") if line]
    process.wait()
    for descriptor in (device, device_end, leader):
        os.close(descriptor)
    bars = [(float(t), float(h)) for kind, t, h in frames if kind == "bar"]
    acted = [float(t) for kind, t, _ in frames if kind == "key"]
    late_bytes = [1000 * (next((t for t, h in bars if t > at), at + 9) - at) for at, _ in steps[1:]]
    late_keys = [1000 * (next((t for t in acted if t > at), at + 9) - at) for at in keys]
    return sorted(late_bytes), sorted(late_keys)


def part(values: list[float], share: float) -> float:
    """The value below which that share lies."""
    return values[min(len(values) - 1, round(share * (len(values) - 1)))]


def main() -> None:
    """Measure and print."""
    bare = time.perf_counter()
    subprocess.run([sys.executable, "-c", "import textual.app"], check=True)
    bare_ms = (time.perf_counter() - bare) * 1000
    for size in SIZES:
        idle = in_terminal("idle", size).split()
        live = in_terminal("live", size).split()
        first, cpu, median, worst, readings, memory = live
        print(f"{size[0]}x{size[1]}")
        print(f"  first paint          {first} ms ({float(first) / bare_ms:.1f} times importing the framework alone)")
        print(f"  CPU, 1 kHz, 30 fps   {cpu} % of a core; an app that only ticks 30 times a second: {idle[0]} %")
        print(f"  unit key to paint    {median} ms median, {worst} ms worst (in the process alone)")
        late_bytes, late_keys = lateness(size)
        print(
            f"  byte to paint        {part(late_bytes, 0.5):.0f} ms half, {part(late_bytes, 0.99):.0f} ms 99 in 100 "
            f"({len(late_bytes)} steps; a frame is 33 ms)"
        )
        print(
            f"  key to paint         {part(late_keys, 0.5):.0f} ms half, {part(late_keys, 0.99):.0f} ms 99 in 100 "
            f"({len(late_keys)} keys, the whole screen changes)"
        )
        print(f"  readings taken       {readings} in {SECONDS + 2:.0f} s; memory {memory} MB at most")


if __name__ == "__main__":
    if len(sys.argv) > 3:
        run_late(float(sys.argv[2]), port=sys.argv[3])
    elif len(sys.argv) > 2:
        run_screen(float(sys.argv[2]), stream=sys.argv[1] == "live")
    else:
        main()
