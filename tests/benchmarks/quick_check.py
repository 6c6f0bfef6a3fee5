"""How often does a quick check call a saw moved that stood still, and name the bolt that really moved?

Run: ``nice -n 15 python -m tests.benchmarks.quick_check [--machines 40]``. Not a test. Simulated saws of every layout
with their own physics; one sweep is accepted, one follows with nothing changed, one after a bolt sank by 0.1 to 0.3 mm.
"""

from __future__ import annotations

import argparse

import numpy as np

from analysis.moved import Difference, causes, difference
from analysis.results import Findings
from fixtures.workshop import draw_machine
from logger.advising.response import responses_of
from logger.checks.final import DOUBT, FOOT, ZERO
from tests.benchmarks.workbench import install, job_for, sweep

AGAIN = 0.002


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--machines", type=int, default=40)
    args = parser.parse_args()
    install()
    false, found, first, among, size = 0, 0, 0, 0, []
    for seed in range(args.machines):
        machine = draw_machine(seed)
        job = job_for(machine, 0.05)
        rng = np.random.default_rng([seed, 5])
        set_up = "across"
        then = sweep(machine, job.machine, set_up)
        still = sweep(machine, job.machine, set_up)
        false += _differ(then, still).moved
        bolt = job.machine.bolts[int(rng.integers(0, len(job.machine.bolts)))].name
        machine.turn(bolt, -float(rng.uniform(0.1, 0.3)), exact=True)
        now = sweep(machine, job.machine, set_up)
        job.swept([now])
        change = _differ(then, now)
        found += change.moved
        size.append(abs(change.largest))
        if not change.moved:
            continue
        known = responses_of(job, set_up)  # type: ignore[arg-type]
        columns = {ZERO: np.ones(len(change.x_mm)), FOOT: (change.x_mm - change.x_mm.mean()) / 1000.0}
        for place, name in enumerate(known.bolts):
            columns[name] = np.interp(change.x_mm, known.x_mm, known.learned[:, place])
        told = causes(change, columns, DOUBT)
        bolts = [cause.name for cause in told if cause.name in known.bolts]
        first += bolts[0] == bolt
        among += bolt in [cause.name for cause in told if cause.explains or cause.name == bolts[0]]
    print(f"{args.machines} saws, fixed indicator, response not learned yet:")
    print(f"called moved though it stood still: {false}")
    print(f"called moved after a bolt sank by 0.1 to 0.3 mm: {found}; the reading changed by {np.median(size):.3f} mm")
    print(f"of these the right bolt was the best single bolt in {first}, among those that explain it in {among}")


def _differ(then: Findings, now: Findings) -> Difference:
    a, b = then.profile, now.profile
    return difference(a.x_mm, a.value, a.covariance, b.x_mm, b.value, b.covariance, AGAIN)


if __name__ == "__main__":
    main()
