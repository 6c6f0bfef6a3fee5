"""One question before something that is hard to undo: what will happen, and what stays as it is.

Why it exists: a wrong key must cost nothing. The question says what would be done and what would not; only ``y`` does
it.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from typing import ClassVar

from textual.widget import Widget

from logger.tui.keys import ASK_FIRST, Key
from logger.tui.screens.base import Sheet
from logger.tui.widgets.lines import BOLD, INK, Line, Lines, wrap


class ConfirmScreen(Sheet):
    """``y`` calls ``yes``; ``n`` and escape call ``no``, which is nothing unless given."""

    NAME = "sure?"
    KEYS: ClassVar[tuple[Key, ...]] = ASK_FIRST

    def __init__(
        self, question: str, more: str, yes: Callable[[], object], no: Callable[[], object] | None = None
    ) -> None:
        super().__init__()
        self._question = question
        self._more = more
        self._yes = yes
        self._no = no

    def body(self) -> Iterable[Widget]:
        yield Lines(id="question", fixed=True)

    DEFAULT_CSS = "ConfirmScreen #question { height: 1fr; }"

    def fit(self) -> None:
        width = max(20, min(100, self.app.size.width - 6))
        lines: list[Line] = [[], *[[(f"  {part}", BOLD)] for part in wrap(self._question, width)], []]
        lines += [[(f"  {part}", INK)] for part in wrap(self._more, width)]
        lines += [[], [("  Press y to do it, n to leave everything as it is.", INK)]]
        self.query_one("#question", Lines).show(lines)

    def action_yes(self) -> None:
        """Do it."""
        self.app.pop_screen()
        self._yes()

    def action_back(self) -> None:
        """Leave everything as it is."""
        self.app.pop_screen()
        if self._no is not None:
            self._no()
