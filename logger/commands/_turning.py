"""``take --port``: readings recorded while an arbor is turned by hand.

Why it exists: what streams is written down as it comes, marks and all, before anything is made of it. It prevents a
stream judged by a way of its own: ``checks.turning`` makes readings of it, here as on the screen.
"""

from __future__ import annotations

import argparse
from textwrap import wrap
from typing import TYPE_CHECKING

from logger.checks.turning import KEY, streams
from logger.commands._guide import WIDTH
from logger.commands._numbers import until
from logger.commands._stream import happened, records
from logger.errors import InstrumentLost, NotAllowed, NotUnderstood
from logger.readings import Ended, Reading
from logger.wording import plural

if TYPE_CHECKING:
    from logger.checks.model import Check
    from logger.job import Job


def texts_of(args: argparse.Namespace, job: Job, check: Check) -> list[str]:
    """What was typed, and the name of what was recorded where readings were to stream."""
    texts = list(args.readings)
    named = any(text.partition("=")[0].strip().casefold() == KEY for text in texts)
    if args.port:
        if not streams(check):
            raise NotAllowed(f"{check.name} takes no stream.", "--port goes with what turns: arbor, flange, blade.")
        if named or not args.instrument:
            raise NotAllowed("--port goes with --instrument, and without recording=.", "Give one or the other.")
        texts.append(f"{KEY}={_recorded(args, job, check)}")
    return texts


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
