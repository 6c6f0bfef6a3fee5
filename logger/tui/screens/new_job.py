"""A new machine by a short form; what it writes is the commented machine.yaml one could have written by hand.

Why it exists: the first sweep needs fifteen answers and no editor. The file is read by the same reader as one written
by hand before anything is saved, and every fault stands under the answer it comes from.
"""

from __future__ import annotations

from collections.abc import Iterable
from pathlib import Path
from typing import ClassVar

from textual.containers import VerticalScroll
from textual.widget import Widget

from logger.errors import TruestrokeError
from logger.tui.keys import FORM, Key
from logger.tui.machine_text import QUESTIONS, machine_text, unclear_answers, understood
from logger.tui.screens.base import Sheet
from logger.tui.widgets.form import Field, Form, Row
from logger.tui.widgets.lines import SOFT, Lines, wrap

FOLDER = Field("folder", "folder to keep it in", "made anew; everything of it goes there", "my-saw")


class Scroller(VerticalScroll, inherit_bindings=False):
    """Scrolls with the form; up and down belong to the rows."""


class FormSheet(Sheet):
    """A form that scrolls. Subclasses give the fields and :meth:`action_done`."""

    DEFAULT_CSS = """
    FormSheet Scroller { height: 1fr; margin-top: 1; scrollbar-size-vertical: 1; }
    FormSheet #about { height: 2; margin-top: 1; }
    """

    def __init__(self, fields: Iterable[Field]) -> None:
        super().__init__()
        self._fields = tuple(fields)

    def body(self) -> Iterable[Widget]:
        with Scroller(can_focus=False):
            yield Form(self._fields, id="form")
        yield Lines(id="about", fixed=True)

    @property
    def form(self) -> Form:
        """The rows."""
        return self.query_one(Form)

    def on_mount(self) -> None:
        super().on_mount()
        self.call_after_refresh(self.form.begin)

    def fit(self) -> None:
        for row in self.query(Row):
            row.fit(self.app.size.width)
        self._say_all_of_the_line()

    def on_descendant_focus(self) -> None:
        """The whole question of the line one is in, where the line itself is too short for it."""
        self._say_all_of_the_line()

    def _say_all_of_the_line(self) -> None:
        row = next((row for row in self.query(Row) if row.box.has_focus), None)
        words = ""
        if row is not None:
            words = row.field.more or ": ".join(part for part in (row.field.label, row.field.hint) if part)
        parts = wrap(words, max(20, self.app.size.width - 6))[:2]
        self.query_one("#about", Lines).show([[(f"   {part}", SOFT)] for part in parts])

    def on_form_done(self, event: Form.Done) -> None:
        """Enter on the last line."""
        event.stop()
        self.action_done()

    def action_step(self, by: int) -> None:
        """The line below or above."""
        self.form.step(by)

    def action_done(self) -> None:
        """Take the form."""
        raise NotImplementedError

    def on_key(self, event: object) -> None:
        """Enter on a row of words goes on like enter in a line."""
        from textual import events

        if isinstance(event, events.Key) and event.key == "enter":
            event.stop()
            self.form.enter()

    def typed_something(self) -> bool:
        """True once an answer differs from what it was."""
        return any(row.value != row.field.value for row in self.query(Row))

    def action_back(self) -> None:
        """Back; what was typed is asked about first."""
        if not self.typed_something():
            super().action_back()
            return
        self.truestroke.ask_first(
            "Leave this form?",
            "What you typed here is lost; nothing was written down.",
            lambda: Sheet.action_back(self),
        )


class NewJobScreen(FormSheet):
    """The short form of a machine."""

    NAME = "new machine"
    KEYS: ClassVar[tuple[Key, ...]] = FORM

    def __init__(self) -> None:
        fields = [Field(q.key, q.label, q.hint, q.value, q.words) for q in QUESTIONS]
        super().__init__([fields[0], FOLDER, *fields[1:]])

    def fit(self) -> None:
        self.head("with tape measure and manual; mm, x from infeed to outfeed")
        super().fit()

    def action_done(self) -> None:
        """Write the file and open its board, or say what is wrong with which answer."""
        from logger.job import new_machine_text

        answers = self.form.answers()
        folder = answers.pop("folder", "")
        unclear = unclear_answers(answers)
        if not folder:
            unclear["folder"] = "Name a folder, such as my-saw."
        if unclear:
            self.form.complain(unclear)
            return
        text = machine_text(answers, new_machine_text())
        machine, faults = understood(text, str(Path(folder) / "machine.yaml"))
        if machine is None:
            self.form.complain(faults)
            if faults.get(""):
                self.say(faults[""])
            return
        try:
            job = self.session.parts.make_job(folder, text)
        except TruestrokeError as error:
            self.form.complain({"folder": f"{error.what} {error.todo}".strip()})
            return
        self.session.port = self.session.instrument_name = self.session.set_up_name = ""
        self.session.take_job(job)
        self.truestroke.open_board(replace=True)
        self.truestroke.say(
            f"Written: {job.folder / 'machine.yaml'}; more can be told there. "
            "Now i finds the instrument, s sweeps the rail."
        )
