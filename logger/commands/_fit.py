"""What ``fit`` does: the roller's turn in a sweep, play in a live recording, and what the journal says.

Why it exists: the three tests of the carriage come from three kinds of evidence, and are told together.
"""

from __future__ import annotations

import argparse
from typing import TYPE_CHECKING, Any

from logger.commands import Answer
from logger.commands._job import open_job, sweeps_to_judge
from logger.errors import NotAllowed
from logger.record.finding import find_recording
from logger.wording import amount, state

if TYPE_CHECKING:
    from logger.job import Job
    from logger.recording import Recording
    from logger.wording import Units

LARGEST_ROLLER_mm = 500.0


def fit(args: argparse.Namespace) -> Answer:
    """``truestroke fit``."""
    job = open_job(args)
    if args.diameter is not None and not 5.0 <= args.diameter <= LARGEST_ROLLER_mm:
        raise NotAllowed(
            f"--diameter {args.diameter:g} is no roller.", f"Allowed: 5 to {LARGEST_ROLLER_mm:g} mm, with a caliper."
        )
    if args.place is not None:
        return _play(job, args)
    if args.parked:
        return _parked(job, args)
    return _turn(job, args)


def _turn(job: Job, args: argparse.Namespace) -> Answer:
    from logger.advising.fitness import fit_said, roller_sentence, turn_of_roller

    recordings, warnings = sweeps_to_judge(job, [args.recording] if args.recording else [])
    found = turn_of_roller(recordings, args.diameter)
    said = fit_said(job)
    sentence = roller_sentence(found, job.machine)
    answer: dict[str, Any] = {
        "sweeps": [each.name for each in recordings],
        "repeats": found.seen,
        "period_mm": round(found.period_mm, 1) if found.seen else None,
        "height_mm": round(found.height_mm, 4) if found.seen else None,
        "uncertainty_mm": round(found.uncertainty_mm, 4) if found.seen else None,
        "roller_diameters_mm": [round(each, 1) for each in found.diameters_mm] if found.seen else [],
        "play": None if said is None else {"verdict": said.verdict, "reason": said.reason, "taken": said.time},
        "warnings": warnings,
    }
    lines = [f"{', '.join(answer['sweeps'])}: {sentence}", _said_line(said)]
    return Answer(answer, [*lines, *[f"  note: {warning}" for warning in warnings]])


def _said_line(said: Any) -> str:
    if said is None:
        return "Play was not looked at: truestroke take fit."
    return f"Play: {state(said.verdict)}. {said.reason}"


def _play(job: Job, args: argparse.Namespace) -> Answer:
    from analysis.carriage_fit import PART_OF_BAND, play_in_recording
    from analysis.verdict import judge
    from logger.checks.evaluate_fit import PLACES, STOP

    if args.place not in PLACES:
        raise NotAllowed(f"There is no place '{args.place[:40]}'.", f"Allowed: {', '.join(PLACES)}.")
    if not args.recording:
        raise NotAllowed("--place needs the recording in which it was lifted and pressed.", "As: truestroke fit 7 ...")
    recording = _opened(job, args.recording)
    step = float(recording.instrument.step or 0.0)
    try:
        found = play_in_recording(PLACES[args.place], recording.t_s, recording.value, step)
    except ValueError as why:
        raise NotAllowed(f"{recording.name}: {why}", "Record it again: truestroke live.") from why
    limit = PART_OF_BAND * job.machine.band.peak_to_valley_mm
    verdict = judge(found.play_mm, found.uncertainty_mm, None, limit, "mm", f"play at the {found.place}")
    typed = f"{args.place}={found.play_mm:.4f}mm,0mm"
    answer = {
        "recording": recording.name,
        "place": args.place,
        "play_mm": round(found.play_mm, 4),
        "uncertainty_mm": round(found.uncertainty_mm, 4),
        "allowed_mm": limit,
        "times": found.times,
        "verdict": verdict.word,
        "typed": typed,
    }
    return Answer(answer, _play_lines(verdict.word, answer, args.units, STOP))


def _parked(job: Job, args: argparse.Namespace) -> Answer:
    import numpy as np

    from analysis.carriage_fit import PART_OF_BAND, repeat

    if not args.recording:
        raise NotAllowed("--parked needs the recording in which it was read.", "As: truestroke fit 8 --parked")
    recording = _opened(job, args.recording)
    near = [np.abs(recording.t_s - mark) <= AT_A_MARK_s for mark in recording.mark_t_s]
    values = [float(np.median(recording.value[each])) for each in near if each.any()]
    try:
        found = repeat(np.array(values))
    except ValueError as why:
        raise NotAllowed(f"{recording.name}: {why}", "Mark each time the carriage stands there again.") from why
    limit = PART_OF_BAND * job.machine.band.peak_to_valley_mm
    answer = {
        "recording": recording.name,
        "times": found.times,
        "deviation_mm": round(found.deviation_mm, 5),
        "range_mm": round(found.range_mm, 4),
        "drift_mm": round(found.drift_mm, 4),
        "drift_uncertainty_mm": round(found.drift_uncertainty_mm, 4),
        "allowed_mm": limit,
        "typed": "parked=" + ",".join(f"{value:.4f}" for value in values),
    }
    spread = amount(2.0 * found.deviation_mm, None, "mm", args.units, sign=False)
    lines = [
        f"parked {found.times} times: comes back to ±{spread} (k = 2), highest minus lowest "
        f"{amount(found.range_mm, None, 'mm', args.units, sign=False)}; allowed "
        f"{amount(limit, None, 'mm', args.units, sign=False)} (a third of the band)",
        f"  To keep it, with the play: truestroke take fit {answer['typed']} ...",
    ]
    return Answer(answer, lines)


AT_A_MARK_s = 0.3
"""Readings this near to a mark are its own: the carriage stands."""


def _opened(job: Job, name: str) -> Recording:
    from logger.recording import open_recording

    return open_recording(find_recording(job, name))


def _play_lines(word: str, answer: dict[str, Any], units: Units, stop: str) -> list[str]:
    value = amount(answer["play_mm"], answer["uncertainty_mm"], "mm", units, sign=False)
    limit = amount(answer["allowed_mm"], None, "mm", units, sign=False)
    lines = [f"{answer['place']}: {state(word)}, play {value}, allowed {limit} (a third of the band)"]
    if word == "outside":
        lines.append(f"  {stop}")
    return [*lines, f"  To keep it, with those of the other places: truestroke take fit {answer['typed']} ..."]
