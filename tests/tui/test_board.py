"""The board, a check from caution to verdict, and taking back: on an invented job whose journal is real."""

from dataclasses import replace
from datetime import UTC, datetime

import pytest

from logger.checks.board import board_from
from logger.tui.canvas import Canvas
from logger.tui.glyphs import COLOUR
from logger.tui.invented import InventedParts, invented_job
from logger.tui.screens.board import _told
from logger.tui.widgets.checks import LOWER, UPPER, CheckTable, draw_checks, lane_of, line_of
from tests.tui.pilot import opened, press, run, shown


def entries(app):
    return app.session.job.standing_entries()


async def to_check(app, pilot, name):
    """The board's cursor on a check, by its name."""
    names = [row.check.name for row in app.session.board.rows]
    by = names.index(name) - names.index(app.screen.chosen.check.name)
    await pilot.press(*["down" if by > 0 else "up"] * abs(by))


@pytest.mark.parametrize(
    ("value", "word", "place"),
    [
        (0.0, "inside", range(LOWER + 1, UPPER)),
        (0.0999, "inside", range(LOWER + 1, UPPER)),
        (-0.0999, "inside", range(LOWER + 1, UPPER)),
        (0.1001, "outside", range(UPPER + 1, 7)),
        (-0.1001, "outside", range(LOWER)),
        (9.0, "outside", range(UPPER + 1, 7)),
    ],
)
def test_rounding_never_carries_a_bead_over_a_line_its_verdict_does_not_cross(value, word, place):
    lane = lane_of(value, 0.0, -0.1, 0.1, word, COLOUR)
    assert lane.index("●") in place


def test_a_bead_on_a_line_means_cannot_tell():
    assert lane_of(0.1, 0.02, -0.1, 0.1, "cannot tell", COLOUR)[UPPER] == "●"


def test_a_value_that_cannot_be_told_for_another_reason_stays_where_it_is():
    assert lane_of(0.016, 0.002, None, 0.05, "cannot tell", COLOUR).index("●") < UPPER


def test_a_value_beyond_a_limit_within_its_uncertainty_is_on_the_line():
    assert lane_of(-0.2, 0.14, -0.1, 0.1, "cannot tell", COLOUR)[LOWER] == "●"


def test_a_stale_value_is_a_hollow_bead_and_none_is_no_bead():
    assert "○" in lane_of(0.05, 0.01, None, 0.1, "stale", COLOUR)
    assert lane_of(None, None, None, 0.1, "not measured", COLOUR) == " 0   │ "


def test_the_board_shows_state_value_allowed_and_what_comes_next():
    async def scenario():
        async with opened(taken=True) as (app, _):
            text = shown(app)
            assert "═ inside" in text
            assert "▲ outside     0.119 ±0.004  to 0.050 mm" in text
            assert "· not measured" in text
            assert "Next: " in text
            assert app.screen.chosen.check.name == app.session.board.next

    run(scenario())


def test_a_stale_check_says_why_when_the_cursor_is_on_it():
    async def scenario():
        async with opened(taken=True) as (app, pilot):
            await to_check(app, pilot, "toe")
            text = shown(app)
            assert "○ stale" in text
            assert "B2 turned after it" in text

    run(scenario())


def test_every_check_can_be_opened_and_shows_its_cautions_first():
    async def scenario():
        async with opened(size=(80, 60), taken=True) as (app, pilot):
            for index, row in enumerate(app.session.board.rows):
                app.screen.query_one(CheckTable).chosen = index
                await press(app, pilot, "enter")
                text = " ".join(shown(app).split())
                assert app.screen.check.name == row.check.name
                assert text.index("first, your hands") < text.index("do this")
                assert row.check.cautions[0][:40] in text
                await press(app, pilot, "escape")

    run(scenario())


def test_before_a_set_up_is_trusted_one_touch_by_hand_is_asked_for_and_the_answer_kept():
    async def scenario():
        async with opened(size=(80, 40), taken=True) as (app, pilot):
            await to_check(app, pilot, "blade")
            await press(app, pilot, "enter")
            assert "Push the tip in with a finger: the number must grow." in " ".join(shown(app).split())
            await press(app, pilot, "enter", "y", "'0.01 0.02 0.03 0.02 0.01 0.0", "ctrl+s")
            assert app.screen.NAME == "result"
            kinds = [entry.kind for entry in entries(app)]
            assert "direction check" in kinds[-3:]

    run(scenario())


def test_where_nobody_looked_the_screen_asks_before_it_takes_the_readings_and_later_is_remembered():
    async def scenario():
        async with opened(size=(80, 40), taken=True) as (app, pilot):
            await to_check(app, pilot, "blade")
            before = len(entries(app))
            await press(app, pilot, "enter", "enter", "down", "'0.01 0.02 0.03 0.02 0.01 0.0", "ctrl+s")
            assert app.screen.NAME == "look once"
            assert "Did the number move as said?" in " ".join(shown(app).split())
            await press(app, pilot, "escape")
            assert (app.screen.NAME, len(entries(app))) == ("readings", before)
            await press(app, pilot, "ctrl+s", "n")
            assert "opposite sign" in " ".join(shown(app).split())
            assert [entry.data.get("moved_as_said") for entry in entries(app)[before:]] == [False]
            await press(app, pilot, "ctrl+s", "l")
            assert app.screen.NAME == "result"
            assert entries(app)[-1].data["direction_checked"] is False

    run(scenario())


def test_the_answer_on_the_screen_is_the_entry_of_the_command_line():
    async def scenario():
        async with opened(size=(80, 40), taken=True) as (app, pilot):
            await to_check(app, pilot, "blade")
            await press(app, pilot, "enter", "enter", "down", "'0.01 0.02 0.03 0.02 0.01 0.0", "ctrl+s", "y")
            told, taken = entries(app)[-2:]
            way = "Push the tip in with a finger: the number must grow"
            assert told.kind == "direction check"
            assert told.data == {"check": "blade", "by": "", "way": way, "moved_as_said": True}
            assert taken.data["direction_checked"] is True

    run(scenario())


def test_before_the_first_sweep_of_a_set_up_the_direction_is_asked_for_once():
    async def scenario():
        async with opened(taken=True, parts=InventedParts(asks_direction=True)) as (app, pilot):
            await press(app, pilot, "s")
            assert app.screen.NAME == "look once"
            assert "the number must rise" in " ".join(shown(app).split())
            await press(app, pilot, "y")
            assert app.screen.NAME == "sweep"
            assert app.screen.feed is not None
            assert entries(app)[-1].data["set_up"] == "across"
            await press(app, pilot, "escape", "y", "s")
            assert app.screen.NAME == "sweep"

    run(scenario())


def test_an_instrument_that_counts_the_other_way_is_not_swept():
    async def scenario():
        async with opened(taken=True, parts=InventedParts(asks_direction=True)) as (app, pilot):
            await press(app, pilot, "s", "n")
            assert app.screen.feed is None
            assert "sense: reversed" in " ".join(shown(app).split())
            await press(app, pilot, "escape")
            assert app.screen.NAME == "board"

    run(scenario())


def test_a_check_with_several_ways_of_measuring_says_of_each_what_to_look_at():
    async def scenario():
        async with opened(size=(80, 60), taken=True) as (app, pilot):
            await to_check(app, pilot, "upright")
            await press(app, pilot, "enter")
            text = " ".join(shown(app).split())
            assert "arc: Push the tip in" in text
            assert "level: Raise the level's outfeed end" in text

    run(scenario())


def test_a_check_left_out_is_shown_so_passed_over_and_taken_up_again():
    async def scenario():
        async with opened(taken=True) as (app, pilot):
            await to_check(app, pilot, "base")
            await press(app, pilot, "enter", "k", "n")
            assert "skipped" not in entries(app)[-1].data
            await press(app, pilot, "k", "y")
            assert app.screen.NAME == "board"
            assert entries(app)[-1].data == {"check": "base", "skipped": True}
            await to_check(app, pilot, "base")
            await press(app, pilot)
            text = " ".join(shown(app).split())
            assert "· left out" in text
            assert ", 1 left out" in text
            assert "left out on purpose" in text
            await press(app, pilot, "enter", "k", "y")
            assert entries(app)[-1].data == {"check": "base", "skipped": False}
            assert "left out" not in shown(app).split("\n", 1)[0]

    run(scenario())


def test_what_was_pushed_says_on_the_board_when_to_look_again():
    row = board_from(invented_job(taken=True).standing_entries(), None).row("sag")
    due = replace(row, state="inside", look_again=datetime(2026, 3, 14, 12, 0, tzinfo=UTC))
    assert line_of(due, "mm", COLOUR, 0.05).look.startswith("it gives way again after it was pushed; measure it from")
    line = line_of(replace(due, late=True), "mm", COLOUR, 0.05)
    assert line.look.endswith("which has passed.")
    canvas = Canvas(200, 2)
    draw_checks(canvas, [line], 0, 0, COLOUR)
    assert "which has passed." in canvas.rows()[1]
    assert "It gives way again" in _told(due)
    assert _told(replace(due, skipped=True)).startswith("left out on purpose")


def test_working_out_of_order_says_what_it_may_cost():
    async def scenario():
        async with opened(size=(80, 50)) as (app, pilot):
            await to_check(app, pilot, "toe")
            await press(app, pilot, "enter")
            text = " ".join(shown(app).split())
            assert "condition is not measured: when it is corrected later, measure this again." in text

    run(scenario())


def test_a_set_up_is_drawn():
    async def scenario():
        async with opened(taken=True) as (app, pilot):
            await to_check(app, pilot, "toe")
            await press(app, pilot, "enter", "d")
            text = shown(app)
            assert "You need" in text
            assert "─" in text.split("\n", 3)[3]
            await press(app, pilot, "d")
            assert "first, your hands" in shown(app)

    run(scenario())


def test_four_keys_say_that_the_machine_is_in_condition():
    async def scenario():
        async with opened() as (app, pilot):
            assert app.screen.chosen.check.name == "condition"
            await press(app, pilot, "enter", "enter", "y", "y", "y", "y", "ctrl+s")
            text = shown(app)
            assert app.screen.NAME == "result"
            assert "═ inside" in text
            assert "Next: " in text
            assert entries(app)[-1].data["words"] == {"clean": "yes", "tight": "yes", "bare": "yes", "free": "yes"}
            await press(app, pilot, "enter")
            assert app.screen.NAME == "board"
            assert app.session.board.row("condition").state == "inside"

    run(scenario())


async def type_twist(app, pilot, infeed="0.80", outfeed="0.10"):
    await to_check(app, pilot, "twist")
    await press(app, pilot, "enter", "enter", "y", f"'{infeed}", "enter", f"'{outfeed}", "enter", "'900", "ctrl+s")


def test_typed_readings_give_verdict_value_correction_and_cautions_before_it():
    async def scenario():
        async with opened(size=(80, 40), taken=True) as (app, pilot):
            await type_twist(app, pilot)
            text = shown(app)
            assert app.screen.NAME == "result"
            assert "outside" in text
            # Twist = outfeed - infeed = -0.70 mm/m, from the two readings typed above.
            assert "−0.70" in text
            assert text.index("first, your hands") < text.index("then move")
            assert entries(app)[-1].data["numbers"]["infeed"] == [0.8]

    run(scenario())


def test_a_reading_of_an_unusual_size_is_asked_about_before_it_is_believed():
    async def scenario():
        async with opened(taken=True) as (app, pilot):
            before = len(entries(app))
            await to_check(app, pilot, "blade")
            await press(app, pilot, "enter", "enter", "y", "'4 6 5 3 4 6", "ctrl+s")
            assert app.screen.NAME == "sure?"
            assert "4 thou" in " ".join(shown(app).split())
            await press(app, pilot, "n")
            assert app.screen.NAME == "readings"
            assert len(entries(app)) == before
            await press(app, pilot, "ctrl+s", "y")
            assert app.screen.NAME == "result"
            assert entries(app)[-1].data["numbers"]["readings"][0] == pytest.approx(4 * 0.0254)

    run(scenario())


def test_what_is_no_number_is_said_under_its_line_and_nothing_is_written_down():
    async def scenario():
        async with opened(taken=True) as (app, pilot):
            before = len(entries(app))
            await type_twist(app, pilot, infeed="abc")
            row = app.screen.form.row("infeed")
            assert "is not a number" in row._wrong
            assert row.box.has_focus
            assert len(entries(app)) == before

    run(scenario())


def test_what_is_missing_is_said_under_each_line_that_wants_it():
    async def scenario():
        async with opened(taken=True) as (app, pilot):
            await to_check(app, pilot, "twist")
            await press(app, pilot, "enter", "enter", "ctrl+s")
            wrong = [row.field.key for row in app.screen.form.shown if row.has_class("-wrong")]
            assert wrong == ["infeed", "outfeed", "feet_across"]

    run(scenario())


def test_rows_of_another_test_are_not_asked_for():
    async def scenario():
        async with opened(size=(80, 40), taken=True) as (app, pilot):
            await to_check(app, pilot, "fence")
            await press(app, pilot, "enter", "enter")
            form = app.screen.form
            form.row("cuts").box.choose("four")
            await press(app, pilot)
            asks = [ask for ask in app.screen.check.asks if ask.only is not None and ask.only[0] == "cuts"]
            asked = {row.field.key for row in form.shown}
            wanted = {ask.key for ask in asks if "four" in ask.only[1]}
            assert wanted
            assert wanted <= asked
            assert not ({ask.key for ask in asks} - wanted) & asked

    run(scenario())


def test_adjusted_is_asked_first_and_makes_stale_what_rests_on_it():
    async def scenario():
        async with opened(taken=True) as (app, pilot):
            await to_check(app, pilot, "base")
            await press(app, pilot, "enter", "a", "n")
            assert "adjusted" not in entries(app)[-1].data
            await press(app, pilot, "a", "y")
            assert app.screen.NAME == "board"
            assert entries(app)[-1].data == {"check": "base", "adjusted": True}
            assert app.session.board.row("twist").state == "stale"

    run(scenario())


def test_the_last_entry_is_taken_back_only_with_consent_and_both_stay_in_the_journal():
    async def scenario():
        async with opened(taken=True) as (app, pilot):
            count = len(app.session.job.entries())
            await press(app, pilot, "z")
            assert "sweep 0007-across" in shown(app)
            assert "stays on disk" in shown(app)
            await press(app, pilot, "n")
            assert len(app.session.job.entries()) == count
            await press(app, pilot, "z", "y")
            assert len(app.session.job.entries()) == count + 1
            assert app.session.board.row("rail").state == "not measured"
            assert "Taken back" in shown(app)

    run(scenario())


def test_with_an_empty_journal_there_is_nothing_to_take_back():
    async def scenario():
        async with opened() as (app, pilot):
            await press(app, pilot, "z")
            assert "Nothing has been written down yet" in shown(app)

    run(scenario())


def test_a_click_on_a_row_chooses_it_and_a_second_one_opens_it():
    async def scenario():
        async with opened(taken=True) as (app, pilot):
            await pilot.click("#checks", offset=(8, 2))
            await press(app, pilot)
            assert app.screen.chosen.check.name == "base"
            await pilot.click("#checks", offset=(8, 2))
            await press(app, pilot)
            assert app.screen.NAME == "check"

    run(scenario())


@pytest.mark.parametrize("size", [(80, 24), (120, 34), (160, 45), (200, 60)])
def test_at_every_size_no_row_is_longer_than_the_screen_and_help_is_one_key_away(size):
    async def scenario():
        async with opened(size=size, taken=True) as (app, pilot):
            for key in ("", "enter", "escape", "l", "escape", "i", "escape"):
                if key:
                    await press(app, pilot, key)
                rows = shown(app).split("\n")
                assert all(len(row) == size[0] for row in rows)
                assert "? help" in rows[-1]

    run(scenario())


def test_a_sweep_from_the_board_without_an_instrument_leads_to_finding_it():
    async def scenario():
        async with opened(taken=True) as (app, pilot):
            app.session.port = app.session.instrument_name = ""
            await press(app, pilot, "s")
            assert app.screen.NAME == "instrument"
            assert "press i to find it" in shown(app)
            await press(app, pilot, "i")
            assert app.session.port == "/dev/ttyUSB0"
            assert app.session.instrument_name == "indicator-line"
            await press(app, pilot, "s")
            assert app.screen.NAME == "sweep"

    run(scenario())


def test_when_nothing_is_recognised_every_port_says_what_it_heard():
    async def scenario():
        parts = InventedParts()
        parts.found = type(parts.found)("/dev/none", "", "")
        async with opened(parts=parts) as (app, pilot):
            await press(app, pilot, "i", "i")
            text = " ".join(shown(app).split())
            assert "No instrument was recognised." in text
            assert "/dev/ttyACM0: Nothing arrived." in text

    run(scenario())


def test_a_silent_port_is_asked_only_after_a_yes_for_that_port():
    async def scenario():
        parts = InventedParts()
        parts.found = type(parts.found)("/dev/none", "", "")
        parts.answers = "scpi-indicator"
        async with opened(parts=parts) as (app, pilot):
            await press(app, pilot, "i", "i")
            text = " ".join(shown(app).split())
            assert "Send read-only requests to /dev/ttyUSB0?" in text
            assert "may drive a machine" in text
            await press(app, pilot, "n")
            assert app.session.instrument_name != "scpi-indicator"
            assert "Send read-only requests to /dev/ttyACM0?" in " ".join(shown(app).split())
            await press(app, pilot, "y")
            assert (app.session.port, app.session.instrument_name) == ("/dev/ttyACM0", "scpi-indicator")

    run(scenario())


def test_a_typed_instrument_is_asked_at_each_station_and_becomes_a_sweep(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)  # the invented job lies in no folder of its own

    async def scenario():
        async with opened() as (app, pilot):
            app.session.instrument_name, app.session.passes = "typed-mm", 1
            app.session.stations_mm = (550.0, 1150.0, 1650.0)
            await press(app, pilot, "i")
            app.session.instrument_name = "typed-mm"
            app.screen._fill()
            await press(app, pilot, "s")
            assert "pass 1, carriage at 550 mm (1 of 3)" in " ".join(shown(app).split())
            for keys in ("0.1", "x", "0.12", "0.10..0.15"):
                await press(app, pilot, *[{".": "full_stop"}.get(key, key) for key in keys], "enter")
                if keys == "x":
                    assert "Not taken" in shown(app)
                    await press(app, pilot, "backspace")
            assert app.session.parts.swept
            (wire,) = (path.read_text() for path in tmp_path.glob("**/wire.csv"))
            assert [row.split(",")[1] for row in wire.splitlines()[1:]] == ["key", "in", "in", "key", "in", "key", "in"]
            assert '"0.10..0.15\\n"' in wire

    run(scenario())


def test_the_rail_is_drawn_as_soon_as_it_was_found_though_it_had_no_place_before():
    async def scenario():
        async with opened(size=(160, 45), taken=True) as (app, pilot):
            rail = app.screen.query_one("#rail")
            rail.display = False
            await pilot.pause()
            rail._canvas = Canvas(*rail.outer_size)  # as painted before there was anything to draw
            picture = rail.picture
            rail.show(picture)
            rail.display = True
            await press(app, pilot)
            assert "B1" in shown(app)

    run(scenario())
