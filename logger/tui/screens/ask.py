"""One question, one line to type: a reference height, a port by hand, the stations on the rail.

Why it exists: the few things that must be typed are typed in one way, checked at once, and left with escape.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from typing import ClassVar

from textual.binding import Binding
from textual.widget import Widget
from textual.widgets import Input

from logger.tui.keys import Key
from logger.tui.screens.base import Sheet
from logger.tui.widgets.lines import BOLD, SOFT, Line, Lines, wrap

ASK = (
    Key("ask.accept", "enter", "accept", "take it", "take what was typed"),
    Key("ask.back", "escape", "back", "back", "leave it as it was"),
)


class TypedLine(Input, inherit_bindings=False):
    """One line of text; enter belongs to the screen, so that the last row names it."""

    BINDINGS: ClassVar = [
        binding for binding in Input.BINDINGS if not (isinstance(binding, Binding) and binding.key == "enter")
    ]


class AskScreen(Sheet):
    """``check`` turns the text into a complaint, or into None where it is good; ``take`` then gets the text."""

    NAME = "type it"
    KEYS: ClassVar[tuple[Key, ...]] = ASK

    DEFAULT_CSS = """
    AskScreen Input { border: none; height: 1; margin: 0 2; background: $panel; color: $foreground; padding: 0 1; }
    AskScreen Input:focus { border: none; }
    """

    def __init__(
        self,
        question: str,
        check: Callable[[str], str | None],
        take: Callable[[str], None],
        value: str = "",
        leave: Callable[[], None] | None = None,
    ) -> None:
        super().__init__()
        self._leave = leave
        self._question = question
        self._check = check
        self._take = take
        self._value = value

    def body(self) -> Iterable[Widget]:
        yield Lines(id="question")
        yield TypedLine(value=self._value, id="answer", max_length=400)
        yield Lines(id="complaint")

    def fit(self) -> None:
        width = max(20, self.app.size.width - 6)
        question: list[Line] = [[], *[[(f"  {part}", BOLD)] for part in wrap(self._question, width)], []]
        self.query_one("#question", Lines).show(question)

    def on_mount(self) -> None:
        super().on_mount()
        self.query_one("#answer", Input).focus()

    def action_back(self) -> None:
        """Leave it as it was; ``leave`` hears of it."""
        super().action_back()
        if self._leave is not None:
            self._leave()

    def action_accept(self) -> None:
        """Check, then take."""
        text = self.query_one("#answer", Input).value.strip()
        complaint = self._check(text)
        if complaint is not None:
            width = max(20, self.app.size.width - 6)
            self.query_one("#complaint", Lines).show([[], *[[(f"  {part}", SOFT)] for part in wrap(complaint, width)]])
            return
        self.app.pop_screen()
        self._take(text)


def number_or_complaint(text: str) -> float | str:
    """A number as people type it (comma or point, any minus), or what is wrong with it."""
    try:
        value = float(text.replace("−", "-").replace(",", ".").replace(" ", ""))
    except ValueError:
        return f"'{text[:40]}' is not a number. Type one such as 0.1 or -0.05, without the unit."
    if not -1000 <= value <= 1000:
        return f"{text[:40]} is too far off: allowed is -1000 to 1000."
    return value


def stations_or_complaint(text: str, stroke: tuple[float, float]) -> tuple[float, ...] | str:
    """Stations typed with commas or spaces, ascending, inside the stroke; or what is wrong with them."""
    found = []
    for part in text.replace(",", " ").split():
        value = number_or_complaint(part) if len(part) < 12 else f"'{part[:12]}' is not a number."
        if isinstance(value, str) and not part.lstrip("+-").isdecimal():
            return value
        found.append(float(part.replace("−", "-")))
    low, high = stroke
    outside = [x for x in found if not low - 5 <= x <= high + 5]
    if outside:
        return f"{outside[0]:.0f} is outside the stroke ({low:.0f} to {high:.0f} mm)."
    if len(found) < 2 or len(set(found)) < len(found):
        return "Type at least two different places in mm, as: 0 500 1000 1500."
    return tuple(sorted(found))
