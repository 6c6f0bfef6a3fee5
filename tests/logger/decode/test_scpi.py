"""IEEE 488.2 number formats and SCPI's two numbers that are none."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from logger.decode import Decoder
from logger.decode.scpi import ScpiDecoder, ScpiItem, ScpiSpec
from logger.readings import Gap, Garbage
from tests.logger.decode.cuts import cut_places, decoded, noise, one_by_one, pieces_of, reasons, said, values, whole


def millimetres() -> Decoder:
    return ScpiDecoder(ScpiSpec())


# IEEE 488.2: NR1 in 8.7.2, NR2 in 8.7.3, NR3 in 8.7.4 (clause from memory), NRf in 7.7.2.1.
@pytest.mark.parametrize(
    ("text", "value"),
    [
        ("146", 146.0),
        ("+146", 146.0),
        ("-12345", -12345.0),
        ("12.3", 12.3),
        ("+1.2345", 1.2345),
        ("-0.123", -0.123),
        ("+1.23E-03", 0.00123),
        ("-5.6E+00", -5.6),
        ("+200", 200.0),
        ("-56", -56.0),
        ("+9.9E36", 9.9e36),
    ],
)
def test_the_three_forms_of_a_number(text, value):
    for records in (whole(millimetres, text.encode() + b"\n"), one_by_one(millimetres, text.encode() + b"\r\n")):
        assert values(records) == [value]


@pytest.mark.parametrize("text", ["9.91E+37", "9.91E37", "9.9E+37", "-9.9E+37", "+9.90000000E+37", "9.99E+37"])
def test_not_a_number_and_infinity_are_no_value(text):
    # SCPI-1999, volume 1, 7.2.1.4 and 7.2.1.5: not a number is 9.91E+37, infinity 9.9E+37 with its sign.
    (record,) = whole(millimetres, text.encode() + b"\n")
    assert isinstance(record, Gap)
    assert record.reason == "no value"


@pytest.mark.parametrize("text", ["NAN", "nan", "INF", "-INF", "INFinity", "NINF", "ninfinity"])
def test_the_standards_words_for_them_are_no_value_too(text):
    (record,) = whole(millimetres, text.encode() + b"\n")
    assert isinstance(record, Gap)


@pytest.mark.parametrize("text", ["", " ", "\r"])
def test_empty_lines_are_nothing(text):
    assert whole(millimetres, text.encode() + b"\n") == []


@pytest.mark.parametrize(
    "text", ["nano", "infra", "1.2.3", "1 2", "0x1F", '"1.0"', "1e", "1_0", "+", ".", "1.0V", "#10"]
)
def test_what_is_no_number_is_refused(text):
    records = whole(millimetres, text.encode() + b"\n")
    assert values(records) == []
    assert reasons(records) == ["answer that is not a number"]


def test_metres_become_millimetres_without_a_rounding_tail():
    spec = ScpiSpec(items=(ScpiItem(scale=1000.0),))
    assert values(whole(lambda: ScpiDecoder(spec), b"+1.2300E-04\n")) == [0.123]


def test_an_offset():
    spec = ScpiSpec(items=(ScpiItem(scale=0.5, offset=-1.25),))
    assert values(whole(lambda: ScpiDecoder(spec), b"2.5\n")) == [0.0]


def test_several_items_and_one_not_looked_at():
    spec = ScpiSpec("READ?", (ScpiItem("a"), ScpiItem(unit=None), ScpiItem("b", "mm/m")))
    assert said(whole(lambda: ScpiDecoder(spec), b"1.0,text,2.0\n")) == [
        (1.0, "mm", "a", None),
        (2.0, "mm/m", "b", None),
    ]


@pytest.mark.parametrize("text", [b"1.0,2.0\n", b"1.0;2.0\n"])
def test_an_answer_with_too_many_items_is_refused_whole(text):
    records = whole(millimetres, text)
    assert values(records) == []
    assert reasons(records) == ["answer of 2 items instead of 1"]


def test_the_echo_of_the_query_is_passed_over():
    assert said(whole(millimetres, b"READ?\r\n0.5\r\n")) == [(0.5, "mm", "", None)]


def test_a_number_cut_off_by_the_end_is_not_believed():
    # 0.1234 cut to 0.12 looks sound; only its line end says that it is whole.
    records = whole(millimetres, b"0.12")
    assert values(records) == []
    assert reasons(records) == ["answer without its line end"]


def test_an_answer_without_end_is_let_go():
    records = whole(millimetres, b"1" * 5000 + b"\n0.5\n")
    assert values(records) == [0.5]
    assert len([record for record in records if isinstance(record, Garbage)]) == 1


def test_only_queries_can_be_sent():
    assert ScpiSpec("MEAS:VOLT:DC?").requests() == (b"MEAS:VOLT:DC?\n",)
    assert ScpiSpec("MEAS:VOLT:DC?").faults() == []
    for query in ("READ", "*RST", "OUTP ON", "READ?;*RST", "READ?\n*RST", "CONF:VOLT 1;READ?", ""):
        assert ScpiSpec(query).faults(), query
    for query in ("*TST?", "*CAL?", "CAL?", "READ?;*TST?"):
        assert ScpiSpec(query).faults(), query


def test_nothing_to_read_is_a_fault():
    assert ScpiSpec(items=(ScpiItem(unit=None),)).faults() == [
        "no item of the answer has a unit, so nothing would be read"
    ]


@given(st.lists(st.floats(-1e6, 1e6), max_size=10), cut_places)
@settings(max_examples=60, deadline=None)
def test_any_cut_gives_the_same_readings(numbers, cuts):
    stream = "".join(f"{number:.6E}\r\n" for number in numbers).encode()
    got = values(decoded(millimetres, pieces_of(stream, cuts)))
    assert got == [float(f"{number:.6E}") for number in numbers]


@given(noise, cut_places)
@settings(max_examples=100, deadline=None)
def test_noise_never_raises(data, cuts):
    records = decoded(millimetres, pieces_of(data, cuts))
    assert all(len(record.raw) <= 257 for record in records if isinstance(record, Garbage))
