"""What the screens ask of the parts below and what comes back, as frozen records.

Why it exists: a screen that shows a job's own objects would have to know how they are made. These few records are all
that crosses, in words ready to be shown where words are enough.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal, Protocol

if TYPE_CHECKING:
    from collections.abc import Callable

    from analysis.results import Findings, Move, Predicted, Verdict
    from logger.advising.response import Responses
    from logger.checks.board import Board
    from logger.checks.model import Allowed, Check
    from logger.instruments import Instrument
    from logger.job import Job
    from logger.link.beside_asked import Asked
    from logger.machines import Machine
    from logger.rail_picture import Seen
    from logger.recent_jobs import RecentJob
    from logger.record.typed_sheet import Sheet
    from logger.recording import Recording
    from logger.tui.session import Session


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
    beside: tuple[tuple[Asked, Path], ...] = ()
    """Other instruments of a sweep, and where each is recorded."""


@dataclass(frozen=True, slots=True)
class Made:
    """One bolt as it was really turned: the display before and after its lock nut, mm or mm/m."""

    move: Move
    before: float
    after: float
    set_up: str
    counted: str = ""
    """How far it was turned, as typed (``-1/4``), where the display did not end the turn; empty: not counted."""


@dataclass(frozen=True, slots=True)
class OtherSettings:
    """A known instrument at another speed: the name of its file, the speed, and the file's text with these settings."""

    instrument: str
    baud: int
    text: str


@dataclass(frozen=True, slots=True)
class Heard:
    """What one port said: ``instrument`` is empty where no profile explains it; ``says`` is the sentence. ``silent``:
    nothing arrived, and nothing was sent; it might answer if it were asked."""

    port: str
    instrument: str
    says: str
    silent: bool = False
    other: OtherSettings | None = None
    """An instrument that was recognised at line settings which are not its file's own."""


@dataclass(frozen=True, slots=True)
class Outcome:
    """What readings typed for a check say, already in the journal. ``verdict`` None: only an adjustment, or advice
    (which cut test is worth the wood) that is no reading."""

    check: Check
    verdict: Verdict | None
    allowed: Allowed
    lines: tuple[str, ...] = ()
    corrections: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()
    stale: tuple[str, ...] = ()
    next: str | None = None
    why: str = ""


@dataclass(frozen=True, slots=True)
class SweepRow:
    """A recorded sweep in the list: ``counts`` False where the journal does not take it (cut off, thrown away)."""

    name: str
    set_up: str
    when: str
    ended: str
    counts: bool
    turned: str = ""


@dataclass(frozen=True, slots=True)
class LastEntry:
    """The newest entry of the journal that holds, in words, and what taking it back means."""

    id: str
    words: str
    means: str


class Beeper(Protocol):
    """The sound: which way and how close. ``distance_mm`` + : the carriage must still rise; None: no reading."""

    def update(self, distance_mm: float | None, inside: bool) -> None: ...
    def close(self) -> None: ...


class Page(Protocol):
    """The page for a phone: where it is, what it shows from now on, and its end."""

    @property
    def url(self) -> str: ...
    def publish(self, shown: Any, /) -> None: ...
    def close(self) -> None: ...


class Parts(Protocol):
    """The parts below the screen. The real ones are in ``logger.tui.parts``; tests hand in small ones.

    ``board``, ``look``, ``what_if``, ``responses``, ``findings_of``, ``take``, ``note_turned`` and ``listen_to`` may
    take seconds: a screen runs them in a thread.
    """

    def ports(self) -> list[tuple[str, str]]: ...
    def instruments(self) -> list[str]: ...
    def load_instrument(self, name: str) -> Instrument: ...
    def listen_to(self, port: str, may_ask: bool = False) -> Heard: ...
    def beside(self, job: Job, session: Session, folder: Path) -> tuple[tuple[Asked, Path], ...]: ...
    def start(self, spec: SourceSpec) -> Any: ...
    def stop(self, source: Any) -> None: ...
    def beeper(self, bell: Callable[[], object]) -> Beeper | None: ...
    def phone(self) -> Page: ...
    def code_of(self, url: str, *, plain: bool = False) -> tuple[str, ...]: ...
    def open_recording(self, job: Job, name: str) -> Recording: ...
    def replay(self, recording: Recording, speed: float) -> Any: ...

    def recent(self) -> list[RecentJob]: ...
    def remember(self, job: Job, port: str, instrument: str, set_up: str) -> None: ...
    def forget(self, folder: str) -> None: ...
    def open_job(self, folder: str) -> Job: ...
    def make_job(self, folder: str, text: str) -> Job: ...
    def keep_instrument(self, job: Job, other: OtherSettings) -> str: ...

    def board(self, job: Job) -> Board: ...
    def faults(self, job: Job) -> list[str]: ...
    def drawing(self, check: str, *, plain: bool = False) -> tuple[str, ...]: ...
    def limits(self, job: Job, check: str) -> Allowed: ...
    def take(
        self,
        job: Job,
        check: str,
        texts: Sequence[str],
        confirm: Callable[[str], bool],
        *,
        units: str,
        look: Callable[[str], str] | None = None,
    ) -> Outcome: ...
    def swept_direction(self, job: Job, set_up: str, instrument: str) -> str: ...
    def note_swept_direction(self, job: Job, set_up: str, instrument: str, moved_as_said: bool) -> None: ...
    def report(self, job: Job, units: str, progress: Callable[[int, int], object] | None = None) -> Path: ...
    def last_entry(self, job: Job) -> LastEntry | None: ...
    def take_back(self, job: Job, entry: LastEntry) -> None: ...

    def look(self, job: Job, trust: str = "few") -> Seen: ...
    def trusts(self) -> tuple[str, ...]: ...
    def type_sweep(self, session: Session, folder: Path, set_up: str) -> Sheet: ...
    def note_sweep(self, job: Job, folder: Path, set_up: str) -> None: ...
    def note_turned(self, job: Job, made: Made) -> None: ...
    def agree(self, job: Job, sweeps: Sequence[str], repair: str) -> None: ...
    def what_if(self, job: Job, moves: Mapping[str, float]) -> Predicted: ...
    def responses(self, job: Job) -> Responses: ...
    def sweeps(self, job: Job) -> list[SweepRow]: ...
    def findings_of(self, job: Job, sweep: str) -> Findings: ...
