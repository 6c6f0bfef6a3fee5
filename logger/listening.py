"""Listening to a port whose instrument is not known: what arrives, and which instrument file explains it.

Why it exists: nobody remembers the speed of the box in the drawer. The port is opened once and its speed changed while
it is open, because every opening may reset the device; nothing is sent, because a port in a workshop may drive a
machine.
"""

from __future__ import annotations

import time
from typing import TYPE_CHECKING, Any

from logger.errors import InstrumentLost

if TYPE_CHECKING:
    from logger.identify import Identified
    from logger.port import Port

SURE = ("named", "several fit")


def heard(name: str, seconds: float) -> dict[str, Any]:
    """Listen to ``name``; ``says`` is the sentence, ``instrument`` the profile or None. Raises ``PortError``."""
    found, count = _identified(name, seconds)
    fits = found.best is not None and found.word in ("named", "likely")
    return {
        "heard": found.word,
        "instrument": found.best.profile if found.best is not None and fits else None,
        "baud": found.best.link.baud if found.best is not None else None,
        "candidates": [] if found.best is None else [found.best.profile, *found.rivals],
        "bytes": count,
        "says": found.says,
    }


def _identified(name: str, seconds: float) -> tuple[Identified, int]:
    from logger.identify import Capture, identify, links_to_try
    from logger.port import Link, open_port

    parity = {"none": "N", "even": "E", "odd": "O"}
    links = links_to_try()
    settings = [Link(link.baud, link.bits, parity[link.parity], link.stop) for link in links]
    captures: list[Capture] = []
    port = open_port(name, settings[0])
    try:
        for link, setting in zip(links, settings, strict=True):
            if captures:
                port.configure(setting)
            captures.append(Capture(link, _listen(port, seconds)))
            if not captures[0].data:
                break  # a device that sends, sends at any setting; it only makes no sense
            found = identify(captures)
            if found.word in SURE or "://" in name:
                break  # sure; or a socket, which has no speed
    finally:
        port.close()
    return identify(captures), sum(len(capture.data) for capture in captures)


def _listen(port: Port, seconds: float) -> bytes:
    end = time.monotonic() + seconds
    parts = []
    while (left := end - time.monotonic()) > 0:
        try:
            parts.append(port.read(left))
        except InstrumentLost:
            if any(parts):
                break  # the far end said what it had to say
            raise
    return b"".join(parts)
