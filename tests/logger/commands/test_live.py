"""`truestroke live` beside the bench: the phone's page and the beeps, as a person starts them."""

import http.client
import json
import re
import subprocess
from contextlib import contextmanager

import pytest

from tests.logger.device import Device
from tests.logger.shell import COMMAND, ENVIRONMENT, Shell

LINES = b"".join(b"%+.3f,t%.3f\r\n" % (0.104 + k * 1e-5, k / 100) for k in range(50))


@pytest.fixture
def shell(tmp_path):
    folder = tmp_path / "saw"
    folder.mkdir()
    return Shell(folder)


@contextmanager
def live(shell, *more):
    """A running view of a device that has said its lines and keeps the line open."""
    with Device(LINES, stays=True) as device:
        view = subprocess.Popen(
            [*COMMAND, "live", "--port", device.url, "--instrument", "bench.yaml", "--set-up", "across", *more],
            cwd=shell.folder,
            env=ENVIRONMENT,
            stdin=subprocess.DEVNULL,
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            text=True,
        )
        try:
            yield view
        finally:
            view.kill()
            view.communicate(timeout=120)


def address(view):
    for line in view.stderr:
        if found := re.match(r"http://([\d.]+):(\d+)/([\w-]+)/", line):
            return found[1], int(found[2]), found[3]
    raise AssertionError("no address was shown")


def first_moment(host, port, token, wanted):
    connection = http.client.HTTPConnection(host, port, timeout=120)
    connection.request("GET", f"/{token}/stream")
    answer = connection.getresponse()
    assert answer.status == 200
    for raw in answer:
        if raw.startswith(b"data: ") and wanted(shown := json.loads(raw[6:])["shown"]):
            connection.close()
            return shown
    raise AssertionError("the stream ended")


def test_a_phone_sees_the_height_its_state_and_the_display(shell):
    with live(shell, "--phone") as view:
        host, port, token = address(view)
        assert host == "127.0.0.1"
        shown = first_moment(host, port, token, lambda s: s["height"] is not None)
        assert shown["title"] == "Kiln Street panel saw, across"
        assert shown["unit"] == "mm"
        assert shown["state"] == "inside"
        assert (shown["low"], shown["high"]) == (0.05, 0.15)
        assert shown["display"].startswith("its display shows +0.10")


def test_a_target_is_told_with_what_is_to_go(shell):
    with live(shell, "--phone", "--target", "0.2") as view:
        host, port, token = address(view)
        shown = first_moment(host, port, token, lambda s: s["height"] is not None)
        assert shown["target"] == 0.2
        assert re.fullmatch(r"▼ 0\.09\d mm to go, raise", shown["text"])
        assert shown["state"] == "low"


def test_a_stranger_is_told_to_the_person_and_counted_in_the_answer(shell):
    with Device(LINES, stays=True) as device:
        view = subprocess.Popen(
            [
                *(*COMMAND, "live", "--port", device.url, "--instrument", "bench.yaml", "--set-up", "across"),
                *("--phone", "--json", "--until", "4"),
            ],
            cwd=shell.folder,
            env=ENVIRONMENT,
            stdin=subprocess.DEVNULL,
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            text=True,
        )
        host, port, _ = address(view)
        connection = http.client.HTTPConnection(host, port, timeout=120)
        connection.request("GET", "/guess/")
        assert connection.getresponse().status == 403
        out, err = view.communicate(timeout=120)
    assert "Refused a request from 127.0.0.1 (token)." in err
    assert json.loads(out)["phone"]["refused"] == {"token": 1}


def test_the_network_needs_the_phone_to_be_asked_for(shell):
    done = shell(
        "live", "--port", "socket://127.0.0.1:9", "--instrument", "bench.yaml", "--set-up", "across", "--network"
    )
    assert done.returncode == 2
    assert "--network goes with --phone" in done.stderr


def test_an_address_that_is_not_this_computers_is_refused_in_one_sentence(shell):
    done = shell(
        *("live", "--port", "socket://127.0.0.1:9", "--instrument", "bench.yaml", "--set-up", "across"),
        *("--phone", "--network", "203.0.113.7"),
    )
    assert done.returncode == 1
    assert "cannot be served on 203.0.113.7" in done.stderr
    assert "Traceback" not in done.stderr


def test_sound_says_what_makes_it_and_needs_no_player(shell):
    with Device(LINES) as device:
        done = shell(
            *("live", "--port", device.url, "--instrument", "bench.yaml", "--set-up", "across"),
            *("--sound", "--until", "closed", "--json"),
        )
    assert done.returncode == 0, done.stderr
    assert re.search(r"Sound by (terminal bell|paplay|pw-play|aplay|afplay)", done.stderr)
    assert json.loads(done.stdout)["readings"] == 50
