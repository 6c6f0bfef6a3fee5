"""Facts about naming an instrument from its bytes: right, unsure, or not at all, but never wrong with confidence."""

import random

import pytest

from fixtures.line_writer import Line
from fixtures.talkers import NodeTalker, any_profile
from logger.description.instrument_base import Link
from logger.instruments import load_instrument
from logger.link.identify import (
    Capture,
    Identified,
    Score,
    identify,
    links_to_try,
    listening_profiles,
    wrong_settings_hint,
)
from logger.readings import Reading

PLAIN = Link(baud=115200)


def line_bits(data: bytes, link: Link, idle_bits: int = 0) -> list[int]:
    """What the wire shows: start bit, data bits low first, parity, stop bits (the usual asynchronous frame)."""
    bits: list[int] = [1] * 12
    for byte in data:
        payload = [byte >> place & 1 for place in range(link.bits)]
        parity = {"none": [], "even": [sum(payload) % 2], "odd": [1 - sum(payload) % 2]}[link.parity]
        bits += [0, *payload, *parity, *[1] * link.stop, *[1] * idle_bits]
    return bits + [1] * 24


def caught(data: bytes, sent: Link, heard: Link) -> bytes:
    """The bytes a receiver set to ``heard`` makes of ``data`` sent with ``sent``: sampled in the middle of each bit."""
    bits = line_bits(data, sent)
    per_bit = sent.baud / heard.baud
    result = bytearray()
    at = 0.0
    while at + (heard.bits + 2) * per_bit < len(bits):
        if bits[int(at)]:
            at = int(at) + 1.0
            continue
        middle = at + per_bit / 2
        result.append(sum(bits[int(middle + (place + 1) * per_bit)] << place for place in range(heard.bits)))
        at += (heard.bits + 1.5 + (heard.parity != "none")) * per_bit
        while int(at) < len(bits) and not bits[int(at)]:
            at += 1  # a receiver waits for the line to be idle after a frame without a stop bit
    return bytes(result)


def best(found: Identified) -> Score:
    assert found.best is not None, found.says
    return found.best


def spoken(name: str, count: int = 12) -> bytes:
    profile = any_profile(name)
    if profile["frame"] == "node":  # its lines count on; the same ones again would be lines lost
        node = NodeTalker(profile)
        return b"".join(node.write(Line(0.1, 4.0 * k)) for k in range(3 * count))
    return b"".join(example.wire for example in load_instrument(name).examples) * count


def sentence(body: bytes) -> bytes:
    total = 0
    for byte in body:
        total ^= byte
    return b"$%s*%02X\r\n" % (body, total)


def test_the_receiver_of_this_test_hears_what_was_sent_when_the_settings_agree():
    for link in (PLAIN, Link(baud=4800, bits=7, parity="even", stop=2)):
        assert caught(b"+0.123\r\n" * 5, link, link) == b"+0.123\r\n" * 5


@pytest.mark.parametrize("name", list(listening_profiles()))
def test_every_profile_is_named_by_its_own_bytes_at_its_own_settings(name):
    profile = load_instrument(name)
    asked = name if profile.requests else ""
    found = identify([Capture(profile.link, spoken(name), asked)])
    assert found.best is not None
    assert best(found).profile == name or name in found.rivals
    assert found.word in ("named", "several fit")


def test_a_capture_that_begins_and_ends_inside_a_line_counts_whole_lines():
    found = identify([Capture(PLAIN, b"23\r\n+0.124\r\n+0.125\r\n-0.001\r\n+0.0")])
    assert (found.word, best(found).profile, best(found).share) == ("named", "indicator-line", 1.0)
    assert best(found).sample == "+0.124"


def test_one_line_is_a_perhaps_and_not_a_name():
    found = identify([Capture(PLAIN, b"+0.124\r\n")])
    assert found.word == "likely"
    assert found.says.startswith("Perhaps indicator-line")


def test_seven_bits_with_parity_caught_as_eight_bits_are_recognised_by_the_parity():
    sent = load_instrument("indicator-polled").link
    data = caught(b"  0.123 mm\r -0.004 mm\r" * 5, sent, Link(baud=4800))
    assert any(byte & 0x80 for byte in data), "the parity bit stands in the eighth place"
    found = identify([Capture(Link(baud=4800), data, "indicator-polled")])
    assert best(found).profile == "indicator-polled"
    assert (best(found).link.bits, best(found).link.parity) == (7, "even")


def test_of_several_speeds_the_one_that_makes_sense_is_named():
    sent = load_instrument("level-line").link
    data = spoken("level-line")
    captures = [Capture(Link(baud=rate), caught(data, sent, Link(baud=rate))) for rate in (115200, 9600, 1200)]
    found = identify(captures)
    assert (best(found).profile, best(found).link.baud) == ("level-line", 9600)


def test_bytes_without_sense_say_so_and_which_profile_at_which_speed_to_try():
    data = caught(spoken("indicator-line"), PLAIN, Link(baud=9600))
    found = identify([Capture(Link(baud=9600), data)])
    assert found.word == "no sense"
    assert found.best is None
    assert "indicator-line at 115200" in found.says


def test_text_that_no_profile_reads_asks_for_an_instrument_file_not_for_another_speed():
    found = identify([Capture(PLAIN, b"height=0.123;ok\r\n" * 10)])
    assert found.word == "no sense"
    assert "instrument file of your own" in found.says


def test_silence_is_silence():
    assert identify([]).word == identify([Capture(PLAIN, b"")]).word == "silent"


def test_two_talkers_on_one_line_are_not_named_with_confidence():
    data = b"".join(b"+0.123\r\n" + b"+0.12 mm/m\r\n" for _ in range(20))
    assert identify([Capture(PLAIN, data)]).word != "named"


def test_two_talkers_whose_lines_alternate_are_both_named_and_told_apart():
    data = b"".join(b"+0.123\r\n" + b"+0.12 mm/m\r\n" for _ in range(20))
    says = identify([Capture(PLAIN, data)]).says
    assert says.startswith("Two instruments speak on this line: ")
    assert "indicator-line" in says and "level-line" in says and "a port of its own" in says
    dirty = b"".join(b"+0.123\r\n" + b"?#!\r\n" for _ in range(20))
    assert "another talker, or a bad cable" in identify([Capture(PLAIN, dirty)]).says


@pytest.mark.parametrize(
    ("asked", "answer", "who"),
    [("scpi-indicator", b"9.9E+37\n", "scpi-indicator"), ("", b"OVER\r\n", "level-line")],
)
def test_an_instrument_that_only_says_it_has_no_reading_is_heard_and_not_called_unknown(asked, answer, who):
    found = identify([Capture(Link(), answer * 4, asked)])
    assert (found.word, found.best) == ("no sense", None)
    assert who in found.says and "no reading" in found.says and "range" in found.says


def test_a_node_of_a_newer_protocol_is_told_from_text_nobody_knows():
    old = b"".join(NodeTalker(any_profile("node-encoder")).write(Line(0.1, 4.0)) for _ in range(5))
    newer = b"".join(sentence(line.split(b"*")[0][1:].replace(b",1,", b",2,", 1)) for line in old.splitlines())
    says = identify([Capture(Link(baud=250_000), newer)]).says
    assert "protocol 2, newer than 1" in says and "update truestroke" in says


def test_nothing_that_came_down_the_wire_reaches_the_sentence_raw():
    found = identify([Capture(PLAIN, b"\x1b[2J[red]boo\x07" * 20)])
    assert found.says.isprintable()
    assert all(score.sample.isprintable() for score in found.scores)


def test_wrong_rates_and_dirt_are_never_named_wrong_with_confidence():
    """Every streaming profile, at every other common rate and with dirt: right, unsure or nothing."""
    chance = random.Random(1)
    rates = (1200, 2400, 4800, 9600, 19200, 38400, 57600, 115200)
    streaming = [name for name, one in listening_profiles().items() if not one.requests]
    tried = right = 0
    for name in streaming:
        sent = load_instrument(name).link
        for rate in rates:
            data = caught(spoken(name, 4)[:300], sent, Link(baud=rate))
            dirty = bytearray(data)
            for _ in range(len(data) // 40):
                dirty[chance.randrange(len(dirty))] = chance.randrange(256)
            for each in (data, bytes(dirty)):
                tried += 1
                found = identify([Capture(Link(baud=rate), each)])
                right += found.best is not None and best(found).profile == name and rate == sent.baud
                if found.word == "named":
                    assert best(found).profile == name
                    assert rate == sent.baud
    assert tried >= 60
    assert right >= 6, "and the right ones are found: the check above is not met by finding nothing"


def test_the_settings_to_listen_with_begin_with_those_of_the_profiles():
    links = links_to_try()
    own = {(one.link.baud, one.link.bits, one.link.parity) for one in listening_profiles().values()}
    assert {(link.baud, link.bits, link.parity) for link in links[: len(own)]} == own
    assert len(set(links)) == len(links)


def test_what_people_type_is_not_listened_for():
    assert all(profile.frame != "typed" for profile in listening_profiles().values())


@pytest.mark.parametrize(
    ("data", "word"),
    [
        (b"+0.123\r\n" * 5, ""),
        (b"", "Nothing arrived"),
        (b"+0.123,5.0\r\n" * 5, "--instrument indicator-with-position"),
        (bytes(range(128, 256)), "make no sense"),
    ],
)
def test_the_hint_after_a_sweep_without_readings(data, word):
    hint = wrong_settings_hint(data, load_instrument("indicator-line"))
    assert word in hint
    assert bool(hint) == bool(word)


def test_a_hint_for_the_right_instrument_with_wrong_parity_names_the_settings():
    polled = load_instrument("indicator-polled")
    data = caught(b"  0.123 mm\r" * 8, polled.link, Link(baud=4800))
    assert "7 bits, parity even" in wrong_settings_hint(data, polled, Link(baud=4800))


def test_readings_are_what_decides_not_lines_that_say_there_is_none():
    found = identify([Capture(PLAIN, b"ERR\r\n" * 20)])
    assert found.best is None
    assert not any(isinstance(found, Reading) for found in found.scores)


def test_plain_numbers_that_come_unasked_at_the_speed_of_one_that_must_be_asked_are_a_streaming_instrument():
    found = identify([Capture(Link(baud=9600), b"+0.123\r\n" * 20)])
    assert (found.word, best(found).profile) == ("named", "indicator-line")
