"""What ``sweep`` does, from the arguments to the journal.

Why it exists: the command line, not the reading process, knows the job, the person and the terminal; the reading
process, not the command line, must survive when any of them goes away. The port is opened once. Whatever happens after
that, the recording is on disk, and the last line says where.
"""

from __future__ import annotations

import argparse
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

from logger.commands import Answer
from logger.commands._ended import all_told, beside_told, wrap_up
from logger.commands._job import open_job, the_set_up
from logger.commands._numbers import the_stations, until
from logger.commands._stream import to_the_end
from logger.errors import NotAllowed
from logger.link.beside_asked import asked_beside, fits, folders_for
from logger.readings import Ended, Reading
from logger.wording import plural, raw

if TYPE_CHECKING:
    from logger.commands import Terminal
    from logger.instruments import Instrument
    from logger.job import Job
    from logger.link.beside_asked import Asked
    from logger.link.together import Together
    from logger.recorder import RecorderSpec


def sweep(args: argparse.Namespace) -> Answer:
    """``truestroke sweep``."""
    from logger.instruments import load_instrument

    job = open_job(args)
    set_up = the_set_up(job, args.set_up)
    if args.typed:
        from logger.commands import _typed

        return _typed.sweep(args, job, set_up)
    if args.port is None or args.instrument is None:
        missing = "--port" if args.port is None else "--instrument"
        raise NotAllowed(f"sweep needs {missing}.", "Or type the readings in: --typed.")
    instrument = load_instrument(args.instrument)
    fits(job, set_up, instrument)
    beside = asked_beside(args.with_ or [], args.port, set_up, job)
    wanted, notes = the_stations(args, job)
    warnings = [*notes, *_direction(job, set_up, instrument, args.terminal)]
    for one in beside:
        if not one.is_position:
            warnings += _direction(job, one.set_up, one.instrument, args.terminal)
    also = _also(args, job, set_up, instrument, [one.set_up for one in beside])
    folder = job.next_recording_folder(set_up)
    folders = folders_for(folder, job, beside)
    specs = _specs(args, job, folder, set_up, instrument, wanted, list(zip(beside, folders, strict=True)))
    ended, others = _recorded(args, specs, wanted)
    answer = wrap_up(job, folder, ended, warnings, instrument, args.port)
    told = [beside_told(job, one, where, end) for one, where, end in zip(beside, folders, others, strict=True)]
    if ended.how not in ("interrupted", "disk full"):
        told += [_copied(job, folder, ended, name, instrument, args.port) for name in also]
    return all_told(answer, told) if told else answer


# --- which way is up -------------------------------------------------------------------------------------------------


def _direction(job: Job, set_up: str, instrument: Instrument, terminal: Terminal) -> list[str]:
    """Once for each set-up and instrument: does the number move as said? The answer is kept in the journal."""
    from logger.checks import direction

    wanted = direction.swept_wanted(job, set_up, instrument.name)
    if not wanted:
        return []
    unchecked = [direction.swept_unchecked(set_up, instrument.name)]
    if not terminal.interactive:
        return unchecked
    said = terminal.ask(f"{wanted}. Does it? [y/n, Enter = not now]").lower()
    if said not in ("y", "yes", "n", "no"):
        return unchecked
    direction.record_swept(job, set_up, instrument.name, moved_as_said=said.startswith("y"))
    return []


# --- recording -------------------------------------------------------------------------------------------------------


def _also(args: argparse.Namespace, job: Job, set_up: str, instrument: Instrument, taken: Sequence[str]) -> list[str]:
    """The other set-ups that this instrument says in the same lines."""
    names = [the_set_up(job, name) for name in args.also]
    for place, name in enumerate(names):
        fits(job, name, instrument)
        if name in (set_up, *taken, *names[:place]):
            raise NotAllowed(f"The set-up {name} is named twice.", "Each is swept once.")
    return names


def _copied(job: Job, folder: Path, ended: Ended, set_up: str, instrument: Instrument, port: str) -> Answer:
    """The same push as a sweep of another set-up."""
    from logger.record.copied import copy_for_set_up

    target = job.next_recording_folder(set_up)
    copy_for_set_up(folder, target, set_up)
    return wrap_up(job, target, ended, [], instrument, port)


def _specs(
    args: argparse.Namespace,
    job: Job,
    folder: Path,
    set_up: str,
    instrument: Instrument,
    wanted: Sequence[float],
    beside: Sequence[tuple[Asked, Path]],
) -> list[RecorderSpec]:
    from logger.recorder import RecorderSpec

    end = until(args.until, still=True)
    # At rest is what an encoder sees, where there is one: an indicator also stands still over a level stretch.
    by_position = end == "still" and any(one.is_position for one, _ in beside)
    spec = RecorderSpec(
        port=args.port,
        instrument=instrument,
        folder=folder,
        machine=job.machine,
        set_up=set_up,
        passes=args.passes,
        stations_mm=tuple(wanted),
        until=None if by_position else end,
        marks_expected=args.passes * len(wanted) or None,
        instrument_name=args.instrument,
        give_up_s=args.give_up,
    )
    return [
        spec,
        *(
            replace(
                spec,
                port=one.port,
                instrument=one.instrument,
                instrument_name=one.name,
                folder=where,
                set_up=one.set_up,
                until=end if one.is_position or not by_position else None,
            )
            for one, where in beside
        ),
    ]


def _recorded(
    args: argparse.Namespace, specs: Sequence[RecorderSpec], wanted: Sequence[float]
) -> tuple[Ended, list[Ended | None]]:
    """Run the reading processes until they have ended; Ctrl-C ends them too, tells where everything is, and goes up."""
    from logger.link.together import Together

    with Together.start(specs) as recorder:
        try:
            ended = _watched(recorder, args, wanted, specs[0].instrument)
        except KeyboardInterrupt:
            recorder.stop("operator")
            recorder.wait(5.0)
            args.terminal.note(f"What was received is kept in {specs[0].folder}; it is not counted as a sweep.")
            raise
        return ended, [one.ended for one in recorder.beside]


def _watched(recorder: Together, args: argparse.Namespace, wanted: Sequence[float], instrument: Instrument) -> Ended:
    terminal = args.terminal
    if terminal.interactive:
        terminal.note(_keys_said(wanted, instrument))

    def on_key(key: str) -> None:
        if key == " ":
            recorder.mark()
        elif key == "z" and recorder.marks > 0:
            recorder.take_back()
        elif key == "g":
            recorder.note_gap()
        elif key in ("\r", "\n"):
            recorder.stop("operator")

    return to_the_end(recorder, terminal, on_key, lambda: terminal.progress(_progress(recorder, args.passes, wanted)))


SETTLING = 6.0  #: time constants until a damped reading stands


def _keys_said(wanted: Sequence[float], instrument: Instrument) -> str:
    level = instrument.base_unit == "mm/m"
    marks = "space = mark, " if not wanted else f"space = the middle {'stands at' if level else 'passes'} a station, "
    keys = f"{marks}z = take the last mark back, g = note a gap, Enter = end."
    if level:  # pushed with 0.05 m/s2, which no hand notices, it shows a slope of 0.05/9.81
        wait_s = max(SETTLING * instrument.settle_s, 1.0)
        return (
            f"Recording. {keys} A level takes the push for a slope (0.05 m/s2 reads as 5 mm/m): stop at each station, "
            f"hands off, wait {wait_s:g} s until it stands, space, then on to the next."
        )
    return f"Recording. {keys} Push the carriage at a steady pace, there and back."


def _progress(recorder: Together, passes: int, wanted: Sequence[float]) -> str:
    """What fits one line of 80: what it shows, where one is, and what went wrong if anything did."""
    latest = recorder.latest
    shown = _shown(latest)
    marks = plural(recorder.marks, "mark")
    if wanted:
        done, total = recorder.marks, passes * len(wanted)
        number, place = divmod(min(done, total - 1), len(wanted))
        along = list(wanted) if number % 2 == 0 else list(reversed(wanted))
        following = f", next {along[place]:g} mm" if done < total else ""
        marks = f"pass {number + 1} of {passes}, marks {done} of {total}{following}"
    wrong = [
        f"{word} {value}" for word, value in (("gaps", recorder.gaps), ("not understood", recorder.garbage)) if value
    ]
    others = [
        f"{one.name} {'-' if one.latest is None else raw(one.latest.value, one.latest.unit)}" for one in recorder.beside
    ]
    return ", ".join([f"{recorder.state}: {shown}", *others, marks, plural(recorder.readings, "reading"), *wrong])


def _shown(latest: Reading | None) -> str:
    return "no reading" if latest is None else raw(latest.value, latest.unit)
