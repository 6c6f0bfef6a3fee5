"""``truestroke verify``: is a recording still what the wire said?

Why it exists: measurements are evidence. A recording carries checksums of itself; this says whether they still hold,
and which row was torn or edited where they do not.
"""

from __future__ import annotations

from logger.commands import Answer, new_parser

TYPE_CHECKING = False
if TYPE_CHECKING:
    import argparse

    from logger.commands import Subparsers


def add_parser(subparsers: Subparsers) -> None:
    parser = new_parser(
        subparsers,
        "verify",
        "Checks every recording of the job, or those named, against the checksums and counts written at its end.\n"
        "Changes nothing. Exit code 2 when one has a fault.",
        "  truestroke verify\n  truestroke verify 3 0004-across --json",
    )
    parser.add_argument("sweeps", metavar="SWEEP", nargs="*", help="number, name or path (default: all of the job)")


def run(args: argparse.Namespace) -> Answer:
    from logger.commands._job import open_job
    from logger.errors import BadFile
    from logger.record.finding import find_recording
    from logger.recording import verify
    from logger.wording import plural

    job = open_job(args)
    folders = [find_recording(job, each) for each in args.sweeps] or job.recordings("sweep") + job.recordings("live")
    inside = [place.parent for folder in folders for place in folder.glob("*/datapackage.json")]  # an encoder's
    faults = {folder.name: verify(folder) for folder in folders}
    faults |= {f"{folder.parent.name}/{folder.name}": verify(folder) for folder in inside}
    bad = [name for name, found in faults.items() if found]
    lines = [f"{name}: {'; '.join(found) if found else 'sound'}" for name, found in faults.items()]
    rows = [{"sweep": name, "sound": not found, "faults": found} for name, found in faults.items()]
    failure = None
    if bad:
        failure = BadFile(
            f"{plural(len(bad), 'recording')} of {len(faults)} {'has a fault' if len(bad) == 1 else 'have faults'}: "
            f"{', '.join(bad)}.",
            "What can still be read of them is used, with a warning; record again where it matters.",
        )
    return Answer({"recordings": rows, "sound": not bad}, lines or ["This job has no recording yet."], failure)
