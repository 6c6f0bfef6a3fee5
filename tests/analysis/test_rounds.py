"""From the record to changes and lifts: shared errors counted once, missing ends carried on."""

from __future__ import annotations

import numpy as np
import pytest

from analysis.carriage import Carriage
from analysis.response import SetUp
from analysis.rounds import Parked, Round, Sweep, Turn, extended, observed, onto, thinned

CARRIAGE = Carriage((-320.0, 320.0), (0.0, 2600.0), 1200.0, 150.0)
ACROSS = SetUp("fixed", x_mm=1100.0)


def sweep(level=0.1, s=None, u=0.001):
    s = np.linspace(510.0, 1690.0, 60) if s is None else s
    return Sweep(ACROSS, s, level + 1e-4 * (s - 1100.0), u**2 * np.eye(len(s)))


def test_a_profile_on_other_stations_keeps_straight_lines_and_refuses_gaps():
    s = np.array([500.0, 520, 540, 900, 920])
    value, covariance, held = onto(sweep(s=s), np.array([510.0, 700.0, 910.0, 1000.0]))
    np.testing.assert_array_equal(held, [True, False, True, False])
    assert value[0] == pytest.approx(0.1 + 1e-4 * (510 - 1100))
    assert covariance[0, 0] == pytest.approx(0.5e-6)


def test_thinning_keeps_the_ends():
    few = thinned(sweep(), 7)
    assert len(few.s_mm) == 7 and few.s_mm[0] == 510.0 and few.s_mm[-1] == 1690.0


def test_ends_that_were_missed_by_a_little_are_carried_on_straight_with_more_doubt():
    whole = extended(sweep(), 500.0, 1700.0)
    assert (whole.s_mm[0], whole.s_mm[-1]) == (500.0, 1700.0)
    assert whole.value[-1] == pytest.approx(0.1 + 1e-4 * 600.0)
    assert whole.covariance[0, 0] > sweep().covariance[0, 0]
    assert np.linalg.eigvalsh(whole.covariance).min() > 0
    assert len(extended(sweep(), 300.0, 1690.0).s_mm) == 60  # too far to guess


def test_a_profile_that_bends_towards_its_end_is_carried_on_with_the_bend_in_its_doubt():
    """By hand: a parabola of 1e-6 mm/mm^2, 40 mm beyond its end; the line falls short by 1e-6 * 40 * (40 + 50)."""
    s = np.arange(500.0, 1001.0, 10.0)
    bent = Sweep(ACROSS, s, 1e-6 * (s - 500.0) ** 2, 1e-10 * np.eye(len(s)))
    whole = extended(bent, 500.0, 1040.0)
    truth, short = 1e-6 * 540.0**2, 1e-6 * 40.0 * 90.0
    assert whole.value[-1] == pytest.approx(truth - 0.5 * short, abs=1e-6)
    assert np.sqrt(whole.covariance[-1, -1]) == pytest.approx(np.hypot(2.0 * short, 0.004), rel=0.01)


def test_two_rounds_share_the_first_sweeps_error():
    turn = Turn(2, 0.1, 0.005)
    rounds = (Round({"a": sweep()}, (turn,)), Round({"a": sweep(0.11)}, (turn,)), Round({"a": sweep(0.12)}))
    lifts, changes = observed(rounds, CARRIAGE)
    n = len(changes.value) // 2
    np.testing.assert_allclose(changes.value, [0.01] * n + [0.02] * n)
    np.testing.assert_array_equal(lifts.bolt, [2, 2])
    np.testing.assert_array_equal(changes.caused_by, [[1, 0]] * n + [[1, 1]] * n)
    assert changes.covariance[0, n] == pytest.approx(1e-6 + 0.0015**2 + 0.0007**2)
    assert changes.covariance[0, 0] == pytest.approx(2 * changes.covariance[0, n])


def test_what_a_machine_did_between_two_visits_is_no_bolts_doing():
    turn = Turn(2, 0.1, 0.01)
    rounds = (Round({"a": sweep()}, (turn,)), Round({"a": sweep(0.11)}), Round({"a": sweep(0.4)}, visit=2))
    _, changes = observed(rounds, CARRIAGE)
    np.testing.assert_allclose(changes.value, 0.01)


def test_a_parked_turn_is_a_change_of_its_own():
    turn = Turn(1, 0.1, 0.05, Parked(ACROSS, 800.0, 0.04, 0.002))
    lifts, changes = observed((Round({"a": sweep()}, (turn,)),), CARRIAGE)
    assert (changes.value[0], changes.caused_by[0, 0]) == (pytest.approx(0.04), 1.0)
    assert changes.covariance[0, 0] == pytest.approx(4e-6)
    np.testing.assert_allclose(changes.weights[0], [1.0, 300.0, 150.0])
    assert len(lifts.bolt) == 1


def test_the_display_before_a_turn_tells_what_the_turns_before_it_did_there():
    """By hand: the sweep says 0.07 at 800; before the second bolt the display shows 0.09 there, after it 0.12."""
    first = Turn(1, 0.1, 0.05, Parked(ACROSS, 1400.0, 0.05, 0.002, before=0.13))
    second = Turn(4, 0.1, 0.05, Parked(ACROSS, 800.0, 0.03, 0.002, before=0.09))
    _, changes = observed((Round({"a": sweep()}, (first, second)),), CARRIAGE)
    np.testing.assert_allclose(changes.value, [0.05, 0.0, 0.03, 0.02], atol=1e-12)
    np.testing.assert_array_equal(changes.caused_by, [[1, 0], [0, 0], [0, 1], [1, 0]])
    np.testing.assert_array_equal(changes.before, [[0, 0], [0, 0], [1, 0], [0, 0]])


def test_an_indicator_touched_after_the_sweep_spoils_no_more_than_its_first_reading():
    """Knocked by 0.03 before the first turn: what the two before-readings differ by is as good as without."""
    turns = [
        Turn(1, 0.1, 0.05, Parked(ACROSS, 1400.0, 0.05, 0.002, before=0.13 + 0.03)),
        Turn(4, 0.1, 0.05, Parked(ACROSS, 800.0, 0.03, 0.002, before=0.09 + 0.03)),
    ]
    _, changes = observed((Round({"a": sweep()}, tuple(turns)),), CARRIAGE)
    apart = np.array([0.0, -1.0, 0.0, 1.0])
    assert apart @ changes.value == pytest.approx(0.02)
    assert np.sqrt(apart @ changes.covariance @ apart) < 0.005 < 0.05 < np.sqrt(changes.covariance[1, 1])


def test_where_the_zero_is_not_known_or_nothing_was_swept_a_parked_turn_is_all_there_is():
    turns = (Turn(1, 0.1, 0.05, Parked(ACROSS, 800.0, 0.04, 0.002)), Turn(2, 0.1, 0.05))
    _, changes = observed((Round({"a": sweep()}, turns),), CARRIAGE)
    assert len(changes.value) == 1
    told = (Turn(1, 0.1, 0.05, Parked(ACROSS, 800.0, 0.04, 0.002, before=0.1)),)
    _, changes = observed((Round({}, told),), CARRIAGE)
    assert len(changes.value) == 1
