"""A bar for what takes more than a moment, on the person's side of the terminal only.

Why it exists: a command that is silent for three seconds is taken for dead and interrupted. The bar goes to standard
error, never into an answer, and not at all where nobody looks.
"""

from __future__ import annotations

TYPE_CHECKING = False
if TYPE_CHECKING:
    from collections.abc import Callable

    from logger.commands import Terminal

CELLS = 24


def bar(terminal: Terminal, what: str) -> Callable[[int, int], None]:
    """``progress(done, total)``: ``[########--------] 8 of 16 rounds``."""

    def progress(done: int, total: int) -> None:
        filled = CELLS * done // max(total, 1)
        terminal.progress(f"[{'#' * filled}{'-' * (CELLS - filled)}] {done} of {total} {what}")

    return progress
