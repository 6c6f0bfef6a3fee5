"""Numbers typed by hand or by a gauge's keyboard cable, and feeler pairs as intervals."""

from __future__ import annotations

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from logger.decode import Decoder
from logger.decode.typed import Refused, TypedDecoder, TypedSpec, TypedValue, read_typed
from logger.readings import Gap, Reading
from tests.logger.decode.cuts import cut_places, decoded, noise, one_by_one, pieces_of, reasons, said, values, whole

MM = TypedSpec()


def keyboard() -> Decoder:
    return TypedDecoder(MM)


@pytest.mark.parametrize(
    ("text", "value", "unit"),
    [
        ("0.12", 0.12, "mm"),
        ("-0,12", -0.12, "mm"),
        ("−0.12", -0.12, "mm"),
        (" 0.12 mm ", 0.12, "mm"),
        ("12 µm", 0.012, "mm"),
        ("+4 thou", 0.004, "in"),
        ("0.0047in", 0.0047, "in"),
        ('0.0047"', 0.0047, "in"),
        (".5", 0.5, "mm"),
        ("000.12", 0.12, "mm"),
    ],
)
def test_a_number_as_people_write_it(text, value, unit):
    assert read_typed(text, MM) == TypedValue(value, value, unit)


def test_a_slope_with_its_unit():
    level = TypedSpec("mm/m")
    assert read_typed("10.3 arcsec", level) == TypedValue(10.3, 10.3, "arcsec")
    assert isinstance(read_typed("0.1 mm", level), Refused)


def test_a_pair_of_feelers_is_an_interval():
    pair = read_typed("0.10..0.15", MM)
    assert pair == TypedValue(0.10, 0.15, "mm")
    assert isinstance(pair, TypedValue)
    assert pair.value == pytest.approx(0.125)
    # GUM 4.3.7: a rectangular distribution of half width a has the standard uncertainty a / sqrt(3).
    assert pair.standard_uncertainty == pytest.approx(0.025 / math.sqrt(3))


@pytest.mark.parametrize("text", ["0.15..0.10", "0.10..0.10"])
def test_a_pair_the_wrong_way_round_is_refused(text):
    assert isinstance(read_typed(text, MM), Refused)


@pytest.mark.parametrize(
    "text", ["", "abc", "0.120.13", "1,234.5", "0.1.2", "1e3", "=1+1", "\x1b[2J1", "nan", "٣", "1 2"]
)
def test_what_is_no_number_is_refused(text):
    assert isinstance(read_typed(text, MM), Refused)


@pytest.mark.parametrize("text", ["50.1", "-51", "0.12..60", "2 in", "123"])
def test_a_slip_of_the_finger_is_outside_the_range(text):
    said_why = read_typed(text, MM)
    assert isinstance(said_why, Refused)
    assert said_why.why == "outside -50 to 50 mm; was the point left out?"


def test_a_keyboard_gauge_through_the_decoder():
    data = b"+00.120\r\n-0.05\r"
    for records in (whole(keyboard, data), one_by_one(keyboard, data)):
        assert said(records) == [(0.12, "mm", "", None), (-0.05, "mm", "", None)]


def test_a_value_without_enter_is_not_finished():
    records = whole(keyboard, b"0.12")
    assert values(records) == []
    assert reasons(records) == ["typed without Enter"]


def test_an_interval_is_its_two_ends_at_one_moment_and_never_their_middle():
    records = whole(keyboard, b"0.1..0.2\n")
    ends = [(record.value, record.channel) for record in records if isinstance(record, Reading)]
    assert ends == [(0.1, "from"), (0.2, "to")]
    assert len({record.t_ns for record in records}) == 1


def test_a_dash_says_that_there_is_nothing_to_read():
    (record,) = whole(keyboard, b" - \n")
    assert isinstance(record, Gap)
    assert record.reason == "no value"


@given(st.lists(st.integers(-4999, 4999), max_size=8), cut_places)
@settings(max_examples=60, deadline=None)
def test_any_cut_gives_the_same_readings(hundredths, cuts):
    stream = "".join(f"{number / 100:.2f}\r\n" for number in hundredths).encode()
    assert values(decoded(keyboard, pieces_of(stream, cuts))) == [number / 100 for number in hundredths]


@given(noise, cut_places)
@settings(max_examples=100, deadline=None)
def test_noise_never_raises_and_stays_in_range(data, cuts):
    records = decoded(keyboard, pieces_of(data, cuts))
    assert all(abs(record.value) <= 50 for record in records if isinstance(record, Reading) and record.unit == "mm")
