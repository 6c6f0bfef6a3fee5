"""What is said and kept of a sweep when it has ended, however it was taken: from a port, typed, imported, in the demo.

Why it exists: a recording is on disk whatever happened; whether it counts as a sweep, and what is told of it, is
decided in one place. It prevents a recording that one command enters in the journal and another forgets.
"""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

from logger.commands import Answer
from logger.errors import InstrumentLost, NotUnderstood, TruestrokeError
from logger.readings import Ended
from logger.wording import count, plural
from logger.wording import ended as ended_words

if TYPE_CHECKING:
    from logger.instruments import Instrument
    from logger.job import Job
    from logger.link.beside_asked import Asked
    from logger.recording import Recording


def wrap_up(job: Job, folder: Path, ended: Ended, warnings: list[str], instrument: Instrument, port: str) -> Answer:
    """Open what was recorded, say what is in it, and enter it in the journal if it is a sweep."""
    from logger.recording import open_recording

    recording = open_recording(folder)
    failure = _failure(recording, ended, instrument, port)
    found = _found(recording, warnings)
    facts: dict[str, Any] = {
        "sweep": recording.name,
        "readings": len(recording.value),
        "marks": len(recording.mark_t_s),
        "garbage": recording.garbage,
        "gaps": len(recording.gaps_t_s),
        "passes": 0 if found is None else found[1],
        "position_source": "none" if found is None else found[0],
        "ended": ended.how,
    }
    warnings += recording.warnings
    if failure is None:
        job.append("sweep", **facts, set_up=recording.set_up)
    return Answer(
        {**facts, "folder": str(folder), "warnings": warnings}, _lines(facts, folder, warnings, failure), failure
    )


def beside_told(job: Job, one: Asked, folder: Path, ended: Ended | None) -> Answer:
    """One of the other instruments: the same facts as of the first, or those of an encoder."""
    ended = ended or Ended(0, "interrupted", "The reading process ended without a word.")
    if not one.is_position:
        return wrap_up(job, folder, ended, [], one.instrument, one.port)
    from logger.recording import open_alone

    recording = open_alone(folder)
    failure = _failure(recording, ended, one.instrument, one.port)
    facts: dict[str, Any] = {
        "sweep": f"{folder.parent.name}/{folder.name}",
        "readings": len(recording.value),
        "marks": len(recording.mark_t_s),
        "garbage": recording.garbage,
        "gaps": len(recording.gaps_t_s),
        "ended": ended.how,
        "folder": str(folder),
        "warnings": list(recording.warnings),
    }
    lines = [
        f"{facts['sweep']}: {plural(facts['readings'], 'position')}, {plural(facts['gaps'], 'gap')}, "
        f"{count(facts['garbage'])} not understood; {ended_words(facts['ended'])}.",
        *[f"  note: {warning}" for warning in recording.warnings],
    ]
    return Answer(facts, lines, failure)


def all_told(answer: Answer, told: Sequence[Answer]) -> Answer:
    """The first instrument's answer with the others' in ``beside``; the first failure is the sweep's."""
    lines = [line for one in told for line in one.lines if not line.startswith("Next: ")]
    failure = next((one.failure for one in (answer, *told) if one.failure is not None), None)
    return Answer({**answer.json, "beside": [one.json for one in told]}, [*lines, *answer.lines], failure)


def _failure(recording: Recording, ended: Ended, instrument: Instrument, port: str) -> TruestrokeError | None:
    kept = f"Everything received is kept in {recording.folder}."
    if ended.how == "link lost":
        return InstrumentLost(
            f"The instrument on {port} went away and did not come back. {kept}",
            f"Check the cable, then sweep again; 'truestroke spots {recording.number}' judges what there is.",
        )
    if ended.how == "disk full":
        from logger.errors import CannotSave

        return CannotSave(f"The disk is full. {kept}", ended.message or "Free some space, then sweep again.")
    if len(recording.value):
        return None
    if recording.garbage:
        return NotUnderstood(
            f"Bytes arrived on {port}, but no reading of {instrument.name} could be made of them. {kept}",
            _whatfits(recording),
        )
    return NotUnderstood(f"Nothing arrived on {port}. {kept}", "Is the instrument switched on, and set to send?")


def _whatfits(recording: Recording) -> str:
    """Which instrument file explains the bytes that did arrive: they are on disk, the port need not be opened again."""
    from logger.link.identify import wrong_settings_hint
    from logger.link.wire import FILE_NAME
    from logger.record.rows import RowsFile, read_wire

    rows, _ = read_wire(RowsFile.read(recording.folder / FILE_NAME))
    raw = b"".join(row.raw for row in rows if row.channel == "in")
    return wrong_settings_hint(raw, recording.instrument) or "Check the instrument's own settings."


def _found(recording: Recording, warnings: list[str]) -> tuple[str, int] | None:
    """Where the positions come from and how many passes there are; None where none can be found, which is said."""
    from logger import findings

    if not len(recording.value):
        return None
    try:
        positions = findings.positions(recording)
    except TruestrokeError as error:
        warnings.append(str(error))
        return None
    warnings += positions.warnings
    return positions.source, len(positions.direction)


def _lines(facts: dict[str, Any], folder: Path, warnings: Sequence[str], failure: TruestrokeError | None) -> list[str]:
    lines = [
        f"{facts['sweep']}: {plural(facts['readings'], 'reading')}, {plural(facts['marks'], 'mark')}, "
        f"{plural(facts['passes'], 'pass', 'passes')}, {plural(facts['gaps'], 'gap')}, "
        f"{count(facts['garbage'])} not understood; {ended_words(facts['ended'])}.",
        f"  positions from {facts['position_source']}; kept in {folder}",
        *[f"  note: {warning}" for warning in warnings],
    ]
    return lines if failure is not None else [*lines, "Next: truestroke spots, then truestroke bolts."]
