"""Facts about the table of checks: an order without cycles, cautions where the danger is, limits with their origin.

Limits marked common practice have no source and claim none.
"""

import pytest

from logger.checks.table import BY_NAME, CHECKS, all_above, all_below


def test_the_order_of_the_table_is_an_order_of_work_so_there_is_no_cycle():
    seen: set[str] = set()
    for check in CHECKS:
        assert {each.check for each in check.rests_on} <= seen, f"{check.name} comes before what it rests on"
        seen.add(check.name)
    assert all(name not in all_below(name) for name in BY_NAME)


def test_condition_comes_first_and_everything_rests_on_it():
    assert CHECKS[0].name == "condition"
    assert set(all_above("condition")) == set(BY_NAME) - {"condition"}


def test_run_out_comes_before_toe_and_every_dependence_gives_its_reason():
    names = [check.name for check in CHECKS]
    assert names.index("flange") < names.index("blade") < names.index("toe")
    for check in CHECKS:
        for each in (*check.rests_on, *check.left_alone_by):
            assert each.check in BY_NAME
            assert each.reason.endswith(".")


def test_what_is_left_alone_is_not_made_stale():
    for check in CHECKS:
        assert not {each.check for each in check.left_alone_by} & set(all_below(check.name)), check.name
    assert "fence" not in all_above("rail"), "height of the rail turns fence and travel together"


@pytest.mark.parametrize("check", CHECKS, ids=lambda check: check.name)
def test_every_check_has_cautions_steps_and_a_limit_with_its_origin(check):
    assert any("lock out the power" in caution for caution in check.cautions)
    assert check.steps
    assert check.allowed.origin
    assert "ISO" not in check.allowed.origin, "no published limit of these is known"


def test_cautions_stand_where_the_danger_is():
    assert any("jacks" in caution for caution in BY_NAME["base"].cautions)
    assert any("riving knife" in caution for caution in BY_NAME["fence"].cautions)
    assert any("all supports" in caution for caution in BY_NAME["toe"].cautions)
