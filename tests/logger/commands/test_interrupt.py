"""Ctrl-C, typed at a real terminal in the middle of each command: one sentence, 130, and nothing half done."""

import os
import select
import shutil
import subprocess
import sys
import time
from pathlib import Path

import pytest

from logger.commands import COMMANDS
from logger.job import Job
from logger.recording import verify
from tests.logger.device import Device, sweep_lines
from tests.logger.shell import ENVIRONMENT, Shell

pty = pytest.importorskip("pty")
EXAMPLE = Path(__file__).parents[3] / "fixtures" / "recordings"
READY = "import sys; from logger import cli; print('ready to begin', flush=True); sys.exit(cli.main(sys.argv[1:]))"
AT = ("--port", "PORT", "--instrument", "bench.yaml", "--set-up", "across")
ARGUMENTS = {
    "demo": ("--headless",),
    "new": ("other",),
    "listen": ("PORT", "--instrument", "bench.yaml"),
    "sweep": AT,
    "live": ("--plain", *AT),
    "replay": ("--plain", "1", "--speed", "1"),
    "turned": ("B2=+0.1mm",),
    "take": ("flange", "readings=0.00,0.01,0.02,0.01"),
    "note": ("a remark",),
    "report": ("--pictures", "out"),
    "history": ("--pictures", "out"),
    "import": ("old.csv", "--columns", "position=x", "value=h", "--set-up", "across"),
    "export": ("all", "out"),
    "completion": ("bash",),
}
"""What each command is started with; the others with nothing."""
WAITS = ("listen", "sweep", "live", "replay")
"""They go on until they are ended: their Ctrl-C is always in the middle."""


@pytest.fixture
def shell(tmp_path):
    shutil.copytree(EXAMPLE, tmp_path / "saw")
    made = Shell(tmp_path / "saw")
    shutil.copy(EXAMPLE / "machine.yaml", made.folder / "machine.yaml")
    (made.folder / "old.csv").write_text("x,h\n" + "".join(f"{x},0.1\n" for x in range(600, 1600, 2)), encoding="utf-8")
    return made


def interrupted(shell, arguments, after_s, *, once=b"ready to begin"):
    """(exit code, what was shown): Ctrl-C typed ``after_s`` after ``once`` was shown."""
    ours, theirs = pty.openpty()
    process = subprocess.Popen(
        [sys.executable, "-c", READY, *arguments],
        cwd=shell.folder,
        env={**ENVIRONMENT, "TERM": "xterm"},
        stdin=theirs,
        stdout=theirs,
        stderr=theirs,
        preexec_fn=lambda: _own(theirs),
    )
    os.close(theirs)
    shown, due = b"", None
    end = time.monotonic() + 180
    while time.monotonic() < end:
        wait = 0.2 if due is None else max(0.0, due - time.monotonic())
        if select.select([ours], [], [], min(wait, 0.2))[0]:
            try:
                chunk = os.read(ours, 4096)
            except OSError:
                break
            if not chunk:
                break
            shown += chunk
        if due is None and once in shown:
            due = time.monotonic() + after_s
        if due is not None and time.monotonic() >= due:
            os.write(ours, b"\x03")
            due = float("inf")
    os.close(ours)
    return process.wait(120), shown.decode(errors="replace")


def _own(descriptor):
    import fcntl
    import termios

    os.setsid()
    fcntl.ioctl(descriptor, termios.TIOCSCTTY, 0)


def nothing_is_half_done(folder):
    job = Job.open(folder)
    assert job.journal_faults() == []
    for recording in job.recordings():
        faults = verify(recording)
        assert not faults or "interrupted" in faults[0]
    named = {entry.data.get("sweep") for entry in job.entries() if entry.kind == "sweep"}
    assert named <= {recording.name for recording in job.recordings()}
    for report in folder.glob("*.html"):
        assert report.read_text(encoding="utf-8").rstrip().endswith("</html>")
    assert not list(folder.rglob("*.part"))


@pytest.mark.parametrize("command", COMMANDS)
def test_ctrl_c_in_the_middle_is_one_sentence_and_nothing_half_done(shell, command):
    with Device(sweep_lines(lambda s: 0.1), stays=True) as device:
        arguments = [command, *ARGUMENTS.get(command, ())]
        arguments = [device.url if each == "PORT" else each for each in arguments]
        code, shown = interrupted(shell, arguments, 0.4 if command not in WAITS else 1.0)
    assert "Traceback" not in shown
    assert "fault in truestroke" not in shown
    if command in WAITS:
        assert code == 130, shown
    if code == 130:
        assert "Interrupted. Whatever was recorded until now is kept." in shown
    nothing_is_half_done(shell.folder)


def test_a_computing_command_says_that_it_is_at_work(shell):
    """Enough copies that it takes some seconds; Ctrl-C once the line of patience has been shown."""
    for number in range(20, 420):
        shutil.copytree(shell.folder / "sweeps" / "0003-across", shell.folder / "sweeps" / f"{number:04d}-across")
    code, shown = interrupted(shell, ["verify"], 0.0, once=b"verify: at work, ")
    assert "at work, 1 s" in shown
    assert code in (0, 130)
    assert "Traceback" not in shown
