"""A bolt that does not bring the display to its target: where to stop, what is asked, and what the journal then holds.

The saw, its plan and every reading are invented; the example job in ``fixtures/recordings`` is simulated.
"""

import asyncio
import shutil
from dataclasses import replace
from pathlib import Path

import pytest

from logger.advice import estimate_turned
from logger.job import Job, turned_in
from logger.tui.invented import InventedParts, source_of
from logger.tui.invented_numbers import invented_plan
from logger.tui.parts_job import JobParts
from logger.tui.scenes import pass_time, scene_findings, scene_turn, settled
from logger.tui.wording import Units, astray_state
from tests.tui.pilot import opened, press, run, shown

EXAMPLE = Path(__file__).parents[2] / "fixtures" / "recordings"


def parts_with(**changed):
    """The invented parts; the first move of their plan changed."""
    parts, plan = InventedParts(), invented_plan()
    moves = (replace(plan.moves[0], **changed), *plan.moves[1:])
    parts.seen = replace(parts.seen, plan=replace(plan, moves=moves))
    return parts


async def display(app, pilot, value, at_s):
    """The display stands at ``value`` long enough for every word to follow."""
    source_of(app).say(value, start_s=at_s, seconds=0.7)
    pass_time(app, 0.5)
    pass_time(app, 0.5)
    await pilot.pause()


def words(app):
    return " ".join(shown(app).split())


def typed(app):
    return app.screen.query_one("#answer").value


# --- where to stop ---------------------------------------------------------------------------------------------------


def test_where_to_stop_at_most_stands_beside_the_height_to_stop_at():
    """0.37 mm of a 1.5 mm thread are 0.247 turns: a quarter, as the steps before it say."""

    async def scenario():
        async with opened() as (app, pilot):
            await scene_turn(app, pilot)
            assert "stop at +0.089 ±0.004, or after 1/4 turn" in shown(app)

    run(scenario())


def test_a_plan_that_names_no_most_says_nothing_of_it():
    async def scenario():
        async with opened(parts=parts_with(raise_at_most_mm=None)) as (app, pilot):
            await scene_turn(app, pilot)
            assert "stop at +0.089 ±0.004   " in shown(app)
            assert "or after" not in shown(app)

    run(scenario())


def test_a_phone_beside_the_wrench_says_it_too():
    async def scenario():
        async with opened() as (app, pilot):
            await scene_turn(app, pilot)
            await press(app, pilot, "p", "y", "escape")
            pass_time(app, 0.1)
            assert app.session.parts.page.shown[-1].how == "1/16 clockwise from below; stop after 1/4 turn"

    run(scenario())


# --- the other way ---------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("value", "gone"), [(0.021, False), (0.019, True)])
def test_three_hundredths_away_from_the_target_are_too_far(value, gone):
    """It stood at 0.050 and is to rise to 0.089: at 0.019 it went 0.031 the other way."""

    async def scenario():
        async with opened() as (app, pilot):
            await scene_turn(app, pilot)
            await display(app, pilot, value, 6.0)
            assert ("▼ runs the other way by 0.031: turn back" in shown(app)) is gone
            assert ("turn it the other way, past where it stood" in shown(app)) is gone
            assert ("B3 ↑" in shown(app)) is not gone  # nothing says to turn on

    run(scenario())


def test_a_line_that_is_to_fall_runs_the_other_way_by_rising():
    async def scenario():
        async with opened(parts=parts_with(reading_target=0.011, height_target=0.011, raise_mm=-0.09)) as (app, pilot):
            await scene_turn(app, pilot)
            await display(app, pilot, 0.090, 6.0)
            assert "▲ runs the other way by 0.040: turn back" in shown(app)

    run(scenario())


def test_a_foot_that_only_rests_is_not_turned_back_but_left_where_it_is():
    assert astray_state(0.04, 0.05, Units(), rests=True).sentence == "runs the other way by 0.040: stop"


def test_gone_past_its_target_it_is_turned_back_and_does_not_run_the_other_way():
    async def scenario():
        async with opened() as (app, pilot):
            await scene_turn(app, pilot)
            await display(app, pilot, 0.189, 6.0)
            assert "▲ 0.100 to go, lower" in shown(app)
            assert "the other way" not in shown(app)

    run(scenario())


# --- asked on enter --------------------------------------------------------------------------------------------------


def test_at_its_target_nothing_is_asked():
    async def scenario():
        async with opened() as (app, pilot):
            await scene_turn(app, pilot)
            await display(app, pilot, 0.080, 6.0)  # the lock nut took 0.009 of it
            await press(app, pilot, "enter")
            assert app.screen.NAME == "findings"
            (made,) = app.session.parts.turned
            assert made.counted == ""

    run(scenario())


def test_not_at_its_target_it_asks_how_far_with_the_most_that_was_said_in_the_line():
    async def scenario():
        async with opened() as (app, pilot):
            await scene_turn(app, pilot)
            await display(app, pilot, 0.052, 6.0)
            await press(app, pilot, "enter")
            assert app.screen.NAME == "type it"
            said = "B3 is not at its target: the display shows +0.052, and +0.089 mm was to be reached."
            assert said in words(app)
            assert typed(app) == "+1/4"
            await press(app, pilot, "enter")
            assert app.screen.NAME == "findings"
            (made,) = app.session.parts.turned
            assert (made.counted, made.before, made.after) == ("+1/4", pytest.approx(0.050), pytest.approx(0.052))
            assert "Written down: B3, counted +1/4, display +0.050 to +0.052 mm" in words(app)

    run(scenario())


def test_a_bolt_that_lowers_is_offered_with_its_sign_and_one_without_a_most_with_nothing():
    async def scenario(changed, offered):
        async with opened(parts=parts_with(**changed)) as (app, pilot):
            await scene_turn(app, pilot)
            await display(app, pilot, 0.052, 6.0)
            await press(app, pilot, "enter")
            assert typed(app) == offered

    run(scenario({"raise_mm": -0.09, "raise_at_most_mm": -0.37}, "-1/4"))
    run(scenario({"raise_at_most_mm": None}, ""))


class Wrench:
    """A tour's workshop in which nothing happens."""

    port, instrument, set_up, stations_mm, passes, marks_itself = "", "", "across", (), 2, True

    def pushing(self):
        return False

    def park(self, x_mm):
        pass

    def turn_bolt(self, bolt, raise_mm):
        pass

    def lock_nut(self, bolt):
        pass


def test_on_the_tour_the_line_holds_what_its_keys_turned():
    """Four keys of 0.02 mm and a fifth of one down: 0.084 of 1.5 mm are an eighteenth of a turn."""

    async def scenario():
        async with opened(tour=Wrench()) as (app, pilot):
            await scene_turn(app, pilot)
            await pilot.press("down", "down", "down", "down", "left")
            await display(app, pilot, 0.010, 6.0)
            assert "Tour: the other way; turn it back and on." in words(app)
            await press(app, pilot, "enter")
            assert typed(app) == "-1/18"

    run(scenario())


def test_escape_goes_back_to_the_bolt_and_nothing_is_written_down():
    async def scenario():
        async with opened() as (app, pilot):
            await scene_turn(app, pilot)
            await display(app, pilot, 0.052, 6.0)
            await press(app, pilot, "enter", "escape")
            assert app.screen.NAME == "turn"
            assert app.session.parts.turned == []

    run(scenario())


def test_a_wrong_entry_is_explained_and_can_be_typed_again():
    async def scenario():
        async with opened() as (app, pilot):
            await scene_turn(app, pilot)
            await display(app, pilot, 0.052, 6.0)
            await press(app, pilot, "enter")
            for text, said in (
                ("some", "'some' is not understood as a part of a turn. Write -1/4"),
                ("-0.3mm", "'-0.3mm' is not understood as a part of a turn. Write -1/4"),
                ("-1/0", "divides by zero"),
                ("+40", "would move B3 by +60.00 mm, and its thread has no more than 20 mm."),
            ):
                await press(app, pilot, "ctrl+u", f"'{text}", "enter")
                assert said in words(app)
            assert app.session.parts.turned == []
            await press(app, pilot, "ctrl+u", "'+1/6", "enter")
            assert [made.counted for made in app.session.parts.turned] == ["+1/6"]

    run(scenario())


# --- every line whole ------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("size", "units"), [((80, 24), "mm"), ((80, 24), "in"), ((120, 34), "mm")])
def test_no_line_of_it_is_cut_near_or_far(size, units, monkeypatch):
    """Far longer figures than a stand beside the rail gives; 2.15625 mm of a 1.5 mm thread are 1 7/16, said 1 5/12."""
    monkeypatch.setenv("NO_COLOR", "1")
    stop = {"mm": "stop at +12.345 ±0.004, or 1 5/12 turns", "in": "stop at +486.0 ±0.2, or after 1 5/12 turns"}
    gone = {"mm": "▼ runs the other way by 0.100: turn back", "in": "▼ runs the other way by 3.9: turn back"}

    async def scenario():
        parts = parts_with(
            reading_now=12.306,
            height_now=12.306,
            reading_target=12.345,
            height_target=12.345,
            raise_at_most_mm=2.15625,
        )
        async with opened(size=size, parts=parts, units=units) as (app, pilot):
            await scene_findings(app, pilot)
            await pilot.press("enter", "y")
            await pilot.pause()
            await display(app, pilot, 12.306, 0.0)
            await display(app, pilot, 12.206, 6.0)
            text = shown(app)
            assert stop[units] + " " in text and gone[units] in text
            assert "turn it the other way, past where it stood" in text
            assert "then the lock nut: it may shift by 0.01 mm" in text
            assert text.split("\n")[-1].rstrip().endswith("help")
            await press(app, pilot, "f")
            pass_time(app, 0.3)
            text = shown(app)
            assert stop[units] + " " in text and gone[units].removeprefix("▼ ") in text
            await press(app, pilot, "enter")
            assert "the display alone is written down." in words(app)

    run(scenario())


# --- the journal -----------------------------------------------------------------------------------------------------


class RealJournal(InventedParts):
    """Invented readings; findings, plan and journal are those of a job on disk."""

    look = JobParts.look
    note_turned = JobParts.note_turned


@pytest.fixture
def job(tmp_path):
    """The example before its bolts were turned."""
    folder = Path(shutil.copytree(EXAMPLE, tmp_path / "job"))
    journal = folder / "journal.jsonl"
    lines = journal.read_text(encoding="utf-8").splitlines(keepends=True)
    journal.write_text("".join(line for line in lines[:2]), encoding="utf-8")
    return Job.open(folder)


async def until(true, app, pilot):
    """What is worked out in a thread has come back."""
    for _ in range(50):
        if true():
            return
        await settled(app, pilot)
    raise AssertionError("it never came")


async def turn_the_first(job, change, *keys):
    """Turn the first bolt of the plan while the display moves by ``change``; what was planned, and what is written."""
    async with opened(parts=RealJournal()) as (app, pilot):
        app.session.job = job
        await scene_findings(app, pilot)
        await until(lambda: app.session.seen.plan is not None, app, pilot)
        plan = app.session.seen.plan
        move = plan.moves[0]
        await pilot.press("enter", "y")
        await pilot.pause()
        await display(app, pilot, move.reading_now, 0.0)
        await display(app, pilot, move.reading_now + change, 6.0)
        await press(app, pilot, "enter", *keys)
        assert app.screen.NAME == "findings"
        await until(lambda: app.session.seen.plan is not plan, app, pilot)  # planned anew
        (entry,) = [each for each in job.standing_entries() if each.kind == "turned"]
        (written,) = turned_in(entry)
        return move, written


def test_what_was_counted_and_the_display_are_both_in_the_journal(job):
    """As ``truestroke turned B1=-1/6turn@550:..`` would write it: a sixth of a turn of 1.5 mm lowers by 0.25 mm."""
    move, written = asyncio.run(turn_the_first(job, 0.002, "ctrl+u", "'-1/6", "enter"))
    assert (written.bolt, written.form) == (move.bolt, "turns")
    assert written.raise_mm == pytest.approx(-0.25)
    assert written.park_mm == pytest.approx(move.park_mm)
    assert written.before == pytest.approx(move.reading_now)
    assert written.after == pytest.approx(move.reading_now + 0.002)
    assert written.set_up == "across"


def test_left_empty_the_display_alone_is_written_as_before(job):
    move, written = asyncio.run(turn_the_first(job, 0.002, "ctrl+u", "enter"))
    assert (written.bolt, written.form) == (move.bolt, "parked")
    assert written.after == pytest.approx(move.reading_now + 0.002)
    assert abs(written.raise_mm) < 0.05  # which is why it is asked: it seems not to have been turned
    job.withdraw(job.standing_entries()[-1], "to estimate it once more")
    text = f"{move.bolt}@{written.park_mm}:{written.before:.6f}..{written.after:.6f}"
    assert estimate_turned(job, text).raise_mm == pytest.approx(written.raise_mm, abs=0.001)
