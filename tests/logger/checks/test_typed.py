"""Facts about what is typed: units, lists, feelers, own limits, and the wrong unit suspected.

Wrong-unit cases: an inch is 25.4 mm by definition.
"""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from logger.checks.model import COMMON_PRACTICE
from logger.checks.table import BY_NAME, CHECKS
from logger.checks.taking import result_of
from logger.checks.typed import understand
from logger.errors import NotAllowed
from tests.logger.checks.reading import MACHINE, never, typed


def test_bare_numbers_are_in_the_checks_unit_and_others_are_written_out():
    readings = typed("toe", "front=4thou,5thou rear=0.004in,0.005 span=300").readings
    assert readings.numbers["front"] == pytest.approx((0.1016, 0.127))
    assert readings.numbers["rear"] == pytest.approx((0.1016, 0.005))
    assert readings.numbers["span"] == (300.0,)


def test_one_unit_at_the_end_is_that_of_the_whole_list():
    assert typed("toe", "front=4,5thou rear=3,4thou span=300").readings.numbers["front"] == pytest.approx(
        (0.1016, 0.127)
    )


@pytest.mark.parametrize(
    ("text", "meant"),
    [
        ("front=0.1 rear=0.1 span=12", r"is it 12 in \(304\.8 mm\)"),
        ("front=0.1 rear=0.1 span=0.3", r"is it 0\.3 m \(300 mm\)|is it 0\.3 in"),
        ("front=100 rear=100 span=300", r"is it 100 thou \(2\.54 mm\)"),
        ("front=200000 rear=0.1 span=300", "Check the reading"),
    ],
)
def test_a_wrong_unit_is_suspected_and_nothing_is_taken(text, meant):
    with pytest.raises(NotAllowed, match=meant):
        typed("toe", text)


def test_a_level_in_micrometres_per_metre_is_a_factor_of_a_thousand():
    with pytest.raises(NotAllowed, match=r"is it 150 um/m \(0\.15 mm/m\)"):
        typed("twist", "infeed=0.1 outfeed=150 feet_across=700")


def test_who_is_asked_and_says_yes_has_it_taken_in_the_other_unit():
    asked = []

    def yes(question):
        asked.append(question)
        return True

    assert typed("toe", "front=0.1 rear=0.1 span=12", yes).readings.numbers["span"] == pytest.approx((304.8,))
    assert len(asked) == 1


def test_a_unit_written_out_is_believed_and_its_size_remarked_on():
    readings = typed("toe", "front=0.1 rear=0.1 span=12mm").readings
    assert readings.numbers["span"] == (12.0,)
    assert any("span" in warning for warning in readings.warnings)


def taken(name, text, confirm=never):
    check = BY_NAME[name]
    return result_of(check, typed(name, text), [], MACHINE, confirm)


def test_readings_of_usual_size_with_a_result_no_machine_has_are_asked_about():
    # 4 and 6 thou over 240 mm: 2 thou = 0.0508 mm, closing by 0.2117 mm/m. Taken as millimetres it were 8.33 mm/m.
    with pytest.raises(NotAllowed, match=r"83 times what is allowed: were the readings in thou \(then -0.21 mm/m\)"):
        taken("toe", "front=4 rear=6 span=240")
    meant = taken("toe", "front=4 rear=6 span=240", lambda _question: True)
    assert meant.result.verdict.value == pytest.approx(-0.2117, abs=0.001)
    assert taken("toe", "front=4mm rear=6mm span=240").result.verdict.value == pytest.approx(-8.333, abs=0.01)
    arcsec = taken("twist", "infeed=2 outfeed=14 feet_across=800", lambda question: "arcsec" in question)
    assert arcsec.result.verdict.value == pytest.approx(12 * 0.004848, abs=1e-4)


def test_a_unit_may_be_written_in_more_than_one_way():
    assert typed("toe", "front=0.004inch rear=4mil span=240").readings.one("rear") == pytest.approx(4 * 0.0254)


def test_who_works_in_inches_writes_the_unit():
    with pytest.raises(NotAllowed, match=r"no unit.*front=0\.004in or front=0\.004mm"):
        typed("toe", "front=0.004 rear=0.003in span=12in", unit_needed=True)


@pytest.mark.parametrize(
    ("name", "text", "says"),
    [
        ("toe", "front=0.1", r"still wants rear .*span .*nothing was recorded"),
        ("toe", "frnt=0.1", r"no key 'frnt'; the nearest is 'front'"),
        ("toe", "front=0.1 front=0.2 rear=0 span=300", "given twice"),
        ("toe", "front=nan rear=0 span=300", "'nan' is not a number"),
        ("toe", "front=0.1 rear=0 span=300mm/m", "the unit 'mm/m' does not fit"),
        ("toe", "front", "no key=value"),
        ("fence", "cuts=fiv", "the nearest is 'five'"),
        ("fence", "cuts=five fence=behind", "fence_end .*far_end .*length"),
        (
            "fence",
            "cuts=five fence=behind fence_end=25 far_end=25 length=600 sides=800,600",
            "does not belong to cuts=five",
        ),
        ("base", "along=0,1", "one is allowed"),
        ("toe", "adjusted=yes front=0.1", "Record the adjustment alone"),
        ("toe", "front=0 rear=0 span=300 origin=mine", "Give allowed="),
        ("toe", "front=0 rear=0 span=300 allowed=0.2..0.1", "no limit"),
        ("condition", "clean=perhaps", "Allowed: yes, no"),
    ],
)
def test_what_cannot_be_is_one_sentence_with_what_would_help(name, text, says):
    with pytest.raises(NotAllowed, match=says):
        typed(name, text)


@given(st.text(max_size=40), st.text(max_size=40))
def test_whatever_is_typed_is_understood_or_refused_in_words(key, value):
    for check in CHECKS:
        try:
            understand(
                check, [f"{key}={value}", f"{check.asks[0].key if check.asks else 'x'}={value}"], check.allowed, never
            )
        except NotAllowed as refused:
            assert refused.what


def test_own_limits_keep_their_shape_and_their_origin():
    own = understand(
        BY_NAME["toe"],
        ["front=0", "rear=0", "span=300", "allowed=0.1", "origin=maker's manual"],
        BY_NAME["toe"].allowed,
        never,
    )
    assert (own.allowed.lower, own.allowed.upper, own.allowed.origin) == (0.0, 0.1, "maker's manual")
    assert own.own_limits
    assert (
        typed("fence", "cuts=five fence=behind fence_end=25 far_end=25 length=600 allowed=0.05").allowed.lower == -0.05
    )
    assert typed("toe", "front=0 rear=0 span=300").allowed.origin == COMMON_PRACTICE
