"""What the journal and the sweeps say of the carriage's fit, before a bolt is advised.

Why it exists: advice, command line and screen must stop for the same play and name the same flat roller. It prevents a
rail turned round after round to follow a carriage that rocks.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from analysis.carriage_fit import PART_OF_BAND, OncePerTurn, once_per_turn
from analysis.results import FloatArray
from logger.errors import NotAllowed

if TYPE_CHECKING:
    from collections.abc import Sequence

    from logger.job import Job
    from logger.machines import Machine
    from logger.recording import Recording

GRID_mm = 6.0
"""Readings of all passes are gathered over so much of the way: a flat strikes over about 10 mm."""
READING_mm = 0.0007
"""Standard uncertainty of a gathered reading (common practice, no source)."""
MARGIN_mm = 20.0


@dataclass(frozen=True)
class FitSaid:
    """The last readings of the fit check in the journal: ``verdict`` and the sentence behind it."""

    verdict: str
    reason: str
    time: str


def fit_said(job: Job) -> FitSaid | None:
    """The standing fit check; None where it was never taken, or adjusted since."""
    entries = getattr(job, "standing_entries", None)
    if entries is None:  # a job in memory keeps no journal
        return None
    said: FitSaid | None = None
    for entry in entries():
        if entry.kind != "taken" or entry.data.get("check") != "fit":
            continue
        verdict, reason = entry.data.get("verdict"), entry.data.get("reason")
        said = FitSaid(verdict, reason, entry.time) if isinstance(verdict, str) and isinstance(reason, str) else None
    return said


def stop_for_play(job: Job) -> str | None:
    """Why no bolt should be turned: play over a third of the band. None where there is none, or nobody looked."""
    said = fit_said(job)
    if said is None or said.verdict != "outside":
        return None
    return (
        f"Stop: the carriage has play. {said.reason} No bolt takes that out: see to rollers, seats and gibs, then "
        "truestroke take fit."
    )


def before_the_first_bolt(job: Job) -> tuple[str, ...]:
    """What is worth doing before the first bolt and has not been done: the fit, the feet felt, a known mass laid on."""
    entries = getattr(job, "standing_entries", None)
    if entries is None:  # a job in memory keeps no journal
        return ()
    kinds = {entry.kind for entry in entries()}
    said = []
    if fit_said(job) is None:
        said.append(
            "The carriage's fit was not looked at: lift and press it before the first bolt (truestroke take fit)."
        )
    if "seats" not in kinds and any(bolt.kind == "rest_only" for bolt in job.machine.bolts):
        said.append(
            "Which feet carry is not known, and on a rail that only rests that is half of it: try a leaf under each "
            "before the first bolt (truestroke seats)."
        )
    if "load" not in kinds and "turned" not in kinds:
        said.append(
            "Nothing is known of this machine's stiffness, and with soft or stiff brackets that is what a first round "
            "fails by: a known mass laid on the carriage at three parks tells it before any bolt is turned "
            "(truestroke load)."
        )
    return tuple(said)


def turn_of_roller(recordings: Sequence[Recording], diameter_mm: float | None = None) -> OncePerTurn:
    """What repeats with a roller's turn in sweeps of one set-up. NotAllowed where the stretch or set-up shows none."""
    machine = recordings[0].machine
    diameter_mm = diameter_mm or machine.carriage.roller_diameter_mm
    x_mm, height_mm = gathered(recordings)
    try:
        return once_per_turn(x_mm, height_mm, READING_mm, diameter_mm)
    except ValueError as why:
        names = ", ".join(each.name for each in recordings)
        raise NotAllowed(f"{names}: {why}", "Sweep a set-up that reads over a longer stretch.") from why


def gathered(recordings: Sequence[Recording]) -> tuple[FloatArray, FloatArray]:
    """Heights over position in cells of ``GRID_mm``, all passes together: finer than a profile, which smooths."""
    from logger.findings import heights_of, positions, windows_of

    first = recordings[0]
    set_up = first.machine.set_up(first.set_up)
    if set_up.kind == "level":
        raise NotAllowed(
            f"Set-up {first.set_up} is a level read at stops: it shows nothing between them.",
            "Sweep with an indicator.",
        )
    windows = windows_of(first.machine, set_up)
    low, high = max(windows, key=lambda window: window[1] - window[0])
    edges = np.arange(low + MARGIN_mm, high - MARGIN_mm, GRID_mm)
    passes: list[FloatArray] = []
    for recording in recordings:
        where, height = positions(recording), heights_of(recording)
        for number in range(len(where.direction)):
            mine = (where.pass_index == number) & np.isfinite(where.x_mm) & np.isfinite(height)
            cell = np.digitize(where.x_mm[mine], edges)
            passes.append(
                np.array(
                    [np.median(height[mine][cell == k]) if np.any(cell == k) else np.nan for k in range(1, len(edges))]
                )
            )
    each = np.array(passes)
    told = np.isfinite(each).any(axis=0)
    if not told.any():
        names = ", ".join(recording.name for recording in recordings)
        raise NotAllowed(f"{names}: no reading lies where the indicator can touch.", "Sweep again.")
    each = each[np.isfinite(each).any(axis=1)][:, told]
    middle = np.nanmedian(each - np.nanmedian(each, axis=1, keepdims=True), axis=0)
    good = np.abs(middle) < 1.0
    x_mm = 0.5 * (edges[1:] + edges[:-1])[told]
    return x_mm[good], middle[good]


def roller_sentence(found: OncePerTurn, machine: Machine) -> str:
    """What to look for, in words."""
    limit = PART_OF_BAND * machine.band.peak_to_valley_mm
    if not found.seen:
        return "Nothing repeats with a roller's turn that stands clear of the rail's own waves."
    with_it, between = found.diameters_mm
    size = f"{found.height_mm:.3f} ± {max(found.uncertainty_mm, 0.001):.3f} mm"
    return (
        f"{size} of the height repeats every {found.period_mm:.0f} mm: a wheel of {with_it:.0f} mm fixed to the "
        f"carriage, or a roller of {between:.0f} mm between rail and carriage, turns once in that"
        f"{', and it is more than a third of the band' if found.height_mm > limit else ''}. Look there for a flat or "
        "dirt. To be sure: lift the carriage off, turn the rollers by half a turn, sweep again: a flat comes out "
        "elsewhere, the rail's own shape does not."
    )
