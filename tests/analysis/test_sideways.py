"""Facts about travel in plan: reversal, two sawn edges, the rail's bend and the bolts.

Everything is derived by geometry; the truth of the simulated cases is built here from the boards and edges themselves,
not from the formula under test. Check value K7: a steel rail of 3 m, 2 K between its faces 80 mm apart, bows by
alpha dT L^2 / 8 h = 0.3234 mm (alpha 11.5e-6, GUM H.1).
"""

import numpy as np
import pytest

from analysis.sideways import bend_of, from_straightedge, from_two_edges, straightening

X = np.linspace(0.0, 1200.0, 9)


def bow(x, size):
    return size * (1.0 - (2.0 * x / 1200.0 - 1.0) ** 2)


def readings(travel, edge, turned_end):
    """What the indicator shows: first toward the table at the edge's face, then from behind with the edge turned."""
    face = -edge[::-1] if turned_end else -edge  # turned round, the same bump points the other way
    gap_first = 50.0 + edge - travel
    gap_turned = 50.0 + travel - face  # the tip now points back at the carriage
    return -gap_first, -gap_turned


def test_a_bowed_straightedge_turned_over_leaves_the_travel_alone():
    edge = bow(X, 0.3) + 0.1 * np.sin(X / 90.0)
    first, turned = readings(bow(X, 0.05), edge, turned_end=False)
    found = from_straightedge(X, first, turned, 0.004, 0.3, turned_end=False)
    assert bend_of(found).middle_mm == pytest.approx(0.05, abs=1e-9)
    assert found.straightedge_mm is not None
    shape = found.straightedge_mm - found.straightedge_mm.mean()
    assert shape == pytest.approx(edge - edge.mean(), abs=1e-9), "and the straightedge is learned as well"


def test_turned_end_for_end_a_bow_cancels_and_an_s_is_doubt():
    first, turned = readings(bow(X, 0.05), bow(X, 0.3), turned_end=True)
    assert bend_of(from_straightedge(X, first, turned, 0.004, 0.3, turned_end=True)).middle_mm == pytest.approx(0.05)
    crooked = 0.15 * np.sin(2.0 * np.pi * (X / 1200.0 - 0.5))
    first, turned = readings(0.0 * X, crooked, turned_end=True)
    found = bend_of(from_straightedge(X, first, turned, 0.004, 0.3, turned_end=True))
    assert found.bow_mm <= found.uncertainty_mm + 0.2
    assert found.uncertainty_mm > 0.05


def test_one_setting_alone_takes_the_straightedge_for_the_travel():
    first, _ = readings(0.0 * X, bow(X, 0.3), turned_end=False)
    naive = first - np.interp(X, X[[0, -1]], first[[0, -1]])
    assert abs(naive).max() == pytest.approx(0.3, rel=0.01)


def sawn(x, travel):
    """The material left at each place of a board: the blade stands still, the travel carries the board past it."""
    return 100.0 - travel


def test_the_gap_of_two_sawn_edges_is_twice_the_bow_and_a_hollow_was_carried_toward_the_blade():
    edge = sawn(X, bow(X, 0.08))
    gap = (edge.max() - edge) * 2.0  # one board turned over along the cut: both hollows meet
    found = bend_of(from_two_edges(X, gap, np.full(9, 0.01), turned_end=False))
    assert found.middle_mm == pytest.approx(0.08)
    end = (edge.max() - edge) + (edge.max() - edge)[::-1]
    assert bend_of(from_two_edges(X, end, np.full(9, 0.01), turned_end=True)).middle_mm == pytest.approx(0.08)


def test_two_edges_that_gape_at_the_ends_are_bellied():
    edge = sawn(X, -bow(X, 0.08))
    assert bend_of(from_two_edges(X, 2.0 * (edge.max() - edge), np.full(9, 0.01), turned_end=False)).middle_mm < -0.07


def test_two_places_show_no_bend():
    with pytest.raises(ValueError, match="2 places show no bend"):
        bend_of(from_two_edges(np.array([0.0, 800.0]), np.zeros(2), np.full(2, 0.01), turned_end=False))


def test_readings_and_places_go_in_pairs():
    with pytest.raises(ValueError, match="one of each for every place"):
        from_straightedge(X, X[:3], X, 0.004, 0.1, turned_end=False)


BOLTS = {"B1": 0.0, "B2": 400.0, "B3": 800.0, "B4": 1200.0}


def test_the_shifts_take_the_bend_out_and_leave_the_mean_line_alone():
    travel = bow(X, 0.2) + 0.0003 * X
    first, turned = readings(travel, 0.0 * X, turned_end=False)
    tight, shifts = straightening(from_straightedge(X, first, turned, 0.002, 0.0, turned_end=False), BOLTS)
    moved = {tight: 0.0, **{each.bolt: each.shift_mm for each in shifts}}
    at = np.array(list(BOLTS.values()))
    true = bow(at, 0.2) + 0.0003 * at
    after = true + np.array([moved[name] for name in BOLTS])
    line = np.polyfit(at, after, 1)
    assert after == pytest.approx(np.polyval(line, at), abs=1e-9), "straight"
    assert line[0] == pytest.approx(np.polyfit(at, true, 1)[0], abs=1e-12), "and not turned"


def test_turning_the_rail_instead_would_leave_the_bow_and_spoil_the_toe():
    travel = bow(X, 0.2)
    turned_about_the_first = travel - np.interp(X, X[[0, -1]], [0.0, -0.1])
    assert np.ptp(turned_about_the_first - np.interp(X, X[[0, -1]], turned_about_the_first[[0, -1]])) > 0.15


def test_a_rail_on_two_bolts_cannot_be_straightened_by_them():
    with pytest.raises(ValueError, match="2 bolts cannot be straightened"):
        straightening(from_two_edges(X, bow(X, 0.2), np.full(9, 0.01), turned_end=False), {"B1": 0.0, "B2": 1200.0})


def test_a_bow_from_warmth_is_found_as_large_as_it_is():
    # alpha dT L^2 / (8 h): 11.5e-6 x 2 x 3000^2 / (8 x 80)
    size = 11.5e-6 * 2.0 * 3000.0**2 / (8.0 * 80.0)
    assert size == pytest.approx(0.3234, abs=1e-4)
    x = np.linspace(0.0, 3000.0, 13)
    travel = size * (1.0 - (2.0 * x / 3000.0 - 1.0) ** 2)
    found = bend_of(from_two_edges(x, 2.0 * travel, np.full(13, 0.01), turned_end=False))
    assert found.middle_mm == pytest.approx(size)
    assert found.bow_mm == pytest.approx(size, abs=0.01)


def test_the_bows_uncertainty_holds_the_truth_about_95_times_in_100():
    rng = np.random.default_rng(8)
    inside = 0
    for _ in range(200):
        travel = bow(X, rng.normal(0.0, 0.1))
        first, turned = readings(travel, bow(X, rng.normal(0.0, 0.2)), turned_end=False)
        noisy = from_straightedge(
            X, first + rng.normal(0, 0.004, 9), turned + rng.normal(0, 0.004, 9), 0.008, 0.1, turned_end=False
        )
        found = bend_of(noisy)
        inside += abs(found.middle_mm - travel[4]) <= found.middle_uncertainty_mm
    assert 0.90 * 200 <= inside <= 0.99 * 200
