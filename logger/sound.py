"""Beeps that say which way and how close, for the hand that turns a bolt where no screen can be seen.

Why it exists: under the machine one hears better than one sees. A high tone means the carriage is too high, a low one
that it is too low; the beeps come faster the nearer it is, and inside the band there is silence. It prevents three
mistakes: a screen that waits for a sound card (``update`` only leaves a note for a thread), silence that could mean
"inside" when it is a pulled cable (a third sound says *no reading*), and a program that fails for want of a player (the
terminal's bell takes over).

The tone is a WAV file made once in a temporary folder and given to the platform's own player as a process of its own.
"""

from __future__ import annotations

import array
import contextlib
import math
import shutil
import subprocess
import sys
import tempfile
import threading
import time
import wave
from collections.abc import Callable, Sequence
from pathlib import Path
from types import TracebackType
from typing import Literal, Protocol, Self

Sound = Literal["high", "low", "no reading"]

TONES: dict[Sound, tuple[tuple[float, float], ...]] = {
    "high": ((880.0, 0.09),),
    "low": ((440.0, 0.09),),
    "no reading": ((220.0, 0.12), (0.0, 0.06), (220.0, 0.12)),
}
"""Each sound as (Hz, seconds); 0 Hz is a rest. An octave between high and low is told apart by everyone who hears both
(common practice, no source)."""

SLOWEST_S, FASTEST_S = 1.0, 0.16
FAR_MM = 0.2
"""From here on the beeps are at their slowest; halfway to the band they come twice as fast."""
STALE_S = 1.5
"""Without a new value for so long, what is known is old: *no reading*."""
NO_READING_EVERY_S = 2.0
LONGEST_PLAY_S = 3.0
FAILURES_ALLOWED = 3
RATE_HZ = 22_050

PLAYERS: dict[str, tuple[tuple[str, ...], ...]] = {
    "linux": (("paplay",), ("pw-play",), ("aplay", "-q")),
    "darwin": (("afplay",),),
}
"""Players by platform, the first that is there is taken; the file's name is added (names from memory)."""
WINDOWS_PLAYER = "import sys, winsound; winsound.PlaySound(sys.argv[1], winsound.SND_FILENAME)"


class Process(Protocol):
    """What a started player offers: the part of ``subprocess.Popen`` used here."""

    def poll(self) -> int | None: ...
    def kill(self) -> None: ...
    def wait(self, timeout: float | None = None) -> int: ...


Start = Callable[[Sequence[str]], Process]


def find_player(platform: str = sys.platform, which: Callable[[str], str | None] = shutil.which) -> tuple[str, ...]:
    """The command that plays a file on this platform, or nothing where there is none."""
    if platform == "win32":
        return (sys.executable, "-c", WINDOWS_PLAYER)
    for command in PLAYERS.get("darwin" if platform == "darwin" else "linux", ()):
        found = which(command[0])
        if found:
            return (found, *command[1:])
    return ()


def wav_of(sound: Sound, path: Path) -> None:
    """Write one sound as 16 bit mono; its edges rise and fall over 5 ms, or the loudspeaker clicks."""
    samples = array.array("h")
    for pitch_hz, seconds in TONES[sound]:
        count = round(seconds * RATE_HZ)
        edge = 0.005 * RATE_HZ
        samples.extend(
            round(14_000 * min(1.0, k / edge, (count - k) / edge) * math.sin(2 * math.pi * pitch_hz * k / RATE_HZ))
            for k in range(count)
        )
    if sys.byteorder == "big":
        samples.byteswap()
    with wave.open(str(path), "wb") as file:
        file.setnchannels(1)
        file.setsampwidth(2)
        file.setframerate(RATE_HZ)
        file.writeframes(samples.tobytes())


def pause_s(distance_mm: float) -> float:
    """From the start of one beep to the start of the next: the nearer, the faster."""
    return FASTEST_S + (SLOWEST_S - FASTEST_S) * min(1.0, abs(distance_mm) / FAR_MM)


def sound_for(distance_mm: float | None, inside: bool) -> tuple[Sound, float] | None:
    """Which sound, and how long until the next; None is silence. ``distance_mm`` + : it must still rise (too low)."""
    if distance_mm is None or not math.isfinite(distance_mm):
        return "no reading", NO_READING_EVERY_S
    if inside:
        return None
    return ("low" if distance_mm > 0 else "high"), pause_s(distance_mm)


def _start(command: Sequence[str]) -> Process:
    return subprocess.Popen(
        command, stdin=subprocess.DEVNULL, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL, start_new_session=True
    )


class Beeper:
    """``update`` with what is to go, from any thread and as often as wanted; it returns at once. A context manager.

    ``bell`` rings the terminal where no player is found or the player fails; ``on`` turns all sound off and on.
    """

    def __init__(
        self,
        bell: Callable[[], object] = lambda: None,
        *,
        player: Sequence[str] | None = None,
        start: Start = _start,
        clock: Callable[[], float] = time.monotonic,
    ) -> None:
        self.on = True
        self._bell = bell
        self._player = tuple(find_player() if player is None else player)
        self._start = start
        self._clock = clock
        self._wanted: tuple[float | None, bool] | None = None
        self._heard_s = -math.inf
        self._failures = 0
        self._playing: tuple[Process, float] | None = None
        self._news = threading.Event()
        self._closing = threading.Event()
        self._folder: tempfile.TemporaryDirectory[str] | None = None
        self._thread = threading.Thread(target=self._run, name="sound", daemon=True)
        self._thread.start()

    @property
    def how(self) -> str:
        """What makes the sound: the player's name, or ``terminal bell``."""
        return Path(self._player[0]).stem if self._player else "terminal bell"

    def update(self, distance_mm: float | None, inside: bool) -> None:
        """What is to go now, + where it must still rise; None where there is no reading. Never blocks."""
        self._wanted = (distance_mm, inside)
        self._heard_s = self._clock()
        self._news.set()

    def toggle(self) -> bool:
        """Sound off, or on again; says which it is now."""
        self.on = not self.on
        self._news.set()
        return self.on

    def close(self) -> None:
        """End the sound and everything that was started for it."""
        self._closing.set()
        self._news.set()
        self._thread.join(LONGEST_PLAY_S + 1.0)

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()

    # -- the thread

    def due(self) -> tuple[Sound, float] | None:
        """What should sound now, and the pause after it."""
        if not self.on or self._wanted is None:
            return None
        if self._clock() - self._heard_s > STALE_S:
            return "no reading", NO_READING_EVERY_S
        return sound_for(*self._wanted)

    def _run(self) -> None:
        try:
            while not self._closing.is_set():
                wanted = self.due()
                if wanted is None:
                    self._news.wait(STALE_S)
                    self._news.clear()
                    continue
                sound, pause = wanted
                self._play(sound)
                self._closing.wait(pause)
        finally:
            self._silence()
            if self._folder is not None:
                self._folder.cleanup()

    def _play(self, sound: Sound) -> None:
        self._reap()
        if self._playing is not None:
            return  # the one before is still sounding: a slow player must not pile up
        if not self._player:
            self._bell()
            return
        try:
            self._playing = (self._start([*self._player, str(self._file(sound))]), self._clock())
        except OSError:
            self._failed()

    def _reap(self) -> None:
        if self._playing is None:
            return
        process, since = self._playing
        code = process.poll()
        if code is None and self._clock() - since < LONGEST_PLAY_S:
            return
        if code == 0:
            self._failures = 0
        else:
            self._failed()
        self._silence()

    def _failed(self) -> None:
        self._failures += 1
        if self._failures >= FAILURES_ALLOWED:
            self._player = ()  # there is a player but no sound: the bell from now on

    def _silence(self) -> None:
        if self._playing is not None:
            process, _ = self._playing
            self._playing = None
            if process.poll() is None:
                process.kill()
            with contextlib.suppress(subprocess.TimeoutExpired):
                process.wait(1.0)

    def _file(self, sound: Sound) -> Path:
        if self._folder is None:
            self._folder = tempfile.TemporaryDirectory(prefix="truestroke-sound-")
        path = Path(self._folder.name) / f"{sound.replace(' ', '-')}.wav"
        if not path.exists():
            wav_of(sound, path)
        return path
