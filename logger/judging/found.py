"""What the sweeps of one state of the machine say, set-up by set-up, worked out once.

Why it exists: advice, board, report and history all ask for the findings of the same rounds, and a job may have
hundreds of sweeps. What was found is kept for the life of the program, and forgotten as soon as a recording's files
change. It prevents a report that takes minutes, and an old finding beside new files.
"""

from __future__ import annotations

from collections import OrderedDict
from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING

from logger.errors import BadFile, NotAllowed, NotUnderstood
from logger.judging.agreed import agreed
from logger.record.writing import DESCRIPTOR, READINGS, WIRE

if TYPE_CHECKING:
    from pathlib import Path

    from analysis.results import Findings
    from logger.job import Job
    from logger.machines import Machine
    from logger.recording import Recording

MOST_KEPT = 256
_Key = tuple[tuple[str, int, int], ...]
_kept: OrderedDict[_Key, tuple[dict[str, Findings], tuple[str, ...]]] = OrderedDict()


def findings_of(job: Job, sweeps: Sequence[str], warnings: list[str]) -> dict[str, Findings]:
    """The findings of every set-up among ``sweeps`` (names), in the order in which each was last swept.

    What cannot be used is left out and said in ``warnings``.
    """
    folders = {folder.name: folder for folder in job.recordings()}
    there = [name for name in sweeps if name in folders]
    warnings += [
        f"Sweep {name} is in the journal but not on the disk; it is left out." for name in sweeps if name not in folders
    ]
    yes = agreed(job)
    accepted = {name: yes[name] for name in there if name in yes}
    said_yes = (repr(sorted((name, sorted(words)) for name, words in accepted.items())), 0, 0)
    key = (*_key([folders[name] for name in there]), (job.machine.source_text, len(job.machine.table.map), 0), said_yes)
    if key in _kept:
        _kept.move_to_end(key)
    else:
        said: list[str] = []
        _kept[key] = (_found([folders[name] for name in there], job.machine, said, accepted), tuple(said))
        while len(_kept) > MOST_KEPT:
            _kept.popitem(last=False)
    found, said_then = _kept[key]
    warnings += said_then
    return dict(found)


def _key(folders: Sequence[Path]) -> _Key:
    parts = []
    for folder in folders:
        for name in (DESCRIPTOR, READINGS, WIRE):
            try:
                stat = (folder / name).stat()
            except OSError:
                parts.append((str(folder / name), -1, -1))
            else:
                parts.append((str(folder.absolute() / name), stat.st_mtime_ns, stat.st_size))
    return tuple(parts)


def _found(
    folders: Sequence[Path], machine: Machine, warnings: list[str], accepted: Mapping[str, frozenset[str]]
) -> dict[str, Findings]:
    from logger.description.described import as_now, changes_since, moved_since
    from logger.findings import find
    from logger.recording import open_recording

    by_set_up: dict[str, list[Recording]] = {}
    for folder in folders:
        try:
            recording = open_recording(folder)
        except BadFile as fault:
            warnings.append(f"Sweep {folder.name} cannot be opened and is left out: {fault.what}")
            continue
        if (moved := moved_since(recording, machine)) is not None:
            warnings.append(moved)
            continue
        warnings += [said for said in [changes_since(recording, machine)] if said is not None]
        by_set_up[recording.set_up] = [*by_set_up.pop(recording.set_up, []), as_now(recording, machine)]
    found: dict[str, Findings] = {}
    for set_up, recordings in by_set_up.items():
        try:
            found[set_up] = find(recordings, accepted)
        except (NotAllowed, NotUnderstood) as fault:
            warnings.append(f"Set-up {set_up} is left out: {fault.what}")
    return found
