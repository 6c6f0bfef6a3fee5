"""Findings are worked out once, and again as soon as a file changes."""

import shutil
from pathlib import Path

import pytest

from logger.job import Job
from logger.judging import found

EXAMPLE = Path(__file__).parents[3] / "fixtures" / "recordings"


@pytest.fixture
def job(tmp_path):
    shutil.copytree(EXAMPLE, tmp_path / "job")
    return Job.open(tmp_path / "job")


def test_the_same_files_give_the_same_findings_without_being_read_again(job):
    first = found.findings_of(job, ["0001-across"], [])
    assert found.findings_of(job, ["0001-across"], [])["across"] is first["across"]


def test_a_changed_file_is_read_again_and_its_fault_is_said_each_time(job):
    before = found.findings_of(job, ["0001-across"], [])["across"]
    readings = job.folder / "sweeps" / "0001-across" / "readings.csv"
    readings.write_bytes(readings.read_bytes().replace(b",mm,,", b",mm,,", 1) + b"torn")
    after = found.findings_of(job, ["0001-across"], [])["across"]
    assert after is not before
    assert after.warnings


def test_what_is_not_on_the_disk_is_left_out_and_said(job):
    warnings: list[str] = []
    assert list(found.findings_of(job, ["0001-across", "0099-gone"], warnings)) == ["across"]
    assert "0099-gone" in warnings[0]


def test_what_is_kept_is_bounded(job, monkeypatch):
    monkeypatch.setattr(found, "MOST_KEPT", 1)
    found.findings_of(job, ["0001-across"], [])
    found.findings_of(job, ["0003-across"], [])
    assert len(found._kept) == 1
