"""Turning until a display shows its target: where the hand stops, and what it stops at."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from analysis.chebyshev import Group
from analysis.guided import MOST_mm, begun_targets, optimise_targets, outcome_of, play, reach_mm, targets_for
from analysis.situation import Errors, Situation


def one_bolt(gains):
    """One row, one bolt; one draw for each of ``gains`` (mm of the display per mm of thread)."""
    response = np.asarray(gains, float)[:, None, None]
    situation = Situation(
        np.array([0.0]), 1e-12 * np.eye(1), response, (Group("across", np.array([0]), 0.05),), np.array([0]),
        np.array([-1.5]), np.array([1.5]), np.array([0.01]),
    )  # fmt: skip
    still = np.zeros((len(gains), 1))
    return situation, Errors(value=still.copy(), hand=still.copy(), lock_nut_mm=still.copy())


def test_a_hand_stops_where_the_display_shows_the_target_however_far_that_is():
    """0.08 mm shown: 0.1 mm of thread where the display follows by 0.8, 0.2 mm where by 0.4."""
    situation, errors = one_bolt([0.8, 0.4])
    played = play(situation, errors, ((0, 0),), np.array([0.08]))
    assert played.lifts_mm[:, 0] == pytest.approx([0.1, 0.2])
    assert played.value[:, 0] == pytest.approx([0.08, 0.08])


def test_a_bolt_that_hardly_moves_the_display_is_stopped_at_the_most_that_was_said():
    """Said 0.1 mm on the mean of 0.41: at most 0.4 mm; where the display follows by 0.02 alone it would be 2 mm."""
    situation, errors = one_bolt([0.8, 0.02])
    targets = targets_for(situation.middle_value, situation.response.mean(axis=0), ((0, 0),), np.array([0.1]))
    free = play(situation, errors, ((0, 0),), targets)
    assert free.lifts_mm[1, 0] == pytest.approx(2.05)
    outcome, _ = outcome_of(situation, errors, ((0, 0),), targets)
    assert outcome.lift_mm[1, 0] == pytest.approx(reach_mm(0.1)) == pytest.approx(0.4)


@pytest.mark.parametrize("said_mm", [0.0, 0.02, 0.3, 0.6, 1.2, 1.5, 2.0])
def test_no_hand_is_sent_further_than_bolts_are_turned_at_all_unless_that_was_said(said_mm):
    """Three times 1.2 mm and a tenth would be 3.7 mm of thread under a rail that was true once."""
    assert abs(said_mm) <= reach_mm(said_mm) <= max(MOST_mm, said_mm)
    assert reach_mm(-said_mm) == reach_mm(said_mm)


def test_no_target_is_set_beyond_what_is_left_of_the_thread():
    """Two stations 0.4 mm apart, one bolt that raises the lower one by 0.8 mm a millimetre: 0.5 mm would make them
    level; 0.2 mm of thread are left. Steps down the loss alone went on to where they end.
    """
    situation, _ = one_bolt([0.8] * 40)
    response = np.stack([np.full((40, 1), 0.8), np.zeros((40, 1))], axis=1)
    apart = replace(
        situation, value=np.array([0.0, 0.4]), covariance=1e-12 * np.eye(2), response=response,
        groups=(Group("across", np.arange(2), 0.05),), highest_mm=np.array([0.2]),
    )  # fmt: skip
    errors = Errors(value=np.tile(apart.value, (40, 1)), hand=np.zeros((40, 1)), lock_nut_mm=np.zeros((40, 1)))
    begun = begun_targets(apart, errors, ((0, 0),), np.array([0.1]))
    found = optimise_targets(apart, errors, ((0, 0),), begun)
    assert 0.15 < found.steps[0].lift_mm <= 0.2 + 1e-6
    free = replace(apart, highest_mm=np.array([1.5]))
    assert optimise_targets(free, errors, ((0, 0),), begun).steps[0].lift_mm > 0.3
