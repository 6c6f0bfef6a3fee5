"""The two fixed rows of every screen: its name with a thin rule, and the keys as ``key word``.

Why it exists: places that never move need no search. No boxes, no frames, no second rule: blank rows part things.
"""

from __future__ import annotations

from textual import events
from textual.binding import Binding

from logger.tui.canvas import Canvas
from logger.tui.glyphs import Alphabet
from logger.tui.themes import Look
from logger.tui.widgets.painted import Painted

KEY_NAMES = {
    "escape": "esc",
    "question_mark": "?",
    "up": "up",
    "down": "down",
    "left": "left",
    "right": "right",
    "plus": "+",
    "minus": "-",
    "full_stop": ".",
}
ALWAYS_SHOWN = ("escape", "question_mark", "f1")


def key_name(key: str) -> str:
    """A key as it is written on a screen."""
    return KEY_NAMES.get(key, key.replace("ctrl+", "ctrl-").replace("shift+", "shift-"))


class Head(Painted):
    """Row 0: the screen's name, its context, link or time at the right. Row 1: the rule."""

    DEFAULT_CSS = "Head { height: 2; }"

    def __init__(self, name: str, *, id: str | None = None) -> None:
        super().__init__(id=id)
        self._words = (name, "", "")

    def show(self, name: str, context: str, right: str = "") -> None:
        """Take new words; paints only if they differ."""
        if (name, context, right) != self._words:
            self._words = (name, context, right)
            self.repaint()

    def paint(self, canvas: Canvas, letters: Alphabet) -> None:
        name, context, right = self._words
        end = canvas.put(1, 0, name, Look(bold=True))
        canvas.put(end + 1, 0, context, Look("soft"))
        lost = right.startswith("╱")
        if right and (lost or end + 1 + len(context) + 2 <= canvas.width - len(right) - 1):
            canvas.put(canvas.width - len(right) - 2, 0, " " * (len(right) + 2))
            canvas.put_right(canvas.width - 1, 0, right, Look(bold=True) if lost else Look("soft"))
        canvas.put(0, 1, letters.rule * canvas.width, Look("rule"))


def _that_fit(entries: list[tuple[str, int]], gap: int, canvas: Canvas) -> set[int]:
    """Which entries fit into the row; the way back and the help always do, the last of the others give way first."""
    kept = list(range(len(entries)))
    while sum(entries[i][1] + gap for i in kept) - gap + 1 > canvas.width:
        others = [i for i in kept if entries[i][0] not in ALWAYS_SHOWN]
        if not others:
            break
        kept.remove(others[-1])
    return set(kept)


class Keys(Painted):
    """The last row: the keys of this screen, taken from its bindings, so that a rebound key shows as it is bound."""

    DEFAULT_CSS = "Keys { height: 1; }"

    def __init__(self, *, id: str | None = None) -> None:
        super().__init__(id=id)
        self._places: list[tuple[int, int, str]] = []

    def shown_bindings(self) -> list[Binding]:
        """Bindings to show, in the order the screen declares them, each action once."""
        found: list[Binding] = []
        actions: set[str] = set()
        for active in self.screen.active_bindings.values():
            binding = active.binding
            if active.enabled and binding.show and binding.description and binding.action not in actions:
                actions.add(binding.action)
                found.append(binding)
        order = {key.id: i for i, key in enumerate(getattr(self.screen, "KEYS", ()))}
        return sorted(found, key=lambda b: order.get(b.id or "", 99))

    def paint(self, canvas: Canvas, letters: Alphabet) -> None:
        self._places = []
        x = 1
        entries = [(b, key_name(b.key)) for b in self.shown_bindings()]
        gap = 2 if sum(len(name) + len(b.description) + 3 for b, name in entries) < canvas.width else 1
        kept = _that_fit(
            [(binding.key, len(name) + 1 + len(binding.description)) for binding, name in entries], gap, canvas
        )
        for index, (binding, name) in enumerate(entries):
            if index not in kept:
                continue
            word = binding.description
            start = x
            x = canvas.put(x, 0, name, Look("ink", "sheet", bold=True)) + 1
            x = canvas.put(x, 0, word, Look("soft"))
            self._places.append((start, x, binding.action))
            x += gap

    async def on_click(self, event: events.Click) -> None:
        """A key word can be clicked as well as typed."""
        for start, end, action in self._places:
            if start <= event.x < end:
                await self.app.run_action(action, default_namespace=self.screen)
