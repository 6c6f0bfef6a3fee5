"""The other instruments of a sweep, as they are named on the command line and on the screen: PORT INSTRUMENT SET-UP.

Why it exists: an encoder on a port of its own, a level beside the indicator, a second indicator. It prevents a sweep
that begins before it is known that all of them fit the machine, and one whose second recording nobody finds again.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from logger.errors import NotAllowed
from logger.record.beside import MOST_BESIDE, POSITION

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


def asked_beside(named: Sequence[Sequence[str]], port: str, set_up: str, job: Job) -> list[Asked]:
    """Each (port, instrument, set-up or ``position``) checked against the machine and the leader's ``port`` and
    ``set_up``. Raises NotAllowed."""
    from logger.instruments import load_instrument

    if len(named) > MOST_BESIDE - 1:
        raise NotAllowed(f"{len(named) + 1} instruments at once.", f"Allowed: {MOST_BESIDE}, one on each port.")
    found: list[Asked] = []
    for other, name, role in named:
        instrument = load_instrument(name)
        if role == POSITION and role not in job.machine.set_ups:
            found.append(Asked(other, name, _gives_positions(instrument), ""))
        else:
            found.append(Asked(other, name, instrument, _set_up(job, role)))
    _apart([port, *(one.port for one in found)], "port", "A port can be opened once only.")
    _apart([set_up, *(one.set_up or POSITION for one in found)], "set-up", "Each instrument sits in one of its own.")
    for one in found:
        if not one.is_position:
            fits(job, one.set_up, one.instrument)
    return found


def fits(job: Job, name: str, instrument: Instrument) -> None:
    """A level where an indicator is described, or the other way round, would be read in the wrong unit."""
    level = job.machine.set_ups[name].kind == "level"
    if level != (instrument.base_unit == "mm/m"):
        raise NotAllowed(
            f"Set-up '{name}' wants {'a level' if level else 'an indicator'}, and {instrument.name} "
            f"speaks {instrument.unit}.",
            "Choose another set-up or another instrument.",
        )


def _set_up(job: Job, name: str) -> str:
    """A set-up's name as machine.yaml writes it; one that is not there is refused with the nearest."""
    set_up = job.machine.set_up(name)
    return next(each for each, known in job.machine.set_ups.items() if known is set_up)


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
