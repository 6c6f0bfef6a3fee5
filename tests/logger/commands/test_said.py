"""Facts about what is said while readings come: dirt that does not bury them, and how to sweep with what is at hand."""

from logger.commands._record import _keys_said
from logger.commands._stream import Dirt, happened, no_value_line
from logger.instruments import load_instrument
from logger.readings import Gap, Garbage


def test_dirt_is_shown_three_times_of_each_kind_and_counted_from_then_on():
    now = [0.0]
    dirt = Dirt(lambda: now[0])
    said = [dirt(Garbage(k, b"rubbish", "does not fit the pattern")) for k in range(10)]
    assert [line is not None for line in said] == [True] * 3 + [False] * 7
    assert dirt(Garbage(11, b"$X*00", "sentence checksum 00 is not 0B")) is not None  # another kind
    now[0] = Dirt.EVERY_S + 0.1
    line = dirt(Garbage(12, b"rubbish", "does not fit the pattern"))
    assert line is not None and line.endswith("(and 7 more before it)")


def test_checksums_that_differ_are_one_kind_and_the_commonest_reason_is_kept():
    dirt = Dirt(lambda: 0.0)
    assert dirt.mostly() == ""
    said = [dirt(Garbage(0, b"x", f"sentence checksum {k:02d} is not 9{k}")) for k in range(5)]
    assert sum(line is not None for line in said) == 3
    dirt(Garbage(0, b"x", "no number"))
    assert dirt.mostly().startswith(": sentence checksum ")


def test_no_terminal_code_and_no_long_line_of_dirt_reaches_the_screen():
    line = Dirt()(Garbage(0, b"\x1b[2J" + b"+0.1" * 200, "no line end within 256 bytes"))
    assert line is not None and line.isprintable() and len(line) < 160


def test_gaps_are_said_with_their_reason_and_length():
    assert happened(Gap(10**9, 12 * 10**8, "lines lost")) == "    1.000 s  gap: lines lost, 0.200 s"
    assert happened(Gap(10**9, 10**9, "noted")) == "    1.000 s  gap: noted"
    assert happened(Gap(10**9, 2 * 10**9, "link lost")) is None  # the loss and the return are said themselves
    assert no_value_line(Gap(10**9, 10**9, "no value", 812.5)) == (
        "    1.000 s  no reading, says the instrument  position 812.5"
    )


def test_with_a_level_one_is_told_to_stop_and_for_how_long_with_an_indicator_to_push():
    """Six time constants of 0.5 s; a push of 0.05 m/s2 shows as 0.05/9.81 = 5 mm/m."""
    level = _keys_said((0.0, 500.0), load_instrument("level-line"))
    assert "stop at each station" in level and "wait 3 s" in level and "steady pace" not in level
    pushed = _keys_said((0.0, 500.0), load_instrument("indicator-line"))
    assert "passes a station" in pushed and "steady pace" in pushed
