"""A table's plane and flatness, held against a published plate at all its stations."""

from __future__ import annotations

import csv
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
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

DATA = Path(__file__).parents[1] / "data"
STEP_UM = 4 * 25.4e3 * np.pi / 180 / 3600  # one arcsecond over a foot of 4 in


def rows(name: str) -> list[dict[str, str]]:
    """A table of the data folder."""
    with (DATA / name).open(encoding="utf-8") as file:
        return list(csv.DictReader(file))


@pytest.fixture(scope="module")
def plate():
    """J. C. Moody's own 48 x 72 in plate (The Tool Engineer, October 1955, 15-21, misprints corrected as by B. Allen,
    "Comments on Moody's method for surface plate calibration", 2019), heights in um."""
    readings = rows("moody1955_readings.csv")
    return union_jack(
        {line: np.array([float(r["arcsec"]) for r in readings if r["line"] == line]) for line in LINES}, STEP_UM
    )


def test_all_126_published_heights_come_out(plate):
    # The paper's unit is ten microinches: 0.254 um.
    published = rows("moody1955_heights_10uin.csv")
    assert len(published) == 126
    found = [plate.heights[r["line"]][int(r["station_index"])] for r in published]
    assert found == pytest.approx([0.254 * float(r["height_10uin"]) for r in published], abs=2e-4)


def test_the_published_flatness_and_closure_come_out(plate):
    # Flatness 178.411 microinches = 4.531650 um; the east-west line misses the middle by -0.3448 um, north-south by 0.
    assert plate.flatness == pytest.approx(4.531650, abs=2e-4)
    assert plate.closure["E_W"] == pytest.approx(-0.3448, abs=2e-4)
    assert plate.closure["N_S"] == pytest.approx(0.0, abs=2e-3)


def test_the_smallest_zone_of_that_plate_is_below_the_least_squares_one():
    # Derived by linear programming from the same stations: least squares 4.454435, smallest zone 4.157296 um.
    published = rows("moody1955_heights_10uin.csv")
    x, y, z = (np.array([float(r[key]) for r in published]) for key in ("u_east", "v_north", "height_10uin"))
    assert minimum_zone_plane(x, y, 0.254 * z).flatness == pytest.approx(4.157296, abs=1e-4)
    assert least_squares_plane(x, y, 0.254 * z).flatness == pytest.approx(4.454435, abs=1e-4)


coordinates = st.floats(-500.0, 500.0)


@given(
    st.lists(st.tuples(coordinates, coordinates, st.floats(-1.0, 1.0)), min_size=6, max_size=25, unique=True),
    st.floats(-1e-3, 1e-3),
)
def test_a_tilt_of_the_whole_table_changes_no_flatness(points, tilt):
    x, y, z = (np.array(column) for column in zip(*points, strict=True))
    if np.linalg.matrix_rank(np.stack([np.ones_like(x), x / 500, y / 500], axis=1), tol=0.05) < 3:
        return
    plain, tilted = minimum_zone_plane(x, y, z), minimum_zone_plane(x, y, z + tilt * x)
    assert plain.flatness == pytest.approx(tilted.flatness, abs=1e-5)
    assert plain.flatness <= least_squares_plane(x, y, z).flatness + 1e-6


def test_a_bare_twist_is_a_twist_and_no_sag():
    u, v = (a.ravel() for a in np.meshgrid(np.linspace(-1, 1, 5), np.linspace(-1, 1, 4)))
    twist, sag_x, sag_y = twist_and_sag(400 * u, 250 * v, 0.05 * u * v + 0.3 + 0.2 * u)
    assert (twist, sag_x, sag_y) == pytest.approx((0.10, 0.0, 0.0), abs=1e-12)
    # Worked by hand: corners 0.05, -0.05, 0.05, -0.05 in order round the table.
    assert corner_twist((0.05, -0.05, 0.05, -0.05)) == pytest.approx(0.10)


def test_a_hollow_along_the_table_is_a_positive_sag_and_no_twist():
    u, v = (a.ravel() for a in np.meshgrid(np.linspace(-1, 1, 5), np.linspace(-1, 1, 4)))
    twist, sag_x, sag_y = twist_and_sag(u, v, 0.04 * u**2)
    assert (twist, sag_x, sag_y) == pytest.approx((0.0, 0.04, 0.0), abs=1e-12)


def test_judging_from_the_corners_alone_misses_a_sag():
    u, v = (a.ravel() for a in np.meshgrid(np.linspace(-1, 1, 3), np.linspace(-1, 1, 3)))
    z = -0.06 * (1 - u**2)
    corners = np.abs(u * v) == 1
    assert least_squares_plane(u[corners], v[corners], z[corners]).flatness == pytest.approx(0.0, abs=1e-12)
    assert minimum_zone_plane(u, v, z).flatness == pytest.approx(0.06)


@pytest.mark.parametrize(
    "points",
    [
        ([0.0, 1.0], [0.0, 1.0], [0.0, 0.0]),
        ([0.0, 1.0, 2.0, 3.0], [0.0, 1.0, 2.0, 3.0], [0.0, 0.1, 0.0, 0.1]),
        ([0.0, 1.0, 0.0], [0.0, 0.0, 1.0], [0.0, np.nan, 0.0]),
    ],
)
def test_points_that_make_no_plane_are_refused(points):
    with pytest.raises(BadSurface):
        least_squares_plane(*(np.array(column) for column in points))


def test_a_plate_with_a_line_missing_is_refused():
    with pytest.raises(BadSurface, match="NE_SW"):
        union_jack({"NW_SE": np.zeros(4)})
