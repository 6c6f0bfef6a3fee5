"""Draws that go to their own data by themselves: exact where the physics is linear, and kept from running away."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from analysis.each_draw import pulled
from analysis.learn import gaussian_update

RNG = np.random.default_rng(5)
SLOPE = RNG.normal(0.0, 1.0, (6, 4))
VALUE = RNG.normal(0.0, 1.0, 6)
HEIGHT = np.repeat([[1.0, 0.0, 0.0]], 6, axis=0)


@dataclass(frozen=True)
class Linear:
    """Six readings of four unknowns."""

    weights: np.ndarray
    covariance: np.ndarray

    def predicted(self, at):
        return at @ SLOPE.T

    def linearised(self, at):
        return self.predicted(at), np.repeat(SLOPE[None], len(at), axis=0)


@dataclass(frozen=True)
class Touching(Linear):
    """The same, where a reading does not follow below a floor of each draw's own: a foot in the air."""

    def predicted(self, at):
        return np.maximum(at @ SLOPE.T, -0.5)

    def linearised(self, at):
        follows = at @ SLOPE.T > -0.5
        return self.predicted(at), SLOPE * follows[..., None]


def test_for_linear_physics_the_draws_are_those_of_the_posterior():
    """Oliver, He & Reynolds 1996; the posterior is the textbook one (Gaussian conditioning)."""
    noise = 0.3**2 * np.eye(6)
    begin = np.random.default_rng(1).standard_normal((20_000, 4))
    at, predicted, misfit = pulled(Linear(HEIGHT, noise), begin, VALUE, (0.5, 0.0), seed=2)
    mean, covariance = gaussian_update(np.zeros(4), np.eye(4), SLOPE, VALUE, noise)
    np.testing.assert_allclose(at.mean(axis=0), mean, atol=0.02)
    np.testing.assert_allclose(np.cov(at.T), covariance, atol=0.02)
    np.testing.assert_allclose(predicted, at @ SLOPE.T, atol=1e-12)
    assert misfit < 20.0


def test_where_contact_decides_no_draw_ends_further_from_its_beliefs_and_data_than_it_began():
    model = Touching(HEIGHT, 0.05**2 * np.eye(6))
    truth = np.array([[0.6, -0.8, 0.3, 0.5]])
    begin = np.random.default_rng(3).standard_normal((300, 4))
    at, predicted, _ = pulled(model, begin, model.predicted(truth)[0], (0.3, 0.1, 0.03, 0.0, 0.0), seed=4)
    away = np.abs(predicted - model.predicted(truth)).max(axis=1)
    assert np.median(away) < 0.2 < np.median(np.abs(model.predicted(begin) - model.predicted(truth)).max(axis=1))
    assert np.isfinite(at).all()


def test_readings_that_say_nothing_leave_every_draw_where_it_was():
    begin = np.random.default_rng(6).standard_normal((50, 4))
    at, _, _ = pulled(Linear(HEIGHT, 1e8 * np.eye(6)), begin, VALUE, (0.0,), seed=7)
    np.testing.assert_allclose(at, begin, atol=1e-2)
