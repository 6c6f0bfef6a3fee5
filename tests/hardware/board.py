"""Build the sensor node's firmware and a simulated board for it, and put events on its pins."""

from __future__ import annotations

import shutil
import subprocess
from collections.abc import Iterable
from pathlib import Path

import pytest

HERE = Path(__file__).parent
NODE = HERE.parents[1] / "hardware" / "sensor-node"
APT = "apt-get install simavr libsimavr-dev gcc-avr avr-libc binutils-avr libelf-dev make gcc libc6-dev"

Event = tuple[float, str, int]
"""(microseconds, pin such as D2, level)."""


def build(folder: Path, **make: object) -> Path:
    """The firmware, built as its Makefile builds it; skips, and says why, where the compiler is missing."""
    missing = [tool for tool in ("avr-gcc", "avr-size", "make") if shutil.which(tool) is None]
    if missing:
        pytest.skip(f"{', '.join(missing)} not installed; the node's firmware was NOT tested: {APT}")
    options = [f"{name}={value}" for name, value in make.items()]
    subprocess.run(
        ["make", "-s", "-f", NODE / "Makefile", f"BUILD={folder}", *options], check=True, capture_output=True
    )
    return folder / "node.elf"


def board(folder: Path) -> Path:
    """The simulated board's program; skips, and says why, where the simulator is missing."""
    headers = Path("/usr/include/simavr")
    if shutil.which("cc") is None or not headers.is_dir():
        pytest.skip(f"simavr not installed; the node's firmware was NOT tested: {APT}")
    program = folder / "node_board"
    found: list[str | Path] = ["-isystem", headers, "-isystem", headers / "parts"]
    flags: list[str | Path] = ["-O2", *found, HERE / "node_board.c", "-o", program]
    subprocess.run(["cc", *flags, "-lsimavrparts", "-lsimavr", "-lelf", "-lpthread"], check=True)
    return program


def script(events: Iterable[Event], *more: str) -> str:
    """The events in the order of time, then ``more`` lines (resets and the end)."""
    lines = [(us, f"{us:.0f} {pin} {level}") for us, pin, level in events]
    lines += [(float(line.split()[0]), line) for line in more]
    return "".join(f"{line}\n" for _, line in sorted(lines, key=lambda pair: pair[0]))


def gauge_frame(at_us: float, bits: str, bit_us: float = 40.0) -> list[Event]:
    """One frame on the gauge port: the data line settles, then the clock rises and falls."""
    events: list[Event] = []
    for index, bit in enumerate(bits):
        start = at_us + index * bit_us
        events += [(start, "D3", int(bit)), (start + 0.2 * bit_us, "D2", 1), (start + 0.7 * bit_us, "D2", 0)]
    return events


def encoder_walk(at_us: float, steps: Iterable[int], edge_us: float) -> list[Event]:
    """Edges of the encoder, one step each, from state 11 (where the pull-ups hold it) and back the way it came."""
    code = [(1, 1), (1, 0), (0, 0), (0, 1)]
    place, events = 0, []
    for index, step in enumerate(steps):
        old, place = code[place % 4], place + step
        new = code[place % 4]
        pin, level = ("C0", new[0]) if old[0] != new[0] else ("C1", new[1])
        events.append((at_us + index * edge_us, pin, level))
    return events


AT_REST: list[Event] = [(1000, "D2", 0), (1000, "D3", 0)]
"""A gauge at rest holds clock and data low; the firmware's pull-ups hold everything else high."""
