"""Feed the same bytes whole, one by one and cut anywhere, and compare what a decoder says."""

from __future__ import annotations

import csv
from collections.abc import Callable, Iterable
from itertools import pairwise
from pathlib import Path

from hypothesis import strategies as st

from logger.decode import Decoder
from logger.readings import Garbage, Reading, Record

DATA = Path(__file__).parents[2] / "data"
Make = Callable[[], Decoder]


def rows(name: str) -> list[dict[str, str]]:
    """The rows of a table in tests/data; its first line names the source."""
    lines = (DATA / name).read_text(encoding="utf-8").splitlines()
    return list(csv.DictReader(line for line in lines if not line.startswith("#")))


def decoded(make: Make, pieces: Iterable[bytes]) -> list[Record]:
    """Everything a fresh decoder says about the pieces, the end of the stream included."""
    decoder = make()
    records: list[Record] = []
    t_ns = 0
    for piece in pieces:
        t_ns += 1_000_000
        records += decoder.feed(piece, t_ns)
    return records + decoder.flush(t_ns)


def whole(make: Make, data: bytes) -> list[Record]:
    return decoded(make, [data])


def one_by_one(make: Make, data: bytes) -> list[Record]:
    return decoded(make, [bytes([byte]) for byte in data])


def pieces_of(data: bytes, cuts: Iterable[int]) -> list[bytes]:
    places = [0, *sorted(cut % (len(data) + 1) for cut in cuts), len(data)]
    return [data[a:b] for a, b in pairwise(places)]


def said(records: Iterable[Record]) -> list[tuple[object, ...]]:
    """What was measured, without stamps and without dirt (whose pieces depend on the cuts)."""
    return [
        (record.value, record.unit, record.channel, record.position)
        if isinstance(record, Reading)
        else (type(record).__name__,)
        for record in records
        if not isinstance(record, Garbage)
    ]


def values(records: Iterable[Record]) -> list[float]:
    return [record.value for record in records if isinstance(record, Reading)]


def dirt(records: Iterable[Record]) -> bytes:
    return b"".join(record.raw for record in records if isinstance(record, Garbage))


def reasons(records: Iterable[Record]) -> list[str]:
    return [record.why for record in records if isinstance(record, Garbage)]


cut_places = st.lists(st.integers(0, 10_000), max_size=12)
noise = st.binary(max_size=300)
