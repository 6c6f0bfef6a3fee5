"""Single keys from the terminal, without waiting for Enter, while something else is going on.

Why it exists: a mark is pressed at the moment the carriage passes a station; a key that needs Enter comes too late. It
prevents two mistakes: a terminal left in raw mode after a crash (the context manager always puts it back), and a module
that only imports on one system (``termios`` and ``msvcrt`` are imported where they exist).
"""

from __future__ import annotations

import os
import sys
import time
from types import TracebackType
from typing import TYPE_CHECKING, Any, TextIO

if TYPE_CHECKING:
    from typing import Self

STEP_S = 0.02  #: how often the Windows console is asked for a key


class Keyboard:
    """``with Keyboard(sys.stdin) as keys: keys.wait(0.05)`` returns the next key or "".

    Where ``stream`` is no terminal it is always "" after the wait, so the caller needs no second loop.
    Ctrl-C stays what it is: ``KeyboardInterrupt``.
    """

    def __init__(self, stream: TextIO) -> None:
        self.stream = stream
        self.active = not stream.closed and stream.isatty()
        self._before: list[Any] | None = None

    def __enter__(self) -> Self:
        if self.active and os.name != "nt":
            import termios
            import tty

            self._before = termios.tcgetattr(self.stream.fileno())
            tty.setcbreak(self.stream.fileno())
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        if self._before is not None:
            import termios

            termios.tcsetattr(self.stream.fileno(), termios.TCSADRAIN, self._before)

    def wait(self, seconds: float) -> str:
        """The next key pressed within ``seconds``, or ""."""
        if not self.active:
            time.sleep(seconds)
            return ""
        return _key_windows(seconds) if os.name == "nt" else _key_posix(self.stream.fileno(), seconds)


def _key_posix(descriptor: int, seconds: float) -> str:
    import select

    ready, _, _ = select.select([descriptor], [], [], seconds)
    return os.read(descriptor, 1).decode("latin-1") if ready else ""


def _key_windows(seconds: float) -> str:
    if sys.platform != "win32":
        return ""
    import msvcrt

    until = time.monotonic() + seconds
    while not msvcrt.kbhit():
        if time.monotonic() >= until:
            return ""
        time.sleep(STEP_S)
    key = msvcrt.getwch()
    return "\n" if key == "\r" else key
