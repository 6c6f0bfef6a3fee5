"""How often does a quick check notice what moved, name it, and call a saw moved that stood still?

Run: ``nice -n 15 python -m tests.benchmarks.quick_check [--machines 200] [--first 0]``. Not a test. Simulated saws of
every layout with their own physics; a state is accepted, then the same sweeps are made again: with nothing changed, and
with one bolt sunk by so much. Reported against the size of what moved, and against what the reading changed by in
truth: by one stand across, and by the same and a carried sweep. The response is not learned yet (no bolt was turned).
"""

from __future__ import annotations

import argparse
import itertools
import time
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from fixtures.workshop import SimMachine, draw_machine
from logger.checks.final import Compared, compared_of, together
from tests.benchmarks.workbench import install, job_for, sweep

AGAIN = 0.002
SINKS_MM = (0.03, 0.06, 0.1, 0.2, 0.4)
SEEN_MM = (0.0, 0.005, 0.01, 0.02, 0.05, 9.0)
SET_UPS = ("across", "along")


@dataclass(frozen=True)
class Shot:
    """One quick check: ``sunk_mm`` 0 where nothing moved; ``seen_mm`` what the reading changed by in truth."""

    sunk_mm: float
    seen_mm: float
    noticed: bool
    first: bool
    among: bool


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--machines", type=int, default=200)
    parser.add_argument("--first", type=int, default=0)
    args = parser.parse_args()
    install()
    began = time.perf_counter()
    shots: dict[tuple[str, ...], list[Shot]] = {SET_UPS[:1]: [], SET_UPS: []}
    for seed in range(args.first, args.first + args.machines):
        _one(seed, shots)
    for set_ups, taken in shots.items():
        print(f"--- {' and '.join(set_ups)}")
        _print(taken)
    print(f"{args.machines} saws from {args.first} on, {time.perf_counter() - began:.0f} s")


def _one(seed: int, shots: dict[tuple[str, ...], list[Shot]]) -> None:
    saw = draw_machine(seed)
    job = job_for(saw, 0.05)
    rng = np.random.default_rng([seed, 5])
    bolt = job.machine.bolts[int(rng.integers(0, len(job.machine.bolts)))].name
    then = {name: sweep(saw, job.machine, name) for name in SET_UPS}
    job.swept(list(then.values()))
    for sunk in (0.0, *SINKS_MM):
        later = saw.copy()
        if sunk:
            later.turn(bolt, -sunk, exact=True)
        found = {name: sweep(later, job.machine, name) for name in SET_UPS}
        seen = {name: _true_change(saw, later, name) for name in SET_UPS}
        each = {name: compared_of(job, name, then[name], found[name], AGAIN) for name in SET_UPS}  # type: ignore[arg-type]
        for set_ups, taken in shots.items():
            taken.append(_shot([each[name] for name in set_ups], sunk, max(seen[n] for n in set_ups), bolt))


def _true_change(before: SimMachine, after: SimMachine, set_up: str) -> float:
    s = before.stations(set_up)
    change = after.noise_free_reading(set_up, s) - before.noise_free_reading(set_up, s)
    return float(np.nanmax(np.abs(change)))


def _shot(compared: Sequence[Compared], sunk: float, seen: float, bolt: str) -> Shot:
    causes = together(compared)
    bolts = [cause for cause in causes if cause.name.startswith(bolt[0])]
    return Shot(
        sunk,
        seen,
        noticed=any(each.change.moved for each in compared),
        first=causes[0].name == bolt,
        among=any(cause.name == bolt and (cause.explains or cause is bolts[0]) for cause in bolts),
    )


def _print(taken: Sequence[Shot]) -> None:
    still = [shot for shot in taken if not shot.sunk_mm]
    print(f"stood still: called moved {sum(shot.noticed for shot in still)} of {len(still)}")
    for sunk in SINKS_MM:
        _line(f"a bolt sunk by {sunk:.2f} mm", [shot for shot in taken if shot.sunk_mm == sunk])
    moved = [shot for shot in taken if shot.sunk_mm]
    for low, high in itertools.pairwise(SEEN_MM):
        reach = f"{low:.3f} to {high:.3f}" if high < 1.0 else f"{low:.3f} and more"
        _line(f"the reading changed by {reach} mm", [s for s in moved if low <= s.seen_mm < high])


def _line(what: str, taken: Sequence[Shot]) -> None:
    if not taken:
        return
    noticed = [shot for shot in taken if shot.noticed]
    share = f"{100 * len(noticed) / len(taken):.0f} %"
    named = f"{100 * sum(s.first for s in noticed) / len(noticed):.0f} %" if noticed else "-"
    among = f"{100 * sum(s.among for s in noticed) / len(noticed):.0f} %" if noticed else "-"
    print(f"{what:44} {len(taken):4d}: noticed {share:>5}; of these the right bolt first {named:>5}, among {among:>5}")


if __name__ == "__main__":
    main()
