"""An older sweep beside today's description: facts as they are now, the set-up as it was."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest

from logger.description.described import as_now, changes_since, moved_since
from logger.errors import NotUnderstood
from logger.findings import find
from logger.job import Job
from logger.judging.found import findings_of
from logger.recording import open_recording

EXAMPLE = Path(__file__).parents[3] / "fixtures" / "recordings"


@pytest.fixture
def job(tmp_path):
    shutil.copytree(EXAMPLE, tmp_path / "job")
    return Job.open(tmp_path / "job")


def changed(job, old, new):
    path = job.folder / "machine.yaml"
    text = path.read_text(encoding="utf-8")
    assert old in text
    path.write_text(text.replace(old, new, 1), encoding="utf-8")
    return Job.open(job.folder)


def recording(job, name="0001-across"):
    return open_recording(job.folder / "sweeps" / name)


def test_nothing_is_said_where_nothing_changed(job):
    assert changes_since(recording(job), job.machine) is None
    assert moved_since(recording(job), job.machine) is None


def test_a_bolt_measured_again_is_named_with_both_numbers(job):
    later = changed(job, "x_mm: 1150", "x_mm: 1165")
    said = changes_since(recording(job), later.machine)
    assert said is not None and "bolts.B3.x_mm 1150.0 (now 1165.0)" in said
    warnings: list[str] = []
    assert "across" in findings_of(later, ["0001-across"], warnings)
    assert warnings == [said]


def test_the_band_of_today_judges_the_sweep_of_yesterday(job):
    wide = changed(job, "peak_to_valley_mm: 0.05", "peak_to_valley_mm: 0.5")
    before = find([recording(job)]).verdict
    after = findings_of(wide, ["0001-across"], [])["across"].verdict
    assert (before.upper, after.upper) == (0.05, 0.5) and "outside" not in after.reason


def test_a_map_made_later_is_subtracted_from_the_sweep_before(job):
    points = "[700, 0.0, 0.002], [1100, 0.0100, 0.002], [1500, 0.0, 0.002]"
    mapped = changed(job, "table: {", f"table: {{map: [{{y_mm: 150, points: [{points}]}}], ")
    plain, found = recording(job), as_now(recording(job), mapped.machine)
    assert not plain.machine.table.map and found.machine.table.map
    over = find([found]).profile.value - find([plain]).profile.value
    assert over == pytest.approx(0.0100), "the stand's foot is 10 um over the table's plane"


def test_a_stand_that_was_moved_is_not_the_stand_of_before(job):
    moved = changed(job, "x_mm: 1100", "x_mm: 1250")
    warnings: list[str] = []
    assert findings_of(moved, ["0001-across"], warnings) == {}
    assert "x_mm 1100, now 1250" in warnings[0] and "a name of its own" in warnings[0]


def test_the_state_of_the_machine_says_what_it_left_out(job):
    from logger.advising.inputs import state_of

    moved = changed(job, "x_mm: 1100", "x_mm: 1250")
    job.append("sweep", sweep="0001-across", set_up="across")
    try:
        said = " ".join(state_of(moved).warnings)
    except NotUnderstood as fault:
        said = str(fault)
    assert "x_mm 1100, now 1250" in said


def test_the_zero_of_a_sweep_stays_that_of_the_day(job):
    later = changed(job, "x_mm: 1100, zero_mm: 0", "x_mm: 1100, zero_mm: 0.5")
    assert as_now(recording(job), later.machine).machine.set_ups["across"].zero_mm == 0.0
