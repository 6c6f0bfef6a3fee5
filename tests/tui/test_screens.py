"""The real screens on invented data: what a key does and what is then said."""

import numpy as np
import pytest

from logger.rail_picture import Seen
from logger.readings import LinkLost, Mark, Reading
from logger.tui.invented import InventedParts, source_of
from logger.tui.invented_numbers import invented_findings, invented_plan
from logger.tui.keys import TABLE
from logger.tui.scenes import pass_time, scene_findings, scene_live, scene_sweep, scene_turn
from logger.tui.widgets.painted import Painted
from tests.tui.pilot import opened, run, shown


def test_the_findings_name_verdict_moves_and_where_to_stop():
    async def scenario():
        async with opened() as (app, pilot):
            await scene_findings(app, pilot)
            text = shown(app)
            assert "▲ outside  peak to valley 0.119 ±0.004 mm, allowed 0.050" in text
            assert "1 B3   ↑ 0.09 up   1/16 clockwise" in text
            assert "88 in 100 to come inside" in text

    run(scenario())


def test_no_bolt_screen_opens_before_the_cautions_are_confirmed():
    async def scenario():
        async with opened() as (app, pilot):
            await scene_findings(app, pilot)
            await pilot.press("enter")
            text = shown(app)
            assert "lock it out" in text
            assert "Never slack all supports at once" in text
            assert "maker's manual" in text
            await pilot.press("enter", "space")
            assert app.screen.NAME == "before you turn"
            await pilot.press("y")
            assert app.screen.NAME == "turn"

    run(scenario())


def test_the_turn_view_says_what_is_to_go_and_which_way_to_turn():
    async def scenario():
        async with opened() as (app, pilot):
            await scene_turn(app, pilot)
            text = shown(app)
            assert "▼ 0.013 to go, raise" in text
            assert "stop at +0.089 ±0.004" in text
            assert "B3 ↑ 1/50 turn, clockwise from below" in text
            assert "25 mm at the end of a 200 mm wrench" in text
            assert "instrument shows +0.076, stop at +0.089" in text
            assert "lock nut" in text

    run(scenario())


def test_a_bolt_that_lowers_the_line_is_turned_the_other_way():
    """The outer bolt of a pair often lowers what is read: to raise the reading it must go down."""

    async def scenario():
        parts = InventedParts()
        plan = invented_plan()
        move = plan.moves[0]
        odd = type(move)(
            **{**{f: getattr(move, f) for f in move.__dataclass_fields__}, "raise_mm": -0.09, "turns": -0.06}
        )
        parts.seen = Seen(invented_findings(), type(plan)(**{**plan.__dict__, "moves": (odd,)}), None, "")
        async with opened(parts=parts) as (app, pilot):
            await scene_turn(app, pilot)
            assert "▼ 0.013 to go, raise" in shown(app)
            assert "B3 ↓ 1/50 turn, anticlockwise from below" in shown(app)

    run(scenario())


def test_done_writes_the_display_before_and_after_and_plans_the_rest_anew():
    async def scenario():
        async with opened() as (app, pilot):
            await scene_turn(app, pilot)
            source_of(app).say(0.0885, start_s=6.0, seconds=0.7)
            pass_time(app, 0.5)
            pass_time(app, 0.5)
            await pilot.press("enter")
            await app.workers.wait_for_complete()
            await pilot.pause()
            (made,) = app.session.parts.turned
            assert made.move.bolt == "B3"
            assert made.before == pytest.approx(0.050)
            assert made.after == pytest.approx(0.0885)
            assert app.screen.NAME == "findings"
            assert "Measure again" in shown(app)

    run(scenario())


def test_nothing_is_written_down_without_a_reading():
    async def scenario():
        async with opened() as (app, pilot):
            await scene_turn(app, pilot)
            source_of(app).queue = [LinkLost(0, "cable")]
            pass_time(app, 0.2)
            await pilot.press("enter")
            assert app.session.parts.turned == []
            assert "nothing can be written down" in shown(app)

    run(scenario())


def test_a_wrong_parking_place_is_noticed():
    async def scenario():
        async with opened() as (app, pilot):
            await scene_findings(app, pilot)
            await pilot.press("enter", "y")
            await pilot.pause()
            source_of(app).say(0.150, seconds=0.7)
            pass_time(app, 0.5)
            pass_time(app, 0.5)
            await pilot.pause()
            assert "it should show +0.050" in shown(app)

    run(scenario())


def test_the_sweep_shows_marks_counts_and_where_the_carriage_is():
    async def scenario():
        async with opened() as (app, pilot):
            await scene_sweep(app, pilot)
            text = shown(app)
            assert "carriage at 1480" in text
            assert "marks 6 of 9, next 1950" in text
            assert "381 readings" in text
            assert "On to the outfeed stop" in text
            assert "Space at each mark." in text

    run(scenario())


def test_a_pass_with_marks_missing_does_not_end_by_a_slip_of_the_finger():
    async def scenario():
        async with opened() as (app, pilot):
            await scene_sweep(app, pilot)
            await pilot.press("enter")
            assert "3 marks are missing in this pass" in shown(app)
            assert source_of(app).stopped == ""

    run(scenario())


def test_all_marks_of_all_passes_and_enter_lead_to_the_findings():
    async def scenario():
        from logger.readings import Ended

        async with opened() as (app, pilot):
            app.open_sweep()
            await pilot.pause()
            for i in range(18):
                source_of(app).queue += [Reading(i * 10**9, 0.1, "mm"), Mark(i * 10**9)]
            pass_time(app, 0.2)
            await pilot.press("enter")
            assert source_of(app).stopped == "operator"
            source_of(app).queue = [Ended(19 * 10**9, "operator")]
            pass_time(app, 0.2)
            assert app.session.parts.swept == ["0008-across"]
            assert "Not seen yet" in shown(app)  # these invented readings were taken at the marks alone
            await pilot.press("enter")
            await app.workers.wait_for_complete()
            await pilot.pause()
            assert app.screen.NAME == "findings"

    run(scenario())


def test_another_port_is_typed_when_its_line_is_taken_with_enter():
    async def scenario():
        async with opened() as (app, pilot):
            await pilot.press("i")
            ports = app.screen.choices[0]
            while not ports.value.startswith("another"):
                await pilot.press("down")
            await pilot.press("enter")
            await pilot.pause()
            assert "Which port?" in shown(app)
            await pilot.press(*"loop", "enter")
            await pilot.pause()
            assert app.session.port == "loop"
            await pilot.press("enter")
            await pilot.pause()
            assert app.screen.NAME == "board"

    run(scenario())


def test_bytes_nothing_can_be_made_of_are_shown_and_harmless():
    async def scenario():
        from logger.readings import Garbage

        async with opened() as (app, pilot):
            await pilot.press("i", "l")
            source_of(app).queue = [Garbage(0, b"\x1b]0;x\x07[red]", "no number"), Reading(10**7, 0.123, "mm")]
            pass_time(app, 0.2)
            await pilot.pause()
            text = shown(app)
            assert "\x1b" not in text
            assert "not understood" in text
            assert "[red]" in text
            assert "+0.123 mm" in text

    run(scenario())


@pytest.mark.parametrize("size", [(79, 24), (40, 10), (12, 3)])
def test_a_terminal_too_small_gets_the_size_needed_and_the_number_alone(size):
    async def scenario():
        async with opened(size) as (app, pilot):
            await scene_live(app, pilot)
            text = shown(app)
            assert "needs 80x24"[: size[0]] in text
            assert "+0.104" in text
            assert "table" not in text

    run(scenario())


@pytest.mark.parametrize("size", [(80, 24), (120, 34), (160, 45), (300, 80)])
def test_at_every_size_the_last_row_has_keys_and_the_first_the_name(size):
    async def scenario():
        async with opened(size) as (app, pilot):
            await scene_turn(app, pilot)
            rows = shown(app).split("\n")
            assert rows[0].startswith(" turn B3")
            assert rows[-1].startswith(" enter done, next")
            assert all(len(row) == size[0] for row in rows)

    run(scenario())


def test_plain_shows_ascii_only():
    async def scenario():
        for scene in (scene_live, scene_turn, scene_sweep, scene_findings):
            async with opened(plain=True) as (app, pilot):
                await scene(app, pilot)
                assert shown(app).isascii()
                if scene is scene_turn:
                    assert "stop at +0.089 +-0.004" in shown(app)
                    assert "B3 up 1/50 turn, clockwise from below" in shown(app)
                if scene is scene_findings:
                    assert "for the least ... w says all" in shown(app)  # and not in the middle of a word

    run(scenario())


def test_without_colour_the_signs_carry_the_masses(monkeypatch):
    async def scenario():
        async with opened() as (app, pilot):
            await scene_findings(app, pilot)
            text = shown(app)
            assert "█" in text.split("mm ▀")[0]
            assert "▒" in text

    monkeypatch.setenv("NO_COLOR", "1")
    run(scenario())


def test_every_action_of_a_screen_is_in_the_command_palette():
    async def scenario():
        async with opened() as (app, pilot):
            await scene_live(app, pilot)
            names = {command.help for command in app.get_system_commands(app.screen)}
            assert {key.help for key in TABLE["live"]} <= names

    run(scenario())


def test_binding_ids_are_unique_and_every_key_does_something():
    ids = [key.id for keys in TABLE.values() for key in keys]
    assert len(ids) == len(set(ids))
    for keys in TABLE.values():
        assert all(key.help and key.action for key in keys)


def test_help_says_what_to_do_and_lists_the_keys():
    async def scenario():
        async with opened() as (app, pilot):
            await scene_turn(app, pilot)
            await pilot.press("question_mark")
            text = shown(app)
            assert "Turn the bolt until the block stands between the two lines" in text
            assert "the lock nut is tight" in text
            await pilot.press("escape")
            assert app.screen.NAME == "turn"

    run(scenario())


def test_only_rows_that_changed_are_painted_again():
    async def scenario():
        async with opened() as (app, pilot):
            await scene_live(app, pilot)
            step = app.screen.query_one("#step", Painted)
            regions: list[object] = []
            original = step.refresh

            def counting(*changed, **options):
                regions.extend(changed)
                return original(*changed, **options)

            step.refresh = counting
            source_of(app).say(0.105, start_s=5.0, seconds=0.1)
            pass_time(app, 0.1)
            assert len(regions) <= 2

    run(scenario())


def test_the_scatter_of_the_invented_height_is_the_one_the_findings_draw():
    profile = invented_findings().profile
    assert np.ptp(profile.value) == pytest.approx(invented_findings().extremes.peak_to_valley)
