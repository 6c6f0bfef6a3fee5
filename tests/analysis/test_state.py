"""The state from several set-ups: what one stand cannot see, two can."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from analysis.carriage import Carriage, bearing_positions, state_on_rail
from analysis.level import OnTable
from analysis.response import SetUp, Table, place_weights, reading_weights, seen_by_geometry
from analysis.rounds import Sweep
from analysis.state import Earlier, doubt_with, estimate_shape, place_rows, table_denied, tilt_over_stroke

CARRIAGE = Carriage((-320.0, 320.0), (0.0, 2600.0), 1200.0, 150.0)
TABLE = Table(700.0, 1500.0)
STROKE = np.linspace(0.0, 2600.0, 131)


def true_state(s):
    at = bearing_positions(CARRIAGE, s)
    height = 0.1 + 1.2e-4 * (at - 1300.0) + 0.04 * np.sin(at / 420.0)
    return state_on_rail(CARRIAGE, s, height[..., None], (1e-4 * np.cos(at / 700.0))[..., None])[..., 0]


def swept(set_up, u=0.001):
    s = STROKE[seen_by_geometry(set_up, CARRIAGE, TABLE, STROKE)]
    value = np.einsum("sq,sq->s", reading_weights(set_up, CARRIAGE, s), true_state(s))
    return Sweep(set_up, s, value, u**2 * np.eye(len(s)))


BLADE, SPINDLE = SetUp("fixed", x_mm=1000.0), SetUp("fixed", x_mm=1450.0)
LEVELS = [SetUp("level", axis="pitch"), SetUp("level", axis="roll")]


def test_one_fixed_stand_does_not_know_the_tilt_of_the_rail_and_says_so():
    _, doubt = tilt_over_stroke(estimate_shape(CARRIAGE, [swept(BLADE)]))
    assert doubt > 0.03  # mm/m, against the 0.12 that is there


def test_two_stands_and_levels_know_it():
    sweeps = [swept(BLADE), swept(SPINDLE), swept(LEVELS[0], 0.005), swept(LEVELS[1], 0.005)]
    shape = estimate_shape(CARRIAGE, sweeps, table_mapped=True)
    tilt, doubt = tilt_over_stroke(shape)
    truth = 1000.0 * np.polyfit(STROKE, true_state(STROKE)[:, 0], 1)[0]
    assert doubt < 0.02
    assert abs(tilt - truth) < 2.0 * doubt + 0.005


def test_a_place_is_heave_plus_lever_plus_arm_and_inside_its_doubt():
    sweeps = [swept(BLADE), swept(SPINDLE), swept(LEVELS[0], 0.005), swept(LEVELS[1], 0.005)]
    s, value, covariance = place_rows(estimate_shape(CARRIAGE, sweeps), 1450.0, 250.0)
    truth = np.einsum("sq,sq->s", place_weights(1450.0, 250.0, s), true_state(s))
    off = (value - truth) - np.mean(value - truth)
    assert np.abs(off).max() < 3.0 * np.sqrt(np.diag(covariance)).max()
    assert np.ptp(off) < 0.02


def test_more_set_ups_never_leave_more_doubt_and_a_second_stand_takes_much_of_it():
    seen = {
        name: (set_up, STROKE[seen_by_geometry(set_up, CARRIAGE, TABLE, STROKE)])
        for name, set_up in (("blade", BLADE), ("spindle", SPINDLE), ("pitch", LEVELS[0]), ("roll", LEVELS[1]))
    }
    names = list(seen)
    doubts = [doubt_with(CARRIAGE, {name: seen[name] for name in names[:count]}) for count in (1, 2, 3, 4)]
    assert doubts == sorted(doubts, reverse=True)
    assert doubts[3] < 0.7 * doubts[0]


def test_two_stands_on_a_table_nobody_mapped_tell_the_tilt_no_better_than_the_table_between_their_feet():
    """Two feet 350 mm apart on a cast table 8 um (k = 1) off its plane: a slope of 8 um * 1.1 / 0.35 m or so."""
    sweeps = [swept(BLADE), swept(SPINDLE), swept(LEVELS[0], 0.005), swept(LEVELS[1], 0.005)]
    _, doubt = tilt_over_stroke(estimate_shape(CARRIAGE, sweeps))
    _, mapped = tilt_over_stroke(estimate_shape(CARRIAGE, sweeps, table_mapped=True))
    assert mapped < 0.7 * doubt and 0.018 < doubt < 0.035


def in_a_round(number, bend_mm=0.0, level_zero=0.2, own=0.0015, noise=0.001):
    """Two stands and two levels over the same surface, bent by the bolts since; zeros of the stands by luck."""
    rng = np.random.default_rng(number)
    sweeps = []
    for set_up in (BLADE, SPINDLE, *LEVELS):
        s = STROKE[seen_by_geometry(set_up, CARRIAGE, TABLE, STROKE)][:: 1 if set_up.kind == "fixed" else 10]
        at = bearing_positions(CARRIAGE, s)
        bend = bend_mm * np.sin(at / 600.0 + 0.4)
        state = true_state(s) + state_on_rail(CARRIAGE, s, bend[..., None], np.zeros((*at.shape, 1)))[..., 0]
        value = np.einsum("sq,sq->s", reading_weights(set_up, CARRIAGE, s), state)
        level = set_up.kind == "level"
        value = value + (level_zero if level else rng.normal(0.0, own)) + rng.normal(0.0, noise, len(s))
        sweeps.append(Sweep(set_up, s, value, noise**2 * np.eye(len(s))))
    return sweeps


TRUE_TILT = 1000.0 * np.polyfit(STROKE, true_state(STROKE)[:, 0], 1)[0]


def test_rounds_before_the_turns_tell_the_level_s_zero_and_so_the_tilt_though_the_rail_was_bent_since():
    """The zeros of two stands 450 mm apart are set anew each round, the level's stays: the mean of three is better."""
    earlier = [Earlier(in_a_round(number, bend_mm=0.15)) for number in (2, 3)]
    alone = estimate_shape(CARRIAGE, in_a_round(1), table_mapped=True)
    joint = estimate_shape(CARRIAGE, in_a_round(1), table_mapped=True, earlier=earlier)
    (_, doubt), (tilt, less) = tilt_over_stroke(alone), tilt_over_stroke(joint)
    assert less < 0.85 * doubt
    assert abs(tilt - TRUE_TILT) < 2.5 * less


def test_the_same_state_swept_again_tells_of_all_of_it():
    joint = estimate_shape(CARRIAGE, in_a_round(1), True, [Earlier(in_a_round(2), turned=False)])
    _, _, twice = place_rows(joint, 1450.0, 250.0)
    _, _, once = place_rows(estimate_shape(CARRIAGE, in_a_round(1), True), 1450.0, 250.0)
    assert np.trace(twice) < np.trace(once)


def test_a_level_that_was_set_to_zero_again_does_not_pull_the_tilt():
    """0.1 mm/m is 0.26 mm over this stroke: taken for the same zero it would be halved into the rail."""
    other = [Earlier(in_a_round(2, level_zero=0.3))]
    tilt, doubt = tilt_over_stroke(estimate_shape(CARRIAGE, in_a_round(1), True, other))
    assert abs(tilt - TRUE_TILT) < 2.5 * doubt
    assert tilt == tilt_over_stroke(estimate_shape(CARRIAGE, in_a_round(1), True))[0]


def laid(sweeps, slope, u=0.005):
    """The pitch level was laid along the table first, and showed this."""
    return [replace(each, on_table=OnTable(slope, u)) if each.set_up == LEVELS[0] else each for each in sweeps]


def test_a_level_that_lay_on_the_table_tells_the_tilt_that_two_stands_hardly_see():
    """Two feet 450 mm apart on a cast table 8 um (k = 1) off its plane: 0.02 mm/m and more. A level that showed its 0.2
    mm/m there to 0.004, set down on the carriage to 0.005: sqrt(0.004^2 + 0.005^2) is 0.0064.
    """
    sweeps = in_a_round(1)
    _, doubt = tilt_over_stroke(estimate_shape(CARRIAGE, sweeps))
    tilt, less = tilt_over_stroke(estimate_shape(CARRIAGE, laid(sweeps, 0.2, 0.004)))
    assert doubt > 0.018
    assert 0.005 < less < 0.0065
    assert abs(tilt - TRUE_TILT) < 2.5 * less


def test_what_a_level_cannot_have_shown_on_the_table_is_denied_and_not_used():
    """A foot screwed by 0.3 mm a metre since: believed, the carriage would rise 0.78 mm over its stroke."""
    sweeps = in_a_round(1)
    assert table_denied(CARRIAGE, laid(sweeps, 0.2), table_mapped=True) is None
    denied = table_denied(CARRIAGE, laid(sweeps, 0.5), table_mapped=True)
    assert denied is not None
    seen, said = denied
    assert (said, abs(seen - 0.2) < 0.03) == (0.5, True)
    wrong = estimate_shape(CARRIAGE, laid(sweeps, 0.5), True, [Earlier(laid(in_a_round(2, bend_mm=0.1), 0.5))])
    right = estimate_shape(CARRIAGE, sweeps, True, [Earlier(in_a_round(2, bend_mm=0.1))])
    assert tilt_over_stroke(wrong) == tilt_over_stroke(right)


def test_the_error_of_the_table_s_map_does_not_average_out_over_rounds():
    """Two feet on a map known to 4 um: 4 um * sqrt(2) / 0.45 m of tilt stay, however often it is swept."""
    u = 0.004

    def with_map(number):
        return [
            Sweep(each.set_up, each.s_mm, each.value, each.covariance + u**2 * (each.set_up.kind == "fixed"))
            for each in in_a_round(number)
        ]

    earlier = [Earlier(with_map(number)) for number in (2, 3, 4)]
    _, doubt = tilt_over_stroke(estimate_shape(CARRIAGE, with_map(1), True, earlier, map_mm=u))
    _, forgotten = tilt_over_stroke(estimate_shape(CARRIAGE, with_map(1), True, earlier))
    assert forgotten < 0.8 * u * np.sqrt(2.0) / 0.45 < doubt
