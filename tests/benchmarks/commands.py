"""What commands cost before they say anything. Run: ``python -m tests.benchmarks.commands [runs]``.

Prints ratios measured side by side in one run, each command a process of its own, the kinds taken in turn so that a
busy moment of the computer hurts all of them:

* ``--help`` and ``--version`` against the bare interpreter that does nothing (target: under 4 times);
* ``spots`` and ``bolts`` on a two-pass sweep of 100 Hz, and how both grow when the same stroke is pushed more slowly.
"""

from __future__ import annotations

import os
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Sequence
from pathlib import Path

from tests.logger.device import Device, sweep_lines
from tests.logger.shell import COMMAND, ENVIRONMENT, MARKS, Shell

BARE = (sys.executable, "-c", "pass")
RATE_HZ = 100.0
PACES_MM_PER_S = (400.0, 200.0, 100.0, 50.0, 25.0)


def hollow(s_mm: float) -> float:
    return 0.080 + 0.080 * ((s_mm - 1100.0) / 600.0) ** 2


def seconds(command: Sequence[str], folder: Path | None = None) -> float:
    """The wall time of one process, from start to end."""
    start = time.perf_counter()
    subprocess.run(command, cwd=folder, env=ENVIRONMENT, check=True, capture_output=True, stdin=subprocess.DEVNULL)
    return time.perf_counter() - start


Step = tuple[Sequence[str], Path | None]


def medians(steps: dict[str, Step], runs: int) -> dict[str, float]:
    """The median of ``runs`` of each command, taken in turn; the first round only warms the files up."""
    taken: dict[str, list[float]] = {name: [] for name in steps}
    for number in range(runs + 1):
        for name, (command, folder) in steps.items():
            took = seconds(command, folder)
            if number:
                taken[name].append(took)
    return {name: statistics.median(each) for name, each in taken.items()}


def starting(runs: int) -> None:
    """Print what ``--help`` and ``--version`` cost against the interpreter that does nothing."""
    steps: dict[str, Step] = {"bare": (BARE, None)}
    steps |= {option: ((*COMMAND, option), None) for option in ("--version", "--help")}
    found = medians(steps, runs)
    bare = found["bare"]
    print(f"the bare interpreter     {1000 * bare:7.1f} ms")
    for name in ("--version", "--help"):
        print(f"truestroke {name:<13} {1000 * found[name]:7.1f} ms   {found[name] / bare:5.2f} times bare")


def sweep(folder: Path, pace_mm_per_s: float) -> int:
    """Record one two-pass sweep of 100 Hz; how many lines the device said."""
    data = sweep_lines(hollow, rate_hz=RATE_HZ, pace_mm_per_s=pace_mm_per_s)
    with Device(data) as device:
        where = ("--port", device.url, "--instrument", "bench.yaml", "--set-up", "across", "--marks", MARKS)
        seconds((*COMMAND, "sweep", *where, "--passes", "2", "--until", "closed"), folder)
    return data.count(b"\n")


def judging(runs: int) -> None:
    """Print what ``spots`` and ``bolts`` cost, and how they grow with the length of the sweep."""
    with tempfile.TemporaryDirectory() as name:
        lines: dict[float, int] = {}
        steps: dict[str, Step] = {"bare": (BARE, None)}
        for pace in PACES_MM_PER_S:
            folder = Path(name) / f"{pace:g}"
            folder.mkdir()
            Shell(folder)
            lines[pace] = sweep(folder, pace)
            steps |= {f"{each} {pace:g}": ((*COMMAND, each, "--json"), folder) for each in ("spots", "bolts")}
        found = medians(steps, runs)
    print(f"\n{'lines':>8} {'sweep':>8} {'spots':>9} {'bolts':>9}   times bare    times the shortest sweep")
    for pace, said in lines.items():
        took = [found[f"{each} {pace:g}"] for each in ("spots", "bolts")]
        short = [found[f"{each} {PACES_MM_PER_S[0]:g}"] for each in ("spots", "bolts")]
        times = " ".join(f"{1000 * each:6.0f} ms" for each in took)
        bare = " ".join(f"{each / found['bare']:5.0f}" for each in took)
        growth = " ".join(f"{each / first:5.2f}" for each, first in zip(took, short, strict=True))
        print(f"{said:8d} {said / RATE_HZ:6.0f} s {times}   {bare}   {growth}")


def main() -> None:
    """Both tables; ``runs`` (default 20) is how often the quick commands are taken, the slow ones a fourth of it."""
    runs = int(sys.argv[1]) if len(sys.argv) > 1 else 20
    print(f"Python {sys.version.split()[0]}, {os.cpu_count()} processors, medians of {runs} runs in turn")
    starting(runs)
    judging(max(2, runs // 4))


if __name__ == "__main__":
    main()
