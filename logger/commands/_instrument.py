"""What ``instrument`` does: the trial recorded, judged, written into the journal and said in sentences.

Why it exists: a trial is a measurement like any other, so its bytes are on disk before they are understood, in the same
form, among what was only watched. It prevents a figure of merit nobody can check afterwards.
"""

from __future__ import annotations

import argparse
import time
from pathlib import Path
from typing import TYPE_CHECKING, Any

from logger.commands import Answer
from logger.commands._job import open_job, the_set_up
from logger.commands._numbers import numbers, until
from logger.commands._stream import to_the_end
from logger.errors import InstrumentLost, NotAllowed
from logger.readings import Ended
from logger.wording import amount, raw

if TYPE_CHECKING:
    from analysis.instrument_check import Floor
    from logger.instruments import Instrument
    from logger.job import Job
    from logger.judging.instrument_trial import Trial, Turned
    from logger.recorder import Recorder
    from logger.recording import Recording

FEWEST_TIMES, MOST_TIMES = 4, 100
LONGEST_STILL_S = 3600.0
STEEP_DEG = 15.0
"""A lever steeper than this reads more than 3 per cent wrong."""


def tried(args: argparse.Namespace) -> Answer:
    """``truestroke instrument``."""
    from logger.instruments import load_instrument
    from logger.link.beside_asked import fits

    job = open_job(args)
    set_up = the_set_up(job, args.set_up)
    instrument = load_instrument(args.instrument)
    fits(job, set_up, instrument)
    _allowed(args, instrument)
    if args.reverse:
        return _reversed(args, job, set_up, instrument)
    if args.on_table is not None:
        from logger.commands._on_table import laid

        return laid(args, job, set_up, instrument, recorded)
    sides = [{"below": 1, "above": -1, "both": 1 if number % 2 == 0 else -1}[args.side] for number in range(args.times)]
    return _repeated(args, job, set_up, instrument, sides)


def _allowed(args: argparse.Namespace, instrument: Instrument) -> None:
    if args.reverse and instrument.base_unit != "mm/m":
        raise NotAllowed(f"{instrument.name} is no level.", "--reverse is for levels: they are turned end for end.")
    if args.on_table is not None and instrument.base_unit != "mm/m":
        raise NotAllowed(f"{instrument.name} is no level.", "--on-table is for levels: they are laid along the table.")
    if args.on_table is not None and args.reverse:
        raise NotAllowed("--on-table beside --reverse.", "One after the other: first its zero, then the table.")
    if not FEWEST_TIMES <= args.times <= MOST_TIMES:
        raise NotAllowed(f"--times {args.times}.", f"Allowed: {FEWEST_TIMES} to {MOST_TIMES}; usual: 10.")
    if not 1.0 <= args.still <= LONGEST_STILL_S:
        raise NotAllowed(f"--still {args.still:g}.", f"Allowed: 1 to {LONGEST_STILL_S:g} seconds; usual: 30.")
    if args.lever is not None and not 0.0 <= args.lever < 90.0:
        raise NotAllowed(f"--lever {args.lever:g}.", "Allowed: 0 (along the surface) to less than 90 degrees.")
    if args.port is None and args.readings is None:
        raise NotAllowed("instrument needs --port.", "Or type what was read by eye: --readings 0.12,0.13,...")


# --- recording -------------------------------------------------------------------------------------------------------


def recorded(
    args: argparse.Namespace, job: Job, set_up: str, instrument: Instrument, marks: int | None, said: list[str]
) -> Recording:
    """The trial as a recording among what was only watched."""
    from logger.recorder import Recorder, RecorderSpec
    from logger.recording import open_recording

    folder = job.next_recording_folder(set_up, "live")
    spec = RecorderSpec(
        port=args.port,
        instrument=instrument,
        folder=folder,
        machine=job.machine,
        set_up=set_up,
        kind="live",
        until=until(args.until),
        marks_expected=marks,
        instrument_name=args.instrument,
    )
    with Recorder.start(spec) as recorder:
        ended = _led(recorder, args, said, instrument)
    if ended.how == "link lost":
        raise InstrumentLost(
            f"The instrument on {args.port} went away. What came is kept in {folder}.",
            "Check the cable, then try again.",
        )
    return open_recording(folder)


def _led(recorder: Recorder, args: argparse.Namespace, said: list[str], instrument: Instrument) -> Ended:
    """Say what to do, step by step, and mark when the space bar is pressed."""
    from logger.judging.instrument_trial import wait_for_level_s

    terminal, began, shown = args.terminal, time.monotonic(), 0
    still_s = 0.0 if args.reverse or args.on_table is not None else args.still
    enough_s = wait_for_level_s(instrument.settle_s)
    marked: list[float] = []
    if terminal.interactive:
        terminal.note(said[0])

    def on_key(key: str) -> None:
        if key == " " and time.monotonic() - began >= still_s:
            recorder.mark()
            marked.append(time.monotonic())
        elif key in ("\r", "\n"):
            recorder.stop("operator")

    def after() -> None:
        nonlocal shown
        gone = time.monotonic() - began
        if terminal.interactive and gone >= still_s and shown < len(said) - 1 and (shown < len(marked) or shown == 0):
            shown += 1
            terminal.note(said[shown])
        if args.reverse and len(marked) >= 2 and time.monotonic() - marked[1] > enough_s:
            recorder.stop("operator")
        terminal.progress(_progress(recorder, gone, still_s))

    return to_the_end(recorder, terminal, on_key, after)


def _progress(recorder: Recorder, gone_s: float, still_s: float) -> str:
    latest = recorder.latest
    shown = "no reading" if latest is None else raw(latest.value, latest.unit)
    left = f", standing still, {still_s - gone_s:.0f} s to go" if gone_s < still_s else f", marked {recorder.marks}"
    return f"{recorder.state}: {shown}{left}"


# --- standing still and coming back -----------------------------------------------------------------------------------


def _repeated(args: argparse.Namespace, job: Job, set_up: str, instrument: Instrument, sides: list[int]) -> Answer:
    from analysis.units import to_base
    from logger.judging.instrument_trial import KIND, as_data, trial_of, trial_of_typed

    name = ""
    if args.readings is not None:
        typed = [float(to_base(value, instrument.unit)) for value in numbers(args.readings, "--readings")]
        sides = (sides * (len(typed) // max(len(sides), 1) + 1))[: len(typed)]
        trial = trial_of_typed(typed, sides, instrument.base_unit, instrument.step)
    else:
        way = {"both": "from below, the next from above, and so on", "below": "from below", "above": "from above"}
        recording = recorded(
            args, job, set_up, instrument, len(sides),
            [
                f"Leave the tip alone for {args.still:g} s: hands off, nobody walks by.",
                f"Now lift the tip (or push the carriage away) and bring it back to the same place, the first time "
                f"{way[args.side]}: {len(sides)} times. Space each time it stands.",
            ],
        )  # fmt: skip
        name = recording.name
        trial = trial_of(recording, args.still, sides)
    data = as_data(trial)
    facts = {"instrument": instrument.name, "set_up": set_up, "recording": name, "lever_deg": args.lever, **data}
    notes = [*_worth_saying(trial, instrument, job), *_lever(args.lever)]
    job.append(KIND, **facts)
    unit = "mm" if trial.unit == "mm" else "mm_per_m"
    floor = {f"floor_uncertainty_{unit}": round(2 * trial.floor.standard_uncertainty, 6)}
    return Answer({**facts, **floor, "warnings": notes}, [*_lines(trial, args.units), *[f"  note: {n}" for n in notes]])


def _lines(trial: Trial, units: Any) -> list[str]:
    def show(value: float) -> str:
        return amount(value, None, trial.unit, units, sign=False)

    still, repeats = trial.still, trial.repeats
    lines = []
    if still is not None:
        step = "it never changed" if still.resolution != still.resolution else show(still.resolution)
        drift = f"{amount(still.drift_per_hour, 2 * still.drift_standard_uncertainty, trial.unit, units)} an hour"
        lines += [
            f"Standing still, {still.readings} readings: noise {show(still.noise)} (one standard deviation)",
            f"  resolution as seen: {step}; drift {drift}",
        ]
    lines.append(
        f"Coming back {repeats.repeats} times: repeatability {show(repeats.repeatability)} (one standard deviation)"
    )
    if repeats.hysteresis == repeats.hysteresis:
        both = amount(repeats.hysteresis, 2 * repeats.hysteresis_standard_uncertainty, trial.unit, units)
        lines.append(f"  from above it reads {both} against from below")
    lines.append(
        f"From now on no reading of it is taken to be better than ± {show(2 * trial.floor.standard_uncertainty)}."
    )
    return lines


def _worth_saying(trial: Trial, instrument: Instrument, job: Job) -> list[str]:
    notes = []
    still, repeats, floor = trial.still, trial.repeats, trial.floor
    if still is not None and instrument.step and still.noise > 2 * instrument.step:
        notes.append(
            "The noise stands well above the display's step: look at the stand, the cable, draughts, a running motor."
        )
    if still is not None and abs(still.drift_per_hour) > 2 * still.drift_standard_uncertainty:
        notes.append("It drifts clear of its noise: let it warm up, then try it again.")
    if still is not None and instrument.step and still.resolution > 1.5 * instrument.step:
        notes.append(f"It moves in steps of {still.resolution:g}, not of {instrument.step:g} as its file says.")
    if (
        repeats.hysteresis == repeats.hysteresis
        and abs(repeats.hysteresis) > 3 * repeats.hysteresis_standard_uncertainty
    ):
        notes.append(
            "It reads differently from the two sides: push there and back, or come to every place from one side."
        )
    band = job.machine.band.peak_to_valley_mm if trial.unit == "mm" else job.machine.band.pitch_mm_per_m
    if 2 * _of_two(floor) > band / 4:
        notes.append(
            f"Against a band of {band:g} {trial.unit} this is coarse: a better stand or instrument, or more passes, "
            "will decide more."
        )
    return notes


def _of_two(floor: Floor) -> float:
    """Standard uncertainty of a difference of two readings."""
    return float(2**0.5 * floor.standard_uncertainty)


def _lever(angle_deg: float | None) -> list[str]:
    from analysis.instrument_check import lever_factor

    if angle_deg is None:
        return []
    factor = lever_factor(angle_deg)
    said = (
        f"The lever stands at {angle_deg:g} degrees to the surface: it shows {100 * (1 / factor - 1):.1f} % more than "
        f"there is; what it shows times {factor:.4f} (the cosine) is the movement."
    )
    return [said + (" Set it flatter." if angle_deg > STEEP_DEG else "")]


# --- a level's zero ---------------------------------------------------------------------------------------------------


def _reversed(args: argparse.Namespace, job: Job, set_up: str, instrument: Instrument) -> Answer:
    from analysis.units import to_base
    from logger.judging.instrument_trial import (
        LEVEL_TOLERANCE,
        turned_from,
        turned_of,
        typed_as_settled,
        wait_for_level_s,
    )

    name = ""
    if args.readings is not None:
        typed = [float(to_base(value, instrument.unit)) for value in numbers(args.readings, "--readings")]
        if len(typed) != 2:
            raise NotAllowed(
                f"--readings gives {len(typed)}; a reversal has 2.", "Read, turn it end for end, read again."
            )
        turned = turned_from(*(typed_as_settled(value, instrument.step) for value in typed))
    else:
        wait_s = wait_for_level_s(instrument.settle_s)
        recording = recorded(
            args, job, set_up, instrument, None,
            [
                "Set the level on a place marked round its foot.",
                f"Press space, then hands off for {wait_s:g} s.",
                "Now turn it end for end on the same marks. Press space when it lies there, then hands off as long.",
            ],
        )  # fmt: skip
        name = recording.name
        turned = turned_of(recording, LEVEL_TOLERANCE, wait_s)
    facts = _reversal_facts(turned, instrument, set_up, name)
    job.append("level zero", **{key: value for key, value in facts.items() if key != "warnings"})
    return Answer(facts, _reversal_lines(turned, facts, job, set_up, args.units))


def _reversal_facts(turned: Turned, instrument: Instrument, set_up: str, name: str) -> dict[str, Any]:
    found = turned.reversal
    warnings = [
        f"Reading {place} had not settled: {abs(one.left):.3f} mm/m were still to come, and the ± is wide for it. "
        "Wait longer, or look for what moves it, then turn it again."
        for place, one in ((1, turned.first), (2, turned.second))
        if not one.settled
    ]
    return {
        "instrument": instrument.name,
        "set_up": set_up,
        "recording": name,
        "zero_mm_per_m": round(found.zero_error, 4),
        "slope_mm_per_m": round(found.slope, 4),
        "uncertainty_mm_per_m": round(2 * found.standard_uncertainty, 4),
        "readings_mm_per_m": [round(turned.first.value, 4), round(turned.second.value, 4)],
        "time_constant_s": [
            round(one.time_constant_s, 3) if one.time_constant_s == one.time_constant_s else None
            for one in (turned.first, turned.second)
        ],
        "warnings": warnings,
    }


def _reversal_lines(turned: Turned, facts: dict[str, Any], job: Job, set_up: str, units: Any) -> list[str]:
    u = 2 * turned.reversal.standard_uncertainty
    path = Path(job.folder) / "machine.yaml"
    return [
        f"Zero of the level: {amount(turned.reversal.zero_error, u, 'mm/m', units)}; "
        f"the place itself slopes by {amount(turned.reversal.slope, u, 'mm/m', units)}.",
        f"Write 'zero_mm_per_m: {facts['zero_mm_per_m']:g}' under set_ups: {set_up}: in {path}.",
        *[f"  note: {warning}" for warning in facts["warnings"]],
    ]
