"""What the guided tour needs from a workshop, and what the newcomer is told to press next.

Why it exists: the demonstration drives the real screens on the real serial path, with an invented machine handed in by
the command line. The screen must not know whose machine it is, so it knows it only by this protocol.
"""

from __future__ import annotations

from typing import Protocol


class Tour(Protocol):
    """An invented workshop behind a serial port. Calls return at once and may come from the screen's thread."""

    port: str
    """A device name or pyserial URL, as for the recorder."""
    instrument: str
    """Name or path of its instrument file."""
    set_up: str
    stations_mm: tuple[float, ...]
    passes: int
    marks_itself: bool
    """True: the marks come in the instrument's lines; False: the newcomer presses space."""

    def push(self) -> None:
        """Start the next pass of the carriage, there or back."""

    def pushing(self) -> bool:
        """True while the carriage is under way."""

    def park(self, x_mm: float) -> None:
        """Roll the carriage to ``x_mm`` and leave it there."""

    def turn_bolt(self, bolt: str, raise_mm: float) -> None:
        """Turn a bolt by this much thread travel, + raises."""

    def lock_nut(self, bolt: str) -> None:
        """Tighten its lock nut: the bolt moves a little with it."""


STEPS = {
    "board": "Tour: the invented Kiln Street saw is plugged in. Press s to sweep its rail.",
    "instrument": "Tour: the invented saw is plugged in already. Press s to sweep its rail.",
    "sweep": "Tour: press enter to push the carriage; twice, there and back. It marks itself.",
    "sweep_pushing": "Tour: the carriage is under way; the picture grows where it has been.",
    "finding": "Tour: one moment: the whole rail is worked out, not only one spot.",
    "findings": "Tour: press enter to turn the marked bolt. w says why it is this one.",
    "findings_inside": "Tour: inside, done. w says how sure that is. esc, then q, leaves.",
    "cautions": "Tour: nothing here can hurt you; on a real machine it can. Press y.",
    "turn": "Tour: up and down turn the bolt, left and right finely, until it says stop.",
    "turn_astray": "Tour: the other way; turn it back and on. enter asks how far it went.",
    "turn_there": "Tour: it is there. l tightens the lock nut, enter writes it down.",
    "resweep": "Tour: all moves are made. Press s to measure again.",
}
"""One line at the foot of each screen; the key that is named is always one that works there."""
