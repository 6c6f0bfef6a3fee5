"""Stations and ends of a recording as people type them; keys without Enter."""

import os
import sys

import pytest

from logger.commands._numbers import stations, until
from logger.errors import NotAllowed
from logger.keyboard import Keyboard

STROKE = (0.0, 2600.0)


def test_stations_as_typed():
    assert stations("0,500,1000", STROKE) == ((0.0, 500.0, 1000.0), [])


def test_stations_may_run_toward_infeed():
    assert stations("1000,500,0", STROKE)[0] == (1000.0, 500.0, 0.0)


def test_a_station_just_outside_the_stroke_is_clipped_and_noted():
    values, notes = stations("-4,500,2605", STROKE)
    assert values == (0.0, 500.0, 2600.0)
    assert len(notes) == 2 and "-4 mm" in notes[0]


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("0,five,1000", "'five' is not a number"),
        ("0,,1000", "'' is not a number"),
        ("0,nan", "'nan' is not a number"),
        ("0", "names 1 station"),
        ("0,500,500", "do not follow one another"),
        ("0,1000,500", "do not follow one another"),
        ("-300,0", "-300 mm is outside the stroke (0 to 2600 mm)"),
    ],
)
def test_stations_that_cannot_be_are_named(text, said):
    with pytest.raises(NotAllowed) as refused:
        stations(text, STROKE)
    assert said in str(refused.value)


def test_the_end_of_a_recording():
    assert until(None) is None
    assert until("closed") == "closed"
    assert until("still", still=True) == "still"
    assert until("12.5") == 12.5
    for wrong in ("still", "0", "-1", "nan", "inf", "soon"):
        with pytest.raises(NotAllowed, match="Allowed: closed, or seconds"):
            until(wrong)


@pytest.mark.skipif(os.name == "nt", reason="a pseudo terminal needs a POSIX system")
def test_a_key_arrives_without_enter_and_the_terminal_is_put_back():
    import pty
    import termios

    ours, theirs = pty.openpty()
    before = termios.tcgetattr(theirs)
    with os.fdopen(theirs, "r") as terminal:
        with Keyboard(terminal) as keys:
            os.write(ours, b" ")
            assert keys.wait(60.0) == " "
            assert keys.wait(0.0) == ""
        assert termios.tcgetattr(theirs) == before
    os.close(ours)


def test_without_a_terminal_no_key_ever_comes(tmp_path):
    (tmp_path / "nothing").touch()
    with (tmp_path / "nothing").open() as file, Keyboard(file) as keys:
        assert keys.wait(0.0) == ""
    assert sys.stdin is not None
