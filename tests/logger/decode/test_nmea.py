"""NMEA 0183 / IEC 61162-1 sentences: published ones, wrong checksums, and what a cable does to them."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from logger.decode import Decoder
from logger.decode.nmea import NmeaDecoder, NmeaSpec
from logger.decode.sentences import Sentence, SentenceSplitter, checksum
from logger.readings import Gap, Garbage
from tests.logger.decode.cuts import (
    cut_places,
    decoded,
    dirt,
    noise,
    one_by_one,
    pieces_of,
    reasons,
    rows,
    said,
    values,
    whole,
)

PUBLISHED = rows("nmea_checksums.csv")
SOUND = [row["sentence"] for row in PUBLISHED if row["agrees"] == "True"]
WRONG = [row["sentence"] for row in PUBLISHED if row["agrees"] == "False"]
PITCH_ROLL = b"$WIXDR,A,+02.9,D,PITCH,A,+00.7,D,ROLL*07\r\n"
# Made by us: an angle and a displacement in metres, as NMEA 0183 gives them.
OWN = b"$YXXDR,A,0.0125,D,LVL1,D,-0.00012,M,IND1*4E\r\n"


def everything() -> Decoder:
    return NmeaDecoder(NmeaSpec())


def sentence(body: str) -> bytes:
    return f"${body}*{checksum(body.encode()):02X}\r\n".encode()


@pytest.mark.parametrize("text", SOUND)
def test_published_sentences_have_the_right_checksum(text):
    (found,) = SentenceSplitter().feed(text.encode() + b"\r\n", 1)
    assert isinstance(found, Sentence)
    assert ",".join(found.fields) == text[1:-3]


@pytest.mark.parametrize("text", WRONG)
def test_sentences_published_with_a_wrong_checksum_are_refused(text):
    records = whole(everything, text.encode() + b"\r\n")
    assert said(records) == []
    assert dirt(records) == text.encode()
    assert "checksum" in reasons(records)[0]


def test_pitch_and_roll_in_degrees():
    for records in (whole(everything, PITCH_ROLL), one_by_one(everything, PITCH_ROLL)):
        assert said(records) == [(2.9, "deg", "PITCH", None), (0.7, "deg", "ROLL", None)]


def test_displacement_comes_in_metres_and_leaves_in_millimetres():
    assert said(whole(everything, OWN)) == [(0.0125, "deg", "LVL1", None), (-0.12, "mm", "IND1", None)]


def test_only_the_transducers_asked_for_under_their_channel():
    records = whole(lambda: NmeaDecoder(NmeaSpec((("ROLL", "roll"),))), PITCH_ROLL)
    assert said(records) == [(0.7, "deg", "roll", None)]


def test_other_quantities_are_passed_over():
    # Published: pitch and roll in degrees, then three magnetometer values of the generic type G.
    text = b"$HCXDR,A,171,D,PITCH,A,-37,D,ROLL,G,367,,MAGX,G,2420,,MAGY,G,-8984,,MAGZ*41\r\n"
    assert said(whole(everything, text)) == [(171.0, "deg", "PITCH", None), (-37.0, "deg", "ROLL", None)]


def test_other_talkers_are_passed_over():
    assert whole(everything, b"$SDHDG,,,,,*70\r\n$SDMTW,,C*1A\r\n") == []


def test_an_empty_value_is_no_value():
    (record,) = whole(everything, sentence("WIXDR,A,,D,PITCH"))
    assert isinstance(record, Gap)
    assert record.reason == "no value"


def test_fields_that_are_not_in_fours_are_refused_whole():
    assert reasons(whole(everything, sentence("WIXDR,A,1.0,D,PITCH,A,2.0"))) == ["XDR with 6 fields, not in fours"]


@pytest.mark.parametrize("text", ["1e3", "0x10", "nan", "inf", "1.2.3", "--1", "1_0", "٣"])
def test_a_value_that_is_no_plain_number_is_refused(text):
    body = f"WIXDR,A,{text},D,PITCH".encode()
    records = whole(everything, b"$%s*%02X\r\n" % (body, checksum(body)))
    assert values(records) == []
    assert len(reasons(records)) == 1


def test_without_a_checksum_nothing_is_believed():
    assert reasons(whole(everything, b"$WIXDR,A,+02.9,D,PITCH\r\n")) == ["sentence without a checksum"]


def test_a_torn_sentence_does_not_take_the_next_one_with_it():
    torn = PITCH_ROLL[:20]
    records = whole(everything, torn + PITCH_ROLL)
    assert values(records) == [2.9, 0.7]
    assert dirt(records) == torn


def test_dirt_before_and_after():
    records = whole(everything, b"\x00\xff~~" + PITCH_ROLL + b"\x7f\x7f")
    assert values(records) == [2.9, 0.7]
    assert dirt(records) == b"\x00\xff~~" + b"\n\x7f\x7f"


def test_every_flipped_bit_inside_is_seen():
    for bit in range(8, 8 * (len(PITCH_ROLL) - 5)):
        damaged = bytearray(PITCH_ROLL)
        damaged[bit // 8] ^= 1 << bit % 8
        assert values(whole(everything, bytes(damaged))) == []


def test_the_end_of_the_stream_ends_a_sentence():
    assert values(whole(everything, PITCH_ROLL.rstrip())) == [2.9, 0.7]
    assert values(whole(everything, PITCH_ROLL[:-4])) == []


@given(st.lists(st.sampled_from([PITCH_ROLL, OWN, b"$SDHDG,,,,,*70\n"]), max_size=6), noise, cut_places)
@settings(max_examples=60, deadline=None)
def test_any_cut_gives_the_same_readings(sentences, dirty, cuts):
    stream = dirty.replace(b"$", b"") + b"\r\n" + b"".join(sentences)
    assert said(decoded(everything, pieces_of(stream, cuts))) == said(whole(everything, stream))
    assert len(values(whole(everything, stream))) == sum(2 for one in sentences if b"XDR" in one)


@given(noise, cut_places)
@settings(max_examples=100, deadline=None)
def test_noise_never_raises_and_makes_no_value(data, cuts):
    records = decoded(everything, pieces_of(data, cuts))
    assert values(records) == []
    assert all(isinstance(record, Garbage) for record in records)


def test_a_line_without_end_is_let_go():
    decoder = NmeaDecoder(NmeaSpec())
    for at in range(1000):
        decoder.feed(b"$" + b"A" * 999, at)
    assert len(decoder._splitter._tail.data) <= 256
    assert values(decoder.feed(b"\r\n" + PITCH_ROLL, 1000)) == [2.9, 0.7]
