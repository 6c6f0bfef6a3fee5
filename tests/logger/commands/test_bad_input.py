"""Whatever goes wrong at the saw: one clear sentence, the right exit code, everything received still on disk."""

import json
import os
import select
import signal
import socket
import subprocess
import sys
import threading

import pytest

from tests.logger.device import Device, sweep_lines
from tests.logger.shell import ENVIRONMENT, MARKS, Shell

fcntl = pytest.importorskip("fcntl", reason="pseudo terminals and signals need a POSIX system")
pty = pytest.importorskip("pty")
termios = pytest.importorskip("termios")


def flat(s_mm):
    return 0.100 + 0.000004 * (s_mm - 1100.0)


@pytest.fixture
def shell(tmp_path):
    return Shell(tmp_path)


def sweep_at(port, *more, instrument="bench.yaml"):
    return ("sweep", "--port", port, "--instrument", instrument, "--set-up", "across", "--marks", MARKS, *more)


def only_a_sentence(done, code, *said):
    """What every failure looks like."""
    assert done.returncode == code, done.stderr
    assert "Traceback" not in done.stderr
    sentences = [line for line in done.stderr.splitlines() if line.startswith("truestroke: ")]
    assert len(sentences) == 1
    for each in said:
        assert each in done.stderr


def wire_bytes(folder):
    """The bytes a recording kept, escapes undone."""
    text = (folder / "wire.csv").read_text(encoding="ascii")
    rows = [line.split(",", 2) for line in text.splitlines()[1:]]
    kept = "".join(row[2][1:-1] for row in rows if row[1] == "in")
    return kept.encode().decode("unicode_escape").encode("latin-1")


# --- ports -----------------------------------------------------------------------------------------------------------


def test_a_port_that_is_not_there(shell):
    only_a_sentence(shell(*sweep_at("/dev/ttyNOPE")), 1, "There is no port /dev/ttyNOPE")
    assert not (shell.folder / "sweeps").exists()


def test_a_port_where_nobody_listens(shell):
    with socket.create_server(("127.0.0.1", 0)) as server:
        port = server.getsockname()[1]
    only_a_sentence(shell(*sweep_at(f"socket://127.0.0.1:{port}")), 1, "connection refused")


def test_a_port_another_program_has_open(shell):
    ours, theirs = pty.openpty()
    name = os.ttyname(theirs)
    fcntl.flock(theirs, fcntl.LOCK_EX | fcntl.LOCK_NB)
    try:
        only_a_sentence(shell(*sweep_at(name)), 1, "is busy", "Close that program")
    finally:
        os.close(theirs)
        os.close(ours)


def test_a_port_without_permission_says_which_group():
    from logger.link.port_words import port_error

    error = port_error("/dev/ttyUSB0", PermissionError(13, "Permission denied"))
    assert error.exit_code == 1
    assert "No permission to open /dev/ttyUSB0" in error.what and "group" in error.todo


# --- what arrives ----------------------------------------------------------------------------------------------------


def test_bytes_that_make_no_sense_name_the_profile_that_would_fit(shell):
    with Device(b"+0.123,812.50\r\n" * 60) as device:
        done = shell(*sweep_at(device.url, "--until", "closed"))
    only_a_sentence(done, 1, "no reading of bench indicator", "--instrument indicator-with-position", "is kept in")
    assert wire_bytes(shell.folder / "sweeps" / "0001-across") == b"+0.123,812.50\r\n" * 60


def test_a_wrong_speed_is_recognised_as_one(shell):
    noise = bytes((i * 73 + 19) % 256 | 0x80 for i in range(3000))
    with Device(noise) as device:
        done = shell(*sweep_at(device.url, "--until", "closed"))
    only_a_sentence(done, 1, "make no sense", "speed")
    assert wire_bytes(shell.folder / "sweeps" / "0001-across") == noise


def test_an_instrument_that_says_nothing(shell):
    with Device(b"") as device:
        done = shell(*sweep_at(device.url, "--until", "closed"))
    only_a_sentence(done, 1, "Nothing arrived", "switched on")


def test_a_cable_pulled_in_mid_sweep_is_3_and_everything_is_kept(shell):
    data = sweep_lines(flat)[:6000]
    with Device(data) as device:
        done = shell(*sweep_at(device.url, "--give-up", "1", "--json"))
    only_a_sentence(done, 3, "went away", "0001-across")
    answer = json.loads(done.stdout)
    assert (answer["ended"], answer["sweep"]) == ("link lost", "0001-across")
    assert wire_bytes(shell.folder / "sweeps" / "0001-across") == data
    assert not (shell.folder / "journal.jsonl").exists()  # not a sweep to judge the machine by, unless it is named


def test_a_sweep_without_marks_is_weak_evidence_and_says_so(shell):
    answer = shell.sweep(sweep_lines(flat, marks=False))
    assert answer["marks"] == 0
    assert answer["position_source"] == "ends only"
    assert any("constant speed" in warning or "weak" in warning for warning in answer["warnings"])


def test_a_full_disk_is_said_and_what_was_written_stays(shell):
    import resource

    data = sweep_lines(flat) * 40

    def small_files():
        signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
        resource.setrlimit(resource.RLIMIT_FSIZE, (100_000, 100_000))

    with Device(data) as device:
        done = subprocess.run(
            [sys.executable, "-m", "logger", *sweep_at(device.url, "--until", "closed")],
            cwd=shell.folder,
            env=ENVIRONMENT,
            stdin=subprocess.DEVNULL,
            capture_output=True,
            text=True,
            timeout=60,
            preexec_fn=small_files,
        )
    only_a_sentence(done, 1, "is kept in")
    assert data.startswith(wire_bytes(shell.folder / "sweeps" / "0001-across"))


def test_ctrl_c_in_a_sweep_is_130_and_says_where_it_is(shell):
    lines = sweep_lines(flat)[:3000]
    with Device(lines, stays=True) as device:
        process = subprocess.Popen(
            [sys.executable, "-m", "logger", *sweep_at(device.url)],
            cwd=shell.folder,
            env=ENVIRONMENT,
            stdin=subprocess.DEVNULL,
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            text=True,
        )
        wait_for(lambda: kept_bytes(shell.folder / "sweeps" / "0001-across") >= len(lines))
        process.send_signal(signal.SIGINT)
        out, err = process.communicate(timeout=120)
    assert process.returncode == 130
    assert out == "" and "Traceback" not in err
    assert "0001-across" in err and "Interrupted" in err
    assert wire_bytes(shell.folder / "sweeps" / "0001-across") == lines
    assert shell.json("verify")["sound"]


def kept_bytes(folder):
    return len(wire_bytes(folder)) if (folder / "wire.csv").exists() else 0


def wait_for(true, seconds=120.0):
    """Ask again and again until ``true()``; fails loudly after ``seconds``."""
    tick = threading.Event()
    for _ in range(int(seconds / 0.02)):
        if true():
            return
        tick.wait(0.02)
    raise AssertionError("it did not happen in time")


# --- files -----------------------------------------------------------------------------------------------------------


def test_a_folder_that_is_no_job(tmp_path):
    done = subprocess.run(
        [sys.executable, "-m", "logger", "spots"], cwd=tmp_path, env=ENVIRONMENT, capture_output=True, text=True
    )
    only_a_sentence(done, 2, "machine.yaml", "truestroke new")


def test_a_machine_with_five_mistakes_names_all_five(shell):
    path = shell.folder / "machine.yaml"
    text = path.read_text(encoding="utf-8")
    for good, bad in [
        ("material: steel", "material: cheese"),
        ("mass_kg: 35", "mass_kg: heavy"),
        ("top_length_mm", "top_lenght_mm"),
        ("raises: clockwise, seen_from: below, kind: screw_and_locknut}\n  - {name: B2", "raises: up}\n  - {name: B2"),
        ("kind: carried, offset_mm: 250", "kind: carried"),
    ]:
        assert good in text
        text = text.replace(good, bad, 1)
    path.write_text(text, encoding="utf-8")
    done = shell("spots")
    only_a_sentence(done, 2, "cheese", "heavy", "top_length_mm", "'up'", "offset_mm")
    assert sum(line.startswith("  ") for line in done.stderr.splitlines()) == 5


def test_an_instrument_with_five_mistakes_names_all_five(shell):
    path = shell.folder / "bench.yaml"
    text = path.read_text(encoding="utf-8")
    for good, bad in [
        ("baud: 115200", "baud: fast"),
        ("clock: device", "clock: cuckoo"),
        ("unit: mm\n", "unit: cubit\n"),
    ]:
        assert good in text
        text = text.replace(good, bad, 1)
    path.write_text(text + "colour: red\nresolution: -1\n", encoding="utf-8")
    done = shell(*sweep_at("socket://127.0.0.1:1"))
    only_a_sentence(done, 2, "baud", "cuckoo", "cubit", "colour", "resolution")
    assert sum(line.startswith("  ") for line in done.stderr.splitlines()) == 5


@pytest.mark.parametrize(
    ("good", "bad", "said"),
    [
        ("name: B6, x_mm: 2650", "name: B6, x_mm: 3650", "B6"),
        ("name: B6, x_mm", "name: B5, x_mm", "B5"),
    ],
    ids=["a bolt outside the rail", "two names alike"],
)
def test_a_machine_that_cannot_be(shell, good, bad, said):
    path = shell.folder / "machine.yaml"
    text = path.read_text(encoding="utf-8")
    assert good in text
    path.write_text(text.replace(good, bad), encoding="utf-8")
    only_a_sentence(shell("bolts"), 2, said, "line ")


@pytest.mark.parametrize("raw", [b"\xff\xfe\x00\x01", b"name: \x1b[2J\n", b"{" * 5000, b"a: &a [*a]\n", b""])
def test_a_machine_file_of_rubbish(shell, raw):
    (shell.folder / "machine.yaml").write_bytes(raw)
    done = shell("spots")
    only_a_sentence(done, 2, "machine.yaml")
    assert "\x1b" not in done.stderr


def test_a_torn_recording_opens_and_says_so(shell):
    shell.sweep(sweep_lines(flat))
    for name in ("readings.csv", "wire.csv"):
        path = shell.folder / "sweeps" / "0001-across" / name
        path.write_bytes(path.read_bytes()[:-7])
    answer = shell.json("spots")
    assert any("torn" in warning or "checksum" in warning for warning in answer["warnings"])
    only_a_sentence(shell("verify"), 2, "0001-across")


def test_an_edited_recording_is_found_out(shell):
    shell.sweep(sweep_lines(flat))
    path = shell.folder / "sweeps" / "0001-across" / "readings.csv"
    path.write_bytes(path.read_bytes().replace(b"0.099", b"0.101", 1))
    answer = shell.json("verify", code=2)
    assert not answer["sound"]
    assert any("changed" in fault for fault in answer["recordings"][0]["faults"])


def test_a_descriptor_of_rubbish(shell):
    shell.sweep(sweep_lines(flat))
    (shell.folder / "sweeps" / "0001-across" / "datapackage.json").write_bytes(b'{"truestroke": ')
    only_a_sentence(shell("spots"), 2, "datapackage.json")


def test_a_broken_line_in_the_journal_is_said_and_the_rest_holds(shell):
    shell.sweep(sweep_lines(flat))
    with (shell.folder / "journal.jsonl").open("ab") as file:
        file.write(b"{half a li\n")
    answer = shell.json("bolts")
    assert any("journal" in warning for warning in answer["warnings"])


# --- arguments -------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (("spots", "7"), "There is no sweep '7'"),
        (("turned", "B9=+0.1mm"), "There is no bolt"),
        (("turned", "B2=+0.1mm", "B2=+0.1mm"), "B2 is named 2 times"),
        (("turned", "B2=+40mm"), "no more than 20 mm"),
        (("bolts", "--if", "B2@810:0..1"), "what was done, not what would be"),
        (("export", "all", "out"), "no recording to export"),
        (("replay", "1", "--speed", "-1"), "--speed -1"),
        (("sweep", "--port", "P", "--instrument", "indicator-lime", "--set-up", "across"), "indicator-line"),
        (("sweep", "--port", "P", "--instrument", "indicator-line", "--set-up", "acros"), "nearest is across"),
        (("sweep", "--port", "P", "--instrument", "level-line", "--set-up", "across"), "wants an indicator"),
        (sweep_at("P", "--passes", "0"), "--passes 0"),
        (sweep_at("P", "--until", "noon"), "--until 'noon'"),
        (
            ("sweep", "--port", "P", "--instrument", "bench.yaml", "--set-up", "across", "--marks", "-300,0"),
            "-300 mm is outside",
        ),
        (("new", "."), "is there already"),
    ],
)
def test_arguments_that_cannot_be(shell, arguments, said):
    only_a_sentence(shell(*arguments), 2, said)
    assert not (shell.folder / "journal.jsonl").exists()


# --- a terminal ------------------------------------------------------------------------------------------------------


def own_terminal(descriptor):
    """In the child: this pseudo terminal is the one whose Ctrl-C reaches it."""
    os.setsid()
    fcntl.ioctl(descriptor, termios.TIOCSCTTY, 0)


def in_a_terminal(shell, typed, *arguments, term="xterm"):
    """Run in a pseudo terminal and type ``typed`` once a question or the keys have been shown."""
    ours, theirs = pty.openpty()
    process = subprocess.Popen(
        [sys.executable, "-m", "logger", *arguments],
        cwd=shell.folder,
        env={**ENVIRONMENT, "TERM": term},
        stdin=theirs,
        stdout=theirs,
        stderr=theirs,
        preexec_fn=lambda: own_terminal(theirs),
    )
    os.close(theirs)
    shown = b""
    waiting = list(typed)
    while True:
        if not select.select([ours], [], [], 120)[0]:
            process.kill()
            raise AssertionError(f"nothing more was shown after: {shown!r}")
        try:
            chunk = os.read(ours, 4096)
        except OSError:  # Linux says so when the last one has closed the terminal
            break
        if not chunk:
            break
        shown += chunk
        while waiting and waiting[0][0] in shown:
            os.write(ours, waiting.pop(0)[1])
    os.close(ours)
    return process.wait(120), shown.decode(errors="replace")


def test_a_dumb_terminal_is_told_what_to_do(shell):
    code, shown = in_a_terminal(shell, [], term="dumb")
    assert code == 1
    assert "needs a terminal" in shown and "live --plain" in shown


def test_a_person_is_asked_which_way_is_up_and_it_is_kept(shell):
    with Device(sweep_lines(flat)) as device:
        code, shown = in_a_terminal(shell, [(b"[y/n", b"y\n")], *sweep_at(device.url, "--until", "closed"))
    assert code == 0, shown
    assert "Press the indicator's tip in" in shown
    entries = [json.loads(line) for line in (shell.folder / "journal.jsonl").read_text().splitlines()]
    assert entries[0]["kind"] == "direction check" and entries[0]["data"]["moved_as_said"] is True
    again = shell.sweep(sweep_lines(flat))
    assert not any("counts the right way" in warning for warning in again["warnings"])


def test_an_instrument_that_counts_the_other_way_is_refused_with_the_line_to_write(shell):
    code, shown = in_a_terminal(shell, [(b"[y/n", b"n\n")], *sweep_at("socket://127.0.0.1:1"))
    assert code == 2
    assert "sense: reversed" in " ".join(shown.split())


def test_space_marks_and_enter_ends(shell):
    lines = b"".join(b"+0.%03d\r\n" % (100 + k % 3) for k in range(200))
    with Device(lines, stays=True) as device:
        typed = [(b"[y/n", b"\n"), (b"200 readings", b" "), (b"marks 1 of 12", b" "), (b"marks 2 of 12", b"\n")]
        code, shown = in_a_terminal(shell, typed, *sweep_at(device.url, instrument="indicator-line"))
    assert code == 0, shown
    assert "200 readings, 2 marks" in shown
    assert "ended by hand" in " ".join(shown.split()), "a terminal's lines are folded"


def test_ctrl_c_at_a_question_is_130(shell):
    code, shown = in_a_terminal(shell, [(b"[y/n", b"\x03")], *sweep_at("socket://127.0.0.1:1"))
    assert code == 130, shown
    assert "Interrupted" in shown and "Traceback" not in shown
