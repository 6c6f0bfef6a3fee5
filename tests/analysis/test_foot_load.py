"""Facts about four feet: shares of load from screw travels, held against a body of springs solved here.

The truth is a body that twists on four springs and a floor, by stiffness and equilibrium, apart from the formula.
"""

import numpy as np
import pytest

from analysis.foot_load import from_travels, rocking_mm

FEET = np.array([[0.0, 0.0], [0.0, 600.0], [1200.0, 0.0], [1200.0, 600.0]])


def loads(lift_mm, weight_N=6000.0, middle=(550.0, 320.0), foot_N_per_mm=40e3, twist_N_per_mm=8e3):
    """Foot loads (4,) of a body at rest: heave, pitch, roll and a twist that the body resists with its own stiffness.

    Unknowns (heave, slope along, slope across, twist); foot compression = lift - body height at the foot.
    """
    u, v = FEET[:, 0] / 600.0 - 1.0, FEET[:, 1] / 300.0 - 1.0
    shape = np.column_stack([np.ones(4), u, v, u * v])
    stiffness = foot_N_per_mm * shape.T @ shape
    stiffness[3, 3] += twist_N_per_mm
    push = foot_N_per_mm * shape.T @ lift_mm
    load = -weight_N * np.array([1.0, middle[0] / 600.0 - 1.0, middle[1] / 300.0 - 1.0, 0.0])
    body = np.linalg.solve(stiffness, push + load)
    return foot_N_per_mm * (lift_mm - shape @ body)


def travel_until_free(lift_mm, foot):
    """How far that foot's screw is let down until it carries nothing (the loads are linear in it)."""
    down = lift_mm.copy()
    down[foot] -= 1.0
    now, after = loads(lift_mm)[foot], loads(down)[foot]
    return now / (now - after)


LIFT = np.array([0.05, 0.0, 0.0, 0.02])


def test_screw_travels_share_out_as_the_loads_do():
    carried = loads(LIFT)
    assert (carried > 0).all() and carried.sum() == pytest.approx(6000.0)
    found = from_travels(np.array([travel_until_free(LIFT, foot) for foot in range(4)]), 0.01)
    assert found.share == pytest.approx(carried / 6000.0, rel=1e-6)


def test_what_is_raised_shares_the_load_over_both_diagonals():
    found = from_travels(np.array([travel_until_free(LIFT, foot) for foot in range(4)]), 0.01)
    after = loads(LIFT + found.raise_mm)
    assert after[0] + after[3] == pytest.approx(after[1] + after[2], rel=1e-6)
    assert (found.raise_mm >= 0).all()


def test_a_foot_in_the_air_is_no_load_and_it_is_said_which():
    with pytest.raises(ValueError, match="Foot 3 turns freely"):
        from_travels(np.array([0.3, 0.2, 0.0, 0.2]), 0.01)
    with pytest.raises(ValueError, match="three always carry"):
        from_travels(np.array([0.3, 0.2, 0.1]), 0.01)


def test_the_least_shares_uncertainty_holds_it_about_95_times_in_100():
    rng = np.random.default_rng(12)
    true = np.array([travel_until_free(LIFT, foot) for foot in range(4)])
    least = int(np.argmin(true))
    share = true[least] / true.sum()
    inside = 0
    for _ in range(1000):
        found = from_travels(true + rng.normal(0.0, 0.01, 4), 0.02)
        inside += abs(found.share[least] - share) <= found.least_uncertainty
    assert 930 <= inside <= 975


def test_a_body_rocks_over_the_pair_that_carries():
    # A plate on balls under A and C, across from each other: leaned on at A it stands, leaned on at B it dips.
    pair, play, doubt = rocking_mm((0.02, 0.18), 0.01)
    assert pair == "the first corner and the one across from it"
    assert play == 0.18
    assert rocking_mm((0.18, 0.02), 0.01)[0] == "the corner beside it and the one across from that"
    assert doubt == pytest.approx(0.01 * np.sqrt(2.0))
