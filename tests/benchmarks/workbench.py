"""A job in memory: a simulated saw swept, judged and turned through the production analysis and advice, without a disk.

Why it exists: hundreds of machines through the command line would take hours; only the wire, the files and the clock
are left out here. Positions, profile, verdict, learning, planning and wording are the ones people use.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np

from analysis.results import Findings, FloatArray
from fixtures.loading import loaded
from fixtures.workshop import SimMachine
from logger.advising import inputs
from logger.advising.loading import LaidOn, parked_load, where_to_lay
from logger.advising.seats import felt_data
from logger.findings import find
from logger.instruments import Instrument, instrument_from_text
from logger.job import Round, TurnedBolt
from logger.journal import JournalEntry
from logger.machines import Machine, machine_from_text


@dataclass
class MemoryJob:
    """What ``logger.advice`` asks of a job: the machine and its rounds; findings are kept by sweep name."""

    machine: Machine
    kept: dict[str, Findings] = field(default_factory=dict)
    records: list[Round] = field(default_factory=list)
    entries: list[JournalEntry] = field(default_factory=list)

    def rounds(self) -> list[Round]:
        return list(self.records)

    def standing_entries(self) -> list[JournalEntry]:
        return list(self.entries)

    def recordings(self, kind: str = "sweep") -> list[object]:
        return []

    def swept(self, found: Sequence[Findings]) -> None:
        """A new round begins with these findings."""
        names = []
        for each in found:
            names.append(f"{each.set_up}:{len(self.records) + 1}")
            self.kept[names[-1]] = each
        self.records.append(Round(len(self.records) + 1, tuple(names), ()))

    def turned(self, moves: Sequence[TurnedBolt]) -> None:
        """The moves that ended the last round."""
        last = self.records[-1]
        self.records[-1] = Round(last.number, last.sweeps, (*last.turned, *moves))


def feel(job: MemoryJob, machine: SimMachine) -> None:
    """Leaves under every foot before the first bolt, the carriage in the middle of its stroke."""
    low, high = job.machine.carriage.stroke_mm
    middle = 0.5 * (low + high)
    data = felt_data(job.machine, machine.feel_feet(middle), middle)
    job.entries.append(JournalEntry("1", "2026-01-01T08:00:00+00:00", "", "seats", data))


def weigh(job: MemoryJob, machine: SimMachine, set_up: str, mass_kg: float = 25.0) -> None:
    """A mass laid on where the command says, the display read without and with it."""
    for park_mm, places_mm in where_to_lay(job.machine, set_up):
        for x_mm in places_mm:
            before = machine.reading(set_up, park_mm)
            after = loaded(machine, mass_kg, x_mm - park_mm).reading(set_up, park_mm)
            if before is None or after is None:
                continue
            data = parked_load(job, [LaidOn(mass_kg, x_mm, before, after)], park_mm, set_up)  # type: ignore[arg-type]
            job.entries.append(JournalEntry("1", "2026-01-01T08:00:00+00:00", "", "load", data))


def find_in_memory(job: MemoryJob, sweeps: Sequence[str], warnings: list[str]) -> dict[str, Findings]:
    """Takes the place of reading the recordings of a round."""
    return {job.kept[name].set_up: job.kept[name] for name in sweeps}


def install() -> None:
    """Let the advice read findings from memory jobs."""
    inputs._findings_of = find_in_memory  # type: ignore[assignment]


def job_for(machine: SimMachine, band_mm: float, mapped: bool = False) -> MemoryJob:
    """The owner's description of a simulated saw, with this peak-to-valley band."""
    text = machine.machine_yaml(mapped)
    described = machine_from_text(text, "machine.yaml")
    band = described.band.model_copy(update={"peak_to_valley_mm": band_mm})
    return MemoryJob(described.model_copy(update={"band": band}))


INSTRUMENT = """
name: invented display
link: {{baud: 115200}}
frame: line
pattern: '^(?P<value>[+-]?\\d+\\.\\d+)$'
unit: {unit}
resolution: {step:g}
examples: [{{bytes: "+0.123\\n", value: 0.123}}]
"""


@dataclass(frozen=True)
class MemoryRecording:
    """What ``logger.findings`` asks of a recording, without its folder."""

    machine: Machine
    set_up: str
    instrument: Instrument
    unit: str
    passes: int
    t_s: FloatArray
    value: FloatArray
    position_mm: FloatArray
    no_value_t_s: FloatArray
    no_value_position_mm: FloatArray
    mark_t_s: FloatArray
    stations_mm: tuple[float, ...]
    name: str = "sweep"
    warnings: tuple[str, ...] = ()
    channels: tuple[str, ...] = ("",)
    position_from: str = ""
    index_t_s: FloatArray = field(default_factory=lambda: np.zeros(0))
    index_position_mm: FloatArray = field(default_factory=lambda: np.zeros(0))


def sweep(
    machine: SimMachine, described: Machine, name: str, passes: int = 2, stations_mm: tuple[float, ...] = ()
) -> Findings:
    """Push the simulated carriage, and judge what its instrument said as every command does.

    ``stations_mm``: stop there and mark, as a level must (and for want of an encoder); else an encoder tells.
    """
    source = "stops" if stations_mm else "encoder"
    swept = machine.sweep(name, passes=passes, source=source, stations_mm=stations_mm, rate_hz=50.0)
    said = np.isfinite(swept.value)
    unit = "mm/m" if described.set_up(name).kind == "level" else "mm"
    step = machine.instrument_for(name).resolution
    recording = MemoryRecording(
        machine=described,
        set_up=name,
        instrument=instrument_from_text(INSTRUMENT.format(unit=unit, step=step), "invented display"),
        unit=unit,
        passes=passes,
        t_s=swept.t_s[said],
        value=swept.value[said],
        position_mm=swept.position_mm[said],
        no_value_t_s=swept.t_s[~said],
        no_value_position_mm=swept.position_mm[~said],
        index_t_s=np.zeros(0),
        index_position_mm=np.zeros(0),
        mark_t_s=swept.mark_t_s,
        stations_mm=stations_mm,
    )
    return find([recording])  # type: ignore[list-item]
