"""The job's side of what the screens ask: recent jobs, the board, typed readings, the journal, findings and advice.

Why it exists: beside the port there is the record, and everything the screen shows of it comes through here. Everything
heavy is imported when it is first needed.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, get_args

from logger.errors import BadFile, CannotSave, NotAllowed
from logger.rail_picture import Seen
from logger.tui.asked import LastEntry, Made, OtherSettings, Outcome, SweepRow

if TYPE_CHECKING:
    from analysis.results import Findings, Predicted
    from logger.advising.response import Responses
    from logger.checks.board import Board
    from logger.checks.doing import Done
    from logger.checks.model import Allowed, Check
    from logger.checks.taking import Taking
    from logger.checks.typed import Typed
    from logger.job import Job
    from logger.journal import JournalEntry
    from logger.link.beside_asked import Asked
    from logger.recent_jobs import RecentJob
    from logger.record.typed_sheet import Sheet
    from logger.tui.session import Session
    from logger.wording import Units


class JobParts:
    """See ``asked.Parts``."""

    # --- which job --------------------------------------------------------------------------------------------------

    def recent(self) -> list[RecentJob]:
        """Jobs opened lately, newest first."""
        from logger.recent_jobs import RecentJobs

        return RecentJobs().jobs()

    def remember(self, job: Job, port: str, instrument: str, set_up: str) -> None:
        """Put the job at the head of that list; a list that cannot be written is no fault of the job."""
        from logger.recent_jobs import RecentJobs

        RecentJobs().remember(job.folder, job.machine.name, port=port, instrument=instrument, set_up=set_up)

    def forget(self, folder: str) -> None:
        """Take a folder off the list."""
        from logger.recent_jobs import RecentJobs

        RecentJobs().forget(folder)

    def open_job(self, folder: str) -> Job:
        """The job in a folder; BadFile with every fault."""
        from logger.job import Job

        return Job.open(Path(folder).expanduser())

    def make_job(self, folder: str, text: str) -> Job:
        """A new folder with this machine.yaml, which has been read once already. NotAllowed where there is one."""
        from logger.job import Job
        from logger.machines import FILE_NAME

        place = Path(folder).expanduser()
        path = place / FILE_NAME
        try:
            place.mkdir(parents=True, exist_ok=True)
            with path.open("x", encoding="utf-8", newline="\n") as file:
                file.write(text)
        except FileExistsError as problem:
            what = f"{path} is there already and stays as it is." if path.exists() else f"{place} is a file."
            raise NotAllowed(what, "Name another folder.") from problem
        except (OSError, ValueError) as problem:
            reason = getattr(problem, "strerror", None) or str(problem)
            raise CannotSave(f"{path} could not be written: {reason}.", "Name a folder you may write to.") from problem
        return Job.open(place)

    def keep_instrument(self, job: Job, other: OtherSettings) -> str:
        """Write an instrument's file with the settings it was heard at into the job's folder; its path.

        One that is there already with the same words is taken; another one stays as it is (NotAllowed).
        """
        path = job.folder / f"{other.instrument}-{other.baud}.yaml"
        try:
            with path.open("x", encoding="utf-8", newline="\n") as file:
                file.write(other.text)
        except FileExistsError as problem:
            if path.read_text(encoding="utf-8", errors="replace") != other.text:
                raise NotAllowed(f"{path} is there already and stays as it is.", "Give it another name.") from problem
        except OSError as problem:
            reason = problem.strerror or type(problem).__name__
            raise CannotSave(
                f"{path} could not be written: {reason}.", "Make room or rights, then repeat."
            ) from problem
        return str(path)

    # --- checks -----------------------------------------------------------------------------------------------------

    def board(self, job: Job) -> Board:
        """The state of every check."""
        from logger.checks.board import board_of

        return board_of(job)

    def faults(self, job: Job) -> list[str]:
        """A sentence for each line of the journal that was kept aside."""
        return job.journal_faults()

    def drawing(self, check: str, *, plain: bool = False) -> tuple[str, ...]:
        """The set-up drawing of a check as lines of text; nothing where there is none."""
        from logger.checks.drawings import drawing

        try:
            return tuple(drawing(check).rows(ascii_only=plain))
        except KeyError:
            return ()

    def limits(self, job: Job, check: str) -> Allowed:
        """The limits that hold for a check now."""
        from logger.checks.board import standing_limits
        from logger.checks.table import BY_NAME

        return standing_limits(BY_NAME[check], job.standing_entries(), job.machine)

    def take(
        self,
        job: Job,
        check: str,
        texts: Sequence[str],
        confirm: Callable[[str], bool],
        *,
        units: str,
        look: Callable[[str], str] | None = None,
    ) -> Outcome:
        """Typed readings as ``key=value``: understood, judged, written into the journal. NotAllowed: nothing was.

        ``look``: asked whether the number moves as said (yes, no, later), where nobody has looked.
        """
        from logger.checks.board import board_of
        from logger.checks.doing import do
        from logger.checks.table import BY_NAME, all_above

        one = BY_NAME[check]
        done = do(job, one, texts, confirm, unit_needed=units == "in", look=look)
        if done.kind == "advice":
            return Outcome(one, None, done.typed.allowed, lines=_worth_cutting(done.typed))
        if done.kind == "direction":
            return Outcome(one, None, done.typed.allowed, lines=("The number moves as said, written down.",))
        found = board_of(job)
        stale = tuple(name for name in all_above(check) if found.row(name).state == "stale")
        if done.taking is None:
            said = (f"{done.kind.capitalize()}, written down.",)
            return Outcome(one, None, done.typed.allowed, said, stale=stale, next=found.next, why=found.why)
        return _outcome(one, done, done.taking, "in" if units == "in" else "mm", stale, found)

    def beside(self, job: Job, session: Session, folder: Path) -> tuple[tuple[Asked, Path], ...]:
        """The session's other instruments, each checked, and where each is recorded beside ``folder``."""
        from logger.link.beside_asked import asked_beside, folders_for

        found = asked_beside(session.beside, session.port, session.set_up_name, job)
        return tuple(zip(found, folders_for(folder, job, found), strict=True))

    def swept_direction(self, job: Job, set_up: str, instrument: str) -> str:
        """What to do and to see before a sweep with this instrument; empty once it was seen to move as said."""
        from logger.checks.direction import swept_wanted

        return swept_wanted(job, set_up, instrument)

    def note_swept_direction(self, job: Job, set_up: str, instrument: str, moved_as_said: bool) -> None:
        """Keep the answer; NotAllowed with what to write where it moved the other way."""
        from logger.checks.direction import record_swept

        record_swept(job, set_up, instrument, moved_as_said=moved_as_said)

    def report(self, job: Job, units: str, progress: Callable[[int, int], object] | None = None) -> Path:
        """Write the report into the job's folder; its path. Slow; ``progress`` hears how many of how many rounds."""
        from logger.report.facts import gather
        from logger.report.files import refuse_what_is_not_ours, write_whole
        from logger.report.page import page

        target = job.folder / "report.html"
        refuse_what_is_not_ours(target)
        write_whole(target, page(gather(job, progress=progress), "in" if units == "in" else "mm").encode("utf-8"))
        return target

    # --- journal ----------------------------------------------------------------------------------------------------

    def last_entry(self, job: Job) -> LastEntry | None:
        """The newest entry that holds; None for an empty journal."""
        entries = job.standing_entries()
        return last_words(entries[-1]) if entries else None

    def take_back(self, job: Job, entry: LastEntry) -> None:
        """A later entry says that this one does not hold; nothing is erased."""
        found = next((each for each in job.standing_entries() if each.id == entry.id), None)
        if found is None:
            raise NotAllowed("That entry does not hold any more.", "Nothing was changed.")
        job.withdraw(found, "taken back on the screen")

    def type_sweep(self, session: Session, folder: Path, set_up: str) -> Sheet:
        """The sheet of a sweep whose readings are typed; NotAllowed where instrument and set-up do not fit."""
        from logger.record.typed_sheet import Sheet

        stations, passes = session.stations(), session.passes
        instrument = session.fitting_instrument()
        return Sheet(folder, session.machine, instrument, session.instrument_name, set_up, stations, passes)

    def note_sweep(self, job: Job, folder: Path, set_up: str) -> None:
        """The journal says that this recording is a sweep of the present state."""
        job.append("sweep", sweep=folder.name, set_up=set_up)

    def note_turned(self, job: Job, made: Made) -> None:
        """The journal says what the display showed before and after this bolt, and its travel: as counted where the
        display did not end the turn, the estimate otherwise. Slow."""
        from logger.advice import estimate_turned
        from logger.advising.turned import ParkedMove, TypedMove, counted

        move = made.move
        if move.park_mm is None:
            raise NotAllowed(
                f"{move.bolt} has no place to park at, so its travel cannot be told from the display.",
                f"Write it down by hand: truestroke turned {move.bolt}=+0.12mm",
            )
        parked = ParkedMove(move.bolt, move.park_mm, made.before, made.after)
        known: ParkedMove | TypedMove = parked
        if made.counted:
            known = replace(counted(move.bolt, made.counted, job.machine), parked=parked)
        job.append_turned([estimate_turned(job, known, set_up=made.set_up)])

    def agree(self, job: Job, sweeps: Sequence[str], repair: str) -> None:
        """The journal says that this repair, or this source of positions, is agreed to for these sweeps."""
        from logger.judging.agreed import agree

        agree(job, sweeps, repair)

    # --- findings and advice ----------------------------------------------------------------------------------------

    def trusts(self) -> tuple[str, ...]:
        """The ways of weighing few moves against a good chance, the default first."""
        from logger.advice import Trust

        known: tuple[str, ...] = get_args(Trust)
        return ("few", *[each for each in known if each != "few"])

    def look(self, job: Job, trust: str = "few") -> Seen:
        """Findings of the machine's newest state, the plan from there (bolts already turned taken into account), and
        the findings of the state before. Slow."""
        from logger.advice import advise

        findings, before, when = _found(job)
        if findings is None:
            return Seen()
        plan = advise(job, made_so_far=job.rounds()[-1].turned, trust=trust)  # type: ignore[arg-type]
        return Seen(findings, plan, before, when)

    def what_if(self, job: Job, moves: Mapping[str, float]) -> Predicted:
        """The profile if these bolts were moved by these thread travels, mm, + up. Slow."""
        from logger.advice import predict

        return predict(job, moves)

    def responses(self, job: Job) -> Responses:
        """What each bolt does to the reading, believed and learned. Slow."""
        from logger.advising.response import responses_of

        return responses_of(job)

    def sweeps(self, job: Job) -> list[SweepRow]:
        """Every recorded sweep, newest first, with the bolts turned after it."""
        counted = {name for one in job.rounds() for name in one.sweeps}
        turned = {
            one.sweeps[-1]: ", ".join(dict.fromkeys(move.bolt for move in one.turned))
            for one in job.rounds()
            if one.sweeps and one.turned
        }
        rows = []
        for folder in reversed(job.recordings()):
            when, ended, set_up = _described(folder)
            rows.append(SweepRow(folder.name, set_up, when, ended, folder.name in counted, turned.get(folder.name, "")))
        return rows

    def findings_of(self, job: Job, sweep: str) -> Findings:
        """The findings of one sweep alone. Slow the first time."""
        from logger.judging.found import findings_of

        said: list[str] = []
        found = findings_of(job, [sweep], said)
        if not found:
            raise NotAllowed(" ".join(said) or f"There is no sweep '{sweep}'.", "Choose another of the list.")
        return next(iter(found.values()))


def _outcome(check: Check, done: Done, taking: Taking, units: Units, stale: tuple[str, ...], found: Board) -> Outcome:
    from logger.checks.words import correction_lines, verdict_line

    result, typed = taking.result, taking.typed
    feasible = taking.feasible.sentence if taking.feasible and result.verdict.word == "cannot tell" else ""
    said = [*typed.readings.warnings, done.unchecked, *result.notes, feasible]
    return Outcome(
        check,
        result.verdict,
        typed.allowed,
        (verdict_line(result, typed.allowed, units),),
        tuple(line.strip() for line in correction_lines(result.corrections, units)),
        tuple(each for each in said if each),
        stale,
        found.next,
        found.why,
    )


def last_words(entry: JournalEntry) -> LastEntry:
    """An entry as a person remembers it, and what taking it back means."""
    data, when = entry.data, f"{entry.time[:10]} {entry.time[11:16]}"
    check = data.get("check")
    if entry.kind == "sweep":
        return LastEntry(
            entry.id,
            f"{when}: sweep {data.get('sweep', '')}",
            "The sweep stays on disk but is not counted: findings and advice go back to the state before it.",
        )
    if entry.kind == "agreed":
        words = f"{when}: {data.get('sweep', '')}, agreed: {data.get('repair', '')}"
        return LastEntry(entry.id, words, "The sweep is judged as before; nothing recorded was changed.")
    if entry.kind == "turned":
        from logger.job import turned_in

        moves = ", ".join(f"{move.bolt} {move.raise_mm:+.2f} mm" for move in turned_in(entry))
        return LastEntry(
            entry.id,
            f"{when}: turned {moves}".replace("-0.", "−0."),
            "Only for a turn that was not made or was turned back: the bolt itself is where your hand left it.",
        )
    if entry.kind == "taken" and data.get("adjusted") is True:
        return LastEntry(entry.id, f"{when}: {check} adjusted", "What rests on it is judged as before.")
    if entry.kind == "taken":
        verdict = data.get("verdict", "")
        return LastEntry(
            entry.id,
            f"{when}: readings for {check}, {verdict}",
            "The readings before them hold again, if there are any.",
        )
    return LastEntry(entry.id, f"{when}: {entry.kind}", "It does not count any more; it stays in the file.")


def _worth_cutting(typed: Typed) -> tuple[str, ...]:
    from logger.checks.evaluate_fence import worth_cutting

    choices, best = worth_cutting(typed.readings, typed.allowed)
    lines = [
        f"{each.name}: {each.cuts} cuts leave ±{each.uncertainty_mm_per_m:.3f} mm/m, "
        f"{'enough' if each.decides else 'not enough'}"
        for each in choices
    ]
    last = f"Worth doing: {best.name}." if best.decides else f"The best is {best.name}, and none decides."
    more = "" if best.decides else " A longer panel or better calipers would."
    return (*lines, last + more)


def _described(folder: Path) -> tuple[str, str, str]:
    """When a sweep began, how it ended, its set-up: from the descriptor alone, which is quick."""
    from logger.recording import read_descriptor

    try:
        own = read_descriptor(folder)["truestroke"]
    except BadFile:
        return "", "cannot be read", ""
    start, ended = own.get("start"), own.get("ended")
    when = str(start.get("utc", "")) if isinstance(start, dict) else ""
    how = str(ended.get("how", "")) if isinstance(ended, dict) else "interrupted"
    return when[:16].replace("T", " "), how, str(own.get("set_up", ""))


def _found(job: Job) -> tuple[Findings | None, Findings | None, str]:
    """Findings of the newest round that has sweeps, those of the round before in the same set-up, and when."""
    from logger.judging.found import findings_of

    there = {folder.name: folder for folder in job.recordings("sweep")}
    states = [[name for name in one.sweeps if name in there] for one in job.rounds()]
    states = [state for state in states if state]
    if not states:
        return None, None, ""
    said: list[str] = []
    found = findings_of(job, states[-1], said)
    if not found:
        raise NotAllowed(" ".join(said) or "The sweeps cannot be used.", "Sweep again.")
    set_up, newest = list(found.items())[-1]
    before = findings_of(job, states[-2], []).get(set_up) if len(states) > 1 else None
    return newest, before, _described(there[states[-1][-1]])[0]
