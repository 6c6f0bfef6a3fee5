"""Readings that stream while an arbor is turned by hand, or a recording of them, as what ``take`` is given.

Why it exists: a pointer watched by eye over a turn misses its extremes, and a recording can be looked at again. It
prevents a second way of judging: the stream becomes readings at angles, and goes the way of typed ones from there.
"""

from __future__ import annotations

import argparse
from collections.abc import Sequence
from textwrap import wrap
from typing import TYPE_CHECKING

import numpy as np

from logger.commands._guide import WIDTH
from logger.commands._job import find_recording
from logger.commands._numbers import until
from logger.commands._stream import happened, records
from logger.errors import InstrumentLost, NotAllowed, NotUnderstood
from logger.readings import Ended, Reading
from logger.wording import plural

if TYPE_CHECKING:
    from logger.checks.model import Check
    from logger.job import Job
    from logger.recording import Recording

KEY = "recording"


def streams(check: Check) -> bool:
    return any(ask.key == KEY for ask in check.asks)


def texts_of(args: argparse.Namespace, job: Job, check: Check) -> list[str]:
    """The command line with a stream or recording made into readings; as it is where there is none."""
    texts = list(args.readings)
    named = [text.partition("=")[2].strip() for text in texts if text.partition("=")[0].strip().casefold() == KEY]
    if args.port:
        if not streams(check):
            raise NotAllowed(f"{check.name} takes no stream.", "--port goes with what turns: arbor, flange, blade.")
        if named or not args.instrument:
            raise NotAllowed("--port goes with --instrument, and without recording=.", "Give one or the other.")
        name = _recorded(args, job, check)
        texts.append(f"{KEY}={name}")
        named = [name]
    if not named or not streams(check):
        return texts
    return [*texts, *_as_readings(_opened(job, named[0]), texts)]


def _opened(job: Job, name: str) -> Recording:
    from logger.recording import open_recording

    recording = open_recording(find_recording(job, name))
    if recording.unit != "mm":
        raise NotAllowed(f"{recording.name} reads {recording.unit}; run-out is read in mm.", "Use an indicator.")
    return recording


def _as_readings(recording: Recording, texts: Sequence[str]) -> list[str]:
    """``readings=``, ``angles=`` ... of one turn made from all whole ones; ``total=`` where there is no mark."""
    from analysis import turned

    given = {text.partition("=")[0].strip().casefold(): text.partition("=")[2].strip() for text in texts}
    if "readings" in given or "total" in given:
        raise NotAllowed("readings= and recording= say the same twice.", "Give one of them.")
    marks_a_turn = int(given["marks_a_turn"]) if given.get("marks_a_turn") in ("1", "2", "4", "6", "12") else 1
    try:
        if len(recording.mark_t_s) == 0:
            total, doubt = turned.total_only(recording.value)
            return [f"total={total:.4f}mm", f"u={doubt / 2**0.5:.5f}mm"]
        angles = turned.angles_from_marks(recording.t_s, np.sort(recording.mark_t_s), marks_a_turn)
        found = turned.one_turn(angles, recording.value)
    except ValueError as wrong:
        raise NotAllowed(f"{recording.name}: {wrong}", "Record it again; nothing was taken.") from wrong
    readings = ",".join(f"{value:.4f}" for value in found.values_mm)
    return [
        f"readings={readings}mm",
        "angles=" + ",".join(f"{angle:.1f}" for angle in found.angles_deg),
        f"u={2.0 * found.standard_uncertainty_mm:.5f}mm",
        f"wander={found.wander_mm:.5f}mm",
    ]


def _recorded(args: argparse.Namespace, job: Job, check: Check) -> str:
    """Record until Enter, the far end closes or the time is over; the folder's name."""
    from logger.instruments import load_instrument
    from logger.recorder import Recorder, RecorderSpec

    instrument = load_instrument(args.instrument)
    if instrument.base_unit != "mm":
        raise NotAllowed(f"{instrument.name} speaks {instrument.unit}; run-out wants an indicator.", "Use another.")
    folder = job.next_recording_folder(check.name, "live")
    spec = RecorderSpec(
        port=args.port,
        instrument=instrument,
        folder=folder,
        until=until(args.until),
        set_up=check.name,
        kind="live",
        machine=job.machine,
        instrument_name=args.instrument,
    )
    terminal = args.terminal
    if terminal.interactive:
        keys = "Turn it slowly by hand, three turns or more. space = the chalk mark passes, Enter = end."
        for told in (line for said in (*check.cautions, keys) for line in wrap(said, WIDTH - 1)):
            terminal.note(told)
    with Recorder.start(spec) as recorder:

        def on_key(key: str) -> None:
            if key == " ":
                recorder.mark()
            elif key in ("\r", "\n"):
                recorder.stop("operator")

        ended: Ended | None = None
        lowest = highest = None
        for batch in records(recorder, on_key):
            for record in batch:
                if isinstance(record, Ended):
                    ended = record
                elif isinstance(record, Reading):
                    lowest = record.value if lowest is None else min(lowest, record.value)
                    highest = record.value if highest is None else max(highest, record.value)
                elif (line := happened(record)) is not None:
                    terminal.note(line)
            if lowest is not None and highest is not None:
                seen = f"{highest - lowest:.4g} {instrument.unit}"
                terminal.progress(f"{plural(recorder.marks, 'mark')}, highest less lowest {seen}")
        _say_if_lost(recorder.readings, ended, instrument.name, args.port)
    return folder.name


def _say_if_lost(readings: int, ended: Ended | None, instrument: str, port: str) -> None:
    if ended is not None and ended.how == "link lost":
        raise InstrumentLost(f"{instrument} on {port} went away and did not come back.", "Check the cable; turn again.")
    if not readings:
        raise NotUnderstood(f"No reading arrived on {port}.", "Is the instrument switched on, and set to send?")
