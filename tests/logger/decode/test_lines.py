"""Facts about lines cut out of chunks."""

from itertools import pairwise

from hypothesis import given
from hypothesis import strategies as st

from logger.decode.lines import LONGEST_CLUMP_NS, LONGEST_LINE, LineSplitter

MS = 1_000_000


def texts(stamped):
    return [line for _, line in stamped]


def cut(data, places):
    places = sorted({place % (len(data) + 1) for place in places} | {0, len(data)})
    return [data[a:b] for a, b in pairwise(places)]


def test_cr_lf_and_crlf_all_end_a_line():
    assert texts(LineSplitter().feed(b"a\rb\nc\r\nd", MS)) == [b"a", b"b", b"c"]


def test_a_cr_lf_cut_in_two_ends_one_line_not_two():
    splitter = LineSplitter()
    assert texts(splitter.feed(b"1.5\r", MS)) == [b"1.5"]
    assert splitter.feed(b"\n", 2 * MS) == []
    assert texts(splitter.feed(b"1.6\r\n", 3 * MS)) == [b"1.6"]


def test_other_characters_that_python_takes_for_line_ends_are_part_of_the_line():
    assert texts(LineSplitter().feed(b"a\x0bb\x0cc\x1cd\x85e\n", MS)) == [b"a\x0bb\x0cc\x1cd\x85e"]


def test_a_line_of_256_bytes_is_whole_and_one_of_257_says_so_by_its_length():
    assert texts(LineSplitter().feed(b"x" * 256 + b"\n", MS)) == [b"x" * 256]
    assert [len(line) for line in texts(LineSplitter().feed(b"x" * 300 + b"\nok\n", MS))] == [LONGEST_LINE + 1, 2]


def test_a_megabyte_without_a_line_end_is_one_long_line_and_nothing_is_kept():
    splitter = LineSplitter()
    found = [line for i in range(256) for line in splitter.feed(b"\xff" * 4096, i * MS)]
    assert [len(line) for line in texts(found)] == [LONGEST_LINE + 1]
    assert texts(splitter.feed(b"tail of the noise\n1.5\n", 400 * MS)) == [b"1.5"]
    assert splitter.flush(401 * MS) == []


def test_after_an_overlong_line_the_next_one_is_whole():
    splitter = LineSplitter()
    splitter.feed(b"x" * 300, MS)
    assert texts(splitter.feed(b"xxx\n1.5\n", 2 * MS)) == [b"1.5"]


def test_the_stamp_of_a_line_that_ends_a_chunk_is_the_chunks():
    splitter = LineSplitter()
    splitter.feed(b"0\n", 1 * MS)
    assert splitter.feed(b"1\n", 9 * MS) == [(9 * MS, b"1")]


def test_lines_of_one_clump_are_spread_by_byte_count_since_the_chunk_before():
    splitter = LineSplitter()
    splitter.feed(b"000\n", 100 * MS)
    stamped = splitter.feed(b"111\n222\n333\n444\n", 104 * MS)
    assert stamped == [(101 * MS, b"111"), (102 * MS, b"222"), (103 * MS, b"333"), (104 * MS, b"444")]


def test_lines_with_cr_lf_are_spread_as_evenly():
    splitter = LineSplitter()
    splitter.feed(b"00\r\n", 100 * MS)
    stamped = splitter.feed(b"11\r\n22\r\n33\r\n44\r\n", 104 * MS)
    assert [t for t, _ in stamped] == [101 * MS, 102 * MS, 103 * MS, 104 * MS]


def test_a_clump_after_a_long_quiet_is_not_spread_over_the_quiet():
    splitter = LineSplitter()
    splitter.feed(b"0\n", 0)
    first, last = splitter.feed(b"1\n2\n", 60_000 * MS)
    assert last[0] == 60_000 * MS
    assert last[0] - first[0] <= LONGEST_CLUMP_NS


@given(st.binary(max_size=2000), st.lists(st.integers(0, 2000), max_size=30))
def test_lines_do_not_depend_on_where_the_cable_cuts(data, places):
    whole = LineSplitter()
    expected = texts(whole.feed(data, MS)) + texts(whole.flush(MS))
    pieces = LineSplitter()
    found = [line for i, piece in enumerate(cut(data, places)) for line in texts(pieces.feed(piece, i * MS))]
    assert found + texts(pieces.flush(99 * MS)) == expected


@given(st.lists(st.tuples(st.binary(max_size=300), st.integers(0, 50 * MS)), max_size=40))
def test_stamps_never_go_back_and_never_lie_after_their_chunk(chunks):
    splitter, t_ns, last = LineSplitter(), 0, 0
    for chunk, pause in chunks:
        t_ns += pause // 1000 * 1000
        for stamp, line in splitter.feed(chunk, t_ns):
            assert last <= stamp <= t_ns
            assert stamp % 1000 == 0
            assert 0 < len(line) <= LONGEST_LINE + 1
            last = stamp
