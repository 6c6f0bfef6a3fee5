"""The decision rule, against ISO 14253-1 (inside only by U, outside only by U, else undecided)."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from analysis.verdict import combine, judge


@pytest.mark.parametrize(
    ("value", "word"),
    [
        (0.0, "inside"),
        (12.0, "inside"),
        (12.1, "cannot tell"),
        (20.0, "cannot tell"),
        (28.0, "cannot tell"),
        (28.1, "outside"),
    ],
)
def test_limits_of_20_with_an_uncertainty_of_8(value, word):
    # The rule is ISO 14253-1's; the worked figures are derived from it: pass |x| <= 12, fail |x| > 28.
    for signed in (value, -value):
        assert judge(signed, 8.0, -20.0, 20.0).word == word


def test_accepting_at_the_edge_is_what_the_guard_prevents():
    naive = 0.049 <= 0.05
    assert naive
    assert judge(0.049, 0.004, None, 0.05).word == "cannot tell"


def test_what_is_not_a_number_cannot_be_judged():
    assert judge(math.nan, 0.1, None, 1.0).word == "cannot tell"
    assert judge(0.1, math.inf, None, 1.0).word == "cannot tell"


def test_the_worst_of_several_decides():
    inside, outside = judge(0.01, 0.001, None, 0.05), judge(0.2, 0.001, 0.05, 0.15)
    unsure = judge(0.15, 0.01, 0.05, 0.15)
    assert combine([inside, unsure]).word == "cannot tell"
    assert combine([unsure, outside, inside]).word == "outside"
    assert combine([inside, inside]).word == "inside"
    with pytest.raises(ValueError, match="no verdict"):
        combine([])


@given(st.floats(-1, 1), st.floats(0, 0.5), st.floats(0, 0.5))
def test_less_uncertainty_never_takes_a_clear_verdict_back(value, uncertainty, less):
    wide, narrow = judge(value, uncertainty, -0.3, 0.3), judge(value, uncertainty * less, -0.3, 0.3)
    if wide.word != "cannot tell":
        assert narrow.word == wide.word
