"""What each bolt does to the reading: believed before anything was turned, and learned from what was.

Why it exists: the advice rests on this and on nothing else. Where the two differ, the machine is not as it was
described, and one may look why.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import ClassVar

import numpy as np
from textual import work
from textual.widget import Widget
from textual.worker import Worker, WorkerState

from logger.advising.response import Responses
from logger.errors import TruestrokeError
from logger.rail_picture import Bolt, Curve, RailPicture
from logger.tui.keys import RESPONSE, Key
from logger.tui.screens.base import Sheet
from logger.tui.widgets.lines import BOLD, INK, SOFT, Line, Lines, wrap
from logger.tui.widgets.rail import Rail
from logger.tui.wording import Units
from logger.wording import number


class ResponseScreen(Sheet):
    """One bolt's response as a picture, all of them as a table."""

    NAME = "response"
    KEYS: ClassVar[tuple[Key, ...]] = RESPONSE

    DEFAULT_CSS = """
    ResponseScreen #words { height: 2; margin-top: 1; }
    ResponseScreen #table { height: 1fr; margin-top: 1; }
    """

    def __init__(self) -> None:
        super().__init__()
        self.responses: Responses | None = None
        self.chosen = 0

    def body(self) -> Iterable[Widget]:
        yield Rail(Units(), id="rail")
        yield Lines(id="words", fixed=True)
        yield Lines(id="table", fixed=True)

    def on_mount(self) -> None:
        super().on_mount()
        self.query_one("#words", Lines).show([[("  learning from every round of the journal; a few seconds", SOFT)]])
        self._learn_in_thread()

    def fit(self) -> None:
        self.query_one("#rail", Rail).fit()
        self.show()

    @work(thread=True, exclusive=True, group="response", exit_on_error=False)
    def _learn_in_thread(self) -> Responses | None:
        job = self.session.job
        return self.session.parts.responses(job) if job is not None else None

    def on_worker_state_changed(self, event: Worker.StateChanged) -> None:
        """The responses, or why there are none."""
        if event.worker.group != "response" or event.state not in (WorkerState.SUCCESS, WorkerState.ERROR):
            return
        if event.state is WorkerState.ERROR:
            error = event.worker.error
            if not isinstance(error, TruestrokeError):
                raise error or RuntimeError("a thread failed without a reason")
            self.query_one("#words", Lines).show([])
            self.say_error(error)
            return
        self.responses = event.worker.result
        self.show()

    def show(self) -> None:
        """Picture and table."""
        found, machine = self.responses, self.session.machine
        self.head(machine.name)
        if found is None:
            return
        name = found.bolts[self.chosen]
        bolts = tuple(Bolt(bolt.name, bolt.x_mm, bolt.y_mm, current=bolt.name == name) for bolt in machine.bolts)
        learned, believed = found.learned[:, self.chosen], found.believed[:, self.chosen]
        edges = ((machine.rail.from_mm, float(found.x_mm[0])), (float(found.x_mm[-1]), machine.rail.to_mm))
        picture = RailPicture(
            machine.rail.from_mm,
            machine.rail.to_mm,
            bolts,
            curve=Curve(found.x_mm, learned, found.uncertainty[:, self.chosen], edges),
            expected=Curve(found.x_mm, believed, not_seen=edges),
        )
        rail = self.query_one("#rail", Rail)
        rail.units = Units("mm", "mm/m" if found.unit == "mm/m" else "mm")
        rail.show(picture)
        self.head(f"{name} raised by 1 mm, read in {found.set_up}", _learned_from(found.turns))
        letters = self.query_one("#words", Lines).letters
        words = (
            f"Solid: what is believed now. {letters.expected}{letters.expected}: before anything was turned. "
            "Drawn is the change of the reading when the carriage's middle is there."
        )
        width = self.app.size.width - 4
        self.query_one("#words", Lines).show([[(f"  {part}", SOFT)] for part in wrap(words, width)[:2]])
        self.query_one("#table", Lines).show(self._rows(found))

    def _rows(self, found: Responses) -> list[Line]:
        block = self.query_one("#table", Lines)
        letters = block.letters
        room = max(2, block.size.height - 1)
        rows: list[Line] = []
        for index, name in enumerate(found.bolts):
            learned = found.learned[:, index]
            most = int(np.argmax(np.abs(learned)))
            spread = float(found.uncertainty[most, index])
            at = index == self.chosen
            seen = abs(float(learned[most])) >= spread
            where = f"at {found.x_mm[most]:.0f}"
            text = (
                f"  {letters.chosen if at else ' '} {name:<6}{number(float(learned[most]), 2, sign=True):>7} "
                f"±{number(max(spread, 0.01), 2, sign=False)}  {where:<9}"
                f"{number(float(found.believed[most, index]), 2, sign=True):>8}"
                f"{'' if seen else '     hardly seen from here'}"
            )
            rows.append([(text, BOLD if at else INK)])
        first = max(0, min(self.chosen - room // 2, len(rows) - room))
        heading: Line = [(f"    {'bolt':<6}{'most now':>11}     where    {'before':>8}    {found.unit} for 1 mm", SOFT)]
        return [heading, *rows[first : first + room]]

    def action_choose(self, by: int) -> None:
        """Another bolt, round and round."""
        if self.responses is not None:
            self.chosen = (self.chosen + by) % len(self.responses.bolts)
            self.show()


def _learned_from(turns: int) -> str:
    return "nothing turned yet" if not turns else f"learned from {turns} turn{'s' if turns > 1 else ''}"
