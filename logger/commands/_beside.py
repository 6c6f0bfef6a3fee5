"""``sweep --with PORT INSTRUMENT SET-UP``: the other instruments of a sweep.

Why it exists: an encoder on a port of its own, a level beside the indicator, a second indicator. It prevents a sweep
that begins before it is known that all of them fit the machine, and one whose second recording nobody finds again.
"""

from __future__ import annotations

import argparse
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from logger.beside import MOST_BESIDE, POSITION
from logger.errors import NotAllowed

if TYPE_CHECKING:
    from logger.instruments import Instrument
    from logger.job import Job


@dataclass(frozen=True)
class Asked:
    """One more instrument: ``set_up`` empty for an encoder, which gives positions to the others."""

    port: str
    name: str
    instrument: Instrument
    set_up: str

    @property
    def is_position(self) -> bool:
        return not self.set_up


def asked_beside(args: argparse.Namespace, job: Job, set_up: str) -> list[Asked]:
    """What ``--with`` names, each checked against the machine. Raises NotAllowed."""
    from logger.commands._job import the_set_up
    from logger.instruments import load_instrument

    named: Sequence[Sequence[str]] = args.with_ or []
    if len(named) > MOST_BESIDE - 1:
        raise NotAllowed(f"{len(named) + 1} instruments at once.", f"Allowed: {MOST_BESIDE}, one on each port.")
    found: list[Asked] = []
    for port, name, role in named:
        instrument = load_instrument(name)
        if role == POSITION and role not in job.machine.set_ups:
            found.append(Asked(port, name, _gives_positions(instrument), ""))
        else:
            found.append(Asked(port, name, instrument, the_set_up(job, role)))
    _apart([args.port, *(one.port for one in found)], "port", "A port can be opened once only.")
    _apart([set_up, *(one.set_up or POSITION for one in found)], "set-up", "Each instrument sits in one of its own.")
    return found


def _gives_positions(instrument: Instrument) -> Instrument:
    if (
        instrument.counts_per_mm is None
        and not getattr(instrument, "position_channel", "")
        and "(?P<position>" not in getattr(instrument, "pattern", "")
    ):
        raise NotAllowed(
            f"{instrument.name} sends no position.",
            "Name a set-up of machine.yaml for it, or an instrument with an encoder.",
        )
    return instrument


def _apart(names: Sequence[str], what: str, why: str) -> None:
    twice = next((name for place, name in enumerate(names) if name in names[:place]), None)
    if twice is not None:
        raise NotAllowed(f"The {what} {twice} is named twice.", why)


def folders_for(folder: Path, job: Job, beside: Sequence[Asked]) -> list[Path]:
    """Where each of the others is recorded: a sweep of its own after ``folder``, an encoder inside ``folder``."""
    number = int(folder.name.partition("-")[0])
    found: list[Path] = []
    for one in beside:
        if one.is_position:
            found.append(folder / POSITION)
            continue
        number += 1
        slug = job.next_recording_folder(one.set_up).name.partition("-")[2]
        found.append(folder.parent / f"{number:04d}-{slug}")
    return found
