"""Facts about opening what the sensor node sent: its clock known from the whole recording, its losses and restarts."""

import random
from functools import reduce
from operator import xor
from pathlib import Path

import numpy as np
import pytest

from fixtures.line_writer import Line
from fixtures.talkers import NodeTalker, any_profile
from logger.decode import make_decoder
from logger.decode.node_clock import SettledClock
from logger.instruments import load_instrument
from logger.link.wire import Interpreter, WireRow
from logger.readings import Ended, Reading
from logger.record.writing import Description, RecordingWriter
from logger.recording import open_recording, verify

NODE = load_instrument("node-gauge-24")
CLUMP_NS = 16_000_000
DRIFT = 80e-6
SPEED_MM_PER_S = 300.0


def sentence(body):
    return f"${body}*{reduce(xor, body.encode(), 0):02X}\r\n".encode()


def recorded(folder, rows):
    """The recording a reader would have made of these rows."""
    about = Description(instrument=NODE.source_text, instrument_name=NODE.name, unit=NODE.unit)
    writer = RecordingWriter(folder, about, "2026-01-01T00:00:00Z")
    interpreter = Interpreter(make_decoder(NODE.frame_spec()))
    writer.write_wire(rows)
    writer.write_records([record for row in rows for record in interpreter.records(row)])
    writer.write_records(interpreter.finish())
    writer.finish(Ended(rows[-1].t_ns, "operator"), interpreter.totals)
    return open_recording(folder)


def clumped(seconds, seed=1, hello_s=3.0):
    """(true host s, row): gauge frames every 17 ms, delivered when a bridge empties itself every 16 ms."""
    chance, node = random.Random(seed), NodeTalker(any_profile("node-gauge-24"))
    phase, told = chance.randrange(CLUMP_NS), []
    for number in range(int(seconds / 0.0171)):
        t_s = 0.0171 * number
        true_s = hello_s + t_s * (1 + DRIFT)
        sent_ns = round(true_s * 1e9) + 400_000 + chance.randrange(200_000)
        host_ns = -(-(sent_ns - phase) // CLUMP_NS) * CLUMP_NS + phase + chance.randrange(300_000)
        told.append((true_s, WireRow(host_ns // 1000 * 1000, "in", node.write(Line(0.1, 4.0 * t_s, time_s=t_s)))))
    return told


def test_the_first_seconds_are_as_well_dated_as_the_last_once_the_whole_recording_is_there(tmp_path):
    """While it happens the first lines can only be dated by themselves, late by up to a clump: 5 mm of travel."""
    told = clumped(40.0)
    recording = recorded(tmp_path / "0001-node", [row for _, row in told])
    true_s = np.array([at for at, _ in told])
    late_mm = (recording.t_s - true_s) * SPEED_MM_PER_S
    on_disk = (tmp_path / "0001-node" / "readings.csv").read_bytes()
    rows = on_disk.split(b"\r\n")[1:-1]
    as_it_happened = np.array([float(row.split(b",")[1]) for row in rows])
    live_mm = (as_it_happened - true_s) * SPEED_MM_PER_S
    host_mm = (np.array([row.t_ns / 1e9 for _, row in told]) - true_s) * SPEED_MM_PER_S
    assert np.ptp(host_mm) > 3.0
    assert np.ptp(live_mm[:200]) > 0.5
    assert np.ptp(late_mm) < 0.3
    assert verify(tmp_path / "0001-node") == [], "what is on disk stays what it was"


def test_an_hour_is_followed_though_the_crystal_warms_up():
    def host(device_ns):
        return device_ns + round(20e-6 * device_ns + 8e-9 * (device_ns / 1e9) ** 2 * 1e9)

    chance = random.Random(3)
    lines = [(t, host(t) + chance.randrange(8_000_000)) for t in range(0, 3_600_000_000_000, 100_000_000)]
    clock = SettledClock(lines)
    for device_s in (0, 5, 600, 1800, 3599):
        assert clock.host_ns(device_s * 10**9) - host(device_s * 10**9) == pytest.approx(0, abs=1_500_000)
        assert clock.device_ns(clock.host_ns(device_s * 10**9)) == pytest.approx(device_s * 10**9, abs=100_000)


def test_missing_sequence_numbers_are_a_gap_and_are_said(tmp_path):
    rows = [row for _, row in clumped(2.0)]
    del rows[50:60]
    recording = recorded(tmp_path / "0001-node", rows)
    assert recording.gap_reason == ("lines lost",)
    assert recording.gaps_t_s[0, 1] - recording.gaps_t_s[0, 0] == pytest.approx(11 * 0.0171, abs=0.002)
    assert "lines of the sensor node were lost once" in recording.warnings


def test_a_restart_is_a_gap_with_a_clock_of_its_own_and_positions_end_there(tmp_path):
    first = [row for _, row in clumped(3.0, seed=1)]
    second = [row for _, row in clumped(3.0, seed=2, hello_s=8.0)]
    recording = recorded(tmp_path / "0001-node", first + second)
    assert recording.gap_reason == ("node restarted",)
    after = recording.t_s > 7.9
    assert np.isnan(recording.position_mm[after]).all()
    assert np.isfinite(recording.position_mm[~after][10:]).all()
    true = np.array([8.0 + 0.0171 * k * (1 + DRIFT) for k in range(int(after.sum()))])
    assert np.ptp(recording.t_s[after] - true) * SPEED_MM_PER_S < 0.5


def test_a_newer_node_is_said_and_every_byte_is_kept(tmp_path):
    node = NodeTalker(any_profile("node-gauge-24"), protocol=2)
    sent = [node.write(Line(0.1, 4.0)) for _ in range(20)]
    rows = [WireRow((k + 1) * 17_000_000, "in", data) for k, data in enumerate(sent)]
    recording = recorded(tmp_path / "0001-node", rows)
    assert len(recording.value) == 0
    assert [text for text in recording.warnings if "node speaks protocol 2, newer than 1" in text]
    wire = (Path(recording.folder) / "wire.csv").read_text()
    assert wire.count("PTSNF,2,") == 20


def test_a_position_comes_also_while_the_carriage_stands():
    encoder = load_instrument("node-encoder")
    decoder = make_decoder(encoder.frame_spec())
    hello, alive = sentence("PTSNH,1,0,150,power,1.0"), sentence("PTSNS,1,1,520000,4000,0,0")
    (reading,) = decoder.feed(hello + alive, 1_000_000_000)
    assert isinstance(reading, Reading)
    assert (reading.value, reading.position, reading.channel) == (100.0, 4000.0, "position")
