"""``bolts`` as it answers: cautions, steps, one more set-up, ways of choosing, what if, and what was learned."""

from __future__ import annotations

import argparse
import json
import shutil
from pathlib import Path
from typing import Any

import pytest

from logger.commands import _bolts
from logger.errors import NotAllowed
from logger.job import Job, TurnedBolt

EXAMPLE = Path(__file__).parents[3] / "fixtures" / "recordings"


@pytest.fixture(scope="module")
def fresh(tmp_path_factory):
    """The invented saw with its first sweep only: out of its band, nothing turned."""
    folder = tmp_path_factory.mktemp("saw") / "job"
    shutil.copytree(EXAMPLE, folder)
    (folder / "journal.jsonl").unlink()
    Job.open(folder).append("sweep", sweep="0001-across", set_up="across")
    return folder


@pytest.fixture(scope="module")
def finished(tmp_path_factory):
    folder = tmp_path_factory.mktemp("saw") / "job"
    shutil.copytree(EXAMPLE, folder)
    return folder


def ask(folder, **more):
    given: dict[str, Any] = {
        "job": str(folder),
        "set_up": None,
        "what_if": [],
        "learned": False,
        "picture": None,
        "choose": None,
        "units": "mm",
    }
    return _bolts.bolts(argparse.Namespace(**{**given, **more}))


@pytest.fixture(scope="module")
def plan(fresh):
    return ask(fresh)


def test_cautions_stand_before_the_first_move_and_steps_under_each(plan):
    text = "\n".join(plan.lines)
    assert plan.json["next"] == "turn"
    assert text.index("lock out the power") < text.index("park at") < text.index("a) Park")
    for move in plan.json["moves"]:
        words = " ".join(move["steps"])
        assert move["bolt"] in words and "seen from below" in words and "nut only locks" in words and "Stop at" in words
        assert f"{move['reading_target_mm']:+.3f}".replace("-", "−")[:6] in words
    assert any("Never slack all supports" in each for each in plan.json["cautions"])


def test_what_is_not_known_is_said_before_anything_is_turned_with_the_one_set_up_that_would_show_most(plan):
    text = "\n".join(plan.lines)
    assert text.index("One more set-up would show most") < text.index("lock out the power")
    assert plan.json["would_show"][0]["set_up"] == "spindle" == plan.json["next_set_up"]
    assert plan.json["whole_stroke"]["seen"] is False and plan.json["whole_stroke"]["verdict"] == "cannot tell"


def test_the_fit_and_a_known_mass_are_offered_before_the_first_bolt(plan):
    said = " ".join(plan.json["warnings"])
    assert "truestroke take fit" in said and "truestroke load" in said


def test_fewest_bolts_least_turning_and_best_chance_are_three_wishes(fresh):
    found = {choose: ask(fresh, choose=choose).json for choose in ("few", "least", "best")}
    bolts = {choose: len(each["moves"]) for choose, each in found.items()}
    travel = {choose: sum(abs(m["raise_mm"]) for m in each["moves"]) for choose, each in found.items()}
    chance = {choose: each["predicted"]["chance_inside"] for choose, each in found.items()}
    assert bolts["few"] <= min(bolts["least"], bolts["best"])
    assert travel["least"] <= travel["best"] + 1e-6
    assert chance["best"] >= max(chance["few"], chance["least"]) - 0.05
    assert found["few"]["choose"] == "few"


def test_what_if_tells_every_band_its_chance_and_what_the_display_would_show(fresh):
    answer = ask(fresh, what_if=["B2=-1/6turn", "B4=+0.1mm"])
    goals, targets = answer.json["goals"], answer.json["targets"]
    assert [each["bolt"] for each in answer.json["if"]] == ["B2", "B4"]
    assert goals[0]["name"] == "across" and 0 <= goals[0]["chance_inside"] <= 1
    assert goals[0]["now_mm"] > 0 and answer.json["predicted"]["peak_to_valley_mm"] > 0
    assert targets[0]["turn"].startswith("1/6 anticlockwise")
    assert targets[0]["reading_target_mm"] < targets[0]["reading_now_mm"], "lowering B2 lowers what is read over it"
    assert any("parked at" in line for line in answer.lines)
    assert not any(entry.kind == "turned" for entry in Job.open(fresh).entries()), "nothing is recorded"


def test_turning_nothing_changes_nothing(fresh):
    answer = ask(fresh, what_if=["B2=0mm"])
    assert answer.json["goals"][0]["peak_to_valley_mm"] == pytest.approx(answer.json["goals"][0]["now_mm"], abs=0.002)


@pytest.mark.parametrize(
    ("text", "said"),
    [("B9=+0.1mm", "B9"), ("B2=+90mm", "thread"), ("B2@800:0..0.1", "what was done"), ("B2=1furlong", "furlong")],
)
def test_a_question_that_makes_no_sense_is_refused_in_words(fresh, text, said):
    with pytest.raises(NotAllowed, match=said):
        ask(fresh, what_if=[text])


def test_what_was_learned_stands_beside_what_was_believed_per_turn_with_its_doubt(finished):
    answer = ask(finished, learned=True)
    rows = answer.json["bolts"]
    assert answer.json["turns_learned_from"] > 0 and len(rows) == 6
    count = len(answer.json["x_mm"])
    for row in rows:
        assert row["travel_per_turn_mm"] == 1.5
        assert {len(row[f"{key}_mm_per_turn"]) for key in ("nominal", "learned", "uncertainty")} == {count}
    assert rows[2]["learned_mm_per_turn"] != rows[2]["nominal_mm_per_turn"]
    text = "\n".join(answer.lines)
    assert "B3 learned" in text and "nominal" in text and "mm at each station" in text
    inches = "\n".join(ask(finished, learned=True, units="in").lines)
    assert "in at each station" in inches


def test_the_picture_has_a_lane_for_every_bolt_and_is_never_written_over(finished, tmp_path):
    target = tmp_path / "learned.svg"
    answer = ask(finished, picture=str(target))
    text = target.read_text(encoding="utf-8")
    assert answer.json["picture"] == str(target)
    for name in ("learned", "nominal", "sleeve"):
        assert text.count(f'class="{name}"') == 6
    assert all(f">{bolt}<" in text for bolt in ("B1", "B6")) and "<script" not in text
    with pytest.raises(NotAllowed, match="stays as it is"):
        ask(finished, picture=str(target))
    with pytest.raises(NotAllowed, match=r"ends in \.svg|no name"):
        ask(finished, picture=str(tmp_path / "learned.png"))


def test_before_anything_is_learned_both_are_the_same(fresh):
    answer = ask(fresh, learned=True)
    assert answer.json["turns_learned_from"] == 0
    assert "nothing yet" in answer.lines[0]
    for row in answer.json["bolts"]:
        assert row["learned_mm_per_turn"] == pytest.approx(row["nominal_mm_per_turn"], abs=1e-3)


def test_a_second_visit_starts_from_what_was_learned(finished):
    """Everything turned on the first day is in the first plan of the second: no state but the journal."""
    first = ask(finished, learned=True).json
    again = ask(shutil.copytree(finished, finished.parent / "next-year"), learned=True).json
    assert again["bolts"] == first["bolts"] and again["turns_learned_from"] == first["turns_learned_from"]


def test_a_sweep_from_before_the_last_moves_is_not_planned_from(fresh, tmp_path):
    later = shutil.copytree(fresh, tmp_path / "later")
    Job.open(later).append_turned([TurnedBolt("B2", 0.1, 0.01)])
    answer = ask(later)
    assert (answer.json["next"], answer.json["moves"], answer.json["verdict"]) == ("sweep", [], "cannot tell")
    assert json.loads(json.dumps(answer.json)) == answer.json
