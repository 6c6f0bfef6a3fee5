"""What goes wrong around the screen is a sentence on it: poor terminals, damaged or newer jobs, nothing measured."""

import json

import pytest

from logger.job import Job, new_job
from logger.rail_picture import Seen
from logger.recent_jobs import RecentJob
from logger.tui.invented import InventedParts
from logger.tui.scenes import scene_findings, scene_what_if
from tests.tui.pilot import opened, press, run, shown
from tests.tui.test_jobs import DiskParts

WALK = (
    ("the board", ()),
    ("a check", ("enter",)),
    ("its readings", ("enter", "enter")),
    ("the sweeps", ("l",)),
    ("the instrument", ("i",)),
    ("a question", ("z",)),
    ("help", ("question_mark",)),
)


@pytest.mark.parametrize(("name", "keys"), WALK, ids=[name for name, _ in WALK])
def test_plain_is_ascii_everywhere(name, keys):
    async def scenario():
        async with opened(plain=True, taken=True) as (app, pilot):
            await press(app, pilot, *keys)
            assert shown(app).isascii()

    run(scenario())


def test_plain_advice_is_ascii_too():
    async def scenario():
        async with opened(plain=True) as (app, pilot):
            await scene_what_if(app, pilot)
            assert shown(app).isascii()
            await press(app, pilot, "escape", "r")
            assert shown(app).isascii()

    run(scenario())


def test_without_colour_the_board_tells_every_state_by_shape_and_word(monkeypatch):
    monkeypatch.setenv("NO_COLOR", "1")

    async def scenario():
        async with opened(taken=True) as (app, _):
            text = shown(app)
            for state in ("═ inside", "▲ outside", "· not measured"):
                assert state in text

    run(scenario())


@pytest.mark.parametrize("size", [(79, 24), (80, 23), (30, 8), (5, 2)])
@pytest.mark.parametrize(("name", "keys"), WALK[:4], ids=[name for name, _ in WALK[:4]])
def test_a_terminal_too_small_says_which_size_is_needed(name, keys, size):
    async def scenario():
        async with opened(size=size, taken=True) as (app, pilot):
            await press(app, pilot, *keys)
            assert shown(app).startswith("needs 80x24"[: size[0]])

    run(scenario())


def test_a_terminal_that_grows_shows_the_screen_again():
    async def scenario():
        async with opened(size=(60, 20), taken=True) as (app, pilot):
            await pilot.resize_terminal(100, 30)
            await press(app, pilot)
            assert shown(app).startswith(" board")

    run(scenario())


def listed_job(tmp_path, *lines):
    new_job(tmp_path / "saw")
    (tmp_path / "saw" / "journal.jsonl").write_bytes(b"".join(lines))
    return DiskParts(listed=[RecentJob(str(tmp_path / "saw"), "my panel saw", "2026-03-14T10:51:00")])


def line(kind, version=1, **data):
    fields = {"v": version, "id": "a1", "time": "2026-03-14T10:51:00.000Z", "who": "sam", "kind": kind, "data": data}
    return json.dumps(fields).encode() + b"\n"


CONDITION = {"check": "condition", "value": 0.0, "uncertainty": 0.0, "verdict": "inside", "reason": ""}


@pytest.mark.parametrize(
    ("bad", "said"),
    [
        (line("taken", 2, **CONDITION), "was written by a newer truestroke (version 2"),
        (b"{broken\n", "is not a JSON object"),
        (b"\xff\xfe\x00\n", "is not a JSON object"),
        (line("taken", **CONDITION)[:-20], "has no end"),
    ],
)
def test_a_line_of_the_journal_that_cannot_be_read_is_said_on_the_board_and_the_rest_holds(tmp_path, bad, said):
    parts = listed_job(tmp_path, line("taken", **CONDITION), bad)

    async def scenario():
        async with opened(parts=parts, with_job=False) as (app, pilot):
            await press(app, pilot, "enter")
            text = shown(app)
            assert said in text
            assert "journal.jsonl line 2" in text
            assert app.session.board.row("condition").state == "inside"

    run(scenario())


def test_a_machine_file_of_a_newer_version_is_said_with_the_key_it_does_not_know(tmp_path):
    parts = listed_job(tmp_path)
    path = tmp_path / "saw" / "machine.yaml"
    path.write_text(path.read_text(encoding="utf-8") + "\nfeet_of_tomorrow: 5\n", encoding="utf-8")

    async def scenario():
        async with opened(parts=parts, with_job=False) as (app, pilot):
            await press(app, pilot, "enter")
            assert app.screen.NAME == "truestroke"
            assert "feet_of_tomorrow" in shown(app)

    run(scenario())


def test_nothing_measured_yet_is_a_sentence_on_every_screen_that_would_show_it(tmp_path):
    parts = listed_job(tmp_path)

    async def scenario():
        async with opened(parts=parts, with_job=False) as (app, pilot):
            await press(app, pilot, "enter", "f")
            assert "Nothing has been measured yet. Press s to sweep." in shown(app)
            await press(app, pilot, "w")
            assert "Nothing has been measured." in shown(app)
            await press(app, pilot, "escape", "escape", "l")
            assert "Nothing has been swept yet." in shown(app)

    run(scenario())


def test_advice_keys_do_nothing_before_there_is_advice():
    async def scenario():
        async with opened(parts=InventedParts(seen=Seen())) as (app, pilot):
            await scene_findings(app, pilot)
            await press(app, pilot, "i", "t", "r", "enter", "e", "c")
            assert app.screen.NAME == "findings"

    run(scenario())


def test_a_journal_on_a_full_disk_is_said_and_the_readings_stay_in_the_form(tmp_path, monkeypatch):
    from logger.errors import CannotSave
    from logger.journal import Journal

    parts = listed_job(tmp_path)

    def full(self, raw):
        raise CannotSave("journal.jsonl could not be written: No space left on device.", "Make room, then repeat.")

    monkeypatch.setattr(Journal, "_write", full)

    async def scenario():
        async with opened(parts=parts, with_job=False) as (app, pilot):
            await press(app, pilot, "enter", "enter", "enter", "y", "y", "y", "y", "ctrl+s")
            assert app.screen.NAME == "readings"
            assert "No space left on device. Make room, then repeat." in " ".join(shown(app).split())
            assert app.screen.form.row("clean").value == "yes"

    run(scenario())
    assert Job.open(tmp_path / "saw").entries() == []
