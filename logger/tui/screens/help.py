"""What to do on this screen, and every key of it.

Why it exists: help says what to do now, not what the program is. The keys come from the one table of keys.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import ClassVar

from textual.widget import Widget

from logger.tui.keys import ALWAYS, Key
from logger.tui.screens.base import Sheet
from logger.tui.widgets.chrome import KEY_NAMES
from logger.tui.widgets.lines import BOLD, INK, SOFT, Line, Lines, wrap

WHAT_TO_DO = {
    "truestroke": "Choose where the indicator is plugged in, what it is and where it stands. Press l and move the tip "
    "by hand: the number must move as you expect. Then sweep, or look at the height live.",
    "live": "The right half is the carriage, the left half the table; between the two lines is right. Set the tip "
    "on the table and press z, or on a block and press r, before you trust the height.",
    "turn": "Turn the bolt until the block stands between the two lines and the word says stop. Tighten the lock nut, "
    "press l to see what it moved, then enter.",
    "sweep": "Push the carriage steadily from end to end. Press space each time its middle passes a mark on the rail. "
    "At the far end press enter and come back the same way.",
    "findings": "Solid above the lines is too high, dotted below is too low, hatched was not seen. The table says "
    "which bolt to turn, where to park and what the display must show when it is right. Start with the marked row.",
    "replay": "A recorded sweep, drawn as it was recorded. Space stops it, the arrows jump.",
    "before you turn": "Read the five lines. Press y only if all of them are so.",
    "why": "How the findings came about. ± is the expanded uncertainty, k = 2, about 95 in 100.",
    "type it": "Type, then enter. Escape leaves everything as it was.",
}


class HelpScreen(Sheet):
    """Help for the screen it was called from."""

    NAME = "help"
    KEYS: ClassVar[tuple[Key, ...]] = (
        Key("help.back", "escape", "back", "back", "back to the screen"),
        Key("help.close", "question_mark", "back", "", "back to the screen"),
    )

    def __init__(self, about: str, keys: tuple[Key, ...]) -> None:
        super().__init__()
        self._about = about
        self._keys = keys

    def body(self) -> Iterable[Widget]:
        yield Lines(id="help")

    def fit(self) -> None:
        self.head(self._about)
        width = max(30, min(100, self.app.size.width - 4))
        lines: list[Line] = [[]]
        lines += [[(f"  {part}", INK)] for part in wrap(WHAT_TO_DO.get(self._about, ""), width - 2)]
        lines.append([])
        own = {key.key for key in self._keys}
        for key in (*self._keys, *(key for key in ALWAYS if key.key not in own)):
            name = KEY_NAMES.get(key.key, key.key)
            lines.append([(f"  {name:>9}  ", BOLD), (key.help[: width - 12], SOFT)])
        lines.append([(f"  {'ctrl-p':>9}  ", BOLD), ("every action by name", SOFT)])
        self.query_one("#help", Lines).show(lines)
