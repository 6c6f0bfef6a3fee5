"""The carriage's fit, from readings lifted and pressed to a verdict: play, and how well a parked reading repeats.

Why it exists: a bolt turned under a carriage that rocks is turned for nothing. It prevents a rail being blamed for its
rollers.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from analysis.carriage_fit import PART_OF_BAND, Play, play, repeat, worst
from analysis.verdict import combine, judge
from logger.checks.model import Allowed, Check, Readings
from logger.checks.result import Evaluation, Result, array

if TYPE_CHECKING:
    from logger.machines import Machine

PLACES = {
    "infeed_table": "infeed end, table side",
    "outfeed_table": "outfeed end, table side",
    "infeed_outer": "infeed end, outer side",
    "outfeed_outer": "outfeed end, outer side",
}
STOP = (
    "Stop here: no bolt takes out play. Adjust or change rollers, seats and gibs first (a roller on an eccentric pin "
    "is turned until it carries without force), then lift and press again."
)


def _fit(check: Check, readings: Readings, allowed: Allowed, machine: Machine) -> Result:
    standard = readings.one("u") / 2.0
    limit = allowed.upper
    if allowed == check.allowed:
        limit = PART_OF_BAND * machine.band.peak_to_valley_mm
    plays = [_play_at(key, readings, standard) for key in PLACES if key in readings.numbers]
    most = worst(plays)
    verdicts = [judge(most.play_mm, most.uncertainty_mm, None, limit, "mm", f"play at the {most.place}")]
    notes = [f"{each.place}: {each.play_mm:.3f} ± {each.uncertainty_mm:.3f} mm" for each in plays]
    details: dict[str, object] = {
        "plays": [{"place": p.place, "play_mm": p.play_mm, "uncertainty_mm": p.uncertainty_mm} for p in plays]
    }
    if "parked" in readings.numbers:
        found = repeat(array(readings, "parked"))
        scatter, doubt = 2.0 * found.deviation_mm, 4.0 * found.deviation_mm / np.sqrt(2.0 * (found.times - 1))
        verdicts.append(judge(scatter, float(doubt), None, limit, "mm", "scatter of the parked reading (k = 2)"))
        notes.append(
            f"parked {found.times} times: standard deviation {found.deviation_mm:.4f} mm, highest minus lowest "
            f"{found.range_mm:.3f} mm"
        )
        if abs(found.drift_mm) > found.drift_uncertainty_mm:
            notes.append(
                f"It drifts: {found.drift_mm:+.3f} ± {found.drift_uncertainty_mm:.3f} mm from the first to the last. "
                "A stand that settles, or warming up: wait, set the zero again."
            )
        details |= {
            "parked_deviation_mm": found.deviation_mm,
            "parked_range_mm": found.range_mm,
            "parked_drift_mm": found.drift_mm,
        }
    missing = [words for key, words in PLACES.items() if key not in readings.numbers]
    if missing:
        notes.append(f"Not lifted at: {'; '.join(missing)}.")
    verdict = combine(verdicts)
    if verdict.word == "outside":
        notes.append(STOP)
    return Result(verdict, (), tuple(notes), details)


def _play_at(key: str, readings: Readings, standard: float) -> Play:
    values = array(readings, key)
    return play(PLACES[key], values[0::2], values[1::2], standard)


EVALUATIONS: dict[str, Evaluation] = {"fit": _fit}
