"""The live view on invented data: the number, its state, its zero, and what is said when there is none."""

import pytest

from logger.readings import LinkLost
from logger.tui.invented import source_of
from logger.tui.scenes import pass_time, scene_live
from tests.tui.pilot import opened, run, shown


def test_the_live_view_says_inside_with_unit_uncertainty_and_the_display_figure():
    async def scenario():
        async with opened() as (app, pilot):
            await scene_live(app, pilot)
            text = shown(app)
            assert "═ inside" in text
            assert "±0.001 mm   = +4.1 thou" in text
            assert "instrument shows +0.104" in text
            assert "highest +0.166  lowest +0.058" in text

    run(scenario())


def test_a_port_that_does_not_open_is_said_with_what_to_do():
    async def scenario():
        from logger.errors import PortError

        async with opened() as (app, pilot):
            app.open_live()
            await pilot.pause()
            source_of(app).state = "ended"
            source_of(app).error = PortError("/dev/ttyUSB0 is in use.", "Close the other program.")
            pass_time(app, 0.2)
            await pilot.pause()
            assert "/dev/ttyUSB0 is in use. Close the other program." in shown(app)

    run(scenario())


def test_an_indicator_in_a_levels_place_is_refused_before_the_port_is_opened():
    async def scenario():
        async with opened() as (app, pilot):
            app.session.set_up_name = "pitch"
            app.open_live()
            await pilot.pause()
            assert "wants a level" in shown(app)
            assert app.screen.feed is None

    run(scenario())


def test_a_number_that_comes_alive_is_judged_at_once():
    async def scenario():
        async with opened() as (app, pilot):
            app.open_live()
            await pilot.pause()
            pass_time(app, 0.2)
            source_of(app).say(0.104)
            pass_time(app, 0.2)
            await pilot.pause()
            assert "no reading" not in shown(app)
            assert "inside" in shown(app)

    run(scenario())


def test_a_pulled_cable_turns_the_number_into_dashes_and_says_how_long_ago():
    async def scenario():
        async with opened() as (app, pilot):
            await scene_live(app, pilot)
            source_of(app).queue = [LinkLost(0, "cable")]
            pass_time(app, 0.2)
            pass_time(app, 12.0)
            await pilot.pause()
            text = shown(app)
            assert "╱ link lost 12 s ago" in text
            assert "╱ no signal" in text
            assert "no reading" in text
            assert "last seen here" in text

    run(scenario())


def test_zero_makes_the_present_height_the_tables_plane_and_leaves_the_display_alone():
    async def scenario():
        async with opened() as (app, pilot):
            await scene_live(app, pilot)
            await pilot.press("0")
            source_of(app).say(0.104, start_s=3.0)
            pass_time(app, 0.5)
            await pilot.pause()
            assert "instrument shows +0.104 · set 10:51" in shown(app)
            assert app.screen.feed.now().height == pytest.approx(0.0, abs=1e-9)

    run(scenario())


def test_a_zero_set_by_a_wrong_key_is_taken_back_with_the_key_that_takes_back_everywhere():
    async def scenario():
        async with opened() as (app, pilot):
            await scene_live(app, pilot)
            await pilot.press("z")
            assert "nothing to take back" in shown(app)
            await pilot.press("0", "0", "z", "z")
            source_of(app).say(0.104, start_s=3.0)
            pass_time(app, 0.5)
            await pilot.pause()
            assert app.screen.feed.now().height == pytest.approx(0.104, abs=1e-9)
            assert "set 10:51" not in shown(app)

    run(scenario())


def test_a_reference_that_is_no_number_is_refused_with_what_to_type():
    async def scenario():
        async with opened() as (app, pilot):
            await scene_live(app, pilot)
            await pilot.press("r", *"abc", "enter")
            assert "'abc' is not a number" in shown(app)
            await pilot.press("escape")
            assert app.screen.NAME == "live"

    run(scenario())


def test_thou_and_back():
    async def scenario():
        async with opened() as (app, pilot):
            await scene_live(app, pilot)
            await pilot.press("u")
            source_of(app).say(0.104, start_s=3.0)
            pass_time(app, 0.5)
            await pilot.pause()
            assert "thou   = +0.104 mm" in shown(app)

    run(scenario())


def test_far_view_keeps_the_number_the_state_and_a_way_back():
    async def scenario():
        async with opened() as (app, pilot):
            await scene_live(app, pilot)
            await pilot.press("f")
            pass_time(app, 0.5)
            await pilot.pause()
            text = shown(app)
            assert "inside" in text
            assert "B1" not in text
            await pilot.press("escape")
            assert app.screen.NAME == "live"
            assert not app.screen.has_class("-far")

    run(scenario())
