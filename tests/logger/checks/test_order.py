"""Facts about the order of work: no circle, the drawing in DEVELOPERS.md is that of the data, a skipped check costs."""

from pathlib import Path

import pytest

from logger.checks.order import circle, drawn, edges
from logger.checks.table import BY_NAME, CHECKS, ORDER, all_above, all_below

DEVELOPERS = (Path(__file__).parents[3] / "DEVELOPERS.md").read_text(encoding="utf-8")


def test_the_drawing_in_the_developers_notes_is_that_of_the_data():
    assert "\n".join(drawn()) in DEVELOPERS, "renew it: python -m logger.checks.order"


def test_there_is_no_circle_and_one_would_be_found():
    assert circle(edges()) == ()
    assert circle({"toe": ["rail"], "rail": ["twist"], "twist": ["toe"]}) == ("toe", "rail", "twist", "toe")
    assert circle({"toe": ["toe"]}) == ("toe", "toe")
    assert circle({"toe": ["rail", "blade"], "rail": ["blade"], "blade": []}) == ()


def test_every_check_comes_after_what_it_rests_on():
    for place, name in enumerate(ORDER):
        assert {each.check for each in BY_NAME[name].rests_on} <= set(ORDER[:place]), name
    assert [check.name for check in CHECKS] == list(ORDER)


def test_what_turns_comes_before_toe_and_scoring_whatever_its_number():
    for name in ("arbor", "flange", "blade"):
        assert ORDER.index(name) < min(ORDER.index("toe"), ORDER.index("scoring"))
        assert {"toe", "scoring"} <= set(all_above(name))


def test_every_edge_and_every_disturbance_has_its_reason_by_geometry():
    for check in CHECKS:
        for each in (*check.rests_on, *check.disturbs, *check.left_alone_by):
            assert each.check in BY_NAME
            assert len(each.reason) > 20
            assert each.reason.endswith(".")
        assert not {each.check for each in check.disturbs} & set(all_above(check.name)), "above it is stale anyway"


@pytest.mark.parametrize("name", ["rail", "toe", "outrigger"])
def test_height_and_toe_of_the_rail_leave_squareness_alone(name):
    assert "fence" not in all_above(name)
    assert name not in all_below("fence")


def test_a_bend_in_plan_and_a_disturbed_seat_do_not():
    for name in ("straight", "outrigger"):
        assert "fence" in {each.check for each in BY_NAME[name].disturbs}


def test_the_final_sweep_rests_on_everything():
    assert set(all_below("final")) == set(ORDER) - {"final"}
