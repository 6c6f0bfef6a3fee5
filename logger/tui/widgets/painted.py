"""The one kind of widget of this screen: it paints a canvas and repaints only the rows that changed.

Why it exists: at 30 pictures a second a widget that is rendered as a whole costs five times what its changed rows
cost. ``repaint`` paints, compares and asks for the changed rows alone; a widget says what to paint and nothing else.
"""

from __future__ import annotations

from rich.style import Style
from textual.geometry import Region
from textual.strip import Strip
from textual.widget import Widget

from logger.tui.canvas import Canvas
from logger.tui.glyphs import COLOUR, PLAIN, Alphabet, alphabet
from logger.tui.themes import LIGHT, PALETTES, Palette


class Painted(Widget):
    """A widget with a canvas. Subclasses draw in :meth:`paint` and call :meth:`repaint` when their data changed."""

    DEFAULT_CSS = """
    Painted { height: auto; width: 1fr; background: $background; }
    """

    def __init__(self, *, id: str | None = None, classes: str | None = None) -> None:
        super().__init__(id=id, classes=classes)
        self._canvas: Canvas | None = None
        self._painted_in: tuple[str, str] = ("", "")

    @property
    def letters(self) -> Alphabet:
        """The alphabet of the app: colour, no colour or plain."""
        return alphabet(no_colour=self.app.no_color, plain=bool(getattr(self.app, "plain", False)))

    @property
    def palette(self) -> Palette:
        """The colours of the chosen theme."""
        return PALETTES.get(self.app.theme, LIGHT)

    def paint(self, canvas: Canvas, letters: Alphabet) -> None:
        """Draw everything on an empty canvas of the widget's size."""
        raise NotImplementedError

    def repaint(self) -> None:
        """Paint anew and refresh the rows that differ from what is on the screen."""
        if not self.is_attached or self.size.width == 0 or self.size.height == 0:
            self._canvas = None  # it has no place on the screen: what was painted before is old when it gets one again
            return
        old, new = self._canvas, self._fresh()
        self._canvas = new
        if old is None or (old.width, old.height) != (new.width, new.height):
            self.refresh()
            return
        changed = [Region(0, y, new.width, 1) for y in range(new.height) if not new.same_row(old, y)]
        if changed:
            self.refresh(*changed)

    def _fresh(self) -> Canvas:
        canvas = Canvas(self.size.width, self.size.height, plain=self.letters is PLAIN)
        self.paint(canvas, self.letters)
        if self.letters is PLAIN:
            _in_plain_signs(canvas)
        return canvas

    def render_line(self, y: int) -> Strip:
        look = (self.palette.name, self.letters.name)
        canvas = self._canvas
        if canvas is None or (canvas.width, canvas.height) != self.size or look != self._painted_in:
            canvas = self._canvas = self._fresh()
            self._painted_in = look
        return canvas.strip(y, self.palette)

    def rows(self) -> list[str]:
        """What is painted, as text: for tests and for the plain copy of a picture."""
        canvas = self._canvas or self._fresh()
        return canvas.rows()

    @property
    def ground(self) -> Style:
        """The style of empty paper."""
        return self.palette.style(LOOK_PAPER)


def _in_plain_signs(canvas: Canvas) -> None:
    """The last gate of ``--plain``: what is not ASCII by now gets its plain sign, one cell for one cell."""
    for signs in canvas.signs:
        for x, sign in enumerate(signs):
            if sign and not sign.isascii():
                signs[x] = PLAIN.text(sign)[:1] if PLAIN.text(sign).isascii() else "?"


from logger.tui.canvas import INK as LOOK_PAPER  # noqa: E402

__all__ = ["COLOUR", "Painted"]
