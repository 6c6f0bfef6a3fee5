"""From a recording to findings and their JSON: signs, geometry, weak evidence, hostile data."""

import json
from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from fixtures.sweeps import Indicator, Layout, rough_rail, simulate
from logger.errors import NotAllowed, TruestrokeError
from logger.findings import as_json, find, lines, positions
from logger.judging.judged import TABLE_MM
from tests.logger.stand_in import machine_for, recording_of

FIVE = (0.0, 650.0, 1300.0, 1950.0, 2600.0)
CARRIED = Layout(kind="carried", table_mm=(700.0, 1500.0), openings_mm=((1010.0, 1090.0),))
FIXED = Layout(kind="fixed")
QUIET = Indicator(noise_mm=0.0005, direction_offset_mm=0.001, play_mm=0.0005)


def swept(layout=FIXED, seed=3, **more):
    more.setdefault("encoder_step_mm", 0.1)
    sweep = simulate(seed, rail=rough_rail(seed, 0.04), layout=layout, indicator=QUIET, **more)
    return sweep, recording_of(sweep, layout)


@pytest.mark.parametrize("sense", ["normal", "reversed"])
@pytest.mark.parametrize("kind", ["fixed", "carried"])
@pytest.mark.parametrize("zero", [0.0, 0.35])
def test_heights_have_the_right_sign_and_zero_through_the_whole_chain(kind, sense, zero):
    layout = Layout(kind=kind, sense=sense, zero_mm=zero)
    sweep, recording = swept(layout)
    found = find([recording])
    truth = sweep.true_height(found.profile.x_mm)
    assert found.profile.value == pytest.approx(truth, abs=0.004)
    assert found.extremes.mean == pytest.approx(truth.mean(), abs=0.003)


def test_the_fixed_indicator_sees_its_own_stretch_only():
    _, recording = swept(FIXED)
    x = find([recording]).profile.x_mm
    assert x.min() >= 500 and x.max() <= 1700 and x.min() <= 520 and x.max() >= 1680


def test_nothing_is_shown_over_the_opening():
    for says_no_value in (True, False):
        _, recording = swept(CARRIED, says_no_value=says_no_value)
        found = find([recording])
        x = found.profile.x_mm
        assert not np.any((x > 760) & (x < 840))
        assert x.min() >= 450 and x.max() <= 1250
        assert any("760" in text and "840" in text for text in found.not_seen)


def test_a_table_nobody_mapped_is_no_noise_that_could_be_taken_off_but_hides_some_of_the_peak_to_valley():
    """Readings are taken for noisy and a part of what noise adds comes off. A table's form is not in them by luck: over
    whatever form it has, readings that were made flat are flatter than the carriage runs.
    """
    sweep, recording = swept(CARRIED)
    found = find([recording])
    machine = machine_for(CARRIED)
    table = machine.table.model_copy(update={"map": (SimpleNamespace(y_mm=0.0, points=((700, 0, 0), (1500, 0, 0))),)})
    known = find([recording_of(sweep, CARRIED, machine=machine.model_copy(update={"table": table}))])
    assert np.ptp(found.profile.value) <= found.extremes.peak_to_valley <= np.ptp(found.profile.value) + 2 * TABLE_MM
    assert known.extremes.peak_to_valley <= found.extremes.peak_to_valley
    assert found.extremes.peak_to_valley_uncertainty > 2.0 * known.extremes.peak_to_valley_uncertainty
    assert any("0.016 mm" in text and "may hide" in text for text in found.not_seen)


def test_marks_encoder_strips_and_nothing_are_named():
    assert find([swept()[1]]).position_source == "encoder"
    assert find([swept(encoder_step_mm=None, stations_mm=FIVE)[1]]).position_source == "marks"
    bare = find([swept(encoder_step_mm=None)[1]])
    assert bare.position_source == "ends only"
    assert any("weak evidence" in text for text in bare.warnings)


def test_weaker_evidence_has_wider_uncertainty():
    wide = Layout()
    medians = [
        float(np.median(find([swept(wide, encoder_step_mm=step, stations_mm=stations)[1]]).profile.parts["position"]))
        for step, stations in ((0.1, ()), (None, FIVE), (None, ()))
    ]
    assert medians[0] < 0.5 * medians[1] < medians[2]


def test_several_sweeps_of_one_state_combine():
    _sweep, one = swept(Layout(), encoder_step_mm=None, stations_mm=FIVE)
    others = [simulate(k, rail=rough_rail(3, 0.04), indicator=QUIET, stations_mm=FIVE) for k in (31, 32, 33)]
    recordings = [one, *[recording_of(s, Layout(), name=f"000{k}-used") for k, s in enumerate(others, 2)]]
    together = find(recordings)
    assert together.sweeps == ("0001-used", "0002-used", "0003-used", "0004-used")
    assert np.median(together.profile.uncertainty) < np.median(find([one]).profile.uncertainty)


def test_json_is_the_contract_and_has_no_nan():
    answer = as_json(find([swept()[1]]))
    text = json.dumps(answer, allow_nan=False)
    assert json.loads(text) == answer
    assert set(answer["profile"]) == {"x_mm", "height_mm", "uncertainty_mm"}
    assert len({len(values) for values in answer["profile"].values()}) == 1
    for key in ("reference", "STRt_mm", "STRp_mm", "STRv_mm", "STRq_mm", "minimum_zone_mm"):
        assert key in answer["straightness"]
    assert answer["straightness"]["reference"] == "least squares"
    assert answer["straightness"]["minimum_zone_mm"] <= answer["straightness"]["STRt_mm"]
    assert answer["verdict"] in ("inside", "outside", "cannot tell")
    assert all({"kind", "x_mm", "height_mm", "uncertainty_mm"} <= set(spot) for spot in answer["spots"])
    for key in ("peak_to_valley_mm", "mean_mm", "not_seen", "warnings", "places"):
        assert key in answer


def test_without_a_zero_the_mean_is_null_and_the_shape_stands():
    sweep, _ = swept(Layout())
    recording = recording_of(sweep, machine=machine_for(Layout(), zero="null"))
    answer = as_json(find([recording]))
    assert answer["mean_mm"] is None
    assert answer["peak_to_valley_mm"] == pytest.approx(np.ptp(sweep.true_height(np.arange(0, 2601.0))), abs=0.01)


def test_a_level_s_keys_end_in_its_unit():
    layout = replace(Layout(kind="carried"), mean_mm=0.0)
    sweep, _ = swept(layout, stations_mm=tuple(np.linspace(0, 2600, 9)), stops_s=3.0, encoder_step_mm=None)
    level = machine_for(Layout(kind="level"))
    answer = as_json(find([recording_of(sweep, machine=level, unit="mm/m", value=-sweep.value)]))
    assert "peak_to_valley_mm_per_m" in answer and "peak_to_valley_mm" not in answer
    assert set(answer["profile"]) == {"x_mm", "height_mm_per_m", "uncertainty_mm_per_m"}
    assert "STRt_mm_per_m" in answer["straightness"]
    assert answer["position_source"] == "stops"


def test_a_level_pushed_along_is_said():
    sweep, _ = swept(Layout())
    level = machine_for(Layout(kind="level"))
    found = find([recording_of(sweep, machine=level, unit="mm/m")])
    assert any("while it moved" in text for text in found.warnings)


def test_text_for_people_in_both_units():
    found = find([swept()[1]])
    assert any("mm" in line and "Verdict" not in line for line in lines(found))
    assert any("thou" in line for line in lines(found, "in"))


def test_a_switched_sign_is_noticed_off_the_edge():
    sweep, _ = swept(FIXED, says_no_value=False)
    recording = recording_of(sweep, FIXED, value=-sweep.value)
    assert any("sign may be switched" in text for text in find([recording]).warnings)
    assert not any("sign may be switched" in text for text in find([swept(FIXED, says_no_value=False)[1]]).warnings)


def test_an_encoder_that_counts_the_wrong_way_is_left_out_or_turned_with_consent():
    sweep, _ = swept(Layout(), stations_mm=FIVE)
    recording = recording_of(sweep, Layout(), position_mm=-sweep.encoder_mm)
    found = find([recording])
    assert found.position_source == "marks"
    assert any("wrong way" in text for text in found.warnings)
    agreed = find([recording], accept=["encoder turned"])
    assert agreed.position_source == "encoder"


def test_a_late_mark_is_found_by_the_other_passes():
    rail = rough_rail(3, 0.06)
    stations = tuple(np.linspace(0, 2600, 9))
    sweep = simulate(3, rail=rail, indicator=QUIET, stations_mm=stations, passes=3)
    late = sweep.mark_t_s.copy()
    late[4] += 0.9  # 135 mm
    found = find([recording_of(sweep, Layout(), mark_t_s=late)])
    assert any("left out" in text for text in found.warnings)
    truth = sweep.true_height(found.profile.x_mm)
    assert np.std(found.profile.value - truth) < 0.012


def test_a_pass_cut_short_is_said():
    sweep, _ = swept(Layout())
    half = sweep.t_s < sweep.t_s[np.argmax(sweep.true_position_mm > 2590)] + 9.0
    recording = recording_of(
        sweep, Layout(), t_s=sweep.t_s[half], value=sweep.value[half], position_mm=sweep.encoder_mm[half]
    )
    assert any("only" in text or "passes were found" in text for text in find([recording]).warnings)


def test_sweeps_of_two_set_ups_are_refused():
    _, one = swept()
    _, other = swept()
    other.set_up = "other"
    with pytest.raises(NotAllowed, match="2 set-ups"):
        find([one, other])
    with pytest.raises(NotAllowed, match="no sweep"):
        find([])


def test_an_indicator_s_recording_in_a_level_s_set_up_is_refused():
    sweep, _ = swept()
    with pytest.raises(NotAllowed, match="is a level"):
        find([recording_of(sweep, machine=machine_for(Layout(kind="level")))])


def hostile(sweep, **changes):
    return recording_of(sweep, FIXED, **changes)


@pytest.mark.parametrize(
    "cut",
    [
        lambda s: {"t_s": s.t_s[:0], "value": s.value[:0], "position_mm": s.encoder_mm[:0]},
        lambda s: {"t_s": s.t_s[:1], "value": s.value[:1], "position_mm": s.encoder_mm[:1]},
        lambda s: {"value": np.full(len(s.value), np.nan)},
        lambda s: {"t_s": np.zeros(len(s.t_s))},
        lambda s: {"value": np.zeros(len(s.value)), "position_mm": np.full(len(s.value), np.nan)},
        lambda s: {"position_mm": np.full(len(s.value), 1e9)},
    ],
)
def test_what_nothing_can_be_made_of_gets_one_sentence(cut):
    sweep, _ = swept()
    try:
        found = find([hostile(sweep, **cut(sweep))])
    except TruestrokeError as error:
        assert error.what and "Traceback" not in str(error)
    else:
        assert found.warnings


@given(st.integers(0, 2**32 - 1), st.integers(0, 60), st.integers(1, 4), st.booleans())
@settings(max_examples=25, deadline=None, suppress_health_check=[HealthCheck.too_slow])
def test_noise_for_data_never_ends_in_a_traceback(seed, count, passes, with_position):
    rng = np.random.default_rng(seed)
    sweep, _ = swept()
    t = np.sort(rng.uniform(0, 30, count))
    value = np.where(rng.uniform(size=count) < 0.1, np.nan, rng.normal(0, rng.choice([0.0, 1e-3, 1.0, 1e6]), count))
    position = rng.uniform(0, 2600, count) if with_position else np.full(count, np.nan)
    recording = hostile(
        sweep, t_s=t, value=value, position_mm=position, passes=passes, stations_mm=FIVE,
        mark_t_s=np.sort(rng.uniform(0, 30, rng.integers(0, 30))), no_value_t_s=np.zeros(0),
        no_value_position_mm=np.zeros(0),
        index_t_s=np.zeros(0),
        index_position_mm=np.zeros(0),
    )  # fmt: skip
    try:
        json.dumps(as_json(find([recording])), allow_nan=False)
    except TruestrokeError as error:
        assert error.what


def test_positions_of_one_recording_for_the_screen():
    sweep, recording = swept(Layout(), encoder_step_mm=None, stations_mm=FIVE)
    where = positions(recording)
    assert where.source == "marks" and where.direction == (1, -1)
    known = np.isfinite(where.x_mm)
    assert np.median(np.abs(where.x_mm - sweep.true_position_mm)[known]) < 40
    assert np.all(where.pass_index[~known] == -1)
