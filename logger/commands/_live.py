"""What ``listen``, ``live`` and ``replay`` do: readings as they come, as lines.

Why it exists: the three differ in where readings come from and what they mean, not in how they are shown. Raw readings
keep the instrument's sign; heights are made by ``analysis.units`` and by nothing else.
"""

from __future__ import annotations

import argparse
from collections.abc import Callable
from contextlib import nullcontext
from typing import TYPE_CHECKING, Any

from logger.commands import Answer
from logger.commands._job import open_job, the_set_up
from logger.commands._meaning import as_shown, meaning
from logger.commands._numbers import until
from logger.commands._stream import (
    QUICK_S,
    SHOWN_PER_S,
    STEP_S,
    Dirt,
    Thinner,
    happened,
    no_value_line,
    reading_line,
    records,
)
from logger.description.channels import ChannelFilter
from logger.errors import InstrumentLost, NotAllowed, NotUnderstood, TruestrokeError
from logger.readings import Ended, Gap, Garbage, Reading
from logger.record.finding import find_recording
from logger.wording import amount, plural, position

if TYPE_CHECKING:
    from pathlib import Path

    from analysis.results import Move
    from logger.commands import Terminal
    from logger.commands._beside_the_bench import Beside
    from logger.commands._meaning import Meant
    from logger.commands._numbers import End
    from logger.commands._stream import Source
    from logger.instruments import Instrument
    from logger.job import Job
    from logger.machines import Machine, SetUp
    from logger.recorder import Recorder
    from logger.recording import Recording

Show = Callable[[Reading], str]


def listen(args: argparse.Namespace) -> Answer:
    """``truestroke listen``: the instrument's own words."""
    from logger.instruments import load_instrument

    end = until(args.until)
    if args.instrument is None:
        return _name_it(args)
    instrument = load_instrument(args.instrument)
    with _relay(args.port, instrument, end) as recorder:
        dirt = Dirt()
        ended = _show(recorder, args.terminal, lambda reading: as_shown(reading, instrument), recorder.stop, dirt=dirt)
        return _answer(args.port, instrument, recorder, ended, dirt)


def live(args: argparse.Namespace) -> Answer:
    """``truestroke live``: the screen in a terminal, else lines of height, state and what is to go."""
    from logger.instruments import load_instrument

    job = open_job(args)
    name = the_set_up(job, args.set_up)
    instrument = load_instrument(args.instrument)
    end = until(args.until)
    aimed = args.bolt is not None or args.target is not None
    if args.terminal.can_draw() and not (args.plain or args.json or aimed or args.phone or args.sound):
        from logger import tui

        on = tui.OpenOn("live", port=args.port, instrument=args.instrument, set_up=name)
        return Answer({"exit": tui.run(job, units=args.units, open_on=on)})
    move = _planned(job, name, args.bolt) if args.bolt else None
    understand = meaning(job.machine, job.machine.set_ups[name], instrument, args, move)
    if args.phone or args.sound or args.network is not None:
        from logger.advising.turn_words import turn_and_most_words
        from logger.commands._beside_the_bench import Beside

        how = turn_and_most_words(job.machine.bolt(move.bolt), move) if move is not None else ""
        beside = Beside(args, f"{job.machine.name}, {name}", understand, move, how)
    else:
        beside = None
    with beside or nullcontext(), _relay(args.port, instrument, end, job, name) as recorder:
        if move is not None:
            args.terminal.write(_how_to(move, job.machine, args.units))
        show = _of_its_channel(_heights(understand, args), job.machine.set_ups[name], instrument)
        dirt = Dirt()
        ended = _show(recorder, args.terminal, show, recorder.stop, beside, dirt)
        answer = _answer(args.port, instrument, recorder, ended, dirt)
        if beside is not None:
            answer.json |= beside.facts()
        return answer


def replay(args: argparse.Namespace) -> Answer:
    """``truestroke replay``: the screen in a terminal, else the recorded readings again, at speed."""
    from logger.recording import open_recording
    from logger.replay import Replay

    if not 0 <= args.speed <= FASTEST:
        raise NotAllowed(f"--speed {args.speed:g} is not possible.", f"Allowed: 0 (as fast as it goes) to {FASTEST:g}.")
    job = open_job(args)
    folder = find_recording(job, args.sweep)
    recording = open_recording(folder)
    if args.terminal.can_draw() and not (args.plain or args.json) and _of(job, folder):
        from logger import tui

        on = tui.OpenOn("replay", sweep=recording.name, speed=args.speed or FASTEST)
        return Answer({"exit": tui.run(job, units=args.units, open_on=on)})
    playing = Replay(recording, speed=args.speed or FASTEST)
    show = _recorded_heights(recording, args)
    _show(playing, args.terminal, show, None)
    return Answer(
        {
            "sweep": recording.name,
            "readings": playing.readings,
            "marks": playing.marks,
            "garbage": playing.garbage,
            "gaps": playing.gaps,
            "ended": recording.ended,
            "warnings": list(recording.warnings),
        },
        [f"{recording.name}: {plural(playing.readings, 'reading')} replayed; it ended: {recording.ended}."],
    )


def _of(job: Job, folder: Path) -> bool:
    """The screen knows recordings by their name in the job; one from elsewhere is shown as lines."""
    return folder in job.recordings("sweep") + job.recordings("live")


FASTEST = 1e6
NAMING_S = 2.0  #: listened to at each line speed, to name an instrument


def _relay(port: str, instrument: Instrument, end: End | None, job: Job | None = None, set_up: str = "") -> Recorder:
    """A recorder that passes on; in a job what is only watched is recorded too, beside the sweeps."""
    from logger.recorder import Recorder, RecorderSpec

    return Recorder.start(
        RecorderSpec(
            port=port,
            instrument=instrument,
            folder=None if job is None else job.next_recording_folder(set_up, "live"),
            until=end,
            set_up=set_up,
            kind="live",
            machine=None if job is None else job.machine,
        )
    )


def _show(
    source: Source,
    terminal: Terminal,
    show: Show,
    stop: Callable[[], None] | None,
    beside: Beside | None = None,
    dirt: Dirt | None = None,
) -> Ended | None:
    """Show what comes until it ends; Enter ends it. Readings are thinned where a person watches."""
    due = Thinner(SHOWN_PER_S if terminal.interactive else 0.0)
    dirt = dirt or Dirt()
    last: Ended | None = None
    # Where somebody is shown the phone's address, it must not scroll away.
    put = terminal.progress if beside is not None and terminal.interactive else terminal.write

    def on_key(key: str) -> None:
        if key in ("\r", "\n") and stop is not None:
            stop()
        if beside is not None:
            beside.key(key)

    for batch in records(source, on_key, STEP_S if beside is None else QUICK_S):
        if beside is not None:
            beside.take(batch, source.state)
        for record in batch:
            if isinstance(record, Ended):
                last = record
            if isinstance(record, Reading):
                if terminal.live_lines and due():
                    put(reading_line(record, show(record)))
            elif isinstance(record, Gap) and record.reason == "no value":
                if terminal.live_lines and due():
                    put(no_value_line(record))
            elif (line := dirt(record) if isinstance(record, Garbage) else happened(record)) is not None:
                terminal.write(line)
    return last


def _answer(port: str, instrument: Instrument, recorder: Recorder, ended: Ended | None, dirt: Dirt) -> Answer:
    facts: dict[str, Any] = {
        "port": port,
        "instrument": instrument.name,
        "readings": recorder.readings,
        "marks": recorder.marks,
        "garbage": recorder.garbage,
        "gaps": recorder.gaps,
        "ended": ended.how if ended is not None else "interrupted",
    }
    latest = recorder.latest
    if latest is not None:
        facts["latest"] = {"value": latest.value, "unit": latest.unit, "t_s": latest.t_ns / 1e9}
    facts["warnings"] = _doubts(port, instrument, recorder)
    came = f"{plural(recorder.readings, 'reading')}, {plural(recorder.marks, 'mark')}"
    line = f"{came}, {plural(recorder.gaps, 'gap')}, {recorder.garbage} not understood."
    return Answer(facts, [line, *facts["warnings"]], _failure(port, instrument, recorder, ended, dirt))


MUCH_DIRT = 0.1  #: so much of what came made no reading: more than a cable does (common practice, no source)
FEW = 5


def _doubts(port: str, instrument: Instrument, recorder: Recorder) -> list[str]:
    """Many lines that are no reading, among readings: another talker, or another instrument than was said."""
    every = recorder.readings + recorder.garbage
    if not recorder.readings or recorder.garbage < max(FEW, MUCH_DIRT * every):
        return []
    return [
        f"{recorder.garbage} of {every} messages are no reading of {instrument.name}: a second instrument on the same "
        f"line, or a bad cable. 'truestroke ports --listen {port}' says who else speaks there."
    ]


def _failure(
    port: str, instrument: Instrument, recorder: Recorder, ended: Ended | None, dirt: Dirt
) -> TruestrokeError | None:
    if ended is not None and ended.how == "link lost":
        return InstrumentLost(f"The instrument on {port} went away and did not come back.", "Check the cable.")
    if recorder.readings:
        return None
    if recorder.garbage:
        return NotUnderstood(
            f"What arrives on {port} makes no reading of {instrument.name}{dirt.mostly()}.",
            f"'truestroke listen {port}' without --instrument names the file and line speed that would explain it.",
        )
    return NotUnderstood(f"Nothing arrived on {port}.", "Is the instrument switched on, and set to send?")


# --- what a reading means --------------------------------------------------------------------------------------------


def _heights(understand: Callable[[Reading], Meant], args: argparse.Namespace) -> Show:
    """The reading as a height (or tilt) with its state, the instrument's own figure beside it."""
    return lambda reading: understand(reading).line(args.units)


def _recorded_heights(recording: Recording, args: argparse.Namespace) -> Show:
    args.target = None
    set_up = recording.machine.set_ups.get(recording.set_up)
    if set_up is None:
        return lambda reading: as_shown(reading, recording.instrument)
    show = _heights(meaning(recording.machine, set_up, recording.instrument, args, None), args)
    return _of_its_channel(show, set_up, recording.instrument)


def _of_its_channel(show: Show, set_up: SetUp, instrument: Instrument) -> Show:
    """Heights for the channel that the set-up reads; the figures of the others as they are."""
    reads = ChannelFilter(set_up, instrument)
    return lambda reading: show(reading) if reads(reading.channel) else as_shown(reading, instrument)


def _planned(job: Job, set_up: str, bolt: str) -> Move:
    """The next planned move of one bolt, from the sweeps of this job."""
    from logger import advice

    name = job.machine.bolt(bolt).name
    plan = advice.advise(job, set_up=set_up)
    for move in plan.moves:
        if move.bolt == name:
            return move
    planned = ", ".join(move.bolt for move in plan.moves) or "none"
    raise NotAllowed(f"{name} has no planned move in this round (planned: {planned}).", "See 'truestroke bolts'.")


def _how_to(move: Move, machine: Machine, units: Any) -> str:
    from logger.advising.turn_words import most_words

    most = most_words(machine.bolt(move.bolt), move.raise_at_most_mm)
    no_further = f", and after {most} at the latest" if most else ""
    return (
        f"{move.bolt}: {move.turn}; carriage parked at {position(move.park_mm, units)}; stop when the indicator shows "
        f"{amount(move.reading_target, move.uncertainty, move.unit, units)}{no_further}, then tighten the lock nut."
    )


# --- naming the instrument -------------------------------------------------------------------------------------------


def _name_it(args: argparse.Namespace) -> Answer:
    """Listen without knowing the instrument: which file and line settings explain what arrives."""
    from logger.link.listening import heard

    args.terminal.note(f"Listening to {args.port} to find out which instrument it is.")
    facts = heard(args.port, NAMING_S)
    failure = None
    if facts["heard"] in ("silent", "no sense"):
        failure = NotUnderstood(facts["says"], "Add --instrument NAME or a path to its YAML file to see the readings.")
    name = facts["instrument"] or "NAME"
    lines = [facts["says"]]
    if facts["instrument"] and not facts["own_settings"]:
        name = "my-instrument.yaml"
        lines.append(f"First: truestroke ports --listen {args.port} --save {name}")
    lines.append(f"To see its readings: truestroke listen {args.port} --instrument {name}")
    return Answer({"port": args.port, **facts}, [] if failure is not None else lines, failure)
