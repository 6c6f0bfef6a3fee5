"""Any rail on bolts: what is described in machine.yaml reaches the physics, and what cannot be is refused."""

from __future__ import annotations

import numpy as np
import pytest

from analysis.prior import physics_response
from logger.advising.inputs import bench_of, carriage_of, prior_of
from logger.errors import BadFile
from logger.machines import machine_from_text

RAIL = "rail: {from_mm: -200, to_mm: 2900, material: steel, I_mm4: 5.2e+5, J_mm4: 8.0e+5}"
CARRIAGE = "carriage: {bearing_span_mm: 640, top_length_mm: 1200, edge_y_mm: 150, stroke_mm: [200, 2400]}"
TABLE = "table: {from_mm: 700, to_mm: 1500}"


def test_a_pitch_of_zero_is_no_thread():
    with pytest.raises(BadFile) as bad:
        machine_from_text(f"name: x\n{RAIL}\n{CARRIAGE}\nbolts: [{{name: B1, x_mm: 0, pitch_mm: 0}}]\n{TABLE}\n", "m")
    assert "pitch_mm" in " ".join(map(str, bad.value.faults))


def described(bolts, rail=RAIL, carriage=CARRIAGE, more=""):
    rows = "\n".join(f"  - {{name: B{number}, pitch_mm: 1.5, {bolt}}}" for number, bolt in enumerate(bolts, 1))
    text = f"name: invented\n{rail}\n{carriage}\nbolts:\n{rows}\n{TABLE}\n"
    text += "set_ups:\n  across: {kind: fixed, x_mm: 1100}\n" + more
    return machine_from_text(text, "machine.yaml")


def row(count, **more):
    extra = "".join(f", {key}: {value}" for key, value in more.items())
    return [f"x_mm: {x:.0f}{extra}" for x in np.linspace(0, 2700, count)]


def response(machine, at_mm=1100.0):
    """Heave, pitch and roll at one place per mm of each bolt, of the median machine: (3, bolts)."""
    prior = prior_of(machine)
    return physics_response(prior, np.zeros((1, prior.size)), np.array([at_mm]))[0, 0]


@pytest.mark.parametrize("count", range(3, 13))
def test_three_to_twelve_supports_move_the_carriage_up_together_by_what_they_are_lifted(count):
    assert response(described(row(count)))[0].sum() == pytest.approx(1.0, abs=1e-6)
    assert response(described(row(count)))[1].sum() == pytest.approx(0.0, abs=1e-9)


def test_a_pair_rolls_the_carriage_and_lifts_it_and_singles_only_lift():
    pairs = [f"x_mm: {x}, y_mm: {y}" for x in (100, 1350, 2600) for y in (40, -40)]
    heave, _, roll = response(described(pairs), 1350.0)
    assert heave[2] == pytest.approx(heave[3], rel=1e-6) and heave[2] > 0.1
    assert roll[2] == pytest.approx(-roll[3], rel=1e-6) and roll[2] > 0
    assert np.abs(response(described(row(6)))[2]).max() < 1e-12


def test_pairs_and_singles_beside_each_other():
    mixed = ["x_mm: 0, y_mm: 35", "x_mm: 0, y_mm: -35", "x_mm: 900, y_mm: -15", "x_mm: 1800", "x_mm: 2700"]
    assert response(described(mixed))[0].sum() == pytest.approx(1.0, abs=1e-6)


def test_a_differential_screw_moves_by_the_difference_and_either_sense_and_side_are_kept():
    machine = described(["x_mm: 0, counter_pitch_mm: 1.25", "x_mm: 1300, raises: anticlockwise", "x_mm: 2700"])
    assert machine.bolt("B1").travel_per_turn_mm == pytest.approx(0.25)
    assert machine.bolt("B2").raises == "anticlockwise"


def test_feet_that_only_rest_are_known_to_the_physics_and_clamped_ones_are_not_among_them():
    machine = described([*row(4, kind="rest_only"), "x_mm: 1350, kind: clamped"])
    one_way = bench_of(machine).one_way
    assert one_way is not None and one_way.tolist() == [True] * 4 + [False]


def test_a_tight_end_brace_holds_the_rail_and_a_loose_one_does_not():
    """Lifting the last bolt against a strut at the rail's end does less than with the strut loose."""
    free = response(described(row(5)), 2300.0)[0, -1]
    tight = response(described(row(5), more="braces:\n  - {name: strut, x_mm: 2880}\n"), 2300.0)[0, -1]
    loose = response(described(row(5), more="braces:\n  - {name: strut, x_mm: 2880, tight: false}\n"), 2300.0)[0, -1]
    assert loose == pytest.approx(free)
    assert tight < 0.97 * free
    assert response(described(row(5), more="braces:\n  - {name: strut, x_mm: 2880}\n"))[0].size == 5


def test_a_carriage_on_a_cage_rolls_half_as_far_on_the_rail():
    cage = "carriage: {bearing_span_mm: 640, top_length_mm: 2400, edge_y_mm: 150, stroke_mm: [600, 2100], cage: true}"
    carriage = carriage_of(described(row(5), carriage=cage))
    moved = carriage.cage_mm(np.array([600.0, 1350.0, 2100.0]))
    assert np.diff(moved) == pytest.approx([375.0, 375.0]) and moved[1] == pytest.approx(1350.0)


@pytest.mark.parametrize(
    "section",
    [
        "{shape: solid, width_mm: 60, height_mm: 50}",
        "{shape: bar, diameter_mm: 50}",
        "{shape: tube, diameter_mm: 80, wall_mm: 5}",
        "{shape: box, width_mm: 80, height_mm: 80, wall_mm: 5}",
        "{shape: angle, width_mm: 80, height_mm: 80, wall_mm: 8}",
        "{shape: channel, web_mm: 100, flange_mm: 50, wall_mm: 6}",
    ],
)
def test_a_section_comes_from_a_few_shapes_and_their_dimensions(section):
    machine = described(row(4), rail=f"rail: {{from_mm: -200, to_mm: 2900, section: {section}}}")
    bench = bench_of(machine)
    assert bench.section_known and pytest.approx(210e3 * machine.rail.bending_I_mm4) == bench.EI


def test_not_knowing_the_section_is_an_answer_and_widens_what_is_believed():
    unknown = prior_of(described(row(4), rail="rail: {from_mm: -200, to_mm: 2900, section: don't know}"))
    known = prior_of(described(row(4)))
    assert not unknown.bench.section_known
    s = np.array([1100.0])
    spread = [physics_response(p, p.draw(80), s)[:, 0, 0].std(axis=0).max() for p in (unknown, known)]
    assert spread[0] > 1.15 * spread[1]


@pytest.mark.parametrize(
    ("changed", "said"),
    [
        ({"carriage": CARRIAGE.replace("[200, 2400]", "[-900, 2400]")}, "beyond the rail"),
        ({"bolts": ["x_mm: 0, counter_pitch_mm: 1.5", "x_mm: 900"]}, "counter_pitch_mm"),
        ({"bolts": ["x_mm: 100", "x_mm: 100, y_mm: 40"]}, "two or more places along the rail"),
        ({"bolts": ["x_mm: 0", "x_mm: 5000"]}, "on the rail"),
        ({"more": "  beyond: {kind: fixed, x_mm: 9000}\n"}, "never comes"),
        ({"more": "  away: {kind: carried, offset_mm: 5000}\n"}, "over the table"),
    ],
)
def test_a_machine_that_cannot_be_is_refused_with_what_is_wrong(changed, said):
    with pytest.raises(BadFile) as bad:
        described(**{"bolts": row(4), **changed})
    assert said in " ".join(map(str, bad.value.faults))
