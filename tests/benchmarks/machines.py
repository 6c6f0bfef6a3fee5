"""How many rounds until the saw is true: the advice on simulated machines, beside an oracle and common practice.

Run: ``python -m tests.benchmarks.machines [--machines 200] [--only fixed-50]``. Not a test. The saws are
``fixtures.workshop``'s (finite elements, ranges that do not match the prior's), swept by its uneven hand, judged by the
production analysis, turned until the display shows the target, lock nut and all. Every figure counts the noise-free
truth in the state after the last move of the round.

* oracle: the same planner, told the true response (and nothing else).
* practice: one bolt a round, the nearest to the worst place, by the local error (common practice, no source).
"""

from __future__ import annotations

import argparse
import time
from collections.abc import Iterator
from dataclasses import dataclass, field, replace

import numpy as np

from analysis.bolts import plan_round
from analysis.chebyshev import Group
from analysis.situation import Situation
from fixtures.layouts import LAYOUTS
from fixtures.workshop import SimMachine, draw_machine
from logger import advice
from logger.job import TurnedBolt
from tests.benchmarks.workbench import MemoryJob, install, job_for, sweep

ROUNDS = 8
ORDINARY = ("kiln-street", "pairs", "offsets", "mixed", "short", "cage", "four-bearings")


@dataclass
class History:
    """One machine's way. ``inside`` after each round; ``spread`` of the truth before the first and after each."""

    inside: list[bool] = field(default_factory=list)
    spread: list[float] = field(default_factory=list)
    moves: list[int] = field(default_factory=list)
    accepted: int | None = None
    accepted_wrongly: bool = False
    given_up: bool = False
    band_hits: list[bool] = field(default_factory=list)
    plan_s: list[float] = field(default_factory=list)

    def inside_after(self, rounds: int) -> bool:
        return self.inside[min(rounds, len(self.inside)) - 1] if self.inside else True

    def truth(self, machine: SimMachine, set_up: str, band_mm: float) -> None:
        band = replace(machine.layout.band, peak_to_valley_mm=band_mm)
        self.inside.append(machine.truth_inside(set_up, band))
        self.spread.append(machine.truth_peak_to_valley(set_up))


def advised(machine: SimMachine, job: MemoryJob, set_up: str, band_mm: float) -> History:
    """Rounds of sweep, bolts, turned, as the command line would lead them."""
    way = History(spread=[machine.truth_peak_to_valley(set_up)])
    for index in range(ROUNDS):
        job.swept([sweep(machine, job.machine, set_up)])
        start = time.perf_counter()
        plan = advice.advise(job)  # type: ignore[arg-type]
        way.plan_s.append(time.perf_counter() - start)
        if plan.verdict.word == "inside":
            way.accepted = index
            way.accepted_wrongly = not machine.truth_inside(
                set_up, replace(machine.layout.band, peak_to_valley_mm=band_mm)
            )
        if not plan.reachable:
            way.given_up = True
        if plan.next == "stop":
            way.truth(machine, set_up, band_mm)
            way.moves.append(0)
            break
        made: list[TurnedBolt] = []
        for move in plan.moves:
            assert move.park_mm is not None and move.reading_target is not None
            done = machine.turn_until(move.bolt, plan.set_up, move.park_mm, move.reading_target)
            if done.before is not None and done.after is not None:
                lift, doubt = move.raise_mm, abs(move.raise_mm)
                made.append(
                    TurnedBolt(move.bolt, lift, doubt, "parked", move.park_mm, done.before, done.after, plan.set_up)
                )
        job.turned(made)
        way.moves.append(len(plan.moves))
        way.truth(machine, set_up, band_mm)
        if plan.predicted is not None and plan.moves:
            away = abs(way.spread[-1] - plan.predicted.peak_to_valley)
            way.band_hits.append(away <= plan.predicted.peak_to_valley_uncertainty)
    return way


def oracle(machine: SimMachine, job: MemoryJob, set_up: str, band_mm: float) -> History:
    """The same planner with the true response."""
    way = History(spread=[machine.truth_peak_to_valley(set_up)])
    for index in range(ROUNDS):
        found = sweep(machine, job.machine, set_up)
        if found.verdict.word == "inside":
            way.accepted = index
            way.truth(machine, set_up, band_mm)
            break
        keep = np.unique(np.linspace(0, len(found.profile.x_mm) - 1, 40).round().astype(int))
        x = found.profile.x_mm[keep]
        bolts = len(machine.bolts)
        situation = Situation(
            value=found.profile.value[keep],
            covariance=found.profile.covariance[np.ix_(keep, keep)],
            response=np.repeat(machine.response(set_up, x)[None], 100, axis=0),
            groups=(Group(set_up, np.arange(len(x)), band_mm, machine.layout.band.mean_mm),),
            parks=np.arange(1, len(x) - 1, 2),
            lowest_mm=np.full(bolts, -1.2),
            highest_mm=np.full(bolts, 1.2),
            smallest_mm=np.full(bolts, 0.01),
        )
        outcome, _ = plan_round(situation)
        for step in outcome.steps:
            target = machine.set_up(set_up).sign * step.target
            machine.turn_until(machine.bolts[step.bolt], set_up, float(x[step.park]), target)
        way.moves.append(len(outcome.steps))
        way.truth(machine, set_up, band_mm)
    return way


def practice(machine: SimMachine, job: MemoryJob, set_up: str, band_mm: float, rounds: int = 40) -> History:
    """One bolt a round: the one nearest to the worst place, by the local error, as people do it."""
    way = History(spread=[machine.truth_peak_to_valley(set_up)])
    wanted = float(np.mean(machine.layout.band.mean_mm))
    where = np.array([bolt.x_mm for bolt in machine.layout.bolts])
    for _ in range(rounds):
        s = machine.stations(set_up)
        heights = machine.truth_heights(set_up, s)  # a perfect reading: practice is not handicapped by noise
        good = np.isfinite(heights)
        worst = int(np.argmax(np.abs(heights[good] - wanted)))
        bolt = int(np.argmin(np.abs(where - s[good][worst])))
        machine.turn(machine.bolts[bolt], wanted - float(heights[good][worst]))
        way.moves.append(1)
        way.truth(machine, set_up, band_mm)
        if way.inside[-1]:
            break
    return way


STRATEGIES = {"advised": advised, "oracle": oracle, "practice": practice}


def drawn(
    count: int, set_up: str, band_mm: float, ranges: str, layouts: tuple[str, ...], mapped: bool, skip: int = 0
) -> Iterator[tuple[str, SimMachine]]:
    """Machines with their class: inside already, reachable, unreachable, between."""
    for index in range(skip, skip + count):
        machine = draw_machine(50_000 + index, layouts[index % len(layouts)], ranges)
        band = replace(machine.layout.band, peak_to_valley_mm=band_mm)
        if machine.truth_inside(set_up, band):
            yield "inside", machine
            continue
        best = machine.best_possible(set_up, band).peak_to_valley_mm
        yield ("reachable" if best <= 0.8 * band_mm else "unreachable" if best >= 1.2 * band_mm else "between"), machine


def run(args: argparse.Namespace, label: str, set_up: str, band_mm: float, ranges: str, mapped: bool = False) -> None:
    """One row of the table for every strategy."""
    layouts = ("rests",) if label == "one-way" else tuple(args.layouts or ORDINARY)
    ways: dict[str, list[History]] = {name: [] for name in args.strategies}
    counts: dict[str, int] = {}
    hopeless: list[History] = []
    for kind, machine in drawn(args.machines, set_up, band_mm, ranges, layouts, mapped, args.skip):
        counts[kind] = counts.get(kind, 0) + 1
        if kind == "unreachable":
            hopeless.append(advised(machine.copy(), job_for(machine, band_mm, mapped), set_up, band_mm))
        if kind == "reachable":
            for name, each in ways.items():
                each.append(STRATEGIES[name](machine.copy(), job_for(machine, band_mm, mapped), set_up, band_mm))
    print(f"{label}: {counts}")
    for name, each in ways.items():
        if each:
            print("  " + summary(name, each))
    if hopeless:
        said = sum(way.given_up for way in hopeless)
        print(f"  said 'the bolts cannot do it' on {said} of {len(hopeless)} unreachable machines")


def summary(name: str, ways: list[History]) -> str:
    """The figures of one strategy, in one line."""

    def percent(values: list[bool]) -> str:
        return f"{100 * float(np.mean(values)):.0f}" if values else "-"

    inside = " / ".join(percent([way.inside_after(rounds) for way in ways]) for rounds in (1, 2, 3))
    never = percent([not any(way.inside) for way in ways])
    accepted = [way.accepted is not None for way in ways]
    wrong = percent([way.accepted_wrongly for way in ways if way.accepted is not None])
    moves = [sum(way.moves) for way in ways]
    worse = [after > 1.2 * before for way in ways for before, after in zip(way.spread, way.spread[1:], strict=False)]
    needed = [way.inside.index(True) + 1 if any(way.inside) else len(way.inside) for way in ways]
    hits = [hit for way in ways for hit in way.band_hits]
    times = [t for way in ways for t in way.plan_s]
    text = f"{name:9s} n {len(ways):3d} inside after 1/2/3: {inside} %; never {never} %; rounds {np.median(needed):.0f}"
    text += f"; accepted {percent(accepted)} %, wrongly {wrong} %; moves {np.median(moves):.0f}"
    text += f" / {np.quantile(moves, 0.95):.0f}; worse {percent(worse)} %"
    if name == "advised":
        text += f"; given up {percent([way.given_up for way in ways])} %; truth in predicted band {percent(hits)} %"
        text += f"; {np.median(times):.2f} s a plan (95 %: {np.quantile(times, 0.95):.2f})"
    return text


ROWS = {
    "fixed-50": ("across", 0.05, "usual", False),
    "fixed-25": ("across", 0.025, "usual", False),
    "carried-50": ("along", 0.05, "usual", False),
    "carried-25": ("along", 0.025, "flat table", True),
    "soft": ("across", 0.05, "soft", False),
    "stiff": ("across", 0.05, "stiff", False),
    "one-way": ("across", 0.05, "usual", False),
}


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--machines", type=int, default=200)
    parser.add_argument("--skip", type=int, default=0)
    parser.add_argument("--only", nargs="*", choices=sorted(ROWS))
    parser.add_argument("--layouts", nargs="*", choices=sorted(LAYOUTS))
    parser.add_argument("--strategies", nargs="*", default=["advised", "oracle"], choices=sorted(STRATEGIES))
    args = parser.parse_args()
    install()
    for label in args.only or ROWS:
        set_up, band_mm, ranges, mapped = ROWS[label]
        run(args, label, set_up, band_mm, ranges, mapped)


if __name__ == "__main__":
    main()
