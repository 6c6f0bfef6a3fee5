"""A job in memory: a simulated saw swept, judged and turned through the production analysis and advice, without a disk.

Why it exists: hundreds of machines through the command line would take hours; only the wire, the files and the clock
are left out here. Positions, profile, verdict, learning, planning and wording are the ones people use.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np

from analysis.positions import Evidence
from analysis.results import Findings
from analysis.sweeps import Geometry, SweepData, profile_of
from analysis.uncertainty import extremes
from fixtures.workshop import SimMachine
from logger import advice_inputs
from logger.findings import _not_seen, _verdict, windows_of
from logger.job import Round, TurnedBolt
from logger.machines import Machine, machine_from_text


@dataclass
class MemoryJob:
    """What ``logger.advice`` asks of a job: the machine and its rounds; findings are kept by sweep name."""

    machine: Machine
    kept: dict[str, Findings] = field(default_factory=dict)
    records: list[Round] = field(default_factory=list)

    def rounds(self) -> list[Round]:
        return list(self.records)

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


def find_in_memory(job: MemoryJob, sweeps: Sequence[str], warnings: list[str]) -> dict[str, Findings]:
    """Takes the place of reading the recordings of a round."""
    return {job.kept[name].set_up: job.kept[name] for name in sweeps}


def install() -> None:
    """Let the advice read findings from memory jobs."""
    advice_inputs._findings_of = find_in_memory  # type: ignore[assignment]


def job_for(machine: SimMachine, band_mm: float, mapped: bool = False) -> MemoryJob:
    """The owner's description of a simulated saw, with this peak-to-valley band."""
    text = machine.machine_yaml(mapped)
    described = machine_from_text(text, "machine.yaml")
    band = described.band.model_copy(update={"peak_to_valley_mm": band_mm})
    return MemoryJob(described.model_copy(update={"band": band}))


def sweep(machine: SimMachine, described: Machine, name: str, passes: int = 2) -> Findings:
    """Push the simulated carriage, and judge what its instrument said by the production analysis."""
    swept = machine.sweep(name, passes=passes, source="encoder", rate_hz=50.0)
    given = described.set_up(name)
    zero = (given.zero_mm_per_m if given.kind == "level" else given.zero_mm) or 0.0
    sign = machine.set_up(name).sign
    low, high = (float(x) for x in described.carriage.stroke_mm)
    windows = tuple(windows_of(described, given))
    said = np.isfinite(swept.value)
    silent = ~said
    quantity = "height" if given.kind != "level" else given.axis
    evidence = Evidence(
        t_s=swept.t_s[said],
        height=sign * (swept.value[said] - zero),
        stroke_mm=(low, high),
        windows=windows,
        passes=passes,
        counted_mm=swept.position_mm[said],
        no_value_t_s=swept.t_s[silent],
        no_value_counted_mm=swept.position_mm[silent],
        mark_t_s=np.zeros(0),
        stations_mm=(),
        at_zero_mm=None,
        accept=frozenset(),
    )
    geometry = Geometry(
        stroke_mm=(low, high),
        windows=windows,
        quantity=quantity,  # type: ignore[arg-type]
        unit="mm" if quantity == "height" else "mm/m",
        zero_known=quantity == "height",
        resolution=machine.instrument_for(name).resolution,
        tip_falls={"fixed": -1, "carried": 1}.get(given.kind, 0),
    )
    outcome = profile_of([SweepData("sweep", evidence)], geometry)
    profile = outcome.profile
    ends = extremes(profile.x_mm, profile.value, profile.covariance, profile.zero_known)
    return Findings(
        set_up=name,
        sweeps=("sweep",),
        position_source=outcome.source,
        profile=profile,
        extremes=ends,
        straightness=(),
        spots=(),
        verdict=_verdict(described, profile, ends),
        not_seen=_not_seen(described, name, profile),
        warnings=outcome.warnings,
    )
