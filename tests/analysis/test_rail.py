"""The rail's solver against handbooks, the natural cubic spline, and an independent finite-element library."""

from __future__ import annotations

import csv
from pathlib import Path

import numpy as np
import pytest
from scipy.interpolate import CubicSpline

from analysis.rail import Load, Rail, lift_response, loaded_shape, shared_compliance

DATA = Path(__file__).parents[1] / "data"
EI = 1.512e11
GJ = 6.4e10
SPAN = 800.0


def rail_on(x_mm, *, y_mm=None, compliance=None, foot_twist=1e9, EI=EI, GJ=GJ):
    x = np.asarray(x_mm, float)
    n = len(x)
    return Rail(
        np.asarray(EI),
        np.asarray(GJ),
        x,
        np.zeros(n) if y_mm is None else np.asarray(y_mm, float),
        np.zeros((n, n)) if compliance is None else compliance,
        np.full(n, foot_twist),
    )


def equal_spans(n, **kwargs):
    return rail_on(np.arange(n) * SPAN, **kwargs)


@pytest.mark.parametrize(
    ("supports", "reactions"),
    [
        (3, [3 / 8, 10 / 8, 3 / 8]),
        (4, [4 / 10, 11 / 10, 11 / 10, 4 / 10]),
        (5, [11 / 28, 32 / 28, 26 / 28, 32 / 28, 11 / 28]),
        (6, [15 / 38, 43 / 38, 37 / 38, 37 / 38, 43 / 38, 15 / 38]),
    ],
)
def test_uniform_load_on_equal_spans(supports, reactions):
    # Brockenbrough & Hicks, Civil Engineering Formulas, table 2.1.
    shape = loaded_shape(
        equal_spans(supports), np.zeros(supports), (Load(-(supports - 1) * SPAN, 0, (supports - 1) * SPAN),)
    )
    np.testing.assert_allclose(shape.forces_N[:, 0] / SPAN, reactions, rtol=1e-9)


def test_uniform_load_support_moments_and_deflection():
    # AISC-type beam table for three equal spans: 0.100 wL2 hogging, 0.0069 wL4/EI at 0.446 L.
    shape = loaded_shape(equal_spans(4), np.zeros(4), (Load(-3 * SPAN, 0, 3 * SPAN),))
    np.testing.assert_allclose(shape.moment(np.array([SPAN, 2 * SPAN]))[:, 0] / SPAN**2, [-0.1, -0.1], rtol=1e-9)
    sag = -shape.height(np.linspace(0, SPAN, 801))[:, 0] * EI / SPAN**4
    assert sag.max() == pytest.approx(0.006884, abs=2e-6)
    assert np.argmax(sag) / 800 == pytest.approx(0.446, abs=2e-3)


@pytest.mark.parametrize("supports", [3, 4, 5, 6])
def test_settlement_of_one_support(supports):
    """Reactions and moments when one support goes down: three-moment equation in exact fractions (derived)."""
    rows = [
        r
        for r in csv.DictReader((DATA / "settlement_coefficients.csv").read_text().splitlines())
        if int(r["n_supports"]) == supports
    ]
    rail = equal_spans(supports)
    shape = lift_response(rail)
    moments = shape.moment(rail.x_mm)
    for row in rows:
        settling, at = int(row["settling_support"]) - 1, int(row["at_support"]) - 1
        assert -shape.forces_N[at, settling] * SPAN**3 / EI == pytest.approx(float(row["R_decimal"]), abs=1e-8)
        assert -moments[at, settling] * SPAN**2 / EI == pytest.approx(float(row["M_decimal"]), abs=1e-8)


def test_settlement_with_fixed_ends():
    # Kassimali, Structural Analysis, example 16.5 (input read, answer from memory of 15.5 and from finite elements):
    # three 8 m spans, fixed ends (made here by a second support close behind each end), B settles 20 mm.
    stiff, near = 70e3 * 800e6, 1.0
    x = np.array([-near, 0, 8000, 16000, 24000, 24000 + near])
    shape = loaded_shape(rail_on(x, EI=stiff), np.array([0, 0, -20.0, 0, 0, 0]), ())
    moments = shape.moment(np.array([0, 8000, 16000, 24000.0]))[:, 0] / 1e6
    np.testing.assert_allclose(np.abs(moments), [98, 91, 56, 28], rtol=2e-3)
    assert shape.forces_N[2, 0] / 1e3 == pytest.approx(-42.0, rel=2e-3)


def test_two_unequal_spans_with_middle_loads():
    # Text-book example of the theorem of three moments: 6 and 12 m, 20 kN at each middle: R = 3.75, 29.375, 6.875 kN.
    shape = loaded_shape(rail_on([0, 6000, 18000]), np.zeros(3), (Load(-20e3, 3000, 3000), Load(-20e3, 12000, 12000)))
    np.testing.assert_allclose(shape.forces_N[:, 0], [3750, 29375, 6875], rtol=1e-9)
    assert shape.moment(np.array([6000.0]))[0, 0] == pytest.approx(-37.5e6, rel=1e-9)


def test_overhang_with_end_load():
    # Handbook case: tip of an overhang a under P: P a2 (L + a) / 3EI; between supports it up by P a L2 / (9 sqrt3 EI).
    a, force = 0.3 * SPAN, 1000.0
    shape = loaded_shape(rail_on([0, SPAN]), np.zeros(2), (Load(-force, SPAN + a, SPAN + a),))
    assert -shape.height(np.array([SPAN + a]))[0, 0] == pytest.approx(force * a**2 * (SPAN + a) / (3 * EI), rel=1e-9)
    between = shape.height(np.linspace(0, SPAN, 2001))[:, 0].max()
    assert between == pytest.approx(force * a * SPAN**2 / (9 * np.sqrt(3) * EI), rel=1e-6)


def test_spring_under_the_middle():
    # R = 5/4 w L / (1 + 6 EI / k L3), derived; k L3 / EI = 20 gives 0.9615385 w L.
    compliance = np.diag([0, SPAN**3 / (20 * EI), 0])
    shape = loaded_shape(equal_spans(3, compliance=compliance), np.zeros(3), (Load(-2 * SPAN, 0, 2 * SPAN),))
    assert shape.forces_N[1, 0] / SPAN == pytest.approx(0.9615385, abs=1e-7)


def test_many_close_springs_become_a_winkler_foundation():
    # Hetényi 1946; rail example of Boresi & Schmidt 10.1 (from memory): y0 = P beta / 2k = 5.04 mm, M0 = 51.21 kNm.
    stiff, k, force = 200e3 * 36.9e6, 14.0, 170e3
    x = (np.arange(61) - 30) * 170.0
    shape = loaded_shape(rail_on(x, EI=stiff, compliance=np.eye(61) / (k * 170.0)), np.zeros(61), (Load(-force, 0, 0),))
    assert -shape.height(np.array([0.0]))[0, 0] == pytest.approx(5.038, abs=3e-3)
    beta = (k / (4 * stiff)) ** 0.25
    assert shape.moment(np.array([0.0]))[0, 0] == pytest.approx(force / (4 * beta), rel=0.02)


def test_rigid_supports_give_scipys_natural_cubic_spline():
    x = np.array([100.0, 640, 1100, 1800, 2500])
    rail = rail_on(x)
    grid = np.linspace(100, 2500, 97)
    response = lift_response(rail).height(grid)
    for bolt in range(5):
        np.testing.assert_allclose(
            response[:, bolt], CubicSpline(x, np.eye(5)[bolt], bc_type="natural")(grid), atol=1e-9
        )


def random_rail(rng, n=None):
    n = n or int(rng.integers(3, 9))
    x = np.sort(rng.uniform(0, 3000, n)) + np.arange(n) * 60.0
    stiffness = 10 ** rng.uniform(3.2, 5.3, n)
    return rail_on(
        x,
        y_mm=rng.uniform(20, 60, n) * rng.choice([-1.0, 1.0], n),
        compliance=shared_compliance(stiffness, np.asarray(rng.uniform(0.02, 0.3)), np.asarray(0.5), x),
        foot_twist=stiffness * 35.0**2,
        EI=10 ** rng.uniform(10.5, 11.8),
        GJ=10 ** rng.uniform(10.2, 11.5),
    )


def test_forces_answer_reciprocally():
    """Maxwell and Betti: the force on i for a lift of j is that on j for a lift of i."""
    rng = np.random.default_rng(1)
    for _ in range(20):
        forces = lift_response(random_rail(rng)).forces_N
        np.testing.assert_allclose(forces, forces.T, rtol=1e-6, atol=1e-6 * np.abs(forces).max())


def test_a_rigid_lift_and_tilt_leave_no_bending():
    rng = np.random.default_rng(2)
    rail = random_rail(rng)
    for lifts in (np.ones(rail.supports), 1e-3 * rail.x_mm):
        shape = loaded_shape(rail, lifts, ())
        assert np.abs(shape.forces_N).max() < 1e-6 * np.abs(lift_response(rail).forces_N).max()
        np.testing.assert_allclose(shape.height(rail.x_mm)[:, 0], lifts, atol=1e-9)


def test_lifts_and_loads_superpose_and_balance():
    rng = np.random.default_rng(3)
    rail = random_rail(rng)
    lifts, load = rng.normal(0, 0.1, rail.supports), Load(-350.0, 400, 900, 12.0)
    both = loaded_shape(rail, lifts, (load,))
    parts = lift_response(rail).forces_N @ lifts + loaded_shape(rail, np.zeros(rail.supports), (load,)).forces_N[:, 0]
    np.testing.assert_allclose(both.forces_N[:, 0], parts, rtol=1e-8, atol=1e-6)
    assert both.forces_N[:, 0].sum() == pytest.approx(350.0)
    assert both.forces_N[:, 0] @ rail.x_mm == pytest.approx(350.0 * 650.0)
    torque = rail.y_mm @ both.forces_N[:, 0] + both.couples_Nmm[:, 0].sum()
    assert torque == pytest.approx(350.0 * 12.0)


def test_end_torque_twists_by_TL_over_GJ():
    # Saint-Venant: theta = T L / GJ. A stiff foot at one end, a loose one at the other.
    rail = rail_on([0, 1000], foot_twist=1.0)
    rail = Rail(rail.EI, rail.GJ, rail.x_mm, rail.y_mm, rail.compliance, np.array([1e15, 1e-3]))
    twist = loaded_shape(rail, np.zeros(2), (Load(-100.0, 1000, 1000, 50.0),)).twist(np.array([0.0, 1000.0]))[:, 0]
    assert twist[0] == pytest.approx(0.0, abs=1e-9)
    assert twist[1] == pytest.approx(-100.0 * 50.0 * 1000 / GJ, rel=1e-6)


def test_many_draws_at_once_are_the_draws_one_by_one():
    rng = np.random.default_rng(4)
    rails = [random_rail(rng, 5) for _ in range(6)]
    stacked = Rail(*(np.stack([getattr(r, name) for r in rails]) for name in
                     ("EI", "GJ", "x_mm", "y_mm", "compliance", "foot_twist")))  # fmt: skip
    grid = np.linspace(-100, 3300, 30)
    together = lift_response(stacked).height(grid)
    for index, rail in enumerate(rails):
        np.testing.assert_allclose(together[index], lift_response(rail).height(grid), rtol=1e-6, atol=1e-8)


@pytest.mark.filterwarnings("ignore")
def test_fifty_random_rails_agree_with_an_independent_finite_element_library():
    """PyNiteFEA: bending, torsion, springs, lateral offsets by rigid arms; one lift each. Two codes, one answer."""
    Pynite = pytest.importorskip("Pynite")
    rng = np.random.default_rng(5)
    worst = 0.0
    for _ in range(50):
        rail, lifted = random_rail(rng, int(rng.integers(3, 7))), 1
        rail = Rail(rail.EI, rail.GJ, rail.x_mm, rail.y_mm, np.diag(np.diag(rail.compliance)), rail.foot_twist)
        expected = _pynite_lift(Pynite, rail, lifted)
        shape = lift_response(rail)
        got = np.concatenate([shape.height(rail.x_mm)[:, lifted], 100.0 * shape.twist(rail.x_mm)[:, lifted]])
        worst = max(worst, float(np.abs(got - expected).max()))
    assert worst < 2e-5


def _pynite_lift(Pynite, rail, lifted):
    """Heights and 100 x twists at the supports for a 1 mm lift, from PyNite. Y is up, X along the rail, Z = -y.

    A spring under the end of a rigid arm, lifted by 1 mm, is the same spring with a force k at that end.
    """
    model = Pynite.FEModel3D()
    area = 5e3
    model.add_material("m", 200e3, 80e3, 0.25, 0.0)
    model.add_section("rail", area, 1e6, float(rail.EI) / 200e3, float(rail.GJ) / 80e3)
    model.add_section("arm", 1e6, 1e9, 1e9, 1e9)
    stiffness = 1.0 / np.diag(rail.compliance)
    for i, (x, y) in enumerate(zip(rail.x_mm, rail.y_mm, strict=True)):
        model.add_node(f"N{i}", float(x), 0, 0)
        model.add_node(f"A{i}", float(x), 0, -float(y))
        model.add_member(f"arm{i}", f"N{i}", f"A{i}", "m", "arm")
        model.def_support_spring(f"A{i}", "DY", float(stiffness[i]))
        model.def_support_spring(f"N{i}", "RX", float(rail.foot_twist[i]))
        model.def_support(f"N{i}", False, False, True, False, False, False)
        if i:
            model.add_member(f"rail{i}", f"N{i - 1}", f"N{i}", "m", "rail")
    model.def_support("N0", True, False, True, False, True, False)
    model.add_node_load(f"A{lifted}", "FY", float(stiffness[lifted]))
    model.analyze_linear(check_stability=False)
    nodes = [model.nodes[f"N{i}"] for i in range(rail.supports)]
    heights = [node.DY["Combo 1"] for node in nodes]
    # Right-handed about X: Y turns towards Z = -y, so a point at y > 0 (Z < 0) rises with RX.
    twists = [node.RX["Combo 1"] for node in nodes]
    return np.concatenate([heights, 100.0 * np.array(twists)])
