"""Single keys from the terminal, without waiting for Enter, while something else is going on.

Why it exists: a mark is pressed at the moment the carriage passes a station; a key that needs Enter comes too late. It
prevents two mistakes: a terminal left in raw mode after a crash (the context manager always puts it back), and a module
that only imports on one system (``termios`` and ``msvcrt`` are imported where they exist).
"""

from __future__ import annotations

import sys
import time
from types import TracebackType
from typing import Any, Self, TextIO

if sys.platform == "win32":
    import msvcrt
else:
    import os
    import select
    import termios
    import tty

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
        if self.active:
            self._before = _single_keys(self.stream)
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        if self._before is not None:
            _put_back(self.stream, self._before)

    def wait(self, seconds: float) -> str:
        """The next key pressed within ``seconds``, or ""."""
        if self.active:
            return _key(self.stream, seconds)
        time.sleep(seconds)
        return ""


if sys.platform == "win32":

    def _single_keys(stream: TextIO) -> list[Any] | None:
        return None  # the console has single keys without being asked

    def _put_back(stream: TextIO, before: list[Any]) -> None:
        return

    def _key(stream: TextIO, seconds: float) -> str:
        until = time.monotonic() + seconds
        while not msvcrt.kbhit():
            if time.monotonic() >= until:
                return ""
            time.sleep(STEP_S)
        key = msvcrt.getwch()
        if key == "\x03":  # getwch takes Ctrl-C for a key like any other
            raise KeyboardInterrupt
        return "\n" if key == "\r" else key

else:

    def _single_keys(stream: TextIO) -> list[Any] | None:
        before = termios.tcgetattr(stream.fileno())
        tty.setcbreak(stream.fileno())
        return before

    def _put_back(stream: TextIO, before: list[Any]) -> None:
        termios.tcsetattr(stream.fileno(), termios.TCSADRAIN, before)

    def _key(stream: TextIO, seconds: float) -> str:
        ready, _, _ = select.select([stream.fileno()], [], [], seconds)
        return os.read(stream.fileno(), 1).decode("latin-1") if ready else ""
