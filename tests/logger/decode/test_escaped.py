"""Facts about bytes as text."""

import csv
import io

import pytest
from hypothesis import given
from hypothesis import strategies as st

from logger.decode.escaped import escape_bytes, safe_cell, show_bytes, unescape_bytes


@given(st.binary(max_size=600))
def test_every_byte_string_comes_back(raw):
    assert unescape_bytes(escape_bytes(raw)) == raw


@given(st.binary(max_size=600))
def test_escaped_bytes_are_one_line_of_printable_ascii_without_a_quote_or_a_formula(raw):
    text = escape_bytes(raw)
    assert all(" " <= c <= "~" and c != '"' for c in text)
    assert text[:1] not in ("=", "+", "-", "@")


@given(st.binary(max_size=200))
def test_a_quoted_cell_survives_the_csv_module(raw):
    """csv of the Python standard library is the outside reader here."""
    row = next(csv.reader(io.StringIO(f'1,"{escape_bytes(raw)}"')))
    assert unescape_bytes(row[1]) == raw


@pytest.mark.parametrize(
    ("raw", "text"),
    [(b"1.25\r\n", "1.25\\r\\n"), (b"+1", "\\x2b1"), (b"\x1b[2J", "\\x1b[2J"), (b'a"b', "a\\x22b"), (b"\\", "\\\\")],
)
def test_by_hand(raw, text):
    assert escape_bytes(raw) == text


@pytest.mark.parametrize("text", ["\\q", "\\x2", "\\u1234", "\\N{DASH}", "tab\t", 'quote"', "é", "\\"])
def test_what_was_not_escaped_by_us_is_refused(text):
    with pytest.raises(ValueError, match="not escaped"):
        unescape_bytes(text)


@given(st.binary(max_size=600))
def test_nothing_shown_can_reach_a_terminal_as_a_code(raw):
    shown = show_bytes(raw)
    assert all(" " <= c <= "~" or c == "…" for c in shown)
    assert len(shown) <= 4 * 60 + 1


@given(st.text(max_size=100))
def test_a_safe_cell_is_one_line_and_no_formula(text):
    cell = safe_cell(text)
    assert '"' not in cell
    assert all(c.isprintable() for c in cell)
    assert cell[:1] not in ("=", "+", "-", "@")
