"""What a choice of set-ups will show, before any is swept."""

from __future__ import annotations

import itertools

import numpy as np
import pytest

from analysis.carriage import Carriage
from analysis.response import SetUp, Table, seen_by_geometry
from analysis.visibility import RISE, Place, known_with, worth

CARRIAGE = Carriage((-320.0, 320.0), (0.0, 2600.0), 1200.0, 150.0)
TABLE = Table(700.0, 1500.0, (1010.0, 1090.0))
PLACES = (Place("blade", 1100.0, 150.0, 0.05), Place("spindle", 1450.0, 250.0, 0.025))
LIMITS = {"blade": 0.05, "spindle": 0.025, RISE: 0.05}
SEATS = {
    "across": SetUp("fixed", x_mm=1100.0),
    "spindle": SetUp("fixed", x_mm=1450.0),
    "pitch": SetUp("level", axis="pitch"),
    "roll": SetUp("level", axis="roll"),
}


def looking(*names, mapped=False):
    s = np.linspace(0.0, 2600.0, 27)
    seen = {name: (SEATS[name], s[seen_by_geometry(SEATS[name], CARRIAGE, TABLE, s)]) for name in names}
    return known_with(CARRIAGE, seen, PLACES, mapped)


def test_nothing_swept_is_nothing_known():
    assert set(looking().values()) == {np.inf}


def test_a_stand_knows_its_own_place_and_nothing_of_the_tilt():
    known = looking("across")
    assert known["blade"] < 0.02
    assert known[RISE] > 1.0


def test_a_second_stand_tells_the_tilt_as_well_as_its_readings_and_the_table_allow():
    """Two feet 350 mm apart, each 8 um (k = 1) off the plane and much alike over 250 mm: their difference is
    8 um * sqrt(2 - 2 exp(-0.5 (350 / 250)^2)), a slope over 350 mm and twice that over 2600 mm.
    """
    known = looking("across", "spindle", "pitch", "roll")
    by_hand = 2 * 0.008 * np.sqrt(2 - 2 * np.exp(-0.5 * (350.0 / 250.0) ** 2)) / 350.0 * 2600.0
    assert known[RISE] == pytest.approx(by_hand, rel=0.3)
    assert looking("across", "spindle", "pitch", "roll", mapped=True)[RISE] < 0.6 * known[RISE]


def test_looking_at_more_never_tells_less():
    order = ("across", "spindle", "pitch", "roll")
    for goal in LIMITS:
        series = [looking(*order[:count])[goal] for count in (1, 2, 3, 4)]
        assert all(later <= before * 1.0001 for before, later in itertools.pairwise(series))


def test_worth_counts_what_is_unknown_as_a_part_of_what_is_allowed_and_no_more_than_lost():
    now = {"blade": 0.05, "spindle": 10.0, RISE: np.inf}
    then = {"blade": 0.05, "spindle": 0.025, RISE: 0.05}
    assert worth(now, then, LIMITS) == pytest.approx((5.0 - 1.0) + (5.0 - 1.0))
    assert worth(now, now, LIMITS) == 0.0
