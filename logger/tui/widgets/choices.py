"""A few options of which one is chosen, and one record of a wire as one line of text."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

from logger.readings import Garbage, LinkBack, LinkLost, Mark, Reading, Record
from logger.tui.widgets.lines import BOLD, INK, SOFT, Line
from logger.wording import number

if TYPE_CHECKING:
    from logger.instruments import Instrument

MOST_DECIMALS = 4


@dataclass
class Choice:
    """One thing to choose: ``options`` as (what is meant, words beside it)."""

    title: str
    options: list[tuple[str, str]]
    index: int = 0

    @property
    def value(self) -> str:
        """What is chosen; empty where there is nothing to choose."""
        return self.options[self.index][0] if self.options else ""

    def move(self, by: int) -> None:
        """The next or previous option; stops at the ends."""
        if self.options:
            self.index = min(len(self.options) - 1, max(0, self.index + by))

    def choose(self, value: str) -> None:
        """The option of that value, where there is one."""
        for index, (option, _) in enumerate(self.options):
            if option == value:
                self.index = index

    def window(self, rows: int) -> tuple[int, list[tuple[str, str]]]:
        """The first index shown and the options shown in ``rows``, the chosen one among them."""
        first = min(max(0, self.index - rows // 2), max(0, len(self.options) - rows))
        return first, self.options[first : first + rows]


def line_of(record: Record, decimals: int = MOST_DECIMALS) -> Line:
    """One record as one line: time, then the reading as sent (``decimals``: the instrument's own), or the bytes and why
    nothing could be made of them."""
    at = (f"   {record.t_ns / 1e9:10.3f} s  ", SOFT)
    if isinstance(record, Reading):
        where = "" if record.position is None else f"   position {number(record.position, 1, sign=False)}"
        channel = f"   channel {record.channel}" if record.channel else ""
        return [at, (f"{number(record.value, decimals, sign=True)} {record.unit}", BOLD), (where + channel, SOFT)]
    if isinstance(record, Garbage):
        return [at, ("not understood ", INK), (repr(record.raw[:60])[2:-1], SOFT), (f"   {record.why}", SOFT)]
    if isinstance(record, Mark):
        return [at, (f"mark ({record.source})", INK)]
    if isinstance(record, LinkLost):
        return [at, (f"link lost: {record.why}", BOLD)]
    if isinstance(record, LinkBack):
        return [at, (f"link back: {record.port}", BOLD)]
    return [at, (type(record).__name__.lower(), SOFT)]


def decimals_of(instrument: Instrument) -> int:
    """How many decimals an instrument shows, in its own unit."""
    resolution = instrument.resolution if instrument.unit != "mm" else instrument.step
    if resolution is None or resolution <= 0:
        return MOST_DECIMALS
    return min(MOST_DECIMALS, max(0, math.ceil(-math.log10(resolution) - 1e-9)))
