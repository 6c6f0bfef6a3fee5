"""Facts about the quick check, on the simulated saw: what stood still is not called moved, what did is named.

The saw and its bolts are those of ``fixtures`` (own physics); recordings are replaced by findings kept in memory.
"""

from dataclasses import replace
from datetime import UTC, datetime, timedelta
from functools import cache
from typing import Any

import pytest

from fixtures.workshop import draw_machine
from logger.advising import inputs
from logger.checks import final
from logger.checks.table import BY_NAME
from logger.checks.typed import understand
from logger.errors import NotAllowed
from logger.journal import JournalEntry
from tests.benchmarks.workbench import find_in_memory, job_for, sweep

CHECK = BY_NAME["final"]


class Quick:
    """A job in memory with a journal: sweeps are kept by name, everything else is an entry."""

    def __init__(self, seed=0):
        self.saw = draw_machine(seed)
        self.job: Any = job_for(self.saw, 0.05)
        self.entries: list[JournalEntry] = []
        setattr(self.job, "standing_entries", lambda: self.entries)  # noqa: B010

    def add(self, kind, **data):
        time = datetime(2026, 11, 25, 10, tzinfo=UTC) + timedelta(minutes=len(self.entries))
        self.entries.append(JournalEntry(f"{len(self.entries):04d}", time.isoformat(), "sam", kind, data))

    def sweep(self, found=None):
        self.job.swept([found or sweep(self.saw, self.job.machine, "across")])
        self.add("sweep", sweep=self.job.records[-1].sweeps[0])

    def take(self, state):
        typed = understand(CHECK, [f"state={state}"], CHECK.allowed, lambda _question: False)
        found = final.result_of(CHECK, typed.readings, CHECK.allowed, self.job)
        self.add("taken", check="final", verdict=found.verdict.word, value=found.verdict.value,
                 uncertainty=found.verdict.uncertainty, **({"accepted": found.details["accepted"]}
                 if "accepted" in found.details else {}))  # fmt: skip
        return found


@pytest.fixture(autouse=True)
def in_memory(monkeypatch):
    def by_set_up(job, names):
        found: dict[str, list[str]] = {}
        for name in names:
            found.setdefault(job.kept[name].set_up, []).append(name)
        return found

    monkeypatch.setattr(inputs, "_findings_of", find_in_memory)
    monkeypatch.setattr(final, "_findings", lambda job, names: job.kept[names[-1]])
    monkeypatch.setattr(final, "_by_set_up", by_set_up)


@cache
def first_sweep(seed):
    quick = Quick(seed)
    return sweep(quick.saw, quick.job.machine, "across")


def accepted(seed=0):
    quick = Quick(seed)
    quick.sweep(first_sweep(seed))
    assert quick.take("accept").verdict.word == "inside"
    return quick


def test_a_saw_that_stood_still_is_inside_and_nothing_moved():
    quick = accepted()
    quick.sweep()
    found = quick.take("compare")
    assert found.verdict.word == "inside"
    assert found.details["compared"][0]["moved"] is False
    assert any("nothing moved" in note for note in found.notes)


def test_a_bolt_that_sank_is_outside_and_named_first():
    quick = accepted(3)
    quick.saw.turn("B3", -0.25, exact=True)
    quick.sweep()
    found = quick.take("compare")
    assert found.verdict.word == "outside"
    (compared,) = found.details["compared"]
    bolts = [cause for cause in compared["causes"] if cause["cause"].startswith("B")]
    assert bolts[0]["cause"] == "B3"
    assert bolts[0]["amount"] < 0
    assert any("B3 lower by" in note for note in found.notes)


def test_that_nothing_moved_is_said_only_of_what_would_have_been_noticed():
    quick = accepted()
    quick.sweep()
    found = quick.take("compare")
    least = found.details["noticed_from_mm"]
    bolts = [bolt.name for bolt in quick.job.machine.bolts]
    assert set(least) <= set(bolts)
    assert all(amount > 0.0 for amount in least.values())
    far = [bolt for bolt in bolts if least.get(bolt, 9.0) > final.UNSEEN_mm]
    assert any("would have been noticed" in note for note in found.notes)
    assert not far or any(far[0] in note and "sees more" in note for note in found.notes)


def test_two_set_ups_name_a_bolt_together():
    quick = accepted(3)
    quick.sweep(sweep(quick.saw, quick.job.machine, "along"))
    quick.take("accept")
    quick.saw.turn("B3", -0.25, exact=True)
    for name in ("across", "along"):
        quick.sweep(sweep(quick.saw, quick.job.machine, name))
    found = quick.take("compare")
    assert len(found.details["compared"]) == 2
    assert any(note.startswith("All set-ups together: B3 lower by") for note in found.notes)


def test_a_zero_set_anew_is_no_bolt():
    quick = accepted()
    kept = first_sweep(0)
    quick.sweep(replace(kept, profile=replace(kept.profile, value=kept.profile.value + 0.2)))
    found = quick.take("compare")
    assert found.details["compared"][0]["causes"][0]["cause"] == final.ZERO
    assert any("zero on the table's plane" in note for note in found.notes)


def test_an_accepted_state_says_which_set_ups_direction_nobody_checked():
    quick = Quick()
    quick.sweep(first_sweep(0))
    assert any("Nobody saw the number move as said in set-up 'across'" in note for note in quick.take("accept").notes)
    quick.add("direction check", set_up="across", instrument="dial", moved_as_said=True)
    assert not any("Nobody saw" in note for note in quick.take("accept").notes)


def test_nothing_is_compared_across_turned_bolts_without_a_sweep_or_without_an_accepted_state():
    quick = Quick()
    with pytest.raises(NotAllowed, match="no state to accept"):
        quick.take("accept")
    with pytest.raises(NotAllowed, match="No state has been accepted"):
        quick.take("compare")
    quick = accepted()
    with pytest.raises(NotAllowed, match="Nothing was swept since"):
        quick.take("compare")
    quick.sweep(first_sweep(0))
    quick.add("turned", turned=[{"bolt": "B2", "raise_mm": 0.1, "uncertainty_mm": 0.01}])
    with pytest.raises(NotAllowed, match="it is another machine now"):
        quick.take("compare")


def test_a_damaged_acceptance_is_none():
    entry = JournalEntry("1", "2026-11-25T10:00:00Z", "sam", "taken", {"check": "final", "accepted": {"across": 7}})
    assert final.accepted_of([entry]) == (0, {})
    assert final.accepted_of([]) is None
