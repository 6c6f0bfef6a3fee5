"""A carriage on four bearings: its rail's form learned with the response, and rounds planned on whichever carry."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from analysis.carriage import Carriage
from analysis.carried import Carried, Part
from analysis.chebyshev import Group
from analysis.contact_plan import best_in_contact, plan_in_contact
from analysis.prior import Bench, Prior, physics_response
from analysis.response import SetUp, reading_weights
from analysis.rounds import Parked, Round, Sweep, Turn
from analysis.running import Lying, gives, stands
from analysis.running_learn import learn_running, seen_in
from analysis.situation import Situation
from fixtures.layouts import FOUR_BEARINGS
from fixtures.truth import ELASTIC_N_PER_MM2, SHEAR_N_PER_MM2
from fixtures.workshop import draw_machine

SEAT = SetUp("fixed", x_mm=1200.0)
S_MM = np.arange(500.0, 1901.0, 70.0)
PLAN = FOUR_BEARINGS.carriage
CARRIAGE = Carriage(PLAN.bearing_offsets_mm, PLAN.stroke_mm, PLAN.top_length_mm, PLAN.edge_y_mm, PLAN.mass_kg)
BENCH = Bench(
    x_mm=np.array([bolt.x_mm for bolt in FOUR_BEARINGS.bolts]),
    y_mm=np.array([bolt.y_mm for bolt in FOUR_BEARINGS.bolts]),
    EI=ELASTIC_N_PER_MM2["steel"] * FOUR_BEARINGS.i_mm4,
    GJ=SHEAR_N_PER_MM2["steel"] * FOUR_BEARINGS.j_mm4,
    carriage=CARRIAGE,
)
WEIGHTS = reading_weights(SEAT, CARRIAGE, S_MM)


def swept(machine, visit=1):
    """What a good sweep of the machine would say: the workshop's own rigid carriage, and a micrometre of noise."""
    heights = machine.truth_heights("across", S_MM) + np.random.default_rng(len(S_MM)).normal(0.0, 0.001, len(S_MM))
    return Sweep(SEAT, S_MM, heights, 1e-6 * np.eye(len(S_MM)))


def rows_of(states):
    return np.einsum("dsqc,sq->dsc", states, WEIGHTS)


@pytest.fixture(scope="module")
def machine():
    return draw_machine(50_007, "four-bearings")


@pytest.fixture(scope="module")
def running(machine):
    lifts, seen = seen_in((Round({"across": swept(machine)}),), CARRIAGE, table_mapped=True)
    return learn_running(Prior(BENCH), lifts, seen, draws=60)


@pytest.fixture(scope="module")
def carried(running):
    return Carried((Part(S_MM, running.at(S_MM), rows_of),), np.zeros((60, 1, 7)))


def test_contact_of_bearings_is_asked_only_where_it_decides():
    assert stands(BENCH)
    assert not stands(replace(BENCH, carriage=replace(CARRIAGE, bearing_offsets_mm=(-300.0, 300.0))))
    assert not stands(replace(BENCH, carriage=replace(CARRIAGE, travel_ratio=0.5)))  # a cage spreads the load itself
    assert not stands(replace(BENCH, one_way=np.ones(7, bool)))


def test_bearings_known_to_be_soft_give_more_and_more_alike():
    soft = Prior(replace(BENCH, carriage=replace(CARRIAGE, bearing_N_mm=2000.0)))
    share_N = 42.0 * 9.80665 / 4.0
    assert gives(soft, np.zeros((1, soft.size)))[0] == pytest.approx(share_N / 2000.0)
    unknown = Prior(BENCH)
    assert np.log(gives(unknown, unknown.draw(200))).std() > 3.0 * np.log(gives(soft, soft.draw(200))).std()


def test_a_sweep_is_seen_whole_and_a_parked_turn_as_a_change(machine):
    turn = Turn(2, 0.1, 0.05, Parked(SEAT, 950.0, 0.03, 0.002))
    rounds = (Round({"across": swept(machine)}, (turn,)), Round({"across": swept(machine)}))
    lifts, seen = seen_in(rounds, CARRIAGE, table_mapped=True)
    assert lifts.bolt.tolist() == [2]
    assert int(seen.change.sum()) == 1 and seen.value[seen.change][0] == 0.03
    first, later = 14, len(seen.value) - 1  # an earlier sweep is thinned more
    assert seen.after[:first].sum() == 0.0 and (seen.after[first:later] == 1.0).all()
    assert np.linalg.eigvalsh(seen.covariance).min() > 0.0
    assert seen.covariance[0, first] > 1e-6  # the form of the carriage's top is the same in both


def test_the_form_fits_what_was_read(machine, running):
    value, covariance = Lying(running, np.zeros((60, 1, 7))).rows(S_MM, WEIGHTS)
    away = value - machine.truth_heights("across", S_MM)
    assert np.sqrt(np.mean(away**2)) < 0.008  # the top's own form and the table stay between
    assert np.linalg.eigvalsh(covariance).min() > 0.0


def test_large_turns_are_foreseen_within_the_bands_where_the_mean_of_all_bearings_is_not(machine, carried):
    """The workshop's rigid carriage of finite elements is the judge."""
    lift = machine.best_possible("across").thread_mm - machine.thread_mm
    then = machine.copy()
    then.thread_mm = machine.thread_mm + lift
    truth = then.truth_heights("across", S_MM) - machine.truth_heights("across", S_MM)
    drawn = carried.change(np.repeat(lift[None], 60, axis=0))
    low, high = np.quantile(drawn, [0.01, 0.99], axis=0)
    assert np.mean((truth >= low - 0.002) & (truth <= high + 0.002)) >= 0.9
    prior = Prior(BENCH)
    alike = np.einsum("dsqb,sq->dsb", physics_response(prior, prior.draw(60), S_MM), WEIGHTS) @ lift
    assert np.abs(np.median(drawn, axis=0) - truth).mean() < 0.7 * np.abs(np.median(alike, axis=0) - truth).mean()


def test_the_response_is_the_slope_of_the_change(carried):
    lifts = np.random.default_rng(3).normal(0.0, 0.05, (60, 7))
    step = 1e-6 * np.random.default_rng(4).normal(0.0, 1.0, (60, 7))
    change, response = carried.change_and_response(lifts)
    slope = carried.change(lifts + step) - change
    same = np.abs(slope - np.einsum("drb,db->dr", response, step)) < 1e-9
    assert same.mean() > 0.99  # but for stations at which a bearing just takes over
    np.testing.assert_allclose(carried.display(4, lifts[:, None])[:, 0], change[:, 4], atol=1e-12)


def test_a_round_ends_better_than_it_began_and_no_better_than_can_be(machine, carried):
    value = machine.truth_heights("across", S_MM)
    situation = Situation(
        value, 1e-6 * np.eye(len(S_MM)), carried.change_and_response(np.zeros((60, 7)))[1],
        (Group("across", np.arange(len(S_MM)), 0.05, (0.05, 0.15)),), np.arange(2, len(S_MM) - 2, 2),
        np.full(7, -1.2), np.full(7, 1.2), np.full(7, 0.0125),
    )  # fmt: skip
    outcome, nothing = plan_in_contact(situation, carried, 0.02)
    assert outcome.steps and outcome.loss < nothing.loss
    assert np.median(outcome.ratio) < 0.8 * np.median(nothing.ratio)
    assert np.median(best_in_contact(situation, carried, 6)) <= np.median(outcome.ratio)
