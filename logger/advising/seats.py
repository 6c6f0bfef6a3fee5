"""Feet felt with a leaf: as typed, as the journal keeps them, as the analysis takes them.

Why it exists: which feet of a resting rail carry is the one thing no sweep shows before a bolt is turned, and a leaf
under each shows it in a minute. It prevents a foot that was left out from being taken for one that carries.

Grammar::

    foot = bolt "=" [goes] ".." stops [unit]     unit: mm (default), in, thou; without ``goes`` not even ``stops`` goes
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any

import numpy as np

from analysis.felt import Felt
from logger.advising.turned import MM_PER
from logger.errors import NotAllowed
from logger.job import turned_in

if TYPE_CHECKING:
    from logger.job import Job
    from logger.machines import Machine

EXAMPLE = "B1=..0.05 B2=0.10..0.15"
MOST_mm = 3.0
"""A gap wider than this is no foot that was ever set (common practice, no source)."""

_NUMBER = r"\d{1,3}(?:[.,]\d{1,6})?"
_FOOT = re.compile(rf"(?P<bolt>[^=@]+)=(?P<goes>{_NUMBER})?\.\.(?P<stops>{_NUMBER})\s*(?P<unit>[a-z]*)")


def resting_names(machine: Machine) -> list[str]:
    """The bolts on which the rail only rests."""
    return [bolt.name for bolt in machine.bolts if bolt.kind == "rest_only"]


def parse_all(texts: Sequence[str], machine: Machine) -> dict[str, tuple[float, float]]:
    """By bolt, in mm: the leaf that goes (0: none does), the one that stops. NotAllowed saying what is wrong."""
    rests = resting_names(machine)
    if not rests:
        raise NotAllowed(
            "No foot of this machine only rests: every bolt holds the rail both ways.",
            "Nothing to feel. Where the rail does only rest, write kind: rest_only into machine.yaml.",
        )
    found: dict[str, tuple[float, float]] = {}
    for text in (part for each in texts for part in each.split()):
        name, leaves = _parse(text, machine)
        if name not in rests:
            raise NotAllowed(f"{name} holds the rail both ways.", f"Feel those that only rest: {', '.join(rests)}.")
        if name in found:
            raise NotAllowed(f"{name} is named twice.", "Give every foot once.")
        found[name] = leaves
    if missing := [name for name in rests if name not in found]:
        raise NotAllowed(
            f"{', '.join(missing)} {'is' if len(missing) == 1 else 'are'} missing.",
            f"Feel every foot with the carriage at the same place, as {EXAMPLE} (..0.05: not even 0.05 goes).",
        )
    return found


def _parse(text: str, machine: Machine) -> tuple[str, tuple[float, float]]:
    matched = _FOOT.fullmatch(text)
    if matched is None:
        raise NotAllowed(f"'{text[:60]}' is not understood as a foot.", f"Write {EXAMPLE}: goes..does not go.")
    unit = matched["unit"] or "mm"
    if unit not in MM_PER:
        raise NotAllowed(f"'{text[:60]}': the unit '{unit}' is not known.", "Allowed: mm, in, thou.")
    scale = MM_PER[unit]
    goes, stops = (float((matched[key] or "0").replace(",", ".")) * scale for key in ("goes", "stops"))
    if not goes < stops <= MOST_mm:
        raise NotAllowed(
            f"'{text[:60]}': {goes:g} mm goes and {stops:g} mm does not.",
            f"The leaf that goes comes first and is the thinner one; at most {MOST_mm:g} mm.",
        )
    return machine.bolt(matched["bolt"]).name, (goes, stops)


def felt_data(machine: Machine, found: Mapping[str, tuple[float, float]], park_mm: float) -> dict[str, Any]:
    """The journal's data. NotAllowed where the carriage cannot stand there."""
    low, high = machine.carriage.stroke_mm
    if not low <= park_mm <= high:
        raise NotAllowed(
            f"--park {park_mm:g} is outside the stroke ({low:g} to {high:g} mm).",
            "Say where the carriage's middle stood while the feet were felt.",
        )
    return {"park_mm": park_mm, "feet": [{"bolt": n, "goes_mm": a, "stops_mm": b} for n, (a, b) in found.items()]}


def felt_of(job: Job, warnings: list[str] | None = None) -> Felt | None:
    """The feet as they were last felt; None where they never were, or no longer fit the machine (then it is said)."""
    entries = getattr(job, "standing_entries", None)
    if entries is None:  # a job in memory keeps no journal
        return None
    said = [] if warnings is None else warnings
    turns, last = 0, None
    for entry in entries():
        if entry.kind == "turned":
            turns += len(turned_in(entry))
        elif entry.kind == "seats":
            try:
                last = _felt_in(job.machine, entry.data, turns)
            except (NotAllowed, KeyError, TypeError, ValueError) as fault:
                said.append(f"The feet felt on {entry.time[:10]} cannot be used and are left out: {fault}")
    return last


def _felt_in(machine: Machine, data: Mapping[str, Any], turns: int) -> Felt:
    texts = [f"{each['bolt']}={float(each['goes_mm']):.6f}..{float(each['stops_mm']):.6f}" for each in data["feet"]]
    found = parse_all(texts, machine)
    park_mm = float(felt_data(machine, found, float(data["park_mm"]))["park_mm"])
    leaves = np.array([found.get(bolt.name, (np.nan, np.nan)) for bolt in machine.bolts])
    return Felt(park_mm, leaves[:, 0], leaves[:, 1], turns)


def hung_words(felt: Felt, names: Sequence[str]) -> str:
    """What was felt, in a sentence."""
    hung = [
        f"{name} hangs by {goes:.2f} to {stops:.2f} mm"
        for name, goes, stops, hangs in zip(names, felt.goes_mm, felt.stops_mm, felt.hangs, strict=True)
        if hangs
    ]
    return f"{'; '.join(hung)}." if hung else "Every foot carries."
