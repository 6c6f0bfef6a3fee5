"""A check from its cautions over the readings to the verdict, on an invented job whose journal is real."""

import pytest

from logger.tui.widgets.checks import CheckTable
from tests.tui.pilot import entries, opened, press, run, shown, to_check


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
