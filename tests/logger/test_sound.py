"""Beeps: which way, how close, silence inside, and never in the way."""

import sys
import threading
import time
import wave
from pathlib import Path

import numpy as np
import pytest

from logger.sound import FASTEST_S, SLOWEST_S, TONES, Beeper, find_player, pause_s, sound_for, wav_of


class FakePlayer:
    """Stands for the platform's player: remembers what it was asked to play, ends as told."""

    def __init__(self, code=0):
        self.code, self.played, self.running = code, [], 0
        self.killed = 0
        self.enough = threading.Event()

    def __call__(self, command):
        self.played.append(Path(command[-1]).stem)
        if len(self.played) >= 4:
            self.enough.set()
        return self

    def poll(self):
        return self.code

    def kill(self):
        self.killed += 1

    def wait(self, timeout=None):
        return self.code or 0


def name_of(wanted):
    assert wanted is not None
    return wanted[0]


def pause_of(wanted):
    assert wanted is not None
    return wanted[1]


def heard(path):
    with wave.open(str(path)) as file:
        assert (file.getnchannels(), file.getsampwidth()) == (1, 2)
        samples = np.frombuffer(file.readframes(file.getnframes()), "<i2").astype(float)
        rate = file.getframerate()
    spectrum = np.abs(np.fft.rfft(samples, 1 << 16))
    return float(np.argmax(spectrum) * rate / (1 << 16)), samples


@pytest.mark.parametrize(("sound", "pitch_hz"), [("high", 880.0), ("low", 440.0), ("no reading", 220.0)])
def test_each_sound_has_its_pitch_and_does_not_click(tmp_path, sound, pitch_hz):
    wav_of(sound, tmp_path / "tone.wav")
    pitch, samples = heard(tmp_path / "tone.wav")
    assert pitch == pytest.approx(pitch_hz, abs=8.0)
    assert abs(samples[0]) < 200
    assert abs(samples[-1]) < 800
    assert np.max(np.abs(samples)) < 32_000


def test_the_pitch_says_which_way_and_the_pace_how_close():
    assert name_of(sound_for(+0.05, inside=False)) == "low"
    assert name_of(sound_for(-0.05, inside=False)) == "high"
    paces = [pause_of(sound_for(d, inside=False)) for d in (0.01, 0.05, 0.1, 0.3, 2.0)]
    assert paces == sorted(paces)
    assert FASTEST_S < paces[0] < paces[-1] == SLOWEST_S


def test_inside_there_is_silence_and_without_a_reading_there_is_not():
    assert sound_for(0.004, inside=True) is None
    assert name_of(sound_for(None, inside=False)) == "no reading"
    assert name_of(sound_for(float("nan"), inside=True)) == "no reading"


def test_high_and_low_are_an_octave_apart():
    assert TONES["high"][0][0] == 2 * TONES["low"][0][0]
    assert pause_s(0.0) == FASTEST_S


def test_the_player_is_asked_for_the_sound_of_the_newest_value():
    player = FakePlayer()
    with Beeper(player=["play"], start=player) as beeper:
        beeper.update(+0.001, inside=False)
        assert player.enough.wait(60)
        assert beeper.how == "play"
    assert set(player.played) == {"low"}


def test_silence_after_it_came_inside():
    player = FakePlayer()
    with Beeper(player=["play"], start=player) as beeper:
        beeper.update(0.002, inside=True)
        assert beeper.due() is None
        beeper.update(-0.1, inside=False)
        assert name_of(beeper.due()) == "high"
        beeper.toggle()
        assert beeper.due() is None


def test_a_value_that_grows_old_becomes_no_reading():
    now = [0.0]
    with Beeper(player=["play"], start=FakePlayer(), clock=lambda: now[0]) as beeper:
        beeper.update(0.0, inside=True)
        assert beeper.due() is None
        now[0] = 5.0
        assert name_of(beeper.due()) == "no reading"


def test_update_never_waits_for_a_player_that_hangs():
    class Hanging(FakePlayer):
        def poll(self):
            return None if not self.killed else -9

    player = Hanging()
    beeper = Beeper(player=["play"], start=player)
    began = time.monotonic()
    for _ in range(10_000):
        beeper.update(0.1, inside=False)
    assert time.monotonic() - began < 30.0  # one that waits for this player never ends
    beeper.close()
    assert len(player.played) <= 1  # what hangs is not joined by more of the same
    assert player.killed == len(player.played)


def test_a_player_that_cannot_play_gives_way_to_the_bell():
    rung = threading.Event()
    with Beeper(rung.set, player=["play"], start=FakePlayer(code=1)) as beeper:
        beeper.update(0.0001, inside=False)
        assert rung.wait(60)
        assert beeper.how == "terminal bell"


def test_no_player_at_all_rings_the_bell():
    rung = threading.Event()
    with Beeper(rung.set, player=[]) as beeper:
        beeper.update(0.1, inside=False)
        assert rung.wait(60)


def test_a_player_that_cannot_be_started_is_no_error():
    rung = threading.Event()
    with Beeper(rung.set, player=["/nowhere/play"]) as beeper:
        beeper.update(0.0001, inside=False)
        assert rung.wait(60)


def test_a_real_process_is_given_the_file_and_nothing_is_left(tmp_path):
    note = tmp_path / "played"
    script = f"import pathlib,sys; pathlib.Path({str(note)!r}).write_bytes(pathlib.Path(sys.argv[1]).read_bytes()[:4])"
    gone = []
    with Beeper(player=[sys.executable, "-c", script]) as beeper:
        beeper.update(0.1, inside=False)
        waited = time.monotonic() + 60
        while (not note.exists() or note.stat().st_size < 4) and time.monotonic() < waited:  # made, then written
            threading.Event().wait(0.02)
        folder = beeper._folder
        assert folder is not None
        gone.append(Path(folder.name))
    assert note.read_bytes() == b"RIFF"
    assert not gone[0].exists()


@pytest.mark.parametrize(
    ("platform", "there", "expected"),
    [
        ("linux", {"aplay"}, ("/bin/aplay", "-q")),
        ("linux", {"aplay", "paplay"}, ("/bin/paplay",)),
        ("linux", set(), ()),
        ("darwin", {"afplay"}, ("/bin/afplay",)),
    ],
)
def test_the_platforms_own_player_is_found(platform, there, expected):
    assert find_player(platform, lambda name: f"/bin/{name}" if name in there else None) == expected


def test_windows_plays_with_the_python_that_is_running():
    assert find_player("win32")[0] == sys.executable
    assert "winsound" in find_player("win32")[2]
