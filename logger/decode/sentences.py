"""Sentences of the NMEA 0183 kind: a dollar sign, text, an asterisk and a checksum.

Why it exists: levels on a marine bus and our own sensor node frame their lines the same way. One place finds the start
again after dirt and checks the sum, so that no family can forget to. It prevents the mistake of taking a torn sentence,
or two that ran into each other, for one with a strange value.

::

    | $ | text, no $ or line end | * | two hexadecimal digits | CR LF |
        |<------------- XOR of these bytes                            (NMEA 0183, IEC 61162-1)
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from functools import reduce
from operator import xor

from logger.decode.tail import StampedTail
from logger.readings import Garbage

SENTENCE_AT_MOST = 256
"""Bytes kept while waiting for a line end. The standard allows 82; real devices send more in one XDR."""

_SENTENCE = re.compile(rb"\$(?P<text>[^$\r\n]{0,%d})(?:(?P<end>[\r\n])|(?=\$))" % SENTENCE_AT_MOST)
_CHECKED = re.compile(rb"(?P<body>[\x20-\x7e]*)\*(?P<sum>[0-9A-Fa-f]{2}) *")
_PADDING = b"\r\n\0 "


@dataclass(frozen=True, slots=True)
class Sentence:
    """One sentence whose checksum is right: ``fields`` split at commas, the address field first, and its bytes."""

    t_ns: int
    fields: tuple[str, ...]
    raw: bytes


def checksum(body: bytes) -> int:
    """XOR of all bytes between ``$`` and ``*``."""
    return reduce(xor, body, 0)


class SentenceSplitter:
    """Bytes in, sentences with a right checksum and dirt out. Keeps at most one unfinished sentence."""

    def __init__(self) -> None:
        self._tail = StampedTail()

    def feed(self, chunk: bytes, t_ns: int) -> list[Sentence | Garbage]:
        """Take what arrived; ``t_ns`` is the stamp of its last byte."""
        self._tail.add(chunk, t_ns)
        found, used = self._whole_sentences()
        start = self._tail.data.find(b"$", used)
        keep_from = start if start >= 0 and len(self._tail.data) - start <= SENTENCE_AT_MOST else len(self._tail.data)
        found += self._dirt(used, keep_from)
        self._tail.drop(keep_from)
        return found

    def flush(self) -> list[Sentence | Garbage]:
        """The far end closed: a last sentence without its line end counts if its checksum is right."""
        end = len(self._tail.data)
        found: list[Sentence | Garbage] = []
        if end:
            text = bytes(self._tail.data[1:])
            found.append(_checked(text, bytes(self._tail.data), self._tail.stamp(end - 1)))
        self._tail.drop(end)
        return found

    def _whole_sentences(self) -> tuple[list[Sentence | Garbage], int]:
        found: list[Sentence | Garbage] = []
        used = 0
        data = bytes(self._tail.data)
        for match in _SENTENCE.finditer(data):
            found += self._dirt(used, match.start())
            used = match.end()
            t_ns = self._tail.stamp(used - 1)
            raw = match.group(0).rstrip(b"\r\n")
            if match["end"] is None:
                found.append(Garbage(t_ns, raw, "sentence cut short by the next one"))
            else:
                found.append(_checked(match["text"], raw, t_ns))
        return found, used

    def _dirt(self, start: int, end: int) -> list[Garbage]:
        if not bytes(self._tail.data[start:end]).strip(_PADDING):
            return []
        return self._tail.dirt(start, end, "not part of a sentence")


def _checked(text: bytes, raw: bytes, t_ns: int) -> Sentence | Garbage:
    match = _CHECKED.fullmatch(text)
    if match is None:
        return Garbage(t_ns, raw, "sentence without a checksum")
    if int(match["sum"], 16) != checksum(match["body"]):
        return Garbage(t_ns, raw, f"sentence checksum {match['sum'].decode()} is not {checksum(match['body']):02X}")
    return Sentence(t_ns, tuple(match["body"].decode("ascii").split(",")), raw)
