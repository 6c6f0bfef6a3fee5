"""Invented measurements of the Kiln Street workshop's panel saw, for pictures and tests of the screen.

Why it exists: a picture must be the same today and tomorrow, so it cannot come from a port. Every number here is made
up and belongs to no machine; the screens that show them are the real ones.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from importlib import resources
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from analysis.results import Findings, Predicted
from logger.errors import NotAllowed, TruestrokeError
from logger.job import Job
from logger.journal import Journal, JournalContents, JournalEntry
from logger.rail_picture import Seen
from logger.readings import LinkLost, Mark, Reading, Record, TakenBack
from logger.tui import OpenOn
from logger.tui.app import TruestrokeApp
from logger.tui.asked import Heard, Made, SourceSpec, SweepRow
from logger.tui.invented_numbers import invented_findings, invented_height, invented_plan
from logger.tui.parts_job import JobParts
from logger.tui.session import Session

if TYPE_CHECKING:
    from logger.advising.response import Responses
    from logger.checks.board import Board
    from logger.instruments import Instrument
    from logger.machines import Machine
    from logger.recent_jobs import RecentJob
    from logger.recording import Recording

TIME = time.struct_time((2026, 3, 14, 10, 51, 0, 5, 73, 0))


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
    beside: list[Any] = field(default_factory=list)

    def drain(self) -> list[Record]:
        """What was loaded since the last call."""
        records, self.queue = self.queue, []
        for record in records:
            if isinstance(record, Reading):
                self.readings += 1
                self.latest = record
            elif isinstance(record, Mark):
                self.marks += 1
            elif isinstance(record, TakenBack):
                self.marks -= 1
            elif isinstance(record, LinkLost):
                self.state = "lost"
        return records

    def mark(self) -> None:
        """The operator's key."""
        self.queue.append(Mark(self.latest.t_ns if self.latest else 0))

    def take_back(self) -> None:
        self.queue.append(TakenBack(self.latest.t_ns if self.latest else 0))

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


class MemoryJournal(Journal):
    """A journal that writes no file: what is appended is kept in a list."""

    def __init__(self, entries: tuple[JournalEntry, ...] = ()) -> None:
        super().__init__(Path("journal.jsonl"))
        self.kept = list(entries)

    def append(self, kind: str, data: dict[str, Any]) -> JournalEntry:
        entry = JournalEntry(f"{len(self.kept):012x}", "2026-03-14T10:51:00.000Z", "sam", kind, data, len(self.kept))
        self.kept.append(entry)
        return entry

    def read(self) -> JournalContents:
        return JournalContents(tuple(self.kept), ())


class InventedJob(Job):
    """A job in no folder: its journal is in memory, its sweeps are names."""

    def recordings(self, kind: str = "sweep") -> list[Path]:
        return [Path("sweeps/0006-across"), Path("sweeps/0007-across")] if kind == "sweep" else []

    def next_recording_folder(self, set_up: str, kind: str = "sweep") -> Path:
        return Path("sweeps/0008-across")


def invented_job(*, taken: bool = False) -> InventedJob:
    """The Kiln Street saw; ``taken``: with some checks done before today, one of them stale."""
    return InventedJob(Path("kiln-street"), invented_machine(), MemoryJournal(_taken_before() if taken else ()))


def _taken_before() -> tuple[JournalEntry, ...]:
    rows = (
        ("condition", 0.0, 0.0, "inside"),
        ("base", 0.21, 0.05, "inside"),
        ("twist", 0.06, 0.02, "inside"),
        ("flange", 0.012, 0.004, "inside"),
        ("blade", 0.074, 0.005, "inside"),
        ("toe", 0.08, 0.04, "inside"),
        ("fence", -0.16, 0.05, "outside"),
    )
    entries = [
        JournalEntry(
            f"t{i}",
            f"2026-03-1{2 + i // 4}T1{i}:20:00.000Z",
            "sam",
            "taken",
            {"check": name, "value": value, "uncertainty": spread, "verdict": verdict, "reason": ""},
            i,
        )
        for i, (name, value, spread, verdict) in enumerate(rows)
    ]
    sweep = {"sweep": "0007-across", "set_up": "across"}
    turned = {"turned": [{"bolt": "B2", "raise_mm": 0.12, "uncertainty_mm": 0.02, "form": "thread"}]}
    entries.append(JournalEntry("t8", "2026-03-14T10:20:00.000Z", "sam", "turned", turned, 8))
    entries.append(JournalEntry("t9", "2026-03-14T10:51:00.000Z", "sam", "sweep", sweep, 9))
    return tuple(entries)


INVENTED_SWEEPS = (
    SweepRow("0007-across", "across", "2026-03-14 10:51", "marks", True),
    SweepRow("0006-across", "across", "2026-03-14 10:22", "marks", True, "B2"),
    SweepRow("0005-across", "across", "2026-03-14 10:12", "interrupted", False),
)


@dataclass
class InventedBeeper:
    """Remembers what it was told."""

    said: list[tuple[float | None, bool]] = field(default_factory=list)
    closed: int = 0

    def update(self, distance_mm: float | None, inside: bool) -> None:
        self.said.append((distance_mm, inside))

    def close(self) -> None:
        self.closed += 1


@dataclass
class InventedPage:
    """Remembers what a phone would show."""

    url: str = "http://192.0.2.7:8123/aW52ZW50ZWQtdG9rZW4tMDE/"
    shown: list[Any] = field(default_factory=list)
    closed: bool = False

    def publish(self, shown: Any, /) -> None:
        self.shown.append(shown)

    def close(self) -> None:
        self.closed = True


@dataclass
class InventedParts(JobParts):
    """The parts below the screen, invented; what concerns the journal is real, on an invented journal."""

    source: InventedSource = field(default_factory=InventedSource)
    seen: Seen = field(default_factory=lambda: Seen(invented_findings(), invented_plan(), None, "today 10:51"))
    turned: list[Made] = field(default_factory=list)
    swept: list[str] = field(default_factory=list)
    page: InventedPage = field(default_factory=InventedPage)
    sound: InventedBeeper = field(default_factory=InventedBeeper)
    listed: list[RecentJob] = field(default_factory=list)
    kept_sweeps: list[SweepRow] = field(default_factory=lambda: list(INVENTED_SWEEPS))
    answers: str = ""
    """The profile that answers on a silent port once it is asked; empty: none is silent because it must be asked."""
    asks_direction: bool = False
    """Whether a sweep begins with the question which way the number moves."""
    found: Heard = field(
        default_factory=lambda: Heard(
            "/dev/ttyUSB0",
            "indicator-line",
            "indicator-line at 115200 baud: it reads 40 of 40 lines, such as +0.104.",
        )
    )

    def ports(self) -> list[tuple[str, str]]:
        return [("/dev/ttyUSB0", "USB serial"), ("/dev/ttyACM0", "sensor node")]

    def instruments(self) -> list[str]:
        return ["indicator-line", "level-line"]

    def load_instrument(self, name: str) -> Instrument:
        from logger.instruments import load_instrument

        return load_instrument(name)

    def listen_to(self, port: str, may_ask: bool = False) -> Heard:
        if may_ask and self.answers:
            return Heard(port, self.answers, "It answers.")
        if port == self.found.port:
            return self.found
        says = "Nothing arrived. Switched on? Some instruments only answer when they are asked."
        return Heard(port, "", says, silent=bool(self.answers))

    def start(self, spec: SourceSpec) -> Any:
        return self.source

    def stop(self, source: Any) -> None:
        return None

    def beeper(self, bell: Callable[[], object]) -> InventedBeeper:
        return self.sound

    def phone(self) -> InventedPage:
        return self.page

    def code_of(self, url: str, *, plain: bool = False) -> tuple[str, ...]:
        from logger.phone.link import qr_lines

        return tuple(qr_lines(url, ascii_only=plain))

    def swept_direction(self, job: Job, set_up: str, instrument: str) -> str:
        return super().swept_direction(job, set_up, instrument) if self.asks_direction else ""

    def report(self, job: Job, units: str, progress: Callable[[int, int], object] | None = None) -> Path:
        if progress is not None:
            progress(1, 2)
            progress(2, 2)
        return job.folder / "report.html"

    def recent(self) -> list[RecentJob]:
        return self.listed

    def remember(self, job: Job, port: str, instrument: str, set_up: str) -> None:
        return None

    def forget(self, folder: str) -> None:
        self.listed = [job for job in self.listed if job.folder != folder]

    def board(self, job: Job) -> Board:
        from logger.checks.board import board_from
        from logger.checks.rail import RailState

        swept = any(entry.kind == "sweep" for entry in job.standing_entries())
        why = "0.119 minus its ± is above 0.050. Not seen yet: tilt of the whole rail."
        return board_from(job.standing_entries(), RailState("outside", why, 0.119, 0.004) if swept else None)

    def look(self, job: Job, trust: str = "few") -> Seen:
        return Seen(self.seen.findings, invented_plan(0), None, self.seen.when) if self.turned else self.seen

    def note_sweep(self, job: Job, folder: Path, set_up: str) -> None:
        self.swept.append(folder.name)
        super().note_sweep(job, folder, set_up)

    def note_turned(self, job: Job, made: Made) -> None:
        self.turned.append(made)

    def what_if(self, job: Job, moves: Mapping[str, float]) -> Predicted:
        x = np.arange(500.0, 1701.0, 20.0)
        value = invented_height(x)
        for bolt in job.machine.bolts:
            value = value + 0.4 * moves.get(bolt.name, 0.0) * np.exp(-(((x - bolt.x_mm) / 400.0) ** 2))
        width = float(np.ptp(value))
        chance = float(np.clip((0.09 - width) / 0.05, 0.01, 0.97))
        return Predicted(width, 0.011, float(np.mean(value)), chance, x, value, np.full(x.size, 0.008))

    def responses(self, job: Job) -> Responses:
        from logger.advising.response import Responses

        x = np.arange(500.0, 1701.0, 20.0)
        at = np.array([bolt.x_mm for bolt in job.machine.bolts])
        believed = 0.42 * np.exp(-(((x[:, None] - at) / 450.0) ** 2)) - 0.03
        learned = 0.36 * np.exp(-(((x[:, None] - at) / 400.0) ** 2)) - 0.02
        names = tuple(bolt.name for bolt in job.machine.bolts)
        return Responses("across", "mm", names, x, believed, learned, np.full(learned.shape, 0.05), 2)

    def sweeps(self, job: Job) -> list[SweepRow]:
        return self.kept_sweeps

    def findings_of(self, job: Job, sweep: str) -> Findings:
        found = invented_findings()
        older = 0.02 * np.sin(found.profile.x_mm / 240.0) if sweep.startswith("0006") else 0.0
        profile = replace(found.profile, value=found.profile.value + older)
        width = float(np.ptp(profile.value))
        extremes = replace(found.extremes, peak_to_valley=width)
        return replace(found, sweeps=(sweep,), profile=profile, extremes=extremes)

    def open_recording(self, job: Job, name: str) -> Recording:
        raise NotAllowed(f"There is no recording '{name}' here.", "These are invented data.")

    def replay(self, recording: Recording, speed: float) -> Any:
        return self.source


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
    *,
    parts: InventedParts | None = None,
    plain: bool = False,
    dark: bool = False,
    units: str = "mm",
    tour: Any = None,
    taken: bool = False,
    with_job: bool = True,
) -> TruestrokeApp:
    """The real app on invented data with a clock that stands."""
    session = Session(
        parts=parts or InventedParts(),
        job=invented_job(taken=taken) if with_job else None,
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
