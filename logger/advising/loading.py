"""A known mass laid on the machine: as it is typed, as the journal keeps it, as the analysis takes it.

Why it exists: what a mass moves is the only evidence of stiffness there is before a bolt is turned. It prevents a mass
in pounds taken for kilograms, one laid where nothing reads, and a display that was knocked from becoming a soft rail.

Grammar::

    load = mass unit "@" x ":" before ".." after [unit]     unit of mass: kg, g, lb; of the display: mm, in, thou, mm/m
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

import numpy as np

from analysis.load import Loaded, Moved, load_response, moved_by_load
from analysis.response import seen_by_geometry
from analysis.results import Findings, FloatArray
from analysis.rounds import Sweep, ZERO_mm, onto, thinned
from analysis.units import height_from_reading
from logger.advising import inputs
from logger.advising.turned import MM_PER
from logger.errors import NotAllowed

if TYPE_CHECKING:
    from analysis.prior import Prior
    from logger.job import Job
    from logger.machines import Machine

KG_PER = {"kg": 1.0, "g": 1e-3, "lb": 0.45359237}
"""The pound by definition (international yard and pound agreement, 1959)."""
LEAST_kg, MOST_kg = 0.5, 150.0
"""Less moves nothing that can be read; more no carriage is meant to carry (common practice, no source)."""
EXAMPLE = "20kg@1300:+0.120..+0.112mm"
ROWS = 8
"""Stations of a loaded sweep that learning looks at: a load moves a rail smoothly."""
TOO_MUCH = 4.0
"""So many times the width of what can be beyond its edges: then it is the display that moved. The softest of simulated
saws went 2.1 times the width beyond, and theirs is the reading that is wanted most."""
PARK_INSIDE_mm = 20.0
"""So far from the ends of what a set-up reads the carriage is parked to be loaded."""
EITHER_WAY = 0.25
"""Where what can be reaches this part of itself to the other side of nothing, no direction is the wrong one."""
LN_POSSIBLE = 0.95
"""Standard deviation of a bracket's ln stiffness where everything possible is to count as much as what is common."""

_NUMBER = r"[+\-−]?\d{1,6}(?:[.,]\d{1,6})?"
_LOAD = re.compile(
    rf"(?P<mass>{_NUMBER})(?P<of>kg|g|lb)@(?P<x>{_NUMBER}):(?P<before>{_NUMBER})\.\.(?P<after>{_NUMBER})(?P<unit>[a-z/]*)"
)


@dataclass(frozen=True, slots=True)
class LaidOn:
    """One mass laid on with the carriage parked: the display without and with it, own sign, mm or mm/m."""

    mass_kg: float
    x_mm: float
    before: float
    after: float


def parse(text: str, machine: Machine) -> LaidOn:
    """One mass as typed. NotAllowed saying which part is wrong."""
    matched = _LOAD.fullmatch(text.strip())
    if matched is None:
        raise NotAllowed(f"'{text[:60]}' is not understood as a load.", f"Write {EXAMPLE}: mass@where:without..with.")
    unit = matched["unit"] or "mm"
    if unit != "mm/m" and unit not in MM_PER:
        raise NotAllowed(f"'{text[:60]}': the unit '{unit}' is not known.", "Allowed: mm, in, thou, mm/m.")
    scale = MM_PER.get(unit, 1.0)
    mass = checked_mass(_value(matched["mass"]) * KG_PER[matched["of"]])
    return LaidOn(mass, _value(matched["x"]), _value(matched["before"]) * scale, _value(matched["after"]) * scale)


def _every_possible(prior: Prior) -> Prior:
    """The prior with brackets from possible ones evenly, where it believes most in common ones."""
    return replace(prior, spread=replace(prior.spread, ln_stiffness_all=LN_POSSIBLE, stiffness_tail=0.0))


def checked_mass(mass_kg: float) -> float:
    if not LEAST_kg <= mass_kg <= MOST_kg:
        raise NotAllowed(
            f"A mass of {mass_kg:g} kg is not of use here.",
            f"Allowed: {LEAST_kg:g} to {MOST_kg:g} kg; 10 to 30 is usual.",
        )
    return mass_kg


def parked_load(
    job: Job, laid: Sequence[LaidOn], park_mm: float, set_up: str, y_mm: float = 0.0, on_rail: bool = False
) -> dict[str, Any]:
    """The journal's data of masses laid on one after another. NotAllowed where they cannot be, or nothing reads there.

    What the display did is held against every stiffness that can be: the wrong sign, or far too much, is refused.
    """
    machine = job.machine
    _it_can_be(machine, laid, park_mm, set_up, y_mm, on_rail)
    data = {
        "form": "parked",
        "set_up": set_up,
        "park_mm": park_mm,
        "y_mm": y_mm,
        "on": "rail" if on_rail else "carriage",
        "readings": [{"mass_kg": e.mass_kg, "x_mm": e.x_mm, "before": e.before, "after": e.after} for e in laid],
    }
    prior = _every_possible(inputs.prior_of(machine))
    draws = prior.draw(60)
    for each, typed in zip(_parked_in(machine, data), laid, strict=True):
        expected = load_response(prior, draws, each)[:, 0]
        low, high = (float(edge) for edge in np.quantile(expected, [0.02, 0.98]))
        change, doubt = float(each.change[0]), 3.0 * float(np.sqrt(each.covariance[0, 0]))
        most, least = max(-low, high), min(-low, high)  # reach to either side of nothing
        wrong_way = change * (low + high) < 0 and abs(change) > doubt + 0.25 * max(abs(low), abs(high))
        wrong_way &= least < EITHER_WAY * most
        if wrong_way or not low - TOO_MUCH * (high - low) - doubt <= change <= high + TOO_MUCH * (high - low) + doubt:
            unit = each.set_up.unit
            raise NotAllowed(
                f"{typed.mass_kg:g} kg at {typed.x_mm:g} mm should move the carriage by {low:+.3f} to {high:+.3f} "
                f"{unit} there; the display says {change:+.3f} {unit}.",
                "Check the set-up's sense, the unit, and whether the stand was touched; nothing was recorded.",
            )
    return data


def _it_can_be(
    machine: Machine, laid: Sequence[LaidOn], park_mm: float, set_up: str, y_mm: float, on_rail: bool
) -> None:
    carriage = inputs.carriage_of(machine)
    low, high = carriage.stroke_mm
    if not low <= park_mm <= high:
        raise NotAllowed(
            f"Parked at {park_mm:g} mm is outside the stroke ({low:g} to {high:g} mm).",
            "Say where the carriage's middle stands.",
        )
    given = inputs.set_up_of(machine, set_up)
    if not seen_by_geometry(given, carriage, inputs.table_of(machine), np.array([park_mm]))[0]:
        raise NotAllowed(f"At {park_mm:g} mm set-up {set_up} reads nothing.", "Park where the indicator touches.")
    half = 0.5 * carriage.top_length_mm
    for each in laid:
        if on_rail and not machine.rail.from_mm <= each.x_mm <= machine.rail.to_mm:
            raise NotAllowed(
                f"{each.x_mm:g} mm is off the rail ({machine.rail.from_mm:g} to {machine.rail.to_mm:g}).",
                "The number after @ is where the mass lay, as x of the machine.",
            )
        if not on_rail and abs(each.x_mm - park_mm) > half:
            raise NotAllowed(
                f"{each.x_mm:g} mm is off the carriage's top, which reaches from {park_mm - half:g} to "
                f"{park_mm + half:g} mm when it is parked at {park_mm:g}.",
                "The number after @ is where the mass lay, as x of the machine.",
            )
    if not abs(y_mm) <= 1000.0:
        raise NotAllowed(
            f"--y {y_mm:g} is not on the carriage.", "y counts from the rail's middle line, + toward the table."
        )


def where_to_lay(machine: Machine, set_up: str) -> tuple[tuple[float, tuple[float, ...]], ...]:
    """(park_mm, places of the mass as x_mm) that tell most for the work: both ends and the middle of the stretch the
    set-up reads, over the first and over the last bearing at each; none for a set-up that reads nothing.
    """
    carriage = inputs.carriage_of(machine)
    low, high = carriage.stroke_mm
    s_mm = np.arange(low, high + 1.0, 10.0)
    given, table = inputs.set_up_of(machine, set_up), inputs.table_of(machine)
    seen = s_mm[seen_by_geometry(given, carriage, table, s_mm)]
    if not len(seen):
        return ()
    wanted = np.linspace(seen[0] + PARK_INSIDE_mm, seen[-1] - PARK_INSIDE_mm, 3)
    parks = dict.fromkeys(float(seen[np.argmin(np.abs(seen - each))]) for each in wanted)
    offsets = dict.fromkeys((carriage.bearing_offsets_mm[0], carriage.bearing_offsets_mm[-1]))
    return tuple((park, tuple(park + float(offset) for offset in offsets)) for park in parks)


def loads_of(job: Job, warnings: list[str] | None = None) -> tuple[Loaded, ...]:
    """Every load of the journal as evidence; entries that are damaged or no longer fit the machine are said."""
    entries = getattr(job, "standing_entries", None)
    if entries is None:  # a job in memory keeps no journal
        return ()
    said = [] if warnings is None else warnings
    found: list[Loaded] = []
    for entry in entries():
        if entry.kind != "load":
            continue
        try:
            data = entry.data
            found += _parked_in(job.machine, data) if data.get("form") == "parked" else [_swept_in(job, data, said)]
        except (NotAllowed, KeyError, TypeError, ValueError) as fault:
            said.append(f"A load of {entry.time[:10]} cannot be used and is left out: {fault}")
    return tuple(found)


def _parked_in(machine: Machine, data: Mapping[str, Any]) -> list[Loaded]:
    name = data["set_up"]
    given, set_up = machine.set_up(name), inputs.set_up_of(machine, name)
    out = []
    for each in data["readings"]:
        before, after = float(each["before"]), float(each["after"])
        change = height_from_reading(after, given.kind, 0.0, given.sense) - height_from_reading(
            before, given.kind, 0.0, given.sense
        )
        doubt = inputs.parked_doubt(before, after, given.kind)
        out.append(
            Loaded(
                set_up,
                checked_mass(float(each["mass_kg"])),
                np.array([float(data["park_mm"])]),
                np.array([float(each["x_mm"])]),
                float(data.get("y_mm", 0.0)),
                np.array([float(change)]),
                np.array([[float(doubt) ** 2]]),
                on_rail=data.get("on") == "rail",
            )
        )
    return out


# --- a sweep with a load ----------------------------------------------------------------------------------------------


def swept_load(
    job: Job, sweep: str, empty: Sequence[str], mass_kg: float, ahead_mm: float, y_mm: float
) -> tuple[dict[str, Any], Moved]:
    """The journal's data of a sweep with a load, and what the load moves. NotAllowed where the two do not compare."""
    checked_mass(mass_kg)
    data: dict[str, Any] = {"form": "sweep", "sweep": sweep, "empty": list(empty)}
    data |= {"mass_kg": mass_kg, "ahead_mm": ahead_mm, "y_mm": y_mm}
    said: list[str] = []
    _, _, moved = _compared(job, data, said)
    return data, moved


def _swept_in(job: Job, data: Mapping[str, Any], said: list[str]) -> Loaded:
    with_load, _, moved = _compared(job, data, said)
    keep = np.unique(np.linspace(0, len(moved.s_mm) - 1, ROWS).round().astype(int))
    s_mm = moved.s_mm[keep]
    zero = 2.0 * ZERO_mm**2  # the zero may have been set again between the two
    return Loaded(
        with_load.set_up,
        checked_mass(float(data["mass_kg"])),
        s_mm,
        s_mm + float(data.get("ahead_mm", 0.0)),
        float(data.get("y_mm", 0.0)),
        moved.change[keep],
        moved.covariance[np.ix_(keep, keep)] + zero,
    )


def _compared(job: Job, data: Mapping[str, Any], said: list[str]) -> tuple[Sweep, Sweep, Moved]:
    from logger.judging.found import findings_of

    heavy = findings_of(job, [str(data["sweep"])], said)
    if not heavy:
        raise NotAllowed(f"Sweep {data['sweep']} cannot be judged. {' '.join(said)}", "Sweep it again with the load.")
    name, findings = next(iter(heavy.items()))
    light = findings_of(job, [str(each) for each in data["empty"]], said)
    if name not in light:
        raise NotAllowed(
            f"There is no empty sweep in set-up {name} of the same state to compare {data['sweep']} with.",
            f"Sweep {name} empty and with the load, nothing turned between.",
        )
    if findings.profile.unit != "mm":
        raise NotAllowed(f"{data['sweep']} is a level's.", "Sweep a set-up that reads heights with the load on.")
    one, other = _heights(job, findings), _heights(job, light[name])
    few = thinned(one, 40)
    value, covariance, held = onto(other, few.s_mm)
    if held.sum() < 5:
        raise NotAllowed(f"{data['sweep']} and the empty sweep have no stretch in common.", "Sweep both alike.")
    at = np.flatnonzero(held)
    moved = moved_by_load(
        few.s_mm[at], value[at], few.value[at], covariance[np.ix_(at, at)], few.covariance[np.ix_(at, at)]
    )
    return one, other, moved


def _heights(job: Job, findings: Findings) -> Sweep:
    sweep = inputs.sweep_of(job.machine, findings)
    return replace(sweep, covariance=sweep.covariance + 1e-7 * np.eye(len(sweep.s_mm)))


def empty_sweeps(job: Job, sweep: str) -> tuple[str, ...]:
    """The other sweeps of the state in which ``sweep`` was made."""
    for record in job.rounds():
        if sweep in record.sweeps:
            return tuple(name for name in record.sweeps if name != sweep)
    raise NotAllowed(f"{sweep} is no sweep of this job's rounds.", "Name one that the journal has, by its number.")


# --- what it says of the supports -------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Stiffness:
    """How stiff the supports are believed to be: median and 95 in 100, in kN/mm, before and with the evidence."""

    before_kN_per_mm: tuple[float, float, float]
    now_kN_per_mm: tuple[float, float, float]


def stiffness_of(job: Job, loads: Iterable[Loaded]) -> Stiffness:
    """The supports' mean stiffness from loads alone: low, median, high."""
    from analysis.learn import Changes, Lifts, learn
    from analysis.prior import rails

    prior = inputs.prior_of(job.machine)
    none = Lifts(np.zeros(0, np.int64), np.zeros(0), np.zeros(0))
    nothing = Changes(np.zeros(0), np.zeros((0, 3)), np.zeros(0), np.zeros((0, 0)), np.zeros((0, 0)))
    learned = learn(prior, none, nothing, 100, loads=tuple(loads))

    def spread(coordinates: FloatArray) -> tuple[float, float, float]:
        rail, _ = rails(prior, coordinates)
        own = np.einsum("dii->di", rail.compliance)
        low, middle, high = np.quantile(1.0 / own.mean(axis=1) / 1000.0, [0.025, 0.5, 0.975])
        return float(low), float(middle), float(high)

    return Stiffness(spread(prior.draw(100)), spread(learned.coordinates))


def _value(text: str) -> float:
    return float(text.replace("−", "-").replace(",", "."))
