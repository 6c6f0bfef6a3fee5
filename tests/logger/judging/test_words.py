"""Findings in words: what the uncertainty is made of, three lines, a filter, a level's heights, what was agreed to."""

import json
from typing import Any, cast

import numpy as np
import pytest

from analysis.results import Profile
from fixtures.sweeps import Layout, simulate
from logger import findings
from logger.errors import NotAllowed
from logger.job import Job
from logger.judging import level_heights
from logger.judging.agreed import agree, agreed, ask
from logger.judging.words import Shape, filtered_of, local_of, parts_of_mean, parts_of_peak_to_valley, pieces
from tests.logger.stand_in import machine_for, recording_of


def a_profile(x, value, **parts):
    u = np.full(len(x), 0.001)
    parts = parts or {"repeatability": u}
    return Profile("height", "mm", x, value, 2 * u, np.diag(u**2), True, (), parts)


def test_a_part_that_is_common_to_all_stations_stays_in_the_mean_and_leaves_peak_to_valley():
    x = np.arange(0.0, 1000.1, 10.0)
    u = np.full(len(x), 0.002)
    profile = a_profile(x, np.sin(x / 200.0), repeatability=u, instrument=u)
    assert parts_of_mean(profile)["instrument"] == pytest.approx(0.004)
    assert parts_of_mean(profile)["repeatability"] < 0.002
    assert parts_of_peak_to_valley(profile)["instrument"] == pytest.approx(0.0, abs=1e-4)
    assert parts_of_peak_to_valley(profile)["repeatability"] == pytest.approx(2 * 0.002 * np.sqrt(2), rel=0.01)


def local_at_most(profile, length_mm):
    found = local_of(profile, length_mm)
    assert found is not None
    return found[0]


def test_local_straightness_of_a_bow_goes_with_the_square_of_the_length():
    x = np.arange(0.0, 1200.1, 10.0)
    bow = a_profile(x, 0.08 * ((x - 600.0) / 600.0) ** 2)
    assert local_at_most(bow, 600.0) == pytest.approx(0.02, abs=1e-6)
    assert local_at_most(bow, 300.0) == pytest.approx(0.005, abs=1e-6)
    assert local_of(bow, 1300.0) is None and local_of(bow, None) is None


def test_neither_a_filter_nor_a_local_length_reaches_over_a_hole():
    x = np.concatenate([np.arange(0.0, 400.1, 10.0), np.arange(700.0, 1100.1, 10.0)])
    step = a_profile(x, np.where(x < 500.0, 0.0, 0.1))
    assert [(s.start, s.stop) for s in pieces(x)] == [(0, 41), (41, 82)]
    assert filtered_of(step, 200.0) == pytest.approx(step.value, abs=1e-9)
    assert local_at_most(step, 300.0) == pytest.approx(0.0, abs=1e-9)
    assert local_of(step, 600.0) is None


def test_the_filter_halves_a_wave_as_long_as_its_cut_off():
    # ISO 16610-21: the transmission is 50 % at the cut-off wavelength.
    x = np.arange(0.0, 2000.1, 5.0)
    wave = a_profile(x, 0.01 * np.sin(2 * np.pi * x / 250.0))
    inside = (x > 300) & (x < 1700)
    filtered = filtered_of(wave, 250.0)
    assert filtered is not None
    assert np.ptp(filtered[inside]) == pytest.approx(0.01, rel=0.02)


def test_the_json_has_three_lines_positions_parts_and_no_nan():
    sweep = simulate(1, stations_mm=tuple(np.linspace(0, 2600, 9)))
    found = findings.find([recording_of(sweep)])
    said = findings.as_json(found, (), Shape("minimum zone", 300.0, 200.0))
    assert json.loads(json.dumps(said, allow_nan=False)) == said
    assert said["straightness"]["reference"] == "minimum zone"
    assert said["straightness"]["STRt_mm"] == said["straightness"]["lines"]["minimum zone"]["STRt_mm"]
    assert len(said["positions"]["uncertainty_mm"]) == len(said["positions"]["x_mm"]) == len(said["profile"]["x_mm"])
    assert "18 of 18 marks" in said["positions"]["why"]
    assert said["filtered"]["ends"] and said["local_straightness"]["length_mm"] == 300.0


def test_an_indicator_held_sideways_is_not_judged_as_a_height():
    layout = Layout(kind="fixed")
    sweep = simulate(1, layout=layout, encoder_step_mm=0.25)
    plan = machine_for(layout, extra=", direction: from_table")
    found = findings.find([recording_of(sweep, layout, machine=plan)])
    assert found.profile.quantity == "sideways" and found.extremes.mean is None
    assert found.verdict.word == "cannot tell" and "sideways" in found.verdict.reason
    assert any("in plan only" in text for text in found.not_seen)
    other = machine_for(layout, extra=", direction: toward_table")
    turned = findings.find([recording_of(sweep, layout, machine=other)])
    assert np.corrcoef(found.profile.value, turned.profile.value)[0, 1] < -0.99


def level_found(axis="pitch", step=640.0):
    """A level's findings on a rail z = 0.2 mm (x/1300 - 1)^2, read at every bearing span (640 mm) or otherwise."""
    places = np.arange(0.0, 2600.1, step)
    z = 0.2 * (np.array([places - 320.0, places + 320.0]) / 1300.0 - 1.0) ** 2
    tilt = (z[1] - z[0]) / 0.640
    t: Any = []
    value: list[float] = []
    marks: list[float] = []
    for number in range(2):
        for i in range(len(places))[:: 1 if number == 0 else -1]:
            start = len(t) / 20.0
            marks.append(start + 2.0)
            value += [tilt[i]] * 80 + (tilt[i] + 5.0 * np.sin(np.linspace(0, 6.28, 40))).tolist()
            t = np.arange(len(value)) / 20.0
    sweep = simulate(1, stations_mm=tuple(places))
    recording = recording_of(
        sweep, machine=machine_for(Layout(kind="level"), axis=axis), unit="mm/m", t_s=np.array(t),
        value=np.array(value) + 0.001 * np.sin(np.arange(len(value)) * 1.7), mark_t_s=np.array(marks),
        stations_mm=tuple(places.tolist()), position_mm=np.full(len(t), np.nan), no_value_t_s=np.zeros(0),
        no_value_position_mm=np.zeros(0),
        index_t_s=np.zeros(0),
        index_position_mm=np.zeros(0),
    )  # fmt: skip
    return findings.find([recording]), recording.machine


def test_pitch_in_steps_of_the_bearing_span_gives_the_rail_s_heights():
    found, machine = level_found()
    said = level_heights.as_json(found, machine)["heights"]
    x = np.array(said["x_mm"])
    truth = 0.2 * (x / 1300.0 - 1.0) ** 2
    off = np.array(said["height_mm"]) - truth
    assert said["steps_meet"] and off - off[0] == pytest.approx(0.0, abs=0.004)
    assert abs(said["closure_mm"]) < 0.003
    assert any("lift" in text for text in said["not_seen"])
    assert not level_heights.in_steps(*level_found(step=500.0))


def test_heights_at_both_ends_tie_the_level_s_line_to_the_table():
    found, machine = level_found()
    said = level_heights.as_json(found, machine, "0.020,-0.010")["heights"]
    assert (said["height_mm"][0], said["height_mm"][-1]) == pytest.approx((0.020, -0.010))
    assert said["not_seen"] == [] and said["tied_to_the_table"]
    for bad in ("0.02", "a,b", "nan,0", "1e9,0"):
        with pytest.raises(NotAllowed):
            level_heights.as_json(found, machine, bad)


def test_roll_gives_the_twist_and_no_heights():
    found, machine = level_found("roll")
    said = level_heights.as_json(found, machine)
    assert set(said) == {"twist"}
    # The stand-in's tilt is 0.4 (x/1300 - 1)/1.3 mm/m: its slope is 0.2367 mm/m a metre.
    assert said["twist"]["twist_mm_per_m_per_m"] == pytest.approx(0.4 / 1.3 / 1.3, abs=0.01)


class Someone:
    """A person at a terminal who gives one answer to everything."""

    def __init__(self, answer, interactive=True):
        self.answer, self.interactive, self.asked = answer, interactive, []

    def ask(self, question):
        self.asked.append(question)
        return self.answer


def a_turned_encoder():
    sweep = simulate(1, encoder_step_mm=0.25, stations_mm=tuple(np.linspace(0, 2600, 9)))
    assert sweep.encoder_mm is not None
    return recording_of(sweep, position_mm=-sweep.encoder_mm)


def test_a_repair_is_offered_once_each_and_only_a_yes_is_written_down(tmp_path):
    job = Job.create(tmp_path / "saw")
    recording = a_turned_encoder()
    repairs = findings.find([recording]).repairs
    assert {repair.key for repair in repairs} == {"encoder turned", "began at the other end"}
    for someone in (Someone(""), Someone("n"), Someone("y", interactive=False)):
        assert not ask(job, repairs, cast(Any, someone), set())
    assert agreed(job) == {}
    yes = Someone("y")
    asked: set[tuple[str, str]] = set()
    assert ask(job, repairs, cast(Any, yes), asked)
    assert len(yes.asked) == 1 and "Shall I" in yes.asked[0]  # the other repair may be needless now
    assert not ask(job, repairs[:1], cast(Any, yes), asked)
    assert agreed(job) == {"0001-used": frozenset({"encoder turned"})}
    assert findings.find([recording], agreed(job)).position_source == "encoder"


def test_a_choice_of_source_is_the_last_one_said_and_unknown_words_are_refused(tmp_path):
    job = Job.create(tmp_path / "saw")
    agree(job, ["0001-used"], "positions from marks")
    agree(job, ["0001-used"], "positions from ends only")
    assert agreed(job) == {"0001-used": frozenset({"positions from ends only"})}
    agree(job, ["0001-used"], "positions from tool")
    assert agreed(job) == {"0001-used": frozenset()}
    with pytest.raises(NotAllowed, match="no repair"):
        agree(job, ["0001-used"], "positions from the stars")
