"""A report for a job with many sweeps: how long it takes, and how large it is.

    python -m tests.benchmarks.report [SWEEPS]

Ratios are of processor time: beside other work on the machine the clock tells of that work.

The job is the example's, its last sweep copied under 200 numbers, a bolt turned after each, as a machine that has been
looked after for years. The yardstick, in the same run and the same process: opening and judging each sweep once, which
every report must do. ``history`` and ``export all`` of the same job beside it.
"""

import json
import shutil
import sys
import tempfile
import time
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import NamedTuple

from logger.findings import find
from logger.history import history_of
from logger.job import Job
from logger.judging import found
from logger.record.package import export_job
from logger.recording import open_recording
from logger.report.facts import gather
from logger.report.page import page

EXAMPLE = Path(__file__).parents[2] / "fixtures" / "recordings"
BEGAN = datetime(2022, 1, 10, 9, tzinfo=UTC)


def job_of(folder: Path, sweeps: int) -> Job:
    """A job with so many sweeps, a week apart, a bolt turned a little after each."""
    shutil.copytree(EXAMPLE, folder)
    lines: list[str] = []

    def entry(days: float, kind: str, **data: object) -> None:
        at = (BEGAN + timedelta(days=days)).isoformat().replace("+00:00", "Z")
        lines.append(
            json.dumps({"v": 1, "id": f"{len(lines):012x}", "time": at, "who": "sam", "kind": kind, "data": data})
        )

    for number in range(sweeps):
        name = f"{number + 10:04d}-across"
        shutil.copytree(
            EXAMPLE / "sweeps" / ("0001-across" if number == 0 else "0003-across"), folder / "sweeps" / name
        )
        entry(7 * number, "note", text="", temperature_C=18 + 6 * (number % 52 < 26))
        entry(7 * number + 0.1, "sweep", sweep=name, set_up="across")
        moved = {"bolt": "B2", "raise_mm": 0.01, "uncertainty_mm": 0.01, "form": "thread"}
        entry(7 * number + 0.2, "turned", turned=[moved])
    (folder / "journal.jsonl").write_text("\n".join(lines) + "\n", encoding="utf-8")
    return Job.open(folder)


class Took(NamedTuple):
    """Seconds by the clock and of the processor."""

    clock_s: float
    processor_s: float

    def __str__(self):
        return f"{self.clock_s:.1f} s ({self.processor_s:.1f} s of the processor)"


def seconds(work, *arguments):
    """(how long, what came out) of one call."""
    began = time.perf_counter(), time.process_time()
    out = work(*arguments)
    return Took(time.perf_counter() - began[0], time.process_time() - began[1]), out


def main():
    sweeps = int(sys.argv[1]) if len(sys.argv) > 1 else 200
    with tempfile.TemporaryDirectory() as folder:
        job = job_of(Path(folder) / "job", sweeps)
        first = job.recordings()[0]
        find([open_recording(first)])  # imports are not what is measured
        names = [entry.data["sweep"] for entry in job.entries() if entry.kind == "sweep"]
        bare, _ = seconds(lambda: [find([open_recording(job.folder / "sweeps" / name)]) for name in names])
        found._kept.clear()
        told, facts = seconds(gather, job)
        laid_out, said = seconds(page, facts)
        sheet = page(facts, sheet=True)
        found._kept.clear()
        history, _ = seconds(history_of, job)
        exported, _ = seconds(export_job, job, Path(folder) / "out")
    megabytes = len(said.encode("utf-8")) / 1e6
    report = Took(told.clock_s + laid_out.clock_s, told.processor_s + laid_out.processor_s)

    def times(took):
        return f"{took.processor_s / bare.processor_s:.2f} times"

    print(f"{sweeps} sweeps: judging each once {bare}")
    print(f"report: {report}, {times(report)}, of which laying out {laid_out.processor_s:.2f} s; {megabytes:.2f} MB")
    print(f"sheet: {len(sheet.encode('utf-8')) / 1e6:.2f} MB")
    print(f"history: {history}, {times(history)}; export all: {exported}, {times(exported)}")


if __name__ == "__main__":
    main()
