"""The example job, worked out once for all tests of the report."""

import shutil
from datetime import UTC, datetime
from pathlib import Path

import pytest

from logger.job import Job
from logger.report.facts import gather

EXAMPLE = Path(__file__).parents[3] / "fixtures" / "recordings"
NOW = datetime(2026, 12, 1, 9, 30, tzinfo=UTC)
HOSTILE = "<script>alert(1)</script>&\"'<b>\x1b[31m\u202e$x^2$"


@pytest.fixture(scope="session")
def job(tmp_path_factory):
    folder = tmp_path_factory.mktemp("report") / "job"
    shutil.copytree(EXAMPLE, folder)
    made = Job.open(folder)
    made.append("note", text="cold morning", temperature_C=14.5)
    taken = {
        "check": "flange",
        "typed": ["readings=0.00,0.01,0.02", "u=0.004"],
        "numbers": {},
        "words": {},
        "unit": "mm",
        "verdict": "outside",
        "reason": "The run-out is more than allowed.",
        "allowed": {"lower": None, "upper": 0.03, "unit": "mm", "origin": "invented"},
        "own_limits": False,
        "corrections": [
            {"where": "flange", "move_mm": 0.02, "way": "off", "uncertainty_mm": None, "turns": None},
            "no",
        ],
    }
    made.append("taken", value=0.048, uncertainty=0.006, **taken)
    made.append("taken", check="flange", adjusted=True)
    trial = {"repeats": {"repeatability": 0.0021, "hysteresis": -0.003}, "floor": {"standard_uncertainty": 0.0024}}
    made.append("instrument check", instrument="invented Kiln Street indicator", set_up="across", unit="mm", **trial)
    made.append("instrument check", instrument="invented Kiln Street indicator", set_up="along", repeats=7)
    made.append("taken", **{**taken, "value": 0.012, "uncertainty": 0.006, "verdict": "inside"})
    return made


@pytest.fixture(scope="session")
def facts(job):
    return gather(job, now=NOW)
