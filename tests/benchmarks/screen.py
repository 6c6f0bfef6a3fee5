"""What the screen costs: first paint, CPU at 30 frames a second under a 1 kHz stream, key to paint.

``python -m tests.benchmarks.screen`` prints figures measured side by side in one run, in a real terminal of its own
(a pty that is read and thrown away), at 80x24 and 160x45. The stream is made in the process itself, so the figures are
the screen's alone; an app that only ticks is measured beside it.
"""

from __future__ import annotations

import fcntl
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


def in_terminal(mode: str, size: tuple[int, int]) -> str:
    """Run this file in ``mode`` in a terminal of that size; what it wrote to standard output."""
    leader, follower = pty.openpty()
    fcntl.ioctl(follower, termios.TIOCSWINSZ, struct.pack("HHHH", size[1], size[0], 0, 0))
    read, write = os.pipe()
    environment = {**os.environ, "TERM": "xterm-256color", "COLORTERM": "truecolor", "RESULT_FD": str(write)}
    started = time.perf_counter()
    process = subprocess.Popen(
        [sys.executable, "-m", "tests.benchmarks.screen", mode, str(started)],
        stdin=follower,
        stdout=follower,
        stderr=follower,
        pass_fds=(write,),
        env=environment,
        start_new_session=True,
    )
    os.close(write)
    os.close(follower)
    sink = threading.Thread(target=_read_away, args=(leader,), daemon=True)
    sink.start()
    with os.fdopen(read) as answer:
        text = answer.read()
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
        print(f"  unit key to paint    {median} ms median, {worst} ms worst (the whole screen changes)")
        print(f"  readings taken       {readings} in {SECONDS + 2:.0f} s; memory {memory} MB at most")


if __name__ == "__main__":
    if len(sys.argv) > 2:
        run_screen(float(sys.argv[2]), stream=sys.argv[1] == "live")
    else:
        main()
