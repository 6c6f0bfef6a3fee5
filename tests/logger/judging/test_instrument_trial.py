"""Facts about trying an instrument before a job, and about what was found reaching every uncertainty."""

import json
import math

import numpy as np
import pytest

from analysis.level import Settled, push_as_slope
from analysis.results import Extremes, Profile
from logger.cli import main
from logger.errors import NotUnderstood
from logger.findings import as_json, find
from logger.judging.instrument_trial import extremes_with_floor, trial_of_typed, turned_from, with_floor
from logger.recording import open_recording
from tests.logger.device import PATTERN, Device, sweep_lines
from tests.logger.shell import Shell

APPROACHES = (0.100, 0.106, 0.102, 0.104, 0.100, 0.105, 0.101, 0.106, 0.102, 0.104)
"""From below and from above in turn, in mm; worked by hand below."""


def trial_lines(approaches=APPROACHES, still_s=12.0, rate_hz=20.0, noise_mm=0.001, drift_mm_per_h=0.0):
    """Standing still with a square ripple of ±noise, then for each approach: away, back, a mark, a second of rest."""
    lines, t_s = [], 0.0

    def say(value, mark=False):
        nonlocal t_s
        value += drift_mm_per_h * t_s / 3600.0
        lines.append(f"{value:+.4f},t{t_s:.4f}{',M' if mark else ''}\r\n")
        t_s += 1 / rate_hz

    for k in range(round(still_s * rate_hz)):
        say(0.1 + noise_mm * (1 if k % 2 else -1))
    for value in approaches:
        for _ in range(30):
            say(2.0)
        for k in range(20):
            say(value, mark=k == 0)
    return "".join(lines).encode()


def tried(folder, data, *more, code=0):
    shell = Shell(folder)
    with Device(data) as device:
        return shell.json(
            *("instrument", "--port", device.url, "--instrument", "bench.yaml", "--set-up", "across"),
            *("--still", "10", "--until", "closed", *more),
            code=code,
        )


def test_noise_repeatability_and_hysteresis_are_those_worked_by_hand(tmp_path):
    """Below: 100, 102, 100, 101, 102 um; above: 106, 104, 105, 106, 104. Means 101 and 105; squares 4 and 4, eight
    degrees of freedom: repeatability 1.0 um; hysteresis 4 um. The ripple of ±1 um has a standard deviation of 1 um."""
    found = tried(tmp_path, trial_lines())
    assert found["repeats"]["repeatability"] == pytest.approx(0.0010, abs=1e-5)
    assert found["repeats"]["hysteresis"] == pytest.approx(0.0040, abs=1e-5)
    assert found["still"]["noise"] == pytest.approx(0.0010, abs=2e-5)
    assert found["still"]["resolution"] == pytest.approx(0.002, abs=1e-6)
    # the file says 0.001, it moves in twos: 0.002/root 12; hysteresis 0.004/root 12; repeatability 0.001
    floor = math.sqrt(0.001**2 + (0.002**2 + 0.004**2) / 12)
    assert found["floor"]["standard_uncertainty"] == pytest.approx(floor, rel=0.02)
    assert any("two sides" in note for note in found["warnings"])
    assert any("steps of 0.002" in note for note in found["warnings"])
    kept = [json.loads(line) for line in (tmp_path / "journal.jsonl").read_text().splitlines()]
    assert [entry["kind"] for entry in kept] == ["instrument check"]
    assert kept[0]["data"]["recording"] == "0001-across"
    assert (tmp_path / "live" / "0001-across" / "wire.csv").is_file()


def test_what_was_found_is_the_floor_of_every_uncertainty_of_a_sweep(tmp_path):
    shell = Shell(tmp_path)
    data = sweep_lines(lambda s: 0.1, position=True)
    shell.sweep(data)
    sweep = tmp_path / "sweeps" / "0001-across"
    before = as_json(find([open_recording(sweep)]))
    rough = tuple(0.1 + 0.02 * (1 if k % 4 < 2 else -1) for k in range(10))
    found = tried(tmp_path, trial_lines(rough))
    after = as_json(find([open_recording(sweep)]))
    floor = 2 * found["floor"]["standard_uncertainty"]
    assert floor > 0.03
    assert max(before["profile"]["uncertainty_mm"]) < 0.02
    assert min(after["profile"]["uncertainty_mm"]) == pytest.approx(floor, abs=2e-3)
    assert after["mean_uncertainty_mm"] >= floor - 1e-6
    assert after["peak_to_valley_uncertainty_mm"] >= floor - 1e-6
    assert before["verdict"] == "inside"
    assert after["verdict"] == "cannot tell"


def test_a_dial_is_tried_by_typing_what_it_shows_and_the_lever_gets_its_cosine(tmp_path):
    found = Shell(tmp_path).json(
        *("instrument", "--instrument", "typed-mm", "--set-up", "across", "--from", "below", "--lever", "20"),
        *("--readings", "0.10,0.11,0.10,0.11,0.10,0.11"),
    )
    assert found["still"] is None
    assert found["repeats"]["repeatability"] == pytest.approx(0.01 * math.sqrt(6 / 4 / 5), rel=1e-6)
    assert found["repeats"]["hysteresis"] is None
    assert any("0.9397" in note and "flatter" in note for note in found["warnings"])  # cos 20 degrees


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (("--times", "2"), "Allowed: 4 to 100"),
        (("--still", "0"), "Allowed: 1 to 3600"),
        (("--lever", "90"), "less than 90"),
        (("--reverse",), "is no level"),
        ((), "instrument needs --port"),
        (("--readings", "0.1,0.2"), "at least 4"),
    ],
)
def test_what_cannot_be_is_refused_in_words(tmp_path, capsys, arguments, words):
    Shell(tmp_path)
    asked = ["instrument", "--instrument", "typed-mm", "--set-up", "across", *arguments, "--job", str(tmp_path)]
    assert main(asked) in (1, 2)
    assert words in capsys.readouterr().err


def test_too_few_marks_are_said(tmp_path):
    shell = Shell(tmp_path)
    with Device(trial_lines(APPROACHES[:1])) as device:
        done = shell(
            *("instrument", "--port", device.url, "--instrument", "bench.yaml", "--set-up", "across"),
            *("--still", "10", "--until", "closed"),
        )
    assert done.returncode == 1
    assert "1 approaches; at least 4" in done.stderr


def level_reversal(zero=0.12, slope=0.30, time_constant_s=0.4, rate_hz=20.0):
    """A level set down, read, turned end for end on the same place, read: each time it creeps in from 5 mm/m away."""
    lines, t_s = [], 0.0
    for shown in (slope + zero, -slope + zero):
        for k in range(round(6.0 * rate_hz)):
            value = shown + 5.0 * math.exp(-k / rate_hz / time_constant_s)
            lines.append(f"{value:+.3f},t{t_s:.4f}{',M' if k == 0 else ''}\r\n")
            t_s += 1 / rate_hz
    return "".join(lines).encode()


def test_a_levels_zero_by_reversal_waits_for_it_to_settle(tmp_path):
    """Normal 0.42, turned -0.18: zero (0.42 - 0.18)/2 = 0.12, slope 0.30. The mean of what came is far off."""
    shell = Shell(tmp_path)
    with Device(level_reversal()) as device:
        found = shell.json(
            *("instrument", "--port", device.url, "--instrument", "level.yaml", "--set-up", "pitch", "--reverse"),
            *("--until", "closed"),
        )
    assert found["zero_mm_per_m"] == pytest.approx(0.12, abs=0.005)
    assert found["slope_mm_per_m"] == pytest.approx(0.30, abs=0.005)
    assert found["time_constant_s"][0] == pytest.approx(0.4, rel=0.1)
    assert found["warnings"] == [] or "not settled" in found["warnings"][0]


def test_a_reading_that_had_not_settled_is_known_no_better_than_half_of_what_was_still_to_come():
    """By hand: readings known to 0.01 and to hypot(0.01, 0.4/2) = 0.20; the zero is half their sum: ± 0.1 (k = 1)."""
    stood = Settled(0.42, 0.01, math.nan, 0.0, settled=True)
    creeps = Settled(-0.18, 0.01, 2.0, -0.4, settled=False)
    assert turned_from(stood, creeps).reversal.standard_uncertainty == pytest.approx(0.1003, abs=1e-4)
    assert turned_from(stood, stood).reversal.standard_uncertainty == pytest.approx(0.00707, abs=1e-5)


def test_a_bubble_is_reversed_by_typing_both_readings_in_its_own_unit(tmp_path):
    found = Shell(tmp_path).json(
        *("instrument", "--instrument", "typed-level", "--set-up", "pitch", "--reverse", "--readings", "0.42,-0.18")
    )
    assert (found["zero_mm_per_m"], found["slope_mm_per_m"]) == (0.12, 0.3)


def test_a_push_is_felt_as_a_slope():
    """Half a millimetre a second squared... by hand: 0.1 m/s2 over 9.80665 m/s2 is 10.2 mm/m, there and back."""
    t_s = np.arange(0.0, 20.0, 0.02)
    speed = 0.2 + 0.1 * np.abs((t_s % 4.0) - 2.0)  # m/s: slows and quickens by 0.1 m/s2
    x_mm = 1000.0 * np.cumsum(speed) * 0.02
    assert push_as_slope(t_s, x_mm) == pytest.approx(1000 * 0.1 / 9.80665, rel=0.05)
    assert push_as_slope(t_s, 200.0 * t_s) == pytest.approx(0.0, abs=1e-6)
    assert push_as_slope(t_s[:5], x_mm[:5]) == 0.0


def test_a_level_that_was_pushed_without_stops_is_warned_of(tmp_path):
    lines = sweep_lines(lambda s: 0.2, position=True, seen=lambda s: True)
    shell = Shell(tmp_path)
    pushed = f"name: level\nframe: line\npattern: '{PATTERN}'\nclock: device\nunit: mm/m\nexamples:\n"
    pushed += '  - {bytes: "+0.123,t1.25\\r\\n", value_mm_per_m: 0.123}\n'
    (tmp_path / "pushed.yaml").write_text(pushed, encoding="utf-8")
    warnings = " ".join(shell.sweep(lines, set_up="pitch", instrument="pushed.yaml")["warnings"])
    warnings += " ".join(find([open_recording(tmp_path / "sweeps" / "0001-pitch")]).warnings)
    assert "takes the push for a slope" in warnings
    assert "mm/m" in warnings


def flat(standard_uncertainty):
    x = np.linspace(0.0, 100.0, 5)
    covariance = np.eye(5) * standard_uncertainty**2
    return Profile("height", "mm", x, np.zeros(5), np.full(5, 2 * standard_uncertainty), covariance, True, ())


def test_a_floor_lifts_what_is_below_it_and_leaves_what_is_above():
    assert with_floor(flat(0.001), 0.003).uncertainty == pytest.approx(np.full(5, 0.006))
    assert with_floor(flat(0.005), 0.003).uncertainty == pytest.approx(np.full(5, 0.010))
    assert with_floor(flat(0.001), None).uncertainty == pytest.approx(np.full(5, 0.002))
    ends = extremes_with_floor(Extremes(0.01, 0.001, 0.1, 0.001), with_floor(flat(0.001), 0.003))
    assert (ends.peak_to_valley_uncertainty, ends.mean_uncertainty) == (0.006, 0.006)


def test_too_little_standing_still_is_said():
    with pytest.raises(NotUnderstood, match="at least 4"):
        trial_of_typed([0.1, 0.2], [1, -1], "mm", None)
