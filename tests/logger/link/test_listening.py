"""Facts about finding out which instrument speaks on a port, on simulated lines in their own time and on a real pty."""

import sys
import threading

import numpy as np
import pytest

from fixtures.instrument_sim import Speaker, play
from fixtures.line_writer import Line
from fixtures.simulated_ports import SimInstrument, SimPort
from fixtures.uart import Setting, received
from fixtures.wires import open_wire
from logger.errors import InstrumentLost
from logger.instruments import instrument_from_text, load_instrument
from logger.link.identify import listening_profiles
from logger.link.listening import Ways, heard, longest_s, with_settings
from tests.benchmarks.identification import cases, judged
from tests.logger.shell import Shell

PROFILES = listening_profiles()
POLLED = [name for name, one in PROFILES.items() if one.requests]
STREAMING = [name for name in PROFILES if name not in POLLED]


def found_on(port, may_ask=False, seconds=2.0):
    return heard("sim", seconds, lambda: may_ask, Ways(port.open, port.clock))


def test_a_receiver_with_the_senders_settings_hears_what_was_sent():
    sent = Setting(4800, 7, "even", 2)
    assert received(b"+0.123\r", sent, sent) == b"+0.123\r"
    assert received(b"+0.123\r", sent, Setting(4800, 7, "even", 1)) == b"+0.123\r"
    assert received(b"\x55" * 5, Setting(9600), Setting(9600)) == b"\x55" * 5


def test_a_character_sent_at_half_the_speed_is_heard_with_every_bit_doubled():
    """By hand, from 9600 to 19200: the start bit of 0xFF lasts two bit times, so the first data bit is 0; 0x00 is low
    for eighteen bit times, one frame of zeros, and a second start needs an idle line first."""
    assert received(b"\xff", Setting(9600), Setting(19200)) == b"\xfe"
    assert received(b"\x00", Setting(9600), Setting(19200)) == b"\x00"


@pytest.mark.parametrize("name", STREAMING)
def test_every_instrument_that_streams_is_named_at_its_own_settings(name):
    found = found_on(SimPort([SimInstrument.of(name, rate_hz=20)], seed=1))
    assert (found["instrument"], found["baud"]) == (name, load_instrument(name).link.baud)
    assert found["sample"]
    assert found["score"] == 1.0
    assert found["seconds"] < longest_s(2.0)


@pytest.mark.parametrize("name", POLLED)
def test_an_instrument_that_must_be_asked_is_only_asked_with_consent(name):
    port = SimPort([SimInstrument.of(name)], seed=2)
    assert found_on(port)["heard"] == "silent"
    assert port.requests == []
    port = SimPort([SimInstrument.of(name)], seed=2)
    found = found_on(port, may_ask=True)
    assert (found["heard"], found["instrument"], found["asked"]) == ("named", name, True)


def test_only_the_profiles_own_requests_are_ever_sent():
    port = SimPort([], seed=3)
    found_on(port, may_ask=True)
    allowed = {request for one in PROFILES.values() for request in one.requests}
    assert port.requests
    assert set(port.requests) <= allowed


def test_a_port_that_speaks_is_never_asked_anything():
    port = SimPort([SimInstrument.of("indicator-line", baud=230_400)], seed=4)
    assert found_on(port, may_ask=True)["instrument"] is None
    assert port.requests == []


def test_a_plug_that_sends_back_what_it_gets_is_no_instrument():
    found = found_on(SimPort([], seed=5, echoes=True), may_ask=True)
    assert found["instrument"] is None


def test_an_instrument_at_another_speed_than_its_profile_is_found_with_its_settings_and_can_be_saved():
    found = found_on(SimPort([SimInstrument.of("indicator-line", rate_hz=20, baud=19200)], seed=6))
    assert (found["instrument"], found["baud"], found["own_settings"]) == ("indicator-line", 19200, False)
    assert "19200 baud" in found["says"]
    saved = instrument_from_text(with_settings(load_instrument("indicator-line").source_text, found), "mine.yaml")
    assert saved.link.baud == 19200
    assert saved.frame_spec() == load_instrument("indicator-line").frame_spec()


def test_a_device_that_has_no_line_speed_is_named_at_its_profiles_own_settings():
    """Many devices on USB, and every socket, speak whatever speed is set: no file with another speed is wanted."""

    class Usb(SimPort):
        def configure(self, link):
            super().configure(link)
            self.heard = self.instruments[0].setting

    found = found_on(Usb([SimInstrument.of("indicator-line", rate_hz=20)], seed=6))
    assert (found["instrument"], found["baud"], found["own_settings"]) == ("indicator-line", 115200, True)
    assert "--save" not in found["says"]
    one = SimPort([SimInstrument.of("indicator-line", rate_hz=20, baud=9600)], seed=6)
    found = heard("socket://bench:5000", 2.0, ways=Ways(one.open, one.clock))
    assert (found["baud"], found["own_settings"]) == (115200, True)


def test_settings_are_written_into_a_file_that_named_none():
    example = 'examples: [{bytes: "0.1\\r\\n", value_mm: 0.1}]'
    text = f"name: a\nframe: line\npattern: '^(?P<value>\\d\\.\\d)$'\nunit: mm\n{example}\n"
    facts = {"baud": 4800, "bits": 7, "parity": "even", "stop": 2}
    link = instrument_from_text(with_settings(text, facts), "a.yaml").link
    assert (link.baud, link.bits, link.parity, link.stop) == (4800, 7, "even", 2)


def test_a_slow_instrument_is_waited_for():
    found = found_on(SimPort([SimInstrument.of("level-line", rate_hz=0.7)], seed=7), seconds=3.0)
    assert found["instrument"] == "level-line"


def test_two_talkers_are_never_named_with_confidence():
    for seed in range(2):
        both = [SimInstrument.of("indicator-line", rate_hz=9), SimInstrument.of("indicator-with-position", rate_hz=11)]
        assert found_on(SimPort(both, seed=seed))["heard"] != "named"


def test_a_converter_that_does_not_know_a_speed_is_tried_at_the_others():
    class Picky(SimPort):
        def configure(self, link):
            if link.baud == 250_000:
                raise InstrumentLost("not this speed")
            super().configure(link)

    found = found_on(Picky([SimInstrument.of("level-line", rate_hz=20)], seed=8))
    assert found["instrument"] == "level-line"


def test_silence_takes_no_longer_than_asked():
    port = SimPort([], seed=9)
    assert found_on(port)["heard"] == "silent"
    assert port.now_s < 2.6


@pytest.mark.skipif(sys.platform == "win32", reason="no pseudo terminals here")
@pytest.mark.parametrize("name", ["level-line", "scpi-indicator"])
def test_on_a_real_line_the_command_names_profile_settings_score_and_sample(tmp_path, name):
    wire, stop = open_wire("pty"), threading.Event()
    t_s = np.arange(0.0, 120.0, 0.04)
    lines = [Line(round(0.05 + 0.001 * (k % 7), 3)) for k in range(len(t_s))]

    def speak():
        while not stop.is_set() and not wire.connected():
            stop.wait(0.01)
        play(wire, Speaker.of_profile(name), lines, t_s, stop=stop)

    thread = threading.Thread(target=speak)
    thread.start()
    try:
        ask = ("--may-ask", wire.port) if name in POLLED else ()
        rows = Shell(tmp_path).json("ports", "--listen", wire.port, *ask, "--save", "mine.yaml")["ports"]
    finally:
        stop.set()
        thread.join(120)
        wire.close()
    row = next(row for row in rows if row["port"] == wire.port)
    assert (row["instrument"], row["baud"], row["asked"]) == (name, 9600, name in POLLED)
    assert row["score"] > 0.9
    assert row["sample"]
    assert (tmp_path / "mine.yaml").read_text(encoding="utf-8").startswith("#")


def test_of_a_sample_of_the_benchmarks_ports_none_is_named_wrong_and_most_are_named_right():
    """Every ninth port of ``tests.benchmarks.identification``: other speeds, dirt, echoes, noise, two talkers."""
    tried = list(cases())[::9]
    said = [judged(case, found_on(case.port, case.may_ask)) for case in tried]
    assert "NAMED WRONG" not in said
    right = [one for one, case in zip(said, tried, strict=True) if case.right]
    assert len(right) >= 10
    assert right.count("named right") >= 0.9 * len(right)
