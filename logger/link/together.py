"""Several instruments recorded at once as one sweep: a reading process for each, one set of keys, one end.

Why it exists: two instruments on two ports must not wait for each other or share a buffer; so each has a reading
process, a clock and a folder of its own (``logger.record.beside`` lays them on one time base when they are opened).
What they share is the person: a mark is stamped once and goes to all, and the sweep ends for all when it ends for one.
It prevents a cable pulled on one instrument that costs the readings of the other.

The first recorder leads: its state and readings are what is shown. Any of them that ends by its own rule (the last
mark, rest, time) ends all; one that loses its instrument leaves the others running; when the leader is over, the
others get ``GRACE_S`` to end in the same way, then they are stopped.
"""

from __future__ import annotations

import contextlib
from collections.abc import Sequence
from dataclasses import dataclass, replace
from types import TracebackType
from typing import TYPE_CHECKING, Self

from logger.clock import now_ns
from logger.readings import Ended, LinkBack, LinkLost, Reading, Record
from logger.record.beside import places_of
from logger.recorder import Recorder, RecorderSpec, State

if TYPE_CHECKING:
    from pathlib import Path

    from logger.errors import TruestrokeError

GRACE_S = 3.0
ENDS_ALL = ("passes", "still", "time", "operator")


@dataclass(frozen=True)
class Heard:
    """One instrument of the sweep beside the leader: what it is called, what it shows now, how it ended."""

    name: str
    latest: Reading | None
    readings: int
    ended: Ended | None


def linked(specs: Sequence[RecorderSpec]) -> list[RecorderSpec]:
    """The specs with each other's folders in their descriptors."""
    folders: list[Path] = [spec.folder for spec in specs if spec.folder is not None]
    if len(specs) < 2:
        return list(specs)
    return [
        spec
        if spec.folder is None
        else replace(spec, extra={**spec.extra, "together": places_of(spec.folder, folders)})
        for spec in specs
    ]


class Together:
    """Recorders side by side, with the read and the write side of one; a context manager."""

    def __init__(self, recorders: Sequence[Recorder], names: Sequence[str]) -> None:
        self._recorders = tuple(recorders)
        self._names = tuple(names)
        self._lead = self._recorders[0]
        self._lead_over_ns = 0
        self._stopped = False

    @classmethod
    def start(cls, specs: Sequence[RecorderSpec], *, wait_open: bool = True) -> Self:
        """Start them one after the other; raises what kept a port or a folder from opening, with none left running.
        With ``wait_open=False`` returns at once, and ``error`` tells it later."""
        started: list[Recorder] = []
        try:
            for spec in linked(specs):
                started.append(Recorder.start(spec, wait_open=wait_open))
        except BaseException:
            for recorder in started:
                recorder.close()
            raise
        return cls(started, [spec.set_up or "position" for spec in specs])

    # -- the read side

    @property
    def state(self) -> State:
        if all(recorder.state == "ended" for recorder in self._recorders):
            return "ended"
        return self._lead.state if self._lead.state != "ended" else "quiet"

    @property
    def error(self) -> TruestrokeError | None:
        """What kept one of them from opening; then none goes on."""
        return next((recorder.error for recorder in self._recorders if recorder.error is not None), None)

    @property
    def latest(self) -> Reading | None:
        return self._lead.latest

    @property
    def readings(self) -> int:
        return self._lead.readings

    @property
    def garbage(self) -> int:
        return sum(recorder.garbage for recorder in self._recorders)

    @property
    def gaps(self) -> int:
        return sum(recorder.gaps for recorder in self._recorders)

    @property
    def marks(self) -> int:
        return max(recorder.marks for recorder in self._recorders)

    @property
    def ended(self) -> Ended | None:
        """How the leader ended, once all have."""
        return self._lead.ended if self.state == "ended" else None

    @property
    def beside(self) -> list[Heard]:
        """The others, as they stand now."""
        return [
            Heard(name, recorder.latest, recorder.readings, recorder.ended)
            for name, recorder in zip(self._names[1:], self._recorders[1:], strict=True)
        ]

    def drain(self) -> list[Record]:
        """Everything of the leader since the last call, and what happened to the links of the others; never blocks."""
        records = self._lead.drain()
        for name, recorder in zip(self._names[1:], self._recorders[1:], strict=True):
            for record in recorder.drain():
                if isinstance(record, LinkLost):
                    records.append(replace(record, why=f"{name}: {record.why}"))
                elif isinstance(record, LinkBack):
                    records.append(record)
        self._end_together()
        return records

    def _end_together(self) -> None:
        if self.error is not None and not self._stopped:
            self.stop()
        over = [recorder.ended for recorder in self._recorders if recorder.ended is not None]
        if self._stopped or len(over) == len(self._recorders) or not over:
            return
        how = next((ended.how for ended in over if ended.how in ENDS_ALL), "")
        if self._lead.ended is not None and not how:
            self._lead_over_ns = self._lead_over_ns or now_ns()
            if now_ns() - self._lead_over_ns >= GRACE_S * 1e9:
                how = "closed" if self._lead.ended.how == "closed" else "operator"
        if how:
            self.stop(how)

    # -- the write side

    def mark(self) -> None:
        """A position mark, now, for all of them."""
        moment = now_ns()
        for recorder in self._recorders:
            recorder.mark(moment)

    def take_back(self) -> None:
        """The newest mark was a slip, for all of them."""
        moment = now_ns()
        for recorder in self._recorders:
            recorder.take_back(moment)

    def note_gap(self) -> None:
        """What comes now is no reading; said of all of them, because the hand or the snag moved the carriage."""
        for recorder in self._recorders:
            recorder.note_gap()

    def stop(self, how: str = "operator") -> None:
        self._stopped = True
        for recorder in self._recorders:
            if recorder.ended is None:
                recorder.stop(how)

    def wait(self, timeout_s: float) -> Ended | None:
        """How the leader ended, once all are on disk; None where one goes on after so long."""
        due_ns = now_ns() + round(timeout_s * 1e9)
        for recorder in self._recorders:
            if recorder.wait(max(0.0, (due_ns - now_ns()) / 1e9)) is None:
                return None
        return self._lead.ended

    def close(self) -> None:
        with contextlib.ExitStack() as each:
            for recorder in self._recorders:
                each.callback(recorder.close)

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()
