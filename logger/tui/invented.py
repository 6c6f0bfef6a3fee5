"""Invented measurements of the Kiln Street workshop's panel saw, for pictures and tests of the screen.

Why it exists: a picture must be the same today and tomorrow, so it cannot come from a port. Every number here is made
up and belongs to no machine; the screens that show them are the real ones.
"""

from __future__ import annotations

import time
from collections.abc import Awaitable, Callable
from dataclasses import dataclass, field
from importlib import resources
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from analysis.results import Extremes, Findings, FloatArray, Move, PlaceFinding, Plan, Predicted, Profile, Spot, Verdict
from logger.errors import NotAllowed, TruestrokeError
from logger.rail_picture import Seen
from logger.readings import LinkLost, Mark, Reading, Record
from logger.tui import OpenOn
from logger.tui.app import TruestrokeApp
from logger.tui.session import Made, Session, SourceSpec

if TYPE_CHECKING:
    from textual.pilot import Pilot

    from logger.instruments import Instrument
    from logger.job import Job
    from logger.machines import Machine
    from logger.recording import Recording

TIME = time.struct_time((2026, 3, 14, 10, 51, 0, 5, 73, 0))


def invented_height(x_mm: FloatArray) -> FloatArray:
    """The carriage's height over the stroke: a hollow near B2, a hump behind the spindle."""
    return (
        0.098
        + 0.058 * np.exp(-(((x_mm - 1500) / 210) ** 2))
        - 0.052 * np.exp(-(((x_mm - 760) / 190) ** 2))
        + 0.006 * np.sin(x_mm / 170)
    )


def invented_findings() -> Findings:
    """Findings of an invented sweep in the set-up across."""
    x = np.arange(500.0, 1701.0, 20.0)
    value = invented_height(x)
    spread = np.where(x > 1640, 0.02, 0.004)
    profile = Profile(
        "height", "mm", x, value, spread, np.diag((spread / 2) ** 2), True, ((-300.0, 500.0), (1700.0, 2900.0))
    )
    high, low = int(np.argmax(value)), int(np.argmin(value))
    width = float(value[high] - value[low])
    return Findings(
        set_up="across",
        sweeps=("0007-across",),
        position_source="marks",
        profile=profile,
        extremes=Extremes(width, 0.004, float(np.mean(value)), 0.003),
        straightness=(),
        spots=(
            Spot("high", float(x[high]), float(value[high]), 0.004, 1380.0, 1620.0),
            Spot("low", float(x[low]), float(value[low]), 0.004, 640.0, 880.0),
        ),
        verdict=Verdict("outside", width, 0.004, None, 0.05, "mm", "0.106 minus its ± is above 0.050."),
        not_seen=("before 500 and after 1700: the carriage does not cover the indicator",),
    )


def invented_plan(moves: int = 2) -> Plan:
    """A plan of an invented round."""
    x = np.arange(500.0, 1701.0, 20.0)
    all_moves = (
        Move(
            1,
            "B3",
            0.09,
            0.06,
            0.36,
            "1/16 clockwise from below",
            760.0,
            0.050,
            0.089,
            0.050,
            0.089,
            0.008,
            "mm",
            "across",
        ),
        Move(
            2,
            "B4",
            -0.06,
            -0.04,
            -0.24,
            "1/25 anticlockwise from below",
            1500.0,
            0.157,
            0.118,
            0.157,
            0.118,
            0.007,
            "mm",
            "across",
        ),
    )
    return Plan(
        round=1,
        set_up="across",
        verdict=Verdict("outside", 0.106, 0.004, None, 0.05, "mm"),
        next="turn" if moves else "sweep",
        next_set_up=None,
        reachable=True,
        best_possible_peak_to_valley=0.021,
        best_possible_uncertainty=0.009,
        unseen_bolts=("B6",),
        moves=all_moves[:moves],
        predicted=Predicted(0.036, 0.014, 0.1, 0.88, x, 0.1 + (invented_height(x) - 0.1) * 0.3, np.full(x.size, 0.01)),
        places=(PlaceFinding("spindle", "cannot tell", 0.019, 0.009, 0.025, True),),
        not_seen=(),
        warnings=(),
        why=(
            "The low place is at 760; B3 lifts it most for the least travel, for the carriage rides on its bearings.",
        ),
    )


@dataclass
class InventedSource:
    """A source that gives what it was loaded with, once; the read and write side of a recorder."""

    queue: list[Record] = field(default_factory=list)
    state: str = "receiving"
    readings: int = 0
    garbage: int = 0
    gaps: int = 0
    marks: int = 0
    latest: Reading | None = None
    stopped: str = ""
    error: TruestrokeError | None = None

    def drain(self) -> list[Record]:
        """What was loaded since the last call."""
        records, self.queue = self.queue, []
        for record in records:
            if isinstance(record, Reading):
                self.readings += 1
                self.latest = record
            elif isinstance(record, Mark):
                self.marks += 1
            elif isinstance(record, LinkLost):
                self.state = "lost"
        return records

    def mark(self) -> None:
        """The operator's key."""
        self.queue.append(Mark(self.latest.t_ns if self.latest else 0))

    def note_gap(self) -> None:
        """The operator's other key."""
        self.gaps += 1

    def stop(self, how: str = "operator") -> None:
        """Asked to end."""
        self.stopped = how

    def say(self, value: float, *, start_s: float = 0.0, seconds: float = 0.6, position: float | None = None) -> None:
        """Load a steady stretch of readings at 50 a second."""
        for i in range(int(seconds * 50) + 1):
            self.queue.append(Reading(round((start_s + i / 50) * 1e9), value, "mm", "", position))


@dataclass
class InventedParts:
    """The parts below the screen, invented."""

    source: InventedSource = field(default_factory=InventedSource)
    seen: Seen = field(default_factory=lambda: Seen(invented_findings(), invented_plan(), None, "today 10:51"))
    turned: list[Made] = field(default_factory=list)
    swept: list[str] = field(default_factory=list)

    def ports(self) -> list[tuple[str, str]]:
        return [("/dev/ttyUSB0", "USB serial"), ("/dev/ttyACM0", "sensor node")]

    def instruments(self) -> list[str]:
        return ["indicator-line", "level-line"]

    def load_instrument(self, name: str) -> Instrument:
        from logger.instruments import load_instrument

        return load_instrument(name)

    def start(self, spec: SourceSpec) -> Any:
        return self.source

    def stop(self, source: Any) -> None:
        return None

    def look(self, job: Job) -> Seen:
        return Seen(self.seen.findings, invented_plan(0), None, self.seen.when) if self.turned else self.seen

    def note_sweep(self, job: Job, folder: Path, set_up: str) -> None:
        self.swept.append(folder.name)

    def note_turned(self, job: Job, made: Made) -> None:
        self.turned.append(made)

    def open_recording(self, job: Job, name: str) -> Recording:
        raise NotAllowed(f"There is no recording '{name}' here.", "These are invented data.")

    def replay(self, recording: Recording, speed: float) -> Any:
        return self.source


@dataclass
class InventedJob:
    """Enough of a job for the screens."""

    machine: Machine
    folder: Path = Path("kiln-street")

    def recordings(self, kind: str = "sweep") -> list[Path]:
        """Names only."""
        return [Path("sweeps/0006-across"), Path("sweeps/0007-across")] if kind == "sweep" else []

    def next_recording_folder(self, set_up: str, kind: str = "sweep") -> Path:
        """Where the next one would go."""
        return Path("sweeps/0008-across")


def invented_machine() -> Machine:
    """The Kiln Street panel saw, as shipped in ``hardware/machines``."""
    from logger.machines import machine_from_text

    text = resources.files("hardware").joinpath("machines", "kiln-street.yaml").read_text(encoding="utf-8")
    return machine_from_text(text, "kiln-street.yaml")


class Clock:
    """A clock that stands until it is moved."""

    def __init__(self) -> None:
        self.now_s = 100.0

    def __call__(self) -> float:
        return self.now_s


def invented_app(
    *, parts: InventedParts | None = None, plain: bool = False, dark: bool = False, units: str = "mm", tour: Any = None
) -> TruestrokeApp:
    """The real app on invented data with a clock that stands."""
    session = Session(
        parts=parts or InventedParts(),
        job=InventedJob(invented_machine()),  # type: ignore[arg-type]
        port="/dev/ttyUSB0",
        instrument_name="indicator-line",
        set_up_name="across",
        stations_mm=(0.0, 325.0, 650.0, 975.0, 1300.0, 1625.0, 1950.0, 2275.0, 2600.0),
        clock=Clock(),
        wall=lambda: TIME,
        tour=tour,
    )
    return TruestrokeApp(session, plain=plain, units=units, dark=dark, on=OpenOn())


def source_of(app: TruestrokeApp) -> InventedSource:
    """The invented source behind an invented app."""
    assert isinstance(app.session.parts, InventedParts)
    return app.session.parts.source


def pass_time(app: TruestrokeApp, seconds: float) -> None:
    """Move the standing clock on and let the open screen draw one frame."""
    assert isinstance(app.session.clock, Clock)
    app.session.clock.now_s += seconds
    tick = getattr(app.screen, "tick", None)
    if tick is not None:
        tick()


async def scene_live(app: TruestrokeApp, pilot: Pilot[Any]) -> None:
    """The plain live view, inside."""
    app.session.seen = Seen(invented_findings(), invented_plan(), None, "")
    app.open_live()
    await pilot.pause()
    source_of(app).say(0.058, seconds=0.3)
    source_of(app).say(0.166, start_s=0.4, seconds=0.3)
    source_of(app).say(0.104, start_s=1.0)
    pass_time(app, 0.5)
    pass_time(app, 0.5)
    await pilot.pause()


async def scene_findings(app: TruestrokeApp, pilot: Pilot[Any]) -> None:
    """Findings with two moves."""
    app.open_findings()
    await app.workers.wait_for_complete()
    await pilot.pause()


async def scene_turn(app: TruestrokeApp, pilot: Pilot[Any]) -> None:
    """Turning B3, not there yet."""
    await scene_findings(app, pilot)
    await pilot.press("enter", "y")
    await pilot.pause()
    source_of(app).say(0.050, seconds=0.7)
    pass_time(app, 0.5)
    source_of(app).say(0.076, start_s=2.0, seconds=0.7)
    pass_time(app, 0.5)
    pass_time(app, 0.5)
    await pilot.pause()


async def scene_sweep(app: TruestrokeApp, pilot: Pilot[Any]) -> None:
    """A first pass that has come as far as the hump."""
    app.open_sweep()
    await pilot.pause()
    source = source_of(app)
    for i, x in enumerate(np.arange(0.0, 1480.0, 4.0)):
        t_ns = round(i * 0.02 * 1e9)
        value = float(invented_height(np.array([x]))[0]) if x >= 500 else -2.3
        if any(abs(x - station) < 2.5 for station in app.session.stations()) and source.queue:
            source.queue.append(Mark(t_ns))
        source.queue.append(Reading(t_ns, value, "mm", "", float(x)))
    source.queue.insert(0, Mark(0))
    pass_time(app, 0.2)
    pass_time(app, 10.0)
    source.say(0.156, start_s=8.0, seconds=0.2, position=1480.0)
    pass_time(app, 0.2)
    await pilot.pause()


SCENES: dict[str, Callable[[TruestrokeApp, Pilot[Any]], Awaitable[None]]] = {
    "live": scene_live,
    "turn": scene_turn,
    "sweep": scene_sweep,
    "findings": scene_findings,
}
