"""One touch by hand before a set-up is trusted: did the number move as said?

Why it exists: an instrument that counts the other way gives perfect readings of the opposite error, and the correction
makes it twice as bad. Three answers: yes, no (nothing is taken until it is put right), and later, which is remembered
with the readings.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from typing import ClassVar

from textual.widget import Widget

from logger.errors import TruestrokeError
from logger.tui.keys import DIRECTION, Key
from logger.tui.screens.base import Sheet
from logger.tui.widgets.lines import BOLD, INK, Line, Lines, wrap


class DirectionScreen(Sheet):
    """``answered`` gets ``yes``, ``no`` or ``later``; ``left`` is called where the question is left by escape."""

    NAME = "look once"
    KEYS: ClassVar[tuple[Key, ...]] = DIRECTION

    DEFAULT_CSS = "DirectionScreen #question { height: 1fr; }"

    def __init__(
        self, sentence: str, answered: Callable[[str], object], left: Callable[[], object] | None = None
    ) -> None:
        super().__init__()
        self._sentence = sentence
        self._answered = answered
        self._left = left

    def body(self) -> Iterable[Widget]:
        yield Lines(id="question", fixed=True)

    def fit(self) -> None:
        self.head("before the readings are trusted")
        width = max(20, min(100, self.app.size.width - 6))
        lines: list[Line] = [[], *[[(f"  {part}", BOLD)] for part in wrap(f"{self._sentence}.", width)], []]
        for said in (
            "Do that once, looking at the instrument's own display, and let go again. Did the number move as said?",
            "y: it did; that is kept in the journal. n: it moved the other way; nothing is taken, and it is said how "
            "to put it right. l: later; the readings are taken, and with them that nobody looked.",
        ):
            lines += [*[[(f"  {part}", INK)] for part in wrap(said, width)], []]
        self.query_one("#question", Lines).show(lines)

    def action_answer(self, answer: str) -> None:
        """Close, then hand the answer on."""
        self.app.pop_screen()
        self._answered(answer)

    def action_back(self) -> None:
        """Nothing is answered."""
        self.app.pop_screen()
        if self._left is not None:
            self._left()


def look_first(sheet: Sheet, swept: Sequence[tuple[str, str]], go: Callable[[], object]) -> None:
    """Ask for each (set-up, instrument) that nobody has looked at yet, then ``go``; the tour asks nothing.

    An answer of no stays on ``sheet`` and says what to write in the machine file; escape leaves it too.
    """
    session = sheet.session
    job = session.job
    if job is None or session.tour is not None or not swept:
        go()
        return
    (set_up, instrument), rest = swept[0], swept[1:]
    sentence = session.parts.swept_direction(job, set_up, instrument)
    if not sentence:
        look_first(sheet, rest, go)
        return

    def answered(answer: str) -> None:
        try:
            if answer != "later":
                session.parts.note_swept_direction(job, set_up, instrument, answer == "yes")
        except TruestrokeError as error:
            sheet.say_error(error)
            return
        look_first(sheet, rest, go)

    where = f"{instrument}, set-up {set_up}. {sentence}"
    sheet.app.push_screen(DirectionScreen(where, answered, sheet.app.pop_screen))
