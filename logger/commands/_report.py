"""What ``report`` does: gather, lay out, write.

Why it exists: a report replaces the one before it, and nothing else: a file that is not a report of this program is
never overwritten, and a half-written one never takes a whole one's place.
"""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import TYPE_CHECKING, Any

from logger.commands import Answer
from logger.commands._job import open_job
from logger.commands._progress import bar
from logger.errors import CannotSave, NotAllowed
from logger.report.files import refuse_what_is_not_ours, write_whole
from logger.wording import plural

if TYPE_CHECKING:
    from logger.report.facts import Facts
    from logger.report.shapes import Picture


def report(args: argparse.Namespace) -> Answer:
    """``truestroke report``."""
    job = open_job(args)
    target = Path(args.out) if args.out else job.folder / ("sheet.html" if args.sheet else "report.html")
    refuse_what_is_not_ours(target)
    folder = Path(args.pictures) if args.pictures else None
    if folder is not None and folder.exists() and not folder.is_dir():
        raise NotAllowed(f"{folder} is a file, not a folder.", "Name another folder after --pictures.")
    args.terminal.progress("Reading the job ...")
    from logger.report.facts import as_json, gather
    from logger.report.page import page, pictures

    facts = gather(job, progress=bar(args.terminal, "rounds of the rail"))
    args.terminal.progress("Laying out the report ...".ljust(60))
    data = page(facts, args.units, sheet=args.sheet).encode("utf-8")
    write_whole(target, data)
    drawn = write_pictures(args, pictures(facts, args.units), folder) if folder is not None else []
    answer: dict[str, Any] = {"report": str(target), "bytes": len(data), "pictures": drawn, **as_json(facts)}
    return Answer(answer, _lines(facts, target, data, drawn, args.sheet))


def _lines(facts: Facts, target: Path, data: bytes, drawn: list[str], sheet: bool) -> list[str]:
    what = "sheet" if sheet else "report"
    lines = [f"Wrote the {what} to {target} ({len(data) / 1000:.0f} kB)."]
    if not facts.measured:
        lines.append(f"  Nothing has been measured yet, and the {what} says so. Begin with: truestroke board")
    elif facts.not_done:
        lines.append(f"  It names {plural(len(facts.not_done), 'thing')} that {_was(len(facts.not_done))} not done.")
    if drawn:
        lines.append(f"  {plural(len(drawn), 'picture')} in {Path(drawn[0]).parent}")
    return lines


def _was(count: int) -> str:
    return "was" if count == 1 else "were"


def write_pictures(args: argparse.Namespace, drawn: dict[str, Picture], folder: Path) -> list[str]:
    """Write pictures by name into ``folder`` in the form ``args`` asks for; the files' names."""
    from logger.report import raster
    from logger.report.svg import svg

    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise CannotSave(f"{folder} cannot be made: {error.strerror or error}.", "Choose another place.") from error
    told = bar(args.terminal, "pictures")
    written = []
    for number, (name, picture) in enumerate(drawn.items(), 1):
        path = folder / f"{name}.{args.form}"
        if args.form == "svg":
            write_whole(path, svg(picture, alone=True).encode("utf-8"))
        else:
            raster.save(picture, path)
        written.append(str(path))
        told(number, len(drawn))
    return written
