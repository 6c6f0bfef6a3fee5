"""Turned by hand while the readings stream, and the number on the instrument taken into a line: on invented sources."""

import math

import numpy as np
import pytest

from logger.checks.table import BY_NAME
from logger.checks.turning import so_far
from logger.readings import Mark, Reading
from logger.tui.canvas import Canvas
from logger.tui.glyphs import COLOUR, PLAIN
from logger.tui.invented import invented_machine, source_of
from logger.tui.scenes import pass_time
from logger.tui.turned_stream import TurnStream
from logger.tui.widgets.turned import TurnPicture, draw_turn
from logger.tui.wording import Units
from tests.tui.pilot import opened, press, run, shown, to_check

ECCENTRIC_MM, HIGHEST_DEG = 0.010, 130.0
"""By hand: an arbor 0.010 mm out of its axis swings the pointer by 0.020 and is highest where it is out."""


def turned(turns, marks_a_turn=1, per_turn=200, seconds=4.0):
    """What streams while that arbor is turned evenly, marks among the readings; the first mark comes at once."""
    records: list[Mark | Reading] = []
    for i in range(round(turns * per_turn) + 1):
        t_ns = round(i / per_turn * seconds * 1e9)
        if (i * marks_a_turn) % per_turn == 0:
            records.append(Mark(t_ns))
        angle = math.radians(360.0 * i / per_turn - HIGHEST_DEG)
        records.append(Reading(t_ns, 0.2 + ECCENTRIC_MM * math.cos(angle), "mm", "", None))
    return records


def arrays(records):
    readings = [each for each in records if isinstance(each, Reading)]
    marks = [each.t_ns * 1e-9 for each in records if isinstance(each, Mark)]
    return np.array([r.t_ns * 1e-9 for r in readings]), np.array([r.value for r in readings]), np.array(marks)


def told(records, marks_a_turn=1):
    arbor = BY_NAME["arbor"]
    t_s, values, marks = arrays(records)
    return so_far(arbor, arbor.allowed, invented_machine(), t_s, values, marks, marks_a_turn)


@pytest.mark.parametrize("marks_a_turn", [1, 2, 4])
def test_three_whole_turns_give_the_swing_its_place_and_a_verdict(marks_a_turn):
    found = told(turned(3, marks_a_turn), marks_a_turn)
    assert found.turns == 3
    assert found.result.verdict.value == pytest.approx(0.020, abs=0.0005)
    assert found.result.details["eccentric_mm"] == pytest.approx(0.010, abs=0.0002)
    assert found.result.details["direction_deg"] == pytest.approx(130.0, abs=2.0)
    assert found.result.verdict.word == "inside"


def test_half_a_turn_and_a_single_one_give_nothing_and_say_what_is_wanted():
    half, one = told(turned(0.5)), told(turned(1))
    assert half.result is None
    assert "no whole turn" in half.why
    assert one.result is None
    assert "two whole turns or more" in one.why


def test_the_angle_now_goes_on_at_the_pace_until_then_and_waits_at_the_next_mark():
    stream = TurnStream(BY_NAME["arbor"], BY_NAME["arbor"].allowed, invented_machine())
    stream.take(turned(1.5), lambda _channel: True)
    _, _, now = stream.laid_out(1)
    assert now == pytest.approx(540.0, abs=2.0)
    stream.take([Reading(round(60e9), 0.2, "mm", "", None)], lambda _channel: True)
    _, _, now = stream.laid_out(1)
    assert now is not None
    assert now < 720.0


@pytest.mark.parametrize("letters", [COLOUR, PLAIN])
def test_the_turn_is_laid_out_with_its_highest_place_where_it_is(letters):
    t_s, values, _ = arrays(turned(2))
    canvas = Canvas(80, 8, plain=letters is PLAIN)
    highest, lowest = float(values.max()), float(values.min())
    draw_turn(canvas, TurnPicture(t_s / 4.0 * 360.0, values, None, None, highest, lowest), letters, Units())
    rows = canvas.rows()
    assert rows[0].startswith("  +0.210")
    first, last = rows[0].index(letters.block), rows[0].rindex(letters.block)
    degrees = ((first + last) / 2 - 9) / (78 - 9) * 360.0
    assert degrees == pytest.approx(HIGHEST_DEG, abs=6.0)
    assert rows[-1].split() == ["0", "90", "180", "270", "degrees"]


async def to_turning(app, pilot):
    await to_check(app, pilot, "arbor")
    await press(app, pilot, "enter", "t")


def test_on_the_screen_the_result_stands_as_soon_as_the_turns_are_whole_and_enter_hands_it_on():
    async def scenario():
        async with opened() as (app, pilot):
            await to_turning(app, pilot)
            assert app.screen.NAME == "turn by hand"
            assert "Isolate and lock out the power" in shown(app)
            source = source_of(app)
            stream = turned(3)
            first = next(i for i, each in enumerate(stream) if isinstance(each, Mark) and each.t_ns > 5e9)
            source.queue += stream[: first - 50]
            pass_time(app, 0.2)
            await pilot.pause()
            assert "1 whole turn, 2 marks" in shown(app)
            assert "inside" not in shown(app)
            await press(app, pilot, "enter")
            assert app.screen.NAME == "turn by hand"
            source.queue += stream[first - 50 :]
            pass_time(app, 0.2)
            await pilot.pause()
            text = " ".join(shown(app).split())
            assert "3 whole turns, 4 marks" in text
            assert "═ inside" in text
            assert "eccentric part 0.010" in text
            assert "highest at 130°" in text
            await press(app, pilot, "enter")
            assert app.screen.NAME == "readings"
            assert app.screen.form.row("recording").value

    run(scenario())


def test_without_a_mark_there_is_a_total_and_no_verdict():
    async def scenario():
        async with opened() as (app, pilot):
            await to_turning(app, pilot)
            source_of(app).queue += [each for each in turned(1) if isinstance(each, Reading)]
            pass_time(app, 0.2)
            pass_time(app, 3.0)
            await pilot.pause()
            text = " ".join(shown(app).split())
            assert "The total so far is 0.019 ±0.002 mm" in text  # less what a bearing wanders unseen
            assert "inside" not in text

    run(scenario())


def test_space_is_a_mark_and_a_check_that_does_not_turn_has_no_stream():
    async def scenario():
        async with opened() as (app, pilot):
            await press(app, pilot, "enter", "t")
            assert app.screen.NAME == "check"
            await press(app, pilot, "escape")
            await to_turning(app, pilot)
            source_of(app).say(0.2)
            pass_time(app, 0.2)
            await press(app, pilot, "space")
            pass_time(app, 0.2)
            assert app.screen.stream.marks == 1

    run(scenario())


def test_the_number_on_the_instrument_goes_into_the_line_by_key_and_by_its_own_button():
    async def scenario():
        async with opened(taken=True) as (app, pilot):
            await to_check(app, pilot, "spindle")
            await press(app, pilot, "enter", "enter")
            form = app.screen.form
            form.row("readings").box.focus()
            await press(app, pilot, "ctrl+r")
            assert "Ctrl-r" in shown(app)
            source_of(app).say(0.104)
            pass_time(app, 0.2)
            await press(app, pilot, "ctrl+r")
            assert form.row("readings").value == "+0.1040mm"
            source_of(app).say(0.101, start_s=5.0)
            source_of(app).queue.append(Mark(round(5.6e9)))
            pass_time(app, 0.2)
            assert form.row("readings").value == "+0.1040mm,+0.1010mm"
            form.row("radius").box.focus()
            await press(app, pilot, "ctrl+r")
            assert form.row("radius").value == ""
            assert "takes no reading" in shown(app)

    run(scenario())
