"""Which port is the instrument that was pulled out: the same name, the same device under another, or a likely one.

Why it exists: a cable that is plugged in again often comes back under another name, and the name it had may be taken by
something else. Two mistakes prevented: waiting for a name while the instrument stands under another, and going on with
the readings of a stranger. What is *sure* has the identity of the lost device; what is only *likely* (no serial number,
or nothing at all to know it by) must be the single new port of its kind, and must speak as the instrument did before
its bytes are believed.
"""

from __future__ import annotations

import os
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from logger.decode import make_decoder
from logger.port import FoundPort
from logger.readings import Gap, Garbage, Reading

if TYPE_CHECKING:
    from logger.decode import FrameSpec

ENOUGH = 3
"""So many readings in a row say that it is the same kind of instrument."""


@dataclass(frozen=True, slots=True)
class Place:
    """Where to look: ``sure`` False: only to be believed when it speaks as the instrument did."""

    name: str
    sure: bool


def identify(name: str, ports: Iterable[FoundPort]) -> FoundPort | None:
    """The entry of ``name`` among ``ports``, also where ``name`` is a link to the device."""
    real = str(Path(name).resolve()) if "://" not in name and os.name == "posix" else name
    return next((port for port in ports if port.name in (name, real)), None)


def find_again(lost: FoundPort | None, name: str, before: Iterable[str], ports: Iterable[FoundPort]) -> Place:
    """Where the device that was at ``name`` is now. ``before``: the ports that were there when it went.

    A device without a serial number of its own is only surely the same in the same socket (``location``).
    """
    ports, known = list(ports), set(before)
    at_name = identify(name, ports)
    identity = None if lost is None else lost.identity
    if "://" in name or (at_name is not None and at_name.identity == identity):
        return Place(name, True)
    if identity is not None and lost is not None:
        same = [port for port in ports if port.identity == identity]
        for port in same:
            if identity[2] or port.location == lost.location:
                return Place(port.name, True)
    new = [port for port in ports if port.name not in known and port.identity == identity]
    return Place(new[0].name, False) if len(new) == 1 else Place(name, True)


def speaks_alike(frame: FrameSpec, data: bytes) -> bool | None:
    """Whether ``data`` is what the instrument says: readings, and hardly more than a torn line beside; None: too little
    has come to tell."""
    records = make_decoder(frame).feed(data, 1_000_000_000)
    good = sum(isinstance(record, Reading | Gap) for record in records)
    bad = sum(isinstance(record, Garbage) for record in records)
    if good >= ENOUGH and good > 3 * bad:
        return True
    return False if bad >= ENOUGH else None
