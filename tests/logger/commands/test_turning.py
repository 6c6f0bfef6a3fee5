"""``take`` with readings that stream while the arbor is turned by hand, each command a process of its own.

The stream is worked by hand: r = 0.020 cos(angle) + 0.006 cos(2 angle), a turn in six seconds, a mark at every turn.
"""

import json
import math

import pytest

from tests.logger.device import Device
from tests.logger.shell import Shell

TURN_S, RATE_HZ = 6.0, 25.0


@pytest.fixture
def shell(tmp_path):
    return Shell(tmp_path)


def turned(turns=3.2, marks=True):
    lines = []
    for n in range(round(turns * TURN_S * RATE_HZ) + 1):
        angle = 2 * math.pi * n / (TURN_S * RATE_HZ)
        value = 0.5 + 0.020 * math.cos(angle) + 0.006 * math.cos(2 * angle)
        mark = ",M" if marks and n % round(TURN_S * RATE_HZ) == 0 else ""
        lines.append(f"{value:+.4f},t{n / RATE_HZ:.3f}{mark}\r\n")
    return "".join(lines).encode()


def streamed(shell, *more, data=None, code=0):
    with Device(data or turned()) as device:
        return shell.json(
            *("take", "arbor", "--port", device.url, "--instrument", "bench.yaml", "--until", "closed", *more),
            code=code,
        )


def test_a_turn_by_hand_is_recorded_judged_and_in_the_journal(shell):
    answer = streamed(shell)
    # total of the formula: 0.026 at 0 degrees less the lowest, -0.0143 at about 127 degrees
    angles = [math.radians(d) for d in range(360)]
    shape = [0.020 * math.cos(a) + 0.006 * math.cos(2 * a) for a in angles]
    assert answer["value_mm"] == pytest.approx(max(shape) - min(shape), abs=0.001)
    assert answer["harmonics_mm"][:2] == pytest.approx([0.020, 0.006], abs=0.001)
    assert answer["direction_deg"] == pytest.approx(0.0, abs=3.0) or answer["direction_deg"] > 357.0
    assert answer["verdict"] == "outside"
    (folder,) = (shell.folder / "live").iterdir()
    assert (folder / "wire.csv").is_file()
    last = json.loads((shell.folder / "journal.jsonl").read_text(encoding="utf-8").splitlines()[-1])
    assert last["data"]["words"]["recording"] == folder.name


def test_the_recording_can_be_taken_again_and_without_marks_it_gives_the_total(shell):
    first = streamed(shell)
    (folder,) = (shell.folder / "live").iterdir()
    again = shell.json("take", "arbor", f"recording={folder.name}")
    assert again["value_mm"] == pytest.approx(first["value_mm"], abs=1e-6)
    plain = streamed(shell, data=turned(marks=False))
    assert plain["value_mm"] == pytest.approx(first["value_mm"], abs=0.004)
    assert any("Only the total" in note for note in plain["notes"])


def test_flange_and_blade_are_told_apart_by_their_recordings(shell):
    streamed(shell)
    (folder,) = (shell.folder / "live").iterdir()
    number = folder.name[:4]
    # The same stream as flange on 100 mm and as blade on 200: the flange alone would swing the blade by 2 x 0.020
    # toward 0 degrees, so the blade itself takes 0.020 off it: 0.020 toward 180.
    both = ("take", "blade", f"recording={number}", "diameter=200", "flange_diameter=100")
    parts = shell.json(*both, f"flange_recording={number}")
    assert parts["flange_part_mm"] == pytest.approx(0.040, abs=0.001)
    assert parts["blade_part_mm"] == pytest.approx(0.020, abs=0.001)
    assert parts["blade_direction_deg"] == pytest.approx(180.0, abs=3.0)
    # Half round on its flange and the same again: all of it is the flange's.
    halves = shell.json(*both, f"half_round_recording={number}")
    assert halves["flange_part_mm"] == pytest.approx(0.020, abs=0.001)
    assert halves["blade_part_mm"] == pytest.approx(0.0, abs=0.001)


def test_less_than_two_turns_are_refused_with_what_would_help(shell):
    with Device(turned(1.2)) as device:
        done = shell("take", "arbor", "--port", device.url, "--instrument", "bench.yaml", "--until", "closed", "--json")
    assert done.returncode == 2
    assert "two whole turns or more" in done.stderr
    assert not (shell.folder / "journal.jsonl").exists()
    assert list((shell.folder / "live").iterdir()), "what was received is kept"


@pytest.mark.parametrize(
    ("arguments", "says"),
    [
        (("take", "toe", "--port", "x", "--instrument", "bench.yaml"), "toe takes no stream"),
        (("take", "arbor", "--port", "x"), "--port goes with --instrument"),
        (("take", "arbor", "recording=7"), "There is no sweep '7'"),
    ],
)
def test_what_cannot_be_streamed_is_said(shell, arguments, says):
    done = shell(*arguments)
    assert done.returncode == 2
    assert says in done.stderr
