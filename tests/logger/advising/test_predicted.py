"""The predicted end of a round: what the sweep's own errors do to a peak to valley is taken out of it."""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from analysis.response import SetUp
from logger.advising.predicted import _hidden, _middle_width, _table_form
from logger.judging.judged import TABLE_MM

STATIONS = 40


def ground(covariance: np.ndarray) -> Any:
    return SimpleNamespace(situation=SimpleNamespace(covariance=covariance), rows=slice(0, len(covariance)))


def test_without_errors_it_is_the_median_of_the_draws():
    drawn = np.linspace(0.0, 1.0, STATIONS)[None] * np.array([[0.01], [0.02], [0.04]])
    assert _middle_width(ground(np.zeros((STATIONS, STATIONS))), drawn) == pytest.approx(0.02)


def test_errors_that_make_extremes_more_extreme_are_taken_out_where_a_plain_median_keeps_them():
    # Invented: a wave of 0.02 mm read with 0.003 mm, alike over five stations or so, 100 times over.
    rng = np.random.default_rng(3)
    apart = np.arange(STATIONS)[:, None] - np.arange(STATIONS)
    covariance = 0.003**2 * np.exp(-0.5 * (apart / 5.0) ** 2) + 1e-12 * np.eye(STATIONS)
    root, truth = np.linalg.cholesky(covariance), 0.01 * np.sin(np.linspace(0.0, 6.0, STATIONS))
    plain, taken_out = [], []
    for _ in range(100):
        read = truth + root @ rng.standard_normal(STATIONS)
        drawn = read + rng.standard_normal((200, STATIONS)) @ root.T
        plain.append(float(np.median(np.ptp(drawn, axis=1))))
        taken_out.append(_middle_width(ground(covariance), drawn))
    assert np.mean(plain) - 0.02 > 0.002
    assert abs(np.mean(taken_out) - 0.02) < 0.7 * (np.mean(plain) - 0.02)


def test_an_error_that_all_stations_share_changes_nothing():
    drawn = np.random.default_rng(5).standard_normal((50, STATIONS)) * 0.004
    shared = np.full((STATIONS, STATIONS), 0.01**2)
    assert _middle_width(ground(shared), drawn) == pytest.approx(float(np.median(np.ptp(drawn, axis=1))), abs=1e-9)


def test_an_unmapped_table_hides_much_where_it_reads_flat_and_nothing_where_a_slope_decides():
    x = np.linspace(500.0, 1400.0, STATIONS)
    carried, fixed = (SimpleNamespace(set_up=SetUp(kind), s_mm=x) for kind in ("carried", "fixed"))
    form: Any = _table_form(carried, 400, True)  # type: ignore[arg-type]
    assert form.std() == pytest.approx(TABLE_MM, rel=0.1)
    assert not _table_form(fixed, 400, True).any()  # type: ignore[arg-type]
    mapped = _table_form(carried, 400, False)  # type: ignore[arg-type]
    flat, slope = np.zeros((400, STATIONS)), np.tile(0.3 * (x - 500.0) / 900.0, (400, 1))
    assert _hidden(flat, flat + form) == pytest.approx(float(np.median(np.ptp(form, axis=1))))
    assert _hidden(flat, flat + form) > 5.0 * _hidden(flat, flat + mapped)
    assert _hidden(slope, slope + form) < 0.1 * _hidden(flat, flat + form)
