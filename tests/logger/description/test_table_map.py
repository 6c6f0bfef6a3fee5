"""The table's map from what is typed to machine.yaml, where nothing else changes by a letter."""

from __future__ import annotations

import pytest

from logger.description.table_map import EXAMPLES, line_of, understood, with_line
from logger.errors import NotAllowed
from logger.job import Job
from logger.machines import machine_from_text
from tests.logger.shell import MACHINE, Inside

SAW = machine_from_text(MACHINE, "kiln-street")
TYPED = ("y=150", "x=700,900,1100,1300,1500", "gap=0.050,0.062,0.071,0.060,0.050")

BLOCK = MACHINE.replace(
    next(line for line in MACHINE.splitlines() if line.startswith("table:")),
    "table:   # cast\n  from_mm: 700   # infeed\n  to_mm: 1500\n",
)


def line(*texts):
    y_mm, _, found = understood(texts, SAW)
    return line_of(y_mm, found)


def test_a_map_goes_into_the_file_and_everything_else_stays_letter_by_letter():
    changed = with_line(MACHINE, "machine.yaml", line(*TYPED))
    start = next(i for i, (a, b) in enumerate(zip(MACHINE, changed, strict=False)) if a != b)
    assert changed.startswith(MACHINE[:start])
    tail = MACHINE[start:].split("\n", 1)[1]
    assert changed.endswith(tail), "comments and all"
    again = machine_from_text(changed, "machine.yaml")
    assert again.table.map[0].points[2][1] < again.table.map[0].points[0][1], "the gap is large where it is low"


def test_a_table_written_line_by_line_keeps_its_comments():
    changed = with_line(BLOCK, "machine.yaml", line(*TYPED))
    assert "from_mm: 700   # infeed" in changed and "table:   # cast" in changed
    assert machine_from_text(changed, "machine.yaml").table.from_mm == 700


def test_the_same_line_measured_again_takes_the_old_one_s_place_and_another_stands_beside_it():
    once = with_line(MACHINE, "machine.yaml", line(*TYPED))
    again = with_line(once, "machine.yaml", line("y=152", *TYPED[1:]))
    assert [each.y_mm for each in machine_from_text(again, "m").table.map] == [152]
    beside = with_line(again, "machine.yaml", line("y=400", *TYPED[1:]))
    assert [each.y_mm for each in machine_from_text(beside, "m").table.map] == [152, 400]


def test_every_way_s_own_example_is_understood():
    for example in EXAMPLES.values():
        y_mm, _, found = understood(example.split()[2:], SAW)
        assert y_mm == 150 and len(found.x_mm) >= 3


@pytest.mark.parametrize(
    ("texts", "said"),
    [
        (("x=700,900,1100",), "still wants gap"),
        (("by=eye",), "by=eye"),
        (("x=700,900,1100", "gap=1,2"), "each place has one"),
        (("x=700,900,1100", "gap=1,200,3"), "off its own line"),
        (("x=100,900,1100", "gap=0.1,0.1,0.1"), "the table from 700 to 1500"),
        (("x=700,900,1100", "gap=0.1,a,0.1"), "no list of numbers"),
        (("gapp=0.1",), "gap"),
        (("y=1", "y=2"), "twice"),
        (("by=level", "from=700", "step=0", "slopes=1,2,3"), "step"),
    ],
)
def test_what_makes_no_map_is_named(texts, said):
    with pytest.raises(NotAllowed, match=said):
        understood(texts, SAW)


def test_inches_are_understood_where_they_are_written():
    _, _, found = understood(("x=700,900,1100", "gap=2thou,3thou,2thou".replace("thou,", ",")), SAW)
    assert found.peak_to_valley_mm == pytest.approx(0.0254, rel=1e-6)


def test_the_command_shows_it_first_and_writes_it_when_told(tmp_path):
    shell = Inside(tmp_path)
    shown = shell.json("map", *TYPED)
    assert shown["written"] is None and shown["yaml"].startswith("map: [{y_mm: 150")
    assert (tmp_path / "machine.yaml").read_text(encoding="utf-8") == MACHINE
    assert shell.json("map", *TYPED, "--write")["written"]
    job = Job.open(tmp_path)
    assert len(job.machine.table.map) == 1
    assert [entry.data["what"] for entry in job.entries() if entry.kind == "machine changed"] == ["table.map"]
    assert not list(tmp_path.glob("*.new"))
