"""Where the places came from, what is doubtful in it, and the person's say: repairs and the choice of a source.

Why it exists: a mark that was left out, an encoder that counts the wrong way or a sweep that began at the other end can
only be put right by somebody who was there. It prevents a repair that nobody agreed to, and one that can be agreed to
in a terminal but not here. What is chosen goes into the journal; nothing recorded is changed, and it can be taken back.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from typing import ClassVar

import numpy as np
from textual.widget import Widget

from analysis.results import Findings
from logger.errors import TruestrokeError
from logger.tui.keys import POSITIONS, Key
from logger.tui.screens.base import Sheet
from logger.tui.widgets.lines import BOLD, INK, SOFT, Line, Lines, wrap
from logger.tui.wording import Units
from logger.wording import plural

SOURCES = ("tool", "encoder", "marks", "strips", "stops", "ends only")
WORDS = {
    "tool": "from the strongest evidence that holds together",
    "encoder": "from the encoder only",
    "marks": "from the marks",
    "strips": "from strips laid at the stations",
    "stops": "from stops at the stations",
    "ends only": "from nothing but the beginning and the end of motion",
}
"""What each choice of a source means."""


@dataclass(frozen=True)
class Choice:
    """One line that can be taken: for which sweeps, what goes into the journal, and what it says."""

    sweeps: tuple[str, ...]
    repair: str
    found: str
    offer: str


def choices_of(findings: Findings) -> list[Choice]:
    """The repairs that are offered, then where positions may come from."""
    repairs = [Choice((each.sweep,), each.key, f"{each.sweep}: {each.found}", each.offer) for each in findings.repairs]
    sources = [
        Choice(findings.sweeps, f"positions from {name}", "", f"take positions {WORDS[name]}") for name in SOURCES
    ]
    return [*repairs, *sources]


class PositionsScreen(Sheet):
    """The places' uncertainty along the stroke, and what can be chosen."""

    NAME = "positions"
    KEYS: ClassVar[tuple[Key, ...]] = POSITIONS

    DEFAULT_CSS = "PositionsScreen #text { height: 1fr; }"

    def __init__(self, findings: Findings, agreed: Callable[[], object]) -> None:
        super().__init__()
        self._findings = findings
        self._agreed = agreed
        self._choices = choices_of(findings)
        self.chosen = 0

    def body(self) -> Iterable[Widget]:
        yield Lines(id="text", fixed=True)

    def fit(self) -> None:
        self.head(self.session.machine.name)
        self._show()

    def units_changed(self) -> None:
        self._show()

    def _show(self) -> None:
        width = max(30, min(110, self.app.size.width - 4))
        lines: list[Line] = [[]]
        for sentence in (*where_from(self._findings, self.units), ""):
            lines += [[(f"  {part}", INK)] for part in wrap(sentence, width)] or [[]]
        first = last = len(lines)
        for number, choice in enumerate(self._choices):
            here = number == self.chosen
            if here:
                first = len(lines)
            lines += [[(f"    {part}", SOFT)] for part in wrap(choice.found, width - 4)] if choice.found else []
            pointer = "> " if here else "  "
            offer = wrap(choice.offer[0].upper() + choice.offer[1:], width - 6)
            lines += [
                [(f"  {pointer if row == 0 else '  '}{part}", BOLD if here else INK)] for row, part in enumerate(offer)
            ]
            if here:
                last = len(lines)
        room = max(1, self.app.size.height - 5)
        top = 0 if last <= room else min(first, last - room)
        self.query_one("#text", Lines).show(lines[top : top + room])

    def action_choose(self, by: int) -> None:
        """Another line."""
        self.chosen = (self.chosen + by) % len(self._choices)
        self._show()

    def action_take(self) -> None:
        """Write it into the journal, and look at the sweep anew."""
        choice = self._choices[self.chosen]
        job = self.session.job
        if job is None:
            return
        try:
            self.session.parts.agree(job, choice.sweeps, choice.repair)
        except TruestrokeError as error:
            self.say_error(error)
            return
        self.app.pop_screen()
        self._agreed()


def where_from(findings: Findings, units: Units) -> list[str]:
    """Sentences: the source and why, how well the places are known along the stroke, what was doubtful."""
    why = f": {findings.position_why}" if findings.position_why else ""
    sentences = [f"Positions come from {findings.position_source}{why}."]
    u, x = findings.position_uncertainty_mm, findings.profile.x_mm
    if u is not None and len(u) == len(x) > 0:
        at = int(np.argmax(u))
        step = max(len(x) // 6, 1)
        along = ", ".join(f"{units.position(float(x[i]))} ±{u[i]:.0f}" for i in range(0, len(x), step))
        sentences.append(f"Places are known to ±{u[at]:.0f} mm at worst, at {units.position(float(x[at]))}.")
        sentences.append(f"Along the stroke (mm): {along}.")
    sentences.append(
        f"{plural(len(findings.repairs), 'repair')} offered. Nothing recorded is changed; it can be taken back."
        if findings.repairs
        else "Nothing in it is doubtful enough for a repair. Where positions come from can be chosen:"
    )
    return sentences
