"""What a person sees of an answer: folded between words on a terminal, one line a line everywhere else."""

from __future__ import annotations

import io

import pytest
from hypothesis import given
from hypothesis import strategies as st

from logger.commands import Answer
from logger.console import Console, folded

LONG = "  The peak to valley is 0.013 mm; at most 0.050 mm allowed: inside by more than the uncertainty."


class Terminal(io.StringIO):
    """A stream that says it is one; it has no size, and is taken for 80 wide."""

    encoding = "utf-8"

    def isatty(self) -> bool:
        return True


def test_no_number_is_cut_in_two_on_a_terminal():
    told = Terminal()
    Console(told, Terminal()).answer(Answer({}, [LONG]))
    first, second = told.getvalue().splitlines()
    assert len(first) <= 79 and first.startswith("  The peak")
    assert second.startswith("    ") and " ".join((first + second).split()) == " ".join(LONG.split())


def test_a_pipe_gets_the_line_as_it_is():
    told = io.StringIO()
    Console(told, io.StringIO()).answer(Answer({}, [LONG]))
    assert told.getvalue() == LONG + "\n"


def test_an_object_for_a_script_is_one_line_on_a_terminal_too():
    told = Terminal()
    console = Console(told, Terminal())
    console.configure(plain=False, json_only=True)
    console.answer(Answer({"why": LONG * 3}, []))
    assert told.getvalue().count("\n") == 1


@pytest.mark.parametrize("line", ["     truestroke load " + "25kg@780:+0.120..+0.112mm " * 4, "short", ""])
def test_a_command_that_will_be_copied_and_a_line_that_fits_stay_whole(line):
    assert folded(line, 79) == [line]


@given(st.lists(st.text("abc0.±", min_size=1, max_size=12), min_size=1, max_size=60), st.integers(0, 8))
def test_no_word_is_lost_and_none_too_many_in_a_line(words, indent):
    line = " " * indent + " ".join(words)
    parts = folded(line, 79)
    assert " ".join(parts).split() == words
    assert all(len(part) <= 79 for part in parts)
