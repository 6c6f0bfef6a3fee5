"""How fast each decoder is against a bare split of the same bytes, and what the node's clock model is worth.

Run: ``python -m tests.benchmarks.decoders``. Figures are ratios from one run on one machine; all data is invented. The
clock part simulates a node (uneven lines, 50 ppm fast crystal) whose bytes the host gets in clumps of 16 ms.
"""

from __future__ import annotations

import random
import statistics
import struct
import time
from collections.abc import Callable
from typing import TYPE_CHECKING

from logger.decode import make_decoder
from logger.decode.gauge_bits import PORT_24
from logger.decode.modbus_rtu import Register, spec_of, with_crc
from logger.decode.nmea import NmeaSpec
from logger.decode.node import NodeDecoder, NodeSpec
from logger.decode.scpi import ScpiSpec
from logger.decode.sentences import checksum
from logger.decode.typed import TypedSpec
from logger.readings import Reading

if TYPE_CHECKING:
    from logger.decode import FrameSpec

FRAMES = 20_000
CHUNK = 64
SPEED_MM_PER_S = 300.0
CLUMP_NS = 16_000_000
DRIFT = 50e-6


def sentence(body: str) -> bytes:
    return f"${body}*{checksum(body.encode()):02X}\r\n".encode()


def node_frame(sequence: int, t_us: int) -> bytes:
    return sentence(f"PTSNF,1,{sequence % 65536},{t_us},24,4B2000,{sequence}")


def families() -> dict[str, tuple[FrameSpec, list[bytes]]]:
    """Family -> its spec and frames that hold one reading each."""
    numbers = [(index * 7919) % 20_000 - 10_000 for index in range(FRAMES)]
    registers = spec_of([Register("", 1, "input", 0, "int32", "mm")])
    return {
        "scpi": (ScpiSpec(), [f"{number / 1000:.6E}\r\n".encode() for number in numbers]),
        "nmea_xdr": (NmeaSpec(), [sentence(f"WIXDR,A,{number / 1000:.3f},D,PITCH") for number in numbers]),
        "modbus_rtu": (registers, [with_crc(b"\x01\x04\x04" + struct.pack(">i", number)) for number in numbers]),
        "node": (NodeSpec(PORT_24, True, 40.0), [node_frame(i, 150_000 + i * 1000) for i in range(FRAMES)]),
        "typed": (TypedSpec(), [f"{number / 1000:.3f}\r\n".encode() for number in numbers]),
    }


def chunks(data: bytes) -> list[bytes]:
    return [data[at : at + CHUNK] for at in range(0, len(data), CHUNK)]


def seconds(work: Callable[[], object]) -> float:
    times = []
    for _ in range(3):
        began = time.perf_counter()
        work()
        times.append(time.perf_counter() - began)
    return statistics.median(times)


def bare_split(pieces: list[bytes]) -> int:
    tail, count = b"", 0
    for piece in pieces:
        *lines, tail = (tail + piece).split(b"\n")
        count += len(lines)
    return count


def decode(spec: FrameSpec, pieces: list[bytes]) -> int:
    decoder = make_decoder(spec)
    return sum(type(one) is Reading for at, piece in enumerate(pieces) for one in decoder.feed(piece, at * 1_000_000))


def throughput() -> None:
    print(f"{FRAMES} frames in chunks of {CHUNK} bytes; bare split of the same chunks at line ends = 1")
    for name, (spec, frames) in families().items():
        pieces = chunks(b"".join(frames))
        assert decode(spec, pieces) >= FRAMES - 200, name
        took, bare = seconds(lambda p=pieces, s=spec: decode(s, p)), seconds(lambda p=pieces: bare_split(p))  # type: ignore[misc]
        print(f"  {name:<11} {took / bare:6.1f} x   {FRAMES / took:9.0f} readings/s")


def clumped(seconds_long: float, seed: int) -> list[tuple[float, int, bytes]]:
    """(true moment in s, host stamp, line) of a simulated node: gauge frames ten times a second, lines in between."""
    chance = random.Random(seed)
    phase, sequence, t_us, next_frame = chance.randrange(CLUMP_NS), 0, 150_000, 0
    lines = []
    while t_us < seconds_long * 1e6:
        t_us += 17_000 + (sequence % 16) * 62
        sequence += 1
        is_frame = t_us >= next_frame
        next_frame += 100_000 if is_frame else 0
        body = f"PTSNP,1,{sequence % 65536},{t_us},{sequence}"
        line = node_frame(sequence, t_us) if is_frame else sentence(body)
        sent = 3_000_000_000 + round(t_us * 1000 * (1 + DRIFT)) + (11_000_000 if is_frame else 400_000)
        host = -(-(sent - phase) // CLUMP_NS) * CLUMP_NS + phase + chance.randrange(300_000)
        lines.append((3.0 + t_us * 1e-6 * (1 + DRIFT), host, line))
    return lines


def clock_error() -> None:
    print(
        f"\nnode lines in clumps of 16 ms, {DRIFT * 1e6:.0f} ppm, 20 runs of 30 s; error at {SPEED_MM_PER_S:.0f} mm/s:"
    )
    for label, since_s in (("from the start", 0.0), ("after 2 s", 2.0)):
        raw: list[float] = []
        model: list[float] = []
        settled: list[float] = []
        for seed in range(20):
            decoder = NodeDecoder(NodeSpec(PORT_24, True, 40.0), collect=True)
            told = clumped(30.0, seed)
            for true_s, host_ns, line in told:
                for one in decoder.feed(line, host_ns):
                    if type(one) is Reading and true_s >= 3.0 + since_s:
                        raw.append((host_ns / 1e9 - true_s) * SPEED_MM_PER_S)
                        model.append((one.t_ns / 1e9 - true_s) * SPEED_MM_PER_S)
            again = decoder.again()
            for true_s, host_ns, line in told:
                for one in again.feed(line, host_ns):
                    if type(one) is Reading and true_s >= 3.0 + since_s:
                        settled.append((one.t_ns / 1e9 - true_s) * SPEED_MM_PER_S)
        for name, errors in (("host stamps", raw), ("as it happens", model), ("when opened", settled)):
            spread = statistics.pstdev(errors)
            mean, worst = statistics.mean(errors), max(map(abs, errors))
            print(f"  {label:<15} {name}: mean {mean:+.3f}, spread {spread:.3f}, largest {worst:.3f} mm")


if __name__ == "__main__":
    throughput()
    clock_error()
