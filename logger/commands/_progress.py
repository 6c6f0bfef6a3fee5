"""A bar for what takes more than a moment, on the person's side of the terminal only.

Why it exists: a command that is silent for three seconds is taken for dead and interrupted. The bar goes to standard
error, never into an answer, and not at all where nobody looks.
"""

from __future__ import annotations

import threading

TYPE_CHECKING = False
if TYPE_CHECKING:
    from collections.abc import Callable
    from types import TracebackType
    from typing import Self

    from logger.commands import Terminal

CELLS = 24


def bar(terminal: Terminal, what: str) -> Callable[[int, int], None]:
    """``progress(done, total)``: ``[########--------] 8 of 16 rounds``."""

    def progress(done: int, total: int) -> None:
        filled = CELLS * done // max(total, 1)
        terminal.progress(f"[{'#' * filled}{'-' * (CELLS - filled)}] {done} of {total} {what}")

    return progress


class Patience:
    """``say(seconds)`` once a second from a thread of its own, until it returns False or the work is over."""

    EVERY_S = 1.0

    def __init__(self, say: Callable[[int], bool]) -> None:
        self._say = say
        self._over = threading.Event()
        self._thread = threading.Thread(target=self._run, name="patience", daemon=True)

    def _run(self) -> None:
        seconds = 0
        while not self._over.wait(self.EVERY_S):
            seconds += 1
            if not self._say(seconds):
                return

    def __enter__(self) -> Self:
        self._thread.start()
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self._over.set()
        self._thread.join()
