"""The parts below the screen, as the screen calls them: recorder, recordings, findings, advice, journal.

Why it exists: one small class knows the seams; the screens know its methods. Everything heavy is imported when it is
first needed, so that the first picture does not wait for scipy.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import TYPE_CHECKING, Any

from logger.tui.asked import Beeper, Heard, OtherSettings, Page, SourceSpec
from logger.tui.parts_job import JobParts

if TYPE_CHECKING:
    from logger.instruments import Instrument
    from logger.job import Job
    from logger.recording import Recording


LISTEN_S = 1.5
"""How long one port is listened to at one speed."""


class RealParts(JobParts):
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

    def listen_to(self, port: str, may_ask: bool = False) -> Heard:
        """What arrives on a port and which profile explains it at its own line settings; opening it may reset the
        device behind it. ``may_ask``: a silent one is sent read-only requests. Slow."""
        from logger.link.listening import heard, with_settings

        facts = heard(port, LISTEN_S, lambda: may_ask)
        fits = facts["instrument"] if facts["own_settings"] or "://" in port else ""  # a socket has no speed
        other = None
        if facts["instrument"] and not fits:
            text = with_settings(self.load_instrument(facts["instrument"]).source_text, facts)
            other = OtherSettings(facts["instrument"], facts["baud"], text)
        return Heard(port, fits or "", facts["says"], facts["heard"] == "silent" and not may_ask, other)

    def start(self, spec: SourceSpec) -> Any:
        """A recorder that is opening its port; what went wrong stands in its ``error``."""
        from logger.recorder import Recorder, RecorderSpec

        expected = spec.passes * len(spec.stations_mm)
        lead = RecorderSpec(
            port=spec.port,
            instrument=spec.instrument,
            folder=spec.folder,
            machine=spec.machine,
            set_up=spec.set_up,
            passes=spec.passes,
            kind=spec.kind,
            stations_mm=spec.stations_mm,
            marks_expected=expected or None,
        )
        if not spec.beside:
            return Recorder.start(lead, wait_open=False)
        from logger.link.together import Together

        others = [
            replace(
                lead,
                port=one.port,
                instrument=one.instrument,
                instrument_name=one.name,
                folder=where,
                set_up=one.set_up,
            )
            for one, where in spec.beside
        ]
        return Together.start([lead, *others], wait_open=False)

    def stop(self, source: Any) -> None:
        """Let the port go; what came is on disk."""
        close = getattr(source, "close", None)
        if close is not None:
            close(3.0)

    def beeper(self, bell: Callable[[], object]) -> Beeper | None:
        """The sound; ``bell`` is the terminal's, for want of a player."""
        from logger.sound import Beeper as Real

        return Real(bell)

    def phone(self) -> Page:
        """A page for phones on the local network; where there is none, on this computer alone."""
        from logger.phone.link import network_address
        from logger.phone.server import LOOPBACK, Phone

        return Phone(network_address() or LOOPBACK)

    def code_of(self, url: str, *, plain: bool = False) -> tuple[str, ...]:
        """An address as a code that a phone's camera reads, light modules written."""
        from logger.phone.link import qr_lines

        return tuple(qr_lines(url, ascii_only=plain))

    def open_recording(self, job: Job, name: str) -> Recording:
        """A recording of the job by number, name or path; NotAllowed naming the nearest."""
        from logger.record.finding import find_recording
        from logger.recording import open_recording

        return open_recording(find_recording(job, name))

    def replay(self, recording: Recording, speed: float) -> Any:
        """The recording as a source."""
        from logger.replay import Replay

        return Replay(recording, speed)
