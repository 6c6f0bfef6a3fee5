"""The sensor node's lines: frames, position, switch, lost lines, restarts, newer nodes."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from logger.decode import Decoder, DeviceTimed
from logger.decode.gauge_bits import PORT_24
from logger.decode.node import NodeDecoder, NodeSpec
from logger.decode.sentences import checksum
from logger.readings import Gap, Garbage, Index, Mark, Reading, Record
from tests.logger.decode.cuts import (
    cut_places,
    decoded,
    noise,
    one_by_one,
    pieces_of,
    reasons,
    rows,
    said,
    values,
    whole,
)

SPEC = NodeSpec(PORT_24, encoder=True, counts_per_mm=40.0)
MS = 1_000_000


def node() -> Decoder:
    return NodeDecoder(SPEC)


def line(kind: str, *fields: object) -> bytes:
    body = ",".join([f"PTSN{kind}", "1", *map(str, fields)])
    return f"${body}*{checksum(body.encode()):02X}\r\n".encode()


def hello(sequence: int = 0, t_us: int = 150) -> bytes:
    return line("H", sequence, t_us, "power", "1.0")


def frame(sequence: int, t_us: int, value_mm: float = 12.34, count: int = 0) -> bytes:
    hundredths = round(value_mm * 100)
    word = abs(hundredths) | ((hundredths < 0) << 20)
    return line("F", sequence, t_us, 24, f"{int(f'{word:024b}'[::-1], 2):06X}", count)


def status(sequence: int, t_us: int) -> bytes:
    return line("S", sequence, t_us, 0, 0, 0)


def fed(decoder: Decoder, *lines: tuple[int, bytes]) -> list[Record]:
    return [record for t_ms, data in lines for record in decoder.feed(data, t_ms * MS)]


@pytest.mark.parametrize("row", rows("port24_frames.csv"), ids=lambda row: row["value"])
def test_frames_of_the_24_bit_port_through_the_node(row):
    digits = f"{int(row['bits_in_transmission_order_first_to_last'], 2):06X}"
    stream = hello() + line("F", 1, 200_000, 24, digits, 4000)
    for records in (whole(node, stream), one_by_one(node, stream)):
        assert said(records) == [(float(row["value"]), row["unit"], "", 4000.0)]


def test_a_press_of_the_foot_switch():
    records = fed(node(), (0, hello()), (500, line("M", 1, 480_000, 100)))
    assert [record.source for record in records if isinstance(record, Mark)] == ["switch"]


def test_position_as_a_reading_of_its_own():
    spec = NodeSpec(None, True, 40.0, position_channel="position")
    records = fed(NodeDecoder(spec), (0, hello()), (500, line("P", 1, 500_000, -4000)))
    assert said(records) == [(-100.0, "mm", "position", -4000.0)]


def test_without_an_encoder_the_count_is_no_position():
    records = fed(NodeDecoder(NodeSpec(PORT_24)), (0, hello()), (500, frame(1, 500_000, count=0)))
    assert said(records) == [(12.34, "mm", "", None)]


def test_lost_lines_are_a_gap_from_the_last_to_the_next():
    decoder = node()
    records = fed(decoder, (0, hello()), (200, frame(1, 200_000)), (500, frame(4, 500_000)))
    (gap,) = [record for record in records if isinstance(record, Gap)]
    assert gap.reason == "lines lost"
    readings = [record for record in records if isinstance(record, Reading)]
    assert (gap.t_ns, gap.until_ns) == (readings[0].t_ns, readings[1].t_ns)


def test_a_damaged_line_is_dirt_and_a_gap():
    damaged = frame(2, 300_000).replace(b",24,", b",25,")
    records = fed(node(), (0, hello()), (200, frame(1, 200_000)), (300, damaged), (400, frame(3, 400_000)))
    assert len(values(records)) == 2
    assert [record.reason for record in records if isinstance(record, Gap)] == ["lines lost"]


def test_the_sequence_number_turns_over():
    records = fed(node(), (200, frame(65535, 200_000)), (300, frame(0, 300_000)))
    assert [type(record).__name__ for record in records] == ["Reading", "Reading"]


@pytest.mark.parametrize("again", [hello(), status(1, 250_000)])
def test_a_restart_is_seen_and_ends_the_position(again):
    decoder = node()
    records = fed(decoder, (0, hello()), (5000, frame(1, 5_000_000, count=80)), (7000, again))
    assert [record.reason for record in records if isinstance(record, Gap)] == ["node restarted"]
    assert "positions are not used from here on" in reasons(records)[0]
    (later,) = fed(decoder, (7600, frame(2 if again != hello() else 1, 600_000, count=3)))
    assert isinstance(later, Reading)
    assert later.position is None


def test_opening_the_port_restarts_the_board_and_costs_no_position():
    decoder = node()
    records = fed(decoder, (1, frame(900, 90_000_000, count=12)), (1500, hello()), (2000, frame(1, 500_000, count=5)))
    assert [record.position for record in records if isinstance(record, Reading)] == [None, 5.0]
    assert reasons(records) == []


def test_a_newer_node_says_so_and_gives_no_value():
    newer = b"$PTSNF,2,1,200000,24,4B2000,0"
    newer += b"*%02X\r\n" % checksum(newer[1:])
    records = whole(node, newer)
    assert reasons(records) == ["node speaks protocol 2, newer than 1: recorded but not read; update truestroke"]
    assert dirt_is(records, newer.strip())


def dirt_is(records: list[Record], raw: bytes) -> bool:
    return [record.raw for record in records if isinstance(record, Garbage)] == [raw]


@pytest.mark.parametrize(
    "bad",
    [
        line("F", 1, 2, 24, "4B2000"),
        line("F", 1, 2, 24, "4B20", 0),
        line("F", 1, 2, 23, "4B2001", 0),
        line("F", 1, 2, "x", "4B2000", 0),
        line("F", -1, 2, 24, "4B2000", 0),
        line("F", 1, "1e9", 24, "4B2000", 0),
        line("F", 1, 2, 24, "4B2000", "0.5"),
        line("F", 1, 2, 12, "4B2", 0),
        line("Q", 1, 2, 3),
        b"$GPXTE,A,A,0.00,L,N,A*03\r\n",
        b"$PTSN*48\r\n",
    ],
)
def test_lines_that_are_sound_but_wrong_are_refused(bad):
    records = whole(node, hello() + bad)
    assert values(records) == []
    assert len(reasons(records)) == 1


def test_readings_get_the_host_time_the_least_delayed_lines_give():
    decoder = node()
    decoder.feed(hello(), 1000 * MS)  # no delay: the device's 0.15 ms is the host's 1000 ms
    (reading,) = decoder.feed(frame(1, 500_150), 1516 * MS)  # 16 ms late
    assert isinstance(reading, Reading)
    assert reading.t_ns == 1500 * MS


def test_a_reading_is_never_later_than_its_line():
    decoder = node()
    decoder.feed(hello(), 1016 * MS)
    (reading,) = decoder.feed(frame(1, 500_150), 1500 * MS)
    assert reading.t_ns <= 1500 * MS


def test_the_device_clock_as_time_base():
    decoder = NodeDecoder(NodeSpec(PORT_24, clock="device"))
    assert isinstance(decoder, DeviceTimed)
    decoder.feed(hello(), 1000 * MS)
    (reading,) = decoder.feed(frame(1, 500_150), 1016 * MS)  # a device replayed faster than time
    assert isinstance(reading, Reading)
    assert reading.t_ns == 1500 * MS
    (mark,) = decoder.key(1516 * MS)
    assert isinstance(mark, Mark)


@given(st.lists(st.integers(-99999, 99999), min_size=1, max_size=8), noise, cut_places)
@settings(max_examples=60, deadline=None)
def test_any_cut_gives_the_same_readings(hundredths, dirty, cuts):
    stream = hello() + b"".join(
        frame(index + 1, 200_000 + 100_000 * index, number / 100) for index, number in enumerate(hundredths)
    )
    stream = dirty.replace(b"$", b"") + b"\n" + stream
    assert values(decoded(node, pieces_of(stream, cuts))) == [number / 100 for number in hundredths]


@given(st.lists(st.sampled_from([hello(), frame(1, 10), status(5, 99), b"$PTSNF,1", b"\x1b[2J", b"\r\n"]), max_size=20))
@settings(max_examples=100, deadline=None)
def test_any_order_of_pieces_never_raises(pieces):
    for record in decoded(node, pieces):
        if isinstance(record, Gap):
            assert record.t_ns <= record.until_ns


@given(noise, cut_places)
@settings(max_examples=100, deadline=None)
def test_noise_never_raises_and_makes_no_value(data, cuts):
    assert values(decoded(node, pieces_of(data, cuts))) == []


def test_the_index_line_carries_the_count_at_it():
    records = fed(node(), (0, hello()), (500, frame(1, 480_000)), (600, line("I", 2, 590_000, 8000)))
    assert [one.position for one in records if isinstance(one, Index)] == [8000.0]
