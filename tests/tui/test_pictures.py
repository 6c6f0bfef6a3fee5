"""A few still pictures, named in words, and the program's own pictures of itself.

After a change that is meant, look at the new pictures and accept them: ``pytest tests/tui/test_pictures.py
--snapshot-update``.
"""

import asyncio
import xml.etree.ElementTree as ET

import pytest

from logger.tui.invented import invented_app
from logger.tui.pictures import make_pictures
from logger.tui.scenes import (
    SCENES,
    scene_board,
    scene_findings,
    scene_live,
    scene_sweep,
    scene_turn,
    scene_turning,
    scene_what_if,
)


def before(app, scene):
    async def run(pilot):
        await scene(app, pilot)

    return run


def test_live_inside_at_80x24(snap_compare):
    app = invented_app()
    assert snap_compare(app, terminal_size=(80, 24), run_before=before(app, scene_live))


def test_turn_with_some_way_to_go_dark_at_80x24(snap_compare):
    app = invented_app(dark=True)
    assert snap_compare(app, terminal_size=(80, 24), run_before=before(app, scene_turn))


def test_sweep_under_way_without_colour_at_80x24(snap_compare, monkeypatch):
    monkeypatch.setenv("NO_COLOR", "1")
    app = invented_app()
    assert snap_compare(app, terminal_size=(80, 24), run_before=before(app, scene_sweep))


def test_findings_with_two_moves_at_120x34(snap_compare):
    app = invented_app()
    assert snap_compare(app, terminal_size=(120, 34), run_before=before(app, scene_findings))


def test_board_with_checks_done_outside_and_stale_at_120x44(snap_compare):
    app = invented_app(taken=True)
    assert snap_compare(app, terminal_size=(120, 44), run_before=before(app, scene_board))


def test_what_if_with_one_bolt_more_dark_at_80x24(snap_compare):
    app = invented_app(dark=True)
    assert snap_compare(app, terminal_size=(80, 24), run_before=before(app, scene_what_if))


def test_turned_by_hand_with_the_readings_streaming_at_80x24(snap_compare):
    app = invented_app()
    assert snap_compare(app, terminal_size=(80, 24), run_before=before(app, scene_turning))


@pytest.fixture(scope="module")
def pictures(tmp_path_factory):
    return asyncio.run(make_pictures(tmp_path_factory.mktemp("pictures")))


def test_the_program_makes_one_picture_of_each_main_screen(pictures):
    assert [path.name for path in pictures] == [f"{name}.svg" for name in SCENES]


def test_a_picture_needs_no_network_and_has_no_window_around_it(pictures):
    for path in pictures:
        text = path.read_text(encoding="utf-8")
        assert "http" not in text.replace("http://www.w3.org/2000/svg", "")
        assert "circle" not in text
        assert "font-face" not in text


def test_a_picture_is_well_formed_and_names_the_bolts(pictures):
    words = "".join(ET.parse(pictures[0]).getroot().itertext())
    for bolt in ("B1", "B2", "B3", "B4", "B5", "B6"):
        assert bolt in words


def test_a_picture_is_the_same_every_time(pictures, tmp_path):
    again = asyncio.run(make_pictures(tmp_path))
    for first, second in zip(pictures, again, strict=True):
        assert first.read_bytes() == second.read_bytes()
