"""Facts about several instruments recorded at once: one time base, positions from another port, one end for all."""

import threading
import zipfile

import numpy as np
import pytest

from fixtures.instrument_sim import Speaker, play
from fixtures.line_writer import Line
from fixtures.wires import TcpWire
from logger.cli import main
from logger.decode import make_decoder
from logger.errors import PortError
from logger.findings import as_json, evidence_of, find, geometry_of
from logger.instruments import instrument_from_text, load_instrument
from logger.link.together import Together
from logger.link.wire import Interpreter, WireRow
from logger.machines import machine_from_text
from logger.readings import Ended
from logger.record.beside import places_of, position_at
from logger.record.export import export
from logger.record.writing import Description, RecordingWriter
from logger.recorder import Recorder
from logger.recording import open_recording, verify
from tests.logger.shell import MACHINE, Shell
from tests.logger.wire_bench import DEVICE_TIMED, LIMIT_S, instrument, line, sender, server, spec, until

SPEED_MM_PER_S = 100.0
PACE = 4.0


def recorded(folder, profile, rows, monotonic_ns, together, **about):
    described = Description(
        instrument=profile.source_text, unit=profile.unit, machine=MACHINE, extra={"together": together}, **about
    )
    writer = RecordingWriter(folder, described, "2026-01-01T00:00:00Z", monotonic_ns)
    interpreter = Interpreter(make_decoder(profile.frame_spec()))
    writer.write_wire(rows)
    writer.write_records([record for row in rows for record in interpreter.records(row)])
    writer.write_records(interpreter.finish())
    writer.finish(Ended(rows[-1].t_ns, "operator"), interpreter.totals)


def push(folder, indicator, rows_of, from_mm=0.0):
    """An indicator at 50 Hz and an encoder at 20 Hz whose recording began 3.7 s earlier; the carriage at 100 mm/s."""
    encoder = load_instrument("node-encoder")
    talk = Speaker.of_profile("node-encoder").writer
    began_s, earlier_s = 1000.0, 996.3
    rows = []
    for k in range(400):
        moment_s = began_s - 1.0 + 0.05 * k
        x_mm = max(0.0, (moment_s - began_s) * SPEED_MM_PER_S)
        data = talk.write(Line(None, from_mm + x_mm, time_s=0.05 * k))
        rows.append(WireRow(round((moment_s - earlier_s) * 1e9), "in", data))
    recorded(folder / "0001-across" / "position", encoder, rows, round(earlier_s * 1e9), [".."])
    recorded(
        folder / "0001-across", indicator, rows_of(), round(began_s * 1e9), ["position"], set_up="across", passes=1
    )
    return open_recording(folder / "0001-across")


def test_an_encoder_on_a_second_port_gives_its_positions_to_the_indicators_readings(tmp_path):
    def rows():
        return [WireRow(round(0.02 * k * 1e9), "in", b"%+.3f\r\n" % (0.001 * k)) for k in range(1, 800)]

    recording = push(tmp_path, instrument(), rows)
    assert recording.position_from == "position"
    assert recording.beside == ("position",)
    assert recording.position_mm == pytest.approx(recording.t_s * SPEED_MM_PER_S, abs=0.1)
    evidence = evidence_of(recording, geometry_of(recording))
    assert evidence.counted_mm == pytest.approx(recording.t_s * SPEED_MM_PER_S, abs=0.1)


def test_an_encoder_that_went_on_counting_is_counted_from_where_the_carriage_stood(tmp_path):
    def rows():
        return [WireRow(round(0.02 * k * 1e9), "in", b"%+.3f\r\n" % (0.001 * k)) for k in range(1, 800)]

    recording = push(tmp_path, instrument(), rows, from_mm=7300.0)
    assert recording.position_mm == pytest.approx(recording.t_s * SPEED_MM_PER_S, abs=0.1)
    assert any("count began at 7300 mm" in warning for warning in recording.warnings)


def test_an_indicator_whose_own_clock_is_the_time_base_is_tied_by_its_lines(tmp_path):
    """Its clock starts at 500 s and runs 2 % fast against ours; the naive merge at the first lines is seconds off."""
    profile = instrument_from_text(DEVICE_TIMED.replace("unit: in", "unit: mm").replace("0.00005", "0.001"), "d.yaml")

    def rows():
        return [
            WireRow(round((2.0 + 0.02 * k) * 1e9), "in", b"t%.4f %+.4f\r\n" % (500.0 + 0.02 * k * 1.02, 0.1))
            for k in range(600)
        ]

    recording = push(tmp_path, profile, rows)
    truly_mm = (2.0 + recording.t_s / 1.02) * SPEED_MM_PER_S
    assert recording.position_mm == pytest.approx(truly_mm, abs=0.5)


def how(ended):
    return None if ended is None else ended.how


def test_where_the_encoder_was_not_heard_while_the_carriage_moved_there_is_no_position():
    t_s, x_mm = np.array([0.0, 0.2, 0.4, 3.0, 3.2, 9.0]), np.array([0.0, 20.0, 40.0, 300.0, 320.0, 320.0])
    at = position_at(np.array([0.1, 1.0, 3.1, 6.0, 9.5, 11.0]), t_s, x_mm)
    assert at[[0, 2, 3, 4]] == pytest.approx([10.0, 310.0, 320.0, 320.0])
    assert np.isnan(at[[1, 5]]).all()


def test_recordings_name_each_other_so_that_a_job_may_move(tmp_path):
    first, second, encoder = tmp_path / "0001-a", tmp_path / "0002-b", tmp_path / "0001-a" / "position"
    folders = [first, second, encoder]
    assert places_of(first, folders) == ["../0002-b", "position"]
    assert places_of(second, folders) == ["../0001-a", "../0001-a/position"]
    assert places_of(encoder, folders) == [".."]


@pytest.mark.parametrize("place", ["../../../etc", "/etc", "position/..", "a" * 400, 7, None])
def test_a_place_that_is_none_of_ours_is_left_out_and_said(tmp_path, place):
    rows = [WireRow(1_000_000, "in", b"+0.1\r\n")]
    recorded(tmp_path / "0001-across", instrument(), rows, 0, [place], set_up="across")
    recording = open_recording(tmp_path / "0001-across")
    assert recording.beside == ()
    assert "not ours" in " ".join(recording.warnings)


def test_a_missing_neighbour_is_said_and_the_rest_opens(tmp_path):
    recorded(tmp_path / "0001-across", instrument(), [WireRow(1_000_000, "in", b"+0.1\r\n")], 0, ["../0002-roll"])
    assert open_recording(tmp_path / "0001-across").warnings == ("0002-roll, recorded beside it, is not here",)


def test_the_key_marks_all_of_them_at_one_moment_and_the_end_of_one_ends_all(tmp_path):
    with line(tmp_path) as one, server(lambda c: c.recv(1)) as url:
        specs = [
            spec(one.name, tmp_path / "0001-a", marks_expected=2, set_up="across"),
            spec(url, tmp_path / "0002-b", set_up="roll"),
        ]
        with Together.start(specs) as both:
            one.send(b"+0.1\r\n")
            until(lambda: both.readings == 1, "a reading")
            both.mark()
            both.mark()

            def over():
                both.drain()
                return both.state == "ended"

            until(over, "the end of both")
            assert how(both.ended) == "passes"
            assert [how(heard.ended) for heard in both.beside] == ["passes"]
    first, second = (open_recording(tmp_path / name) for name in ("0001-a", "0002-b"))
    began = [one.descriptor["truestroke"]["start"]["monotonic_ns"] / 1e9 for one in (first, second)]
    assert first.mark_t_s + began[0] == pytest.approx(second.mark_t_s + began[1], abs=1e-5)


def test_a_cable_pulled_on_one_costs_the_other_nothing(tmp_path):
    lines = b"".join(b"%+.3f\r\n" % (0.001 * k) for k in range(50))
    with line(tmp_path) as one, server(sender(lines)) as url:
        specs = [
            spec(one.name, tmp_path / "0001-a", set_up="across"),
            spec(url, tmp_path / "0002-b", set_up="roll", give_up_s=0.1),
        ]
        with Together.start(specs) as both:
            until(lambda: both.drain() is not None and both.beside[0].ended is not None, "the lost link")
            assert how(both.beside[0].ended) == "link lost"
            one.send(lines)
            until(lambda: both.readings == 50, "all of the first one's readings")
            both.stop()
            assert how(both.wait(LIMIT_S)) == "operator"
    assert len(open_recording(tmp_path / "0002-b").value) == 50


def test_where_the_second_port_does_not_open_the_first_is_let_go(tmp_path):
    with line(tmp_path) as one:
        specs = [spec(one.name, tmp_path / "0001-a"), spec(tmp_path / "nowhere", tmp_path / "0002-b")]
        with pytest.raises(PortError):
            Together.start(specs)
        Recorder.start(spec(one.name)).close()  # not busy


def test_a_two_axis_level_gives_each_set_up_its_own_axis(tmp_path):
    profile = load_instrument("level-nmea-xdr")
    rows = [WireRow(k * 100_000_000, "in", b"$WIXDR,A,+02.9,D,PITCH,A,+00.7,D,ROLL*07\r\n") for k in range(1, 30)]
    recorded(tmp_path / "0001-roll", profile, rows, 0, [], set_up="roll", passes=1)
    recording = open_recording(tmp_path / "0001-roll")
    machine = machine_from_text(MACHINE, "m.yaml")
    if "roll" not in machine.set_ups:
        pytest.skip("the Kiln Street saw has no roll set-up")
    evidence = evidence_of(recording, geometry_of(recording))
    assert len(evidence.t_s) == 29
    assert set(np.round(np.degrees(np.arctan(evidence.height / 1000)), 6)) == {0.7}


def test_an_indicator_a_level_and_an_encoder_in_one_sweep_on_the_command_line(tmp_path):
    shell = Shell(tmp_path)
    t_s = np.arange(0.0, 14.0, 0.02)
    x_mm = np.clip((t_s - 1.0) * 250.0, 0.0, 2600.0)
    wires = {name: TcpWire() for name in ("indicator-line", "level-line", "node-encoder")}
    said = {
        "indicator-line": [
            Line(round(0.1 + 0.02 * np.sin(x / 400.0), 3) if abs(x - 1100.0) <= 600.0 else -2.3) for x in x_mm
        ],
        "level-line": [Line(0.05)] * len(t_s),
        "node-encoder": [Line(None, float(x), time_s=float(t) / PACE) for x, t in zip(x_mm, t_s, strict=True)],
    }
    here = threading.Barrier(len(wires), timeout=LIMIT_S)

    def speak(name):
        while not wires[name].connected():
            threading.Event().wait(0.01)
        here.wait()
        play(wires[name], Speaker.of_profile(name), said[name], t_s, pace=PACE)
        wires[name].hang_up()

    threads = [threading.Thread(target=speak, args=(name,)) for name in wires]
    for thread in threads:
        thread.start()
    try:
        level = next(n for n, s in machine_from_text(MACHINE, "m").set_ups.items() if s.kind == "level")
        swept = shell.json(
            *("sweep", "--port", wires["indicator-line"].port, "--instrument", "indicator-line", "--set-up", "across"),
            *("--with", wires["level-line"].port, "level-line", level),
            *("--with", wires["node-encoder"].port, "node-encoder", "position"),
            *("--passes", "1", "--until", "closed"),
        )
    finally:
        for thread in threads:
            thread.join(LIMIT_S)
        for wire in wires.values():
            wire.close()
    assert (swept["position_source"], swept["ended"], swept["readings"]) == ("encoder", "closed", len(t_s))
    assert [one["sweep"] for one in swept["beside"]] == [f"0002-{level}", "0001-across/position"]
    assert swept["beside"][0]["position_source"] == "encoder"
    assert [one["readings"] for one in swept["beside"]] == [len(t_s), len(t_s)]
    assert shell.sweeps() == ["0001-across", f"0002-{level}"]
    spots = as_json(find([open_recording(tmp_path / "sweeps" / "0001-across")]))
    x, height = np.array(spots["profile"]["x_mm"]), np.array(spots["profile"]["height_mm"])
    assert np.max(np.abs(height - (0.1 + 0.02 * np.sin(x / 400.0)))) < 0.006


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (("--with", "P", "level-line", "across"), "is named twice"),
        (("--with", "socket://127.0.0.1:1", "level-line", "pitch"), "The port socket://127.0.0.1:1 is named twice"),
        (("--with", "P", "scpi-indicator", "position"), "sends no position"),
        (("--with", "P", "nothing-like-it", "position"), "There is no instrument profile"),
    ],
)
def test_what_does_not_go_together_is_refused_before_a_port_is_opened(tmp_path, capsys, arguments, words):
    Shell(tmp_path)
    first = ("--port", "socket://127.0.0.1:1", "--instrument", "indicator-line", "--set-up", "across")
    assert main(["sweep", *first, *arguments, "--job", str(tmp_path)]) == 2
    assert words in capsys.readouterr().err


def test_a_two_axis_level_pushed_once_is_a_sweep_of_both_its_set_ups(tmp_path):
    """Pitch 2.9 and roll 0.7 degrees in every sentence: 50.66 and 12.22 mm/m (1000 tan)."""
    shell = Shell(tmp_path)
    sentence = b"$WIXDR,A,+02.9,D,PITCH,A,+00.7,D,ROLL*07\r\n"
    with server(sender(sentence * 300)) as url:
        swept = shell.json(
            *("sweep", "--port", url, "--instrument", "level-nmea-xdr", "--set-up", "pitch", "--also", "roll"),
            *("--passes", "1", "--until", "closed"),
        )
    assert [one["sweep"] for one in swept["beside"]] == ["0002-roll"]
    for name, slope in (("0001-pitch", 50.66), ("0002-roll", 12.22)):
        recording = open_recording(tmp_path / "sweeps" / name)
        evidence = evidence_of(recording, geometry_of(recording))
        assert len(evidence.t_s) == 300
        assert evidence.height == pytest.approx(np.full(300, slope), abs=0.005)
        assert verify(tmp_path / "sweeps" / name) == []


def test_a_set_up_that_the_instrument_cannot_say_is_refused_before_the_push(tmp_path, capsys):
    Shell(tmp_path)
    asked = ["sweep", "--port", "P", "--instrument", "level-nmea-xdr", "--set-up", "pitch", "--also"]
    assert main([*asked, "across", "--job", str(tmp_path)]) == 2
    assert "wants an indicator" in capsys.readouterr().err
    assert main([*asked, "pitch", "--job", str(tmp_path)]) == 2
    assert "named twice" in capsys.readouterr().err


def test_an_exported_sweep_takes_its_encoder_along_and_still_has_its_positions(tmp_path):
    def rows():
        return [WireRow(round(0.02 * k * 1e9), "in", b"%+.3f\r\n" % (0.001 * k)) for k in range(1, 100)]

    recording = push(tmp_path / "job", instrument(), rows)
    moved = export(recording.folder, tmp_path / "elsewhere")
    assert verify(moved / "position") == verify(moved) == []
    again = open_recording(moved)
    assert again.position_mm == pytest.approx(recording.position_mm)
    with zipfile.ZipFile(export(recording.folder, tmp_path / "packed.zip")) as packed:
        assert "position/wire.csv" in packed.namelist()
