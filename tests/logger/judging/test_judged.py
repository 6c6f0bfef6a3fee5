"""From a recording to findings: signs, seen stretches, verdicts and warnings, on sweeps whose truth is known."""

from __future__ import annotations

import json

import numpy as np
import pytest

from fixtures.sweeps import Indicator, Layout, rough_rail, simulate, straight_rail
from logger import findings
from logger.errors import NotAllowed, NotUnderstood
from tests.logger.stand_in import machine_for, recording_of

CARRIED = Layout()
FIXED = Layout(kind="fixed")
OVER_AN_OPENING = Layout(table_mm=(700.0, 1500.0), openings_mm=((1010.0, 1090.0),))
STATIONS = tuple(np.linspace(0.0, 2600.0, 9).tolist())


def found(layout: Layout, seed: int = 1, **how):
    """(findings, the sweep they were made from)."""
    how.setdefault("encoder_step_mm", 0.25)
    sweep = simulate(seed, layout=layout, **how)
    return findings.find([recording_of(sweep, layout)]), sweep


@pytest.mark.parametrize("layout", [CARRIED, FIXED, OVER_AN_OPENING], ids=["carried", "fixed", "opening"])
@pytest.mark.parametrize("says_no_value", [True, False], ids=["no value lines", "free rest"])
def test_heights_come_out_with_the_right_sign_and_place_in_every_set_up(layout, says_no_value):
    result, sweep = found(layout, says_no_value=says_no_value)
    truth = sweep.true_height(result.profile.x_mm)
    assert result.position_source == "encoder"
    assert np.std(result.profile.value - truth) < 0.003
    assert np.mean(np.abs(result.profile.value - truth) <= result.profile.uncertainty) > 0.85


@pytest.mark.parametrize("sense", ["normal", "reversed"])
def test_a_switched_sign_in_the_set_up_is_taken_out_again(sense):
    result, sweep = found(Layout(kind="fixed", sense=sense))
    assert np.corrcoef(result.profile.value, sweep.true_height(result.profile.x_mm))[0, 1] > 0.99


def test_a_position_on_the_value_lines_only_loses_nothing_at_the_ends():
    # The lines that say "no value" carry no position: the motion begins only at the first reading.
    sweep = simulate(3, layout=FIXED, encoder_step_mm=0.25)
    silent = np.full(len(sweep.no_value_t_s), np.nan)
    result = findings.find([recording_of(sweep, FIXED, no_value_position_mm=silent)])
    low, high = sweep.true_windows[0]
    assert result.profile.x_mm[0] <= low + 10.0
    assert result.profile.x_mm[-1] >= high - 10.0
    assert not any("only" in warning for warning in result.warnings)


def test_nothing_is_shown_over_an_opening():
    result, sweep = found(OVER_AN_OPENING)
    inside = [any(low <= x <= high for low, high in sweep.true_windows) for x in result.profile.x_mm]
    assert all(inside)
    assert any("760 to 840" in text for text in result.not_seen)


def test_a_straight_rail_at_the_right_height_is_inside():
    result, _ = found(FIXED, rail=straight_rail())
    assert result.verdict.word == "inside"
    assert result.spots == ()


def test_half_a_sweep_of_a_straight_rail_is_not_called_inside():
    sweep = simulate(1, rail=straight_rail(), layout=FIXED, encoder_step_mm=0.25)
    early = sweep.true_position_mm < 1100.0
    assert sweep.encoder_mm is not None
    cut = recording_of(
        sweep, FIXED, t_s=sweep.t_s[early], value=sweep.value[early], position_mm=sweep.encoder_mm[early],
        no_value_t_s=np.zeros(0), no_value_position_mm=np.zeros(0), index_t_s=np.zeros(0),
        index_position_mm=np.zeros(0),
    )  # fmt: skip
    result = findings.find([cut])
    assert result.verdict.word == "cannot tell"
    assert "could be seen" in result.verdict.reason
    assert any("to 2600 mm" in text for text in result.not_seen)


def test_a_rough_rail_is_outside_and_its_worst_spot_is_where_it_is():
    result, sweep = found(FIXED, rail=rough_rail(5, 0.3))
    assert result.verdict.word == "outside"
    x = result.profile.x_mm
    truth = sweep.true_height(x)
    away = truth - np.polyval(np.polyfit(x, truth, 1), x)
    assert abs(result.spots[0].x_mm - x[np.argmax(np.abs(away))]) < 60.0


def test_a_zero_that_is_not_known_leaves_the_mean_unknown():
    sweep = simulate(1, layout=FIXED, encoder_step_mm=0.25)
    result = findings.find([recording_of(sweep, FIXED, machine=machine_for(FIXED, zero="null"))])
    assert result.extremes.mean is None
    assert any("zero" in text for text in result.not_seen)


def test_weak_evidence_is_named():
    result, _ = found(FIXED, encoder_step_mm=None)
    assert result.position_source == "ends only"
    assert any("weak evidence" in warning for warning in result.warnings)


def test_marks_beat_the_ends_of_motion():
    errors = {}
    for name, stations in (("marks", STATIONS), ("ends only", ())):
        result, sweep = found(CARRIED, 4, encoder_step_mm=None, stations_mm=stations)
        assert result.position_source == name
        errors[name] = np.std(result.profile.value - sweep.true_height(result.profile.x_mm))
    assert errors["marks"] < errors["ends only"]


def test_an_encoder_that_counts_the_wrong_way_is_left_out_unless_agreed():
    sweep = simulate(1, layout=CARRIED, encoder_step_mm=0.25, stations_mm=STATIONS)
    assert sweep.encoder_mm is not None
    turned = recording_of(sweep, CARRIED, position_mm=-sweep.encoder_mm)
    refused = findings.find([turned])
    assert refused.position_source == "marks"
    assert any("wrong way" in warning for warning in refused.warnings)
    assert findings.find([turned], accept=["encoder turned"]).position_source == "encoder"


def test_two_sweeps_are_worth_more_than_one():
    sweeps = [recording_of(simulate(1, rail=rough_rail(1), layout=FIXED, encoder_step_mm=None, stations_mm=STATIONS),
                           FIXED)]  # fmt: skip
    sweeps.append(
        recording_of(
            simulate(2, rail=rough_rail(1), layout=FIXED, encoder_step_mm=None, stations_mm=STATIONS),
            FIXED, name="0002-used",
        )
    )  # fmt: skip
    one, two = findings.find(sweeps[:1]), findings.find(sweeps)
    assert np.median(two.profile.parts["position"]) < np.median(one.profile.parts["position"])


def test_json_has_no_nan_and_the_keys_scripts_read():
    result, _ = found(OVER_AN_OPENING, indicator=Indicator(resolution_mm=0.01))
    said = json.loads(json.dumps(findings.as_json(result), allow_nan=False))
    assert {"x_mm", "height_mm", "uncertainty_mm"} == set(said["profile"])
    assert {"peak_to_valley_mm", "mean_mm", "straightness", "spots", "verdict", "not_seen", "warnings"} <= set(said)
    assert said["straightness"]["minimum_zone_mm"] <= said["straightness"]["STRt_mm"]


def test_sweeps_of_two_set_ups_are_not_mixed():
    sweep = simulate(1, layout=FIXED, encoder_step_mm=0.25)
    with pytest.raises(NotAllowed, match="2 set-ups"):
        findings.find([recording_of(sweep, FIXED), recording_of(sweep, FIXED, set_up="other")])


def test_a_recording_without_a_number_is_refused_in_words():
    sweep = simulate(1, layout=FIXED, encoder_step_mm=0.25)
    with pytest.raises(NotUnderstood, match="none of them is a number"):
        findings.find([recording_of(sweep, FIXED, value=np.full(len(sweep.t_s), np.nan))])
