"""What is asked after listening: another speed for a known instrument, and leave to send to a silent port.

Why it exists: a file is written and bytes are sent only where a person said so, for this instrument and this very port.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence

from logger.errors import TruestrokeError
from logger.tui.asked import Heard
from logger.tui.screens.base import Sheet


def ask_for_settings(screen: Sheet, heard: Heard, take: Callable[[str], None], refuse: Callable[[str], None]) -> None:
    """A known instrument at another speed than its file says: a file of its own beside the machine's.

    ``take`` gets its path, ``refuse`` the sentence where it could not be written.
    """
    other, session = heard.other, screen.session
    job = session.job
    if other is None or job is None:
        return

    def keep() -> None:
        try:
            path = session.parts.keep_instrument(job, other)
        except TruestrokeError as error:
            refuse(f"{error.what} {error.todo}".strip())
        else:
            take(path)

    says = heard.says.partition(". The profile itself")[0].removesuffix(".")
    screen.truestroke.ask_first(
        f"Use {other.instrument} at {other.baud} baud?",
        f"Heard on {heard.port}: {says}. Its own file names another speed. A copy of that file with these settings "
        "is written into the machine's folder.",
        keep,
    )


def ask_for_requests(screen: Sheet, names: Sequence[str], go: Callable[[str], None]) -> None:
    """Some instruments only answer when they are asked: one question for each silent port, nothing sent before."""
    if not names:
        return
    first, others = names[0], names[1:]
    screen.truestroke.ask_first(
        f"Send read-only requests to {first}?",
        "Nothing arrives on it, and some instruments only answer when they are asked. A port in a workshop may "
        "drive a machine: agree only where you know that this one does not.",
        lambda: go(first),
        lambda: ask_for_requests(screen, others, go),
    )
