"""The parts below the screen, as the screen calls them: recorder, recordings, findings, advice, journal.

Why it exists: one small class knows the seams; the screens know its methods. Everything heavy is imported when it is
first needed, so that the first picture does not wait for scipy.
"""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

from logger.rail_picture import Seen
from logger.tui.session import Made, SourceSpec

if TYPE_CHECKING:
    from analysis.results import Findings
    from logger.instruments import Instrument
    from logger.job import Job
    from logger.recording import Recording


class RealParts:
    """See ``session.Parts``; every method is a call or two."""

    def ports(self) -> list[tuple[str, str]]:
        """Serial ports of this computer: name, description. None is opened."""
        from logger.port import find_ports

        return [(port.name, port.description) for port in find_ports()]

    def instruments(self) -> list[str]:
        """Names of the profiles that come with truestroke."""
        from logger.instruments import list_instruments

        return list_instruments()

    def load_instrument(self, name: str) -> Instrument:
        """A profile by name or path; BadFile with every fault."""
        from logger.instruments import load_instrument

        return load_instrument(name)

    def start(self, spec: SourceSpec) -> Any:
        """A recorder that is opening its port; what went wrong stands in its ``error``."""
        from logger.recorder import Recorder, RecorderSpec

        expected = spec.passes * len(spec.stations_mm)
        return Recorder.start(
            RecorderSpec(
                port=spec.port,
                instrument=spec.instrument,
                folder=spec.folder,
                machine=spec.machine,
                set_up=spec.set_up,
                passes=spec.passes,
                kind=spec.kind,
                stations_mm=spec.stations_mm,
                marks_expected=expected or None,
            ),
            wait_open=False,
        )

    def stop(self, source: Any) -> None:
        """Let the port go; what came is on disk."""
        close = getattr(source, "close", None)
        if close is not None:
            close(3.0)

    def look(self, job: Job) -> Seen:
        """Findings of the machine's newest state, the plan from there (bolts already turned taken into account), and
        the findings of the state before. Slow."""
        findings, before, when = self._found(job)
        if findings is None:
            return Seen()
        from logger.advice import advise

        return Seen(findings, advise(job, made_so_far=job.rounds()[-1].turned), before, when)

    def note_sweep(self, job: Job, folder: Path, set_up: str) -> None:
        """The journal says that this recording is a sweep of the present state."""
        job.append("sweep", sweep=folder.name, set_up=set_up)

    def note_turned(self, job: Job, made: Made) -> None:
        """The journal says what the display showed before and after this bolt, and the estimate of its travel. Slow."""
        from logger.advice import estimate_turned
        from logger.errors import NotAllowed
        from logger.turned import ParkedMove

        move = made.move
        if move.park_mm is None:
            raise NotAllowed(
                f"{move.bolt} has no place to park at, so its travel cannot be told from the display.",
                f"Write it down by hand: truestroke turned {move.bolt}=+0.12mm",
            )
        parked = ParkedMove(move.bolt, move.park_mm, made.before, made.after)
        job.append_turned([estimate_turned(job, parked, set_up=made.set_up)])

    def open_recording(self, job: Job, name: str) -> Recording:
        """A recording of the job by its folder's name."""
        from logger.errors import NotAllowed
        from logger.recording import open_recording

        for folder in [*job.recordings("sweep"), *job.recordings("live")]:
            if name in (folder.name, folder.name.split("-", 1)[0], str(int(folder.name.split("-", 1)[0]))):
                return open_recording(folder)
        path = Path(name)
        if path.is_dir():
            return open_recording(path)
        raise NotAllowed(f"There is no recording '{name}' in {job.folder}.", "The start screen lists those there are.")

    def replay(self, recording: Recording, speed: float) -> Any:
        """The recording as a source."""
        from logger.replay import Replay

        return Replay(recording, speed)

    def _found(self, job: Job) -> tuple[Findings | None, Findings | None, str]:
        """Findings of the newest round that has sweeps, those of the round before in the same set-up, and when."""
        from logger.findings import find
        from logger.recording import open_recording

        folders = {folder.name: folder for folder in job.recordings("sweep")}
        states = [[folders[name] for name in one.sweeps if name in folders] for one in job.rounds()]
        states = [state for state in states if state]
        if not states:
            return None, None, ""
        newest = [open_recording(folder) for folder in states[-1]]
        set_up = newest[-1].set_up
        findings = find([one for one in newest if one.set_up == set_up])
        before = None
        if len(states) > 1:
            earlier = [one for one in map(open_recording, states[-2]) if one.set_up == set_up]
            before = find(earlier) if earlier else None
        return findings, before, newest[-1].started_utc[:16].replace("T", " ")
