"""The list of recent jobs: bounded, newest first, and never in the way."""

import json
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from logger.recent_jobs import MOST, RecentJobs, default_path, holds_a_job

NOON = datetime(2026, 3, 14, 12, 0, tzinfo=UTC)


@pytest.fixture
def recent(tmp_path):
    return RecentJobs(tmp_path / "state" / "recent.json")


def test_nothing_is_remembered_before_anything_was_opened(recent):
    assert recent.jobs() == []


def test_the_newest_comes_first_and_each_folder_once(recent, tmp_path):
    for name in ("a", "b", "a"):
        assert recent.remember(tmp_path / name, f"saw {name}", now=NOON)
    assert [job.name for job in recent.jobs()] == ["saw a", "saw b"]


def test_what_was_plugged_in_is_kept_until_something_else_is(recent, tmp_path):
    recent.remember(tmp_path, "saw", port="/dev/ttyUSB0", instrument="indicator-line", now=NOON)
    recent.remember(tmp_path, "saw", set_up="across", now=NOON + timedelta(hours=1))
    job = recent.of(tmp_path)
    assert (job.port, job.instrument, job.set_up) == ("/dev/ttyUSB0", "indicator-line", "across")


def test_the_list_is_bounded_and_the_oldest_goes_first(recent, tmp_path):
    for i in range(MOST + 5):
        recent.remember(tmp_path / str(i), str(i), now=NOON)
    names = [job.name for job in recent.jobs()]
    assert len(names) == MOST
    assert names[0] == str(MOST + 4)
    assert "0" not in names


def test_a_folder_that_is_gone_stays_in_the_list_and_is_known_to_be_gone(recent, tmp_path):
    (tmp_path / "saw").mkdir()
    (tmp_path / "saw" / "machine.yaml").write_text("name: x")
    recent.remember(tmp_path / "saw", "saw", now=NOON)
    assert recent.jobs()[0].there
    (tmp_path / "saw" / "machine.yaml").unlink()
    assert not recent.jobs()[0].there


def test_forgetting_touches_the_list_and_not_the_folder(recent, tmp_path):
    (tmp_path / "machine.yaml").write_text("name: x")
    recent.remember(tmp_path, "saw", now=NOON)
    recent.forget(str(tmp_path))
    assert recent.jobs() == []
    assert (tmp_path / "machine.yaml").is_file()


@pytest.mark.parametrize(
    "content",
    [
        b"",
        b"{",
        b"[]",
        b'{"jobs": 3}',
        b'{"jobs": [1, null, {"folder": 5}, {"folder": ""}, {"folder": "a\\u0000b"}]}',
        b"[" * 60_000,
        b"\xff\xfe",
        b'{"jobs": "' + b"x" * 200_000 + b'"}',
    ],
)
def test_a_broken_or_hostile_list_is_an_empty_one(recent, content):
    recent.path.parent.mkdir(parents=True)
    recent.path.write_bytes(content)
    assert recent.jobs() == []


def test_codes_for_a_terminal_in_the_list_are_made_harmless(recent):
    recent.path.parent.mkdir(parents=True)
    recent.path.write_text(json.dumps({"jobs": [{"folder": "/x", "name": "\x1b]0;pwned\x07"}]}))
    assert "\x1b" not in recent.jobs()[0].name


def test_a_list_that_cannot_be_written_is_no_error(tmp_path):
    (tmp_path / "file").write_text("")
    assert RecentJobs(tmp_path / "file" / "recent.json").remember(tmp_path, "saw", now=NOON) is False


def test_it_is_kept_where_the_system_keeps_a_programs_state(monkeypatch, tmp_path):
    # XDG Base Directory Specification: $XDG_STATE_HOME (Linux); elsewhere platformdirs knows the place.
    monkeypatch.setenv("XDG_STATE_HOME", str(tmp_path))
    import sys

    if sys.platform.startswith("linux"):
        assert default_path() == Path(tmp_path) / "truestroke" / "recent.json"
    assert default_path().name == "recent.json"


def test_the_name_of_the_machines_file_is_the_one_that_is_read(tmp_path):
    from logger.machines import FILE_NAME

    assert not holds_a_job(tmp_path)
    (tmp_path / FILE_NAME).write_text("", encoding="utf-8")
    assert holds_a_job(tmp_path)
