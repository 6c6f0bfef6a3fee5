"""Facts about the reading process, on real ptys and sockets, with cables pulled and processes killed."""

import json
import os
import resource
import signal
import socket
import subprocess
import sys
import time

import pytest

from logger.decode.escaped import unescape_bytes
from logger.errors import CannotSave, PortError
from logger.readings import Gap, LinkBack, LinkLost, Mark, Reading
from logger.recorder import Recorder
from logger.recording import open_recording, verify
from tests.logger.wire_bench import DEVICE_TIMED, LIMIT_S, instrument, line, sender, server, spec, until

posix_only = pytest.mark.skipif(os.name != "posix", reason="ptys and signals of a POSIX system")
pytestmark = posix_only


def bytes_on_disk(folder):
    rows = (folder / "wire.csv").read_text().splitlines()[1:]
    return b"".join(unescape_bytes(row.split(",", 2)[2][1:-1]) for row in rows if row.split(",")[1] == "in")


def ended_by(recorder):
    ended = recorder.wait(LIMIT_S)
    assert ended is not None, "it did not end"
    return ended


def values(records):
    return [record.value for record in records if isinstance(record, Reading)]


def test_a_device_that_sends_everything_on_connect_and_closes_loses_nothing(tmp_path):
    """pyserial's own open() of a socket throws away what has arrived; 50 kB at once is the case that shows it."""
    data = b"".join(b"%+.3f,%d.0\r\n" % (i * 0.001, i) for i in range(4000))
    with server(sender(data)) as url, Recorder.start(spec(url, tmp_path / "0001-a", until="closed")) as recorder:
        assert ended_by(recorder).how == "closed"
    assert len(data) > 50_000
    assert bytes_on_disk(tmp_path / "0001-a") == data
    assert recorder.readings == 4000
    assert len(values(recorder.drain())) == 4000
    assert verify(tmp_path / "0001-a") == []


def test_what_a_serial_device_sent_before_it_was_opened_is_not_thrown_away(tmp_path):
    with line(tmp_path) as cable:
        cable.send(b"+0.001\r\n+0.002\r\n")
        with Recorder.start(spec(cable.name, tmp_path / "0001-a")) as recorder:
            until(lambda: recorder.readings == 2, "both readings")


def test_a_pty_from_the_wire_to_the_arrays(tmp_path, monkeypatch):
    monkeypatch.setattr("logger.recorder.QUIET_NS", round(LIMIT_S * 1e9))  # a busy computer looks late, not in silence
    with (
        line(tmp_path) as cable,
        Recorder.start(spec(cable.name, tmp_path / "0007-across", set_up="across")) as recorder,
    ):
        states = [recorder.state]
        for i in range(200):
            cable.send(b"%+.3f,%.1f%s\r\n" % (i * 0.001, i * 5.0, b",M" if i % 50 == 0 else b""))
        until(lambda: recorder.readings == 200, "200 readings")
        states.append(recorder.state)
        assert states == ["quiet", "receiving"]
        recorder.mark()
        until(lambda: recorder.marks == 5, "the key's mark")
        recorder.stop()
        assert ended_by(recorder).how == "operator"
    recording = open_recording(tmp_path / "0007-across")
    assert (recording.number, recording.set_up, recording.ended) == (7, "across", "operator")
    assert recording.value.tolist() == pytest.approx([i * 0.001 for i in range(200)])
    assert recording.position_mm[-1] == 995.0
    assert recording.mark_source == ("line",) * 4 + ("key",)
    assert recording.warnings == ()
    assert (recording.t_s[1:] >= recording.t_s[:-1]).all()


def test_the_keys_mark_is_stamped_when_it_was_pressed_not_when_it_was_handled(tmp_path):
    with line(tmp_path) as cable, Recorder.start(spec(cable.name)) as recorder:
        before = time.monotonic_ns()
        recorder.mark()
        after = time.monotonic_ns()
        until(lambda: recorder.marks == 1, "the mark")
        (mark,) = [record for record in recorder.drain() if isinstance(record, Mark)]
        assert before - 1000 <= recorder.started_ns + mark.t_ns <= after


def test_a_dozen_pulled_cables_are_recorded_and_survived(tmp_path):
    told = []
    with line(tmp_path) as cable, Recorder.start(spec(cable.name, tmp_path / "0001-a")) as recorder:
        for count in range(12):
            cable.send(b"+0.100\r\n+0.2")  # the cable goes in the middle of a line
            until(lambda n=count: recorder.readings == n + 1 and recorder.state != "lost", "a reading")
            cable.pull()
            until(lambda: recorder.state == "lost", "the loss")
            cable.plug()
            until(lambda: recorder.state != "lost", "the return")
            told += recorder.drain()
        recorder.stop()
        recorder.wait(LIMIT_S)
        told += recorder.drain()
    assert sum(isinstance(record, LinkLost) for record in told) == 12
    assert sum(isinstance(record, LinkBack) for record in told) == 12
    assert sum(isinstance(record, Gap) and record.reason == "link lost" for record in told) == 12
    assert values(told) == [0.1] * 12  # half a line never became +0.2
    recording = open_recording(tmp_path / "0001-a")
    assert recording.gap_reason == ("link lost",) * 12
    assert any("lost 12 times" in warning for warning in recording.warnings)
    assert verify(tmp_path / "0001-a") == []


def test_a_cable_that_does_not_come_back_in_time_is_a_lost_link(tmp_path):
    with line(tmp_path) as cable, Recorder.start(spec(cable.name, tmp_path / "0001-a", give_up_s=0.1)) as recorder:
        cable.send(b"+0.100\r\n")
        until(lambda: recorder.readings == 1, "a reading")
        cable.pull()
        ended = ended_by(recorder)
        cable.plug()
    assert ended.how == "link lost"
    assert open_recording(tmp_path / "0001-a").ended == "link lost"


def test_a_server_that_closes_is_reconnected_unless_that_is_the_end(tmp_path):
    with server(sender(b"+0.1\r\n"), sender(b"+0.2\r\n")) as url:  # noqa: SIM117 - the server outlives the recorder
        with Recorder.start(spec(url, tmp_path / "0001-a", give_up_s=0.1)) as recorder:
            assert ended_by(recorder).how == "link lost"
    assert values(recorder.drain()) == [0.1, 0.2]


def test_the_screen_may_die_the_recording_goes_on_and_says_so(tmp_path):
    script = (
        "import sys, time; from logger.recorder import Recorder; from tests.logger.wire_bench import spec; "
        "from pathlib import Path; r = Recorder.start(spec(sys.argv[1], Path(sys.argv[2]))); "
        "print('open', flush=True); time.sleep(60)"
    )
    folder = tmp_path / "0001-a"
    with line(tmp_path) as cable:
        screen = subprocess.Popen([sys.executable, "-c", script, cable.name, folder], stdout=subprocess.PIPE)
        with screen:
            assert screen.stdout is not None
            assert screen.stdout.readline() == b"open\n"
            cable.send(b"+0.1\r\n")
            os.kill(screen.pid, signal.SIGKILL)
        for i in range(20):
            cable.send(b"+0.2\r\n")
            until(lambda n=i: bytes_on_disk(folder).count(b"+0.2") > n, "the bytes on disk")
        cable.pull()
        cable.plug()
        until(lambda: "ended" in json.loads((folder / "datapackage.json").read_text())["truestroke"], "the end")
    recording = open_recording(folder)
    assert recording.ended == "screen gone"
    assert recording.value.tolist() == [0.1] + [0.2] * 20
    assert verify(folder) == []


def test_a_killed_reading_process_leaves_a_recording_that_opens(tmp_path):
    with line(tmp_path) as cable, Recorder.start(spec(cable.name, tmp_path / "0001-a")) as recorder:
        cable.send(b"+0.1\r\n" * 100)
        until(lambda: recorder.readings == 100, "the readings")
        os.kill(recorder.pid, signal.SIGKILL)
        ended = ended_by(recorder)
        assert recorder.state == "ended"
    assert ended.how == "interrupted"
    assert "signal 9" in ended.message
    recording = open_recording(tmp_path / "0001-a")
    assert (recording.ended, len(recording.value)) == ("interrupted", 100)
    assert any("interrupted" in fault for fault in verify(tmp_path / "0001-a"))


def test_ctrl_c_and_a_closed_terminal_do_not_reach_the_recording(tmp_path):
    with line(tmp_path) as cable, Recorder.start(spec(cable.name)) as recorder:
        assert os.getsid(recorder.pid) != os.getsid(0)
        for number in (signal.SIGINT, signal.SIGHUP):
            os.kill(recorder.pid, number)
        cable.send(b"+0.1\r\n")
        until(lambda: recorder.readings == 1, "a reading after the signals")


def test_terminated_it_still_completes_its_recording(tmp_path):
    with line(tmp_path) as cable, Recorder.start(spec(cable.name, tmp_path / "0001-a")) as recorder:
        os.kill(recorder.pid, signal.SIGTERM)
        assert ended_by(recorder).how == "operator"
    assert verify(tmp_path / "0001-a") == []


def test_a_full_disk_ends_it_once_clearly_and_what_was_there_opens(tmp_path):
    """A file may not grow beyond a limit: the same as a full disk, for one process."""
    data = b"+0.123\r\n" * 20_000
    before = resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(resource.RLIMIT_FSIZE, (100_000, before[1]))
    try:
        with server(sender(data)) as url, Recorder.start(spec(url, tmp_path / "0001-a", until="closed")) as recorder:
            ended = ended_by(recorder)
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, before)
    assert ended.how == "disk full"
    assert "cannot be written" in ended.message
    recording = open_recording(tmp_path / "0001-a")
    assert recording.ended == "disk full"
    assert len(recording.value) > 1000
    assert set(recording.value.tolist()) == {0.123}


def test_a_megabyte_of_noise_is_kept_whole_and_gives_no_reading(tmp_path):
    noise = bytes(range(128, 256)) * 8192
    with server(sender(noise)) as url, Recorder.start(spec(url, tmp_path / "0001-a", until="closed")) as recorder:
        assert ended_by(recorder).how == "closed"
    assert bytes_on_disk(tmp_path / "0001-a") == noise
    assert (recorder.readings, recorder.garbage) == (0, 1)


def test_seconds_and_marks_end_a_recording_too(tmp_path):
    with line(tmp_path) as cable:
        with Recorder.start(spec(cable.name, until=0.05)) as recorder:
            assert ended_by(recorder).how == "time"
        with Recorder.start(spec(cable.name, marks_expected=2)) as recorder:
            cable.send(b"+0.1,M\r\n+0.2\r\n+0.3,M\r\n+0.4\r\n")
            assert ended_by(recorder).how == "passes"
        assert recorder.readings == 4


def test_the_devices_clock_is_the_time_base_and_the_unit_is_converted(tmp_path):
    data = b"".join(b"t%.3f +0.1000\r\n" % (50 + i * 0.01) for i in range(100))
    described = spec("", tmp_path / "0001-a", until="closed", instrument=instrument(DEVICE_TIMED))
    with server(sender(data)) as url, Recorder.start(type(described)(**{**vars(described), "port": url})) as recorder:
        recorder.wait(LIMIT_S)
    recording = open_recording(tmp_path / "0001-a")
    assert recording.t_s.tolist() == pytest.approx([i * 0.01 for i in range(100)])
    assert recording.value[0] == pytest.approx(2.54)  # 25.4 mm to the inch


def test_the_port_is_opened_before_anything_is_made_on_disk(tmp_path):
    with pytest.raises(PortError, match="There is no port"):
        Recorder.start(spec(tmp_path / "nothing", tmp_path / "0001-a"))
    assert not (tmp_path / "0001-a").exists()


def test_a_busy_port_a_refused_socket_and_a_taken_folder_are_each_one_sentence(tmp_path):
    with line(tmp_path) as cable, Recorder.start(spec(cable.name)), pytest.raises(PortError, match="busy"):
        Recorder.start(spec(cable.name))
    with socket.create_server(("127.0.0.1", 0)) as unused:
        url = f"socket://127.0.0.1:{unused.getsockname()[1]}"
    with pytest.raises(PortError, match="refused"):
        Recorder.start(spec(url))
    (tmp_path / "0001-a").mkdir()
    (tmp_path / "0001-a" / "datapackage.json").write_text("{}")
    with line(tmp_path) as cable, pytest.raises(CannotSave, match="already holds"):
        Recorder.start(spec(cable.name, tmp_path / "0001-a"))
    assert (tmp_path / "0001-a" / "datapackage.json").read_text() == "{}"


def test_a_loop_url_is_read_without_a_descriptor():
    with Recorder.start(spec("loop://")) as recorder:
        assert recorder.state == "quiet"
        recorder.stop()
        assert ended_by(recorder).how == "operator"


def test_a_polled_instrument_is_asked_and_what_was_sent_is_on_disk(tmp_path):
    polled = instrument().model_copy(update={"poll": b"?\r", "poll_interval_s": 0.01})
    with line(tmp_path) as cable:
        with Recorder.start(spec(cable.name, tmp_path / "0001-a", instrument=polled)) as recorder:
            for count in range(5):
                assert os.read(cable.far, 2) == b"?\r"
                cable.send(b"+0.1\r\n")
                until(lambda n=count: recorder.readings > n, "the answer")
        rows = [row.split(",") for row in (tmp_path / "0001-a" / "wire.csv").read_text().splitlines()[1:]]
        assert [row[1:] for row in rows][:4] == [["out", '"?\\r"'], ["in", '"\\x2b0.1\\r\\n"']] * 2
        assert verify(tmp_path / "0001-a") == []


def test_the_next_request_waits_for_the_answer_and_silence_is_a_gap_and_no_sign_of_life(tmp_path):
    polled = instrument().model_copy(update={"poll": b"?\r", "poll_interval_s": 0.02})
    with line(tmp_path) as cable:
        with Recorder.start(spec(cable.name, tmp_path / "0001-a", instrument=polled)) as recorder:
            os.set_blocking(cable.far, True)
            requests = b""
            while len(requests) < 6:  # three requests; the first two are not answered
                requests += os.read(cable.far, 64)
            assert recorder.state == "quiet"
            cable.send(b"+0.1\r\n")
            until(lambda: recorder.readings == 1, "the answer to the third")
        recording = open_recording(tmp_path / "0001-a")
    rows = [row.split(",") for row in (tmp_path / "0001-a" / "wire.csv").read_text().splitlines()[1:]]
    asked = [float(row[0]) for row in rows if row[1] == "out"]
    assert asked[1] - asked[0] == pytest.approx(0.5, abs=0.2), "given up after half a second"
    assert recording.gap_reason == ("no answer",)
    assert recording.gaps_t_s[0, 0] == pytest.approx(asked[0])


def test_the_reading_process_imports_nothing_heavy():
    code = (
        "import sys, logger.link.reader; print([m for m in ('numpy','textual','pydantic','yaml') if m in sys.modules])"
    )
    assert subprocess.run([sys.executable, "-c", code], capture_output=True, check=True).stdout.strip() == b"[]"


def test_a_mark_taken_back_counts_no_more_and_stays_in_the_bytes(tmp_path):
    folder = tmp_path / "0001-a"
    with line(tmp_path) as cable, Recorder.start(spec(cable.name, folder, marks_expected=2)) as recorder:
        cable.send(b"+0.001\r\n")
        until(lambda: recorder.readings == 1, "the reading")
        recorder.take_back()  # there is none: nothing happens
        recorder.mark()
        recorder.mark()  # a slip, which would end it after a second
        recorder.take_back()
        until(lambda: recorder.marks == 1, "one mark that stands")
        recorder.mark()
        assert ended_by(recorder).how == "passes"
    opened = open_recording(folder)
    assert len(opened.mark_t_s) == 2
    assert opened.marks_taken_back == 1
    written = (folder / "wire.csv").read_text()
    assert (written.count(",key,"), written.count(",undo,")) == (3, 2)
    assert "the newest mark was taken back" in (folder / "readings.csv").read_text()
    assert verify(folder) == []
