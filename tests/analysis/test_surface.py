"""Planes, twist, sag, and a plate measured along eight lines."""

import csv
from collections import defaultdict
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from analysis.surface import (
    LINES,
    BadSurface,
    corner_twist,
    least_squares_plane,
    minimum_zone_plane,
    twist_and_sag,
    union_jack,
)

DATA = Path(__file__).parent.parent / "data"
MICROMETRES = 4 * 25.4e3 * np.pi / 648000  # one arcsecond over feet 4 inches apart


def slopes():
    lines = defaultdict(list)
    with (DATA / "moody1955_readings.csv").open() as file:
        for row in csv.DictReader(file):
            lines[row["line"]].append(float(row["arcsec"]))
    return {line: np.array(values) for line, values in lines.items()}


def published():
    heights, places = defaultdict(list), defaultdict(list)
    with (DATA / "moody1955_heights_10uin.csv").open() as file:
        for row in csv.DictReader(file):
            heights[row["line"]].append(float(row["height_10uin"]) * 0.254)
            places[row["line"]].append((float(row["u_east"]), float(row["v_north"])))
    return heights, places


# J. C. Moody, "How to calibrate surface plates in the plant", The Tool Engineer, October 1955, 15-21, as transcribed
# and corrected by B. Allen, "Comments on Moody's method for surface plate calibration", 2019: a 48 x 72 inch plate.
def test_all_stations_of_moody_s_plate():
    found, (heights, _) = union_jack(slopes()), published()
    for line in LINES:
        assert found.heights[line] * MICROMETRES == pytest.approx(heights[line], abs=1e-5)
    assert sum(len(z) for z in found.heights.values()) == 126


def test_moody_s_flatness_and_closures():
    found = union_jack(slopes())
    assert found.flatness * MICROMETRES == pytest.approx(4.531650, abs=1e-6)  # 178.411 microinches
    assert found.closure["N_S"] == pytest.approx(0.0, abs=1e-9)
    assert found.closure["E_W"] * MICROMETRES == pytest.approx(-0.3448, abs=1e-4)


def test_planes_through_moody_s_plate():
    # Derived from the published heights: least squares 4.454435, smallest zone 4.157296 micrometres.
    heights, places = published()
    z = np.concatenate([heights[line] for line in LINES])
    u, v = np.array([place for line in LINES for place in places[line]]).T
    squares, zone = least_squares_plane(u, v, z), minimum_zone_plane(u, v, z)
    assert squares.flatness == pytest.approx(4.454435, abs=2e-6)
    assert zone.flatness == pytest.approx(4.157296, abs=2e-6)


def test_running_sums_without_tying_the_lines_do_not_meet():
    sums = {line: np.concatenate([[0], np.cumsum(z)]) for line, z in slopes().items()}
    assert np.ptp(np.concatenate(list(sums.values()))) > 10 * union_jack(slopes()).flatness


def test_a_plane_is_flat_whatever_its_tilt():
    x, y = (v.ravel() for v in np.meshgrid(np.arange(5.0), np.arange(4.0)))
    for plane in (least_squares_plane(x, y, 1 + 0.3 * x - 0.2 * y), minimum_zone_plane(x, y, 1 + 0.3 * x - 0.2 * y)):
        assert plane.flatness == pytest.approx(0.0, abs=1e-9)
        assert (plane.slope_x, plane.slope_y) == pytest.approx((0.3, -0.2), abs=1e-9)


def test_a_twisted_table_has_no_flat_plane_and_no_sag():
    x, y = (v.ravel() for v in np.meshgrid(np.linspace(0, 800, 5), np.linspace(0, 600, 4)))
    u, v = x / 400 - 1, y / 300 - 1
    twist, sag_x, sag_y = twist_and_sag(x, y, 0.1 * u * v)
    assert (twist, sag_x, sag_y) == pytest.approx((0.2, 0, 0), abs=1e-12)
    assert corner_twist((0.1, -0.1, 0.1, -0.1)) == pytest.approx(0.2)
    assert minimum_zone_plane(x, y, 0.1 * u * v).flatness == pytest.approx(0.2, abs=1e-9)


def test_a_sagging_table():
    x, y = (v.ravel() for v in np.meshgrid(np.linspace(0, 800, 5), np.linspace(0, 600, 4)))
    twist, sag_x, sag_y = twist_and_sag(x, y, 0.05 * (x / 400 - 1) ** 2)
    assert (twist, sag_x, sag_y) == pytest.approx((0, 0.05, 0), abs=1e-12)


def test_points_that_make_no_plane():
    line = np.arange(4.0)
    with pytest.raises(BadSurface, match="3 points"):
        least_squares_plane(line, line, line)
    with pytest.raises(BadSurface, match="finite"):
        minimum_zone_plane(line, line**2, np.array([0, np.nan, 0, 0]))
    with pytest.raises(BadSurface, match="N_S"):
        union_jack({line: z for line, z in slopes().items() if line != "N_S"})


def test_judging_from_the_corners_alone_misses_a_sag():
    u, v = (a.ravel() for a in np.meshgrid(np.linspace(-1, 1, 3), np.linspace(-1, 1, 3)))
    z = -0.06 * (1 - u**2)
    corners = np.abs(u * v) == 1
    assert least_squares_plane(u[corners], v[corners], z[corners]).flatness == pytest.approx(0.0, abs=1e-12)
    assert minimum_zone_plane(u, v, z).flatness == pytest.approx(0.06)


@given(st.lists(st.floats(-0.1, 0.1), min_size=12, max_size=12), st.floats(-0.01, 0.01))
@settings(max_examples=25, deadline=None)
def test_a_tilt_of_the_whole_table_changes_no_flatness(heights, tilt):
    x, y = (a.ravel() for a in np.meshgrid(np.linspace(0, 800, 4), np.linspace(0, 600, 3)))
    z = np.array(heights)
    plain, tilted = minimum_zone_plane(x, y, z), minimum_zone_plane(x, y, z + tilt * x)
    assert plain.flatness == pytest.approx(tilted.flatness, abs=1e-5)
    assert plain.flatness <= least_squares_plane(x, y, z).flatness + 1e-6
