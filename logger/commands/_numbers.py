"""Lists of stations and ends of a recording, as people type them.

Why it exists: ``--marks 0,500,1000`` and ``--until closed|still|SECONDS`` are read by several commands; a wrong one
must be named with the number that is wrong, not as "invalid value".
"""

from __future__ import annotations

import argparse
import math
from itertools import pairwise
from typing import TYPE_CHECKING, Literal

from logger.errors import NotAllowed

if TYPE_CHECKING:
    from logger.job import Job

End = Literal["closed", "still"] | float

MOST_PASSES = 100
LONGEST_WAIT_S = 3600.0
CLIP_MM = 5.0  #: stations up to this far outside the stroke are taken to mean its end


def numbers(text: str, option: str) -> tuple[float, ...]:
    """``0,500,1000`` as numbers. Raises ``NotAllowed`` naming the first that is none."""
    values = []
    for part in text.split(","):
        try:
            value = float(part)
        except ValueError:
            value = math.nan
        if not math.isfinite(value):
            example = "0.12,0.13,0.12 (in the instrument's unit)" if option == "--readings" else "0,500,1000 (in mm)"
            raise NotAllowed(f"{option}: '{part.strip()[:60]}' is not a number.", f"Write {option} {example}.")
        values.append(value)
    return tuple(values)


def stations(text: str, stroke_mm: tuple[float, float]) -> tuple[tuple[float, ...], list[str]]:
    """The stations of ``--marks`` in mm, and what was noted about them.

    They must rise or fall all the way, at least two, within the stroke; up to ``CLIP_MM`` outside they are clipped.
    """
    values = numbers(text, "--marks")
    if len(values) < 2:
        raise NotAllowed(f"--marks names {len(values)} station.", "Name at least two, for example --marks 0,500,1000.")
    steps = [after - before for before, after in pairwise(values)]
    if not (all(step > 0 for step in steps) or all(step < 0 for step in steps)):
        raise NotAllowed(f"--marks {text}: the stations do not follow one another.", "Name them along one push, in mm.")
    low, high = stroke_mm
    clipped = []
    for value in values:
        if not low - CLIP_MM <= value <= high + CLIP_MM:
            raise NotAllowed(
                f"--marks: station {value:g} mm is outside the stroke ({low:g} to {high:g} mm).",
                "Stations are positions of the carriage's middle; correct them, or stroke_mm in machine.yaml.",
            )
        clipped.append(min(max(value, low), high))
    notes = [
        f"Station {value:g} mm is outside the stroke and was taken as {inside:g} mm."
        for value, inside in zip(values, clipped, strict=True)
        if value != inside
    ]
    return tuple(clipped), notes


def until(text: str | None, *, still: bool = False) -> End | None:
    """``closed``, ``still`` (where that is an end) or a number of seconds. ``NotAllowed`` names what is allowed."""
    if text is None or text == "closed":
        return None if text is None else "closed"
    if text == "still" and still:
        return "still"
    try:
        seconds = float(text)
    except ValueError:
        seconds = math.nan
    if not (math.isfinite(seconds) and seconds > 0):
        words = "closed, still" if still else "closed"
        raise NotAllowed(f"--until '{text}' is not known.", f"Allowed: {words}, or seconds above 0.")
    return seconds


def the_stations(args: argparse.Namespace, job: Job) -> tuple[tuple[float, ...], list[str]]:
    """The stations of a sweep as asked for, and what was noted; ``--passes`` and ``--give-up`` kept in bounds."""
    if not 1 <= args.passes <= MOST_PASSES:
        raise NotAllowed(f"--passes {args.passes} is not possible.", f"Allowed: 1 to {MOST_PASSES}; usual: 2.")
    if not 0 <= args.give_up <= LONGEST_WAIT_S:
        raise NotAllowed(f"--give-up {args.give_up:g} is not possible.", f"Allowed: 0 to {LONGEST_WAIT_S:g} seconds.")
    return stations(args.marks, job.machine.carriage.stroke_mm) if args.marks else ((), [])
