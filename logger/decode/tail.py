"""The bytes that are not yet a frame, and when each of them arrived.

Why it exists: a binary frame is cut anywhere by a USB converter, and a false start may hold a good frame back until
more bytes come. A reading must carry the stamp of the chunk that brought its own last byte, not of the chunk that
happened to free it. It prevents both a tail without bound and readings stamped late.
"""

from __future__ import annotations

from collections import deque

from logger.readings import Garbage

DIRT_PIECE = 256
"""Longest run of bytes put into one ``Garbage``, so that a megabyte of noise stays small records."""


class StampedTail:
    """A byte buffer whose every byte knows its chunk's stamp. The owner takes bytes off with :meth:`drop`."""

    def __init__(self) -> None:
        self.data = bytearray()
        self._gone = 0
        self._stamps: deque[tuple[int, int]] = deque()

    def add(self, chunk: bytes, t_ns: int) -> None:
        """Append what arrived with its stamp."""
        if chunk:
            self.data += chunk
            self._stamps.append((self._gone + len(self.data), t_ns))

    def stamp(self, index: int) -> int:
        """The stamp of the byte at ``index`` (0 is the oldest byte kept)."""
        place = self._gone + index
        for end, t_ns in self._stamps:
            if place < end:
                return t_ns
        return self._stamps[-1][1] if self._stamps else 0

    def drop(self, count: int) -> None:
        """Forget the ``count`` oldest bytes."""
        del self.data[:count]
        self._gone += count
        while len(self._stamps) > 1 and self._stamps[0][0] <= self._gone:
            self._stamps.popleft()

    def dirt(self, start: int, end: int, why: str) -> list[Garbage]:
        """The bytes ``start:end`` as ``Garbage`` in pieces of at most :data:`DIRT_PIECE` bytes."""
        pieces = range(start, end, DIRT_PIECE)
        cuts = [(at, min(at + DIRT_PIECE, end)) for at in pieces]
        return [Garbage(self.stamp(stop - 1), bytes(self.data[at:stop]), why) for at, stop in cuts]
