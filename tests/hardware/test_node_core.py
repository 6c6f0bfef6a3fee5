"""The node's logic, compiled for the host: bits into frames, edges into a count, contacts into presses, lines."""

from __future__ import annotations

import ctypes
import shutil
import subprocess
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from logger.decode.gauge_bits import bits_from_hex
from logger.decode.sentences import Sentence, SentenceSplitter
from tests.logger.decode.cuts import rows

HERE = Path(__file__).parent
NODE = HERE.parents[1] / "hardware" / "sensor-node"
WRAP = 1 << 32
MS = 2000
shared = settings(max_examples=80, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])


class Frame(ctypes.Structure):
    _fields_ = (
        ("bytes", ctypes.c_uint8 * 8),
        ("bits", ctypes.c_uint8),
        ("first", ctypes.c_uint32),
        ("position", ctypes.c_int32),
    )

    def text(self) -> str:
        return "".join(f"{byte:08b}" for byte in self.bytes)[: self.bits]


@pytest.fixture(scope="module")
def core(tmp_path_factory):
    compiler = shutil.which("cc")
    if compiler is None:
        pytest.skip("no C compiler: apt-get install gcc libc6-dev")
    library = tmp_path_factory.mktemp("node") / "node_core.so"
    flags = ["-std=c99", "-O1", "-Wall", "-Wextra", "-Werror", "-shared", "-fPIC", f"-I{NODE}"]
    subprocess.run([compiler, *flags, "-o", library, HERE / "node_core_host.c"], check=True)
    return ctypes.CDLL(str(library))


def edges_of(frames, start=WRAP - 50_000, bit=80, gap=1002):
    """Ticks and levels of frames of bits, the tick counter turning over on the way."""
    ticks, levels, now = [], [], start
    for frame in frames:
        for level in frame:
            ticks.append(now % WRAP)
            levels.append(int(level))
            now += bit
        now += gap - bit
    return ticks, levels


def arrays(ticks, levels):
    return (ctypes.c_uint32 * len(ticks))(*ticks), (ctypes.c_uint8 * len(levels))(*levels), len(ticks)


def caught(core, ticks, levels):
    room = (Frame * 64)()
    broken = ctypes.c_int()
    found = core.core_frames(*arrays(ticks, levels), room, 64, ctypes.byref(broken))
    return list(room[:found]), broken.value


@pytest.mark.parametrize("row", rows("quadrature_table.csv"), ids=lambda row: f"{row['old_AB']}-{row['new_AB']}")
def test_quadrature_steps(core, row):
    step = core.core_quadrature(int(row["old_AB"], 2), int(row["new_AB"], 2))
    assert step == (2 if row["delta"] == "error" else int(row["delta"]))


@given(st.lists(st.sampled_from([-1, 1]), max_size=300))
@shared
def test_a_walk_of_single_steps_is_counted_whole(core, steps):
    code = [0b00, 0b01, 0b11, 0b10]
    place, count = 0, 0
    for step in steps:
        count += core.core_quadrature(code[place % 4], code[(place + step) % 4])
        place += step
    assert count == sum(steps)


@given(
    st.lists(st.text("01", min_size=1, max_size=64), min_size=1, max_size=6),
    st.integers(8, 900),
    st.integers(1002, 9999),
)
@shared
def test_frames_come_back_bit_for_bit(core, frames, bit, gap):
    ticks, levels = edges_of(frames, bit=bit, gap=gap + bit)
    got, broken = caught(core, ticks, levels)
    assert [frame.text() for frame in got] == frames
    assert broken == 0
    starts = [ticks[sum(map(len, frames[:index]))] for index in range(len(frames))]
    assert [frame.first for frame in got] == starts


def test_a_frame_of_more_than_64_bits_is_counted_and_not_sent(core):
    got, broken = caught(core, *edges_of(["1" * 65, "0" * 300, "101"]))
    assert [frame.text() for frame in got] == ["101"]
    assert broken == 2


def test_frames_nobody_fetches_are_counted(core):
    assert core.core_frames_not_fetched(*arrays(*edges_of(["1010"] * 5))) == 3  # one waits, one is being taken


def presses(core, looks):
    ticks, levels = [tick % WRAP for tick, _ in looks], [level for _, level in looks]
    room = (ctypes.c_uint32 * 16)()
    count = core.core_presses(*arrays(ticks, levels), room, 16)
    return list(room[:count])


def contact(*changes, until=200 * MS, start=WRAP - 20 * MS, every=100):
    """Looks every ``every`` ticks at a contact that changes at the given ticks (open at first)."""
    return [(start + t, sum(t >= change for change in changes) % 2) for t in range(0, until, every)]


def test_a_clean_press_is_one_press_at_its_first_contact(core):
    assert presses(core, contact(40 * MS, 120 * MS)) == [(WRAP - 20 * MS + 40 * MS) % WRAP]


def test_a_bouncing_press_is_one_press(core):
    bounces = [40 * MS + offset * MS // 2 for offset in (0, 1, 2, 3, 4, 6, 7, 10, 12)]
    assert len(presses(core, contact(*bounces, 120 * MS))) == 1


def test_a_spike_from_a_motor_is_no_press(core):
    assert presses(core, contact(40 * MS, 45 * MS)) == []


def test_two_presses_are_two(core):
    assert len(presses(core, contact(40 * MS, 80 * MS, 120 * MS, 160 * MS))) == 2


@given(
    st.integers(0, 65535),
    st.integers(0, 4_000_000_000),
    st.integers(0, 1_999_999),
    st.text("01", min_size=1, max_size=64),
    st.integers(-(2**31), 2**31 - 1),
)
@shared
def test_every_line_has_its_checksum_time_and_bits(core, sequence, seconds, into, bits, position):
    frame = Frame((ctypes.c_uint8 * 8)(*int(bits.ljust(64, "0"), 2).to_bytes(8, "big")), len(bits), 0, position)
    text = ctypes.create_string_buffer(96)
    length = core.core_line(sequence, ctypes.c_uint32(seconds), into, 0, ctypes.byref(frame), text)
    assert length <= 82  # NMEA 0183: a sentence has at most 82 characters, line end included (from memory)
    (sentence,) = SentenceSplitter().feed(text.raw[:length], 1)
    assert isinstance(sentence, Sentence)
    address, version, number, t_us, count, digits, where = sentence.fields
    assert (address, version, int(number)) == ("PTSNF", "1", sequence)
    assert int(t_us) == seconds * 1_000_000 + into // 2
    assert bits_from_hex(digits, int(count)) == bits
    assert int(where) == position


def test_an_event_just_before_the_second_that_has_begun(core):
    frame = Frame((ctypes.c_uint8 * 8)(), 8, 0, 0)
    text = ctypes.create_string_buffer(96)
    length = core.core_line(7, 41, 2_000_100, 300, ctypes.byref(frame), text)
    assert text.raw[:length].startswith(b"$PTSNF,1,7,41999900,8,00,0*")
