"""A job as the report tells it: everything is gathered here once, in frozen records, before a word is laid out.

Why it exists: page, sheet, pictures and ``report --json`` must say the same numbers, which are those of ``spots``,
``bolts`` and ``board``: the same functions give them. It prevents a report that is kinder than the record: what was not
measured, not seen, not checked or could not be read is gathered with the same care as what was.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import TYPE_CHECKING, Any

from logger import __version__
from logger.checks.words import look_again_words
from logger.errors import NotAllowed, NotUnderstood

if TYPE_CHECKING:
    from analysis.results import Findings, PlaceFinding, Plan
    from logger.checks.board import Board, Row, Taken
    from logger.checks.model import Check
    from logger.checks.work import Shown
    from logger.job import Job, TurnedBolt
    from logger.journal import JournalEntry
    from logger.report.environment import Noted
    from logger.report.tools import Tool

Progress = Callable[[int, int], object]
NOT_MEASURED = "Not measured: "
FULL_ROUNDS = 24
"""So many states of the rail are told with a picture each; of a longer history the first and the newest, the rest as
rows of a table. ``truestroke history`` has the others."""


@dataclass(frozen=True)
class RailState:
    """One state of the rail: the sweeps of one round, and the moves that ended it."""

    number: int
    time: str
    findings: tuple[Findings, ...]
    places: tuple[PlaceFinding, ...]
    turned: tuple[TurnedBolt, ...]
    warnings: tuple[str, ...]
    full: bool = True


@dataclass(frozen=True)
class Turned:
    """One ``turned`` entry of the journal: when, by whom, which bolts."""

    time: str
    who: str
    moves: tuple[TurnedBolt, ...]


@dataclass(frozen=True)
class Told:
    """One check as the journal has it: all its readings, oldest first, and where it stands now."""

    row: Row
    taken: tuple[Taken, ...]
    entries: tuple[JournalEntry, ...]
    adjusted: tuple[str, ...]

    @property
    def check(self) -> Check:
        return self.row.check


@dataclass(frozen=True)
class Facts:
    """Everything a report says."""

    job: Job
    made_utc: str
    version: str
    states: tuple[RailState, ...]
    plan: Plan | None
    board: Board
    checks: tuple[Told, ...]
    turned: tuple[Turned, ...]
    tools: tuple[Tool, ...]
    noted: tuple[Noted, ...]
    not_done: tuple[str, ...]
    work: tuple[Shown, ...]
    first: str
    last: str

    @property
    def measured(self) -> bool:
        """Whether anything has been measured at all."""
        return bool(self.states) or any(told.taken for told in self.checks)

    @property
    def full_states(self) -> tuple[RailState, ...]:
        return tuple(state for state in self.states if state.full)


def gather(job: Job, *, now: datetime | None = None, progress: Progress | None = None) -> Facts:
    """The facts of a job now. ``progress`` is told how many of how many rounds have been worked out."""
    from logger.checks.board import board_of
    from logger.report.environment import noted_in
    from logger.report.tools import tools_of

    entries = job.standing_entries()
    states = _states(job, entries, progress)
    board = board_of(job)
    tools = tools_of(job, entries, states)
    times = [entry.time for entry in entries if entry.kind in ("sweep", "taken", "turned")]
    return Facts(
        job=job,
        made_utc=utc_words((now or datetime.now(UTC)).isoformat()),
        version=__version__,
        states=states,
        plan=_plan(job, states),
        board=board,
        checks=_checks(board, entries),
        turned=_turned(entries),
        tools=tools,
        noted=noted_in(entries),
        not_done=_not_done(job, states, board, tools),
        work=_work(job, entries, states, board),
        first=utc_words(times[0]) if times else "",
        last=utc_words(times[-1]) if times else "",
    )


def utc_words(iso: str) -> str:
    """``2026-11-25 10:51 UTC``; what is no time is shown as it stands."""
    try:
        at = datetime.fromisoformat(iso)
    except ValueError:
        return iso[:40]
    return f"{at.astimezone(UTC):%Y-%m-%d %H:%M} UTC" if at.tzinfo else f"{at:%Y-%m-%d %H:%M}"


def _states(job: Job, entries: Sequence[JournalEntry], progress: Progress | None) -> tuple[RailState, ...]:
    from logger.advice import places
    from logger.job import rounds_of
    from logger.judging.found import findings_of

    times = {entry.data.get("sweep"): entry.time for entry in entries if entry.kind == "sweep"}
    rounds = rounds_of(entries)
    told = {each.number for each in (*rounds[:1], *rounds[-(FULL_ROUNDS - 1) :])}
    states = []
    for done, each in enumerate(rounds, 1):
        warnings: list[str] = []
        found = tuple(findings_of(job, each.sweeps, warnings).values())
        time = utc_words(times[each.sweeps[0]]) if each.sweeps and each.sweeps[0] in times else ""
        seen = places(job, found) if found else ()
        states.append(RailState(each.number, time, found, seen, each.turned, tuple(warnings), each.number in told))
        if progress is not None:
            progress(done, len(rounds))
    return tuple(states)


def _plan(job: Job, states: Sequence[RailState]) -> Plan | None:
    """What to turn next, where something is to be turned: learning from years of rounds takes its time."""
    from logger import advice

    if not states or not states[-1].findings or states[-1].turned:
        return None
    if all(found.verdict.word == "inside" for found in states[-1].findings):
        return None
    try:
        return advice.advise(job)
    except (NotAllowed, NotUnderstood):
        return None  # the board says why the rail cannot be judged


def _checks(board: Board, entries: Sequence[JournalEntry]) -> tuple[Told, ...]:
    from logger.checks.board import history

    taken, _ = history(entries)
    told = []
    for row in board.rows:
        name = row.check.name
        mine = tuple(taken.get(name, ()))
        sources = tuple(entries[each.place] for each in mine)
        adjusted = tuple(
            utc_words(entry.time)
            for entry in entries
            if entry.kind == "taken" and entry.data.get("check") == name and entry.data.get("adjusted") is True
        )
        told.append(Told(row, mine, sources, adjusted))
    return tuple(told)


def _work(job: Job, entries: Sequence[JournalEntry], states: Sequence[RailState], board: Board) -> tuple[Shown, ...]:
    """What the work would show, as ``board`` says it; of the rail only while its sweeps hold."""
    from logger.checks.work import work_of

    holds = bool(states) and board.row("rail").state not in ("not measured", "stale")
    return work_of(board, entries, job.machine, states[-1].places if holds else ())


def _turned(entries: Sequence[JournalEntry]) -> tuple[Turned, ...]:
    from logger.job import turned_in

    return tuple(
        Turned(utc_words(entry.time), entry.who, tuple(turned_in(entry))) for entry in entries if entry.kind == "turned"
    )


def _not_done(job: Job, states: Sequence[RailState], board: Board, tools: Sequence[Tool]) -> tuple[str, ...]:
    """What a reader must not take for done."""
    unmeasured = [row.check.title for row in board.rows if row.state == "not measured" and not row.skipped]
    said = [f"{NOT_MEASURED}{'; '.join(unmeasured)}."] if unmeasured else []
    left_out = [row.check.title for row in board.rows if row.skipped]
    said += [f"Left out on purpose: {'; '.join(left_out)}."] if left_out else []
    said += [f"{row.check.title}: {words}" for row in board.rows if (words := look_again_words(row))]
    said += [
        f"{row.check.title}: {row.state}{'. ' + row.why if row.why else '.'}"
        for row in board.rows
        if row.state in ("stale", "cannot tell") and not row.skipped
    ]
    if states and states[-1].turned:
        names = ", ".join(dict.fromkeys(move.bolt for move in states[-1].turned))
        said.append(f"The rail was not swept again after {names} were turned.")
    newest = next((state for state in reversed(states) if state.findings), None)
    if newest is not None:
        said += [f"Not seen from set-up {f.set_up}: {', '.join(f.not_seen)}." for f in newest.findings if f.not_seen]
        said += [f"{place.name}: not seen. {place.why}".rstrip() for place in newest.places if not place.seen]
    for tool in tools:
        said += tool.not_done
    entered = {entry.data.get("sweep") for entry in job.standing_entries() if entry.kind == "sweep"}
    kept = [folder.name for folder in job.recordings() if folder.name not in entered]
    if kept:
        said.append(f"Recorded but not counted as a sweep (cut off, or withdrawn): {', '.join(kept)}.")
    said += job.journal_faults()
    said += [f"{job.machine.name}: {warning}" for warning in job.machine.warnings]
    said += [warning for state in states for warning in state.warnings]
    return tuple(dict.fromkeys(said))


def as_json(facts: Facts) -> dict[str, Any]:
    """The facts as ``report --json`` prints them; rounds as in ``spots``, the plan as in ``bolts``."""
    from logger import advice, findings

    return {
        "machine": facts.job.machine.name,
        "made_utc": facts.made_utc,
        "version": facts.version,
        "measured": facts.measured,
        "rounds": [
            {
                "round": state.number,
                "time": state.time,
                "spots": [findings.as_json(each, state.places) for each in state.findings],
                "turned": [
                    {"bolt": m.bolt, "raise_mm": m.raise_mm, "uncertainty_mm": m.uncertainty_mm} for m in state.turned
                ],
            }
            for state in facts.states
        ],
        "bolts": advice.as_json(facts.plan) if facts.plan is not None else None,
        "checks": [
            {
                "check": told.check.name,
                "state": told.row.state,
                "skipped": told.row.skipped,
                "unit": told.row.allowed.unit,
                "taken": [
                    {"time": t.time, "value": t.value, "uncertainty": t.uncertainty, "verdict": t.verdict}
                    for t in told.taken
                ],
            }
            for told in facts.checks
        ],
        "work": [
            {"check": each.of, "shows": each.what, "size_mm": each.size_mm, "uncertainty_mm": each.uncertainty_mm}
            for each in facts.work
        ],
        "not_done": list(facts.not_done),
    }
