"""Which one more set-up would show most: the machine of Kiln Street, looked at from few sides."""

from __future__ import annotations

from logger.advising.extra_set_ups import sentence, unknown_now, would_show
from logger.advising.places import next_set_up
from logger.machines import machine_from_text
from tests.logger.shell import MACHINE

SAW = machine_from_text(MACHINE, "kiln-street")


def test_after_one_stand_the_other_stand_shows_most():
    best = would_show(SAW, ["across"])[0]
    assert best.set_up == "spindle" == next_set_up(SAW, ["across"])
    assert {of for of, _, _ in best.gains} >= {"rise over the stroke ± mm"}
    assert all(then < now for _, now, then in best.gains)


def test_one_that_nobody_described_is_named_in_words_with_its_place():
    every = ["across", "spindle", "along", "pitch", "roll"]
    extra = would_show(SAW, every)
    assert all(name.set_up == "" for name in extra)
    said = " ".join(each.what for each in extra)
    assert "a stand on the table at x 760 mm" in said or "map the table" in said
    assert next_set_up(SAW, every) is None


def test_what_is_unknown_is_named_with_its_figure_before_anything_is_turned():
    unknown = unknown_now(SAW, ["across"])
    assert set(unknown) >= {"spindle", "rise over the stroke"}
    assert all(known > limit for known, limit in unknown.values())
    text = sentence(would_show(SAW, ["across"])[0])
    assert "spindle" in text and "±" in text


def test_a_mapped_table_needs_no_map():
    line = "table: {from_mm: 700, to_mm: 1500, map: [{y_mm: 150, points: [[700, 0, 0.002], [1500, 0, 0.002]]}]}"
    old = next(each for each in MACHINE.splitlines() if each.startswith("table:"))
    mapped = machine_from_text(MACHINE.replace(old, line), "mapped")
    assert not any("map" in each.what for each in would_show(mapped, ["across", "spindle"]))


def test_a_level_at_hand_is_asked_onto_the_table_once():
    line = "table: {from_mm: 700, to_mm: 1500, map: [{y_mm: 150, points: [[700, 0, 0.002], [1500, 0, 0.002]]}]}"
    old = next(each for each in MACHINE.splitlines() if each.startswith("table:"))
    text = MACHINE.replace(old, line)
    swept = ["across", "spindle", "pitch", "roll"]
    asked = next(each for each in would_show(machine_from_text(text, "mapped"), swept) if "--on-table" in each.what)
    assert "truestroke instrument --set-up pitch --on-table" in asked.what
    assert {of for of, _, _ in asked.gains} == {"rise over the stroke ± mm"}
    assert not any("--on-table" in each.what for each in would_show(machine_from_text(text, "mapped"), ["across"]))
    lain = text.replace("axis: pitch", "axis: pitch, on_table_mm_per_m: 0.1, on_table_u_mm_per_m: 0.006")
    assert lain != text
    assert not any("--on-table" in each.what for each in would_show(machine_from_text(lain, "mapped"), swept))


def test_nothing_swept_asks_for_nothing_extra():
    assert would_show(SAW, []) == ()
