"""Facts about sections: rolled sections of the standards' tables, and the textbook's torsion of a rectangle."""

import math

import pytest
from pydantic import TypeAdapter, ValidationError

from logger.description.sections import Section, rectangle_torsion_mm4

SECTION = TypeAdapter(Section)


def section(**keys):
    return SECTION.validate_python(keys)


@pytest.mark.parametrize(
    ("ratio", "k"),
    # Timoshenko and Goodier, Theory of Elasticity, section 109, table of k1 for J = k1 (2a)^3 (2b). Values from memory.
    [(1.0, 0.1406), (1.5, 0.196), (2.0, 0.229), (3.0, 0.263), (5.0, 0.291), (10.0, 0.312)],
)
def test_torsion_of_a_full_rectangle_is_saint_venants(ratio, k):
    assert rectangle_torsion_mm4(10 * ratio, 10) == pytest.approx(k * 10 * ratio * 10**3, rel=3e-3)
    assert rectangle_torsion_mm4(10, 10 * ratio) == rectangle_torsion_mm4(10 * ratio, 10), "either side may be up"


@pytest.mark.parametrize(
    ("keys", "area_cm2", "i_cm4", "j_cm4"),
    [
        # EN 10210-2, square hollow sections, hot finished. Table values from memory; corners cost 3 to 6 %.
        ({"shape": "box", "width_mm": 100, "height_mm": 100, "wall_mm": 5}, 18.7, 279, 439),
        ({"shape": "box", "width_mm": 60, "height_mm": 60, "wall_mm": 4}, 8.79, 45.4, 72.5),
        # EN 10210-2, circular hollow section 114.3 x 5. From memory.
        ({"shape": "tube", "diameter_mm": 114.3, "wall_mm": 5}, 17.2, 257, 514),
        # EN 10056-1, equal angle 50 x 50 x 5. From memory.
        ({"shape": "angle", "width_mm": 50, "height_mm": 50, "wall_mm": 5}, 4.80, 11.0, None),
    ],
)
def test_standard_sections_come_out_within_their_corners(keys, area_cm2, i_cm4, j_cm4):
    one = section(**keys)
    assert one.area_mm2 == pytest.approx(area_cm2 * 100, rel=0.06)
    assert one.I_mm4 == pytest.approx(i_cm4 * 1e4, rel=0.06)
    if j_cm4 is not None:
        assert one.J_mm4 == pytest.approx(j_cm4 * 1e4, rel=0.06)


def test_a_channel_with_its_web_upright_worked_by_hand():
    one = section(shape="channel", web_mm=100, flange_mm=50, wall_mm=5)
    assert one.area_mm2 == 2 * 50 * 5 + 90 * 5
    assert one.I_mm4 == pytest.approx((50 * 100**3 - 45 * 90**3) / 12)
    assert one.J_mm4 == pytest.approx((100 + 2 * 45) * 125 / 3)


def test_a_lying_channel_is_softer_than_an_upright_one():
    upright, lying = (
        section(shape="channel", web_mm=100, flange_mm=50, wall_mm=5, web=web) for web in ("upright", "lying")
    )
    assert lying.area_mm2 == upright.area_mm2
    assert lying.I_mm4 < upright.I_mm4 / 3


def test_a_slit_tube_is_not_a_tube():
    """Where the naive method fails: the same steel, closed or open, differs in torsion a hundredfold."""
    box = section(shape="box", width_mm=60, height_mm=60, wall_mm=3)
    perimeter = 4 * 57
    assert box.J_mm4 > 100 * perimeter * 3**3 / 3


def test_thin_walls_approach_bredt_and_full_bars_their_closed_forms():
    tube = section(shape="tube", diameter_mm=100, wall_mm=0.1)
    middle = 99.9
    assert tube.J_mm4 == pytest.approx(math.pi * middle**3 * 0.1 / 4, rel=1e-5)
    assert section(shape="bar", diameter_mm=20).J_mm4 == pytest.approx(math.pi * 20**4 / 32)


@pytest.mark.parametrize(
    "keys",
    [
        {"shape": "box", "width_mm": 60, "height_mm": 20, "wall_mm": 10},
        {"shape": "tube", "diameter_mm": 20, "wall_mm": 12},
        {"shape": "angle", "width_mm": 50, "height_mm": 5, "wall_mm": 5},
        {"shape": "channel", "web_mm": 10, "flange_mm": 50, "wall_mm": 5},
        {"shape": "solid", "width_mm": 0, "height_mm": 5},
    ],
)
def test_a_wall_that_does_not_fit_its_section_is_refused(keys):
    with pytest.raises(ValidationError):
        section(**keys)
