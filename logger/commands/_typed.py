"""``sweep --typed``: readings typed in at the stations, for a dial, a bubble, feelers or a gauge that types.

Why it exists: a sweep without a wire must become the same record as one with: a mark and the line as it was typed, for
each station. It prevents numbers on the back of a box, a point left out (refused on the spot), and a feeler gap written
down as a number it is not: ``0.10..0.15`` is kept as the interval.
"""

from __future__ import annotations

import argparse
import sys
from typing import TYPE_CHECKING

from logger.commands import Answer
from logger.commands._ended import wrap_up
from logger.commands._numbers import the_stations
from logger.errors import NotAllowed
from logger.record.typed_sheet import AGAIN, END, Sheet
from logger.wording import nearest

if TYPE_CHECKING:
    from collections.abc import Callable

    from logger.instruments import Instrument
    from logger.job import Job

DEFAULTS = {"mm": "typed-mm", "mm/m": "typed-level"}
HELP = (
    "At each station type what the instrument shows and press Enter: 0.12, +4 thou,",
    "or 0.10..0.15 for the feeler leaf that goes and the one that does not.",
    "'-' = it cannot be read here; '<' = type the one before again; 'end' = stop.",
    "Isolate and lock out the power before hands go near blade or cutter.",
)


def sweep(args: argparse.Namespace, job: Job, set_up: str) -> Answer:
    """A sweep whose readings are typed."""
    from logger.link.beside_asked import fits

    instrument, name = _instrument(args, job, set_up)
    fits(job, set_up, instrument)
    wanted, notes = the_stations(args, job)
    if not wanted:
        raise NotAllowed("A typed sweep needs its stations.", "Name them: --marks 0,500,1000,...")
    folder = job.next_recording_folder(set_up)
    sheet = Sheet(folder, job.machine, instrument, name, set_up, wanted, args.passes)
    try:
        refused = _fill(sheet, args)
    except KeyboardInterrupt:
        sheet.finish("operator")
        args.terminal.note(f"What was typed is kept in {folder}; it is not counted as a sweep.")
        raise
    ended = sheet.finish("passes" if sheet.complete else "operator")
    return wrap_up(job, folder, ended, [*notes, *refused], instrument, "the keyboard")


def _instrument(args: argparse.Namespace, job: Job, set_up: str) -> tuple[Instrument, str]:
    from logger.instruments import list_instruments, load_instrument

    if args.port is not None or args.with_:
        raise NotAllowed("--typed and a port do not go together.", "Leave out --typed to read from the port.")
    level = job.machine.set_ups[set_up].kind == "level"
    name = args.instrument or DEFAULTS["mm/m" if level else "mm"]
    instrument = load_instrument(name)
    if instrument.frame != "typed":
        typed = [each for each in list_instruments() if each.startswith("typed")]
        raise NotAllowed(f"{name} is not typed{nearest(name, typed)}.", f"For typing there are {', '.join(typed)}.")
    return instrument, name


def _fill(sheet: Sheet, args: argparse.Namespace) -> list[str]:
    """Ask at each station until all are read or the person stops; what was refused where nobody could be asked."""
    terminal, refused = args.terminal, []
    if terminal.interactive:
        for line in HELP:
            terminal.note(line)
    ask: Callable[[str], str | None] = terminal.ask if terminal.interactive else _from_standard_input
    again = False
    while not sheet.complete:
        text = ask(sheet.question(again))
        if text is None or text.strip().lower() == END:
            break
        if text.strip() == AGAIN and sheet.done and not again:
            again = True
            continue
        why = sheet.correct(text) if again else sheet.take(text)
        if not why:
            again = False
        elif terminal.interactive:
            terminal.note(f"Not taken: {why}.")
        else:
            refused.append(f"'{text.strip()[:40]}' was not taken: {why}")
    return refused


def _from_standard_input(_question: str) -> str | None:
    line = sys.stdin.readline()
    return line if line else None
