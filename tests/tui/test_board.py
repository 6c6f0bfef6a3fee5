"""The board: state, value and what comes next; leaving out, adjusting and taking back."""

from dataclasses import replace
from datetime import UTC, datetime

import pytest

from logger.checks.board import board_from
from logger.tui.canvas import Canvas
from logger.tui.glyphs import COLOUR
from logger.tui.invented import invented_job
from logger.tui.screens.board import _told
from logger.tui.widgets.checks import LOWER, UPPER, draw_checks, lane_of, line_of
from tests.tui.pilot import entries, opened, press, run, shown, to_check


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


def test_no_title_of_a_check_is_cut_at_any_width():
    from logger.checks.table import CHECKS
    from logger.tui.widgets.checks import MIDDLE_TITLE, NARROW_TITLE, WIDE_TITLE, title_that_fits

    for cells in (NARROW_TITLE, MIDDLE_TITLE, WIDE_TITLE):
        said = [title_that_fits(check.title, cells) for check in CHECKS]
        assert [title for title in said if len(title) > cells or title.endswith("…")] == []
        assert len(set(said)) == len(CHECKS)


@pytest.mark.parametrize(("height", "picture"), [(24, False), (34, True), (45, True)])
def test_the_rail_is_drawn_under_a_long_board_where_enough_checks_stay_in_sight(height, picture):
    async def scenario():
        async with opened(size=(120, height), taken=True) as (app, _):
            assert ("B6" in shown(app)) is picture
            assert sum(f" {number} " in shown(app) for number in range(1, 15)) == 14

    run(scenario())


def test_the_report_is_written_in_a_thread_that_tells_how_far_it_is():
    async def scenario():
        async with opened(taken=True) as (app, pilot):
            said: list[str] = []
            app.screen.say = said.append
            await press(app, pilot, "r")
            assert [words.split(":")[0] for words in said] == ["Writing the report; a few seconds."] + [
                "Writing the report"
            ] * 2 + ["Written"]
            assert "2 of 2 rounds" in said[2]

    run(scenario())
