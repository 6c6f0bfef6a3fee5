"""Facts about a correction learned from its own first try. Derived: a normal mean with a normal prior."""

import math

import pytest

from analysis.follow import PRIOR_SHARE, PRIOR_SPREAD, Trial, share_of


def trial(before, after, corrected, u=0.01):
    return Trial(before, u, after, u, corrected)


def test_nothing_tried_is_the_prior():
    assert share_of([]).share == pytest.approx(PRIOR_SHARE)
    assert not share_of([]).held


def test_a_clear_first_try_is_believed_and_the_next_move_is_scaled_by_it():
    found = share_of([trial(1.0, 0.6, 1.0)])
    assert found.share == pytest.approx(0.41, abs=0.02)
    assert 0.6 * found.factor == pytest.approx(1.46, abs=0.08), "the rest wants more than its own size"


def test_the_posterior_is_the_normal_one():
    spread = math.hypot(math.hypot(0.1, 0.1) / 2.0, 0.05)
    weight = 1.0 / PRIOR_SPREAD**2 + 1.0 / spread**2
    found = share_of([trial(1.0, 0.2, 1.0, u=0.1)])
    assert found.share == pytest.approx((PRIOR_SHARE / PRIOR_SPREAD**2 + 0.8 / spread**2) / weight)
    assert found.standard_uncertainty == pytest.approx(math.sqrt(1.0 / weight))


def test_a_try_too_small_to_be_measured_says_little():
    assert share_of([trial(0.02, 0.0, 0.02, u=0.05)]).share == pytest.approx(PRIOR_SHARE, abs=0.1)
    assert share_of([trial(0.02, 0.02, 0.0)]).trials == 0


def test_a_body_that_hardly_follows_is_held_by_something():
    assert share_of([trial(1.0, 0.98, 1.0), trial(0.98, 0.95, 1.0)]).held


def test_two_rounds_where_repeating_the_whole_move_takes_six():
    """A body that follows by 0.35: the computed move again and again, against the learned one."""
    usual = learned = 1.0
    rounds = {"usual": 0, "learned": 0}
    while abs(usual) > 0.1:
        usual, rounds["usual"] = usual - 0.35 * usual, rounds["usual"] + 1
    trials: list[Trial] = []
    while abs(learned) > 0.1:
        move = learned * (share_of(trials).factor if trials else 1.0)
        after = learned - 0.35 * move
        trials.append(trial(learned, after, move))
        learned, rounds["learned"] = after, rounds["learned"] + 1
    assert rounds["learned"] <= 2 < rounds["usual"]
