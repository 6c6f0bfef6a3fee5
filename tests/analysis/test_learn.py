"""Learning: the textbook cases, recursion against batch, and a machine learned from one round."""

from __future__ import annotations

import numpy as np
import pytest

from analysis.carriage import Carriage
from analysis.diagnose import odd_turns
from analysis.learn import Lifts, gaussian_update, learn
from analysis.prior import Bench, Prior, state_response
from analysis.response import SetUp, reading_weights
from analysis.rounds import Parked, Round, Sweep, Turn, observed

CARRIAGE = Carriage((-320.0, 320.0), (0.0, 2600.0), 1200.0, 150.0)
BENCH = Bench(np.array([150, 650, 1150, 1650, 2150, 2650.0]), np.zeros(6), 210e3 * 5.2e5, 81e3 * 8e5, CARRIAGE)
PRIOR = Prior(BENCH)
ACROSS = SetUp("fixed", x_mm=1100.0)
S = np.linspace(510.0, 1690.0, 40)


def test_one_reading_of_one_unknown_is_the_textbook_kalman_update():
    # Scalar: gain = p / (p + r); p' = p r / (p + r). With p 225, r 25, x 60, z 48.54: gain 0.9 (any Kalman text).
    mean, covariance = gaussian_update(
        np.array([60.0]), np.array([[225.0]]), np.eye(1), np.array([48.54]), np.array([[25.0]])
    )
    assert mean[0] == pytest.approx(60 + 0.9 * (48.54 - 60))
    assert covariance[0, 0] == pytest.approx(22.5)


def test_a_rank_one_update_is_sherman_and_morrisons():
    rng = np.random.default_rng(0)
    root = rng.normal(size=(5, 5))
    prior, row = root @ root.T + np.eye(5), rng.normal(size=(1, 5))
    _, covariance = gaussian_update(np.zeros(5), prior, row, np.array([1.0]), np.array([[0.3]]))
    np.testing.assert_allclose(covariance, np.linalg.inv(np.linalg.inv(prior) + row.T @ row / 0.3), atol=1e-10)


def test_recursive_is_batch():
    rng = np.random.default_rng(1)
    prior = np.diag(rng.uniform(0.5, 2.0, 6))
    rows, values, noise = rng.normal(size=(9, 6)), rng.normal(size=9), np.diag(rng.uniform(0.1, 1.0, 9))
    at_once = gaussian_update(np.zeros(6), prior, rows, values, noise)
    mean, covariance = np.zeros(6), prior
    for i in range(9):
        mean, covariance = gaussian_update(
            mean, covariance, rows[i : i + 1], values[i : i + 1], noise[i : i + 1, i : i + 1]
        )
    np.testing.assert_allclose(mean, at_once[0], atol=1e-10)
    np.testing.assert_allclose(covariance, at_once[1], atol=1e-10)


def rounds_of(truth, lifts, reported=None, parked=False, seed=2):
    """Two sweeps with one round of moves between them, on a machine that is one draw of the prior."""
    rng = np.random.default_rng(seed)
    weights = reading_weights(ACROSS, CARRIAGE, S)
    response = np.einsum("sqb,sq->sb", state_response(PRIOR, truth[None], S)[0], weights)
    covariance = 0.001**2 * np.exp(-0.5 * ((S[:, None] - S) / 80.0) ** 2) + 1e-10 * np.eye(len(S))
    noise = np.linalg.cholesky(covariance) @ rng.standard_normal((len(S), 2))
    before = 0.1 + 0.05 * np.sin(S / 200.0)
    told = lifts if reported is None else reported
    turns = []
    for bolt in np.flatnonzero(told):
        at = int(np.argmax(np.abs(response[:, bolt])))
        seen = Parked(ACROSS, float(S[at]), float(response[at, bolt] * lifts[bolt]), 0.002) if parked else None
        turns.append(Turn(int(bolt), float(told[bolt]), 0.05 if parked else 0.005, seen))
    sweeps = [
        {"across": Sweep(ACROSS, S, before + noise[:, 0], covariance)},
        {"across": Sweep(ACROSS, S, before + response @ lifts + noise[:, 1], covariance)},
    ]
    return (Round(sweeps[0], tuple(turns)), Round(sweeps[1])), response


@pytest.mark.parametrize("parked", [False, True])
def test_one_round_teaches_the_turned_bolts_and_keeps_the_truth_inside_its_doubt(parked):
    lifts = np.array([0, 0.15, 0, -0.2, 0, 0.0])
    before: list[float] = []
    after: list[float] = []
    inside: list[float] = []
    weights = reading_weights(ACROSS, CARRIAGE, S)
    for truth in PRIOR.draw(40, seed=99)[:20]:
        rounds, response = rounds_of(truth, lifts, parked=parked)
        learned = learn(PRIOR, *observed(rounds, CARRIAGE), draws=100)
        prior = learn(PRIOR, *observed((Round(rounds[0].sweeps),), CARRIAGE), draws=100)
        for each, errors in ((prior, before), (learned, after)):
            drawn = np.einsum("dsqb,sq->dsb", each.state_response(S), weights)[:, :, [1, 3]]
            errors.append(float(np.sqrt(np.mean((drawn.mean(axis=0) - response[:, [1, 3]]) ** 2))))
        low, high = np.quantile(drawn, [0.01, 0.99], axis=0)
        inside.append(float(np.mean((response[:, [1, 3]] > low - 0.01) & (response[:, [1, 3]] < high + 0.01))))
    # Two bolts turned and one profile seen: their sum is known to micrometres, their shares are not until parked.
    assert np.median(after) < (0.6 if parked else 0.85) * np.median(before)
    assert np.mean(inside) > 0.85


def test_the_same_record_teaches_the_same_and_nothing_teaches_nothing():
    rounds, _ = rounds_of(PRIOR.draw(2, seed=5)[0], np.array([0, 0.1, 0, 0, 0, 0.0]))
    first, second = (learn(PRIOR, *observed(rounds, CARRIAGE), draws=20) for _ in range(2))
    np.testing.assert_array_equal(first.coordinates, second.coordinates)
    nothing = learn(PRIOR, *observed((Round(rounds[0].sweeps),), CARRIAGE), draws=20)
    np.testing.assert_array_equal(nothing.coordinates, PRIOR.draw(20))
    assert isinstance(nothing.lifts_mm, np.ndarray) and len(Lifts(np.zeros(0, int), np.zeros(0), np.zeros(0)).bolt) == 0


@pytest.mark.parametrize(("real", "kind"), [(0.0, "none"), (-1.0, "opposite")])
def test_a_bolt_that_does_nothing_or_the_opposite_is_named(real, kind):
    told = np.array([0, 0.2, 0, -0.15, 0, 0.0])
    lifts = told * np.array([1, real, 1, 1, 1, 1.0])
    rounds, _ = rounds_of(np.zeros(PRIOR.size), lifts, reported=told)
    facts = observed(rounds, CARRIAGE)
    odd = odd_turns(learn(PRIOR, *facts), *facts)
    assert [(each.bolt, each.kind) for each in odd] == [(1, kind)]
    assert "B2" in odd[0].sentence("B2")


def test_an_honest_round_raises_no_alarm():
    rounds, _ = rounds_of(PRIOR.draw(2, seed=8)[0], np.array([0, 0.2, 0, -0.15, 0, 0.0]))
    facts = observed(rounds, CARRIAGE)
    assert odd_turns(learn(PRIOR, *facts), *facts) == []
