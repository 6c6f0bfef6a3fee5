"""How the time of a plan grows with bolts and stations: learning, draws, choice of bolts, targets, on one core.

Run: ``python -m tests.benchmarks.growth``. Not a test. A made-up row of bolts is swept, turned and swept again (so
that there is something to learn), and the advice of the second round is timed; the profile is then spread onto as many
stations as the row says. Processor time, the smallest of three.
"""

from __future__ import annotations

import time
from dataclasses import replace

import numpy as np

from analysis.results import Findings
from fixtures.layouts import KILN_STREET, BoltPlan, Layout
from fixtures.workshop import draw_machine
from logger import advice
from logger.job import TurnedBolt
from tests.benchmarks.workbench import MemoryJob, install, job_for, sweep


def row_of(bolts: int) -> Layout:
    """Kiln Street's saw on this many bolts."""
    where = np.linspace(150.0, 2650.0, bolts)
    return replace(KILN_STREET, bolts=tuple(BoltPlan(f"B{i + 1}", float(x)) for i, x in enumerate(where)))


def spread_onto(found: Findings, stations: int) -> Findings:
    """The same profile on another number of stations."""
    profile = found.profile
    x = np.linspace(profile.x_mm[0], profile.x_mm[-1], stations)
    near = np.abs(profile.x_mm[None, :] - x[:, None]).argmin(axis=1)
    return replace(
        found,
        profile=replace(
            profile,
            x_mm=x,
            value=np.interp(x, profile.x_mm, profile.value),
            uncertainty=profile.uncertainty[near],
            covariance=profile.covariance[np.ix_(near, near)],
        ),
    )


def second_round(bolts: int, stations: int) -> MemoryJob:
    """A job with one round behind it."""
    machine = draw_machine(7, row_of(bolts))
    job = job_for(machine, 0.05)
    job.swept([spread_onto(sweep(machine, job.machine, "across"), stations)])
    made = []
    for move in advice.advise(job).moves:  # type: ignore[arg-type]
        assert move.park_mm is not None and move.reading_target is not None
        done = machine.turn_until(move.bolt, "across", move.park_mm, move.reading_target)
        if done.before is not None and done.after is not None:
            made.append(
                TurnedBolt(move.bolt, move.raise_mm, 0.1, "parked", move.park_mm, done.before, done.after, "across")
            )
    job.turned(made)
    job.swept([spread_onto(sweep(machine, job.machine, "across"), stations)])
    described = job.machine
    job.machine = described.model_copy(
        update={"band": described.band.model_copy(update={"peak_to_valley_mm": 0.01})}  # so that there is work left
    )
    return job


def seconds(job: MemoryJob) -> float:
    """Processor time of one plan."""
    taken = []
    for _ in range(3):
        start = time.process_time()
        advice.advise(job)  # type: ignore[arg-type]
        taken.append(time.process_time() - start)
    return min(taken)


def main() -> None:
    """Print seconds, and ratios to the smallest case."""
    install()
    base = 0.0
    for bolts, stations in ((4, 60), (6, 60), (8, 60), (12, 60), (12, 240), (12, 600)):
        taken = seconds(second_round(bolts, stations))
        base = base or taken
        print(
            f"{bolts:2d} bolts, {stations:3d} stations: {taken:.2f} s, {taken / base:.1f} times the first", flush=True
        )


if __name__ == "__main__":
    main()
