"""A sweep typed on the screen: one question a station, each answer on disk as it is typed.

Why it exists: a dial, a bubble or feelers, and a gauge whose cable types like a keyboard, sweep a rail as well as one
on a wire. The gauge's digits and Enter go into the line that has the focus and nowhere else, because nothing else is
open while a station is asked. It prevents a keyboard gauge that drives the screen by its digits.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from logger.errors import NotAllowed
from logger.record.typed_sheet import AGAIN, END
from logger.tui.screens.ask import AskScreen

if TYPE_CHECKING:
    from logger.tui.app import TruestrokeApp

FEWEST = 3
HOW = (
    "Type what the instrument shows: 0.12, or 0.10..0.15 for the feeler leaf that goes and the one that does not; - if "
    f"it cannot be read here; {AGAIN} to type the one before again; {END} to stop."
)


class TypedSweep:
    """Asks at one station after another, then goes to the findings."""

    def __init__(self, app: TruestrokeApp) -> None:
        self._app = app
        session = app.session
        session.set_up()  # chooses the machine's first where none was chosen
        if session.job is None:
            raise NotAllowed("No job is open.", "Make one with 'truestroke new my-saw' and start there.")
        self._set_up, self._job = session.set_up_name, session.job
        self._folder = self._job.next_recording_folder(self._set_up)
        self._sheet = session.parts.type_sweep(session, self._folder, self._set_up)

    def ask(self, again: bool = False) -> None:
        """The question of the station whose turn it is (``again``: of the one before)."""
        question = f"{self._sheet.question(again)} {HOW}"

        def complaint(text: str) -> str | None:
            return self._complaint(text, again)

        self._app.push_screen(AskScreen(question, complaint, lambda text: self._take(text, again), leave=self._end))

    def _complaint(self, text: str, again: bool) -> str | None:
        if text == END or (text == AGAIN and self._sheet.done and not again):
            return None
        why = self._sheet.fault(text)
        if why:
            self._sheet.correct(text)  # kept as it was typed; it is no reading
        return f"Not taken: {why}." if why else None

    def _take(self, text: str, again: bool) -> None:
        if text == END:
            self._end()
        elif text == AGAIN:
            self.ask(again=True)
        else:
            self._sheet.correct(text) if again else self._sheet.take(text)
            self._end() if self._sheet.complete else self.ask()

    def _end(self) -> None:
        """Complete the recording; it is a sweep where enough stations were read."""
        self._sheet.finish("passes" if self._sheet.complete else "operator")
        if self._sheet.done < FEWEST:
            self._app.say(f"Stopped after {self._sheet.done} of {len(self._sheet.places)} stations; it is not counted.")
            return
        self._app.session.parts.note_sweep(self._job, self._folder, self._set_up)
        self._app.session.forget_what_was_found()
        self._app.open_findings()
