"""A level laid along the table before it rides on the carriage: what it shows there, and that it reaches the advice."""

from __future__ import annotations

import json
import math

import numpy as np
import pytest

from logger.advising import inputs
from logger.cli import main
from logger.judging.on_table import on_table
from logger.machines import machine_from_text
from tests.logger.device import Device
from tests.logger.shell import MACHINE, Shell

MAP = "map: [{y_mm: 150, points: [[700, 0.0, 0.003], [1000, 0.01, 0.003], [1500, 0.004, 0.003]]}]"
OLD = next(each for each in MACHINE.splitlines() if each.startswith("table:"))
MAPPED = MACHINE.replace(OLD, f"table: {{from_mm: 700, to_mm: 1500, {MAP}}}")


def typed(folder, *more, code=0):
    return Shell(folder).json(
        *("instrument", "--instrument", "typed-level", "--set-up", "pitch", "--on-table", "700,1500", *more), code=code
    )


def test_the_map_takes_the_form_under_the_first_and_the_last_foot_out():
    """By hand: the mapped ends differ by 4 um over 0.8 m, 0.005 mm/m; each known to 3 um: 3 um * sqrt(2) / 0.8 m."""
    machine = machine_from_text(MAPPED, "mapped")
    found = on_table(machine, machine.set_up("pitch"), np.array([0.13, 0.12, 0.11, 0.14]), np.zeros(4), (700.0, 1500.0))
    assert found.slope_mm_per_m == pytest.approx(0.125 - 0.005)
    by_hand = math.hypot(0.005 / 2.0, 0.003 * math.sqrt(2) / 0.8)
    assert found.standard_uncertainty_mm_per_m == pytest.approx(by_hand)


def test_a_level_the_other_way_round_shows_the_form_with_the_other_sign():
    """Reversed, a table that rises by 0.005 mm/m beside its plane shows 0.005 less: it is added again."""
    turned = MAPPED.replace("axis: pitch, sense: normal", "axis: pitch, sense: reversed")
    assert turned != MAPPED
    machine = machine_from_text(turned, "mapped")
    found = on_table(machine, machine.set_up("pitch"), np.array([-0.13, -0.12]), np.zeros(2), (700.0, 1500.0))
    assert found.slope_mm_per_m == pytest.approx(-(0.125 - 0.005))


def test_typed_readings_are_written_down_with_what_to_put_into_the_machine_s_file(tmp_path):
    found = typed(tmp_path, "--readings", "0.13,0.12,0.11,0.14")
    assert found["on_table_mm_per_m"] == 0.125
    assert found["on_table_u_mm_per_m"] == pytest.approx(0.02 * math.sqrt(2) / 0.8, rel=0.02)  # nobody mapped it
    assert any("not mapped" in note for note in found["warnings"])
    entry = json.loads((tmp_path / "journal.jsonl").read_text().splitlines()[-1])
    assert (entry["kind"], entry["data"]["on_table_mm_per_m"]) == ("level on table", 0.125)


def test_the_level_is_read_where_it_has_settled_at_every_mark(tmp_path):
    """Three places, each crept into from 5 mm/m away, a mark when it was set down."""
    lines, t_s = [], 0.0
    for shown in (0.30, 0.34, 0.29):
        for k in range(120):
            value = shown + 5.0 * math.exp(-k / 20.0 / 0.4)
            lines.append(f"{value:+.3f},t{t_s:.4f}{',M' if k == 0 else ''}\r\n")
            t_s += 0.05
    with Device("".join(lines).encode()) as device:
        found = Shell(tmp_path).json(
            *("instrument", "--port", device.url, "--instrument", "level.yaml", "--set-up", "pitch"),
            *("--on-table", "700,1500", "--until", "closed"),
        )
    assert found["readings_mm_per_m"] == pytest.approx([0.30, 0.34, 0.29], abs=0.005)
    assert found["on_table_mm_per_m"] == pytest.approx(0.31, abs=0.003)


def test_what_the_file_says_reaches_the_sweep_over_the_zero_its_readings_are_taken_from():
    """The display showed 0.42 on the table; its own zero is 0.12: the sweeps are 0.12 less, and so is this."""
    text = MAPPED.replace("axis: pitch", "axis: pitch, zero_mm_per_m: 0.12, on_table_mm_per_m: 0.42")
    found = inputs.on_table_of(machine_from_text(text, "mapped").set_up("pitch"))
    assert found is not None
    assert found.slope_mm_per_m == pytest.approx(0.30)
    assert inputs.on_table_of(machine_from_text(MAPPED, "mapped").set_up("pitch")) is None


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (("--set-up", "roll", "--on-table", "700,1500", "--readings", "0.1"), "no level that shows pitch"),
        (("--set-up", "pitch", "--on-table", "1500,700", "--readings", "0.1"), "no stretch of the table"),
        (("--set-up", "pitch", "--on-table", "700", "--readings", "0.1"), "no stretch of the table"),
        (("--set-up", "pitch", "--on-table", "700,here", "--readings", "0.1"), "'here' is not a number"),
        (("--set-up", "pitch", "--on-table", "700,900", "--readings", "0.1,0.1,0.1,0.1,0.1"), "leave 40 mm each"),
        (("--set-up", "pitch", "--on-table", "700,1500", "--reverse", "--readings", "0.1"), "One after the other"),
    ],
)
def test_what_cannot_be_is_refused_in_words(tmp_path, capsys, arguments, words):
    Shell(tmp_path)
    asked = ["instrument", "--instrument", "typed-level", *arguments, "--job", str(tmp_path)]
    assert main(asked) in (1, 2)
    assert words in capsys.readouterr().err
    assert not (tmp_path / "journal.jsonl").exists()
