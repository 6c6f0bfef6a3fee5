"""The real view: a stand at the blade, a stand at the spindle, and a level at stops for pitch and roll.

Run: ``python -m tests.benchmarks.real_view --mapped [--machines 200] [--skip 0] [--told] [--on-table] [--weighed]``.
Not a test. The table is 0.3 to 0.5 of the stroke, so no stand sees the ends of it: what the carriage does there, at the
places and over the whole stroke is only known from all set-ups together. Every round sweeps all four, plans, and turns
until the display shows the target.

What counts is the noise-free truth after the last move of a round: the carriage's height at every place (heave, lever
of the pitch, arm of the roll; the form of its top is no bolt's affair) over the whole pass of a board within the band,
and its run over the whole stroke within twice the band (the limit the rail's check uses). ``rise`` also counts the
end-to-end rise against the band itself. Machines whose bolts cannot reach 0.8 of it (true response, Chebyshev) are left
out; those inside at the start are listed apart. ``--told``: the planner is given the true response and has nothing
left to learn: what remains then is what these set-ups do not tell. ``--on-table``: before the first round the pitch
level was set down foot to foot along the table, and what it showed is in machine.yaml. ``--weighed``: before the first
bolt a mass was laid on over both bearings at three parks before either stand.
"""

from __future__ import annotations

import argparse
import time
from collections.abc import Iterator
from contextlib import contextmanager, nullcontext
from dataclasses import dataclass, field, fields, replace
from typing import Any

import numpy as np

from analysis.chebyshev import Group, chebyshev_lifts
from analysis.learn import Learned
from analysis.results import FloatArray, IntArray, Plan
from fixtures.layouts import LAYOUTS, Layout, PlacePlan
from fixtures.workshop import SimMachine, draw_machine
from logger import advice
from logger.advising import ground
from logger.advising.places import STROKE_PART
from logger.judging.on_table import on_table
from logger.machines import Machine
from tests.benchmarks.strategies import recorded, turned_as_said
from tests.benchmarks.workbench import MemoryJob, install, job_for, sweep, weigh

ROUNDS = 5
SET_UPS = ("spindle", "pitch", "roll", "across")  # the stand at the blade last: it is the one turned at
REAL = ("kiln-street", "pairs", "offsets", "mixed", "short", "four-bearings")
STOPS = 14


@dataclass
class Way:
    """One machine's way through the rounds."""

    inside: list[bool] = field(default_factory=list)
    tilt: list[bool] = field(default_factory=list)
    moves: list[int] = field(default_factory=list)
    accepted: int | None = None
    accepted_wrongly: bool = False
    covered: list[bool] = field(default_factory=list)
    plan_s: list[float] = field(default_factory=list)
    note: str = ""

    def after(self, rounds: int, which: str = "inside") -> bool:
        values: list[bool] = getattr(self, which)
        return values[min(rounds, len(values)) - 1]


def places_of(layout: Layout) -> tuple[PlacePlan, ...]:
    """Blade and spindle: the layout's own, and where it has not both, one at the stand beside it."""
    seats, edge = dict(layout.set_ups), layout.carriage.edge_y_mm
    usual = {
        "blade": PlacePlan("blade", seats["across"].x_mm, edge + 30.0),
        "spindle": PlacePlan("spindle", seats["spindle"].x_mm, edge + 100.0),
    }
    return tuple({**usual, **{place.name: place for place in layout.places}}.values())


def drawn(index: int) -> SimMachine:
    """One machine with both places in its layout."""
    layout = LAYOUTS[REAL[index % len(REAL)]]
    return draw_machine(80_000 + index, replace(layout, places=places_of(layout)))


def heights(machine: SimMachine) -> list[tuple[str, FloatArray]]:
    """The truth at every place while a board passes, and over the whole stroke."""
    layout = machine.layout
    grid = np.arange(layout.carriage.stroke_mm[0], layout.carriage.stroke_mm[1] + 1, 20.0)
    found = []
    for place in layout.places:
        s = grid[np.abs(place.x_mm - grid) <= layout.carriage.top_length_mm / 2]
        pose = machine.pose(s)
        found.append((place.name, pose.heave_mm + (place.x_mm - s) * pose.pitch + place.y_mm * pose.roll))
    return [*found, ("the whole stroke", machine.pose(grid).heave_mm)]


def limits(machine: SimMachine, band_mm: float) -> list[float]:
    """What each of ``heights`` may span."""
    return [band_mm for _ in machine.layout.places] + [STROKE_PART * band_mm]


def spans(machine: SimMachine, band_mm: float) -> float:
    """The worst span as a part of its limit: at most 1 is inside."""
    allowed = limits(machine, band_mm)
    return max(float(np.ptp(part)) / limit for (_, part), limit in zip(heights(machine), allowed, strict=True))


def rises(machine: SimMachine) -> float:
    """End-to-end rise of the carriage over the whole stroke, mm, by its least-squares slope."""
    low, high = machine.layout.carriage.stroke_mm
    return abs(machine.truth_tilt_mm_per_m()) * (high - low) / 1000.0


def best(machine: SimMachine, band_mm: float) -> float:
    """The smallest worst span the bolts can reach, as a part of its limit: one programme on the true response; where
    bearings take over from each other a few, each where the last one ended, with shorter reach when it did not help.
    """
    linear = machine.layout.carriage.contact == "least_squares"
    twin, reach, least = machine.copy(), 1.5 if linear else 0.5, spans(machine, band_mm)
    for _ in range(1 if linear else 14):
        lifts, ratio = best_step(twin, band_mm, reach)
        if linear:
            return ratio
        trial = twin.copy()
        trial.thread_mm = twin.thread_mm + lifts
        if spans(trial, band_mm) < least:
            twin, least = trial, spans(trial, band_mm)
        else:
            reach /= 3.0
    return least


def best_step(machine: SimMachine, band_mm: float, reach_mm: float) -> tuple[FloatArray, float]:
    """The lifts (bolts,) of one programme on the true response here, and the worst span it promises."""
    now = np.concatenate([part for _, part in heights(machine)])
    columns = []
    for bolt in machine.bolts:
        twin = machine.copy()
        twin.thread_mm[machine.bolts.index(bolt)] += 0.002
        columns.append((np.concatenate([part for _, part in heights(twin)]) - now) / 0.002)
    groups, start = [], 0
    for (name, part), limit in zip(heights(machine), limits(machine, band_mm), strict=True):
        rows: IntArray = np.arange(start, start + len(part))
        groups.append(Group(name, rows, limit))
        start += len(part)
    reach = np.full(len(columns), reach_mm)
    return chebyshev_lifts(now, np.stack(columns, axis=1), tuple(groups), -reach, reach, cost_per_mm=1e-5)


def round_of(machine: SimMachine, job: MemoryJob) -> Plan:
    """All four set-ups swept and the advice asked for."""
    low, high = job.machine.carriage.stroke_mm
    stops = tuple(float(x) for x in np.linspace(low + 20.0, high - 20.0, STOPS))
    found = [
        sweep(machine, job.machine, name, stations_mm=stops if name in ("pitch", "roll") else ()) for name in SET_UPS
    ]
    job.swept(found)
    return advice.advise(job)  # type: ignore[arg-type]


def laid_on_table(machine: SimMachine, described: Machine) -> Machine:
    """The description with what the pitch level showed along the table, worked out as the command does."""
    given, table = described.set_up("pitch"), described.table
    shown = machine.level_on_table("pitch")
    step = machine.instrument_for("pitch").resolution
    own = np.full(len(shown), step / np.sqrt(12.0))
    found = on_table(described, given, shown, own, (table.from_mm, table.to_mm))
    pitch = given.model_copy(
        update={
            "on_table_mm_per_m": found.slope_mm_per_m,
            "on_table_u_mm_per_m": found.standard_uncertainty_mm_per_m,
        }
    )
    return described.model_copy(update={"set_ups": {**described.set_ups, "pitch": pitch}})


def advised(machine: SimMachine, band_mm: float, mapped: bool, laid: bool = False, weighed: bool = False) -> Way:
    """Rounds as the command line would lead them."""
    job = job_for(machine, band_mm, mapped)
    places = tuple(place.model_copy(update={"peak_to_valley_mm": band_mm}) for place in job.machine.places)
    job.machine = job.machine.model_copy(update={"places": places})
    if laid:
        job.machine = laid_on_table(machine, job.machine)
    if weighed:
        for name in ("spindle", "across"):
            weigh(job, machine.copy(), name)
    way = Way()
    for index in range(ROUNDS):
        start = time.perf_counter()
        plan = round_of(machine, job)
        way.plan_s.append(time.perf_counter() - start)
        truth = {name: float(np.ptp(part)) for name, part in heights(machine)}
        for place in plan.places:
            if place.seen and place.peak_to_valley is not None and place.uncertainty is not None:
                way.covered.append(abs(truth[place.name] - place.peak_to_valley) <= place.uncertainty)
        seen = all(place.verdict == "inside" for place in plan.places) and plan.next == "stop"
        if seen:
            way.accepted, way.accepted_wrongly = index, spans(machine, band_mm) > 1.0
        if plan.next != "turn":
            way.note = f"{plan.next}: {' '.join(plan.why)[:120]}"
            way.inside.append(spans(machine, band_mm) <= 1.0)
            way.tilt.append(rises(machine) <= band_mm)
            way.moves.append(0)
            if plan.next == "stop":
                break
            continue
        made = []
        for move in plan.moves:
            done = turned_as_said(machine, job.machine, move)
            if done.before is not None and done.after is not None:
                made.append(recorded(job.machine, move, done, move.set_up))
        job.turned(made)
        way.moves.append(len(made))
        way.inside.append(spans(machine, band_mm) <= 1.0)
        way.tilt.append(rises(machine) <= band_mm)
    return way


class Told(Learned):
    """What was learned, with the true response of one machine in every draw."""

    machine: SimMachine

    def state_response(self, s_mm: FloatArray) -> FloatArray:
        """Response of (heave, pitch, roll) to the bolts, the same in every draw: (draws, stations, 3, bolts)."""
        s = np.clip(s_mm, *self.machine.layout.carriage.stroke_mm)
        now, columns = self.machine.pose(s), []
        for index in range(len(self.machine.bolts)):
            twin = self.machine.copy()
            twin.thread_mm[index] += 0.01
            then = twin.pose(s)
            moved = (then.heave_mm - now.heave_mm, then.pitch - now.pitch, then.roll - now.roll)
            columns.append(np.stack(moved, axis=1) / 0.01)
        return np.repeat(np.stack(columns, axis=-1)[None], len(self.coordinates), axis=0)

    physics_response = state_response


@contextmanager
def told(machine: SimMachine) -> Iterator[None]:
    """Let the advice know the true response of this machine."""
    really = ground._learned

    def knows(*args: Any, **kwargs: Any) -> Learned:
        learned = really(*args, **kwargs)
        given = Told(**{each.name: getattr(learned, each.name) for each in fields(learned)})
        object.__setattr__(given, "machine", machine)
        return given

    ground._learned = knows
    try:
        yield
    finally:
        ground._learned = really


def oracle(machine: SimMachine, band_mm: float) -> bool:
    """One round with the true response and a perfect hand: what is there to be had (the bound, not a strategy)."""
    return best(machine, band_mm) <= 1.0


def table_part(layout: Layout) -> float:
    """The table's length as a part of the stroke."""
    low, high = layout.carriage.stroke_mm
    return (layout.table.to_mm - layout.table.from_mm) / (high - low)


def main() -> None:
    """Print the figures."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--machines", type=int, default=200)
    parser.add_argument("--skip", type=int, default=0)
    parser.add_argument("--band", type=float, default=0.05)
    parser.add_argument("--mapped", action="store_true", help="the owner has mapped the table along the edge's line")
    parser.add_argument("--told", action="store_true", help="the true response is known")
    parser.add_argument("--on-table", action="store_true", help="the pitch level was laid on the table first")
    parser.add_argument("--weighed", action="store_true", help="a known mass was laid on the carriage first")
    parser.add_argument("--verbose", action="store_true")
    parser.add_argument("--minutes", type=float, default=1e9, help="stop drawing machines after this long")
    parser.add_argument("--only", nargs="*", type=int, help="these machines")
    parser.add_argument("--layouts", nargs="*", choices=REAL, help="of these layouts alone")
    args = parser.parse_args()
    install()
    print("table, part of the stroke: " + ", ".join(f"{key} {table_part(LAYOUTS[key]):.2f}" for key in REAL))
    counts: dict[str, int] = {}
    ways: list[Way] = []
    by_layout: dict[str, list[Way]] = {}
    began = time.monotonic()
    for index in args.only or range(args.skip, args.skip + args.machines):
        if time.monotonic() - began > 60.0 * args.minutes:
            print(f"stopped before machine {index}")
            break
        if args.layouts and REAL[index % len(REAL)] not in args.layouts:
            continue
        machine = drawn(index)
        if spans(machine, args.band) <= 1.0:
            kind = "inside"
        else:
            reach = best(machine, args.band)
            kind = "reachable" if reach <= 0.8 else "unreachable" if reach >= 1.2 else "between"
        counts[kind] = counts.get(kind, 0) + 1
        if kind != "reachable":
            continue
        with told(machine) if args.told else nullcontext():
            way = advised(machine, args.band, args.mapped, args.on_table, args.weighed)
        ways.append(way)
        by_layout.setdefault(machine.layout.key, []).append(way)
        if args.verbose:
            print(index, machine.layout.key, way.inside, way.tilt, way.moves, way.accepted, way.note, flush=True)
    print(counts)
    print(summary("all", ways))
    for key, each in by_layout.items():
        print(summary(key, each))


def summary(name: str, ways: list[Way]) -> str:
    """The figures in two lines."""

    if not ways:
        return f"{name}: none reachable"

    def percent(values: list[bool]) -> str:
        return f"{100 * float(np.mean(values)):.0f}" if values else "-"

    inside = " / ".join(percent([way.after(n) for way in ways]) for n in (1, 2, 3))
    tilt = " / ".join(percent([way.after(n, "tilt") for way in ways]) for n in (1, 2, 3))
    moves = [sum(way.moves) for way in ways]
    accepted = percent([way.accepted is not None for way in ways])
    wrong = percent([way.accepted_wrongly for way in ways if way.accepted is not None])
    covered = percent([hit for way in ways for hit in way.covered])
    times = [each for way in ways for each in way.plan_s]
    return (
        f"{name}, n {len(ways)}: places and whole stroke inside after 1/2/3: {inside} %; rise over the stroke within "
        f"the band {tilt} %; accepted {accepted} %, wrongly {wrong} %; moves {np.median(moves):.0f} / "
        f"{np.quantile(moves, 0.95):.0f}; truth inside ± at the places {covered} %; {np.median(times):.1f} s a round"
    )


if __name__ == "__main__":
    main()
