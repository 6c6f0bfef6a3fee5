"""``sweep --typed``: readings typed in at the stations, for a dial, a bubble, feelers or a gauge that types.

Why it exists: a sweep without a wire must become the same record as one with: a mark and the line as it was typed, for
each station. It prevents numbers on the back of a box, a point left out (refused on the spot), and a feeler gap written
down as a number it is not: ``0.10..0.15`` is kept as the interval.
"""

from __future__ import annotations

import argparse
import sys
from typing import TYPE_CHECKING

from logger.clock import Start, now_ns
from logger.commands import Answer
from logger.decode.typed import NOT_READABLE, Refused, read_typed
from logger.errors import NotAllowed
from logger.readings import Ended
from logger.wire import Interpreter, WireRow
from logger.wording import nearest

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

    from logger.instruments import Instrument
    from logger.job import Job

DEFAULTS = {"mm": "typed-mm", "mm/m": "typed-level"}
AGAIN, END = "<", "end"
MOST_CHARACTERS = 200
HELP = (
    "At each station type what the instrument shows and press Enter: 0.12, +4 thou, or 0.10..0.15 for the feeler leaf "
    "that goes and the one that does not. '-' = it cannot be read here; '<' = type the one before again; 'end' = stop. "
    "Isolate and lock out the power before hands go near blade or cutter."
)


def sweep(args: argparse.Namespace, job: Job, set_up: str) -> Answer:
    """A sweep whose readings are typed."""
    from logger.commands._record import fits, the_stations, wrap_up

    instrument, name = _instrument(args, job, set_up)
    fits(job, set_up, instrument)
    wanted, notes = the_stations(args, job)
    if not wanted:
        raise NotAllowed("A typed sweep needs its stations.", "Name them: --marks 0,500,1000,...")
    folder = job.next_recording_folder(set_up)
    sheet = Sheet(folder, job, instrument, name, set_up, wanted, args.passes)
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
        terminal.note(HELP)
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


class Sheet:
    """The recording a typed sweep becomes: a mark and a line for each station, on disk as they are typed.

    A line that is refused is kept too, without a mark, so that it stands with the station before and is no reading; a
    line typed again for the station before has no mark either, and the last reading after a mark counts.
    """

    def __init__(
        self,
        folder: Path,
        job: Job,
        instrument: Instrument,
        name: str,
        set_up: str,
        stations_mm: tuple[float, ...],
        passes: int,
    ) -> None:
        from logger.decode import make_decoder
        from logger.recording_write import Description, RecordingWriter

        self._start = Start.now()
        about = Description(
            set_up=set_up,
            passes=passes,
            stations_mm=stations_mm,
            port="keyboard",
            instrument=instrument.source_text,
            instrument_name=name,
            machine=job.machine.source_text,
            unit=instrument.unit,
            resolution=instrument.step,
        )
        self._writer = RecordingWriter(folder, about, self._start.utc, self._start.monotonic_ns)
        self._spec = instrument.frame_spec()
        self._interpreter = Interpreter(make_decoder(self._spec))
        along = (stations_mm, stations_mm[::-1])
        self.places = [(number + 1, x) for number in range(passes) for x in along[number % 2]]
        self.done = 0
        self._last_ns = 0

    @property
    def complete(self) -> bool:
        return self.done >= len(self.places)

    def question(self, again: bool = False) -> str:
        """What is asked now."""
        number, x_mm = self.places[self.done - again]
        word = "again, " if again else ""
        return f"{word}pass {number}, carriage at {x_mm:g} mm ({self.done + 1 - again} of {len(self.places)}):"

    def take(self, text: str) -> str:
        """A line for the station whose turn it is; why it is refused, or ""."""
        why = self._fault(text)
        self._write(text, marked=not why)
        self.done += not why
        return why

    def correct(self, text: str) -> str:
        """The line of the station before, typed again; why it is refused, or ""."""
        self._write(text, marked=False)
        return self._fault(text)

    def finish(self, how: str) -> Ended:
        """Complete the recording."""
        ended = Ended(self._start.since(now_ns()), how)
        self._writer.write_records(self._interpreter.finish())
        self._writer.finish(ended, self._interpreter.totals)
        return ended

    def _fault(self, text: str) -> str:
        if text.strip() in NOT_READABLE:
            return ""
        found = read_typed(text[:MOST_CHARACTERS], self._spec)  # type: ignore[arg-type]
        return found.why if isinstance(found, Refused) else ""

    def _write(self, text: str, *, marked: bool) -> None:
        """Disk first, then what it means; each row a step later than the last, so that their order stays."""
        line = " ".join(text[:MOST_CHARACTERS].split()).encode("utf-8", "replace") + b"\n"
        rows = [WireRow(self._next_ns(), "key", b"")] if marked else []
        rows.append(WireRow(self._next_ns(), "in", line))
        self._writer.write_wire(rows)
        self._writer.write_records([record for row in rows for record in self._interpreter.records(row)])
        self._writer.sync_soon()

    def _next_ns(self) -> int:
        self._last_ns = max(self._last_ns + 1000, self._start.since(now_ns()))
        return self._last_ns
