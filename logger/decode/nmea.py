"""NMEA 0183 / IEC 61162-1 transducer sentences (XDR): inclinometers and displacement probes.

Why it exists: many inclinometers speak this open marine form. It prevents the mistakes of taking a temperature or a
heel sensor's other axis for the level, and metres for millimetres.

The sentence gives measurements in fours: type, value, unit, name::

    $--XDR,A,x.x,D,name,D,x.x,M,name*hh      A: angle in degrees (- anticlockwise), D: displacement in metres
    $WIXDR,A,+02.9,D,PITCH,A,+00.7,D,ROLL*07

What a cable does to it: bytes lost or doubled (the checksum sees it), two sentences run together (the search starts
again at each ``$``), other talkers on the same bus (sound sentences that are no XDR are passed over; they are on disk
as they came). A sentence without a checksum is not believed. An empty value means the transducer has none.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from decimal import Decimal

from logger.decode.sentences import Sentence, SentenceSplitter
from logger.readings import Gap, Garbage, Reading, Record

_NUMBER = re.compile(r"[+-]?(?:\d{1,15}(?:\.\d{0,15})?|\.\d{1,15})")
_KINDS = {("A", "D"): ("deg", 0), ("D", "M"): ("mm", 3)}
"""(type, unit) -> our unit and the power of ten to it."""


@dataclass(frozen=True, slots=True)
class NmeaSpec:
    """Which transducers are read: ``(name in the sentence, channel)``; empty: every angle and displacement by name."""

    transducers: tuple[tuple[str, str], ...] = ()


class NmeaDecoder:
    """Sentences in, readings in degrees and millimetres out."""

    def __init__(self, spec: NmeaSpec) -> None:
        self._channels = dict(spec.transducers)
        self._splitter = SentenceSplitter()

    def feed(self, chunk: bytes, t_ns: int) -> list[Record]:
        """Take what arrived; ``t_ns`` is the stamp of its last byte."""
        return self._records(self._splitter.feed(chunk, t_ns))

    def flush(self, t_ns: int) -> list[Record]:
        """The far end closed: what is left."""
        return self._records(self._splitter.flush())

    def _records(self, found: list[Sentence | Garbage]) -> list[Record]:
        records: list[Record] = []
        for one in found:
            records += [one] if isinstance(one, Garbage) else self._measurements(one)
        return records

    def _measurements(self, sentence: Sentence) -> list[Record]:
        address, *fields = sentence.fields
        if not (len(address) == 5 and address.endswith("XDR")):
            return []
        if len(fields) % 4:
            return [Garbage(sentence.t_ns, sentence.raw, f"XDR with {len(fields)} fields, not in fours")]
        records: list[Record] = []
        for kind, value, unit, name in zip(*[iter(fields)] * 4, strict=True):
            ours = _KINDS.get((kind, unit))
            if ours is None or (self._channels and name not in self._channels):
                continue
            records.append(_measurement(sentence, value, ours, self._channels.get(name, name)))
        return records


def _measurement(sentence: Sentence, text: str, ours: tuple[str, int], channel: str) -> Record:
    if not text:
        return Gap(sentence.t_ns, sentence.t_ns, "no value")
    if _NUMBER.fullmatch(text) is None:
        return Garbage(sentence.t_ns, sentence.raw, f"XDR value of {channel} is not a number")
    unit, power = ours
    return Reading(sentence.t_ns, float(Decimal(text).scaleb(power)), unit, channel)
