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
from typing import TYPE_CHECKING, Protocol

from logger.description.channels import ChannelFilter, OneChannel
from logger.errors import NotAllowed
from logger.rail_picture import Seen
from logger.tui.asked import Beeper, Page, Parts, SourceSpec
from logger.tui.drawing import meaning_of
from logger.tui.feed import Feed, Meaning, Source

if TYPE_CHECKING:
    from analysis.units import SetUpKind
    from logger.checks.board import Board
    from logger.instruments import Instrument
    from logger.job import Job
    from logger.link.beside_asked import Asked
    from logger.machines import Machine, SetUp
    from logger.tui.tour import Tour


class SweepSource(Source, Protocol):
    """The write side of a recorder that a sweep needs besides its read side."""

    def mark(self) -> None: ...
    def note_gap(self) -> None: ...
    def stop(self, how: str = "operator") -> None: ...


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
    beside: tuple[tuple[str, str, str], ...] = ()
    """Other instruments of the next sweep: port, instrument, set-up (``position``: an encoder)."""
    recorded_beside: tuple[tuple[Asked, Path], ...] = ()
    """Those of the sweep that is open, and where they are recorded."""
    clock: Callable[[], float] = time.monotonic
    wall: Callable[[], time.struct_time] = time.localtime
    seen: Seen = field(default_factory=Seen)
    board: Board | None = None
    trust: str = "few"
    sound_on: bool = False
    bell: Callable[[], object] = lambda: None
    page: Page | None = None
    _beeper: Beeper | None = None

    def take_job(self, job: Job | None) -> None:
        """Another job is open now: what belongs to the one before is forgotten, what was plugged in here comes back."""
        self.job = job
        self.seen, self.board, self.stations_mm, self.beside = Seen(), None, (), ()
        if job is None or self.tour is not None:
            return
        known = next((r for r in self.parts.recent() if Path(r.folder) == job.folder.absolute()), None)
        if known is not None:
            self.port = self.port or known.port
            self.instrument_name = self.instrument_name or known.instrument
            self.set_up_name = self.set_up_name or known.set_up
        self.remember()

    def remember(self) -> None:
        """Put the job at the head of the list of recent ones, with what is plugged in."""
        if self.job is not None and self.tour is None:
            self.parts.remember(self.job, self.port, self.instrument_name, self.set_up_name)

    def forget_what_was_found(self) -> None:
        """Something was written down: board and findings are worked out anew when they are next shown."""
        self.seen, self.board = Seen(), None

    def hear(self, distance_mm: float | None, inside: bool) -> None:
        """Give the sound which way and how close, where it is on."""
        if self.sound_on:
            if self._beeper is None:
                self._beeper = self.parts.beeper(self.bell)
            if self._beeper is not None:
                self._beeper.update(distance_mm, inside)

    def open_phone(self) -> Page:
        """The page for a phone, opened where it is not yet."""
        if self.page is None:
            self.page = self.parts.phone()
        return self.page

    def close_phone(self) -> None:
        """No phone looks on any more."""
        if self.page is not None:
            self.page.close()
            self.page = None

    def hush(self) -> None:
        """Silence: the live view is left, or the sound was turned off."""
        if self._beeper is not None:
            self._beeper.close()
            self._beeper = None

    @property
    def machine(self) -> Machine:
        """The job's machine; NotAllowed where there is no job."""
        if self.job is None:
            raise NotAllowed("No job is open.", "Open one from the start page, or make one there with n.")
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
            raise NotAllowed("No instrument is chosen.", "Press i on the board: it listens and finds it.")
        return self.parts.load_instrument(self.instrument_name)

    def fitting_instrument(self) -> Instrument:
        """The chosen instrument; NotAllowed where it does not speak what the set-up wants."""
        set_up, instrument = self.set_up(), self.instrument()
        if (set_up.kind == "level") != (instrument.base_unit == "mm/m"):
            raise NotAllowed(
                f"Set-up '{self.set_up_name}' wants {'a level' if set_up.kind == 'level' else 'an indicator'}, and "
                f"{instrument.name} speaks {instrument.unit}.",
                "Choose another set-up or another instrument.",
            )
        return instrument

    def types(self) -> bool:
        """Whether the chosen instrument has no wire: its readings are typed."""
        return bool(self.instrument_name) and self.instrument().frame == "typed"

    def meaning(self) -> Meaning:
        """How display figures become heights with the chosen instrument and set-up."""
        return meaning_of(self.set_up(), self.instrument().step)

    def open_feed(self, folder: Path | None = None, *, sweep: bool = False) -> Feed:
        """Open the chosen port and read from it; PortError if it cannot be opened.

        What is only watched (live, turning) is recorded too, beside the sweeps: nothing from a wire is lost.
        """
        if self.types():
            raise NotAllowed(
                f"{self.instrument_name} has no wire: it is typed.", "Press i on the board, then s to type its sweep."
            )
        if not self.port:
            raise NotAllowed("No port is chosen.", "Press i on the board: it finds the instrument.")
        set_up, instrument = self.set_up(), self.fitting_instrument()
        if folder is None and self.job is not None:
            folder = self.job.next_recording_folder(self.set_up_name, "live")
        self.recorded_beside = ()
        if sweep and self.beside and self.job is not None and folder is not None:
            self.recorded_beside = self.parts.beside(self.job, self, folder)
        spec = SourceSpec(
            self.port,
            instrument,
            self.set_up_name,
            self.machine,
            folder,
            self.stations() if sweep else (),
            self.passes if sweep else 0,
            "sweep" if sweep else "live",
            self.recorded_beside,
        )
        return Feed(self.parts.start(spec), self.meaning(), self.clock, ChannelFilter(set_up, instrument))

    def open_stream(self, name: str, unit: str, folder: Path | None = None) -> Feed:
        """Open the chosen port for a check (``name``): the display's own figures, for no set-up stands behind them.

        ``unit``: what the check reads, ``mm`` or ``mm/m``. ``folder`` None: in the job's next one. NotAllowed where the
        instrument speaks another, PortError where the port cannot be opened.
        """
        instrument = self.instrument()
        if self.types() or not self.port:
            raise NotAllowed("No instrument with a wire is chosen.", "Press i on the board: it finds it.")
        if instrument.base_unit != unit:
            wanted = "an indicator" if unit == "mm" else "a level"
            raise NotAllowed(f"{instrument.name} speaks {instrument.unit}, and {wanted} is wanted.", "Choose another.")
        if folder is None and self.job is not None:
            folder = self.job.next_recording_folder(name, "live")
        spec = SourceSpec(self.port, instrument, name, self.machine, folder)
        kind: SetUpKind = "fixed" if unit == "mm" else "level"
        step = instrument.step if instrument.step is not None else (0.001 if unit == "mm" else 0.01)
        meaning = Meaning(unit, kind, resolution=step)
        return Feed(self.parts.start(spec), meaning, self.clock, OneChannel(instrument))

    def close_feed(self, feed: Feed) -> None:
        """Let the port go."""
        self.parts.stop(feed.source)

    def time_of_day(self) -> str:
        """``10:51``: only for the eye."""
        return time.strftime("%H:%M", self.wall())
