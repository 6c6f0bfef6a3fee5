"""Facts about opening recordings: whole, torn, edited, interrupted, made again; and about exporting them."""

import csv
import json
import zipfile

import numpy as np
import pytest
from frictionless import Package
from hypothesis import given, settings
from hypothesis import strategies as st

from logger.decode import make_decoder
from logger.errors import BadFile, NotAllowed
from logger.link.wire import Interpreter, WireRow, parse_wire_line, wire_line
from logger.readings import Ended
from logger.record.export import export
from logger.record.writing import RecordingWriter
from logger.recording import list_recordings, open_recording, verify
from logger.replay import Replay
from tests.logger.wire_bench import DEVICE_TIMED, instrument, spec

MS = 1_000_000
S = 1_000_000_000

ROWS = (
    [WireRow(0, "in", b"+0.100,0.0,M\r\n")]
    + [WireRow(i * 10 * MS, "in", b"%+.3f,%d.5\r\n" % (i * 0.001, i)) for i in range(1, 50)]
    + [WireRow(505 * MS, "key", b"")]
    + [WireRow((510 + i) * MS, "in", b"ERR,%d.0\r\n" % (50 + i)) for i in range(3)]
    + [WireRow(600 * MS, "in", b"\x1b[2J=1+1,\xff\r\n")]
    + [WireRow(700 * MS, "link", b"lost: pulled"), WireRow(900 * MS, "link", b"back: port")]
    + [WireRow(950 * MS, "gap", b""), WireRow(1000 * MS, "in", b"-0.200,60.0\r\n")]
)


def write(folder, rows=ROWS, *, ended="closed", text=None):
    """A recording written as the reading process writes it; ``ended`` None: it was killed."""
    made = spec("socket://nowhere:1", folder, set_up="across", passes=2, stations_mm=(0.0, 500.0))
    if text is not None:
        made = type(made)(**{**vars(made), "instrument": instrument(text)})
    reader = made.for_reader()
    writer = RecordingWriter(folder, reader.description, "2026-01-02T03:04:05.678Z")
    interpreter = Interpreter(make_decoder(reader.frame))
    for row in rows:
        writer.write_wire([row])
        writer.write_records(interpreter.records(row))
    if ended is not None:
        writer.write_records(interpreter.finish())
        writer.finish(Ended(rows[-1].t_ns, ended), interpreter.totals)
    return folder


def append(path, data):
    with path.open("ab") as file:
        file.write(data)


def edit(path, before, after):
    data = path.read_bytes()
    assert before in data
    path.write_bytes(data.replace(before, after))


def test_everything_that_was_recorded_is_there(tmp_path):
    recording = open_recording(write(tmp_path / "0003-across"))
    assert (recording.name, recording.number, recording.kind) == ("0003-across", 3, "sweep")
    assert (recording.passes, recording.stations_mm, recording.unit) == (2, (0.0, 500.0), "mm")
    assert len(recording.value) == 51
    assert recording.value[-1] == -0.2
    assert recording.position_mm[1] == 1.5
    assert recording.mark_t_s.tolist() == [0.0, 0.505]
    assert recording.mark_source == ("line", "key")
    assert recording.no_value_position_mm.tolist() == [50.0, 51.0, 52.0]
    assert recording.gap_reason == ("no value", "link lost", "noted")
    assert recording.gaps_t_s[0].tolist() == [0.51, 0.512]
    assert recording.gaps_t_s[1].tolist() == [0.7, 0.9]
    assert recording.garbage == 1
    assert recording.channels == ("",)
    assert verify(tmp_path / "0003-across") == []


def test_no_cell_starts_a_formula_and_numbers_stay_numbers(tmp_path):
    folder = write(tmp_path / "0001-a")
    for name in ("readings.csv", "wire.csv"):
        with (folder / name).open(newline="", encoding="utf-8") as file:
            for row in list(csv.DictReader(file)):
                for key in ("note", "bytes", "channel", "unit"):
                    assert not (row.get(key) or "").startswith(("=", "+", "-", "@", "\t", "\r"))
                for key in ("t_s", "value", "position"):
                    assert row.get(key) in (None, "") or np.isfinite(float(row[key]))


def test_no_terminal_code_is_in_any_file_of_a_recording(tmp_path):
    folder = write(tmp_path / "0001-a")
    assert not any(b"\x1b" in path.read_bytes() for path in folder.iterdir())


def test_an_interrupted_recording_opens_with_all_that_had_arrived(tmp_path):
    recording = open_recording(write(tmp_path / "0001-a", ended=None))
    assert recording.ended == "interrupted"
    assert len(recording.value) == 51
    assert "interrupted" in recording.warnings[0]


@pytest.mark.parametrize("torn", [b"1.1", b'1.100000,in,"+0.1', b'1.1,in,"\\x2b0.'])
def test_a_torn_last_line_is_dropped_and_said(tmp_path, torn):
    folder = write(tmp_path / "0001-a", ended=None)
    append(folder / "wire.csv", torn)
    recording = open_recording(folder)
    assert len(recording.value) == 51
    assert any("torn" in warning for warning in recording.warnings)


def test_edited_readings_are_noticed_and_made_again_from_the_bytes(tmp_path):
    folder = write(tmp_path / "0001-a")
    edit(folder / "readings.csv", b",-0.2,", b",-0.9,")
    recording = open_recording(folder)
    assert recording.value[-1] == -0.2
    assert any("changed" in warning for warning in recording.warnings)
    assert any("line" in fault for fault in verify(folder))


def test_edited_bytes_are_noticed_even_where_the_readings_are_as_they_were(tmp_path):
    folder = write(tmp_path / "0001-a")
    edit(folder / "wire.csv", b"-0.200", b"-0.900") if b"-0.200" in (folder / "wire.csv").read_bytes() else edit(
        folder / "wire.csv", b"\\x2d0.200", b"\\x2d0.900"
    )
    recording = open_recording(folder)
    assert recording.value[-1] == -0.2
    assert any("wire.csv was changed" in warning for warning in recording.warnings)


def test_a_missing_table_is_said_and_the_other_one_serves(tmp_path):
    folder = write(tmp_path / "0001-a")
    (folder / "readings.csv").unlink()
    assert len(open_recording(folder).value) == 51
    folder = write(tmp_path / "0002-a")
    (folder / "wire.csv").unlink()
    recording = open_recording(folder)
    assert len(recording.value) == 51
    assert any("wire.csv" in fault for fault in verify(folder))


@pytest.mark.parametrize("text", ["", "{", "[]", "{}", '{"truestroke": 3}', "null", '{"a":' * 5000])
def test_a_descriptor_that_is_none_is_a_bad_file(tmp_path, text):
    (tmp_path / "datapackage.json").write_text(text)
    with pytest.raises(BadFile):
        open_recording(tmp_path)


def test_a_folder_without_a_recording_is_said(tmp_path):
    with pytest.raises(BadFile, match="holds no recording"):
        open_recording(tmp_path / "nothing")


def test_old_bytes_can_be_read_by_another_profile(tmp_path):
    folder = write(tmp_path / "0001-a")
    inches = instrument().model_copy(update={"unit": "in"})
    assert open_recording(folder, inches).value[-1] == pytest.approx(-0.2 * 25.4)


def test_a_recording_without_a_machine_says_so_only_when_it_is_asked(tmp_path):
    recording = open_recording(write(tmp_path / "0001-a"))
    with pytest.raises(NotAllowed, match="without a machine"):
        _ = recording.machine


def test_a_restart_of_the_device_is_said(tmp_path):
    rows = [WireRow(i * 100 * MS, "in", b"t%.1f +0.1000\r\n" % (60 + i / 10)) for i in range(5)]
    rows += [WireRow(S + i * 100 * MS, "in", b"t%.1f +0.1000\r\n" % (i / 10)) for i in range(5)]
    recording = open_recording(write(tmp_path / "0001-a", rows, text=DEVICE_TIMED))
    assert recording.gap_reason == ("device restarted",)
    assert any("began again" in warning for warning in recording.warnings)
    assert (np.diff(recording.t_s) > 0).all()


def test_recordings_are_listed_in_order(tmp_path):
    for name in ("0010-b", "0002-a"):
        write(tmp_path / "sweeps" / name)
    (tmp_path / "sweeps" / "no recording").mkdir()
    assert [path.name for path in list_recordings(tmp_path)] == ["0002-a", "0010-b"]
    assert list_recordings(tmp_path, "live") == []


@given(st.integers(0, 10**15), st.sampled_from(["in", "key", "gap", "link"]), st.binary(max_size=300))
def test_every_row_of_the_wire_comes_back(t_us, channel, raw):
    row = WireRow(t_us % 10**12 * 1000, channel, raw)
    assert parse_wire_line(wire_line(row).removesuffix("\r\n")) == row


@settings(max_examples=25, deadline=None)
@given(st.lists(st.tuples(st.integers(0, 10**7), st.binary(min_size=1, max_size=80)), min_size=1, max_size=30))
def test_whatever_arrives_opens_again_and_is_sound(tmp_path_factory, chunks):
    t_us, rows = 0, []
    for pause, raw in chunks:
        t_us += pause
        rows.append(WireRow(t_us * 1000, "in", raw))
    folder = write(tmp_path_factory.mktemp("any") / "0001-a", rows)
    assert verify(folder) == []
    assert open_recording(folder).ended == "closed"


# -- export ------------------------------------------------------------------------------------------------------------


def test_the_recording_itself_is_a_valid_data_package(tmp_path):
    """Held by frictionless, the reference validator of the Data Package standard."""
    report = Package(str(write(tmp_path / "0001-a") / "datapackage.json")).validate()
    assert report.valid, report.flatten(["type", "note"])


@pytest.mark.parametrize("ended", ["closed", None])
def test_an_exported_package_is_valid_also_of_an_interrupted_recording(tmp_path, ended):
    folder = write(tmp_path / "0001-a", ended=ended)
    append(folder / "wire.csv", b"1.1,in,") if ended is None else None
    target = export(folder, tmp_path / "out")
    report = Package(str(target / "datapackage.json")).validate()
    assert report.valid, report.flatten(["type", "note"])
    with zipfile.ZipFile(export(folder, tmp_path / "out.zip")) as archive:
        assert sorted(archive.namelist()) == ["datapackage.json", "readings.csv", "wire.csv"]


def test_the_validator_does_find_a_changed_table(tmp_path):
    folder = write(tmp_path / "0001-a")
    edit(folder / "readings.csv", b",-0.2,", b",-0.9,")
    assert not Package(str(folder / "datapackage.json")).validate().valid


def test_a_table_for_a_spreadsheet_has_readings_and_marks_in_the_order_of_time(tmp_path):
    with export(write(tmp_path / "0001-a"), tmp_path / "out.csv").open(newline="") as file:
        rows = list(csv.DictReader(file))
    assert [row["what"] for row in rows[:2]] == ["reading", "mark"]
    times = [float(row["t_s"]) for row in rows]
    assert times == sorted(times)
    assert float(rows[-1]["value"]) == -0.2


def test_nothing_is_overwritten(tmp_path):
    folder = write(tmp_path / "0001-a")
    with pytest.raises(NotAllowed, match="already there"):
        export(folder, folder / "readings.csv")


# -- replay ------------------------------------------------------------------------------------------------------------


class Hand:
    """A clock moved by hand."""

    def __init__(self):
        self.ns = 0

    def __call__(self):
        return self.ns


def test_a_replay_gives_the_same_at_its_speed(tmp_path):
    hand = Hand()
    recording = open_recording(write(tmp_path / "0001-a"))
    replay = Replay(recording, speed=2.0, clock=hand)
    hand.ns += 50 * MS
    assert replay.drain()[-1].t_ns <= 100 * MS
    assert replay.readings == 11
    replay.pause()
    hand.ns += S
    assert replay.drain() == []
    assert replay.step()[0].t_ns == 110 * MS
    replay.pause()
    hand.ns += 10 * S
    told = replay.drain()
    assert isinstance(told[-1], Ended)
    assert (replay.readings, replay.marks, replay.gaps, replay.state) == (51, 2, 3, "ended")
    replay.jump(0.2)
    assert (replay.readings, replay.state) == (20, "receiving")


def test_the_descriptor_says_what_was_known_at_the_start_and_how_it_ended(tmp_path):
    own = json.loads((write(tmp_path / "0001-a") / "datapackage.json").read_text())["truestroke"]
    assert own["start"] == {"utc": "2026-01-02T03:04:05.678Z", "clock": "host", "monotonic_ns": 0}
    assert own["ended"]["how"] == "closed"
    assert own["ended"]["readings"] == 51
