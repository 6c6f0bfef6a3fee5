"""What the analysis needs to know, taken from the machine, the journal and the recordings.

Why it exists: the analysis works on arrays and knows no files; the job knows files and no physics. This is the one
place where a ``Machine`` becomes a ``Bench`` and a job's rounds become changes and lifts. It prevents a sweep from
before the last moves being taken for the state of the machine: what belongs to which round is the journal's order,
nothing else.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np

from analysis.carriage import Carriage
from analysis.gaps import GRAVITY_m_s2
from analysis.level import OnTable
from analysis.prior import Bench, Prior, Spread
from analysis.response import SetUp, Table
from analysis.results import Findings, FloatArray
from analysis.rounds import Parked, Round, Sweep, Turn
from analysis.units import height_from_reading
from logger.errors import NotAllowed, NotUnderstood
from logger.findings import surface_under
from logger.judging.found import findings_of

if TYPE_CHECKING:
    from logger import machines
    from logger.job import Job, TurnedBolt

_findings_of = findings_of  # where a job is kept in memory, something else takes its place

UNKNOWN_I_mm4 = 8e5  # a rail of the usual size, where nothing is said of its section (common practice, no source)
UNKNOWN_J_mm4 = 1.2e6
THREAD_LEFT_mm = 3.0  # where travel_mm is not given (common practice, no source)
SMALLEST_MOVE_mm = 0.01  # what a hand can still do on purpose (common practice, no source)
SMALLEST_TURN = 1.0 / 120.0  # guided by a display: 10 mm at the end of a 200 mm wrench
COARSEST_mm = 0.01  # of displays that are used for this (common practice, no source)
PARKED_LIFT_PART, PARKED_LIFT_mm = 1.5, 0.3  # standard uncertainty of a lift that only a display stopped
PARKED_READING_mm = 0.0015  # standard uncertainty of one parked reading beside its resolution (common practice)


@dataclass(frozen=True)
class State:
    """The rounds of a job as the analysis sees them, and the findings of the last sweeps by set-up.

    ``turned_since``: bolts turned after those sweeps (then a new sweep is needed).
    """

    rounds: tuple[Round, ...]
    number: int
    current: dict[str, Findings]
    turned_since: tuple[TurnedBolt, ...]
    warnings: tuple[str, ...] = ()
    last_set_up: str = ""
    previous: dict[str, Findings] = field(default_factory=dict)


def carriage_of(machine: machines.Machine) -> Carriage:
    """The carriage; on an intermediate cage the bearings are the cage's, which stands mid-rail at mid-stroke."""
    carriage = machine.carriage
    low, high = (float(end) for end in carriage.stroke_mm)
    return Carriage(
        bearing_offsets_mm=tuple(float(offset) for offset in carriage.bearing_offsets_mm),
        stroke_mm=(low, high),
        top_length_mm=float(carriage.top_length_mm),
        edge_y_mm=float(carriage.edge_y_mm),
        mass_kg=float(carriage.mass_kg),
        bearing_N_mm=carriage.bearing_stiffness_N_per_mm,
        travel_ratio=0.5 if carriage.cage else 1.0,
        cage_middle_mm=0.5 * (low + high) - 0.25 * (high - low) if carriage.cage else None,
    )


def bench_of(machine: machines.Machine) -> Bench:
    """What the machine's description says of rail, supports and carriage; unknown sections are guessed and doubted."""
    rail = machine.rail
    known = rail.bending_I_mm4 is not None and rail.torsion_J_mm4 is not None
    return Bench(
        x_mm=np.array([bolt.x_mm for bolt in machine.bolts], dtype=np.float64),
        y_mm=np.array([bolt.y_mm for bolt in machine.bolts], dtype=np.float64),
        EI=float(rail.young_N_per_mm2 * (rail.bending_I_mm4 or UNKNOWN_I_mm4)),
        GJ=float(rail.shear_N_per_mm2 * (rail.torsion_J_mm4 or UNKNOWN_J_mm4)),
        carriage=carriage_of(machine),
        section_known=known,
        stiffness_N_mm=np.array([bolt.stiffness_N_per_mm or np.nan for bolt in machine.bolts], dtype=np.float64),
        one_way=np.array([bolt.kind == "rest_only" for bolt in machine.bolts]),
        clamped=np.array([bolt.kind == "clamped" for bolt in machine.bolts]),
        rail_mm=(float(rail.from_mm), float(rail.to_mm)),
        rail_N_mm=GRAVITY_m_s2 * float(rail.line_mass_kg_per_m) / 1000.0,
        brace_mm=tuple((float(brace.x_mm), float(brace.y_mm)) for brace in machine.braces if brace.tight),
    )


def prior_of(machine: machines.Machine) -> Prior:
    """The beliefs about this machine before anything is turned."""
    return Prior(bench_of(machine), Spread())


def set_up_of(machine: machines.Machine, name: str) -> SetUp:
    """One set-up for the analysis. NotAllowed where it does not see heights or tilts (an indicator held sideways)."""
    given = machine.set_up(name)
    if given.direction != "height":
        raise NotAllowed(
            f"Set-up {name} reads sideways, and the support bolts move the carriage up and down.",
            "Sweep a set-up that reads heights, pitch or roll.",
        )
    return SetUp(
        kind=given.kind,
        x_mm=float(given.x_mm or 0.0),
        offset_mm=float(given.offset_mm or 0.0),
        y_mm=None if given.y_mm is None else float(given.y_mm),
        axis=given.axis or "pitch",
    )


def table_of(machine: machines.Machine) -> Table:
    """The table's extent and its first opening."""
    openings = machine.table.insert_mm
    opening = (float(openings[0][0]), float(openings[0][1])) if openings else None
    return Table(float(machine.table.from_mm), float(machine.table.to_mm), opening)


def travel_of(machine: machines.Machine, rounds: Iterable[Round]) -> tuple[FloatArray, FloatArray]:
    """How far each bolt can still go down and up (bolts,), from its thread less what was turned since."""
    used = np.zeros(len(machine.bolts))
    for record in rounds:
        for turn in record.turns:
            used[turn.bolt] += turn.lift_mm
    down = np.array([b.travel_mm[0] if b.travel_mm is not None else THREAD_LEFT_mm for b in machine.bolts])
    up = np.array([b.travel_mm[1] if b.travel_mm is not None else THREAD_LEFT_mm for b in machine.bolts])
    return np.minimum(-down - used, 0.0), np.maximum(up - used, 0.0)


def smallest_of(machine: machines.Machine) -> FloatArray:
    """The smallest move worth asking of a hand, per bolt (bolts,)."""
    return np.array([max(SMALLEST_MOVE_mm, SMALLEST_TURN * bolt.travel_per_turn_mm) for bolt in machine.bolts])


def state_of(job: Job, made_so_far: Sequence[TurnedBolt] = ()) -> State:
    """Rounds, findings and doubts of a job. NotAllowed where nothing has been swept."""
    records = job.rounds()
    if not any(record.sweeps for record in records):
        raise NotAllowed("There is no sweep in this job yet.", "Record one: truestroke sweep --set-up ...")
    warnings: list[str] = []
    found = [_findings_of(job, record.sweeps, warnings) for record in records]
    last = max(index for index, findings in enumerate(found) if findings) if any(found) else -1
    if last < 0:
        raise NotUnderstood("Nothing can be made of the sweeps of this job.", " ".join(warnings))
    turned = [list(record.turned) for record in records]
    turned[last] += [move for move in made_so_far if move not in turned[last]]  # some may be in the journal already
    rounds = tuple(
        Round(
            {name: sweep_of(job.machine, each) for name, each in findings.items() if _reads_heights(job.machine, name)},
            tuple(turn_of(job.machine, move, _swept_before(found, index)) for move in moves if _known(job, move)),
            records[index].visit,
        )
        for index, (findings, moves) in enumerate(zip(found, turned, strict=True))
    )
    since = tuple(move for record in records[last:] for move in record.turned)
    return State(
        rounds=rounds,
        number=records[last].number,
        current=found[last],
        turned_since=since,
        warnings=tuple(dict.fromkeys(warnings)),
        last_set_up=list(found[last])[-1],
        previous=found[last - 1] if last and records[last - 1].visit == records[last].visit else {},
    )


def sweep_of(machine: machines.Machine, findings: Findings) -> Sweep:
    """A set-up's profile for the analysis."""
    profile = findings.profile
    return Sweep(
        set_up_of(machine, findings.set_up),
        profile.x_mm,
        profile.value,
        profile.covariance,
        profile.zero_known,
        on_table_of(machine.set_up(findings.set_up)),
    )


def on_table_of(given: machines.SetUp) -> OnTable | None:
    """What a level showed lying on the table, in the sense and over the zero its sweeps are in; None where not said."""
    if given.on_table_mm_per_m is None:
        return None
    shown = height_from_reading(given.on_table_mm_per_m, "level", given.zero_mm_per_m, given.sense)
    return OnTable(float(shown), float(given.on_table_u_mm_per_m))


def turn_of(machine: machines.Machine, move: TurnedBolt, swept: str) -> Turn:
    """A recorded turn. One known by the display alone says what the reading did; its lift is left to the estimate.

    How far the thread went is hardly known then: where the bolt does less there than was thought, a hand that waits
    for its target turns on. Believing the lift that was said would be learning the response that was believed.
    """
    bolt = [each.name for each in machine.bolts].index(machine.bolt(move.bolt).name)
    parked = parked_of(machine, move, swept)
    if parked is None or move.form != "parked":
        return Turn(bolt, move.raise_mm, max(0.5 * move.uncertainty_mm, 1e-4), parked)
    return Turn(bolt, move.raise_mm, max(PARKED_LIFT_PART * abs(move.raise_mm), PARKED_LIFT_mm), parked)


def parked_of(machine: machines.Machine, move: TurnedBolt, swept: str) -> Parked | None:
    """The parked readings of a move as a change of the set-up's quantity; None where there are none."""
    if move.park_mm is None or move.before is None or move.after is None:
        return None
    name = move.set_up or swept
    given = machine.set_up(name)
    change = height_from_reading(move.after, given.kind, 0.0, given.sense) - height_from_reading(
        move.before, given.kind, 0.0, given.sense
    )
    doubt = parked_doubt(move.before, move.after, given.kind)
    zero = given.zero_mm_per_m if given.kind == "level" else given.zero_mm
    before = None
    if zero is not None:
        surface = surface_under(machine, given, np.array([float(move.park_mm)]))
        before = height_from_reading(move.before, given.kind, zero, given.sense)
        before = float(before + (0.0 if surface is None else surface[0][0]))
    return Parked(set_up_of(machine, name), float(move.park_mm), float(change), doubt, before)


def parked_doubt(before: float, after: float, kind: str) -> float:
    """Standard uncertainty of the difference of two parked readings, their display's step included."""
    steps = [step for value in (before, after) if (step := last_digit(value)) is not None]
    scale = 1.0 if kind != "level" else 5.0
    step = min([*steps, COARSEST_mm * scale])  # 0.120 beside 0.113 shows thousandths: the finest figure of the two
    return float(np.hypot(np.sqrt(2.0) * PARKED_READING_mm * scale, step / np.sqrt(6.0)))


def last_digit(value: float) -> float | None:
    """The step of the display, guessed from a reading's last digit: 0.01 for 0.36, 0.001 for 0.365."""
    text = f"{abs(value):.4f}".rstrip("0")
    decimals = len(text.split(".")[1])
    return None if decimals == 0 else max(10.0**-decimals, 1e-3)


def _swept_before(found: Sequence[dict[str, Findings]], index: int) -> str:
    for findings in reversed(found[: index + 1]):
        if findings:
            return list(findings)[-1]
    return next(next(iter(findings)) for findings in found if findings)


def _reads_heights(machine: machines.Machine, name: str) -> bool:
    return name in machine.set_ups and machine.set_up(name).direction == "height"


def _known(job: Job, move: TurnedBolt) -> bool:
    return any(bolt.name.casefold() == move.bolt.casefold() for bolt in job.machine.bolts)
