"""Readings that stream while an arbor is turned by hand, live or recorded, as what a check is given.

Why it exists: a pointer watched by eye over a turn misses its extremes, and a recording can be looked at again. It
prevents a second way of judging: a stream becomes readings at angles, and goes the way of typed ones from there, on the
command line, on the screen, and while it is still coming in.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from logger.checks.evaluate import evaluate
from logger.checks.typed import understand
from logger.errors import NotAllowed, TruestrokeError

if TYPE_CHECKING:
    from analysis.results import FloatArray
    from logger.checks.model import Allowed, Check
    from logger.checks.result import Result
    from logger.job import Job
    from logger.machines import Machine
    from logger.recording import Recording

KEY = "recording"
MARKS_A_TURN = ("1", "2", "4", "6", "12")


def streams(check: Check) -> bool:
    """Whether a check can be measured by turning while the readings stream."""
    return any(ask.key == KEY for ask in check.asks)


def with_recording(job: Job, check: Check, texts: Sequence[str]) -> list[str]:
    """The texts with ``recording=NAME`` made into readings; as they are where there is none.

    NotAllowed where it cannot be opened, reads slopes, or holds no whole turn.
    """
    given = {text.partition("=")[0].strip().casefold(): text.partition("=")[2].strip() for text in texts}
    if not streams(check):
        return list(texts)
    texts = [*texts, *_of_others(job, given)]
    if not given.get(KEY):
        return list(texts)
    if "readings" in given or "total" in given:
        raise NotAllowed("readings= and recording= say the same twice.", "Give one of them.")
    recording = _opened(job, given[KEY])
    marks_a_turn = int(given["marks_a_turn"]) if given.get("marks_a_turn") in MARKS_A_TURN else 1
    try:
        made = as_texts(recording.t_s, recording.value, recording.mark_t_s, marks_a_turn)
    except ValueError as wrong:
        raise NotAllowed(f"{recording.name}: {wrong}", "Record it again; nothing was taken.") from wrong
    return [*texts, *made]


OTHERS = {"flange_recording": "flange", "half_round_recording": "half_round"}
"""Recordings that stand beside the blade's own, and the readings they become."""
STEPS = 24


def _of_others(job: Job, given: Mapping[str, str]) -> list[str]:
    """The flange's turn, or the blade's half round, at even steps from the same mark: whose swing is it?"""
    from analysis import turned

    made = []
    for key, target in OTHERS.items():
        if not given.get(key):
            continue
        if target in given:
            raise NotAllowed(f"{target}= and {key}= say the same twice.", "Give one of them.")
        recording = _opened(job, given[key])
        marks_a_turn = int(given["marks_a_turn"]) if given.get("marks_a_turn") in MARKS_A_TURN else 1
        try:
            angles = turned.angles_from_marks(recording.t_s, np.sort(recording.mark_t_s), marks_a_turn)
            found = turned.one_turn(angles, recording.value)
        except ValueError as wrong:
            raise NotAllowed(f"{recording.name}: {wrong}", "Record it again, with marks; nothing was taken.") from wrong
        even = np.arange(STEPS) * 360.0 / STEPS
        values = np.interp(even, found.angles_deg, found.values_mm, period=360.0)
        made.append(f"{target}={','.join(f'{value:.4f}' for value in values)}mm")
    return made


def _opened(job: Job, name: str) -> Recording:
    from logger.record.finding import find_recording
    from logger.recording import open_recording

    recording = open_recording(find_recording(job, name))
    if recording.unit != "mm":
        raise NotAllowed(f"{recording.name} reads {recording.unit}; run-out is read in mm.", "Use an indicator.")
    return recording


def as_texts(t_s: FloatArray, value_mm: FloatArray, mark_t_s: FloatArray, marks_a_turn: int = 1) -> list[str]:
    """``readings=``, ``angles=`` ... of one turn made from all whole ones; ``total=`` where there is no mark.

    ValueError in words where there is no whole turn.
    """
    from analysis import turned

    if len(mark_t_s) == 0:
        total, doubt = turned.total_only(value_mm)
        return [f"total={total:.4f}mm", f"u={doubt / 2**0.5:.5f}mm"]
    found = turned.one_turn(turned.angles_from_marks(t_s, np.sort(mark_t_s), marks_a_turn), value_mm)
    return [
        f"readings={','.join(f'{value:.4f}' for value in found.values_mm)}mm",
        "angles=" + ",".join(f"{angle:.1f}" for angle in found.angles_deg),
        f"u={2.0 * found.standard_uncertainty_mm:.5f}mm",
        f"wander={found.wander_mm:.5f}mm",
    ]


@dataclass(frozen=True, slots=True)
class SoFar:
    """A stream until now: whole turns seen (by the marks), the result, or the sentence why there is none yet."""

    turns: int
    result: Result | None
    why: str


def so_far(
    check: Check,
    allowed: Allowed,
    machine: Machine,
    t_s: FloatArray,
    value_mm: FloatArray,
    mark_t_s: FloatArray,
    marks_a_turn: int = 1,
) -> SoFar:
    """What would be taken if the stream ended here; nothing is recorded."""
    turns = max(len(mark_t_s) - 1, 0) // marks_a_turn
    try:
        texts = as_texts(t_s, value_mm, mark_t_s, marks_a_turn)
        readings = understand(check, texts, allowed, lambda _question: True).readings
        return SoFar(turns, evaluate(check, readings, allowed, machine), "")
    except (ValueError, TruestrokeError) as wrong:
        return SoFar(turns, None, str(wrong))
