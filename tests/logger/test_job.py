"""Facts about the job folder and its journal: it only grows, it tears nothing, and its order makes the rounds."""

import json
import multiprocessing
import os
from datetime import UTC, datetime, timedelta

import numpy as np
import pytest

from logger.errors import BadFile, CannotSave, NotAllowed
from logger.job import Job, TurnedBolt, new_job, rounds_of, standing
from logger.journal import VERSION, Journal, JournalEntry


@pytest.fixture
def job(tmp_path):
    return Job.create(tmp_path / "my-saw")


def lines(job):
    return job.journal.path.read_bytes().split(b"\n")


def turned(bolt, raise_mm, **more):
    return TurnedBolt(bolt, raise_mm, 0.01, **more)


# --- the folder ------------------------------------------------------------------------------------------------------


def test_a_new_job_has_a_commented_machine_file_that_loads_and_says_it_is_invented(job):
    text = (job.folder / "machine.yaml").read_text(encoding="utf-8")
    assert text.count("#") > 20
    assert "invented" in text
    assert "isolator" in text, "the caution stands where hands go under the machine"
    assert len(job.machine.bolts) >= 2
    assert job.machine.warnings == ()


def test_nothing_that_exists_is_overwritten(job):
    path = job.folder / "machine.yaml"
    path.write_text("mine", encoding="utf-8")
    with pytest.raises(NotAllowed, match="stays as it is"):
        new_job(job.folder)
    assert path.read_text(encoding="utf-8") == "mine"


def test_a_folder_that_is_a_file_and_a_folder_without_a_machine_are_said(tmp_path):
    (tmp_path / "file").write_text("x", encoding="utf-8")
    with pytest.raises((NotAllowed, CannotSave)):
        new_job(tmp_path / "file")
    with pytest.raises(BadFile, match=r"holds no machine\.yaml.*truestroke new"):
        Job.open(tmp_path)


def test_recordings_are_numbered_through_both_kinds_and_named_after_their_set_up(job):
    assert job.recordings() == []
    first = job.next_recording_folder("Rail height/../x")
    assert first.relative_to(job.folder).as_posix() == "sweeps/0001-rail-height-x"
    first.mkdir(parents=True)
    (first / "datapackage.json").write_text("{}", encoding="utf-8")
    live = job.next_recording_folder("across", "live")
    assert live.relative_to(job.folder).as_posix() == "live/0002-across"
    assert job.recordings() == [first]
    assert job.recordings("live") == []


# --- the journal -----------------------------------------------------------------------------------------------------


def test_an_entry_is_one_line_with_time_in_utc_and_who(tmp_path):
    east = datetime(2026, 11, 25, 11, 51, 3, 120_000, tzinfo=UTC).astimezone(tz=None) + timedelta(0)
    journal = Journal(tmp_path / "journal.jsonl", now=lambda: east, who=lambda: "sam")
    journal.append("note", {"text": "tight\nbolt"})
    (line,) = journal.path.read_text(encoding="utf-8").splitlines()
    fields = json.loads(line)
    assert fields["time"] == "2026-11-25T11:51:03.120Z"
    assert (fields["v"], fields["who"], fields["kind"], fields["data"]) == (
        VERSION,
        "sam",
        "note",
        {"text": "tight\nbolt"},
    )


def test_what_was_written_is_only_ever_added_to(job):
    job.append("note", text="one")
    before = job.journal.path.read_bytes()
    job.append("note", text="two")
    assert job.journal.path.read_bytes().startswith(before)
    assert [entry.data["text"] for entry in job.entries()] == ["one", "two"]


def test_arrays_and_records_go_in_as_plain_numbers_and_nonsense_does_not(job):
    entry = job.append("learned", matrix=np.eye(2), count=np.int64(3), move=turned("B1", 0.1))
    assert entry.data == job.entries()[0].data
    assert entry.data["matrix"] == [[1.0, 0.0], [0.0, 1.0]]
    with pytest.raises(ValueError):
        job.append("note", value=float("nan"))
    with pytest.raises(ValueError, match="no kind"):
        job.append("gossip")
    assert len(job.entries()) == 1


def test_a_torn_last_line_is_kept_aside_and_said_and_does_not_swallow_the_next_entry(job):
    job.append("note", text="one")
    with job.journal.path.open("ab") as handle:
        handle.write(b'{"v":1,"id":"x","time":"')
    assert [entry.data["text"] for entry in job.entries()] == ["one"]
    assert "interrupted" in job.journal_faults()[0]
    job.append("note", text="two")
    assert [entry.data["text"] for entry in job.entries()] == ["one", "two"]
    assert b'{"v":1,"id":"x","time":"' in lines(job), "the broken line is still there"
    assert "line 2" in job.journal_faults()[0]


@pytest.mark.parametrize(
    ("line", "word"),
    [
        (b"not json", "not a JSON object"),
        (b"[1, 2]", "not a JSON object"),
        (b"\xff\xfe", "not a JSON object"),
        (b'{"v": 2, "whatever": 1}', "newer truestroke"),
        (b'{"v": 1, "id": "a"}', "lacks time, who, kind, data"),
        (b'{"v": 1, "id": "a", "time": "t", "who": "w", "kind": "note", "data": [NaN]}', "not a JSON object"),
        (b'{"v": true, "id": "a", "time": "t", "who": "w", "kind": "note", "data": []}', "lacks data"),
        (b"[" * 100_000, "not a JSON object"),
    ],
)
def test_a_line_that_cannot_be_read_hides_nothing_around_it(job, line, word):
    job.append("note", text="before")
    with job.journal.path.open("ab") as handle:
        handle.write(line + b"\n")
    job.append("note", text="after")
    assert [entry.data["text"] for entry in job.entries()] == ["before", "after"]
    (fault,) = job.journal_faults()
    assert "line 2" in fault
    assert word in fault


def test_a_journal_that_is_not_there_yet_is_empty(job):
    assert job.entries() == []
    assert job.rounds() == []


def _write_many(path, who, count):
    journal = Journal(path, who=lambda: who)
    for number in range(count):
        journal.append("note", {"number": number, "padding": who * 2000})


def test_two_processes_writing_at_once_tear_no_line(tmp_path):
    path = tmp_path / "journal.jsonl"
    context = multiprocessing.get_context("spawn")
    writers = [context.Process(target=_write_many, args=(path, who, 40)) for who in "ab"]
    for writer in writers:
        writer.start()
    for writer in writers:
        writer.join(240)
        assert writer.exitcode == 0
    contents = Journal(path).read()
    assert contents.faults == ()
    for who in "ab":
        assert [entry.data["number"] for entry in contents.entries if entry.who == who] == list(range(40))


@pytest.mark.skipif(not os.path.exists("/dev/full"), reason="needs /dev/full")  # noqa: PTH110
def test_a_full_disk_is_said(tmp_path):
    path = tmp_path / "journal.jsonl"
    path.symlink_to("/dev/full")
    with pytest.raises(CannotSave, match="No space left"):
        Journal(path).append("note", {})


# --- rounds and corrections ------------------------------------------------------------------------------------------


def test_a_sweep_after_a_move_begins_a_new_round(job):
    job.append("sweep", sweep="0001-across")
    job.append("sweep", sweep="0002-across")
    job.append_turned([turned("B1", 0.1), turned("B2", -0.05)])
    job.append_turned([turned("B1", 0.02)])
    job.append("note", text="lunch")
    job.append("sweep", sweep="0003-across")
    first, second = job.rounds()
    assert (first.number, first.sweeps) == (1, ("0001-across", "0002-across"))
    assert [(move.bolt, move.raise_mm) for move in first.turned] == [("B1", 0.1), ("B2", -0.05), ("B1", 0.02)]
    assert (second.number, second.sweeps, second.turned) == (2, ("0003-across",), ())


def at(days, kind, **data):
    moment = datetime(2031, 3, 1, 8, tzinfo=UTC) + timedelta(days=days)
    return JournalEntry(str(days), moment.isoformat(), "Kiln Street", kind, data)


def test_a_sweep_of_a_later_visit_begins_a_round_though_nothing_was_turned():
    # The naive way takes all sweeps since the last move as one state: months of creeping are then averaged away.
    entries = [at(0, "sweep", sweep="0001-a"), at(1, "sweep", sweep="0002-a"), at(200, "sweep", sweep="0003-a")]
    first, later = rounds_of(entries)
    assert (first.sweeps, first.visit) == (("0001-a", "0002-a"), 1)
    assert (later.sweeps, later.number, later.visit) == (("0003-a",), 2, 2)


def test_bolts_turned_one_evening_and_swept_some_days_later_are_one_visit():
    one = {"bolt": "B1", "raise_mm": 0.1, "uncertainty_mm": 0.01}
    for days, visit in ((6, 1), (60, 2)):
        entries = [at(0, "sweep", sweep="0001-a"), at(0.1, "turned", turned=[one]), at(days, "sweep", sweep="0002-a")]
        assert [each.visit for each in rounds_of(entries)] == [1, visit]


def test_moves_made_before_any_sweep_are_a_round_without_sweeps(job):
    job.append_turned([turned("B1", 0.1)])
    job.append("sweep", sweep="0001-across")
    assert [(each.sweeps, len(each.turned)) for each in job.rounds()] == [((), 1), (("0001-across",), 0)]


def test_a_move_comes_back_from_the_journal_as_it_went_in(job):
    move = TurnedBolt("B3", 0.05, 0.01, "parked", park_mm=810.0, before=0.036, after=0.084, set_up="across")
    job.append("sweep", sweep="0001-across")
    job.append_turned([move])
    assert Job.open(job.folder).rounds()[0].turned == (move,)


def test_a_move_of_a_bolt_that_does_not_exist_is_refused_and_nothing_is_written(job):
    with pytest.raises(NotAllowed, match="no bolt 'B9'"):
        job.append_turned([turned("B1", 0.1), turned("B9", 0.1)])
    assert job.entries() == []


def test_a_correction_is_a_later_entry_that_takes_the_place_of_the_earlier(job):
    job.append("sweep", sweep="0001-across")
    wrong = job.append_turned([turned("B1", 1.0)])
    job.append("sweep", sweep="0002-across")
    better = job.correct(wrong, turned=[turned("B1", 0.1)])
    job.correct(better, turned=[turned("B2", 0.1)])
    first, second = job.rounds()
    assert [(move.bolt, move.raise_mm) for move in first.turned] == [("B2", 0.1)]
    assert second.sweeps == ("0002-across",), "the correction stands where the mistake stood, not where it was written"
    assert len(job.entries()) == 5, "nothing is lost"


def test_a_withdrawn_sweep_is_in_no_round(job):
    entry = job.append("sweep", sweep="0001-across")
    job.append("sweep", sweep="0002-across")
    job.withdraw(entry, "the stand had slipped")
    assert [each.sweeps for each in job.rounds()] == [("0002-across",)]


def test_references_to_nothing_and_damaged_moves_do_no_harm(job):
    job.append("withdrawn", withdraws="nobody", why="?")
    job.append("turned", corrects="nobody", turned=[{"bolt": "B1", "raise_mm": "x"}, 5, {"bolt": 3}])
    job.append("turned", turned="nonsense")
    assert [each.turned for each in rounds_of(standing(job.entries()))] == []


def test_a_journal_that_has_not_changed_is_read_once_and_one_that_has_is_read_anew(tmp_path):
    path = tmp_path / "journal.jsonl"
    Journal(path).append("note", {"text": "first"})
    os.utime(path, (1_700_000_000, 1_700_000_000))  # written long ago
    once = Journal(path).read()
    assert Journal(path).read() is once
    Journal(path).append("note", {"text": "second"})
    assert len(Journal(path).read().entries) == 2
    os.utime(path, (1_700_000_000, 1_700_000_000))
    assert len(Journal(path).read().entries) == 2
    path.unlink()
    assert Journal(path).read().entries == ()


def test_a_journal_written_just_now_is_not_trusted_to_stay_as_it_is(tmp_path):
    """Two writings of one size within a tick of the disk's clock look the same from outside."""
    path = tmp_path / "journal.jsonl"
    Journal(path).append("note", {"text": "a"})
    assert Journal(path).read() is not Journal(path).read()
