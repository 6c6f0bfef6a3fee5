"""Cells in, rows out; nothing foreign reaches the terminal as a code."""

from hypothesis import given
from hypothesis import strategies as st

from logger.tui.canvas import Canvas
from logger.tui.themes import LIGHT, Look


def test_text_is_cut_at_the_edges_and_never_wraps():
    canvas = Canvas(5, 1)
    assert canvas.put(-2, 0, "abcdefgh") == 6
    assert canvas.rows() == ["cdefg"]


def test_an_escape_sequence_is_shown_as_its_number():
    canvas = Canvas(20, 1)
    canvas.put(0, 0, "B1\x1b[31m")
    assert canvas.rows() == ["B1\\x1b[31m"]


def test_markup_of_the_framework_is_only_text():
    canvas = Canvas(20, 1)
    canvas.put(0, 0, "[bold red]B1[/]")
    assert canvas.rows() == ["[bold red]B1[/]"]


def test_a_wide_sign_takes_two_cells_and_is_left_out_where_only_one_is_left():
    canvas = Canvas(4, 1)
    canvas.put(0, 0, "木a木")
    assert canvas.strip(0, LIGHT).cell_length == 4
    assert canvas.rows() == ["木a"]


def test_neighbours_of_one_look_become_one_segment():
    canvas = Canvas(6, 1)
    canvas.put(0, 0, "abc", Look("high"))
    segments = list(canvas.strip(0, LIGHT))
    assert [segment.text for segment in segments] == ["abc", "   "]


@given(st.text(max_size=60), st.integers(-70, 70))
def test_no_text_leaves_a_control_code_or_another_width(text, x):
    canvas = Canvas(40, 1)
    canvas.put(x, 0, text)
    row = "".join(canvas.signs[0])
    assert all(ord(sign) >= 32 and not 127 <= ord(sign) < 160 for sign in row)
    assert canvas.strip(0, LIGHT).cell_length == 40
