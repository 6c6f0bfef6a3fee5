"""What the readings of one check say: verdict, what to move and which way, what it makes stale, what comes next.

Why it exists: the correction is said in the terms of the screw, foot or bolt, after the cautions and never before them.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import ClassVar

from textual.widget import Widget

from logger.tui.asked import Outcome
from logger.tui.keys import RESULT, Key
from logger.tui.screens.base import Sheet
from logger.tui.widgets.checks import lane_of
from logger.tui.widgets.lines import BOLD, INK, SOFT, Line, Lines, plate, wrap
from logger.tui.wording import State, joined

BEFORE_THE_WORDS = 26
"""Columns that the state and the little picture of the limits take at most."""


class ResultScreen(Sheet):
    """One page, scrolled where it is longer."""

    NAME = "result"
    KEYS: ClassVar[tuple[Key, ...]] = RESULT

    DEFAULT_CSS = "ResultScreen #text { height: 1fr; margin-top: 1; }"

    def __init__(self, outcome: Outcome) -> None:
        super().__init__()
        self.outcome = outcome
        self._top = 0

    def body(self) -> Iterable[Widget]:
        yield Lines(id="text", fixed=True)

    def fit(self) -> None:
        self.head(self.outcome.check.title, self.session.time_of_day())
        self._show()

    def _show(self) -> None:
        lines = self._lines(max(30, min(110, self.app.size.width - 6)))
        room = max(1, self.app.size.height - 5)
        self._top = max(0, min(self._top, len(lines) - room))
        shown = lines[self._top : self._top + room]
        if self._top + room < len(lines):
            shown = [*shown[:-1], [("  … more below: down", SOFT)]]
        self.query_one("#text", Lines).show(shown)

    def _lines(self, width: int) -> list[Line]:
        outcome = self.outcome
        lines: list[Line] = [self._verdict_line(), []]
        for sentence in outcome.lines if outcome.verdict is None else outcome.lines[1:]:
            lines += [[(f"  {part}", INK)] for part in wrap(sentence, width)]
        if outcome.verdict is not None and outcome.verdict.reason:
            lines += [[(f"  {part}", SOFT)] for part in wrap(outcome.verdict.reason, width)]
        if outcome.verdict is not None and outcome.allowed.unit:
            lines += [[(f"  {part}", SOFT)] for part in wrap(f"The limit is from: {outcome.allowed.origin}.", width)]
        if outcome.corrections:
            lines += [[], [("  first, your hands", BOLD)]]
            for caution in outcome.check.cautions:
                lines += [[(f"    {part}", INK)] for part in wrap(caution, width - 2)]
            lines += [[], [("  then move", BOLD)]]
            for number, correction in enumerate(outcome.corrections, 1):
                lines += [[(f"    {part}", BOLD)] for part in wrap(f"{number}. {correction}", width - 2)]
            lines += [[("    Press a when it is done, and measure again.", INK)]]
        reason = outcome.verdict.reason if outcome.verdict is not None else ""
        for note in [each for each in outcome.notes if each not in reason]:  # what decided is said already
            lines += [[], *[[(f"  {part}", INK)] for part in wrap(note, width)]]
        if outcome.stale:
            words = f"Does not hold any more: {joined(list(outcome.stale))}. Measure again after this."
            lines += [[], *[[(f"  {part}", INK)] for part in wrap(words, width)]]
        following = f"Next: {outcome.next}. {outcome.why}" if outcome.next else outcome.why
        lines += [[], *[[(f"  {part}", INK)] for part in wrap(following, width)]]
        return lines

    def _verdict_line(self) -> Line:
        outcome, block = self.outcome, self.query_one("#text", Lines)
        verdict = outcome.verdict
        if verdict is None:
            return (
                [(f"  {outcome.lines[0]}", BOLD)] if len(outcome.lines) == 1 else [("  nothing was written down", BOLD)]
            )
        word = {"inside": "inside", "cannot tell": "cannot tell"}.get(verdict.word, "high")
        if word == "high" and verdict.lower is not None and verdict.value < verdict.lower:
            word = "low"
        line: list[tuple[str, object]] = [(" ", INK)]
        line += plate(State(word, verdict.word), block.letters, filled=True)  # type: ignore[arg-type]
        rest = outcome.lines[0].split(", ", 1)[1] if outcome.lines and ", " in outcome.lines[0] else ""
        rest = rest.split(" (")[0]
        if len(rest) > self.app.size.width - BEFORE_THE_WORDS:
            rest = rest.split("; allowed")[0]  # the limit is in the sentence under it
        lane = lane_of(
            verdict.value,
            verdict.uncertainty,
            outcome.allowed.lower,
            outcome.allowed.upper,
            verdict.word,
            block.letters,
        )
        if outcome.allowed.unit:
            line.append((f"  {lane}  ", SOFT))
        line.append((rest, INK))
        return line  # type: ignore[return-value]

    # --- keys -------------------------------------------------------------------------------------------------------

    def check_action(self, action: str, parameters: tuple[object, ...]) -> bool | None:
        if action == "undo":
            return self.outcome.verdict is not None
        if action == "adjusted":
            return bool(self.outcome.corrections) or (
                self.outcome.verdict is not None and self.outcome.verdict.word != "inside"
            )
        return True

    def action_back(self) -> None:
        """To the board: how the check is done has been read."""
        from logger.tui.screens.check import CheckScreen

        self.app.pop_screen()
        if isinstance(self.app.screen, CheckScreen):
            self.app.pop_screen()

    def action_adjusted(self) -> None:
        """It was corrected as said."""
        self.truestroke.ask_adjusted(
            self.outcome.check, lambda: self.truestroke.open_readings(self.outcome.check, True)
        )

    def action_again(self) -> None:
        """New readings."""
        self.truestroke.open_readings(self.outcome.check, replace=True)

    def action_undo(self) -> None:
        """Take these readings back."""
        self.truestroke.ask_to_take_back(then=self.app.pop_screen)

    def action_scroll(self, by: int) -> None:
        """Further down or up."""
        self._top = max(0, self._top + by)
        self._show()
