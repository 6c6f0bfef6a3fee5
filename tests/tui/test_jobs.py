"""The start page and the form of a new machine: recent jobs, a folder that is gone, faults in their place."""

import pytest

from logger.job import Job, new_job
from logger.recent_jobs import RecentJob
from logger.tui.invented import InventedParts
from logger.tui.parts_job import JobParts
from logger.tui.screens.board import BoardScreen
from tests.tui.pilot import opened, press, run, shown


class DiskParts(InventedParts):
    """Invented instrument, real folders."""

    open_job = JobParts.open_job
    make_job = JobParts.make_job
    board = JobParts.board
    sweeps = JobParts.sweeps

    def look(self, job, trust="few"):
        return JobParts.look(self, job, trust)


def listed(*folders):
    return DiskParts(
        listed=[RecentJob(str(folder), f"saw {i}", "2026-03-14T10:51:00") for i, folder in enumerate(folders)]
    )


def test_with_no_machine_yet_it_says_which_key_makes_one():
    async def scenario():
        async with opened(with_job=False) as (app, _):
            text = shown(app)
            assert "No machine is described yet." in text
            assert "Press n" in text
            assert "truestroke demo" in text
            assert "enter open" not in text

    run(scenario())


def test_enter_opens_the_chosen_machines_board(tmp_path):
    new_job(tmp_path / "a")
    new_job(tmp_path / "b")

    async def scenario():
        async with opened(parts=listed(tmp_path / "a", tmp_path / "b"), with_job=False) as (app, pilot):
            await press(app, pilot, "down", "enter")
            assert isinstance(app.screen, BoardScreen)
            assert app.session.job.folder == tmp_path / "b"
            await press(app, pilot, "escape")
            assert app.screen.NAME == "truestroke"

    run(scenario())


def test_a_folder_that_is_gone_is_said_to_be_gone_and_opens_nothing(tmp_path):
    async def scenario():
        async with opened(parts=listed(tmp_path / "stick"), with_job=False) as (app, pilot):
            assert "not there" in shown(app)
            await press(app, pilot, "enter")
            assert app.screen.NAME == "truestroke"
            assert "holds no machine.yaml" in " ".join(shown(app).split())

    run(scenario())


def test_taking_one_off_the_list_is_asked_first_and_leaves_the_folder(tmp_path):
    new_job(tmp_path / "a")

    async def scenario():
        async with opened(parts=listed(tmp_path / "a"), with_job=False) as (app, pilot):
            await press(app, pilot, "x", "n")
            assert "saw 0" in shown(app)
            await press(app, pilot, "x", "y")
            assert "No machine is described yet." in shown(app)
            assert (tmp_path / "a" / "machine.yaml").is_file()

    run(scenario())


def test_a_machine_file_with_faults_is_said_with_them_on_the_screen(tmp_path):
    new_job(tmp_path / "a")
    text = (tmp_path / "a" / "machine.yaml").read_text(encoding="utf-8")
    (tmp_path / "a" / "machine.yaml").write_text(text.replace("stroke_mm: [0, 2600]", "stroke_mm: [2600, 0]"))

    async def scenario():
        async with opened(parts=listed(tmp_path / "a"), with_job=False) as (app, pilot):
            await press(app, pilot, "enter")
            text = " ".join(shown(app).split())
            assert app.screen.NAME == "truestroke"
            assert "carriage.stroke_mm" in text
            assert "the smaller number first" in text

    run(scenario())


def test_a_folder_can_be_typed(tmp_path):
    new_job(tmp_path / "a")

    async def scenario():
        async with opened(parts=DiskParts(), with_job=False) as (app, pilot):
            await press(app, pilot, "o", f"'{tmp_path / 'a'}", "enter")
            assert isinstance(app.screen, BoardScreen)

    run(scenario())


def test_a_click_opens_what_a_key_opens(tmp_path):
    new_job(tmp_path / "a")

    async def scenario():
        async with opened(parts=listed(tmp_path / "a"), with_job=False) as (app, pilot):
            await pilot.click("#jobs", offset=(8, 1))
            await press(app, pilot)
            assert isinstance(app.screen, BoardScreen)

    run(scenario())


async def fill(app, pilot, place, **changes):
    """Type the answers of the form; what is named in ``changes`` in place of a good answer."""
    good = {
        "name": "Kiln Street panel saw",
        "folder": str(place),
        "rail": "-300 2900",
        "span": "640",
        "top": "1200",
        "stroke": "0 2600",
        "pitch": "1.5",
        "seen_from": "below",
        "bolts": "150 650 1150 1650 2150 2650",
        "table": "700 1500",
        "opening": "1010 1090",
        "stand": "1100",
        "blade": "1050",
        "raises": "clockwise",
    }
    for key, value in {**good, **changes}.items():
        app.screen.form.row(key).set_value(value)
    await press(app, pilot)
    await press(app, pilot, "ctrl+s")


def test_the_form_writes_a_machine_that_opens_on_its_board(tmp_path):
    async def scenario():
        async with opened(parts=DiskParts(), with_job=False) as (app, pilot):
            await press(app, pilot, "n")
            await fill(app, pilot, tmp_path / "saw")
            assert isinstance(app.screen, BoardScreen)
            assert "Kiln Street panel saw" in shown(app)

    run(scenario())
    machine = Job.open(tmp_path / "saw").machine
    assert [bolt.x_mm for bolt in machine.bolts] == [150, 650, 1150, 1650, 2150, 2650]
    assert "# The support bolts under the rail" in (tmp_path / "saw" / "machine.yaml").read_text(encoding="utf-8")


@pytest.mark.parametrize(
    ("changes", "said"),
    [
        ({"bolts": ""}, "Where do the support bolts stand?"),
        ({"raises": ""}, "Which way raises the rail?"),
        ({"table": "1500 700"}, "allowed:"),
        ({"rail": "0 nothing"}, "'nothing' is no number."),
        ({"folder": ""}, "Name a folder"),
    ],
)
def test_a_wrong_answer_is_said_under_its_line_and_nothing_is_written(tmp_path, changes, said):
    async def scenario():
        async with opened(parts=DiskParts(), with_job=False) as (app, pilot):
            await press(app, pilot, "n")
            await fill(app, pilot, tmp_path / "saw", **changes)
            key = next(iter(changes))
            row = app.screen.form.row(key)
            assert row.has_class("-wrong")
            assert said in row._wrong
            assert row.box.has_focus
            assert not (tmp_path / "saw").exists()

    run(scenario())


def test_an_empty_form_is_told_of_every_missing_length_at_once_and_has_none_filled_in():
    async def scenario():
        async with opened(parts=DiskParts(), with_job=False) as (app, pilot):
            await press(app, pilot, "n", "ctrl+s")
            form = app.screen.form
            wanted = {"rail", "span", "top", "stroke", "bolts", "pitch", "raises", "seen_from", "table", "stand"}
            assert {row.field.key for row in form.shown if row.has_class("-wrong")} == wanted
            assert form.row("rail").box.has_focus

    run(scenario())


def test_a_machine_that_is_there_already_is_not_overwritten(tmp_path):
    new_job(tmp_path / "saw")
    before = (tmp_path / "saw" / "machine.yaml").read_bytes()

    async def scenario():
        async with opened(parts=DiskParts(), with_job=False) as (app, pilot):
            await press(app, pilot, "n")
            await fill(app, pilot, tmp_path / "saw")
            assert "is there already and stays as it is" in app.screen.form.row("folder")._wrong

    run(scenario())
    assert (tmp_path / "saw" / "machine.yaml").read_bytes() == before


def test_leaving_a_form_with_something_typed_is_asked_first():
    async def scenario():
        async with opened(parts=DiskParts(), with_job=False) as (app, pilot):
            await press(app, pilot, "n", "escape")
            assert app.screen.NAME == "truestroke"
            await press(app, pilot, "n", "'150", "escape")
            assert app.screen.NAME == "sure?"
            await press(app, pilot, "n")
            assert app.screen.form.row("rail").value == "150"
            await press(app, pilot, "escape", "y")
            assert app.screen.NAME == "truestroke"

    run(scenario())


def test_words_are_chosen_by_their_first_letter_and_enter_walks_down_the_form():
    async def scenario():
        async with opened(parts=DiskParts(), with_job=False) as (app, pilot):
            await press(app, pilot, "n")
            form = app.screen.form
            form.row("bolts").box.focus()
            await press(app, pilot, "'150 900", "enter", "'1.5", "enter", "a")
            assert form.row("raises").value == "anticlockwise"
            assert form.row("seen_from").box.has_focus
            await press(app, pilot, "a", "'700 1500", "up")
            assert form.row("seen_from").value == "above"
            assert form.row("seen_from").box.has_focus

    run(scenario())
