"""The rail picture on paper draws the numbers it was given, at the scale it says."""

import re
from dataclasses import replace
from xml.etree import ElementTree

import numpy as np
import pytest

from logger.rail_picture import Bolt, Curve, Flag, RailPicture
from logger.report.rail_drawing import draw_rail
from logger.report.svg import svg

X = np.linspace(0.0, 2000.0, 41)
HEIGHT = 0.10 + 0.04 * np.sin(X / 300.0)
PICTURE = RailPicture(
    from_mm=-300.0,
    to_mm=2900.0,
    bolts=(Bolt("B1", 150.0), Bolt("B2", 1150.0, raise_mm=0.09), Bolt("B3", 2650.0, seen=False, raise_mm=None)),
    curve=Curve(X, HEIGHT, np.full(41, 0.002)),
    band=(0.075, 0.125),
    flags=(Flag("high", 471.0, 0.140), Flag("low", 1414.0, 0.060)),
    places=(("spindle", 1450.0),),
)


def drawn(picture=PICTURE, units="mm"):
    return ElementTree.fromstring(str(svg(draw_rail(picture, units, "rail"), alone=True)))


def named(tree, name):
    return [each for each in tree.iter() if each.get("class") == name]


def points(element):
    return np.array([[float(n) for n in pair.split(",")] for pair in element.get("points").split()])


def scales(tree):
    """The map from picture units to mm, read off the picture's own ticks and labels as a person would."""
    along = [(float(t.get("x")), float(t.text.replace("−", "-"))) for t in named(tree, "along")]
    up = [(float(t.get("y")) - 4.0, float(t.text.replace("−", "-"))) for t in named(tree, "scale")]
    (x0, m0), (x1, m1) = along[0], along[-1]
    (y0, h0), (y1, h1) = up[0], up[-1]
    return (lambda x: m0 + (x - x0) * (m1 - m0) / (x1 - x0)), (lambda y: h0 + (y - y0) * (h1 - h0) / (y1 - y0))


def test_the_profile_read_off_the_scales_is_the_profile_given():
    tree = drawn()
    to_x, to_height = scales(tree)
    (profile,) = named(tree, "profile")
    at = points(profile)
    assert to_x(at[:, 0]) == pytest.approx(X, abs=0.1)
    assert to_height(at[:, 1]) == pytest.approx(HEIGHT, abs=1e-5)


def test_bolts_stand_where_they_are_and_say_their_names():
    tree = drawn()
    to_x, _ = scales(tree)
    names = {t.text: to_x(float(t.get("x"))) for t in named(tree, "bolt-name")}
    assert names == {
        "B1": pytest.approx(150, abs=1),
        "B2": pytest.approx(1150, abs=1),
        "B3": pytest.approx(2650, abs=1),
    }
    assert len(named(tree, "bolt unseen")) == 1


def test_a_hump_lies_above_the_upper_line_and_a_hollow_below_the_lower():
    tree = drawn()
    _, to_height = scales(tree)
    humps = [to_height(points(each)[:, 1]) for each in named(tree, "hump")]
    hollows = [to_height(points(each)[:, 1]) for each in named(tree, "hollow")]
    assert all(h.min() >= 0.125 - 1e-6 for h in humps)
    assert max(h.max() for h in humps) == pytest.approx(HEIGHT.max(), abs=1e-5)
    assert all(h.max() <= 0.075 + 1e-6 for h in hollows)
    assert min(h.min() for h in hollows) == pytest.approx(HEIGHT.min(), abs=1e-5)


def test_a_hump_begins_where_the_line_is_crossed_not_at_the_next_station():
    curve = Curve(np.array([0.0, 1000.0]), np.array([0.075, 0.175]))
    tree = drawn(replace(PICTURE, curve=curve, flags=()))
    to_x, _ = scales(tree)
    (hump,) = named(tree, "hump")
    assert to_x(points(hump)[:, 0].min()) == pytest.approx(500.0, abs=0.5)


def test_a_rail_inside_the_band_has_neither_hump_nor_hollow():
    tree = drawn(replace(PICTURE, curve=Curve(X, np.full(41, 0.1)), flags=()))
    assert not named(tree, "hump")
    assert not named(tree, "hollow")


def test_what_was_not_seen_is_hatched_and_has_no_band():
    gap = (800.0, 1100.0)
    keep = (gap[0] >= X) | (gap[1] <= X)
    tree = drawn(replace(PICTURE, curve=Curve(X[keep], HEIGHT[keep], not_seen=(gap,))))
    to_x, _ = scales(tree)
    hatched = sorted((to_x(p[:, 0].min()), to_x(p[:, 0].max())) for p in map(points, named(tree, "unseen")))
    assert hatched == [pytest.approx(pair, abs=1) for pair in ((-300, 0), (800, 1100), (2000, 2900))]
    assert all(each.get("fill").startswith("url(#") for each in named(tree, "unseen"))
    for band in named(tree, "band"):
        left, right = to_x(points(band)[:, 0].min()), to_x(points(band)[:, 0].max())
        assert right <= 801
        break
    assert len(named(tree, "profile")) == 2
    assert left < right


def test_nothing_measured_is_hatched_from_end_to_end():
    tree = drawn(replace(PICTURE, curve=None, flags=()))
    to_x, _ = scales(tree)
    (hatched,) = named(tree, "unseen")
    assert to_x(points(hatched)[:, 0].max()) == pytest.approx(2900.0, abs=1)
    assert not named(tree, "profile")


def test_flags_and_moves_say_the_amount_the_picture_has_there():
    tree = drawn()
    assert sorted(t.text for t in named(tree, "flag")) == ["▲ +0.140", "▼ +0.060"]
    assert [t.text for t in named(tree, "move-amount")] == ["0.09"]


def test_in_inches_heights_are_thou():
    tree = drawn(units="in")
    assert {t.text for t in named(tree, "scale")} == {"3.0", "4.9"}
    assert [t.text for t in named(tree, "move-amount")] == ["3.5 thou"]
    assert [t.text for t in named(tree, "along")] == ["0 in", "20 in", "40 in", "60 in", "80 in", "100 in"]


def test_an_uncertainty_of_more_than_half_a_row_is_drawn_a_smaller_one_is_not():
    assert not named(drawn(), "sleeve")
    wide = replace(PICTURE, curve=Curve(X, HEIGHT, np.full(41, 0.02)))
    _, to_height = scales(drawn(wide))
    low, high = (to_height(points(each)[:, 1]) for each in named(drawn(wide), "sleeve"))
    assert high - low == pytest.approx(np.full(41, 0.04), abs=1e-4)


def test_a_value_beyond_the_drawing_is_cut_and_said():
    wild = replace(PICTURE, curve=Curve(X, HEIGHT + 3.0), flags=(Flag("high", 471.0, 3.14),))
    (flag,) = named(drawn(wild), "flag")
    assert re.fullmatch(r"▲ \d\.\d+ beyond the drawing", flag.text)


def test_a_name_with_markup_is_text():
    tree = drawn(replace(PICTURE, bolts=(Bolt("<b>&\x1b", 150.0),)))
    assert [t.text for t in named(tree, "bolt-name")] == ["<b>&\\x1b"]


def test_two_bolts_at_one_place_stand_side_by_side_the_blades_side_right():
    tree = drawn(replace(PICTURE, bolts=(Bolt("in", 500.0, y_mm=40.0), Bolt("out", 500.0, y_mm=-40.0))))
    at = {t.text: float(t.get("x")) for t in named(tree, "bolt-name")}
    assert at["in"] - at["out"] == pytest.approx(16.0)
