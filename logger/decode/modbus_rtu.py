"""Modbus RTU: the answers of levels and probes on RS-485, and the read-only questions that fetch them.

Why it exists: many electronic levels and displacement probes speak only this. It prevents two mistakes: taking a
damaged answer for a height (a frame without a right CRC is never a reading), and writing to a device (only functions
03 and 04, which read, can be built here).

An answer to *read holding* (03) or *read input registers* (04), Modbus Application Protocol V1.1b3, 6.3 and 6.4::

    | address | function | byte count |  register    | ... | CRC low | CRC high |
    | 1 byte  | 03 or 04 |    2 n     |  high, low   |     | over all before    |

An exception, clause 7::

    | address | 83 or 84 | code | CRC low | CRC high |

What a cable does to it: a USB converter removes the silence that should part frames (so length and CRC part them here,
never time); an RS-485 adapter echoes our own question (known and passed over); the bus driver's switching adds 00 or FF
bytes before an answer; another server's answer arrives on the same pair (an address or length nobody asked for).
After a CRC that fails, the search goes on one byte later, so a whole frame behind a torn one is still found.
Danger left: an answer does not say which register it is about. Two questions whose answers look alike (same address,
function and length) become one that reads what lies between them too, and where that is too much they are refused.
"""

from __future__ import annotations

import math
import struct
from collections.abc import Iterable
from dataclasses import dataclass
from decimal import Decimal
from typing import Literal

from logger.decode.tail import StampedTail
from logger.readings import Gap, Garbage, Reading, Record

RegisterType = Literal["int16", "uint16", "int32", "uint32", "float32"]
WordOrder = Literal["high first", "low first"]
Table = Literal["input", "holding"]

FUNCTION: dict[Table, int] = {"holding": 3, "input": 4}
REGISTERS_AT_MOST = 125
"""Registers one answer can carry (Modbus Application Protocol V1.1b3, 6.3 and 6.4: quantity 1 to 7Dh)."""

EXCEPTIONS = {
    1: "function not served",
    2: "no such register",
    3: "value not allowed",
    4: "device failure",
    5: "acknowledged, still working",
    6: "busy",
    8: "memory parity error",
    10: "gateway has no path",
    11: "gateway target silent",
}
_FORMAT: dict[RegisterType, str] = {"int16": ">h", "uint16": ">H", "int32": ">i", "uint32": ">I", "float32": ">f"}


@dataclass(frozen=True, slots=True)
class Register:
    """One quantity in the device's register map.

    ``register`` counts from 0 as on the wire (a manual's 30009 or 40009 is 8 here). ``scale`` turns the raw number
    into ``unit``. ``no_value`` lists raw numbers by which the device says it cannot measure.
    """

    channel: str
    address: int
    table: Table
    register: int
    type: RegisterType
    unit: str
    scale: float = 1.0
    word_order: WordOrder = "high first"
    no_value: tuple[int, ...] = ()

    @property
    def words(self) -> int:
        """How many 16-bit registers the quantity takes."""
        return 1 if self.type in ("int16", "uint16") else 2

    @property
    def end(self) -> int:
        """The first register after the quantity."""
        return self.register + self.words

    def raw(self, words: bytes) -> float:
        """The raw number in ``words`` (2 or 4 bytes, as they came)."""
        if self.words == 2 and self.word_order == "low first":
            words = words[2:] + words[:2]
        number: float = struct.unpack(_FORMAT[self.type], words)[0]
        return number

    def value(self, raw: float) -> float | None:
        """``raw`` in the unit, or None where the device says it has no value."""
        if not math.isfinite(raw) or raw in self.no_value:
            return None
        if self.type == "float32":
            return raw * self.scale
        return float(Decimal(int(raw)) * Decimal(str(self.scale)))


@dataclass(frozen=True, slots=True)
class Read:
    """One question: ``count`` registers of one table of one device, from ``first``, and the quantities inside."""

    address: int
    table: Table
    first: int
    count: int
    registers: tuple[Register, ...]

    @property
    def request(self) -> bytes:
        """The bytes of the question, CRC included."""
        return with_crc(struct.pack(">BBHH", self.address, FUNCTION[self.table], self.first, self.count))

    @property
    def likeness(self) -> tuple[int, int, int]:
        """What an answer shows of its question: address, function, byte count."""
        return (self.address, FUNCTION[self.table], 2 * self.count)


@dataclass(frozen=True, slots=True)
class ModbusSpec:
    """All questions asked on one line. Build it with :func:`spec_of` and look at :meth:`faults` before use."""

    reads: tuple[Read, ...]

    def requests(self) -> tuple[bytes, ...]:
        """The questions to send, one after the other, each once the one before was answered or given up."""
        return tuple(read.request for read in self.reads)

    def faults(self) -> list[str]:
        """What makes this map unusable, each in a sentence; empty when it is sound."""
        registers = [register for read in self.reads for register in read.registers]
        return [*_out_of_range(self.reads), *_overlaps(registers), *_look_alikes(self.reads)]


def spec_of(registers: Iterable[Register]) -> ModbusSpec:
    """Join registers that touch (same device, same table) into as few questions as reach them.

    Registers in between are not asked for where it can be helped: a device may answer a whole question with *no such
    register* for one hole. It cannot where two answers would look alike.
    """
    reads: list[Read] = []
    for register in sorted(registers, key=lambda r: (r.address, r.table, r.register)):
        last = reads[-1] if reads else None
        if last is not None and _continues(last, register):
            count = max(last.first + last.count, register.end) - last.first
            reads[-1] = Read(last.address, last.table, last.first, count, (*last.registers, register))
        else:
            reads.append(Read(register.address, register.table, register.register, register.words, (register,)))
    return ModbusSpec(tuple(_told_apart(reads)))


def _told_apart(reads: list[Read]) -> list[Read]:
    """Questions whose answers look alike, joined over what lies between them while one question can reach so far."""
    for at, one in enumerate(reads):
        for to in range(at + 1, len(reads)):
            other = reads[to]
            count = other.first + other.count - one.first
            if other.likeness == one.likeness and count <= REGISTERS_AT_MOST:
                registers = tuple(register for read in reads[at : to + 1] for register in read.registers)
                joined = Read(one.address, one.table, one.first, count, registers)
                return _told_apart([*reads[:at], joined, *reads[to + 1 :]])
    return reads


def _continues(read: Read, register: Register) -> bool:
    same_place = (read.address, read.table) == (register.address, register.table)
    touches = register.register <= read.first + read.count
    return same_place and touches and register.end - read.first <= REGISTERS_AT_MOST


def _name(register: Register) -> str:
    span = f"{register.register}" if register.words == 1 else f"{register.register}-{register.end - 1}"
    return f"{register.channel!r} ({register.table} {span} of device {register.address})"


def _out_of_range(reads: tuple[Read, ...]) -> list[str]:
    faults = [f"device address {r.address} is not in 1 to 247" for r in reads if not 1 <= r.address <= 247]
    faults += [
        f"{_name(register)} does not fit in registers 0 to 65535"
        for read in reads
        for register in read.registers
        if not 0 <= register.register <= 0x10000 - register.words
    ]
    return faults


def _overlaps(registers: list[Register]) -> list[str]:
    faults = []
    for index, one in enumerate(registers):
        for other in registers[index + 1 :]:
            same_table = (one.address, one.table) == (other.address, other.table)
            if same_table and one.register < other.end and other.register < one.end:
                faults.append(f"{_name(one)} and {_name(other)} overlap")
    return faults


def _look_alikes(reads: tuple[Read, ...]) -> list[str]:
    seen: dict[tuple[int, int, int], Read] = {}
    faults = []
    for read in reads:
        other = seen.setdefault(read.likeness, read)
        if other is not read:
            faults.append(
                f"{_name(other.registers[0])} and {_name(read.registers[0])} would be answered by frames that look "
                f"alike, and more than {REGISTERS_AT_MOST} registers, the most that one question can read, lie between "
                "their ends; leave one out"
            )
    return faults


def crc16(data: bytes | bytearray) -> int:
    """CRC-16 of Modbus (serial line specification V1.02, 6.2.2): start FFFFh, reflected polynomial A001h."""
    crc = 0xFFFF
    for byte in data:
        crc = (crc >> 8) ^ _CRC_TABLE[(crc ^ byte) & 0xFF]
    return crc


def with_crc(body: bytes) -> bytes:
    """``body`` followed by its CRC, low byte first."""
    return body + struct.pack("<H", crc16(body))


def _crc_table() -> tuple[int, ...]:
    table = []
    for byte in range(256):
        crc = byte
        for _ in range(8):
            crc = (crc >> 1) ^ 0xA001 if crc & 1 else crc >> 1
        table.append(crc)
    return tuple(table)


_CRC_TABLE = _crc_table()
_EXCEPTION_LENGTH = 5
_HEADER = 3


class ModbusDecoder:
    """Answers in, readings out. Keeps less than one frame (256 bytes) between calls; never raises."""

    def __init__(self, spec: ModbusSpec) -> None:
        self._reads = {read.likeness: read for read in spec.reads}
        self._echoes = frozenset(spec.requests())
        self._servers = frozenset((read.address, FUNCTION[read.table]) for read in spec.reads)
        self._addresses = frozenset(read.address for read in spec.reads)
        self._tail = StampedTail()

    def feed(self, chunk: bytes, t_ns: int) -> list[Record]:
        """Take what arrived; ``t_ns`` is the stamp of its last byte."""
        self._tail.add(chunk, t_ns)
        return self._scan(last=False)

    def flush(self, t_ns: int) -> list[Record]:
        """The far end closed: whole frames behind a false start are still found, the rest is dirt."""
        return self._scan(last=True)

    def _scan(self, last: bool) -> list[Record]:
        records: list[Record] = []
        data = self._tail.data
        at = dirt_from = 0
        crc_failed = False
        while at < len(data):
            lengths = self._lengths(at)
            whole = [n for n in lengths if at + n <= len(data)]
            good = next((n for n in whole if _sound(data[at : at + n])), None)
            if good is not None:
                records += self._dirt(dirt_from, at, crc_failed)
                records += self._records(bytes(data[at : at + good]), self._tail.stamp(at + good - 1))
                at += good
                dirt_from, crc_failed = at, False
            elif len(whole) < len(lengths) and not last:
                break
            else:
                crc_failed = crc_failed or bool(whole)
                at += 1
        records += self._dirt(dirt_from, at, crc_failed)
        self._tail.drop(at)
        return records

    def _lengths(self, at: int) -> list[int]:
        """Lengths a frame of ours starting at ``at`` could have; a start cut short counts as its shortest frame."""
        data = self._tail.data
        head = bytes(data[at : at + _HEADER])
        if head[0] not in self._addresses:
            return []
        if len(head) == 1:
            return [_EXCEPTION_LENGTH]
        if (head[0], head[1] & 0x7F) not in self._servers:
            return []
        if head[1] & 0x80:
            return [_EXCEPTION_LENGTH]
        if len(head) < _HEADER:
            return [_EXCEPTION_LENGTH]
        lengths = [_HEADER + head[2] + 2] if (head[0], head[1], head[2]) in self._reads else []
        if any(echo.startswith(bytes(data[at : at + 8])) for echo in self._echoes):
            lengths.append(8)
        return lengths

    def _dirt(self, start: int, end: int, crc_failed: bool) -> list[Garbage]:
        why = "Modbus answer whose CRC is wrong" if crc_failed else "not an answer to any of our Modbus questions"
        return self._tail.dirt(start, end, why)

    def _records(self, frame: bytes, t_ns: int) -> list[Record]:
        if frame in self._echoes:
            return []
        if frame[1] & 0x80:
            meaning = EXCEPTIONS.get(frame[2], "unknown code")
            why = f"device {frame[0]} refuses: Modbus exception {frame[2]:02X}, {meaning}"
            return [Gap(t_ns, t_ns, "no value"), Garbage(t_ns, frame, why)]
        read = self._reads[(frame[0], frame[1], frame[2])]
        return [_record(register, read, frame, t_ns) for register in read.registers]


def _sound(frame: bytes | bytearray) -> bool:
    return len(frame) >= _EXCEPTION_LENGTH and crc16(frame) == 0


def _record(register: Register, read: Read, frame: bytes, t_ns: int) -> Record:
    start = _HEADER + 2 * (register.register - read.first)
    value = register.value(register.raw(frame[start : start + 2 * register.words]))
    if value is None or not math.isfinite(value):
        return Gap(t_ns, t_ns, "no value")
    return Reading(t_ns, value, register.unit, register.channel)
