"""The sheet of a typed sweep: what is asked at each station, and the recording it becomes as it is typed.

Why it exists: the command line and the screen fill in the same sheet, so that a dial read at the saw is the same record
wherever it was typed. It prevents readings that exist only in a form until somebody presses save: each line is on disk
as it is typed, the refused ones too.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from logger.clock import Start, now_ns
from logger.decode.typed import NOT_READABLE, Refused, read_typed
from logger.link.wire import Interpreter, WireRow
from logger.readings import Ended

if TYPE_CHECKING:
    from pathlib import Path

    from logger.instruments import Instrument
    from logger.machines import Machine

AGAIN, END = "<", "end"
MOST_CHARACTERS = 200


class Sheet:
    """The recording a typed sweep becomes: a mark and a line for each station, on disk as they are typed.

    A line that is refused is kept too, without a mark, so that it stands with the station before and is no reading; a
    line typed again for the station before has no mark either, and the last reading after a mark counts.
    """

    def __init__(
        self,
        folder: Path,
        machine: Machine,
        instrument: Instrument,
        name: str,
        set_up: str,
        stations_mm: tuple[float, ...],
        passes: int,
    ) -> None:
        from logger.decode import make_decoder
        from logger.record.writing import Description, RecordingWriter

        self._start = Start.now()
        about = Description(
            set_up=set_up,
            passes=passes,
            stations_mm=stations_mm,
            port="keyboard",
            instrument=instrument.source_text,
            instrument_name=name,
            machine=machine.source_text,
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
        why = self.fault(text)
        self._write(text, marked=not why)
        self.done += not why
        return why

    def correct(self, text: str) -> str:
        """The line of the station before, typed again; why it is refused, or ""."""
        self._write(text, marked=False)
        return self.fault(text)

    def finish(self, how: str) -> Ended:
        """Complete the recording."""
        ended = Ended(self._start.since(now_ns()), how)
        self._writer.write_records(self._interpreter.finish())
        self._writer.finish(ended, self._interpreter.totals)
        return ended

    def fault(self, text: str) -> str:
        """Why a line is no reading; empty where it is one, or says that there is none."""
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
