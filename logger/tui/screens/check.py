"""How one check is done: the cautions first, what is needed, the steps with a drawing, what it rests on.

Why it exists: a reading is worth what its set-up is worth, and a caution belongs at the step where a hand goes in, not
in a preface. Nothing is typed here; enter goes on to the readings.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import TYPE_CHECKING, ClassVar

from textual.widget import Widget

from logger.errors import TruestrokeError
from logger.tui.keys import CHECK, Key
from logger.tui.screens.base import Sheet
from logger.tui.widgets.lines import BOLD, INK, SOFT, Line, Lines, wrap

if TYPE_CHECKING:
    from logger.checks.model import Allowed, Check

BESIDE_FROM = 140
"""From so many columns the drawing stands beside the steps; below that ``d`` shows it."""


class CheckScreen(Sheet):
    """Sentences one can scroll, and a drawing."""

    NAME = "check"
    KEYS: ClassVar[tuple[Key, ...]] = CHECK

    DEFAULT_CSS = "CheckScreen #text { height: 1fr; }"

    def __init__(self, check: Check) -> None:
        super().__init__()
        self.check = check
        self._top = 0
        self._drawing: tuple[str, ...] = ()
        self._only_drawing = False
        self._allowed: Allowed = check.allowed

    def body(self) -> Iterable[Widget]:
        yield Lines(id="text", fixed=True)

    def on_mount(self) -> None:
        self._read()
        super().on_mount()

    def on_screen_resume(self) -> None:
        """Own limits may have been typed meanwhile."""
        self._read()
        self._show()

    def _read(self) -> None:
        job = self.session.job
        if job is not None:
            self._drawing = self.session.parts.drawing(self.check.name, plain=self.truestroke.plain)
            self._allowed = self.session.parts.limits(job, self.check.name)

    def fit(self) -> None:
        self.head(self.check.title)
        self._show()

    def units_changed(self) -> None:
        self._show()

    def _show(self) -> None:
        width = self.app.size.width
        lines = self._lines(width)
        room = max(1, self.app.size.height - 4)
        self._top = max(0, min(self._top, len(lines) - room))
        shown = lines[self._top : self._top + room]
        if self._top + room < len(lines):
            shown = [*shown[:-1], [(f"  … {len(lines) - self._top - room + 1} more lines: down", SOFT)]]
        self.query_one("#text", Lines).show(shown)

    def _lines(self, width: int) -> list[Line]:
        if self._only_drawing and self._drawing:
            return [[], *[[(f"    {row}", INK)] for row in self._drawing], [], *self._needs(width)]
        beside = bool(self._drawing) and width >= BESIDE_FROM
        across = max((len(row) for row in self._drawing), default=0)
        text_width = (width - across - 10 if beside else width) - 6
        text = self._text(max(30, min(96, text_width)))
        if not self._drawing:
            return text
        if not beside:
            return text
        rows = max(len(text), len(self._drawing) + 1)
        out: list[Line] = []
        for i in range(rows):
            left = list(text[i]) if i < len(text) else []
            used = sum(len(part) for part, _ in left)
            right = self._drawing[i - 1] if 0 < i <= len(self._drawing) else ""
            out.append([*left, (" " * max(0, width - across - 6 - used) + right, INK)])
        return out

    def _needs(self, width: int) -> list[Line]:
        return [[(f"    {part}", SOFT)] for part in wrap(f"You need {self.check.needs}.", width - 6)]

    def _text(self, width: int) -> list[Line]:
        from logger.checks.direction import all_sentences

        check = self.check
        lines: list[Line] = []

        def part(title: str, sentences: Iterable[str], look: object = INK) -> None:
            said = [sentence for sentence in sentences if sentence]
            if not said:
                return
            lines.append([(f"  {title}", BOLD)])
            for sentence in said:
                lines.extend([[(f"    {row}", look)] for row in wrap(sentence, width)])  # type: ignore[list-item]

        part("first, your hands", check.cautions)
        part("you need", [check.needs])
        part("do this", [f"{i}. {step}" if len(check.steps) > 1 else step for i, step in enumerate(check.steps, 1)])
        part("look once", all_sentences(check))
        part("not inside yet, underneath", self._underneath())
        part("allowed", [self._limits()], SOFT)
        part("rests on", [f"{each.check}: {each.reason}" for each in check.rests_on], SOFT)
        part("left alone by", [f"{each.check}: {each.reason}" for each in check.left_alone_by], SOFT)
        part("adjusting it disturbs", [f"{each.check}: {each.reason}" for each in check.disturbs], SOFT)
        return lines

    def _underneath(self) -> list[str]:
        """Working out of order is allowed, and what it may cost is said."""
        from logger.checks.words import standing

        board = self.session.board
        if board is None:
            return []
        states = {row.check.name: standing(row) for row in board.rows}
        return [
            f"{each.check} is {states[each.check]}: when it is corrected later, measure this again. {each.reason}"
            for each in self.check.rests_on
            if states.get(each.check, "inside") != "inside"
        ]

    def _limits(self) -> str:
        from logger.checks.words import limits_words

        if not self.check.asks:
            band = self.session.machine.band
            return f"to {self.units.width(band.peak_to_valley_mm)} {self.units.unit} peak to valley ({band.origin})"
        return f"{limits_words(self._allowed, self.truestroke.units_mode)} ({self._allowed.origin})"

    # --- keys -------------------------------------------------------------------------------------------------------

    def check_action(self, action: str, parameters: tuple[object, ...]) -> bool | None:
        swept = not self.check.asks
        if action == "readings":
            return not swept
        if action == "stream":
            return any(ask.key == "recording" for ask in self.check.asks)
        if action == "drawing":
            return bool(self._drawing) and self.app.size.width < BESIDE_FROM
        if action in ("sweep", "findings"):
            return swept
        return True

    def action_readings(self) -> None:
        """Type what was read."""
        self.truestroke.open_readings(self.check)

    def action_stream(self) -> None:
        """Turn it by hand while the readings stream."""
        self.truestroke.open_turning(self.check)

    def action_drawing(self) -> None:
        """The drawing alone, and back."""
        self._only_drawing = not self._only_drawing
        self._top = 0
        self._show()

    def action_adjusted(self) -> None:
        """It was corrected since its readings."""
        self.truestroke.ask_adjusted(self.check, self.app.pop_screen)

    def action_skip(self) -> None:
        """Leave it out on purpose, or take it up again."""
        out = not self._left_out()
        question = f"Leave it out? {self.check.title}." if out else f"Take it up again? {self.check.title}."
        more = (
            "For a machine that has no such thing, or work that does not need it. The board passes over it; what rests "
            "on it is worth only as much as it happens to be in order. Nothing is erased."
            if out
            else "The board points it out again."
        )
        self.truestroke.ask_first(question, more, lambda: self._skip(out))

    def _skip(self, out: bool) -> None:
        job = self.session.job
        if job is None:
            return
        try:
            self.session.parts.take(
                job, self.check.name, [f"skip={'yes' if out else 'no'}"], lambda _: False, units=self.units.mode
            )
        except TruestrokeError as error:
            self.say_error(error)
            return
        self.session.forget_what_was_found()
        self.app.pop_screen()
        self.truestroke.say(f"{self.check.title}: {'left out' if out else 'taken up again'}, written down.")

    def _left_out(self) -> bool:
        board = self.session.board
        return board is not None and board.row(self.check.name).skipped

    def action_sweep(self) -> None:
        """Sweep the rail."""
        self.app.pop_screen()
        self.truestroke.sweep_from_board()

    def action_findings(self) -> None:
        """What was found so far."""
        self.truestroke.open_findings(replace=True)

    def action_scroll(self, by: int) -> None:
        """Further down or up."""
        self._top = max(0, self._top + by)
        self._show()
