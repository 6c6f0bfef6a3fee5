"""What the studies of the checks share: taking readings as a person types them, and counting what came of it.

Why it exists: a study must go the way a user goes (typed text, limits, evaluation), or it measures a formula and not
the check. A truth is handed in by the study from ``fixtures``, which knows none of the formulas.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime, timedelta
from importlib import resources

import numpy as np

from logger.checks.evaluate import evaluate
from logger.checks.result import Result
from logger.checks.table import BY_NAME
from logger.checks.taking import result_of
from logger.checks.typed import understand
from logger.checks.words import taken_data
from logger.errors import TruestrokeError
from logger.journal import JournalEntry
from logger.machines import Machine, machine_from_text

ROUNDS = 12
MACHINE = machine_from_text(
    resources.files("hardware").joinpath("machines", "kiln-street.yaml").read_text(encoding="utf-8"), "kiln-street"
)


def take(
    name: str,
    texts: Sequence[str],
    machine: Machine = MACHINE,
    known: Mapping[str, tuple[float, float]] | None = None,
) -> Result:
    """One check from what is typed. Raises TruestrokeError as the command would."""
    check = BY_NAME[name]
    typed = understand(check, texts, check.allowed, lambda question: False)
    readings = replace(typed.readings, known=dict(known or {}))
    return evaluate(check, readings, typed.allowed, machine)


class Memory:
    """A job's journal in memory, for rounds in which a check learns from its own corrections."""

    def __init__(self, machine: Machine = MACHINE) -> None:
        self.machine, self.entries, self.now = machine, list[JournalEntry](), datetime(2026, 1, 5, 8, tzinfo=UTC)

    def take(self, name: str, texts: Sequence[str]) -> Result:
        check = BY_NAME[name]
        typed = understand(check, [*texts, *(["ends=right"] if check.ends else [])], check.allowed, lambda _: False)
        taking = result_of(check, typed, self.entries, self.machine, lambda _: False, now=self.now)
        self._add(**taken_data(check, taking.typed, taking.result, texts))
        return taking.result

    def adjusted(self, name: str) -> None:
        self._add(check=name, adjusted=True)

    def wait(self, hours: float) -> None:
        self.now += timedelta(hours=hours)

    def _add(self, **data: object) -> None:
        self.now += timedelta(minutes=10)
        self.entries.append(JournalEntry(f"{len(self.entries)}", self.now.isoformat(), "", "taken", dict(data)))


def listed(values: Sequence[float] | np.ndarray, decimals: int = 3, unit: str = "mm") -> str:
    return ",".join(f"{value:.{decimals}f}" for value in values) + unit


@dataclass(frozen=True)
class Shot:
    """One simulated machine measured once: what the check said and what is true."""

    value: float
    uncertainty: float
    truth: float

    @classmethod
    def of(cls, result: Result, truth: float) -> Shot:
        return cls(result.verdict.value, result.verdict.uncertainty, truth)


Study = Callable[[np.random.Generator, str], Shot]


@dataclass
class Coverage:
    """All machines of one class measured by one check."""

    name: str
    kind: str
    shots: list[Shot] = field(default_factory=list)
    refused: int = 0
    reasons: dict[str, int] = field(default_factory=dict)

    def line(self, unit: str) -> str:
        error = np.array([abs(s.value - s.truth) for s in self.shots])
        doubt = np.array([s.uncertainty for s in self.shots])
        held = 100.0 * float(np.mean(error <= doubt))
        flag = "" if 90.0 <= held <= 98.0 else "  <--"
        low, high = _wilson(int((error <= doubt).sum()), len(error))
        return (
            f"{self.name:34} {self.kind:12} {len(error):4d} {held:6.1f} ({low:.0f}..{high:.0f})   "
            f"{np.median(error):7.3f} {np.quantile(error, 0.95):7.3f} {np.median(doubt):7.3f} {unit}"
            f"{f'  refused {self.refused}' if self.refused else ''}{flag}"
        )


def cover(name: str, kind: str, study: Study, machines: int, seed: int) -> Coverage:
    """``machines`` draws, each with its own seed; a refusal is counted and its sentence kept."""
    out = Coverage(name, kind)
    for number in range(machines):
        rng = np.random.default_rng([seed, number, sum(map(ord, name + kind))])
        try:
            out.shots.append(study(rng, kind))
        except TruestrokeError as refused:
            out.refused += 1
            said = str(refused)[:100]
            out.reasons[said] = out.reasons.get(said, 0) + 1
    return out


HEADER = f"{'check':34} {'class':12} {'n':>4} {'held %':>6} {'(95 %)':9} {'error, median':>9} {'95 %':>6} {'stated':>7}"


def _wilson(hits: int, count: int) -> tuple[float, float]:
    share, z = hits / count, 1.96
    middle = (share + z * z / 2 / count) / (1 + z * z / count)
    half = z / (1 + z * z / count) * math.sqrt(share * (1 - share) / count + z * z / 4 / count**2)
    return 100 * (middle - half), 100 * (middle + half)


@dataclass
class Rounds:
    """Rounds (measure, correct) until the truth is inside, for two ways of going about it."""

    name: str
    kind: str
    ways: dict[str, list[int | None]] = field(default_factory=dict)
    wrongly: int = 0

    def line(self) -> str:
        told = []
        for way, rounds in self.ways.items():
            done = np.array([99 if each is None else each for each in rounds])
            parts = "/".join(f"{100 * np.mean(done <= n):.0f}" for n in (1, 2, 3))
            median = "never" if np.median(done) >= 99 else f"{np.median(done):.0f}"
            never = 100 * np.mean(done >= 99)
            told.append(f"{way}: median {median}, inside after 1/2/3 {parts} %, never {never:.0f} %")
        wrongly = f"; accepted though outside {self.wrongly}" if self.wrongly else ""
        return f"{self.name:14} {self.kind:12} {len(next(iter(self.ways.values())))}: " + "; ".join(told) + wrongly
