"""The sensor node's lines: gauge frames, carriage position, foot switch, each with sequence number and device time.

Why it exists: the node reads what a PC cannot (clocked bits, encoder edges) and must not lose or misdate any of it on
the way. It prevents four mistakes: a lost line taken for a standstill (sequence numbers), a late line taken for a late
reading (device time), a position that silently starts again from zero after a restart, and a newer node's lines read by
older rules.

Protocol 1 (hardware/sensor-node/protocol.md), in the style of the NMEA 0183 proprietary sentence::

    $PTSNF,1,seq,t_us,bits,hex,count*hh          a gauge frame; t_us: its first clock edge
    $PTSNP,1,seq,t_us,count*hh                   position, while the encoder moves
    $PTSNM,1,seq,t_us,count*hh                   foot switch pressed; t_us: the first contact
    $PTSNI,1,seq,t_us,count*hh                   the encoder's index was passed; count: at its edge
    $PTSNS,1,seq,t_us,count,double,frames*hh     alive, four times a second: counted double changes and broken frames
    $PTSNH,1,seq,t_us,reason,firmware*hh         just started: power, reset, brown-out, watchdog

What a cable does to it: bytes lost (checksum), lines lost (the next sequence number jumps: a ``Gap``), lines in clumps
(``node_clock``), and a supply dip that restarts the node (hello line, or time that runs back: a ``Gap``, and no
position from then on, because the count began again somewhere). Opening the port restarts most boards: lines of the
first 0.1 s give no position unless the hello line was seen.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from logger.decode.gauge_bits import BitFrame, bits_from_hex, read_frame
from logger.decode.node_clock import DeviceClock, SettledClock
from logger.decode.sentences import Sentence, SentenceSplitter
from logger.readings import Gap, Garbage, Index, Mark, Reading, Record

PROTOCOL = 1
SEQUENCE = 1 << 16
_BACK_AT_MOST_US = 1_000_000
"""An event's time may lie a little before an earlier line's (it was stamped, then waited); more is a restart."""

_OPENING_US = 100_000
"""Opening a port resets most boards within milliseconds: a count seen only this early belongs to the time before."""

_FIELDS = {"F": 7, "P": 5, "M": 5, "I": 5, "S": 7, "H": 6}
_WHOLE = re.compile(r"\d{1,19}", re.ASCII)
_COUNT = re.compile(r"-?\d{1,10}", re.ASCII)


@dataclass(frozen=True, slots=True)
class NodeSpec:
    """What hangs on the node. ``frame`` None: no gauge; ``encoder`` False: the count is not looked at.

    ``clock``: ``host`` gives readings the host's time, sharpened by the device's; ``device`` the device's own,
    counted from the first line's host stamp. ``position_channel``: name under which position and alive lines become
    readings of their own (in mm, needs ``counts_per_mm``); empty: position only stands beside gauge readings.
    """

    frame: BitFrame | None
    encoder: bool = False
    counts_per_mm: float | None = None
    channel: str = ""
    position_channel: str = ""
    clock: Literal["host", "device"] = "host"


@dataclass(frozen=True, slots=True)
class _Line:
    """The fields all lines share, understood."""

    kind: str
    sequence: int
    t_us: int
    rest: tuple[str, ...]
    sentence: Sentence


class NodeDecoder:
    """Node lines in, readings, marks and gaps out. Keeps one unfinished line and the clock's hull.

    While it happens only the lines so far say how the clocks lie. Afterwards ``collect`` keeps every line's two times,
    and :meth:`again` gives the decoder that knows the clocks from the whole recording (``clocks``, one for each run of
    the node between two restarts).
    """

    def __init__(self, spec: NodeSpec, collect: bool = False, clocks: Sequence[SettledClock | None] = ()) -> None:
        self._spec = spec
        self._clocks = clocks
        self._runs: list[list[tuple[int, int]]] | None = [] if collect else None
        self._run = -1
        self._splitter = SentenceSplitter()
        self._position_known = spec.encoder
        self._position_used = False
        self._last_t_ns = 0
        self._forget()

    def feed(self, chunk: bytes, t_ns: int) -> list[Record]:
        """Take what arrived; ``t_ns`` is the stamp of its last byte."""
        return self._records(self._splitter.feed(chunk, t_ns))

    def flush(self, t_ns: int) -> list[Record]:
        """The far end closed: what is left."""
        return self._records(self._splitter.flush())

    def key(self, t_ns: int) -> list[Record]:
        """The operator's key at host time ``t_ns``."""
        return [Mark(self.in_time_base(t_ns), "key")]

    def in_time_base(self, t_ns: int) -> int:
        """A host stamp in the recording's time base."""
        fit = self._settled or self._clock.fit
        if self._spec.clock == "host" or fit is None or self._start is None:
            return t_ns
        return max(0, fit.device_ns(t_ns) - self._start[0] + self._start[1])

    @property
    def clock(self) -> DeviceClock:
        """How the node's clock lies against the host's, as known so far."""
        return self._clock

    def again(self) -> NodeDecoder:
        """A fresh decoder for the same bytes that knows the clocks beforehand; needs ``collect``."""
        runs = self._runs or []
        return NodeDecoder(self._spec, clocks=[SettledClock(lines) if lines else None for lines in runs])

    def _forget(self) -> None:
        self._run += 1
        self._settled = self._clocks[self._run] if self._run < len(self._clocks) else None
        if self._runs is not None:
            self._runs.append([])
        self._clock = DeviceClock()
        self._sequence: int | None = None
        self._newest_us = 0
        self._first_us: int | None = None
        self._start: tuple[int, int] | None = None

    def _records(self, found: list[Sentence | Garbage]) -> list[Record]:
        records: list[Record] = []
        for one in found:
            records += [one] if isinstance(one, Garbage) else self._sentence(one)
        return records

    def _sentence(self, sentence: Sentence) -> list[Record]:
        line = _understood(sentence)
        if isinstance(line, Garbage):
            return [line]
        before = self._continuity(line)
        self._learn(line)
        self._last_t_ns = self._t_ns(line)
        return [*before, *self._meaning(line)]

    def _continuity(self, line: _Line) -> list[Record]:
        """The gap before this line, if there is one; a restart forgets clock, sequence and position."""
        if self._sequence is None:
            self._sequence = line.sequence
            return []
        host_ns = self.in_time_base(line.sentence.t_ns)
        if line.kind == "H" or line.t_us < self._newest_us - _BACK_AT_MOST_US:
            return self._restarted(line, host_ns)
        missing = (line.sequence - self._sequence - 1) % SEQUENCE
        self._sequence = line.sequence
        if not missing:
            return []
        return [Gap(self._last_t_ns, max(self._last_t_ns, self._t_ns(line)), "lines lost")]

    def _restarted(self, line: _Line, host_ns: int) -> list[Record]:
        gap = Gap(min(self._last_t_ns, host_ns), host_ns, "node restarted")
        self._forget()
        self._sequence = line.sequence
        if not (self._position_known and self._position_used):
            return [gap]
        self._position_known = False
        why = "node restarted: its position count began again, so positions are not used from here on"
        return [gap, Garbage(host_ns, line.sentence.raw, why)]

    def _learn(self, line: _Line) -> None:
        device_ns = line.t_us * 1000
        self._newest_us = max(self._newest_us, line.t_us)
        if self._start is None:
            self._start = (device_ns, line.sentence.t_ns)
        if self._first_us is None:
            self._first_us = line.t_us - _OPENING_US if line.kind == "H" else line.t_us
        self._clock.see(device_ns, line.sentence.t_ns)
        if self._runs is not None:
            self._runs[-1].append((device_ns, line.sentence.t_ns))

    def _t_ns(self, line: _Line) -> int:
        """The line's time in the recording's time base; never later than the line itself."""
        device_ns, host_ns = line.t_us * 1000, line.sentence.t_ns
        if self._spec.clock == "device" and self._start is not None:
            return max(0, device_ns - self._start[0] + self._start[1])
        known = self._settled.host_ns(device_ns) if self._settled is not None else self._clock.host_ns(device_ns)
        return host_ns if known is None else max(0, min(known, host_ns))

    def _meaning(self, line: _Line) -> list[Record]:
        t_ns = self._last_t_ns
        if line.kind == "M":
            return [Mark(t_ns, "switch")]
        if line.kind == "I":
            count = self._position(line, line.rest[0])
            return [] if count is None else [Index(t_ns, count)]
        if line.kind == "F":
            return self._gauge(line, t_ns)
        scale = self._spec.counts_per_mm
        if line.kind in "PS" and self._spec.position_channel and scale:
            count = self._position(line, line.rest[0])
            return [] if count is None else [Reading(t_ns, count / scale, "mm", self._spec.position_channel, count)]
        return []

    def _position(self, line: _Line, count: str) -> float | None:
        """The count where it means something; remembers that it was used."""
        opening = self._first_us is not None and line.t_us < self._first_us + _OPENING_US
        if not self._position_known or opening:
            return None
        self._position_used = True
        return float(count)

    def _gauge(self, line: _Line, t_ns: int) -> list[Record]:
        length, digits, count = line.rest
        bits = bits_from_hex(digits, int(length))
        if bits is None:
            return [Garbage(t_ns, line.sentence.raw, "gauge frame whose bits and length differ")]
        if self._spec.frame is None:
            return []
        read = read_frame(self._spec.frame, bits)
        if isinstance(read, str):
            return [Garbage(t_ns, line.sentence.raw, read)]
        return [Reading(t_ns, read[0], read[1], self._spec.channel, self._position(line, count))]


def _understood(sentence: Sentence) -> _Line | Garbage:
    """The line's shared fields, or why it cannot be read."""
    address, *fields = sentence.fields
    kind = address[4:]
    if not address.startswith("PTSN") or not fields:
        return Garbage(sentence.t_ns, sentence.raw, "a sentence, but not from a sensor node")
    if fields[0] != str(PROTOCOL):
        newer = _WHOLE.fullmatch(fields[0]) is not None and int(fields[0]) > PROTOCOL
        said = f"node speaks protocol {fields[0]}, newer than {PROTOCOL}: recorded but not read; update truestroke"
        why = said if newer else "node line with an unknown protocol number"
        return Garbage(sentence.t_ns, sentence.raw, why)
    if len(sentence.fields) != _FIELDS.get(kind, 0) or not _well_formed(kind, fields):
        return Garbage(sentence.t_ns, sentence.raw, "node line with unknown or wrong fields")
    return _Line(kind, int(fields[1]) % SEQUENCE, int(fields[2]), tuple(fields[3:]), sentence)


def _well_formed(kind: str, fields: list[str]) -> bool:
    if any(_WHOLE.fullmatch(field) is None for field in fields[:3]):
        return False
    if kind == "F":
        return _WHOLE.fullmatch(fields[3]) is not None and _COUNT.fullmatch(fields[5]) is not None
    if kind == "S":
        return _COUNT.fullmatch(fields[3]) is not None and all(_WHOLE.fullmatch(field) for field in fields[4:])
    return kind == "H" or _COUNT.fullmatch(fields[3]) is not None
