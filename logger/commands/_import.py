"""What ``import`` does: read the table as told, write the recording, enter it in the journal, say what is in it.

Why it exists: see ``import``. Everything is understood and checked before the recording's folder is made.
"""

from __future__ import annotations

import argparse
from pathlib import Path

from logger.commands import Answer
from logger.commands._job import open_job, the_set_up
from logger.errors import NotAllowed

SEPARATORS = {"comma": ",", "semicolon": ";", "tab": "\t", "bar": "|", ",": ",", ";": ";", "|": "|", "\\t": "\t"}


def import_(args: argparse.Namespace) -> Answer:
    """``truestroke import``."""
    from logger.record.imported_table import columns_of, read_table

    columns = columns_of(args.columns)
    if args.separator is not None and args.separator not in SEPARATORS:
        raise NotAllowed(f"--separator '{args.separator[:10]}' is not known.", "Allowed: comma, semicolon, tab or bar.")
    if args.decimal is not None and args.decimal not in (",", "."):
        raise NotAllowed(f"--decimal '{args.decimal[:10]}' is not known.", "Allowed: , or .")
    job = open_job(args)
    set_up = the_set_up(job, args.set_up)
    source = Path(args.file)
    args.terminal.progress(f"Reading {source.name} ...")
    table = read_table(source, columns, separator=SEPARATORS.get(args.separator or ""), decimal=args.decimal)
    from logger.commands._ended import wrap_up
    from logger.record.imported import plan_of, write

    plan = plan_of(job, set_up, table, source.name, heights=args.kind == "heights")
    args.terminal.progress("Writing the recording ...".ljust(60))
    folder, ended = write(job, set_up, plan, source, columns)
    return wrap_up(job, folder, ended, list(plan.notes), plan.instrument, source.name)
