"""Contact first: where nothing else promises anything, hanging feet are raised until the display begins to follow."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from analysis.contact_plan import plan_in_contact, play_in_contact
from analysis.gaps import Feet
from analysis.resting import Resting
from analysis.situation import draw_errors
from analysis.touch_first import FOLLOWS_mm, touching_steps, with_contact_first
from tests.analysis.test_resting import DRAWS, resting, situation

SPREAD_N = np.linspace(20.0, 380.0, DRAWS)


def unsure():
    """The middle foot hangs in every draw, by 0.02 to 0.38 mm over 1000 N/mm: nobody knows how far."""
    rail = resting()
    part = rail.parts[0]
    force = part.feet.force_N.copy()
    force[..., 1] = -SPREAD_N[:, None]
    return Resting((replace(part, feet=Feet(part.feet.stiffness, force, part.feet.one_way)),), rail.lifts_mm)


def test_the_hanging_foot_alone_goes_up_until_the_display_follows_in_the_mean():
    """By hand: at a lift L the display moves by the mean of max(L - gap, 0), which first is 0.012 at L = 0.11."""
    rail = unsure()
    (step,) = touching_steps(situation(np.full(9, 0.1)), rail)
    assert step.bolt == 1 and step.park in (3, 4, 5)
    follows = float(np.mean(np.maximum(step.lift_mm - SPREAD_N / 1000.0, 0.0)))
    assert follows == pytest.approx(FOLLOWS_mm, abs=0.003)
    assert step.lift_mm == pytest.approx(0.11, abs=0.021)


def test_played_through_every_draw_has_its_foot_in_contact_whatever_the_gap_was():
    rail = unsure()
    here = situation(np.full(9, 0.1))
    played = play_in_contact(here, rail, draw_errors(here, 3), touching_steps(here, rail))
    assert np.all(played.lift_mm[:, 0] > SPREAD_N / 1000.0 - 0.002)
    assert played.lift_mm[:, 0].std() > 0.09, "each draw goes its own way up: the display stops the hand, not the lift"


def test_a_round_that_comes_nearer_is_left_as_it_was_planned():
    here = situation(0.10 - 0.12 * np.array([0, 0, 0, 1, 1, 1, 0, 0, 0]))
    planned, nothing = plan_in_contact(here, resting(), 0.02)
    assert with_contact_first(here, resting(), planned, nothing) is planned


def test_a_round_that_promises_nothing_gives_way_to_contact():
    """A valley over the first foot that may not be turned: only the hanging one is left, and it is brought to touch."""
    here = situation(0.10 - 0.20 * np.array([1, 1, 1, 0, 0, 0, 0, 0, 0]))
    held = replace(here, lowest_mm=np.array([0.0, -1.0, 0.0]), highest_mm=np.array([0.0, 1.0, 0.0]))
    planned, nothing = plan_in_contact(held, unsure(), 0.02)
    first = with_contact_first(held, unsure(), planned, nothing)
    assert not planned.steps and [step.bolt for step in first.steps] == [1]


def test_where_no_foot_hangs_nothing_is_touched():
    assert touching_steps(situation(np.full(9, 0.1)), resting(force_N=50.0)) == ()
