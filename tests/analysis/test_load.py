"""What a known mass does to readings, held against statics, reciprocity, and a simulated saw by finite elements."""

from __future__ import annotations

import numpy as np
import pytest

from analysis.carriage import Carriage
from analysis.learn import Changes, Lifts, learn
from analysis.load import GRAVITY_m_s2, Loaded, changes_of, load_response, moved_by_load
from analysis.prior import Bench, Prior
from analysis.rail import Load, Rail, loaded_shape, single_loads
from analysis.response import SetUp
from fixtures.layouts import KILN_STREET
from fixtures.loading import loaded as with_mass
from fixtures.workshop import draw_machine

EI, GJ = 210e3 * 5.2e5, 81e3 * 8.0e5
ONE_ROLLER = Carriage((-1.0, 1.0), (0.0, 2000.0), 1200.0, 150.0)


def two_supports(stiffness, span=2000.0):
    return Rail(
        np.array([EI]), np.array([GJ]), np.array([[0.0, span]]), np.zeros((1, 2)), np.eye(2)[None] / stiffness,
        np.full((1, 2), 1e12),
    )  # fmt: skip


def laid(mass, s, x=None, y=0.0, set_up=None, **more):
    s = np.atleast_1d(np.asarray(s, float))
    x = s if x is None else np.atleast_1d(np.asarray(x, float))
    nothing = np.zeros((len(s), len(s)))
    return Loaded(set_up or SetUp("fixed", x_mm=float(s[0])), mass, s, x, y, np.zeros(len(s)), nothing, **more)


def test_a_mass_in_the_middle_of_two_soft_supports_sinks_by_both_their_gives_and_the_beam():
    """Handbook: P/(2k) + P L^3 / (48 EI) (Timoshenko, Strength of Materials I)."""
    force = 20.0 * GRAVITY_m_s2
    change = changes_of(two_supports(8e3), ONE_ROLLER, laid(20.0, 1000.0))
    assert change[0, 0] == pytest.approx(-(force / 16e3 + force * 2000.0**3 / (48 * EI)), rel=2e-3)


def test_a_mass_beside_the_line_rolls_the_carriage_by_torque_over_the_rail_s_torsion():
    """A couple T in mid-span of a shaft held at both ends: T L / (4 GJ) of twist (Timoshenko)."""
    level = SetUp("level", axis="roll")
    change = changes_of(two_supports(1e9), ONE_ROLLER, laid(20.0, 1000.0, y=100.0, set_up=level))
    assert change[0, 0] == pytest.approx(-1000.0 * 20.0 * GRAVITY_m_s2 * 100.0 * 2000.0 / (4 * GJ), rel=1e-3)


def test_a_mass_ahead_of_the_middle_presses_the_bearings_by_the_lever_rule():
    rail, carriage = two_supports(8e3), Carriage((-300.0, 300.0), (0.0, 2000.0), 1200.0, 150.0)
    ahead = changes_of(rail, carriage, laid(20.0, 1000.0, x=1300.0))[0, 0]
    by_hand = loaded_shape(rail, np.zeros(2), (Load(-20.0 * GRAVITY_m_s2, 1300.0, 1300.0),))
    heights = by_hand.height(np.array([[700.0, 1300.0]]))[0, :, 0]
    assert ahead == pytest.approx(heights.mean(), rel=1e-9)  # all of it on one bearing; read at the middle


def test_loads_and_readings_are_reciprocal():
    """Maxwell and Betti: the reading at p under a mass at q is the reading at q under the mass at p."""
    prior = Prior(
        Bench(BOLTS_mm, np.zeros(len(BOLTS_mm)), EI, GJ, Carriage((-320.0, 320.0), (0.0, 2600.0), 1200.0, 150.0))
    )
    draw = prior.draw(6)
    p, q = SetUp("fixed", x_mm=900.0, y_mm=40.0), SetUp("fixed", x_mm=1500.0, y_mm=110.0)
    one = load_response(prior, draw, laid(15.0, 1200.0, x=1500.0, y=110.0, set_up=p))
    other = load_response(prior, draw, laid(15.0, 1200.0, x=900.0, y=40.0, set_up=q))
    straight = np.abs(one - other) / np.abs(one)
    assert straight.max() < 0.02  # the spans of the draws differ by some parts in a hundred from the nominal ones


def test_single_loads_add_up_to_the_loaded_shape():
    rail = two_supports(8e3)
    loads = (Load(-100.0, 300.0, 300.0, 40.0), Load(-50.0, 1400.0, 1500.0))
    at = np.array([[200.0, 900.0, 1700.0]])
    apart, together = single_loads(rail, loads), loaded_shape(rail, np.zeros(2), loads)
    assert apart.height(at).sum(axis=-1) == pytest.approx(together.height(at)[..., 0])
    assert apart.twist(at).sum(axis=-1) == pytest.approx(together.twist(at)[..., 0])
    assert apart.moment(at).sum(axis=-1) == pytest.approx(together.moment(at)[..., 0])


BOLTS_mm = np.array([bolt.x_mm for bolt in KILN_STREET.bolts])


def saw(seed, ranges="usual"):
    machine = draw_machine(seed, "kiln-street", ranges)
    plan = machine.layout.carriage
    carriage = Carriage(plan.bearing_offsets_mm, plan.stroke_mm, plan.top_length_mm, plan.edge_y_mm)
    EI_of_it, GJ_of_it = 210e3 * machine.layout.i_mm4, 81e3 * machine.layout.j_mm4
    prior = Prior(Bench(BOLTS_mm, np.zeros(len(BOLTS_mm)), EI_of_it, GJ_of_it, carriage))
    return machine, prior


def weighed(machine, mass=25.0, ahead=0.0):
    s = np.linspace(560.0, 1640.0, 7)
    change = with_mass(machine, mass, ahead, 20.0).truth_heights("across", s) - machine.truth_heights("across", s)
    noise = np.random.default_rng(5).normal(0, 0.0008, len(s))
    doubt = 0.0008**2 * np.eye(len(s))
    return Loaded(SetUp("fixed", x_mm=1100.0), mass, s, s + ahead, 20.0, change + noise, doubt)


def test_the_simulated_saw_sinks_as_its_stiffness_says():
    """Finite elements, frame and all: a soft saw sinks more than a stiff one, and by what the prior's draws span."""
    sunk = {}
    for ranges in ("soft", "usual", "stiff"):
        machine, prior = saw(3, ranges)
        evidence = weighed(machine)
        sunk[ranges] = -float(evidence.change.mean())
        draws = -load_response(prior, prior.draw(400), evidence).mean(axis=1)
        assert draws.min() < sunk[ranges] < draws.max()
    assert sunk["soft"] > 1.5 * sunk["usual"] > 2.0 * sunk["stiff"]


def test_a_mass_makes_the_first_response_better_before_any_bolt_is_turned():
    """Learned from one panel against nothing learned: error of the response to all bolts, on the simulated truth."""
    none = Lifts(np.zeros(0, np.int64), np.zeros(0), np.zeros(0))
    nothing = Changes(np.zeros(0), np.zeros((0, 3)), np.zeros(0), np.zeros((0, 0)), np.zeros((0, 0)))
    x = np.linspace(560.0, 1640.0, 9)
    ratio, covered = [], []
    for seed, ranges in ((1, "soft"), (2, "soft"), (3, "usual"), (4, "usual"), (5, "stiff"), (6, "stiff")):
        machine, prior = saw(seed, ranges)
        truth = machine.response("across", x)
        errors = []
        for loads in ((), (weighed(machine), weighed(machine, 25.0, 400.0))):
            learned = learn(prior, none, nothing, 80, loads=loads)
            weights = np.stack([np.ones_like(x), 1100.0 - x, np.full_like(x, 150.0)], axis=-1)
            draws = np.einsum("dsqb,sq->dsb", learned.state_response(x), weights)
            errors.append(np.sqrt(np.mean((draws.mean(axis=0) - truth) ** 2)))
        covered.append(np.mean(np.abs(truth - draws.mean(axis=0)) <= 2.2 * draws.std(axis=0)))
        ratio.append(errors[1] / errors[0])
    assert np.exp(np.mean(np.log(ratio))) < 0.75
    assert np.mean(covered) > 0.85


def test_what_a_load_moves_has_its_uncertainty():
    s = np.linspace(500.0, 1700.0, 13)
    shape = -0.010 - 0.015 * np.sin(np.pi * (s - 500.0) / 1200.0)
    moved = moved_by_load(s, np.full(13, 0.1), 0.1 + shape, 1e-6 * np.eye(13), 1e-6 * np.eye(13))
    assert moved.most == pytest.approx(-0.025) and moved.most_at_mm == pytest.approx(1100.0)
    assert moved.spread == pytest.approx(0.015, abs=0.002)
    assert moved.uncertainty[0] == pytest.approx(2 * np.sqrt(2e-6))
