"""Facts about patterns that an instrument file may and may not use."""

import re
import time

import pytest

from logger.decode.pattern_safety import pattern_fault

SAFE = [
    r"^(?P<value>[+-]?\d+\.\d+)(?:,(?P<position>[+-]?\d+(?:\.\d+)?))?(?P<mark>,M)?$",
    r"^ERR,t(?P<time>\d+\.\d+)(?P<mark>,M)?$",
    r"^(?P<value>[+-]?\d+\.\d+)(?:,t(?P<time>\d+\.\d+))?(?:,(?P<position>[+-]?\d+\.\d+))?(?P<mark>,M)?(?:,k(?P<mark_time>\d+\.\d+))?$",
    r"\s*(?P<value>[+-]?\s*\d+[.,]\d+)\s*(?P<unit>mm|in)?\s*",
    r"(?P<channel>[A-Z]\d?)=(?P<value>[-+0-9.]+);.*",
    r"[^,]*,[^,]*,[^,]*,[^,]*,(?P<value>-?\d+\.\d+)",
    r"N\d{6}(?P<value>[+-]\d{4}\.\d{3})",
]
UNSAFE = [
    (r"(\d+)*x", "repeat inside a repeat"),
    (r"(?:(?:a+)b?)+", "repeat inside a repeat"),
    (r"(?:\d{1,20}){1,20}", "repeat inside a repeat"),
    (r"(?:a|ab)*c", "alternatives inside a repeat"),
    (r".*.*.*.*x", "unbounded repeats in a row"),
    (r"\d+(?:x?\d+)?\d*\d+", "unbounded repeats in a row"),
    (r"\d+(?:,\d+)?\d*\d*\d*", "unbounded repeats in a row"),
    (r"\d+(?:\d+(?:,\d+)?)?\d*\d*x", "unbounded repeats in a row"),
    (r"\s*\w*[ a-z]*\S*[a-z ]*[a]*b", "unbounded repeats in a row"),
    (r"(?P<value>\d+),(?P=value)", "reference"),
    (r"(?i)\d+", "flags"),
    (r"(", "not a regular expression"),
    (r"x{5,2}", "not a regular expression"),
    ("é", "ASCII"),
    ("a" * 1001, "1001 characters"),
]


def test_optional_fields_that_begin_with_a_comma_part_their_repeats():
    field = r"[+-]?\d+\.\d+"
    assert (
        pattern_fault(rf"^(?P<value>{field})(?:,(?P<position>{field}))?(?:,t(?P<time>{field}))?(?:,k({field}))?$")
        is None
    )


@pytest.mark.parametrize("pattern", SAFE)
def test_what_instruments_need_is_allowed(pattern):
    assert pattern_fault(pattern) is None


@pytest.mark.parametrize(("pattern", "words"), UNSAFE)
def test_what_could_run_away_is_refused_in_words(pattern, words):
    assert words in (pattern_fault(pattern) or "")


def test_a_pattern_we_refuse_does_run_away():
    """The naive check, that a pattern compiles, lets this through: each further character doubles its time."""
    pattern = re.compile(rb"(?:a|aa)*b")

    def seconds(count):
        start = time.process_time()  # other work on the machine does not count
        assert pattern.fullmatch(b"a" * count) is None
        return time.process_time() - start

    assert seconds(27) > 20 * max(min(seconds(16) for _ in range(5)), 1e-6)


@pytest.mark.parametrize("pattern", [*SAFE, r".*x.*y", r".*,.*,(?P<value>\d+)"])
@pytest.mark.parametrize("alphabet", [b"1", b" ", b"1.", b",", b"a1 ", b"x,y1"])
def test_what_we_allow_ends_on_256_bytes_of_its_own_dirt(pattern, alphabet):
    """No limit on time is asserted: an allowed pattern that ran away would not return within a test run."""
    line = (alphabet * 256)[:255] + b"\x00"
    assert re.compile(pattern.encode()).fullmatch(line) is None or b"." in pattern.encode()
