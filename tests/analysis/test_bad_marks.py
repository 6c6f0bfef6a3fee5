"""A mark pressed far too late: it is named in the pass in which it was pressed, and left out there."""

from dataclasses import replace

import numpy as np
import pytest

from analysis.positions import Evidence
from analysis.sweeps import Geometry, SweepData, profile_of
from fixtures.sweeps import rough_rail, simulate

STROKE = (0.0, 2600.0)
STATIONS = tuple(np.linspace(0.0, 2600.0, 9).tolist())


@pytest.mark.parametrize(("pass_number", "station"), [(1, 3), (1, 5), (2, 3), (2, 5)])
def test_the_late_mark_is_found_in_its_own_pass(pass_number, station):
    sweep = simulate(4, rail=rough_rail(4, 0.06), rate_hz=50.0, stations_mm=STATIONS)
    marks = sweep.mark_t_s.copy()
    marks[9 * (pass_number - 1) + station] += 0.8
    place = (STATIONS if pass_number == 1 else STATIONS[::-1])[station]
    sweep = replace(sweep, mark_t_s=marks)
    evidence = Evidence(
        t_s=sweep.t_s, height=-sweep.value, stroke_mm=STROKE, windows=sweep.true_windows, passes=2,
        mark_t_s=sweep.mark_t_s, stations_mm=STATIONS, resolution=0.001,
    )  # fmt: skip
    outcome = profile_of([SweepData("0001", evidence)], Geometry(STROKE, sweep.true_windows, resolution=0.001))
    said = [words for words in outcome.warnings if words.startswith("The mark at")]
    assert len(said) == 1
    assert said[0].startswith(f"The mark at {place:.0f} mm in pass {pass_number} is")
    assert "late" in said[0]
    assert [repair.key for repair in outcome.repairs] == ["late mark moved"]
