"""How many rounds until the saw is true: the advice on simulated machines, beside an oracle and common practice.

Run: ``python -m tests.benchmarks.machines [--machines 200] [--only fixed-50] [--into table.txt]``. Not a test. The saws
are ``fixtures.workshop``'s (finite elements, ranges that do not match the prior's), swept by its uneven hand, judged by
the production analysis, turned until the display shows the target, lock nut and all.

Every row's machines are drawn in blocks, one row after another, and the table so far is printed after each block (and
written to ``--into``): a run that is stopped early says what it has. Reachable: the truth's best at most 0.8 of the
band; unreachable: at least 1.2; between them and inside at the start: listed, not counted.
"""

from __future__ import annotations

import argparse
from dataclasses import dataclass, field, replace
from pathlib import Path

import numpy as np

from fixtures.layouts import LAYOUTS
from fixtures.workshop import SimMachine, draw_machine
from tests.benchmarks.strategies import History, advised, oracle, practice
from tests.benchmarks.workbench import MemoryJob, feel, install, job_for, weigh

ORDINARY = ("kiln-street", "pairs", "offsets", "mixed", "short", "cage")
STRATEGIES = {"advised": advised, "oracle": oracle, "practice": practice}
FIRST_SEED = 50_000


@dataclass(frozen=True)
class Row:
    """One row of the table: what is swept, the band, how the machines differ."""

    set_up: str
    band_mm: float
    ranges: str = "usual"
    mapped: bool = False
    layouts: tuple[str, ...] = ORDINARY
    felt: bool = False
    weighed: bool = False
    wanted: str = ""


ROWS = {
    "fixed-50": Row("across", 0.05, wanted="70 / 94 / 97 %, never < 1 %, moves 2 / 8"),
    "fixed-25": Row("across", 0.025, wanted="55 / 92 / 98 %, never within 1 point of the oracle"),
    "carried-50": Row("along", 0.05, wanted="60 / 94 / 98 %"),
    "carried-50-mapped": Row("along", 0.05, mapped=True, wanted="60 / 94 / 98 %"),
    "carried-25": Row("along", 0.025, mapped=True, wanted="40 / 80 / 92 %, table mapped"),
    "soft": Row("across", 0.05, "soft", wanted="95 % after 3"),
    "stiff": Row("across", 0.05, "stiff", wanted="95 % after 3"),
    "one-way": Row(
        "across",
        0.05,
        layouts=("rests",),
        felt=True,
        wanted="never < 5 %; feet felt before the first bolt; the oracle knows which carry",
    ),
    "one-way-not-felt": Row("across", 0.05, layouts=("rests",), wanted="never < 5 %"),
    "four-bearings": Row(
        "across", 0.05, layouts=("four-bearings",), wanted="95 % after 3; the oracle knows which bearings carry"
    ),
}

ROWS |= {
    f"{name}-weighed": replace(ROWS[name], weighed=True)
    for name in ("fixed-50", "fixed-25", "carried-50", "carried-25", "soft", "stiff")
}
"""The same with a mass of 25 kg laid on over both bearings at three parks before the first bolt, as the advice asks."""


@dataclass
class Tally:
    """What became of one row's machines."""

    ways: dict[str, list[History]]
    counts: dict[str, int] = field(default_factory=dict)
    hopeless: list[History] = field(default_factory=list)


def kind_of(machine: SimMachine, row: Row) -> str:
    """Inside already, reachable, unreachable, or between."""
    band = replace(machine.layout.band, peak_to_valley_mm=row.band_mm)
    if machine.truth_inside(row.set_up, band):
        return "inside"
    best = machine.best_possible(row.set_up, band).peak_to_valley_mm
    return "reachable" if best <= 0.8 * row.band_mm else "unreachable" if best >= 1.2 * row.band_mm else "between"


def add(tally: Tally, row: Row, first: int, count: int) -> None:
    """Take ``count`` more machines through every strategy."""
    for index in range(first, first + count):
        machine = draw_machine(FIRST_SEED + index, row.layouts[index % len(row.layouts)], row.ranges)
        kind = kind_of(machine, row)
        tally.counts[kind] = tally.counts.get(kind, 0) + 1
        if kind == "unreachable":
            job = _job(machine, row)
            tally.hopeless.append(advised(machine.copy(), job, row.set_up, row.band_mm))
        if kind == "reachable":
            for name, ways in tally.ways.items():
                job = _job(machine, row)
                ways.append(STRATEGIES[name](machine.copy(), job, row.set_up, row.band_mm))


def _job(machine: SimMachine, row: Row) -> MemoryJob:
    job = job_for(machine, row.band_mm, row.mapped)
    if row.felt:
        feel(job, machine)
    if row.weighed:
        weigh(job, machine.copy(), row.set_up)
    return job


def lines_of(label: str, row: Row, tally: Tally) -> list[str]:
    """The row as text."""
    counts = ", ".join(f"{count} {kind}" for kind, count in sorted(tally.counts.items()))
    out = [f"{label}: {counts}   (wanted: {row.wanted})"]
    out += ["  " + summary(name, ways) for name, ways in tally.ways.items() if ways]
    if tally.ways.get("advised"):
        out.append("  " + honesty(tally))
    if tally.ways.get("advised") and tally.ways.get("practice"):
        ours, theirs = (np.mean([_rounds(way) for way in tally.ways[name]]) for name in ("advised", "practice"))
        out.append(
            f"  one bolt a round needs {theirs / ours:.1f} times the rounds (those that never get there as tried)"
        )
    return out


def percent(values: list[bool]) -> str:
    """A share in whole percent; a dash where there is nothing."""
    return f"{100 * float(np.mean(values)):.0f}" if values else "-"


def rounds_worse(ways: list[History]) -> tuple[list[bool], list[bool]]:
    """Of every round, whether the peak to valley grew by more than a fifth, and whether the machine was also outside
    its band afterwards: a round that brings the mean to height may spend some of a band that is kept.
    """
    worse, spoiled = [], []
    for way in ways:
        for before, after, inside in zip(way.spread, way.spread[1:], way.inside, strict=False):
            worse.append(after > 1.2 * before)
            spoiled.append(worse[-1] and not inside)
    return worse, spoiled


def _rounds(way: History) -> int:
    return way.inside.index(True) + 1 if any(way.inside) else len(way.inside)


def _moves_until_inside(way: History) -> int:
    """Bolts turned until the truth is inside and stays there; all of them where it never does."""
    outside = [index for index, inside in enumerate(way.inside) if not inside]
    return sum(way.moves[: outside[-1] + 2]) if outside else sum(way.moves[:1])


def summary(name: str, ways: list[History]) -> str:
    """The figures of one strategy, in one line."""
    inside = " / ".join(percent([way.inside_after(rounds) for way in ways]) for rounds in (1, 2, 3))
    moves, until = [sum(way.moves) for way in ways], [_moves_until_inside(way) for way in ways]
    worse, spoiled = rounds_worse(ways)
    never = percent([not way.inside[-1] for way in ways])
    text = f"{name:9s} n {len(ways):3d} inside after 1 / 2 / 3: {inside} %; never {never} %"
    text += f"; moves until inside {np.median(until):.0f} / {np.quantile(until, 0.95):.0f}, until it is accepted "
    text += f"{np.median(moves):.0f} / {np.quantile(moves, 0.95):.0f}; a round worse by a fifth {percent(worse)} %, "
    text += f"and then outside {percent(spoiled)} %"
    times = [seconds for way in ways for seconds in way.plan_s]
    return text + (f"; {np.median(times):.2f} s a plan (95 %: {np.quantile(times, 0.95):.2f})" if times else "")


def honesty(tally: Tally) -> str:
    """What the advice said of itself against what was so."""
    ways, hopeless = tally.ways["advised"], tally.hopeless
    soon = percent([way.accepted is not None and way.accepted <= 5 for way in ways])
    wrong = percent([way.accepted_wrongly for way in [*ways, *hopeless] if way.accepted is not None])
    hits = percent([hit for way in ways for hit in way.band_hits])
    stations = [part for way in ways for part in way.station_hits]
    said = sum(way.given_up for way in hopeless)
    text = f"accepted within 5 rounds {soon} %, wrongly {wrong} %; truth inside the shown 95 % bands: "
    text += f"stations {100 * np.mean(stations):.0f} %, peak to valley {hits} %; " if stations else "-; "
    text += f"'bolts cannot do it' said of {said} of {len(hopeless)} unreachable"
    return text + f", wrongly of {sum(way.given_up for way in ways)} of {len(ways)} reachable"


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--machines", type=int, default=200)
    parser.add_argument("--block", type=int, default=24)
    parser.add_argument("--skip", type=int, default=0)
    parser.add_argument("--only", nargs="*", choices=sorted(ROWS))
    parser.add_argument("--layouts", nargs="*", choices=sorted(LAYOUTS))
    parser.add_argument("--strategies", nargs="*", default=list(STRATEGIES), choices=sorted(STRATEGIES))
    parser.add_argument("--into", type=Path)
    args = parser.parse_args()
    install()
    rows = {label: ROWS[label] for label in args.only or ROWS}
    if args.layouts:
        rows = {label: replace(row, layouts=tuple(args.layouts)) for label, row in rows.items()}
    tallies = {label: Tally({name: [] for name in args.strategies}) for label in rows}
    for first in range(0, args.machines, args.block):
        for label, row in rows.items():
            add(tallies[label], row, args.skip + first, min(args.block, args.machines - first))
            text = "\n".join(lines_of(label, row, tallies[label]))
            print(text, flush=True)
            if args.into is not None:
                table = ["\n".join(lines_of(name, rows[name], tallies[name])) for name in rows if tallies[name].counts]
                args.into.write_text("\n".join(table) + "\n")


if __name__ == "__main__":
    main()
