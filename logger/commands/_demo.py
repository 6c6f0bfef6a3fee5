"""What ``demo`` does: a simulated hand at a simulated saw, the real program in between.

Why it exists: see ``demo``. The hand here knows only what a person would: the advice, and the number on the display of
the parked carriage. What the saw really is comes in once, at the end, as the simulator's own truth beside the verdict.

This is the one part of the program that imports ``fixtures``.
"""

from __future__ import annotations

import argparse
import statistics
import tempfile
import time
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from logger.commands import Answer
from logger.commands._findings import SAFE_FIRST, spots_lines
from logger.errors import InstrumentLost, NotAllowed
from logger.readings import Mark, Reading
from logger.wording import amount, count, plural, position

if TYPE_CHECKING:
    from analysis.results import Findings, Move, Plan
    from fixtures.kiln_street import Workshop
    from logger.instruments import Instrument
    from logger.job import Job
    from logger.recorder import Recorder

MOST_ROUNDS = 4
HEADLESS_PACE = 20.0
TOUR_PACE = 4.0
PATIENCE_S = 120.0  # for a pass or a settled reading: a saw that does not answer by then is gone
AVERAGED = 20
NOT_WORTH_TURNING_AGAIN_MM = 0.008  # a lock nut shifts as much when it is tightened (common practice, no source)
LARGEST_STEP_MM = 0.1  # what a careful hand turns before it looks again
DEAF = 0.01  # mm on the display per mm of thread: a bolt that does not show is not turned
JOB_FILE = "machine.yaml"


def demo(args: argparse.Namespace) -> Answer:
    """``truestroke demo``: the tour where there is a screen, the story where there is none."""
    from fixtures.kiln_street import SEED, start_workshop

    if args.pace is not None and not 0.1 <= args.pace <= 100:
        raise NotAllowed(f"--pace {args.pace:g} is not possible.", "Allowed: 0.1 to 100 times life.")
    told = not args.headless and not args.json and args.terminal.can_draw()
    pace = args.pace or (TOUR_PACE if told else HEADLESS_PACE)
    with start_workshop(pace, SEED if args.seed is None else args.seed) as workshop:
        job = _job_for(args.job, workshop)
        if told:
            return _tour(job, workshop, args)
        return Headless(job, workshop, args.terminal.write, args.units).run()


def _job_for(asked: str, workshop: Workshop) -> Job:
    """A new job folder with what the owner of the invented saw would have written; an existing one is not touched."""
    from logger.job import Job

    folder = Path(tempfile.mkdtemp(prefix="truestroke-demo-")) if asked == "." else Path(asked)
    if (folder / JOB_FILE).exists():
        raise NotAllowed(f"{folder} is a job already.", "Name a new folder after --job, or leave --job out.")
    folder.mkdir(parents=True, exist_ok=True)
    with (folder / JOB_FILE).open("x", encoding="utf-8") as file:
        file.write(workshop.machine.machine_yaml())
    return Job.open(folder)


def _tour(job: Job, workshop: Workshop, args: argparse.Namespace) -> Answer:
    from logger import tui

    tui.run(job, plain=args.plain, units=args.units, tour=workshop)
    facts: dict[str, Any] = {"job": str(job.folder), "truth": _truth(workshop)}
    return Answer(facts, _farewell(job, workshop))


def _truth(workshop: Workshop) -> dict[str, Any]:
    """What the simulator itself says of its saw, in the state it is in now."""
    machine, set_up = workshop.machine, workshop.set_up
    return {
        "peak_to_valley_mm": round(machine.truth_peak_to_valley(set_up), 4),
        "mean_mm": round(machine.truth_mean(set_up), 4),
        "inside": bool(machine.truth_inside(set_up)),
    }


def _farewell(job: Job, workshop: Workshop) -> list[str]:
    truth = _truth(workshop)
    spread, mean = (
        amount(truth["peak_to_valley_mm"], None, "mm", "mm", sign=False),
        amount(truth["mean_mm"], None, "mm"),
    )
    word = "inside" if truth["inside"] else "outside"
    return [
        f"The simulator's own truth: peak to valley {spread}, mean {mean}, {word}.",
        f"The job is kept in {job.folder}. Look into it with any command and --job, as",
        f"  truestroke spots --job {job.folder}",
    ]


@dataclass
class Headless:
    """The whole job without a screen. ``tell`` prints one line of the story."""

    job: Job
    workshop: Workshop
    tell: Callable[[str], None]
    units: Any = "mm"

    def run(self) -> Answer:
        """Sweep, advise, turn, sweep again, until inside, stopped by the advice, or MOST_ROUNDS rounds."""
        from logger import advice
        from logger.instruments import load_instrument

        instrument = load_instrument(self.workshop.instrument)
        self._opening(instrument)
        began_as = _truth(self.workshop)
        before, rounds = self._sweep(instrument), 0
        now, turned = before, list[dict[str, Any]]()
        plan = advice.advise(self.job, set_up=self.workshop.set_up)
        while plan.next == "turn" and rounds < MOST_ROUNDS:
            rounds += 1
            turned += self._round(plan, instrument)
            now = self._sweep(instrument)
            plan = advice.advise(self.job, set_up=self.workshop.set_up)
        return self._closing(before, now, turned, rounds, began_as, plan)

    def _opening(self, instrument: Instrument) -> None:
        self.tell("The Kiln Street community workshop and its panel saw are invented; its indicator is simulated.")
        self.tell(f"Its bytes are real: they come through {self.workshop.port} into the recorder ({instrument.name}),")
        self.tell(f"{self.workshop.pace:g} times faster than life; the instrument sends its own clock.")
        self.tell("")

    # -- measuring

    def _sweep(self, instrument: Instrument) -> Findings:
        """One sweep there and back through the production recorder, judged."""
        from logger import advice, findings
        from logger.commands._ended import wrap_up
        from logger.recorder import Recorder, RecorderSpec
        from logger.recording import open_recording

        workshop = self.workshop
        folder = self.job.next_recording_folder(workshop.set_up)
        spec = RecorderSpec(
            port=workshop.port,
            instrument=instrument,
            folder=folder,
            machine=self.job.machine,
            set_up=workshop.set_up,
            passes=workshop.passes,
            stations_mm=workshop.stations_mm,
            marks_expected=workshop.passes * len(workshop.stations_mm),
            instrument_name=workshop.instrument,
        )
        workshop.park(workshop.stations_mm[0])
        with Recorder.start(spec) as recorder:
            for _ in range(workshop.passes):
                workshop.push()
                _until(recorder, lambda: not workshop.pushing())
            ended = recorder.wait(PATIENCE_S)
        if ended is None:
            raise InstrumentLost("The simulated saw stopped sending in the middle of a sweep.", "Run the demo again.")
        answer = wrap_up(self.job, folder, ended, [], instrument, workshop.port)
        if answer.failure is not None:
            raise answer.failure
        facts = answer.json
        self.tell(
            f"Sweep {facts['sweep']}: {count(facts['readings'])} readings, {plural(facts['marks'], 'mark')}, "
            f"{plural(facts['passes'], 'pass', 'passes')}; positions from {facts['position_source']}."
        )
        found = findings.find([open_recording(folder)])
        for line in spots_lines(found, advice.places(self.job.machine, found), found.warnings, self.units):
            self.tell(line)
        self.tell("")
        return found

    # -- turning

    def _round(self, plan: Plan, instrument: Instrument) -> list[dict[str, Any]]:
        """Every move of a plan, each written down as it is made, the rest planned again from there."""
        from logger import advice
        from logger.recorder import Recorder, RecorderSpec

        self.tell(f"Round {plan.round}. Before a hand goes under the rail:")
        for line in SAFE_FIRST:
            self.tell(f"  {line}")
        made: list[dict[str, Any]] = []
        moves = list(plan.moves)
        spec = RecorderSpec(
            port=self.workshop.port,
            instrument=instrument,
            folder=self.job.next_recording_folder(self.workshop.set_up, "live"),
            kind="live",
            machine=self.job.machine,
            set_up=self.workshop.set_up,
            instrument_name=self.workshop.instrument,
        )
        with Recorder.start(spec) as recorder:
            while moves and len(made) < 2 * len(plan.moves):
                made.append(self._move(moves[0], recorder, instrument))
                done = {move["bolt"] for move in made}
                planned = advice.advise(self.job, made_so_far=self.job.rounds()[-1].turned).moves
                moves = [move for move in planned if move.bolt not in done or _worth_turning_again(move)]
            recorder.stop()
        self.tell("")
        return made

    def _move(self, move: Move, recorder: Recorder, instrument: Instrument) -> dict[str, Any]:
        """Park, turn until the display shows the target, tighten the lock nut, read again, write it down."""
        from logger.advice import estimate_turned
        from logger.advising.turned import ParkedMove, parse

        if move.park_mm is None or move.reading_target is None:
            raise NotAllowed(f"{move.bolt} cannot be watched in this set-up.", "Turn it by thread travel instead.")
        if not self._display_follows(move):
            return self._turn_by_thread(move)
        self.workshop.park(move.park_mm)
        before = self._settled(recorder)
        self._turn_until(move, before, recorder, instrument)
        self.workshop.lock_nut(move.bolt)
        after = self._settled(recorder)
        typed = f"{move.bolt}@{move.park_mm:g}:{before:+.3f}..{after:+.3f}mm"
        parked = parse(typed, self.job.machine)
        assert isinstance(parked, ParkedMove)
        turned = estimate_turned(self.job, parked, set_up=self.workshop.set_up)
        self.job.append_turned([turned])
        self.tell(
            f"  {move.bolt}, parked at {position(move.park_mm, self.units)}: {move.turn}; the display goes from "
            f"{before:+.3f} to {after:+.3f} mm (asked: {move.reading_target:+.3f}), "
            f"thread {amount(turned.raise_mm, turned.uncertainty_mm, 'mm', self.units)}"
        )
        return {"bolt": turned.bolt, "raise_mm": turned.raise_mm, "uncertainty_mm": turned.uncertainty_mm}

    def _display_follows(self, move: Move) -> bool:
        """Whether the tool itself could tell from this display how far the bolt went."""
        from logger.advice import estimate_turned
        from logger.advising.turned import ParkedMove

        assert move.park_mm is not None and move.reading_target is not None and move.reading_now is not None
        try:
            estimate_turned(self.job, ParkedMove(move.bolt, move.park_mm, move.reading_now, move.reading_target))
        except NotAllowed:
            return False
        return True

    def _turn_by_thread(self, move: Move) -> dict[str, Any]:
        """A bolt no display follows: turn it by its angle, and write down the thread travel."""
        from logger.advice import estimate_turned

        self.workshop.turn_bolt(move.bolt, move.raise_mm)
        self.workshop.lock_nut(move.bolt)
        turned = estimate_turned(self.job, f"{move.bolt}={move.raise_mm:+.3f}mm")
        self.job.append_turned([turned])
        self.tell(
            f"  {move.bolt}, by its angle, for the display hardly follows it: {move.turn}, "
            f"thread {amount(turned.raise_mm, turned.uncertainty_mm, 'mm', self.units)}"
        )
        return {"bolt": turned.bolt, "raise_mm": turned.raise_mm, "uncertainty_mm": turned.uncertainty_mm}

    def _turn_until(self, move: Move, shown: float, recorder: Recorder, instrument: Instrument) -> None:
        """A careful hand: a part of what seems to be missing, look, and again, learning how far the display follows."""
        assert move.reading_target is not None and move.reading_now is not None
        target, least = move.reading_target, 1.5 * (instrument.step or 0.001)
        follows = (target - move.reading_now) / move.raise_mm
        for _ in range(15):
            if abs(target - shown) <= least or abs(follows) < DEAF:
                return
            step = max(-LARGEST_STEP_MM, min(LARGEST_STEP_MM, 0.9 * (target - shown) / follows))
            self.workshop.turn_bolt(move.bolt, step)
            last, shown = shown, self._settled(recorder)
            if abs(step) > 0.02 and (shown - last) / step * follows > 0:
                follows = (shown - last) / step

    def _settled(self, recorder: Recorder) -> float:
        """What the display shows now: the mean of some readings after a press of the switch, which comes down the wire
        behind everything that was under way."""
        recorder.drain()
        self.workshop.press()
        values: list[float] = []
        pressed = False

        def enough() -> bool:
            nonlocal pressed
            for record in recorder.drain():
                pressed = pressed or isinstance(record, Mark)
                if pressed and isinstance(record, Reading):
                    values.append(record.value)
            return len(values) >= AVERAGED

        _until(recorder, enough)
        return round(statistics.fmean(values[:AVERAGED]), 3)

    # -- the end

    def _closing(
        self, before: Findings, now: Findings, turned: list[dict[str, Any]], rounds: int, began: Any, plan: Plan
    ) -> Answer:
        import json

        facts: dict[str, Any] = {
            "verdict": now.verdict.word,
            "before": _judged(before),
            "after": _judged(now),
            "turned": turned,
            "rounds": rounds,
            "next": plan.next,
            "truth_before": began,
            "truth": _truth(self.workshop),
            "port": self.workshop.port,
            "job": str(self.job.folder),
        }
        lines = [
            f"Before: {before.verdict.word}, peak to valley {_said(before, self.units)}. "
            f"After {plural(rounds, 'round')} and {plural(len(turned), 'move')}: {now.verdict.word}, "
            f"{_said(now, self.units)}.",
            "On a real machine guards and riving knife go back before any test cut.",
            *_farewell(self.job, self.workshop),
            json.dumps(facts, allow_nan=False),
        ]
        return Answer(facts, lines)


def _worth_turning_again(move: Move) -> bool:
    """A bolt just turned and locked is left alone when what is missing is no more than its lock nut's own shift."""
    if move.reading_target is None or move.reading_now is None:
        return True
    return abs(move.reading_target - move.reading_now) > NOT_WORTH_TURNING_AGAIN_MM


def _judged(found: Findings) -> dict[str, Any]:
    extremes = found.extremes
    return {
        "verdict": found.verdict.word,
        "peak_to_valley_mm": round(extremes.peak_to_valley, 4),
        "uncertainty_mm": round(extremes.peak_to_valley_uncertainty, 4),
        "mean_mm": None if extremes.mean is None else round(extremes.mean, 4),
    }


def _said(found: Findings, units: Any) -> str:
    extremes = found.extremes
    return amount(extremes.peak_to_valley, extremes.peak_to_valley_uncertainty, "mm", units, sign=False)


def _until(recorder: Recorder, done: Callable[[], bool]) -> None:
    """Go on listening until ``done``; raises when the saw goes silent or the recording ends for another reason."""
    deadline = time.monotonic() + PATIENCE_S
    while not done():
        if time.monotonic() > deadline:
            raise InstrumentLost(f"The simulated saw did not finish within {PATIENCE_S:g} s.", "Run the demo again.")
        if recorder.wait(0.02) is not None and not done():
            raise InstrumentLost("The recording ended in the middle of a pass.", "Run the demo again.")
