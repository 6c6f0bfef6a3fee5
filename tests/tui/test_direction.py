"""One touch by hand before a set-up is trusted: what is asked, what is kept, and what is not swept."""

from logger.tui.invented import InventedParts
from tests.tui.pilot import entries, opened, press, run, shown, to_check


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
