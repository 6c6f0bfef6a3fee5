"""What every screen has: a head, a body, one line that says what to do or what happened, and the keys.

Why it exists: the fixed rows are the same everywhere, so no screen lays them out. Under 80x24 every screen gives way to
one line that says which size is needed, and the live number alone: a cut picture could be read wrongly.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import TYPE_CHECKING, ClassVar

from textual import events
from textual.app import ComposeResult
from textual.containers import Vertical
from textual.screen import Screen
from textual.widget import Widget

from logger.errors import TruestrokeError
from logger.tui.canvas import Canvas
from logger.tui.glyphs import Alphabet
from logger.tui.keys import Key, bindings
from logger.tui.session import Session
from logger.tui.themes import Look
from logger.tui.tour import STEPS
from logger.tui.widgets.chrome import Head, Keys
from logger.tui.widgets.lines import BOLD, SOFT, Line, Lines, wrap
from logger.tui.widgets.painted import Painted
from logger.tui.wording import Units

if TYPE_CHECKING:
    from logger.tui.app import TruestrokeApp

SMALLEST = (80, 24)
SAID_FOR_S = 8.0


class TooSmall(Painted):
    """Shown instead of the body where the terminal is too small."""

    DEFAULT_CSS = "TooSmall { display: none; height: 1fr; }"

    number = ""

    def show(self, number: str) -> None:
        """Take the number to show."""
        if number != self.number:
            self.number = number
            self.repaint()

    def paint(self, canvas: Canvas, letters: Alphabet) -> None:
        width, height = self.app.size
        canvas.put(0, 0, f"needs {SMALLEST[0]}x{SMALLEST[1]}, here {width}x{height}", Look("soft"))
        canvas.put(0, 1, self.number, BOLD)


class Sheet(Screen[None]):
    """Base of the screens. Subclasses give ``NAME``, ``KEYS`` and :meth:`body`."""

    NAME: ClassVar[str] = ""
    KEYS: ClassVar[tuple[Key, ...]] = ()
    TOUR_STEP: ClassVar[str] = ""

    DEFAULT_CSS = """
    Sheet { background: $background; color: $foreground; layers: base; }
    Sheet #body { height: 1fr; width: 1fr; }
    Sheet #say { height: 1; }
    Sheet.-small #body, Sheet.-small Head, Sheet.-small Keys, Sheet.-small #say { display: none; }
    Sheet.-small TooSmall { display: block; }
    """

    def __init_subclass__(cls, **kwargs: object) -> None:
        if "KEYS" in cls.__dict__:
            cls.BINDINGS = bindings(cls.KEYS)  # type: ignore[assignment]
        super().__init_subclass__(**kwargs)  # type: ignore[arg-type]

    def __init__(self) -> None:
        super().__init__()
        self._said_until = 0.0
        self._shown_in = ""

    @property
    def truestroke(self) -> TruestrokeApp:
        """The app, by its own type."""
        from logger.tui.app import TruestrokeApp

        assert isinstance(self.app, TruestrokeApp)
        return self.app

    @property
    def session(self) -> Session:
        """What the screens share."""
        return self.truestroke.session

    @property
    def units(self) -> Units:
        """How heights are shown."""
        return Units(self.truestroke.units_mode)

    def body(self) -> Iterable[Widget]:
        """The widgets between head and keys."""
        raise NotImplementedError

    def compose(self) -> ComposeResult:
        yield Head(self.NAME, id="head")
        with Vertical(id="body"):
            yield from self.body()
        yield TooSmall(id="small")
        yield Lines(id="say", fixed=True)
        yield Keys(id="keys")

    def on_mount(self) -> None:
        self._shown_in = self.truestroke.units_mode
        self._fit()
        self.tour_line()

    def on_screen_resume(self) -> None:
        """Back on top: the units may have been changed on another screen."""
        if self._shown_in and self._shown_in != self.truestroke.units_mode:
            self.show_in_units()

    def show_in_units(self) -> None:
        """Show everything in the units that are chosen now."""
        self._shown_in = self.truestroke.units_mode
        self.units_changed()

    def on_resize(self, event: events.Resize) -> None:
        self._fit()

    def _fit(self) -> None:
        width, height = self.app.size
        self.set_class(width < SMALLEST[0] or height < SMALLEST[1], "-small")
        self.fit()

    def fit(self) -> None:
        """Adapt heights to the size; screens with pictures override it."""

    def units_changed(self) -> None:
        """Show everything in the other unit; screens with numbers override it."""

    def head(self, context: str, right: str = "") -> None:
        """Set the first row."""
        self.query_one("#head", Head).show(self.NAME, context, right)

    def say(self, text: str) -> None:
        """What happened or what to do, in up to three lines; gives way to the tour's line after a while."""
        self._said_until = self.session.clock() + SAID_FOR_S
        parts = wrap(text, max(20, self.app.size.width - 2))[:3]
        self._foot([[(part, BOLD)] for part in parts])

    def _foot(self, lines: list[Line]) -> None:
        block = self.query_one("#say", Lines)
        block.styles.height = max(1, len(lines))
        block.show(lines)

    def say_error(self, error: TruestrokeError) -> None:
        """What happened and what to do next."""
        self.say(f"{error.what} {error.todo}".strip())

    def quiet_line(self) -> str:
        """What stands above the keys when nothing has to be said."""
        return ""

    def tour_line(self, step: str = "") -> None:
        """The tour's line for this screen, unless something was said just now."""
        if self.session.clock() < self._said_until:
            return
        words = STEPS.get(step or self.TOUR_STEP, "") if self.session.tour is not None else self.quiet_line()
        self._foot([[(words, SOFT)]] if words else [])

    def before_leaving(self) -> str | None:
        """Why leaving now should be asked about first; None where it need not."""
        return None

    def refresh_keys(self) -> None:
        """Paint the last row again after what is possible has changed."""
        self.query_one("#keys", Keys).repaint()

    def rows_of_page(self, lines: list[Line], top: int, room: int) -> tuple[int, list[Line]]:
        """Where a page longer than the screen begins, and what of it is shown; the last row says how much follows."""
        top = max(0, min(top, len(lines) - room))
        shown = lines[top : top + room]
        below = len(lines) - top - room
        if below > 0:
            shown = [*shown[:-1], [(f"  … {below + 1} more lines: down", SOFT)]]
        return top, shown

    def action_back(self) -> None:
        """Back to where one came from."""
        self.app.pop_screen()
