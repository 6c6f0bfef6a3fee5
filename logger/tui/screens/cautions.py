"""What must be so before a hand goes near a bolt, with a key that says it is.

Why it exists: the screen after this one asks for a wrench under a machine that can take a hand off. It comes once for
every bolt, because power is switched on again between bolts.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from typing import ClassVar

from textual.widget import Widget

from analysis.results import Move
from logger.advising.turn_steps import steps_of
from logger.tui.keys import CAUTION, Key
from logger.tui.screens.base import Sheet
from logger.tui.widgets.lines import BOLD, INK, SOFT, Line, Lines, wrap
from logger.tui.wording import AFTER_CAUTIONS, CAUTIONS


class CautionsScreen(Sheet):
    """Asks once, goes on only with ``y``."""

    NAME = "before you turn"
    KEYS: ClassVar[tuple[Key, ...]] = CAUTION
    TOUR_STEP = "cautions"

    def __init__(self, move: Move, confirmed: Callable[[], None], more: Sequence[str] = ()) -> None:
        super().__init__()
        self._move = move
        self._confirmed = confirmed
        self._more = tuple(more)

        self._top = 0

    DEFAULT_CSS = "CautionsScreen #cautions { height: 1fr; }"

    def body(self) -> Iterable[Widget]:
        yield Lines(id="cautions", fixed=True)

    def on_mount(self) -> None:
        super().on_mount()
        self.head(f"{self._move.bolt}, the carriage parked at {self._park()}")

    def _park(self) -> str:
        return "its place" if self._move.park_mm is None else self.units.position(self._move.park_mm)

    def fit(self) -> None:
        width = max(20, min(100, self.app.size.width - 6))
        lines: list[Line] = [[]]
        if self._more:
            for caution in self._more:
                first, *rest = wrap(caution, width)
                lines += [[(f"  · {first}", INK)], *[[(f"    {part}", INK)] for part in rest]]
        else:
            for title, text in CAUTIONS:
                lines.append([(f"  {title}", BOLD)])
                words = text.format(park=self._park(), bolt=self._move.bolt)
                lines += [[(f"    {part}", INK)] for part in wrap(words, width)]
        lines += [
            [],
            [(f"  {AFTER_CAUTIONS}", SOFT)],
            [("  Electrical isolation is licensed work in many places.", SOFT)],
        ]
        steps: list[Line] = [[], [("  then", BOLD)]]
        for number, step in enumerate(steps_of(self.session.machine, self._move, self.truestroke.units_mode), 1):
            steps += [[(f"    {part}", INK)] for part in wrap(f"{number}. {step}", width - 2)]
        self._top, shown = self.rows_of_page([*lines, *steps], self._top, max(1, self.app.size.height - 4))
        self.query_one("#cautions", Lines).show(shown)

    def action_scroll(self, by: int) -> None:
        """Further down or up."""
        self._top = max(0, self._top + by)
        self.fit()

    def action_confirm(self) -> None:
        """All of this is so."""
        self.app.pop_screen()
        self._confirmed()
