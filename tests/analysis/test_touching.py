"""Facts about gaps under an edge that is laid on. Derived: one of the places no leaf enters is the one that touches."""

import numpy as np
import pytest

from analysis.touching import TOUCHING_mm, laid_on

X = np.array([0.0, 300.0, 600.0, 900.0, 1200.0])
NONE, HOLLOW = (0.025, 0.025), (0.175, 0.025)


def feelers(*pairs):
    return np.array([pair[0] for pair in pairs]), np.array([pair[1] for pair in pairs])


def test_the_only_place_of_a_side_that_no_leaf_enters_touches():
    gap, doubt = laid_on(X, *feelers(NONE, HOLLOW, HOLLOW, HOLLOW, NONE))
    assert gap == pytest.approx([0.0, 0.175, 0.175, 0.175, 0.0])
    assert doubt == pytest.approx([TOUCHING_mm, *[0.025 / 3**0.5] * 3, TOUCHING_mm])


def test_of_two_that_may_touch_either_does():
    gap, doubt = laid_on(X, *feelers(NONE, NONE, HOLLOW, HOLLOW, NONE))
    assert gap[:2] == pytest.approx(0.0125)  # half the time 0, half the time half a leaf of 0.05
    assert doubt[0] == pytest.approx(np.hypot(np.sqrt(0.05**2 / 6 - 0.0125**2), TOUCHING_mm))


def test_an_edge_that_rocks_in_its_middle_touches_there_only():
    gap, _ = laid_on(X, *feelers(HOLLOW, HOLLOW, NONE, HOLLOW, HOLLOW))
    assert gap[2] == 0.0
    assert gap[0] == 0.175


def test_a_middle_between_two_touching_sides_keeps_its_interval():
    gap, doubt = laid_on(X, *feelers(NONE, HOLLOW, NONE, HOLLOW, NONE))
    assert (gap[2], doubt[2]) == (0.025, pytest.approx(0.025 / 3**0.5))


def test_a_gap_given_as_a_number_stays():
    gap, doubt = laid_on(X, np.array([0.0, 0.1, 0.2, 0.1, 0.0]), np.zeros(5))
    assert gap == pytest.approx([0.0, 0.1, 0.2, 0.1, 0.0])
    assert doubt == pytest.approx(0.0)


def test_half_a_leaf_everywhere_finds_every_hollow_too_shallow():
    true = 0.2 * (1.0 - (X / 600.0 - 1.0) ** 2)
    leaves = np.arange(0.0, 0.6, 0.05)
    low = leaves[np.searchsorted(leaves, true, side="right") - 1]
    gap, half = low + 0.025, np.full(5, 0.025)
    laid, _ = laid_on(X, gap, half)
    naive = gap[2] - (gap[0] + gap[-1]) / 2.0
    assert abs(laid[2] - 0.2) < abs(naive - 0.2) + 1e-9 or naive == pytest.approx(0.2)
    assert laid[0] == laid[-1] == 0.0
