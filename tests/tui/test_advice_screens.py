"""What if, the weighing, the responses, two sweeps side by side, sound, and what a wrong key during a sweep costs."""

from dataclasses import replace

import numpy as np
import pytest

from analysis.results import Repair
from logger.readings import Ended, LinkLost, Mark, Reading
from logger.tui.invented import InventedParts, source_of
from logger.tui.invented_numbers import invented_findings
from logger.tui.scenes import pass_time, scene_findings, scene_live, scene_sweep, scene_turn
from logger.tui.screens.sweeps import difference
from logger.tui.wording import Units
from tests.tui.pilot import opened, press, run, shown

# --- what if ---------------------------------------------------------------------------------------------------------


def test_what_if_begins_with_the_advice_and_says_what_another_bolt_would_do():
    async def scenario():
        async with opened() as (app, pilot):
            await scene_findings(app, pilot)
            await press(app, pilot, "i")
            assert app.screen.moves == pytest.approx({"B3": 0.09, "B4": -0.06})
            await press(app, pilot, "tab", "tab", "up")
            assert app.screen.moves["B5"] == pytest.approx(1.5 / 12)
            text = shown(app)
            assert "peak to valley" in text
            assert "in 100 to come inside" in text
            assert "1/12 turn clockwise from below" in text
            assert "nothing is written down" in text

    run(scenario())


def test_a_move_can_be_typed_as_on_the_command_line():
    async def scenario():
        async with opened() as (app, pilot):
            await scene_findings(app, pilot)
            await press(app, pilot, "i", "0", "enter", "'B2=-1/6turn", "enter")
            # A sixth of a turn of a 1.5 mm thread is 0.25 mm, minus lowers.
            assert app.screen.moves == pytest.approx({"B2": -0.25})
            await press(app, pilot, "enter", "'B9=1mm", "enter")
            assert "B9" in shown(app)
            assert app.screen.NAME == "type it"

    run(scenario())


def test_nothing_moved_is_the_profile_as_measured():
    async def scenario():
        async with opened() as (app, pilot):
            await scene_findings(app, pilot)
            await press(app, pilot, "i", "0")
            assert "No bolt moved: peak to valley 0.119 mm, as measured." in shown(app)

    run(scenario())


def test_questions_asked_faster_than_they_are_answered_end_with_the_newest():
    async def scenario():
        async with opened() as (app, pilot):
            await scene_findings(app, pilot)
            await press(app, pilot, "i", "0")
            await pilot.press("up", "up", "up", "up")
            await press(app, pilot)
            assert app.screen._asked == app.screen.moves
            assert app.screen.moves["B3"] == pytest.approx(4 * 1.5 / 12)

    run(scenario())


def test_the_round_can_be_weighed_another_way_and_is_planned_anew():
    asked = []

    class Weighing(InventedParts):
        def look(self, job, trust="few"):
            asked.append(trust)
            return super().look(job, trust)

    async def scenario():
        async with opened(parts=Weighing()) as (app, pilot):
            await scene_findings(app, pilot)
            ways = app.session.parts.trusts()
            for _ in ways:
                await press(app, pilot, "t")
            assert set(ways) <= set(asked)
            assert asked[-1] == "few"
            assert "Planned for few moves and a good chance." in shown(app)

    run(scenario())


def test_the_response_of_each_bolt_is_shown_believed_and_learned_with_its_uncertainty():
    async def scenario():
        async with opened(size=(120, 34)) as (app, pilot):
            await scene_findings(app, pilot)
            await press(app, pilot, "r", "tab")
            text = shown(app)
            assert "B2 raised by 1 mm" in text
            assert "learned from 2 turns" in text
            assert "+0.34 ±0.05" in text
            assert "+0.39" in text
            assert "╌" in text

    run(scenario())


def test_places_that_matter_are_said_under_the_verdict():
    async def scenario():
        async with opened() as (app, pilot):
            await scene_findings(app, pilot)
            assert "≈ spindle 0.019 cannot tell   ╱ the whole stroke not seen" in shown(app)

    run(scenario())


def test_units_changed_on_one_screen_hold_on_the_one_beneath_when_it_is_seen_again():
    async def scenario():
        async with opened() as (app, pilot):
            await scene_findings(app, pilot)
            await press(app, pilot, "i", "u")
            assert "thou" in shown(app)
            await press(app, pilot, "escape")
            assert "peak to valley 4.7" in shown(app)
            await press(app, pilot, "escape")
            assert "thou" in shown(app)

    run(scenario())


# --- sweeps ----------------------------------------------------------------------------------------------------------


def test_two_sweeps_are_seen_side_by_side_with_their_largest_difference():
    async def scenario():
        async with opened() as (app, pilot):
            await press(app, pilot, "l")
            assert "0005-across" in shown(app)
            assert "not counted" in shown(app)
            await press(app, pilot, "down", "space", "up")
            text = shown(app)
            assert "Against 0006-across: most +0.020 ±0.006 mm at 1140." in text
            assert "then B2 turned" in text

    run(scenario())


def test_a_difference_within_its_uncertainty_claims_nothing():
    now = invented_findings()
    assert "nothing has surely changed" in difference(now, now, "0006", Units())


def test_sweeps_of_different_set_ups_are_not_compared():
    other = replace(invented_findings(), set_up="along")
    assert "another set-up" in difference(other, invented_findings(), "0006", Units())


def test_no_sweep_yet_is_one_sentence():
    async def scenario():
        parts = InventedParts(kept_sweeps=[])
        async with opened(parts=parts) as (app, pilot):
            await press(app, pilot, "l")
            assert "Nothing has been swept yet." in shown(app)

    run(scenario())


# --- a wrong key during a sweep --------------------------------------------------------------------------------------


def test_escape_during_a_sweep_asks_and_the_recording_goes_on():
    async def scenario():
        async with opened() as (app, pilot):
            await scene_sweep(app, pilot)
            before = source_of(app).readings
            await press(app, pilot, "escape")
            assert "Stop this sweep?" in shown(app)
            assert "readings are on disk and stay there" in " ".join(shown(app).split())
            source_of(app).queue.append(Reading(20 * 10**9, 0.1, "mm"))
            app.screen_stack[-2].tick()
            assert source_of(app).readings == before + 1
            await press(app, pilot, "n")
            assert app.screen.NAME == "sweep"
            await press(app, pilot, "escape", "y")
            assert app.screen.NAME == "board"
            assert app.session.parts.swept == []

    run(scenario())


def test_a_sweep_that_comes_to_its_end_under_the_question_is_not_lost():
    async def scenario():
        async with opened() as (app, pilot):
            app.open_sweep()
            await press(app, pilot)
            for i in range(18):
                source_of(app).queue += [Reading(i * 10**9, 0.1, "mm"), Mark(i * 10**9)]
            pass_time(app, 0.2)
            await press(app, pilot, "escape")
            source_of(app).queue = [Ended(19 * 10**9, "marks")]
            app.screen_stack[-2].tick()
            await press(app, pilot, "y")
            assert app.session.parts.swept == ["0008-across"]
            assert "Not seen yet" in shown(app)
            await press(app, pilot, "enter")
            assert app.screen.NAME == "findings"

    run(scenario())


def test_leaving_the_program_during_a_sweep_is_asked_first():
    async def scenario():
        async with opened() as (app, pilot):
            await scene_sweep(app, pilot)
            await press(app, pilot, "ctrl+q")
            assert "Leave truestroke?" in shown(app)
            await press(app, pilot, "n")
            assert app.screen.NAME == "sweep"

    run(scenario())


def test_leaving_a_bolt_that_was_turned_is_asked_first_and_one_that_was_not_is_left_at_once():
    async def scenario():
        async with opened() as (app, pilot):
            await scene_turn(app, pilot)
            for key in ("escape", "k"):
                await press(app, pilot, key)
                assert "B3 seems to have been turned" in " ".join(shown(app).split())
                await press(app, pilot, "n")
                assert app.screen.NAME == "turn"
            source_of(app).say(0.050, start_s=8.0, seconds=0.7)
            pass_time(app, 0.5)
            await press(app, pilot, "escape")
            assert app.screen.NAME == "findings"
            assert app.session.parts.turned == []

    run(scenario())


def test_the_cautions_of_the_advice_come_before_the_bolt():
    async def scenario():
        parts = InventedParts()
        assert parts.seen.plan is not None
        plan = replace(parts.seen.plan, cautions=("Prop the rail's overhang first.", "The maker's manual comes first."))
        parts.seen = replace(parts.seen, plan=plan)
        async with opened(size=(120, 44), parts=parts) as (app, pilot):
            await scene_findings(app, pilot)
            await press(app, pilot, "enter")
            text = shown(app)
            assert "Prop the rail's overhang first." in text
            assert text.index("Prop the rail") < text.index("Guards and riving knife back")

    run(scenario())


# --- sound -----------------------------------------------------------------------------------------------------------


def test_the_sound_is_told_which_way_and_how_far_and_is_off_until_asked_for():
    async def scenario():
        async with opened() as (app, pilot):
            await scene_turn(app, pilot)
            sound = app.session.parts.sound
            assert sound.said == []
            await press(app, pilot, "s")
            pass_time(app, 0.1)
            distance, inside = sound.said[-1]
            assert distance == pytest.approx(0.013, abs=1e-6)
            assert inside is False
            source_of(app).say(0.0888, start_s=9.0, seconds=0.7)
            pass_time(app, 0.2)
            assert sound.said[-1][1] is True
            await press(app, pilot, "s")
            assert sound.closed == 1
            assert "Sound off." in shown(app)

    run(scenario())


def test_a_lost_link_is_told_to_the_sound_as_no_reading_and_leaving_is_silence():
    async def scenario():
        async with opened() as (app, pilot):
            await scene_live(app, pilot)
            await press(app, pilot, "s")
            source_of(app).queue = [LinkLost(0, "cable")]
            pass_time(app, 0.2)
            assert app.session.parts.sound.said[-1] == (None, False)
            await press(app, pilot, "escape")
            assert app.session.parts.sound.closed == 1

    run(scenario())


def test_far_view_has_digits_and_a_bar_that_moves_with_the_reading():
    async def scenario():
        async with opened() as (app, pilot):
            await scene_live(app, pilot)
            await press(app, pilot, "f")
            pass_time(app, 0.3)
            step = app.screen.query_one("#step")
            first = step.rows()
            assert step.size.height >= 20
            source_of(app).say(0.13, start_s=4.0)
            pass_time(app, 0.3)
            assert step.rows() != first

    run(scenario())


def test_the_profile_of_two_sweeps_of_one_length_differs_where_it_was_changed():
    then = invented_findings()
    import dataclasses

    profile = dataclasses.replace(
        then.profile, value=then.profile.value + np.where(then.profile.x_mm > 1500, 0.05, 0.0)
    )
    now = dataclasses.replace(then, profile=profile)
    assert "+0.050" in difference(then, now, "0006", Units())


# --- phone and report -----------------------------------------------------------------------------------


def test_the_phone_is_opened_only_after_it_was_said_who_can_look_on_and_shows_what_the_screen_shows():
    async def scenario():
        async with opened() as (app, pilot):
            await scene_turn(app, pilot)
            page = app.session.parts.page
            await press(app, pilot, "p")
            assert "Anyone on this network who has its address can look on" in " ".join(shown(app).split())
            await press(app, pilot, "n")
            assert app.session.page is None
            await press(app, pilot, "p", "y")
            assert app.screen.NAME == "phone"
            assert page.url[:30] in shown(app)
            await press(app, pilot, "escape")
            pass_time(app, 0.1)
            last = page.shown[-1]
            assert (last.number, last.unit, last.bolt, last.state) == ("+0.076", "mm", "B3", "low")
            assert last.target == pytest.approx(0.089)
            source_of(app).queue = [LinkLost(0, "cable")]
            pass_time(app, 0.2)
            assert page.shown[-1].link == "lost"
            assert page.shown[-1].height is None
            await press(app, pilot, "p", "x")
            assert page.closed
            assert app.session.page is None

    run(scenario())


def test_leaving_truestroke_closes_the_phones_page_and_the_sound():
    kept = []

    async def scenario():
        async with opened() as (app, pilot):
            await scene_live(app, pilot)
            await press(app, pilot, "s", "p", "y", "escape")
            pass_time(app, 0.1)
            kept.append(app.session.parts)

    run(scenario())
    assert kept[0].page.closed
    assert kept[0].sound.closed == 1


def test_the_report_is_written_from_the_board_and_its_place_is_said():
    async def scenario():
        async with opened() as (app, pilot):
            await press(app, pilot, "r")
            assert "Written: kiln-street/report.html." in shown(app)

    run(scenario())


def test_an_instrument_that_sends_its_position_needs_no_marks_but_an_early_enter_is_said():
    async def scenario():
        async with opened() as (app, pilot):
            app.open_sweep()
            await press(app, pilot)
            source = source_of(app)
            for i in range(60):
                source.queue.append(Reading(i * 10**8, 0.1, "mm", "", 10.0 * i))
            pass_time(app, 0.2)
            assert "no marks needed" in shown(app)
            await press(app, pilot, "enter")
            assert "not at the end of its travel" in shown(app)
            assert len(app.screen.trace.passes) == 1
            for i in range(60, 261):
                source.queue.append(Reading(i * 10**8, 0.1, "mm", "", 10.0 * i))
            pass_time(app, 0.2)
            await press(app, pilot, "enter")
            assert len(app.screen.trace.passes) == 2
            for i in range(261):
                source.queue.append(Reading((300 + i) * 10**8, 0.1, "mm", "", 2600.0 - 10.0 * i))
            pass_time(app, 0.2)
            await press(app, pilot, "enter")
            assert source.stopped == "operator"

    run(scenario())


# --- where the places came from ----------------------------------------------------------------------------------


def test_a_repair_is_offered_taken_with_a_key_and_written_into_the_journal():
    said = []

    class Agreeing(InventedParts):
        def agree(self, job, sweeps, repair):
            said.append((sweeps, repair))

    found = "The mark at 900 mm in pass 2 is 45 mm off what the other passes say. It was left out."
    doubtful = replace(
        invented_findings(), repairs=(Repair("late mark moved", "0007-across", found, "take it as pressed later"),)
    )

    async def scenario():
        parts = Agreeing()
        parts.seen = replace(parts.seen, findings=doubtful)
        async with opened(parts=parts) as (app, pilot):
            await scene_findings(app, pilot)
            await press(app, pilot, "p")
            text = shown(app)
            assert "45 mm off what the other" in text
            assert "> Take it as pressed later" in text
            await press(app, pilot, "enter")
            assert said == [(("0007-across",), "late mark moved")]
            await press(app, pilot, "p", "down", "down", "down", "enter")
            assert said[1][1] == "positions from marks"

    run(scenario())
