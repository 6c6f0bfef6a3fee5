"""A job over months: what creeps, what was turned, what the seasons did, and what moved since it was good."""

import json
import shutil
from datetime import UTC, datetime, timedelta
from pathlib import Path
from xml.etree import ElementTree

import numpy as np
import pytest

from logger import history
from logger.errors import NotAllowed
from logger.history import compare, history_of
from logger.history_json import as_json, compared_json
from logger.job import Job
from logger.record.imported import plan_of, write
from logger.record.imported_table import columns_of, read_table
from tests.logger.shell import Shell

EXAMPLE = Path(__file__).parents[2] / "fixtures" / "recordings"
BEGAN = datetime(2025, 1, 10, 9, tzinfo=UTC)


def journal(folder, entries):
    """A journal with these (days, kind, data), as if written over months."""
    lines = [
        json.dumps(
            {
                "v": 1,
                "id": f"{number:012x}",
                "time": (BEGAN + timedelta(days=days)).isoformat().replace("+00:00", "Z"),
                "who": "sam",
                "kind": kind,
                "data": data,
            }
        )
        for number, (days, kind, data) in enumerate(entries)
    ]
    (folder / "journal.jsonl").write_text("\n".join(lines) + "\n", encoding="utf-8")


def swept(days, name):
    return (days, "sweep", {"sweep": name})


def taken(days, value, **more):
    data = {"check": "flange", "value": value, "uncertainty": 0.004, "verdict": "inside", "reason": "", **more}
    return (days, "taken", data)


@pytest.fixture
def folder(tmp_path):
    shutil.copytree(EXAMPLE, tmp_path / "job")
    return tmp_path / "job"


def copies(folder, source, count):
    """The same recording again under other numbers: what one sweep after another of an unmoved machine would be."""
    names = [f"{10 + number:04d}-across" for number in range(count)]
    for name in names:
        shutil.copytree(folder / "sweeps" / source, folder / "sweeps" / name)
    return names


def test_a_machine_that_stands_still_creeps_by_nothing_clear(folder):
    names = copies(folder, "0003-across", 4)
    journal(folder, [swept(60.0 * k, name) for k, name in enumerate(names)])
    (found,) = history_of(Job.open(folder)).set_ups
    assert [bolt.name for bolt in found.bolts] == ["B2", "B3", "B4"]
    for bolt in found.bolts:
        term = bolt.course.per_year
        assert term is not None
        assert not term.clear
        assert term.size == pytest.approx(0.0, abs=1e-9)
    assert found.since_good is not None
    assert not found.since_good.moved
    assert found.since_good.before.name == names[-2]
    assert found.since_good.chance > 0.9


def test_a_turn_between_two_sweeps_is_told_and_is_no_creeping(folder):
    names = copies(folder, "0001-across", 2)
    turned = {"turned": [{"bolt": "B2", "raise_mm": -0.03, "uncertainty_mm": 0.01, "form": "thread"}]}
    journal(
        folder,
        [
            *(swept(0, names[0]), swept(40, names[1]), (50, "turned", turned)),
            *(swept(51, "0003-across"), (90, "note", {"text": "", "temperature_C": 12.0}), swept(90.1, "0003-across")),
        ],
    )
    job = Job.open(folder)
    (found,) = history_of(job).set_ups
    assert [each.state for each in found.sweeps] == [0, 0, 1, 1]
    for bolt in found.bolts:
        assert bolt.course.per_year is not None
        assert not bolt.course.per_year.clear
    assert [each.temperature_C for each in found.sweeps] == [None, None, None, 12.0]
    between = compare(job, names[1], "0003-across")
    assert [move.bolt for move in between.turned] == ["B2"]
    assert between.moved
    assert between.chance < 0.001


def test_the_changes_are_the_difference_of_the_two_profiles(folder):
    journal(folder, [swept(0, "0001-across"), swept(10, "0003-across")])
    found = compare(Job.open(folder), "0001-across", "0003-across")
    old, new = found.before.findings.profile, found.after.findings.profile
    for shift in found.shifts:
        by_hand = np.interp(shift.x_mm, new.x_mm, new.value) - np.interp(shift.x_mm, old.x_mm, old.value)
        assert shift.change == pytest.approx(float(by_hand))
    assert {shift.place for shift in found.shifts} == {"B2", "B3", "B4"}  # the stand does not see the others
    said = compared_json(found)
    assert [row["change_mm"] for row in said["bolts"]] == [round(s.change, 6) for s in found.shifts]


def test_an_adjusted_check_begins_anew_and_a_creeping_one_is_seen(folder):
    """The flange creeps by 0.020 mm a year, is put right after a year, and creeps on."""
    first = [taken(30 * k, 0.010 + 0.020 * 30 * k / 365.25) for k in range(13)]
    after = [taken(370 + 30 * k, 0.010 + 0.020 * 30 * k / 365.25) for k in range(6)]
    journal(folder, [*first, (365, "taken", {"check": "flange", "adjusted": True}), *after])
    (found,) = history_of(Job.open(folder)).checks
    term = found.followed.course.per_year
    assert term is not None
    assert term.clear
    assert term.size == pytest.approx(0.020, rel=1e-6)
    naive = np.polyfit(found.followed.days / 365.25, found.followed.value, 1)[0]
    assert naive < 0.008


def test_sweeps_of_two_set_ups_cannot_be_compared(folder):
    with pytest.raises(NotAllowed, match="Compare two of one set-up"):
        compare(Job.open(folder), "0001-across", "0002-along")


def test_since_leaves_out_what_was_before_and_a_word_is_no_date(folder):
    journal(folder, [swept(0, "0001-across"), swept(100, "0003-across")])
    job = Job.open(folder)
    (found,) = history_of(job, since="2025-03-01").set_ups
    assert [each.name for each in found.sweeps] == ["0003-across"]
    with pytest.raises(NotAllowed, match="is no date"):
        history_of(job, since="spring")
    with pytest.raises(NotAllowed, match="Nothing was measured since 2031"):
        history_of(job, since="2031-01-01")


def test_nothing_measured_is_said(tmp_path):
    with pytest.raises(NotAllowed, match="Nothing was measured"):
        history_of(Job.create(tmp_path / "new"))


def test_hand_edited_entries_do_not_stop_it(folder):
    broken = [(5, "sweep", {"sweep": 7}), (6, "sweep", {"sweep": "0099-gone"}), (7, "note", {"temperature_C": "warm"})]
    journal(folder, [swept(0, "0001-across"), *broken])
    with (folder / "journal.jsonl").open("a") as file:
        file.write(
            '{"v": 1, "id": "x", "time": "yesterday", "who": "", "kind": "sweep", "data": {"sweep": "0003-across"}}\n'
        )
        file.write("no json\n")
    found = history_of(Job.open(folder))
    assert [each.name for each in found.set_ups[0].sweeps] == ["0001-across", "0003-across"]
    assert any("0099-gone" in said for said in found.warnings)
    assert any("is not a JSON object" in said for said in found.warnings)
    json.dumps(as_json(found), allow_nan=False)


def test_it_is_told_how_far_it_is(folder):
    told = []
    journal(folder, [swept(0, "0001-across"), swept(10, "0003-across")])
    history_of(Job.open(folder), progress=lambda done, total: told.append((done, total)))
    assert told == [(1, 2), (2, 2)]


def test_days_are_counted_from_1970():
    assert history._days("1970-01-03T12:00:00Z") == pytest.approx(2.5)
    assert history._days("not a time") == 0.0


# -- the command -------------------------------------------------------------------------------------------------------


def test_a_foot_that_sinks_is_seen_by_the_command(tmp_path):
    """Three sweeps, four months apart; the carriage sinks by 0.02 mm at the infeed end from one to the next."""
    shell, names = Shell(tmp_path), []
    job = Job.open(tmp_path)
    columns = columns_of(["position=x", "value=h"])
    there = [float(x) for x in range(510, 1691, 5)]
    rng = np.random.default_rng(4)
    for number in range(3):
        table = tmp_path / "table.csv"
        heights = [0.10 - 0.02 * number * (2600.0 - x) / 2600.0 + 0.0005 * rng.standard_normal() for x in there]
        rows = [f"{x},{h:.4f}" for x, h in zip(there, heights, strict=True)]
        table.write_text("\n".join(["x,h", *rows, *rows[::-1]]) + "\n", encoding="utf-8")
        plan = plan_of(job, "across", read_table(table, columns), table.name)
        names.append(write(job, "across", plan, table, columns)[0].name)
    journal(tmp_path, [swept(120.0 * number, name) for number, name in enumerate(names)])
    (across,) = as_json(history_of(Job.open(tmp_path)))["set_ups"]
    for bolt in across["bolts"]:
        x_mm = {"B2": 650.0, "B3": 1150.0, "B4": 1650.0}[bolt["bolt"]]
        expected = -0.02 * (2600.0 - x_mm) / 2600.0 * 365.25 / 120.0
        assert bolt["per_year_clear"] is True
        assert bolt["per_year_mm"] == pytest.approx(expected, abs=bolt["per_year_uncertainty_mm"])
    assert across["sag"]["per_year_clear"] is False  # it tilts; it does not sag
    done = shell("history", "--pictures", "out")
    assert done.returncode == 0, done.stderr
    assert "height over B2: -0.0" in done.stdout
    assert "a year" in done.stdout
    assert "no turn was recorded between them: something moved by itself" in done.stdout
    assert "6 pictures in out" in done.stdout
    picture = ElementTree.parse(tmp_path / "out" / "across-b2.svg")
    assert len([each for each in picture.iter() if each.get("class") == "bead"]) == 3


def test_two_sweeps_are_compared_with_a_picture_that_draws_their_difference(tmp_path):
    shutil.copytree(EXAMPLE, tmp_path / "job")
    shell = Shell(tmp_path / "job")
    shutil.copy(EXAMPLE / "machine.yaml", tmp_path / "job" / "machine.yaml")
    said = shell.json("history", "--compare", "1", "3", "--pictures", "out")
    picture = ElementTree.parse(shell.folder / said["pictures"][0])
    ticks = [
        (float(t.get("y", 0)) - 4.0, float((t.text or "").replace("−", "-")))
        for t in picture.iter()
        if t.get("class") == "change-scale"
    ]
    (y0, v0), (y1, v1) = ticks
    marks = [each for each in picture.iter() if each.get("class") == "shift"]
    for mark, row in zip(marks, said["bolts"], strict=True):
        ys = [float(pair.split(",")[1]) for pair in (mark.get("points") or "").split()]
        middle = (min(ys) + max(ys)) / 2
        assert v0 + (middle - y0) * (v1 - v0) / (y1 - y0) == pytest.approx(row["change_mm"], abs=1e-3)


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (("--compare", "1", "99"), "There is no sweep '99'"),
        (("--since", "soon"), "is no date"),
        (("--pictures", "machine.yaml"), "is a file, not a folder"),
    ],
)
def test_what_cannot_be_is_refused(tmp_path, arguments, said):
    shutil.copytree(EXAMPLE, tmp_path / "job")
    done = Shell(tmp_path / "job")("history", *arguments)
    assert done.returncode == 2
    assert said in done.stderr
