"""The instruments of a job, and how far they were checked.

Why it exists: a figure is worth what the instrument was worth on that day. What is known is what its file says and what
the recordings show: its step, its noise in the fit, the play between the two directions, whether somebody saw the
number move the right way. It prevents an unchecked instrument from passing for a checked one.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from logger.errors import BadFile
from logger.wording import amount

if TYPE_CHECKING:
    from pathlib import Path

    from logger.instruments import Instrument
    from logger.job import Job
    from logger.journal import JournalEntry
    from logger.report.facts import RailState


@dataclass(frozen=True)
class Tool:
    """One instrument: where it was used, what its file says, what was checked and what was not."""

    name: str
    unit: str
    step: float | None
    set_ups: tuple[str, ...]
    sweeps: int
    checked: tuple[str, ...]
    not_done: tuple[str, ...]
    noise: float | None = None
    play: float | None = None


def tools_of(job: Job, entries: Sequence[JournalEntry], states: Sequence[RailState]) -> tuple[Tool, ...]:
    """Every instrument that a sweep of the journal was recorded with."""
    folders = {folder.name: folder for folder in job.recordings()}
    names = [str(entry.data.get("sweep")) for entry in entries if entry.kind == "sweep"]
    used: dict[str, tuple[Instrument, list[tuple[str, str]]]] = {}
    read: dict[str, Instrument] = {}
    for name in names:
        described = _described(folders[name], read) if name in folders else None
        if described is not None:
            instrument, set_up = described
            used.setdefault(instrument.name, (instrument, []))[1].append((name, set_up))
    newest = {sweep: found for state in states for found in state.findings for sweep in found.sweeps}
    tools = []
    for name, (instrument, sweeps) in used.items():
        set_ups = tuple(dict.fromkeys(set_up for _, set_up in sweeps))
        checked, missing = _direction_checks(name, set_ups, entries)
        checked, missing = (*checked, *_trials(name, instrument.base_unit, entries)), missing
        if not any(entry.kind in TRIALS and entry.data.get("instrument") == name for entry in entries):
            missing = (
                *missing,
                f"{name} was not tried for repeatability, hysteresis and drift (truestroke instrument).",
            )
        reports = next((newest[sweep].reports for sweep, _ in reversed(sweeps) if sweep in newest), {})
        tools.append(
            Tool(
                name, instrument.base_unit, instrument.step, set_ups, len(sweeps), checked, missing,
                reports.get("noise"), reports.get("play"),
            )
        )  # fmt: skip
    return tuple(tools)


def _described(folder: Path, read: dict[str, Instrument]) -> tuple[Instrument, str] | None:
    """The instrument and set-up of a recording, from its descriptor alone; each description is read once."""
    from logger.instruments import instrument_from_text
    from logger.recording import read_descriptor

    try:
        own = read_descriptor(folder)["truestroke"]
        text = own["instrument"]
        if text not in read:
            read[text] = instrument_from_text(text, str(folder))
    except BadFile:
        return None  # said where the sweep itself is told
    return read[text], str(own.get("set_up", ""))


TRIALS = ("instrument check", "level zero", "level on table")


def _trials(name: str, unit: str, entries: Sequence[JournalEntry]) -> tuple[str, ...]:
    """What the newest trial of each kind and set-up found; a damaged entry is left out."""
    from logger.report.facts import utc_words

    newest = {
        (entry.kind, str(entry.data.get("set_up", ""))): entry
        for entry in entries
        if entry.kind in TRIALS and entry.data.get("instrument") == name
    }
    out = []
    for (kind, set_up), entry in newest.items():
        figures = _figures(kind, unit, entry.data)
        if figures:
            out.append(f"{set_up or 'any set-up'}: {', '.join(figures)} ({utc_words(entry.time)}, {entry.who})")
    return tuple(out)


def _figures(kind: str, unit: str, data: dict[str, Any]) -> list[str]:
    if kind == "level zero":
        zero, u = _number(data.get("zero_mm_per_m")), _number(data.get("uncertainty_mm_per_m"))
        return [] if zero is None else [f"zero by reversal {amount(zero, u, 'mm/m')}"]
    if kind == "level on table":
        shown, u = _number(data.get("on_table_mm_per_m")), _number(data.get("on_table_u_mm_per_m"))
        return [] if shown is None or u is None else [f"along the table {amount(shown, 2.0 * u, 'mm/m')}"]
    repeats, floor = data.get("repeats"), data.get("floor")
    found = (
        ("repeatability", _number(repeats.get("repeatability")) if isinstance(repeats, dict) else None),
        ("hysteresis", _number(repeats.get("hysteresis")) if isinstance(repeats, dict) else None),
        ("least standard uncertainty", _number(floor.get("standard_uncertainty")) if isinstance(floor, dict) else None),
    )
    scaled = "µm" if unit == "mm" else "µm/m"
    return [f"{what} {abs(value) * 1000:.1f} {scaled}" for what, value in found if value is not None]


def _number(value: Any) -> float | None:
    ok = isinstance(value, int | float) and not isinstance(value, bool) and math.isfinite(value)
    return float(value) if ok else None


def _direction_checks(
    name: str, set_ups: Sequence[str], entries: Sequence[JournalEntry]
) -> tuple[tuple[str, ...], tuple[str, ...]]:
    from logger.report.facts import utc_words

    checked, missing = [], []
    for set_up in set_ups:
        kept = [
            entry
            for entry in entries
            if entry.kind == "direction check"
            and entry.data.get("set_up") == set_up
            and entry.data.get("instrument") == name
        ]
        if kept and kept[-1].data.get("moved_as_said") is True:
            checked.append(f"{set_up}: the number moved the right way ({utc_words(kept[-1].time)}, {kept[-1].who})")
        else:
            missing.append(f"Nobody has checked that {name} counts the right way in set-up {set_up}.")
    return tuple(checked), tuple(missing)
