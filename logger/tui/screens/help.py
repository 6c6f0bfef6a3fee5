"""What to do on this screen, and every key of it.

Why it exists: help says what to do now, not what the program is. The keys come from the one table of keys.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import ClassVar

from textual.widget import Widget

from logger.tui.keys import ALWAYS, HELP, Key
from logger.tui.screens.base import Sheet
from logger.tui.widgets.chrome import key_name
from logger.tui.widgets.lines import BOLD, INK, SOFT, Line, Lines, wrap

WHAT_TO_DO = {
    "truestroke": "Choose the machine you stand at and press enter. None is described yet? Press n and answer the form "
    "with a tape measure and the maker's manual; the file it writes can be edited by hand later.",
    "new machine": "Answer line after line; enter goes on. x is measured along the rail, from infeed to outfeed, "
    "from any zero you like. A wrong answer is said under its line; nothing is saved before all of it fits together.",
    "board": "The cursor stands on the check that comes next: press enter and do what it says. For the rail press s to "
    "sweep and f for what was found. What was measured before something under it moved is marked stale.",
    "check": "Read the cautions, set up as it says, then press enter and type what was read. Corrected it already? "
    "Press a, so that what rests on it is measured again.",
    "readings": "Type what was read, line after line; enter goes on, and on the last line takes it all. Words: "
    "first letter, or arrows. Another unit is written out: 4thou, 0.004in. Optional lines may stay empty. Ctrl-r reads "
    "the instrument and puts its number into the line; its own button does the same.",
    "turn by hand": "Tip on, power locked out. Chalk a mark, turn slowly by hand and press space each time it passes "
    "the pointer (or the instrument's own button). After two whole turns it says what it found; three or four say it "
    "better. Enter takes it. Enter without a mark takes the total alone.",
    "result": "Do what stands under 'then move', cautions first. Then press a and measure again. Inside: press enter.",
    "sure?": "Press y only if you mean it; n and escape leave everything as it is.",
    "look once": "Move the tip or the level by hand as it says and watch the display. The number must move that way: "
    "press y. It does not: press n, and switch the instrument's sign or turn the level round.",
    "instrument": "Press i: every port is listened to and the instrument is named. Then lift the tip by hand with l "
    "open: the number must move as you expect. Choose where it stands with tab and the arrows. s sweeps, v is live.",
    "phone": "Point the phone's camera at the code, or type the address. x closes the page; escape leaves it open.",
    "what if": "Choose a bolt with tab, raise or lower it with the arrows, and read what the profile would be. Nothing "
    "is turned and nothing is written down. The faint dots are the rail as it was measured.",
    "response": "Choose a bolt with tab. The picture shows what 1 mm of it does to the reading along the stroke.",
    "sweeps": "Choose a sweep with the arrows. Space keeps it in the picture; then choose another to see both.",
    "live": "The right half is the carriage, the left half the table; between the two lines is right. Set the tip "
    "on the table and press 0, or on a block and press r, before you trust the height.",
    "turn": "Turn the bolt until the block stands between the two lines and the word says stop. Tighten the lock nut, "
    "press l to see what it moved, then enter. Not there after the part of a turn named beside 'stop at', or (on a "
    "foot that only rests) running the other way: turn no further, lock, press enter, and type how far it was turned.",
    "sweep": "Push the carriage steadily from end to end. Press space each time its middle passes a mark on the rail. "
    "At the far end press enter and come back the same way. w records another instrument beside this one.",
    "findings": "Solid above the lines is too high, dotted below is too low, hatched was not seen. The table says "
    "which bolt to turn, where to park and what the display must show when it is right. Press enter on the marked row; "
    "i tries other moves on paper, t weighs fewer bolts against a better chance.",
    "replay": "A recorded sweep, drawn as it was recorded. Space stops it, the arrows jump.",
    "before you turn": "Read all of it, down to the last step. Press y only if all of it is so.",
    "why": "How the findings came about. ± is the expanded uncertainty, k = 2, about 95 in 100.",
    "type it": "Type, then enter. Escape leaves everything as it was.",
}


class HelpScreen(Sheet):
    """Help for the screen it was called from."""

    NAME = "help"
    KEYS: ClassVar[tuple[Key, ...]] = HELP

    DEFAULT_CSS = "HelpScreen #help { height: 1fr; }"

    def __init__(self, about: str, keys: tuple[Key, ...]) -> None:
        super().__init__()
        self._about = about
        self._keys = keys
        self._top = 0

    def body(self) -> Iterable[Widget]:
        yield Lines(id="help", fixed=True)

    def fit(self) -> None:
        self.head(self._about)
        self._top, shown = self.rows_of_page(self._lines(), self._top, max(1, self.app.size.height - 4))
        self.query_one("#help", Lines).show(shown)

    def _lines(self) -> list[Line]:
        width = max(30, min(100, self.app.size.width - 4))
        lines: list[Line] = []
        lines += [[(f"  {part}", INK)] for part in wrap(WHAT_TO_DO.get(self._about, ""), width - 2)]
        lines.append([])
        own = {key.key for key in self._keys}
        for key in (*self._keys, *(key for key in ALWAYS if key.key not in own)):
            lines += self._said(key_name(key.key), key.help, width)
        return [*lines, *self._said("ctrl-p", "every action by name", width)]

    def _said(self, name: str, words: str, width: int) -> list[Line]:
        """A key and its sentence; what does not fit in the row goes on below it."""
        parts = wrap(words, width - 12)
        return [
            [(f"  {name:>9}  ", BOLD), (parts[0], SOFT)],
            *[[(f"  {'':>9}  ", BOLD), (part, SOFT)] for part in parts[1:]],
        ]

    def action_scroll(self, by: int) -> None:
        """Further down or up."""
        self._top = max(0, self._top + by)
        self.fit()
