"""What ``live`` adds beside the terminal: the page for the phone, and the beeps.

Why it exists: under the machine nobody sees the terminal. Phone and sound are told of the newest reading of each batch
and of the state of the link; neither can hold the readings up.
"""

from __future__ import annotations

import argparse
import sys
import threading
from collections.abc import Callable, Sequence
from types import TracebackType
from typing import TYPE_CHECKING, Any, Self

from logger.errors import NotAllowed
from logger.readings import Reading
from logger.wording import amount

if TYPE_CHECKING:
    from analysis.results import Move
    from logger.commands import Terminal
    from logger.commands._meaning import Meant
    from logger.phone.server import Phone
    from logger.phone.shown import Link
    from logger.readings import Record
    from logger.sound import Beeper

SOUND_KEY = "s"
TOLD_OF_REFUSALS = 3
"""So many refused strangers are told one by one; all are counted."""


class Beside:
    """Phone and sound of one live view, as ``args`` ask for. A context manager."""

    def __init__(
        self, args: argparse.Namespace, title: str, understand: Callable[[Reading], Meant], move: Move | None, how: str
    ) -> None:
        self._args, self._title, self._understand, self._move, self._how = args, title, understand, move, how
        self._terminal: Terminal = args.terminal
        self._phone: Phone | None = None
        self._beeper: Beeper | None = None
        self._latest: Meant | None = None
        self._lock = threading.Lock()
        self._told = 0

    def __enter__(self) -> Self:
        if self._args.network is not None and not self._args.phone:
            raise NotAllowed("--network goes with --phone.", "Add --phone, or leave --network out.")
        if self._args.phone:
            self._open_phone()
        if self._args.sound:
            from logger.sound import Beeper

            self._beeper = Beeper(_bell)
            self._terminal.note(
                f"Sound by {self._beeper.how}: low tone = too low, high = too high, faster = nearer, silence = inside. "
                f"{SOUND_KEY} turns it off and on."
            )
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        for part in (self._beeper, self._phone):
            if part is not None:
                part.close()

    def _open_phone(self) -> None:
        from logger.phone.link import network_address, qr_lines
        from logger.phone.server import LOOPBACK, Phone

        host = LOOPBACK
        if self._args.network is not None:
            found = self._args.network or network_address()
            if found is None:
                raise NotAllowed(
                    "This computer has no address on a network that could be found.",
                    "Give it after --network, or leave --network out to serve the page on this computer only.",
                )
            host = found
        self._phone = Phone(host, on_refused=self._refused)
        self._phone.publish(self._shown("opening"))
        for line in (*qr_lines(self._phone.url, ascii_only=self._terminal.plain), self._phone.url):
            self._terminal.note(line)
        where = (
            "Anyone on this network who has the address can look on, and only look."
            if host != LOOPBACK
            else "This computer only; for a phone add --network."
        )
        self._terminal.note(f"{where} The address holds until this view ends.")

    # -- what comes

    def take(self, batch: Sequence[Record], link: str) -> None:
        """The records since the last call, and the state of the link."""
        newest = next((record for record in reversed(batch) if isinstance(record, Reading)), None)
        if newest is not None:
            self._latest = self._understand(newest)
        state = "ended" if link == "ended" else link
        if self._phone is not None and (newest is not None or state != "receiving"):
            self._phone.publish(self._shown(state))  # type: ignore[arg-type]
        if self._beeper is not None and (newest is not None or state != "receiving"):
            meant = self._latest if state == "receiving" else None
            distance = None if meant is None else meant.to_go / (5.0 if meant.unit == "mm/m" else 1.0)
            self._beeper.update(distance, inside=distance == 0.0)

    def key(self, key: str) -> None:
        """A key of the terminal: the sound off and on."""
        if key == SOUND_KEY and self._beeper is not None:
            self._terminal.note("Sound on." if self._beeper.toggle() else "Sound off.")

    def facts(self) -> dict[str, Any]:
        """For the answer in JSON."""
        return {} if self._phone is None else {"phone": {"refused": dict(self._phone.refused)}}

    def _refused(self, who: str, why: str) -> None:
        with self._lock:
            self._told += 1
            told = self._told
        if told <= TOLD_OF_REFUSALS:
            more = " Further ones are only counted." if told == TOLD_OF_REFUSALS else ""
            self._terminal.note(f"Refused a request from {who} ({why}).{more}")

    def _shown(self, link: Link) -> Any:
        from logger.phone.shown import Shown, state_of

        meant, move, units = self._latest, self._move, self._args.units
        if meant is None:
            return Shown(title=self._title, link=link, bolt=move.bolt if move else "", how=self._how)
        number, _, unit = amount(meant.height, None, meant.unit, units).rpartition(" ")
        return Shown(
            title=self._title,
            number=number,
            unit=unit,
            height=meant.height,
            low=meant.low,
            high=meant.high,
            target=meant.target,
            state=state_of(meant.height, meant.low, meant.high),
            text=meant.text,
            bolt=move.bolt if move else "",
            how=self._how,
            display=f"its display shows {meant.display}",
            link=link,
        )


def _bell() -> None:
    """The terminal's bell, on the person's side."""
    stream = sys.stderr
    if stream is not None and not stream.closed and stream.isatty():
        stream.write("\a")
        stream.flush()
