"""Which job, which sweeps, which set-up: what the commands have in common.

Why it exists: a profile made of sweeps from before and after a bolt was turned shows a machine that never was. So the
default is the newest state of the machine (all sweeps of one set-up since the last moves), and a sweep that the last
moves have made stale is named and refused unless it is asked for by name.
"""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from logger.errors import NotAllowed
from logger.record.finding import find_recording

TYPE_CHECKING = False
if TYPE_CHECKING:
    import argparse

    from logger.job import Job
    from logger.recording import Recording


def open_job(args: argparse.Namespace) -> Job:
    """The job named by ``--job``; raises ``BadFile`` with every fault of its machine.yaml."""
    from logger.job import Job

    return Job.open(Path(args.job))


def sweeps_to_judge(job: Job, asked: Sequence[str]) -> tuple[list[Recording], list[str]]:
    """The recordings to judge together, and warnings: those asked for by name, or the newest state of the machine.

    Raises ``NotAllowed`` where there is none, where the newest is from before the last moves, or where those asked for
    belong to different set-ups or different states of the machine.
    """
    from logger.recording import open_recording

    if not asked:
        return [open_recording(folder) for folder in _newest_state(job)], []
    recordings = [open_recording(find_recording(job, each)) for each in asked]
    set_ups = sorted({recording.set_up for recording in recordings})
    if len(set_ups) > 1:
        raise NotAllowed(
            f"These sweeps belong to different set-ups ({', '.join(set_ups)}).", "Judge one set-up at a time."
        )
    state = _state_of_each_sweep(job)
    rounds = {recording.name: state[recording.name] for recording in recordings if recording.name in state}
    if len(set(rounds.values())) > 1:
        if not _moved_between(job, min(rounds.values()), max(rounds.values())):
            raise NotAllowed(
                f"These sweeps ({', '.join(rounds)}) are of different visits; a machine moves by itself meanwhile.",
                "Judge them one by one, or set them side by side: truestroke history --compare A B.",
            )
        raise NotAllowed(
            f"Bolts were turned between these sweeps ({', '.join(rounds)}), so they show two different machines.",
            "Judge the sweeps from before and from after the moves one by one.",
        )
    last = len(job.rounds())
    moved = [name for name, number in rounds.items() if _moved_after(job, number)]
    early = [name for name, number in rounds.items() if number < last and name not in moved]
    said = [f"{name} is from before the last moves: it shows the machine as it was." for name in moved]
    return recordings, said + [f"{name} is of an earlier visit: it shows the machine as it was then." for name in early]


def _moved_between(job: Job, first: int, last: int) -> bool:
    return any(each.turned for each in job.rounds() if first <= each.number < last)


def _moved_after(job: Job, number: int) -> bool:
    return any(each.turned for each in job.rounds() if each.number >= number)


def _state_of_each_sweep(job: Job) -> dict[str, int]:
    return {name: each.number for each in job.rounds() for name in each.sweeps}


def _newest_state(job: Job) -> list[Path]:
    """All sweeps of the newest sweep's set-up since the last moves."""
    from logger.recording import open_recording

    rounds = [each for each in job.rounds() if each.sweeps]
    if not rounds:
        raise NotAllowed(
            f"{job.folder} has no finished sweep yet.",
            "Record one: truestroke sweep --port PORT --instrument NAME --set-up NAME --marks 0,500,...",
        )
    newest = rounds[-1]
    if newest.turned:
        bolts = ", ".join(each.bolt for each in newest.turned)
        raise NotAllowed(
            f"The newest sweep, {newest.sweeps[-1]}, is from before the last moves ({bolts}): "
            "it no longer shows the machine.",
            f"Sweep again, or name it to see it all the same: truestroke spots {newest.sweeps[-1]}.",
        )
    folders = {folder.name: folder for folder in job.recordings("sweep")}
    set_ups = {name: open_recording(folders[name]).set_up for name in newest.sweeps if name in folders}
    wanted = set_ups[newest.sweeps[-1]]
    return [folders[name] for name, set_up in set_ups.items() if set_up == wanted]


def swept_unit(job: Job, set_up: str | None) -> str:
    """``mm``, or ``mm/m`` where the set-up (default: that of the newest sweep) is a level."""
    from logger.recording import open_recording

    if set_up is None:
        set_up = open_recording(_newest_state(job)[-1]).set_up
    return "mm/m" if job.machine.set_up(set_up).kind == "level" else "mm"


def the_set_up(job: Job, name: str | None) -> str:
    """The set-up by its name in machine.yaml; without a name the only one there is."""
    known = list(job.machine.set_ups)
    if name is None and len(known) == 1:
        return known[0]
    if name is None:
        raise NotAllowed(
            f"Say which set-up the indicator is in: {', '.join(known) or 'machine.yaml describes none'}.",
            "Add --set-up NAME.",
        )
    set_up = job.machine.set_up(name)  # refuses an unknown one, naming the nearest
    return next(each for each in known if job.machine.set_ups[each] is set_up)
