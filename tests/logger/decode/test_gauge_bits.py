"""The layout of clocked gauge frames: the 24-bit port and digit frames by description."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from logger.decode.gauge_bits import PORT_24, BitFrame, bits_from_hex, read_frame
from tests.logger.decode.cuts import rows

PORT24 = rows("port24_frames.csv")

# A user's own description: 13 digits of 4 bits, low bit first; sign, six digits, decimal places, unit (invented for
# this test; no outside check).
DIGITS = BitFrame(
    bits=52,
    first_bit=20,
    width=24,
    digits=6,
    sign_at=19,
    places_at=44,
    inch_at=48,
    must_be=(*((place, 1) for place in range(16)), (16, 0), (17, 0), (18, 0), (49, 0), (50, 0), (51, 0)),
)


def digits(text: str) -> str:
    return "".join(f"{int(digit, 16):04b}"[::-1] for digit in text)


@pytest.mark.parametrize("row", PORT24, ids=[f"{row['value']} {row['unit']}" for row in PORT24])
def test_frames_of_the_24_bit_port(row):
    bits = row["bits_in_transmission_order_first_to_last"]
    assert read_frame(PORT_24, bits) == (float(row["value"]), row["unit"])


@pytest.mark.parametrize("row", PORT24, ids=[f"{row['value']} {row['unit']}" for row in PORT24])
def test_the_word_and_the_bits_agree(row):
    bits = row["bits_in_transmission_order_first_to_last"]
    assert int(bits[::-1], 2) == int(row["word_hex_bit0_first"], 16)


def test_a_sign_at_bit_21_is_refused():
    # One of the four public descriptions has the sign there; such a frame is not read as positive.
    bits = "0" * 21 + "1" + "00"
    assert read_frame(PORT_24, bits) == "gauge frame with bit 21 not 0"


@pytest.mark.parametrize("length", [0, 1, 23, 25, 48])
def test_a_lost_or_extra_clock_edge_is_refused(length):
    assert read_frame(PORT_24, "1" * length) == f"gauge frame of {length} bits instead of 24"


def test_all_ones_from_a_gauge_switched_off_is_refused():
    assert isinstance(read_frame(PORT_24, "1" * 24), str)


def test_minus_nothing_is_nothing():
    assert str(read_frame(PORT_24, "0" * 20 + "1000")) == "(0.0, 'mm')"


@pytest.mark.parametrize(
    ("text", "value", "unit"),
    [
        ("FFFF801234530", -12.345, "mm"),
        ("FFFF000123420", 12.34, "mm"),
        ("FFFF800000541", -0.0005, "in"),
        ("FFFF005000551", 0.50005, "in"),
    ],
)
def test_digit_frames_by_description(text, value, unit):
    assert DIGITS.faults() == []
    assert read_frame(DIGITS, digits(text)) == (value, unit)


def test_a_digit_above_nine_is_refused():
    assert read_frame(DIGITS, digits("FFFF80A234530")) == "gauge frame with a digit of 10"


def test_six_decimal_places_are_refused():
    assert read_frame(DIGITS, digits("FFFF801234560")) == "gauge frame with 6 decimal places"


def test_digits_low_first_and_bits_high_first():
    layout = BitFrame(bits=12, first_bit=0, width=12, digits=3, bit_order="high first", digit_order="low first")
    assert read_frame(layout, "001100100001") == (1.23, "mm")


def test_an_inverted_line():
    layout = BitFrame(bits=8, first_bit=0, width=8, scale=1.0, inverted=True)
    assert read_frame(layout, "01111111") == (1.0, "mm")


@given(st.integers(0, (1 << 20) - 1), st.booleans(), st.booleans())
def test_every_number_of_the_24_bit_port(count, negative, inch):
    word = count | (negative << 20) | (inch << 23)
    read = read_frame(PORT_24, f"{word:024b}"[::-1])
    assert not isinstance(read, str)
    size = count / (2000 if inch else 100)
    assert read[0] == pytest.approx(-size if negative else size, abs=1e-9)
    assert read[1] == ("in" if inch else "mm")


@given(st.text("01", min_size=1, max_size=64))
def test_hexadecimal_there_and_back(bits):
    padded = bits + "0" * (-len(bits) % 4)
    assert bits_from_hex(f"{int(padded, 2):0{len(padded) // 4}X}", len(bits)) == bits


@pytest.mark.parametrize(
    ("text", "count"), [("4B20", 24), ("4B20001", 24), ("4B200G", 24), ("F", 3), ("", 0), ("_1", 8)]
)
def test_hexadecimal_that_does_not_fit_is_refused(text, count):
    assert bits_from_hex(text, count) is None


def test_layouts_that_contradict_themselves_are_named():
    assert BitFrame(bits=24, first_bit=0, width=20, sign_at=19).faults() == ["the sign and the magnitude share a bit"]
    assert BitFrame(bits=70, first_bit=0, width=20).faults() == ["a frame of 70 bits; 1 to 64 can be caught"]
    assert BitFrame(bits=24, first_bit=10, width=20).faults() == [
        "the magnitude: bits 10 to 29 are not all in a frame of 24"
    ]
    assert BitFrame(bits=24, first_bit=0, width=20, digits=4).faults() == ["4 digits take 16 bits, not 20"]
