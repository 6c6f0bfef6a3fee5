"""Facts about flatness and sag: grids that close, lines, the strut, and how often the uncertainty holds the truth.

Sources: J. C. Moody, "How to calibrate surface plates in the plant", The Tool Engineer, October 1955 (his plate, read
again as points here: the smallest zone is derived by linear programming, 4.157 micrometres); the rest derived.
"""

import csv
from pathlib import Path

import numpy as np
import pytest

from analysis.flatness import Points, grid_shape, level_grid, of_points, strut_rise, union_jack_points
from analysis.surface import BadSurface

DATA = Path(__file__).parent.parent / "data"


def line(z, u_mm=0.002):
    x = np.linspace(0.0, 1000.0, len(z))
    return Points(x, np.zeros(len(z)), np.asarray(z, float), np.eye(len(z)) * (u_mm / 2.0) ** 2)


def test_a_hollow_line_sags_by_its_depth_and_a_tilt_is_none():
    bowl = 0.4 * (np.linspace(-1.0, 1.0, 9) ** 2)
    found = of_points(line(bowl + np.linspace(0.0, 3.0, 9)))
    assert found.sag_mm == pytest.approx(0.4)
    assert found.zone_mm == pytest.approx(0.4, abs=0.002)
    assert of_points(line(-bowl)).sag_mm == pytest.approx(-0.4), "a crowned table is minus"


def test_two_places_show_no_sag_and_it_is_said():
    with pytest.raises(ValueError, match="2 places on one line show no sag; at least 3"):
        of_points(line([0.0, 0.1]))


def test_a_twist_is_not_read_as_sag():
    x, y = (axis.ravel() for axis in np.meshgrid([0.0, 400.0, 800.0], [0.0, 300.0, 600.0]))
    twisted = 1e-6 * (x - 400.0) * (y - 300.0)
    found = of_points(Points(x, y, twisted, np.eye(9) * 0.001**2))
    assert found.sag_mm == pytest.approx(0.0, abs=1e-12)
    assert found.zone_mm > 0.2


def test_moodys_own_plate_comes_out_in_the_smallest_zone():
    with (DATA / "moody1955_heights_10uin.csv").open(encoding="utf-8") as file:
        rows = list(csv.DictReader(file))
    x, y, z = (np.array([float(row[key]) for row in rows]) for key in ("u_east", "v_north", "height_10uin"))
    found = of_points(Points(x, y, z * 0.254, np.eye(len(z)) * 1e-12))
    assert found.zone_mm == pytest.approx(4.157296, abs=1e-3)  # micrometres here
    assert found.least_squares_mm == pytest.approx(4.454435, abs=1e-3)


def moodys_slopes():
    """Arcseconds as mm/m: the running sums of readings less their first, as published."""
    lines: dict[str, list[float]] = {}
    with (DATA / "moody1955_readings.csv").open(encoding="utf-8") as file:
        for row in csv.DictReader(file):
            lines.setdefault(row["line"], []).append(float(row["arcsec"]))
    return {name: np.radians(np.array(values) / 3600.0) * 1000.0 for name, values in lines.items()}


def test_moodys_readings_give_the_same_zone_by_way_of_the_points():
    found = union_jack_points(moodys_slopes(), 4.0 * 25.4, 1000.0 * np.radians(0.2 / 3600.0))
    assert len(found.z) == 126
    assert 1000.0 * of_points(found).least_squares_mm == pytest.approx(4.454435, abs=1e-3)
    assert 1000.0 * float(np.ptp(found.z)) == pytest.approx(4.531650, abs=1e-4)
    assert 1000.0 * found.misclosure_mm == pytest.approx(0.3448 / np.sqrt(2.0), abs=1e-3)
    assert float(np.ptp(found.x)) == pytest.approx(64.0 * 25.4)


def test_a_slope_that_is_worse_known_makes_the_heights_worse_known_in_proportion():
    one, ten = (union_jack_points(moodys_slopes(), 101.6, u).covariance for u in (0.001, 0.01))
    assert ten == pytest.approx(100.0 * one)
    assert np.linalg.matrix_rank(one) > 90


def test_the_shape_of_a_grid_follows_from_how_many_steps_there_are():
    assert grid_shape(4, 4) is None
    assert grid_shape(20, 17) is None
    for rows in range(2, 9):
        for columns in range(2, 9):
            assert grid_shape(rows * (columns - 1), (rows - 1) * columns) == (rows, columns)


def test_the_strut_pushes_the_hollow_out_and_no_more():
    z = 1e-6 * (np.linspace(0.0, 1000.0, 11) - 500.0) ** 2
    rise, doubt = strut_rise(line(z), 500.0, (0.0, 1000.0))
    assert rise == pytest.approx(0.25)
    assert doubt < 0.01
    with pytest.raises(ValueError, match="not between the table's ends"):
        strut_rise(line(z), 1200.0, (0.0, 1000.0))


def test_a_rough_place_is_not_pushed_at():
    """Pushing by the deviation at the strut itself would take the burr for sag; the parabola hardly sees it."""
    z = np.zeros(11)
    z[5] = -0.2
    rise, doubt = strut_rise(line(z), 500.0, (0.0, 1000.0))
    assert abs(rise) < 0.1
    assert doubt > 0.05, "what is no parabola is doubt"


def grid_of(height, columns=5, rows=4, step=200.0, noise=0.0, rng=None):
    x, y = np.meshgrid(np.arange(columns) * step, np.arange(rows) * step)
    z = height(x, y)
    along, across = 1000.0 * np.diff(z, axis=1) / step, 1000.0 * np.diff(z, axis=0) / step
    if rng is not None:
        along, across = along + rng.normal(0, noise, along.shape), across + rng.normal(0, noise, across.shape)
    return along, across, z


def test_a_grid_without_errors_gives_the_surface_back_and_closes():
    along, across, z = grid_of(lambda x, y: 1e-6 * (x - 300.0) * y + 2e-7 * y * y)
    found = level_grid(along, across, 200.0, 200.0, 0.02)
    assert found.z == pytest.approx((z - z[0, 0]).ravel(), abs=1e-12)
    assert found.misclosure_mm == pytest.approx(0.0, abs=1e-12)


def test_slopes_that_make_no_grid_are_refused():
    with pytest.raises(BadSurface, match="make no grid"):
        level_grid(np.zeros((2, 3)), np.zeros((1, 5)), 200.0, 200.0, 0.02)


def test_one_slip_in_a_grid_is_shared_out_and_shows_in_the_closure():
    along, across, _ = grid_of(lambda x, y: 0.0 * x)
    clean = level_grid(along, across, 200.0, 200.0, 0.01)
    along[1, 2] += 0.2  # one reading wrong by 0.04 mm
    found = level_grid(along, across, 200.0, 200.0, 0.01)
    naive = np.abs(np.cumsum(along[1] * 0.2)).max()  # summing along one line
    assert np.ptp(found.z) < 0.7 * naive
    assert found.misclosure_mm > 0.004
    assert found.covariance[-1, -1] > 4.0 * clean.covariance[-1, -1], "readings that contradict each other are doubted"


def test_the_uncertainty_of_a_grids_heights_and_sag_holds_the_truth_about_95_times_in_100():
    rng = np.random.default_rng(4)
    inside = {"height": 0, "sag": 0}
    for _ in range(150):
        hollow = rng.normal(0.0, 0.1)
        along, across, z = grid_of(lambda x, y, hollow=hollow: hollow * ((x - 400.0) / 400.0) ** 2, noise=0.01, rng=rng)
        found = level_grid(along, across, 200.0, 200.0, 0.02)
        inside["height"] += abs(found.z[-1] - z[-1, -1] + z[0, 0]) <= 2.0 * np.sqrt(found.covariance[-1, -1])
        flat = of_points(found)
        inside["sag"] += abs(flat.sag_mm - hollow) <= flat.sag_uncertainty_mm
    assert 0.90 * 150 <= inside["height"] <= 0.99 * 150
    assert inside["sag"] >= 0.90 * 150
