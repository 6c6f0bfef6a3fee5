"""The node's real binary on a simulated ATmega328P: its interrupts, its serial port, its lines."""

from __future__ import annotations

import random
import subprocess
import time
from dataclasses import replace
from itertools import pairwise

import pytest

from logger.decode.gauge_bits import PORT_24
from logger.decode.node import NodeDecoder, NodeSpec
from logger.decode.sentences import Sentence, SentenceSplitter
from logger.port import Link, open_port
from logger.readings import Gap, Index, Mark, Reading, Record
from tests.hardware.board import AT_REST, board, build, encoder_walk, gauge_frame, script
from tests.logger.decode.cuts import rows

S = 1_000_000
PORT24 = rows("port24_frames.csv")
SPEC = NodeSpec(PORT_24, encoder=True, counts_per_mm=40.0)


@pytest.fixture(scope="module")
def firmware(tmp_path_factory):
    return build(tmp_path_factory.mktemp("firmware"))


@pytest.fixture(scope="module")
def program(firmware, tmp_path_factory):
    return board(tmp_path_factory.mktemp("board"))


@pytest.fixture
def run(firmware, program):
    def run(events, *more: str, elf=firmware, rest=AT_REST) -> bytes:
        text = script([*rest, *events], *more)
        done = subprocess.run([program, elf, "bytes"], input=text.encode(), capture_output=True, check=True, timeout=60)
        return done.stdout

    return run


def decoded(data: bytes) -> list[Record]:
    return NodeDecoder(SPEC).feed(data, 100 * 1_000_000_000)


def lines(data: bytes, kind: str) -> list[tuple[str, ...]]:
    found = SentenceSplitter().feed(data, 1)
    assert all(isinstance(one, Sentence) for one in found)
    return [one.fields for one in found if isinstance(one, Sentence) and one.fields[0] == f"PTSN{kind}"]


def test_every_published_frame_arrives_as_its_value(run):
    events = []
    for index, row in enumerate(PORT24):
        events += gauge_frame(150_000 + index * 20_000, row["bits_in_transmission_order_first_to_last"])
    readings = [record for record in decoded(run(events, "500000 end")) if isinstance(record, Reading)]
    assert [(one.value, one.unit) for one in readings] == [(float(row["value"]), row["unit"]) for row in PORT24]


def test_the_frame_carries_the_time_of_its_first_clock_edge(run):
    bits = PORT24[3]["bits_in_transmission_order_first_to_last"]
    first, second = lines(run(gauge_frame(150_000, bits) + gauge_frame(283_000, bits), "400000 end"), "F")
    assert int(second[3]) - int(first[3]) == pytest.approx(133_000, abs=5)


def test_bits_as_fast_as_sixteen_microseconds(run):
    bits = PORT24[4]["bits_in_transmission_order_first_to_last"]
    (frame,) = lines(run(gauge_frame(150_000, bits, bit_us=16.0), "300000 end"), "F")
    assert frame[4:6] == ("24", f"{int(bits, 2):06X}")


def test_another_digit_frame_comes_through_bit_for_bit(run):
    bits = "".join(random.Random(3).choice("01") for _ in range(52))
    (frame,) = lines(run(gauge_frame(150_000, bits), "300000 end"), "F")
    assert frame[4:6] == ("52", f"{int(bits, 2):013X}")


def test_a_transistor_shifter_needs_the_inverted_build(run, tmp_path):
    bits = PORT24[3]["bits_in_transmission_order_first_to_last"]
    upside_down = [(us, pin, 1 - level) for us, pin, level in gauge_frame(150_000, bits)]
    data = run(upside_down, "300000 end", elf=build(tmp_path, GAUGE_INVERTED=1), rest=[])
    assert [record.value for record in decoded(data) if isinstance(record, Reading)] == [12.34]


def test_encoder_edges_on_both_lines_while_frames_come_in(run):
    # 0.025 mm an edge at 300 mm/s is 83 us; here 40 us, with a gauge frame across it.
    chance = random.Random(5)
    steps = [1] * 2000 + [chance.choice((1, -1)) for _ in range(2000)]
    events = encoder_walk(150_000, steps, edge_us=40.0)
    for start in (170_007, 200_013, 250_021):
        events += gauge_frame(start, PORT24[3]["bits_in_transmission_order_first_to_last"])
    data = run(events, "700000 end")
    last = lines(data, "S")[-1]
    assert (int(last[4]), int(last[5]), int(last[6])) == (sum(steps), 0, 0)
    assert [record.value for record in decoded(data) if isinstance(record, Reading)] == [12.34] * 3


def test_a_frame_carries_the_count_at_its_first_edge(run):
    events = encoder_walk(150_000, [1] * 1000, edge_us=100.0)
    events += gauge_frame(200_010, PORT24[3]["bits_in_transmission_order_first_to_last"])
    (frame,) = lines(run(events, "400000 end"), "F")
    assert int(frame[6]) == 501  # the edge at 200.000 ms is the 501st


def test_the_index_comes_with_the_count_and_the_time_of_its_edge(run):
    events = encoder_walk(150_000, [1] * 1000, edge_us=100.0)
    events += [(1000, "C2", 0), (200_010, "C2", 1), (200_210, "C2", 0), (230_030, "C2", 1), (230_200, "C2", 0)]
    data = run(events, "700000 end")
    first, second = lines(data, "I")
    assert (int(first[4]), int(second[4])) == (501, 801)  # the edge at 200.000 ms is the 501st
    assert int(second[3]) - int(first[3]) == pytest.approx(30_020, abs=5)
    assert [one.position for one in decoded(data) if isinstance(one, Index)] == [501.0, 801.0]
    assert int(lines(data, "S")[-1][4]) == 1000  # no edge of the count was missed for it


def test_a_carriage_that_stands_on_the_index_does_not_fill_the_line(run):
    flutter = [(150_000 + 500 * i, "C2", i % 2) for i in range(400)]
    assert 5 <= len(lines(run(flutter, "500000 end"), "I")) <= 12  # 200 ms of it, a line each 20 ms at most


def test_both_lines_changing_at_once_is_counted_as_doubt(run):
    data = run([(200_000, "C0", 0), (200_000, "C1", 0)], "600000 end")
    assert int(lines(data, "S")[-1][5]) == 1


def test_a_bouncing_foot_switch_is_one_mark_at_the_first_contact(run):
    bounces = [200_000 + offset for offset in (0, 300, 900, 1000, 2500, 2600, 4000)]
    press = [(us, "B0", index % 2) for index, us in enumerate(bounces)]
    data = run([*press, (400_000, "B0", 1)], "600000 end")
    assert [record.source for record in decoded(data) if isinstance(record, Mark)] == ["switch"]
    (mark,) = lines(data, "M")
    (hello,) = lines(data, "H")
    started = int(lines(data, "S")[0][3])
    assert int(mark[3]) == pytest.approx(200_000, abs=1000)
    assert int(hello[3]) < started


def test_a_motor_spike_is_no_mark(run):
    data = run([(200_000, "B0", 0), (202_000, "B0", 1)], "600000 end")
    assert lines(data, "M") == []


def test_a_restart_is_seen(run):
    data = run([], "900000 reset", "900000 B0 1", "1500000 end")
    assert [record.reason for record in decoded(data) if isinstance(record, Gap)] == ["node restarted"]


def test_more_than_the_line_can_carry_is_lost_line_by_line_and_said(run):
    # Noise on the clock line, a frame of one bit every 0.6 ms for half a second: 40 bytes each, 25 bytes a millisecond.
    events = [event for at in range(200_000, 700_000, 600) for event in gauge_frame(at, "1", bit_us=20.0)]
    events += gauge_frame(900_000, PORT24[3]["bits_in_transmission_order_first_to_last"])
    data = run(events, "1200000 end")
    records = decoded(data)
    assert [record.reason for record in records if isinstance(record, Gap)][:1] == ["lines lost"]
    assert [record.value for record in records if isinstance(record, Reading)] == [12.34]


def test_lines_are_never_quite_evenly_spaced(run):
    times = [int(line[3]) for line in lines(run([], "4000000 end"), "S")]
    assert len({b - a for a, b in pairwise(times)}) > 8


def test_a_baud_rate_that_is_not_exact_is_refused_by_the_build(tmp_path, firmware):
    with pytest.raises(subprocess.CalledProcessError) as caught:
        build(tmp_path, BAUD=115200)
    assert b"not exact" in caught.value.stderr


def test_through_a_terminal_and_the_production_port(firmware, program):
    events = encoder_walk(300_000, [1] * 400, edge_us=500.0)
    for start in (350_000, 450_000, 550_000):
        events += gauge_frame(start, PORT24[4]["bits_in_transmission_order_first_to_last"])
    records: list[Record] = []
    decoder = NodeDecoder(replace(SPEC, clock="device"))  # whatever holds the simulation up
    with subprocess.Popen([program, firmware, "pty"], stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True) as node:
        assert node.stdin is not None
        assert node.stdout is not None
        name = next(line for line in node.stdout if line.startswith("port ")).split()[1]
        port = open_port(name, Link(baud=250_000))
        node.stdin.write(script([*AT_REST, *events], "900000 end"))
        node.stdin.flush()
        until = time.monotonic() + 120
        while time.monotonic() < until and sum(isinstance(one, Reading) for one in records) < 3:
            records += decoder.feed(port.read(0.1), time.monotonic_ns())
        port.close()
        node.kill()
    readings = [record for record in records if isinstance(record, Reading)]
    assert [one.value for one in readings] == [-25.4] * 3
    assert [one.position for one in readings] == pytest.approx([101, 301, 400], abs=2)
    gaps_ms = [(b.t_ns - a.t_ns) / 1e6 for a, b in pairwise(readings)]
    assert gaps_ms == pytest.approx([100, 100], abs=2)
