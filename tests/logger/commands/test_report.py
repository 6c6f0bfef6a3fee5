"""`truestroke report` and `truestroke note` as a person or a script meets them."""

import json
import shutil

import pytest

from tests.logger.report.conftest import EXAMPLE
from tests.logger.shell import Shell


@pytest.fixture
def shell(tmp_path):
    folder = tmp_path / "saw"
    folder.mkdir()
    return Shell(folder)


def test_a_report_before_anything_was_measured(shell):
    done = shell("report")
    assert done.returncode == 0
    assert "Nothing has been measured yet, and the report says so." in done.stdout
    assert "Nothing has been measured yet" in (shell.folder / "report.html").read_text(encoding="utf-8")


def test_the_report_is_replaced_and_nothing_else_ever(shell):
    shell("note", "first <i>remark</i>", "--temperature", "18.5")
    assert shell.json("report")["measured"] is False
    assert "first &lt;i&gt;remark" in (shell.folder / "report.html").read_text(encoding="utf-8")
    assert shell("report").returncode == 0  # its own is replaced
    other = shell.folder / "mine.html"
    other.write_text("mine", encoding="utf-8")
    refused = shell("report", "--out", "mine.html")
    assert refused.returncode == 2
    assert "is there already and is no report of truestroke" in refused.stderr
    assert other.read_text(encoding="utf-8") == "mine"


def test_pictures_come_as_files(shell):
    shutil.copytree(EXAMPLE, shell.folder, dirs_exist_ok=True)
    said = shell.json("report", "--pictures", "out", "--as", "svg")
    names = sorted(path.name for path in (shell.folder / "out").iterdir())
    assert names == ["round-001-across.svg", "round-001-along.svg", "round-002-across.svg"]
    assert len(said["pictures"]) == 3
    spots = shell.json("spots", "1")
    assert said["rounds"][0]["spots"][0]["peak_to_valley_mm"] == spots["peak_to_valley_mm"]
    assert said["rounds"][0]["spots"][0]["profile"] == spots["profile"]


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (("report", "--out", "."), "is a folder"),
        (("report", "--pictures", "machine.yaml"), "is a file, not a folder"),
        (("note",), "nothing to note"),
        (("note", "--temperature", "nan"), "is not possible"),
        (("note", "--temperature", "290"), "Allowed: -40 to 60"),
        (("note", "x" * 2001), "2001 characters"),
    ],
)
def test_what_cannot_be_is_refused_with_what_can(shell, arguments, said):
    done = shell(*arguments)
    assert done.returncode == 2
    assert said in done.stderr
    assert "Traceback" not in done.stderr


def test_a_note_is_kept_with_its_time_and_who(shell):
    assert shell.json("note", "--temperature", "17.5")["temperature_C"] == 17.5
    (entry,) = [json.loads(line) for line in (shell.folder / "journal.jsonl").read_text().splitlines()]
    assert entry["kind"] == "note"
    assert entry["data"]["temperature_C"] == 17.5
    assert entry["time"].endswith("Z")
