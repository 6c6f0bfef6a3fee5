"""``truestroke export``: recordings as files other programs read.

Why it exists: measurements outlive the tool that took them. What leaves is plain CSV with a Data Package descriptor
that says what each column is and in which unit.
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
        "export",
        "Copies one recording, or all of the job, to a new folder: readings.csv (RFC 4180, UTF-8, the units in\n"
        "the descriptor), the bytes as they arrived, and datapackage.json. With 'all', one Data Package holds every\n"
        "recording, the journal, the moves and the checks as tables. Nothing that exists is overwritten.",
        "  truestroke export 3 /media/stick/saw\n  truestroke export all out",
    )
    parser.add_argument("sweep", metavar="SWEEP", help="number, name or path of a recording, or 'all'")
    parser.add_argument("destination", metavar="DEST", help="the folder to write to; made if needed")


def run(args: argparse.Namespace) -> Answer:
    from pathlib import Path

    from logger.commands._job import open_job
    from logger.record.export import export
    from logger.record.finding import find_recording

    job = open_job(args)
    destination = Path(args.destination)
    if args.sweep == "all":
        from logger.commands._progress import bar
        from logger.errors import NotAllowed
        from logger.record.package import export_job

        if not (job.recordings("sweep") or job.recordings("live") or job.entries()):
            raise NotAllowed(f"{job.folder} has no recording to export.", "Record one with 'truestroke sweep'.")
        folder, said = export_job(job, destination, bar(args.terminal, "recordings"))
        recordings = sorted(str(each.parent) for each in folder.glob("*/*/datapackage.json"))
        lines = [f"Wrote the whole job to {folder}; datapackage.json describes every table."]
        facts = {"exported": recordings, "package": str(folder / "datapackage.json"), "warnings": said}
        return Answer(facts, [*lines, *[f"  note: {each}" for each in said]])
    written = [str(export(each, destination / each.name)) for each in [find_recording(job, args.sweep)]]
    return Answer({"exported": written}, [f"Wrote {each}" for each in written])
