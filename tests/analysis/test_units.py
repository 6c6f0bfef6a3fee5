"""Signs and units: each rule once, and back again."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from analysis.units import (
    LENGTH_UNITS,
    SLOPE_UNITS,
    UnknownUnit,
    base_unit,
    from_base,
    height_from_reading,
    mm_to_thou,
    reading_from_height,
    sign_of_reading,
    to_base,
)

KINDS = st.sampled_from(["fixed", "carried", "level"])
SENSES = st.sampled_from(["normal", "reversed"])
NUMBERS = st.floats(-5.0, 5.0)


@pytest.mark.parametrize(
    ("value", "unit", "mm_per_m"),
    [
        # Derived from tan of the angle; 12 inches in a foot.
        (206.26474, "arcsec", 1.0),
        (0.0572958, "deg", 1.0),
        (0.012, "in/ft", 1.0),
        (0.0005, "in/ft", 0.041667),
        (1.0, "arcsec", 0.004848137),
        (1.0, "deg", 17.45506),
    ],
)
def test_slopes_in_other_units(value, unit, mm_per_m):
    assert to_base(value, unit) == pytest.approx(mm_per_m, rel=2e-6, abs=4e-7)


def test_an_inch_is_25_4_millimetres():
    assert to_base(1.0, "in") == 25.4
    assert mm_to_thou(0.0254) == pytest.approx(1.0)


def test_a_fixed_indicator_pushed_in_says_higher():
    assert height_from_reading(0.35, "fixed", 0.25) == pytest.approx(0.10)


def test_a_carried_indicator_let_out_says_higher():
    assert height_from_reading(0.15, "carried", 0.25) == pytest.approx(0.10)


def test_taking_the_display_for_the_height_is_wrong_by_sign_when_carried():
    raw = 0.15
    assert np.sign(raw - 0.25) != np.sign(height_from_reading(raw, "carried", 0.25))


def test_an_unknown_zero_leaves_the_shape():
    shape = height_from_reading(np.array([0.3, 0.5]), "fixed", None)
    assert np.ptp(shape) == pytest.approx(0.2)


@given(NUMBERS, KINDS, NUMBERS, SENSES)
def test_the_display_for_a_height_is_the_inverse(reading, kind, zero, sense):
    height = height_from_reading(reading, kind, zero, sense)
    assert reading_from_height(height, kind, zero, sense) == pytest.approx(reading, abs=1e-12)


@given(NUMBERS, KINDS, NUMBERS)
def test_reversed_turns_every_sign(reading, kind, zero):
    assert height_from_reading(reading, kind, zero, "reversed") == -height_from_reading(reading, kind, zero, "normal")


@given(st.sampled_from(LENGTH_UNITS + SLOPE_UNITS), st.floats(-3.0, 3.0))
def test_there_and_back(unit, value):
    assert from_base(to_base(value, unit), unit) == pytest.approx(value, rel=1e-12, abs=1e-12)


def test_unknown_words_are_named():
    with pytest.raises(UnknownUnit, match="furlong"):
        base_unit("furlong")
    with pytest.raises(ValueError, match="hanging"):
        sign_of_reading("hanging")  # type: ignore[arg-type]
    with pytest.raises(ValueError, match="sideways"):
        sign_of_reading("fixed", "sideways")  # type: ignore[arg-type]
