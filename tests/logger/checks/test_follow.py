"""Facts about what the journal teaches: how much of a correction arrives, drift after a strut, direction checks, and
which instrument would decide a limit. Derived; what instruments leave is common practice, no source."""

from datetime import UTC, datetime, timedelta
from importlib import resources

import pytest

from logger.checks import direction
from logger.checks.board import board_from
from logger.checks.feasible import INSTRUMENTS, room
from logger.checks.follow import share_so_far
from logger.checks.model import Allowed
from logger.checks.table import BY_NAME, CHECKS
from logger.checks.taking import result_of
from logger.checks.typed import understand
from logger.checks.words import taken_data
from logger.errors import NotAllowed
from logger.job import Job
from logger.journal import Journal, JournalEntry
from logger.machines import machine_from_text

MACHINE = machine_from_text(
    resources.files("hardware").joinpath("machines", "kiln-street.yaml").read_text(encoding="utf-8"), "kiln-street"
)
START = datetime(2026, 11, 25, 8, 0, tzinfo=UTC)


class Diary:
    """Takings and adjustments of one job, hours after its start."""

    def __init__(self):
        self.entries: list[JournalEntry] = []

    def add(self, hour, kind, data):
        time = (START + timedelta(hours=hour)).isoformat().replace("+00:00", "Z")
        self.entries.append(JournalEntry(f"{len(self.entries):04d}", time, "sam", kind, data))

    def take(self, name, text, hour=0.0):
        check = BY_NAME[name]
        typed = understand(check, text.split(), check.allowed, lambda _question: False)
        taking = result_of(
            check, typed, self.entries, MACHINE, lambda _question: False, now=START + timedelta(hours=hour)
        )
        self.add(hour, "taken", taken_data(check, taking.typed, taking.result, text.split()) | {"allowed": {}})
        return taking

    def adjust(self, name, hour=0.0, **more):
        self.add(hour, "taken", {"check": name, "adjusted": True, **more})


TWIST = "infeed=0.0 outfeed={} feet_across=700 u=0.01"


def test_the_second_correction_of_a_body_that_half_follows_is_twice_as_large():
    diary = Diary()
    first = diary.take("twist", TWIST.format(1.0)).result
    diary.adjust("twist")
    second = diary.take("twist", TWIST.format(0.5)).result
    assert first.corrections[0].move_mm == pytest.approx(0.35)
    assert second.corrections[0].move_mm == pytest.approx(0.35, rel=0.05), "half is left, and half of it arrives"
    assert second.details["share"] == pytest.approx(0.5, abs=0.03)
    assert any("50%" in note or "51%" in note for note in second.notes)


def test_the_third_one_knows_that_the_second_was_scaled():
    diary = Diary()
    diary.take("twist", TWIST.format(1.0))
    diary.adjust("twist")
    diary.take("twist", TWIST.format(0.5))
    diary.adjust("twist")
    third = diary.take("twist", TWIST.format(0.0)).result
    assert share_so_far(BY_NAME["twist"], third, diary.entries[:-1]).share == pytest.approx(0.5, abs=0.04)


def test_half_a_correction_teaches_as_half_of_one():
    diary = Diary()
    diary.take("twist", TWIST.format(1.0))
    diary.adjust("twist", part=0.5)
    assert diary.take("twist", TWIST.format(0.5)).result.details["share"] == pytest.approx(0.98, abs=0.05)


def test_a_table_that_does_not_follow_is_held_and_not_turned_on():
    diary = Diary()
    diary.take("twist", TWIST.format(1.0))
    diary.adjust("twist")
    diary.take("twist", TWIST.format(0.99))
    diary.adjust("twist")
    found = diary.take("twist", TWIST.format(0.98)).result
    assert found.corrections == ()
    assert any("holds it" in note for note in found.notes)


def test_nothing_was_adjusted_so_nothing_is_learned():
    diary = Diary()
    diary.take("twist", TWIST.format(1.0))
    assert "share" not in diary.take("twist", TWIST.format(0.9)).result.details


SAG = "by=indicator x=0,300,600,900,1200 readings=0,{0},{1},{0},0 edge=0.01 u=0.004"


def sag(depth):
    return SAG.format(f"{-0.75 * depth:.5f}", f"{-depth:.5f}")


def test_after_the_strut_was_pushed_the_board_says_when_to_look_again():
    diary = Diary()
    diary.take("sag", sag(0.3), 0.0)
    diary.adjust("sag", 1.0)
    diary.take("sag", sag(0.01), 1.5)
    row = board_from(diary.entries, None, MACHINE, START + timedelta(hours=1.6)).row("sag")
    assert (row.look_again, row.late) == (START + timedelta(hours=2.0), False)
    diary.take("sag", sag(0.02), 2.1)
    soon = board_from(diary.entries, None, MACHINE, START + timedelta(hours=3)).row("sag")
    assert soon.look_again == START + timedelta(hours=25)
    late = board_from(diary.entries, None, MACHINE, START + timedelta(hours=30)).row("sag")
    assert late.late


def test_the_drift_since_then_is_shown_with_its_uncertainty():
    diary = Diary()
    diary.take("sag", sag(0.3), 0.0)
    diary.adjust("sag", 1.0)
    diary.take("sag", sag(0.01), 2.0)
    found = diary.take("sag", sag(0.04), 25.0).result
    assert found.details["drift_mm"] == pytest.approx(0.03, abs=0.002)
    assert any("ten times as long would add" in note for note in found.notes)


def test_a_rule_cannot_decide_a_tenth_and_the_instrument_that_would_is_named():
    taking = Diary().take("bevel", "low=0.1 high=0.1 height=80 u=0.2")
    assert taking.feasible is not None and not taking.feasible.decides
    assert "dial indicator of 0.01 mm" in taking.feasible.instrument
    fine = Diary().take("bevel", "low=0.1 high=0.1 height=80 u=0.004")
    assert fine.feasible is not None and fine.feasible.decides


def test_where_no_instrument_would_do_a_longer_base_is_named():
    taking = Diary().take("bevel", "low=0.1 high=0.1 height=15 u=0.2 square=0.5")
    assert taking.feasible is not None
    assert (taking.feasible.instrument, "longer base" in taking.feasible.sentence) == ("", True)


def test_readings_that_would_contradict_each_other_were_they_finer_are_taken_as_they_are():
    gaps = "carriage_side=0.45,0.45 table_side=0.35,0.35 kerf=3.2 knife=2.8 plate=2.2 u=0.2"
    taking = Diary().take("knife", gaps)
    assert taking.feasible is not None
    assert (taking.feasible.decides, taking.feasible.instrument) == (False, "")


def test_the_room_of_a_limit_is_half_of_it_on_two_sides():
    assert room(Allowed(-0.1, 0.1, "mm", "")) == pytest.approx(0.1)
    assert room(Allowed(0.0, 0.2, "mm", "")) == pytest.approx(0.1)
    assert room(Allowed(None, 0.1, "mm", "")) == pytest.approx(0.1)
    for steps in INSTRUMENTS.values():
        assert [doubt for doubt, _ in steps] == sorted((doubt for doubt, _ in steps), reverse=True)


def test_every_direction_sentence_belongs_to_a_check_and_says_what_the_number_must_do():
    for name, said in direction.DIRECTIONS.items():
        sentences = [said] if isinstance(said, str) else list(said.values())
        assert name in BY_NAME
        assert all("the number must grow" in sentence for sentence in sentences)
        by = next((ask.words for ask in BY_NAME[name].asks if ask.key == "by"), ())
        assert isinstance(said, str) or set(said) <= set(by)
    assert not direction.sentence_of(BY_NAME["fence"]), "a cut has no sign to be switched"


def readings_of(name, text):
    check = BY_NAME[name]
    return understand(check, text.split(), check.allowed, lambda _question: False)


def test_a_direction_check_is_good_for_its_set_up_and_its_day():
    check = BY_NAME["toe"]
    readings = readings_of("toe", "front=0.1 rear=0.1 span=240").readings
    diary = Diary()
    now = START + timedelta(hours=1)
    assert "must grow" in direction.needed(check, readings, diary.entries, now)
    diary.add(0.0, "direction check", {"check": "toe", "by": "tooth", "moved_as_said": True})
    assert direction.needed(check, readings, diary.entries, now) == ""
    assert direction.needed(check, readings, diary.entries, START + timedelta(hours=20))
    plate = readings_of("toe", "by=plate front=0.1,0.1 rear=0.1,0.1 span=240").readings
    assert direction.needed(check, plate, diary.entries, now), "another set-up wants its own"


def test_a_number_that_moves_the_other_way_stops_the_readings(tmp_path):
    job = Job.create(tmp_path)
    with pytest.raises(NotAllowed, match="opposite sign"):
        direction.record(job, BY_NAME["toe"], "tooth", moved_as_said=False)
    assert job.entries()[-1].data["moved_as_said"] is False
    with pytest.raises(NotAllowed, match="nothing that has a direction"):
        direction.record(job, BY_NAME["fence"], "", moved_as_said=True)


def test_direction_alone_asks_for_no_readings():
    typed = readings_of("toe", "direction=yes by=plate")
    assert typed.direction_alone and typed.direction is True
    assert not readings_of("toe", "direction=yes front=0.1 rear=0.1 span=240").direction_alone


@pytest.mark.parametrize("text", ["adjusted=yes part=0", "adjusted=yes part=half", "adjusted=yes part=3"])
def test_a_part_that_is_none_is_refused(text):
    with pytest.raises(NotAllowed, match="no part of a correction"):
        readings_of("twist", text)
    with pytest.raises(NotAllowed, match="goes with adjusted=yes"):
        readings_of("twist", "infeed=0 outfeed=0 feet_across=700 part=0.5")


def test_every_check_with_a_limit_and_an_uncertainty_can_be_told_infeasible():
    assert all(check.allowed.unit in {*INSTRUMENTS, ""} for check in CHECKS)


def test_a_swept_set_up_is_asked_once_for_each_instrument_and_an_answer_of_no_names_the_line_to_write(tmp_path):
    job = Job(tmp_path, MACHINE, Journal(tmp_path / "journal.jsonl"))
    assert direction.swept_wanted(job, "across", "dial").endswith("the number must rise")
    with pytest.raises(NotAllowed, match="sense: reversed"):
        direction.record_swept(job, "across", "dial", moved_as_said=False)
    assert direction.swept_wanted(job, "across", "dial"), "it is asked again after the sense was written"
    direction.record_swept(job, "across", "dial", moved_as_said=True)
    assert direction.swept_wanted(job, "across", "dial") == ""
    assert direction.swept_wanted(job, "across", "another"), "another instrument may count the other way"
