"""A form: one row for each question, what may be typed beside it, what is wrong with it right under it.

Why it exists: readings and a machine are typed with dirty hands, so a row takes one key (a word by its first letter) or
one number and enter; nothing has to be clicked, and everything can be. A complaint stands under the answer it is about.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import ClassVar

from rich.cells import cell_len
from textual import events
from textual.app import ComposeResult
from textual.containers import Horizontal, Vertical
from textual.message import Message
from textual.widgets import Input

from logger.tui.canvas import Canvas
from logger.tui.glyphs import Alphabet
from logger.tui.themes import Look
from logger.tui.widgets.lines import BOLD, INK, SOFT, Lines, cut, wrap
from logger.tui.widgets.painted import Painted

ANSWER_CELLS, NARROW_ANSWER_CELLS = 28, 22
LONG_LABEL = 30
"""Labels longer than this take of the room of the answers."""
HINT_CELLS = 16
"""Kept for the hint at the least; the whole of it stands under the form."""
SHORTEST_LABEL = 20
LONGEST_ANSWER = 400


@dataclass(frozen=True, slots=True)
class Field:
    """One question of a form. ``words``: one of these instead of free text. ``only``: shown when another has a word."""

    key: str
    label: str
    hint: str = ""
    value: str = ""
    words: tuple[str, ...] = ()
    only: tuple[str, tuple[str, ...]] | None = None
    more: str = ""
    """The whole question, said under the form while the cursor is in this row; empty: label and hint."""


class Words(Painted, can_focus=True):
    """One of a few words: its first letter, the arrows, space or the mouse choose it."""

    DEFAULT_CSS = "Words { height: 1; }"

    class Chosen(Message):
        """A word was chosen; ``on``: by a letter, so that the next row may follow at once."""

        def __init__(self, words: Words, on: bool) -> None:
            super().__init__()
            self.words = words
            self.on = on

    def __init__(self, words: Sequence[str], value: str = "", *, id: str | None = None) -> None:
        super().__init__(id=id)
        self.options = tuple(words)
        self.value = value if value in words else ""
        self._places: list[tuple[int, int, str]] = []

    def paint(self, canvas: Canvas, letters: Alphabet) -> None:
        self._places = []
        x = 1
        for word in self.options:
            chosen = word == self.value
            text = f"{letters.chosen}{word} " if chosen else f" {word} "
            look = Look("ink", "sheet", bold=True) if chosen else BOLD if self.has_focus else INK
            self._places.append((x, x + len(text), word))
            x = canvas.put(x, 0, text, look)

    def choose(self, word: str, *, on: bool = False) -> None:
        """Take ``word`` and say so."""
        self.value = word
        self.repaint()
        self.post_message(self.Chosen(self, on))

    def on_focus(self) -> None:
        self.refresh()
        self.repaint()

    def on_blur(self) -> None:
        self.repaint()

    def on_key(self, event: events.Key) -> None:
        """First letter, arrows, space."""
        step = {"right": 1, "left": -1, "space": 1}.get(event.key)
        if step is not None:
            at = self.options.index(self.value) if self.value in self.options else -1 if step > 0 else 0
            self.choose(self.options[(at + step) % len(self.options)])
        elif event.character and event.character.isalnum():
            begins = [word for word in self.options if word.startswith(event.character.casefold())]
            if not begins:
                return
            at = begins.index(self.value) + 1 if self.value in begins else 0
            self.choose(begins[at % len(begins)], on=len(begins) == 1)
        else:
            return
        event.stop()
        event.prevent_default()

    def on_click(self, event: events.Click) -> None:
        """A word under the mouse."""
        for start, end, word in self._places:
            if start <= event.x < end:
                self.choose(word)


class Answer(Input, inherit_bindings=False):
    """One line of text; up and down belong to the form."""

    BINDINGS: ClassVar = Input.BINDINGS


class Row(Vertical):
    """A question with its answer, its hint, and under it the complaint."""

    DEFAULT_CSS = f"""
    Row {{ height: auto; width: 1fr; }}
    Row > Horizontal {{ height: 1; width: 1fr; }}
    Row .label {{ width: 34; height: 1; }}
    Row Input, Row Words {{ width: {ANSWER_CELLS}; }}
    Row Words.-wide {{ width: 1fr; }}
    Row Input {{ border: none; height: 1; padding: 0 1; background: $panel; color: $foreground; }}
    Row Input:focus {{ border: none; }}
    Row .hint {{ width: 1fr; height: 1; }}
    Row .complaint {{ display: none; }}
    Row.-wrong .complaint {{ display: block; }}
    Row.-absent {{ display: none; }}
    """

    def __init__(self, field: Field, longest: int, hints: bool) -> None:
        super().__init__(id=f"row-{field.key}")
        self.field = field
        self._longest = longest
        self._answer = ANSWER_CELLS if longest <= LONG_LABEL else NARROW_ANSWER_CELLS
        self._hints = hints
        self._cells = 34
        self._wrong = ""

    def fit(self, width: int) -> None:
        """As much of the label as the longest of the form needs, and the hint still has its place."""
        kept = self._answer + (HINT_CELLS if self._hints else 0)
        self._cells = max(SHORTEST_LABEL, min(self._longest + 4, width - kept))
        self.query_one(".label", Lines).styles.width = self._cells
        if not self.box.has_class("-wide"):
            self.box.styles.width = self._answer
        self.show()

    def compose(self) -> ComposeResult:
        field = self.field
        wide = len(field.words) > 0 and sum(len(word) + 2 for word in field.words) + 1 > ANSWER_CELLS
        with Horizontal():
            yield Lines(classes="label", fixed=True)
            if field.words:
                words = Words(field.words, field.value)
                words.set_class(wide, "-wide")
                yield words
            else:
                yield Answer(value=field.value, max_length=LONGEST_ANSWER, select_on_focus=True)
            if not wide:
                yield Lines(classes="hint", fixed=True)
        yield Lines(classes="complaint")

    def on_mount(self) -> None:
        self.fit(self.app.size.width)

    @property
    def box(self) -> Input | Words:
        """Where the answer is."""
        found = self.query(Words)
        return found.first() if found else self.query_one(Input)

    @property
    def value(self) -> str:
        """The answer as typed."""
        return self.box.value.strip()

    def set_value(self, text: str) -> None:
        """Put an answer in."""
        self.box.value = text

    def complain(self, text: str) -> None:
        """Say what is wrong, or nothing."""
        self._wrong = text
        self.set_class(bool(text), "-wrong")
        self.show()

    def show(self) -> None:
        """Label with a sign where enter acts, hint, complaint."""
        label = self.query_one(".label", Lines)
        letters = label.letters
        active = self.box.has_focus
        sign = letters.chosen if active else letters.high if self._wrong else " "
        look = BOLD if active else SOFT
        label.show([[(f"{sign} {cut(self.field.label, self._cells - 3)}", look)]])
        for hint in self.query(".hint").results(Lines):
            room = max(1, self.app.size.width - self._cells - self._answer - 5)
            hint.show([[(f"  {that_fits(self.field.hint, room)}", SOFT)]])
        width = max(20, self.app.size.width - 10)
        said = [[(f"    {part}", Look("high", bold=True))] for part in wrap(self._wrong, width)]
        self.query_one(".complaint", Lines).show(said)

    def on_descendant_focus(self) -> None:
        self.show()

    def on_descendant_blur(self) -> None:
        self.show()


def that_fits(hint: str, cells: int) -> str:
    """The hint, or as many of its first parts as there is room for: the whole of it stands under the form."""
    while cell_len(hint) > cells:
        shorter = max(hint.rfind("; "), hint.rfind(", "))
        if shorter < 0:
            return cut(hint, cells)
        hint = hint[:shorter]
    return hint


class Form(Vertical):
    """The rows, scrolled by whoever holds the form. :class:`Form.Done` when enter leaves the last row."""

    DEFAULT_CSS = "Form { height: auto; width: 1fr; }"

    class Done(Message):
        """Enter on the last row."""

    def __init__(self, fields: Iterable[Field], *, id: str | None = None) -> None:
        super().__init__(id=id)
        self.fields = tuple(fields)

    def compose(self) -> ComposeResult:
        longest = max((len(field.label) for field in self.fields), default=0)
        for field in self.fields:
            yield Row(field, longest, any(each.hint for each in self.fields))

    def on_mount(self) -> None:
        self._hide_what_is_not_asked()

    def row(self, key: str) -> Row | None:
        """The row of a question."""
        return next((row for row in self.query(Row) if row.field.key == key), None)

    @property
    def shown(self) -> list[Row]:
        """Rows that are asked now."""
        return [row for row in self.query(Row) if not row.has_class("-absent")]

    def answers(self) -> dict[str, str]:
        """What was typed, by key; rows not asked are left out."""
        return {row.field.key: row.value for row in self.shown}

    def complain(self, said: dict[str, str]) -> bool:
        """Put each sentence under its row; the first faulty row gets the cursor. False: no row has any of them."""
        first = None
        for row in self.query(Row):
            text = said.get(row.field.key, "")
            row.complain(text)
            if text and first is None and not row.has_class("-absent"):
                first = row
        if first is not None:
            first.box.focus()
        return first is not None

    def begin(self) -> None:
        """The cursor in the first row without an answer."""
        rows = self.shown
        empty = next((row for row in rows if not row.value), rows[0] if rows else None)
        if empty is not None:
            empty.box.focus()

    def step(self, by: int) -> bool:
        """The row below or above; False past the last one."""
        rows = self.shown
        at = next((i for i, row in enumerate(rows) if row.box.has_focus), -1)
        if at + by >= len(rows):
            return False
        if rows:
            rows[max(0, at + by)].box.focus()
        return True

    def on_input_submitted(self, event: Input.Submitted) -> None:
        """Enter: the next row, and after the last one done."""
        event.stop()
        self.enter()

    def enter(self) -> None:
        """What enter does."""
        if not self.step(1):
            self.post_message(self.Done())

    def on_input_changed(self, event: Input.Changed) -> None:
        """A complaint goes as soon as its answer is being changed."""
        event.stop()
        for row in self.query(Row):
            if row.box is event.input and row.has_class("-wrong"):
                row.complain("")

    def on_words_chosen(self, event: Words.Chosen) -> None:
        """Other rows may come or go with a word; a letter goes on to the next row."""
        event.stop()
        for row in self.query(Row):
            if row.box is event.words:
                row.complain("")
        self._hide_what_is_not_asked()
        if event.on:
            self.step(1)

    def _hide_what_is_not_asked(self) -> None:
        words = {row.field.key: row.value for row in self.query(Row)}
        for row in self.query(Row):
            only = row.field.only
            row.set_class(only is not None and words.get(only[0], "") not in only[1], "-absent")
