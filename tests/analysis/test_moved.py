"""Facts about the quick check: noise is no change, a change is found, and only what explains it is named.

Derived; chi-squared 1 % points as in any table (24 places: 42.98).
"""

import numpy as np
import pytest
from scipy.special import chdtri

from analysis.moved import causes, difference, joined, noticed_from, stands_out

X = np.linspace(0.0, 2400.0, 25)
QUIET = np.eye(25) * 0.002**2


def compare(change, rng=None):
    noise = rng.normal(0.0, 0.002, (2, 25)) if rng is not None else np.zeros((2, 25))
    return difference(X, noise[0], QUIET, X, change + noise[1], QUIET, 0.0)


def hump(at, x=X):
    return np.exp(-0.5 * ((x - at) / 350.0) ** 2)


def test_the_one_per_cent_point_is_that_of_the_table():
    assert chdtri(24, 0.01) == pytest.approx(42.98, abs=0.005)


def test_two_sweeps_of_one_machine_are_called_a_change_about_once_in_a_hundred():
    rng = np.random.default_rng(2)
    called = sum(compare(np.zeros(25), rng).moved for _ in range(300))
    assert called <= 10
    naive = sum(float(np.abs(compare(np.zeros(25), rng).change).max()) > 2 * 0.0028 for _ in range(60))
    assert naive > 30, "the largest of many differences is beyond two of its deviations more often than not"


def test_the_size_of_a_change_is_not_the_largest_of_the_noise():
    rng = np.random.default_rng(6)
    found = [compare(-0.03 * hump(800.0), rng) for _ in range(100)]
    inside = sum(abs(each.size - 0.03) <= each.size_uncertainty for each in found)
    assert inside >= 90
    still = [compare(np.zeros(25), rng) for _ in range(50)]
    assert np.mean([each.size for each in still]) < np.mean([abs(each.change).max() for each in still])


def test_a_bolt_that_sank_is_found_where_it_is_and_told_apart_from_its_neighbours():
    found = compare(-0.03 * hump(800.0), np.random.default_rng(7))
    assert found.moved
    assert found.largest == pytest.approx(-0.03, abs=0.008)
    columns = {f"B{i + 1}": 0.6 * hump(at, found.x_mm) for i, at in enumerate((0.0, 800.0, 1600.0, 2400.0))}
    first, *rest = causes(found, columns)
    assert (first.name, first.explains) == ("B2", True)
    assert first.amount == pytest.approx(-0.05, abs=0.01)
    assert first.share > 0.9 > rest[0].share
    assert not rest[0].explains


def test_a_shift_of_everything_is_the_indicators_zero_and_no_bolt():
    found = compare(np.full(25, 0.02), np.random.default_rng(5))
    columns = {"B2": 0.6 * hump(800.0, found.x_mm), "zero": np.ones(24), "tilt": (found.x_mm - 1200.0) / 1000.0}
    best = causes(found, columns)[0]
    assert (best.name, best.explains) == ("zero", True)


def test_two_bolts_that_moved_are_no_single_cause():
    found = compare(0.04 * hump(200.0) - 0.04 * hump(2200.0), np.random.default_rng(1))
    columns = {f"B{i}": hump(at, found.x_mm) for i, at in enumerate((0.0, 800.0, 1600.0, 2400.0))}
    assert not any(cause.explains for cause in causes(found, columns, doubt=0.1))


def test_sweeps_that_share_no_stretch_cannot_be_compared():
    with pytest.raises(ValueError, match="share 0 places"):
        difference(X, X * 0, QUIET, X + 9000.0, X * 0, QUIET, 0.0)


def test_correlated_errors_are_not_taken_for_many_independent_ones():
    common = QUIET + 0.02**2  # a zero that was set anew: the same at every place
    found = difference(X, np.zeros(25), common, X, np.full(25, 0.03), common, 0.0)
    assert not found.moved


COLUMNS = {f"B{i + 1}": 0.6 * hump(at) for i, at in enumerate((0.0, 800.0, 1600.0, 2400.0))}


def at_places(found):
    return {name: np.interp(found.x_mm, X, column) for name, column in COLUMNS.items()}


def test_a_small_change_drowns_in_all_places_together_and_stands_out_along_its_own_column():
    rng = np.random.default_rng(11)
    naive, ours = 0, 0
    for _ in range(60):
        found = compare(-0.005 * hump(800.0), rng)
        naive += found.moved
        ours += stands_out(causes(found, at_places(found)))
    assert naive + 10 < ours
    assert ours > 45


def test_along_its_own_column_noise_stands_out_less_than_once_in_a_hundred():
    rng = np.random.default_rng(12)
    still = [compare(np.zeros(25), rng) for _ in range(400)]
    assert sum(stands_out(causes(found, at_places(found))) for found in still) <= 6


def test_how_little_of_a_cause_is_noticed():
    # By hand: 24 places of one deviation s, a column of ones: its amount is known to s / sqrt(24). Four causes share
    # half of 1 %: 3.227 deviations on two sides (0.0025 / 4 on one); noticed 19 times in 20 takes 1.645 more.
    found = compare(np.zeros(25))
    columns = {"zero": np.ones(24), **{f"other {i}": np.ones(24) for i in range(3)}}
    s = 0.002 * np.sqrt(2.0)
    at_ends = noticed_from(found, columns)["zero"]
    assert at_ends == pytest.approx((3.227 + 1.645) * s / np.sqrt(24), rel=0.01)
    assert noticed_from(found, {"nothing": np.zeros(24)})["nothing"] == np.inf


def test_two_set_ups_together_know_an_amount_better_than_one():
    one, other = compare(-0.02 * hump(800.0)), compare(-0.01 * hump(800.0))
    both = joined([one, other])
    column = np.concatenate([hump(800.0, one.x_mm), 0.5 * hump(800.0, other.x_mm)])
    (found,) = causes(both, {"B2": column})
    (alone,) = causes(one, {"B2": hump(800.0, one.x_mm)})
    assert found.amount == pytest.approx(-0.02, abs=1e-6)
    assert found.uncertainty < alone.uncertainty
