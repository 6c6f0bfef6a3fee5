"""Lines out of chunks cut anywhere, each with its own stamp, never more than 256 bytes kept.

::

    chunk as read   ...0.12|3\\r\\n+0.124\\r\\n+0.1|25\\r...
                            └ end of a line: its stamp is interpolated by byte count between the stamp of the
                              previous chunk's last byte and of this one's

CR, LF and CRLF all end a line, also when a cable cuts between CR and LF: a line ends at the first of them, and the
empty line that may remain is no line. The mistakes prevented: waiting for a line end that never comes, growing without
bound on noise, and giving twenty lines of one USB clump the same moment.
"""

from __future__ import annotations

LONGEST_LINE = 256
LONGEST_CLUMP_NS = 20_000_000
"""Bytes that arrive together were sent within this time before (a common USB bridge waits 16 ms): common practice."""


class LineSplitter:
    """Bytes in, ``(t_ns, line)`` out. A line longer than 256 bytes comes once, cut to 257 bytes, and the rest is
    skipped up to the next line end: its length says what it is."""

    def __init__(self) -> None:
        self._tail = b""
        self._skipping = False
        self._last_ns = 0

    def feed(self, chunk: bytes, t_ns: int) -> list[tuple[int, bytes]]:
        if not chunk:
            return []
        span = min(max(0, t_ns - self._last_ns), LONGEST_CLUMP_NS)
        self._last_ns = t_ns
        end = chunk.find(b"\n")
        if end == len(chunk) - 1 and not self._tail and not self._skipping:  # the everyday case: one line, whole
            cr = chunk.find(b"\r")
            if cr < 0 or cr == end - 1:
                line = chunk[: min(end if cr < 0 else cr, LONGEST_LINE + 1)]
                return [(t_ns, line)] if line else []
        lines, end = self._split(chunk)
        stamped = _stamp(lines, end, len(chunk), t_ns, span)
        if len(self._tail) > LONGEST_LINE:
            stamped.append((t_ns, self._tail[: LONGEST_LINE + 1]))
            self._tail, self._skipping = b"", True
        return stamped

    def flush(self, t_ns: int) -> list[tuple[int, bytes]]:
        """What is left when no more bytes will come."""
        line, self._tail, self._skipping = self._tail, b"", False
        return [(t_ns, line)] if line else []

    def _split(self, chunk: bytes) -> tuple[list[bytes], int]:
        """The complete lines, and how many bytes of ``chunk`` they and their ends took."""
        used = 0
        if self._skipping:
            used = _first_line_end(chunk)
            if used < 0:
                return [], 0
            self._skipping = False
        data = self._tail + chunk[used:]
        lines = data.splitlines()  # bytes split at CR, LF and CRLF only
        self._tail = b"" if data[-1:] in (b"\r", b"\n") or not lines else lines.pop()
        return lines, len(chunk) - len(self._tail) if lines else 0


def _first_line_end(chunk: bytes) -> int:
    ends = [place for place in (chunk.find(b"\n"), chunk.find(b"\r")) if place >= 0]
    return min(ends, default=-1)


def _stamp(lines: list[bytes], end: int, size: int, t_ns: int, span: int) -> list[tuple[int, bytes]]:
    """Each line with the moment its end was sent: ``end`` of ``size`` bytes are the lines', spread over ``span``."""
    if not lines:
        return []
    per_byte = span / size
    last_ns = t_ns - (size - end) * per_byte
    line_ends = 2 if len(lines) > 1 and sum(map(len, lines)) + 2 * len(lines) - 1 <= end else 1
    left = sum(map(len, lines)) + line_ends * len(lines)
    stamped = []
    for line in lines:
        left -= len(line) + line_ends
        if line:
            t = int(last_ns - left * per_byte) // 1000 * 1000
            stamped.append((t if t > 0 else 0, line[: LONGEST_LINE + 1] if len(line) > LONGEST_LINE else line))
    return stamped
