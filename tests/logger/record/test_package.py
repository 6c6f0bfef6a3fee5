"""A whole job as one Data Package: valid by the standard, complete, and the same numbers as the record."""

import csv
import json
import shutil
from pathlib import Path

import pytest
from frictionless import Package

from logger.errors import NotAllowed
from logger.job import Job, TurnedBolt
from logger.record.package import export_job
from tests.logger.shell import Shell

EXAMPLE = Path(__file__).parents[3] / "fixtures" / "recordings"


@pytest.fixture
def job(tmp_path):
    shutil.copytree(EXAMPLE, tmp_path / "job")
    job = Job.open(tmp_path / "job")
    job.append("note", text='=1+1 and\r\nanother line, "quoted"', temperature_C=12.5)
    allowed = {"lower": None, "upper": 0.03, "unit": "mm", "origin": "invented"}
    entry = job.append(
        "taken", check="flange", typed=["readings=0,0.01"], value=0.02, uncertainty=0.004, unit="mm", verdict="inside",
        reason="", allowed=allowed,
    )  # fmt: skip
    job.correct(entry, check="flange", value=0.021, uncertainty=0.004, unit="mm", verdict="inside", allowed=allowed)
    job.append("taken", check="flange", adjusted=True)
    job.append("taken", check=7, value="many")
    job.append_turned([TurnedBolt("B2", 0.05, 0.01, "parked", 810.0, 0.036, 0.084, "across")])
    with (job.folder / "journal.jsonl").open("a", encoding="utf-8") as file:
        file.write("broken\n")
    return job


def table(folder, name):
    with (folder / name).open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def test_the_package_is_valid_by_the_reference_validator(job, tmp_path):
    folder, _ = export_job(job, tmp_path / "out")
    report = Package(str(folder / "datapackage.json")).validate()
    assert report.valid, report.flatten(["type", "note"])
    assert len(report.tasks) >= 4 + 2 * 3


def test_every_recording_and_every_entry_is_there(job, tmp_path):
    folder, said = export_job(job, tmp_path / "out")
    assert [row["recording"] for row in table(folder, "recordings.csv")] == ["0001-across", "0002-along", "0003-across"]
    assert len(table(folder, "journal.csv")) == len(job.entries())
    for recording in job.recordings():
        for name in ("readings.csv", "wire.csv"):
            assert (folder / "sweeps" / recording.name / name).read_bytes() == (recording / name).read_bytes()
    assert (folder / "journal.jsonl").read_bytes() == (job.folder / "journal.jsonl").read_bytes()
    assert any("is not a JSON object" in each for each in said)


def test_the_tables_say_the_records_numbers(job, tmp_path):
    folder, _ = export_job(job, tmp_path / "out")
    turned = [(row["bolt"], float(row["raise_mm"])) for row in table(folder, "turned.csv")]
    assert turned == [(m.bolt, m.raise_mm) for each in job.rounds() for m in each.turned]
    checks = table(folder, "checks.csv")
    assert [(row["value"], row["adjusted"]) for row in checks] == [("0.021", "false"), ("", "true")]
    held = [row["holds"] for row in table(folder, "journal.csv") if row["kind"] == "taken"]
    assert held == ["false", "true", "true", "true"]  # the corrected one is kept, and said not to hold


def test_no_cell_starts_a_formula(job, tmp_path):
    job.append("note", text="-")
    folder, _ = export_job(job, tmp_path / "out")
    for name in ("recordings", "journal", "turned", "checks"):
        with (folder / f"{name}.csv").open(encoding="utf-8", newline="") as file:
            for row in csv.reader(file):
                texts = [cell for cell in row if not cell.replace(".", "").replace("-", "").replace("e", "").isdigit()]
                assert not [cell for cell in texts if cell[:1] in ("=", "+", "-", "@")]


def test_every_column_has_a_description_and_lengths_their_unit(job, tmp_path):
    folder, _ = export_job(job, tmp_path / "out")
    described = json.loads((folder / "datapackage.json").read_text(encoding="utf-8"))
    tables = [each for each in described["resources"] if each["name"] in ("recordings", "journal", "turned", "checks")]
    assert len(tables) == 4
    for each in tables:
        for field in each["schema"]["fields"]:
            assert field["description"]
            assert ("unit" in field) == field["name"].endswith("_mm")


def test_nothing_is_overwritten(job, tmp_path):
    (tmp_path / "out").mkdir()
    (tmp_path / "out" / "mine").write_text("mine", encoding="utf-8")
    with pytest.raises(NotAllowed, match="already there"):
        export_job(job, tmp_path / "out")
    assert [each.name for each in (tmp_path / "out").iterdir()] == ["mine"]


def test_a_damaged_recording_is_named_and_the_rest_is_copied(job, tmp_path):
    (job.folder / "sweeps" / "0002-along" / "wire.csv").unlink()
    folder, said = export_job(job, tmp_path / "out")
    assert any("0002-along was not copied" in each for each in said)
    assert [row["recording"] for row in table(folder, "recordings.csv")] == ["0001-across", "0003-across"]
    assert Package(str(folder / "datapackage.json")).validate().valid


def test_a_job_without_a_recording_is_a_package_too(tmp_path):
    folder, _ = export_job(Job.create(tmp_path / "new"), tmp_path / "out")
    assert Package(str(folder / "datapackage.json")).validate().valid
    assert table(folder, "journal.csv") == []


def test_the_command_says_where_it_is(tmp_path):
    shell = Shell(tmp_path)
    shell("note", "oiled the rollers")
    said = shell.json("export", "all", "out")
    assert said["package"] == str(Path("out") / "datapackage.json")
    assert shell("export", "all", "out").returncode == 2
