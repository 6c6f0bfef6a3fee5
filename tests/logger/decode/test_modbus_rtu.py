"""Modbus RTU against published frames, whole and in pieces, clean and dirty."""

from __future__ import annotations

import struct
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from logger.decode import Decoder
from logger.decode.modbus_rtu import ModbusDecoder, ModbusSpec, Read, Register, crc16, spec_of, with_crc
from logger.readings import Gap, Garbage, Reading
from tests.logger.decode.cuts import cut_places, decoded, dirt, noise, one_by_one, pieces_of, reasons, rows, said, whole
from tests.logger.decode.cuts import values as values_of

FRAMES = rows("modbus_frames.csv")
# Modbus Application Protocol V1.1b3, 6.4: input register 9 (8 on the wire) of server 17 holds 10.
EXAMPLE = spec_of([Register("probe", 0x11, "input", 8, "int16", "mm")])
ANSWER = bytes.fromhex("11 04 02 00 0A F8 F4")
# Modbus Application Protocol V1.1b3, 6.3: holding registers 108-110 (107 on the wire); contents AE41h 5652h 4340h.
HOLDING = spec_of(
    [Register(name, 0x11, "holding", 0x6B + i, "uint16", "mm") for i, name in enumerate(("first", "second", "third"))]
)


def example() -> Decoder:
    return ModbusDecoder(EXAMPLE)


def one_register(**keys: Any) -> ModbusSpec:
    return spec_of([Register(**{"channel": "", "address": 1, "table": "input", "register": 0, "unit": "mm", **keys})])


@pytest.mark.parametrize("row", FRAMES, ids=[row["frame_hex"] for row in FRAMES])
def test_the_crc_of_published_frames(row):
    frame = bytes.fromhex(row["frame_hex"])
    assert with_crc(frame[:-2]) == frame


def test_the_crc_check_value():
    # Catalogue check value of CRC-16/MODBUS for the digits 1 to 9 (public CRC catalogues).
    assert crc16(b"123456789") == 0x4B37


def test_questions_are_the_published_ones():
    # The requests of the two examples above, Modbus Application Protocol V1.1b3, 6.4 and 6.3.
    assert EXAMPLE.requests() == (bytes.fromhex("11 04 00 08 00 01 B2 98"),)
    assert HOLDING.requests() == (bytes.fromhex("11 03 00 6B 00 03 76 87"),)


def test_the_published_answers():
    assert whole(example, ANSWER) == [Reading(1_000_000, 10.0, "mm", "probe")]
    answer = bytes.fromhex("11 03 06 AE 41 56 52 43 40 49 AD")
    records = whole(lambda: ModbusDecoder(HOLDING), answer)
    assert said(records) == [
        (float(0xAE41), "mm", "first", None),
        (float(0x5652), "mm", "second", None),
        (float(0x4340), "mm", "third", None),
    ]


def test_one_byte_at_a_time_gives_the_reading_with_its_last_byte():
    decoder = example()
    for number, byte in enumerate(ANSWER[:-1]):
        assert decoder.feed(bytes([byte]), number) == []
    assert decoder.feed(ANSWER[-1:], 99) == [Reading(99, 10.0, "mm", "probe")]


@pytest.mark.parametrize("before", [b"\x00", b"\xff\xff", b"\x11", b"\x11\x04", b"\x11\x04\x02", b"\x11\x04\x02\x00"])
def test_a_torn_start_before_a_whole_answer(before):
    for records in (whole(example, before + ANSWER), one_by_one(example, before + ANSWER)):
        assert values_of(records) == [10.0]
        assert dirt(records) == before


def test_dirt_inside_makes_no_value():
    for place in range(1, len(ANSWER)):
        records = whole(example, ANSWER[:place] + b"\x55" + ANSWER[place:])
        assert values_of(records) == []


def test_a_flipped_bit_makes_no_value():
    for bit in range(8 * len(ANSWER)):
        frame = bytearray(ANSWER)
        frame[bit // 8] ^= 1 << bit % 8
        records = whole(example, bytes(frame))
        assert values_of(records) == []
        assert dirt(records) == bytes(frame)


def test_dirt_after_is_kept():
    records = whole(example, ANSWER + b"\x00\xff")
    assert values_of(records) == [10.0]
    assert dirt(records) == b"\x00\xff"


def test_the_echo_of_our_own_question_is_passed_over():
    (request,) = EXAMPLE.requests()
    assert said(one_by_one(example, request + ANSWER)) == [(10.0, "mm", "probe", None)]
    assert dirt(one_by_one(example, request + ANSWER)) == b""


def test_an_exception_is_no_value_and_says_why():
    # Own frame: device 1, function 04, code 02; codes as in Modbus Application Protocol V1.1b3, clause 7.
    records = whole(lambda: ModbusDecoder(one_register(type="int16")), bytes.fromhex("01 84 02 C2 C1"))
    assert records[0] == Gap(1_000_000, 1_000_000, "no value")
    assert reasons(records) == ["device 1 refuses: Modbus exception 02, no such register"]


def test_another_device_on_the_line_is_not_ours():
    other = with_crc(bytes.fromhex("12 04 02 00 0A"))
    records = whole(example, other + ANSWER)
    assert values_of(records) == [10.0]
    assert dirt(records) == other


def answered(spec: ModbusSpec, words: str) -> list[float]:
    (read,) = spec.reads
    body = bytes.fromhex(words)
    frame = with_crc(bytes([read.address, 4, len(body)]) + body)
    return values_of(whole(lambda: ModbusDecoder(spec), frame))


def test_the_kinds_of_number():
    assert answered(one_register(type="int32"), "FF FF FB 2E") == [-1234.0]
    assert answered(one_register(type="uint32"), "FF FF FB 2E") == [4294966062.0]
    assert answered(one_register(type="int16"), "FF FE") == [-2.0]
    assert answered(one_register(type="uint16"), "FF FE") == [65534.0]
    # IEEE 754-2019 binary32: 41 48 00 00 is 12.5.
    assert answered(one_register(type="float32"), "41 48 00 00") == [12.5]


def test_word_order_and_scale():
    assert answered(one_register(type="int32", word_order="low first"), "FB 2E FF FF") == [-1234.0]
    assert answered(one_register(type="int32", scale=0.001), "FF FF FB 2E") == [-1.234]


@pytest.mark.parametrize("words", ["7F C0 00 00", "7F 80 00 00", "FF 80 00 00"])
def test_a_float_that_is_no_number_is_no_value(words):
    assert answered(one_register(type="float32"), words) == []


def test_a_raw_number_that_means_no_value():
    assert answered(one_register(type="int16", no_value=(-32768,)), "80 00") == []


def test_several_devices_on_one_line():
    spec = spec_of([Register("a", 1, "input", 0, "int16", "mm"), Register("b", 2, "holding", 5, "int16", "mm/m")])
    assert [read.address for read in spec.reads] == [1, 2]
    stream = with_crc(b"\x02\x03\x02\x00\x07") + with_crc(b"\x01\x04\x02\x00\x03")
    assert said(one_by_one(lambda: ModbusDecoder(spec), stream)) == [
        (7.0, "mm/m", "b", None),
        (3.0, "mm", "a", None),
    ]


def test_registers_that_touch_are_one_question():
    spec = spec_of([Register("b", 1, "input", 2, "int32", "mm"), Register("a", 1, "input", 0, "int32", "mm")])
    assert [(read.first, read.count) for read in spec.reads] == [(0, 4)]
    assert spec.faults() == []


def test_overlapping_registers_are_named():
    spec = spec_of([Register("pitch", 1, "input", 0, "int32", "mm"), Register("roll", 1, "input", 1, "int16", "mm")])
    assert spec.faults() == ["'pitch' (input 0-1 of device 1) and 'roll' (input 1 of device 1) overlap"]


def test_questions_whose_answers_look_alike_become_one_that_reads_what_lies_between():
    """Two registers with a hole between them, and a third quantity in the hole: one answer of ten registers."""
    a, b = Register("a", 1, "input", 0, "int16", "mm"), Register("b", 1, "input", 9, "int16", "mm")
    between = Register("c", 1, "input", 4, "int32", "mm")
    spec = spec_of([b, between, a])
    assert [(read.first, read.count) for read in spec.reads] == [(0, 10)]
    assert spec.faults() == []
    answer = with_crc(b"\x01\x04\x14" + struct.pack(">hhhhi6xh", 5, 99, 99, 99, -7, 8))
    readings = {
        record.channel: record.value
        for record in whole(lambda: ModbusDecoder(spec), answer)
        if isinstance(record, Reading)
    }
    assert readings == {"a": 5.0, "c": -7.0, "b": 8.0}
    other_table = Register("b", 1, "holding", 9, "int16", "mm")
    assert len(spec_of([a, other_table]).reads) == 2


def test_questions_that_look_alike_and_lie_too_far_apart_for_one_answer_are_refused():
    """Modbus Application Protocol V1.1b3, 6.3: at most 125 registers."""
    far = [Register("a", 1, "input", 0, "int16", "mm"), Register("b", 1, "input", 125, "int16", "mm")]
    assert len(spec_of(far).faults()) == 1
    assert "look alike" in spec_of(far).faults()[0] and "125" in spec_of(far).faults()[0]
    near = [far[0], Register("b", 1, "input", 124, "int16", "mm")]
    assert [(read.first, read.count) for read in spec_of(near).reads] == [(0, 125)]


def test_only_reading_functions_can_be_built():
    assert Read(1, "input", 0, 1, ()).request[1] == 4
    assert Read(1, "holding", 0, 1, ()).request[1] == 3


@given(st.lists(st.integers(-32768, 32767), max_size=8), st.lists(noise, max_size=3), cut_places)
@settings(max_examples=60, deadline=None)
def test_any_cut_gives_the_same_readings(numbers, dirts, cuts):
    answers = [with_crc(b"\x11\x04\x02" + struct.pack(">h", number)) for number in numbers]
    stream = b"".join(a + d for a, d in zip(answers, [*dirts, *[b""] * 8], strict=False))
    assert said(decoded(example, pieces_of(stream, cuts))) == said(whole(example, stream))
    assert values_of(whole(example, stream)) == numbers


@given(noise, cut_places)
@settings(max_examples=100, deadline=None)
def test_noise_is_all_kept_and_never_raises(data, cuts):
    records = decoded(example, pieces_of(data, cuts))
    assert dirt(records) == data
    assert all(len(record.raw) <= 256 for record in records if isinstance(record, Garbage))


def test_a_megabyte_of_noise_leaves_little_behind():
    decoder = ModbusDecoder(EXAMPLE)
    decoder.feed(b"\x11\x04" * 500_000, 1)
    assert len(decoder._tail.data) < 256
    assert decoder.feed(ANSWER + ANSWER, 2)[-1] == Reading(2, 10.0, "mm", "probe")
