"""The job: one machine's folder, with its description, its recordings and its journal.

Why it exists: an alignment takes days, and the second visit starts where the first one stopped. It prevents a sweep
from before the last moves being taken for one from after them: the journal's order says which sweeps show which state
of the machine (``rounds``). Nothing that exists is ever overwritten.

::

    my-saw/machine.yaml  journal.jsonl  sweeps/0001-across/  live/0002-across/
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from importlib import resources
from pathlib import Path
from typing import Any, Literal, get_args

from logger.errors import BadFile, CannotSave, NotAllowed
from logger.journal import Journal, JournalContents, JournalEntry
from logger.machines import FILE_NAME, Machine, load_machine

JOURNAL_NAME = "journal.jsonl"
KINDS = (
    "sweep",
    "turned",
    "parked",
    "load",
    "seats",
    "taken",
    "verdict",
    "note",
    "direction check",
    "instrument check",
    "level zero",
    "level on table",
    "learned",
    "agreed",
    "machine changed",
    "withdrawn",
)

TurnedForm = Literal["thread", "turns", "parked"]
WEEKEND = timedelta(days=3)  # a sweep this long after another is of a later visit, though no bolt was turned
LONG_AWAY = timedelta(days=14)  # ... and this long after, though bolts were turned in between
_NUMBERED = re.compile(r"(\d{4,9})-")


@dataclass(frozen=True, slots=True)
class TurnedBolt:
    """What was done to one bolt. ``raise_mm`` is its own thread travel, + up, with expanded uncertainty.

    For ``form`` parked: where the carriage stood, and the display (raw sign and zero) before and after the lock nut.
    """

    bolt: str
    raise_mm: float
    uncertainty_mm: float
    form: TurnedForm = "thread"
    park_mm: float | None = None
    before: float | None = None
    after: float | None = None
    set_up: str | None = None


@dataclass(frozen=True, slots=True)
class Round:
    """The sweeps of one state of the machine, and the moves that ended that state (none yet in the last round).

    ``visit`` counts the days at the machine: between two visits it may have moved without anybody's turning a bolt.
    """

    number: int
    sweeps: tuple[str, ...]
    turned: tuple[TurnedBolt, ...]
    visit: int = 1


@dataclass(frozen=True)
class Job:
    """One machine's folder. ``open`` one that is there, ``create`` one that is not."""

    folder: Path
    machine: Machine
    journal: Journal = field(repr=False)

    @classmethod
    def open(cls, folder: Path | str) -> Job:
        """The job in ``folder``. BadFile with every fault of its machine.yaml, or when there is none."""
        folder = Path(folder)
        if not (folder / FILE_NAME).is_file():
            raise BadFile(
                f"{folder} holds no {FILE_NAME}, so it is not a job.",
                f"Name a job with --job DIR, or make one: truestroke new {folder}",
            )
        return cls(folder, load_machine(folder / FILE_NAME), Journal(folder / JOURNAL_NAME))

    @classmethod
    def create(cls, folder: Path | str) -> Job:
        """Make ``folder`` with a commented machine.yaml. NotAllowed when there is one already."""
        return new_job(folder)

    # -- recordings --------------------------------------------------------------------------------------------------

    def recordings(self, kind: Literal["sweep", "live"] = "sweep") -> list[Path]:
        """The folders of all recordings of that kind, oldest first."""
        from logger.recording import list_recordings

        return list_recordings(self.folder, kind)

    def next_recording_folder(self, set_up: str, kind: Literal["sweep", "live"] = "sweep") -> Path:
        """Where the next recording goes; numbers run through both kinds. The folder is not made here."""
        from logger.recording import FOLDERS

        names = [path.name for parent in FOLDERS.values() for path in (self.folder / parent).glob("*")]
        used = [int(match[1]) for match in map(_NUMBERED.match, names) if match]
        slug = re.sub(r"[^a-z0-9]+", "-", set_up.casefold()).strip("-")[:40] or "recording"
        return self.folder / FOLDERS[kind] / f"{max(used, default=0) + 1:04d}-{slug}"

    # -- journal -----------------------------------------------------------------------------------------------------

    def append(self, kind: str, /, **data: Any) -> JournalEntry:
        """Add an entry; ``kind`` is one of ``KINDS``. It is on the disk when this returns."""
        if kind not in KINDS:
            raise ValueError(f"{kind!r} is no kind of journal entry; there are: {', '.join(KINDS)}")
        return self.journal.append(kind, data)

    def append_turned(self, turned: Iterable[TurnedBolt], **data: Any) -> JournalEntry:
        """Record what was really turned since the last sweep, in one entry; every bolt must exist."""
        turned = tuple(turned)
        for move in turned:
            self.machine.bolt(move.bolt)
        return self.append("turned", turned=turned, **data)

    def correct(self, entry: JournalEntry, **data: Any) -> JournalEntry:
        """Replace what ``entry`` says by a later entry; the journal keeps both."""
        return self.append(entry.kind, **data, corrects=entry.id)

    def withdraw(self, entry: JournalEntry, why: str) -> JournalEntry:
        """Say that ``entry`` does not hold; the journal keeps it."""
        return self.append("withdrawn", withdraws=entry.id, why=why)

    def contents(self) -> JournalContents:
        """The whole journal with what could not be read of it."""
        return self.journal.read()

    def entries(self) -> list[JournalEntry]:
        """Every entry as written, corrections and corrected ones alike."""
        return list(self.contents().entries)

    def journal_faults(self) -> list[str]:
        """A sentence for each line of the journal that was kept aside."""
        return list(self.contents().faults)

    def standing_entries(self) -> list[JournalEntry]:
        """The entries that hold: corrected ones are replaced in their own place, withdrawn ones left out."""
        return standing(self.entries())

    def rounds(self) -> list[Round]:
        """Sweeps and the moves that followed them, oldest first: a sweep after a move begins a new round."""
        return rounds_of(self.standing_entries())


def standing(entries: Iterable[JournalEntry]) -> list[JournalEntry]:
    """Apply corrections and withdrawals. A correction takes the place of what it corrects, whenever it was written."""
    held: dict[str, JournalEntry] = {}
    place: dict[str, str] = {}
    for entry in entries:
        first = place.get(str(entry.data.get("corrects", "")))
        if entry.kind == "withdrawn":
            held.pop(place.get(str(entry.data.get("withdraws", "")), ""), None)
        elif first is not None and first in held:
            held[first] = entry
            place[entry.id] = first
        else:
            held[entry.id] = entry
            place[entry.id] = entry.id
    return list(held.values())


def rounds_of(entries: Iterable[JournalEntry]) -> list[Round]:
    """Group standing entries into rounds; empty without any sweep or move.

    A sweep after a move begins a new round, and so does one of a later visit: what a machine did by itself in months
    must neither be averaged away nor be taken for what a bolt did.
    """
    sweeps: list[str] = []
    turned: list[TurnedBolt] = []
    rounds: list[Round] = []
    visit, last = 1, None
    for entry in entries:
        if entry.kind == "sweep" and isinstance(entry.data.get("sweep"), str):
            now = _moment(entry)
            away = now - last if now is not None and last is not None else timedelta(0)
            later = away > (LONG_AWAY if turned else WEEKEND) and bool(sweeps or turned or rounds)
            if turned or later:
                rounds.append(Round(len(rounds) + 1, tuple(sweeps), tuple(turned), visit))
                sweeps, turned = [], []
            visit, last = visit + later, now or last
            sweeps.append(entry.data["sweep"])
        elif entry.kind == "turned":
            turned += turned_in(entry)
    if sweeps or turned:
        rounds.append(Round(len(rounds) + 1, tuple(sweeps), tuple(turned), visit))
    return rounds


def _moment(entry: JournalEntry) -> datetime | None:
    try:
        moment = datetime.fromisoformat(entry.time)
    except ValueError:
        return None
    return moment if moment.tzinfo is not None else None


def turned_in(entry: JournalEntry) -> list[TurnedBolt]:
    """The moves of a ``turned`` entry; what is no move (a damaged or hand-edited entry) is left out."""
    listed = entry.data.get("turned", [entry.data])
    moves = [_turned_bolt(item) for item in listed] if isinstance(listed, list) else []
    return [move for move in moves if move is not None]


def _turned_bolt(item: Any) -> TurnedBolt | None:
    if not isinstance(item, Mapping) or not isinstance(item.get("bolt"), str):
        return None
    numbers = {key: _number(item.get(key)) for key in ("raise_mm", "uncertainty_mm", "park_mm", "before", "after")}
    raise_mm, uncertainty_mm = numbers.pop("raise_mm"), numbers.pop("uncertainty_mm")
    form: TurnedForm = item["form"] if item.get("form") in get_args(TurnedForm) else "thread"
    set_up = item.get("set_up") if isinstance(item.get("set_up"), str) else None
    if raise_mm is None or uncertainty_mm is None:
        return None
    return TurnedBolt(item["bolt"], raise_mm, uncertainty_mm, form, **numbers, set_up=set_up)


def _number(value: Any) -> float | None:
    return float(value) if isinstance(value, int | float) and not isinstance(value, bool) else None


def new_machine_text() -> str:
    """The commented machine.yaml of a new job, to be edited with a tape measure; it loads as it is."""
    return resources.files("hardware").joinpath("machines", "new-machine.yaml").read_text(encoding="utf-8")


def new_job(folder: Path | str) -> Job:
    """Make a job folder with a commented machine.yaml; an existing machine.yaml is never overwritten."""
    folder = Path(folder)
    path = folder / FILE_NAME
    try:
        folder.mkdir(parents=True, exist_ok=True)
        with path.open("x", encoding="utf-8", newline="\n") as handle:
            handle.write(new_machine_text())
    except FileExistsError as problem:
        what = f"{path} is there already and stays as it is." if path.exists() else f"{folder} is a file, not a folder."
        raise NotAllowed(what, "Name another folder, or open this job with --job.") from problem
    except OSError as problem:
        raise CannotSave(
            f"{path} could not be written: {problem.strerror}.", "Name a folder you may write to."
        ) from problem
    return Job.open(folder)
