"""Facts about two sideways sweeps taken as a straightedge's reversal. Truth is built here from travel and edge."""

from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from logger.checks import swept
from logger.checks.table import BY_NAME
from logger.checks.typed import understand
from logger.errors import NotAllowed

CHECK = BY_NAME["straight"]
X = np.linspace(300.0, 2100.0, 60)
TRAVEL = 0.12 * (1.0 - ((X - 1200.0) / 900.0) ** 2)
EDGE = 0.3 * np.sin(X / 400.0)


def sides(name):
    """What findings say of a sideways sweep: how far the carriage stands toward the table, straightedge and all."""
    direction, value = {"1": ("toward_table", TRAVEL - EDGE), "2": ("from_table", TRAVEL + EDGE)}[name]
    return SimpleNamespace(x_mm=X, value=value), SimpleNamespace(direction=direction)


@pytest.fixture(autouse=True)
def in_memory(monkeypatch):
    monkeypatch.setattr(swept, "_profile", lambda job, name: sides(name))


def readings(texts):
    job: Any = None
    made = swept.with_sweeps(job, CHECK, texts)
    return understand(CHECK, made, CHECK.allowed, lambda _question: False).readings.numbers


@pytest.mark.parametrize("named", ["sweeps=1,2", "sweeps=2,1"])
def test_the_straightedge_cancels_whichever_was_swept_first(named):
    numbers = readings([named])
    x, first, second = (np.array(numbers[key]) for key in ("x", "first", "second"))
    travel = (first - second) / 2.0
    true = np.interp(x, X, TRAVEL)
    assert travel - travel[0] == pytest.approx(true - true[0], abs=2e-4)


def test_without_sweeps_nothing_is_changed_and_other_checks_are_left_alone():
    assert swept.with_sweeps(None, CHECK, ["x=0,1"]) == ["x=0,1"]  # type: ignore[arg-type]
    assert swept.with_sweeps(None, BY_NAME["toe"], ["sweeps=1,2"]) == ["sweeps=1,2"]  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("texts", "says"),
    [(["sweeps=1"], "Two are needed"), (["sweeps=1,1"], "both sides"), (["sweeps=1,2", "first=0,1,2"], "not both")],
)
def test_what_does_not_belong_together_is_refused(texts, says):
    with pytest.raises(NotAllowed, match=says):
        readings(texts)
