"""What the screens share: the job, what is plugged in, and the calls to the parts below.

Why it exists: screens ask questions ("what was found?", "plan the rest") and this is the one place that knows which
part answers. Slow answers (``look``, ``note_turned``) are plain calls here; the screens run them in a thread. It
prevents a screen from reading files or ports by itself.
"""

from __future__ import annotations

import time
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal, Protocol

from analysis.results import Move
from logger.errors import NotAllowed
from logger.rail_picture import Seen
from logger.tui.drawing import meaning_of
from logger.tui.feed import Feed, Meaning, Source

if TYPE_CHECKING:
    from logger.instruments import Instrument
    from logger.job import Job
    from logger.machines import Machine, SetUp
    from logger.recording import Recording
    from logger.tui.tour import Tour


class SweepSource(Source, Protocol):
    """The write side of a recorder that a sweep needs besides its read side."""

    def mark(self) -> None: ...
    def note_gap(self) -> None: ...
    def stop(self, how: str = "operator") -> None: ...


@dataclass(frozen=True, slots=True)
class SourceSpec:
    """What a screen asks a recorder for: all is written to ``folder`` first; None (no job open) only shows."""

    port: str
    instrument: Instrument
    set_up: str
    machine: Machine
    folder: Path | None = None
    stations_mm: tuple[float, ...] = ()
    passes: int = 0
    kind: Literal["sweep", "live"] = "live"


class Parts(Protocol):
    """The parts below the screen. The real ones are in ``logger.tui.parts``; tests hand in small ones."""

    def ports(self) -> list[tuple[str, str]]: ...
    def instruments(self) -> list[str]: ...
    def load_instrument(self, name: str) -> Instrument: ...
    def start(self, spec: SourceSpec) -> Any: ...
    def stop(self, source: Any) -> None: ...
    def look(self, job: Job) -> Seen: ...
    def note_sweep(self, job: Job, folder: Path, set_up: str) -> None: ...
    def note_turned(self, job: Job, made: Made) -> None: ...
    def open_recording(self, job: Job, name: str) -> Recording: ...
    def replay(self, recording: Recording, speed: float) -> Any: ...


@dataclass(frozen=True, slots=True)
class Made:
    """One bolt as it was really turned: the display before and after its lock nut, mm or mm/m."""

    move: Move
    before: float
    after: float
    set_up: str


@dataclass
class Session:
    """One sitting at the machine."""

    parts: Parts
    job: Job | None = None
    tour: Tour | None = None
    port: str = ""
    instrument_name: str = ""
    set_up_name: str = ""
    stations_mm: tuple[float, ...] = ()
    passes: int = 2
    clock: Callable[[], float] = time.monotonic
    wall: Callable[[], time.struct_time] = time.localtime
    seen: Seen = field(default_factory=Seen)

    @property
    def machine(self) -> Machine:
        """The job's machine; NotAllowed where there is no job."""
        if self.job is None:
            raise NotAllowed("No job is open.", "Make one with 'truestroke new my-saw' and start there.")
        return self.job.machine

    def set_up(self) -> SetUp:
        """The chosen set-up, the first of the machine where none was chosen."""
        machine = self.machine
        if not machine.set_ups:
            raise NotAllowed("machine.yaml describes no set-up.", "Add one under set_ups, as across or along.")
        if self.set_up_name not in machine.set_ups:
            self.set_up_name = next(iter(machine.set_ups))
        return machine.set_ups[self.set_up_name]

    def stations(self) -> tuple[float, ...]:
        """Where marks are made: as typed, else nine evenly over the stroke, on whole ten millimetres."""
        if self.stations_mm:
            return self.stations_mm
        first, last = self.machine.carriage.stroke_mm
        inner = [round((first + (last - first) * i / 8) / 10) * 10.0 for i in range(1, 8)]
        return (first, *inner, last)

    def instrument(self) -> Instrument:
        """The chosen instrument; NotAllowed where none was chosen."""
        if not self.instrument_name:
            raise NotAllowed("No instrument is chosen.", "Choose one on the start screen, with the arrow keys.")
        return self.parts.load_instrument(self.instrument_name)

    def meaning(self) -> Meaning:
        """How display figures become heights with the chosen instrument and set-up."""
        return meaning_of(self.set_up(), self.instrument().step)

    def open_feed(self, folder: Path | None = None, *, sweep: bool = False) -> Feed:
        """Open the chosen port and read from it; PortError if it cannot be opened.

        What is only watched (live, turning) is recorded too, beside the sweeps: nothing from a wire is lost.
        """
        if not self.port:
            raise NotAllowed("No port is chosen.", "Choose one on the start screen, or type it with o.")
        set_up, instrument = self.set_up(), self.instrument()
        if folder is None and self.job is not None:
            folder = self.job.next_recording_folder(self.set_up_name, "live")
        if (set_up.kind == "level") != (instrument.base_unit == "mm/m"):
            raise NotAllowed(
                f"Set-up '{self.set_up_name}' wants {'a level' if set_up.kind == 'level' else 'an indicator'}, and "
                f"{instrument.name} speaks {instrument.unit}.",
                "Choose another set-up or another instrument.",
            )
        spec = SourceSpec(
            self.port,
            instrument,
            self.set_up_name,
            self.machine,
            folder,
            self.stations() if sweep else (),
            self.passes if sweep else 0,
            "sweep" if sweep else "live",
        )
        return Feed(self.parts.start(spec), self.meaning(), self.clock)

    def close_feed(self, feed: Feed) -> None:
        """Let the port go."""
        self.parts.stop(feed.source)

    def time_of_day(self) -> str:
        """``10:51``: only for the eye."""
        return time.strftime("%H:%M", self.wall())
