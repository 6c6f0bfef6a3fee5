"""The live number on a phone: the address, as a code to photograph and as text, and a key that ends it.

Why it exists: the screen stands on the bench and the bolt is under it. The page is opened only after it was said who
can look on, and it ends with a key or when truestroke is left.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import ClassVar

from textual.widget import Widget

from logger.phone.shown import Kind, Link, Shown
from logger.tui.feed import Now
from logger.tui.glyphs import COLOUR
from logger.tui.keys import PHONE, Key
from logger.tui.screens.base import Sheet
from logger.tui.themes import DARK, Look
from logger.tui.widgets.lines import BOLD, INK, SOFT, Line, Lines, wrap
from logger.tui.wording import State, Units

WHO = (
    "One small page with the number, the bar and which bolt; it can only be looked at. Anyone on this network who has "
    "its address can look on; the address is random and ends when you end it or leave truestroke."
)


class PhoneScreen(Sheet):
    """Code at the left, words beside it."""

    NAME = "phone"
    KEYS: ClassVar[tuple[Key, ...]] = PHONE

    DEFAULT_CSS = "PhoneScreen #code { height: 1fr; }"

    def __init__(self, url: str, code: tuple[str, ...]) -> None:
        super().__init__()
        self._url = url
        self._code = code

    def body(self) -> Iterable[Widget]:
        yield Lines(id="code", fixed=True)

    def fit(self) -> None:
        self.head("point the phone's camera at the code")
        wide = max((len(row) for row in self._code), default=0)
        room = self.app.size.width - wide - 6
        code = Look("ink", "paper") if self.app.theme == DARK.name else Look("paper", "ink")
        words: list[Line] = [[], [("It shows what the live view shows.", BOLD)], []]
        words += [[(part, INK)] for part in wrap(WHO, room)]
        words += [[], [("Or type this address:", INK)], *[[(part, BOLD)] for part in wrap(self._url, room)], []]
        words += [[(part, SOFT)] for part in wrap("escape goes back to the number; the page stays.", room)]
        if len(self._code) > self.app.size.height - 4 or room < 24:
            self.query_one("#code", Lines).show([[("  ", INK), *line] for line in words])
            return
        rows: list[Line] = []
        for index in range(max(len(self._code), len(words))):
            left = self._code[index] if index < len(self._code) else ""
            right = words[index] if index < len(words) else []
            rows.append([(" ", INK), (f"{left:<{wide}}", code if left else INK), ("   ", INK), *right])
        self.query_one("#code", Lines).show(rows)

    def action_end(self) -> None:
        """No phone looks on any more."""
        self.session.close_phone()
        self.app.pop_screen()
        self.truestroke.say("The phone's page is closed.")


def shown_of(now: Now, state: State, limits: tuple[float, float], units: Units, title: str) -> Shown:
    """What a phone shows of this moment; a lost link is the page's own warning."""
    states: dict[str, Kind] = {"inside": "inside", "high": "high", "low": "low"}
    links: dict[str, Link] = {"receiving": "receiving", "lost": "lost", "ended": "ended", "opening": "opening"}
    alive = now.height is not None
    return Shown(
        title=title,
        number=units.height(now.height) if alive else "no reading",
        unit=units.unit,
        height=now.height,
        low=limits[0],
        high=limits[1],
        state=states.get(state.word, "none") if alive else "none",
        text=f"{COLOUR.state(state.word)} {state.sentence}",
        display="" if now.figure is None else f"its display shows {units.height(now.figure)}",
        link=links.get(now.state, "quiet"),
    )
