"""What streamed since the recording began, as angles and readings: for the eye, and to say when a turn is whole.

Why it exists: between two marks nobody knows the angle exactly, and after the last one it can only be guessed at the
pace until then. The picture may guess; what is judged uses the marks alone and is the same function the check uses.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING

import numpy as np

from logger.readings import Mark, Reading, Record
from logger.tui.feed import in_base_units

if TYPE_CHECKING:
    from analysis.results import FloatArray
    from logger.checks.model import Allowed, Check
    from logger.checks.turning import SoFar
    from logger.machines import Machine

AGAIN_S = 2.0
"""Without a mark the total alone is worked out, and so often is enough for the eye."""


class TurnStream:
    """Readings (mm) and marks; ``so_far`` is what they say, ``why`` stands in it where they say nothing yet."""

    def __init__(self, check: Check, allowed: Allowed, machine: Machine) -> None:
        self._check, self._allowed, self._machine = check, allowed, machine
        self._t: list[FloatArray] = []
        self._values: list[FloatArray] = []
        self._marks: list[float] = []
        self._judged = (-1, 0, 0.0)
        self.so_far: SoFar | None = None

    @property
    def marks(self) -> int:
        """How many marks came."""
        return len(self._marks)

    def take(self, records: Sequence[Record], reads: Callable[[str], bool]) -> None:
        """Keep what came."""
        readings = [record for record in records if isinstance(record, Reading) and reads(record.channel)]
        if readings:
            self._t.append(np.array([reading.t_ns for reading in readings], dtype=np.float64) * 1e-9)
            self._values.append(in_base_units(readings))
        self._marks += [record.t_ns * 1e-9 for record in records if isinstance(record, Mark)]

    def stream(self) -> tuple[FloatArray, FloatArray]:
        """Times (readings,) in s and readings in mm."""
        if not self._t:
            return np.zeros(0), np.zeros(0)
        if len(self._t) > 1:
            self._t, self._values = [np.concatenate(self._t)], [np.concatenate(self._values)]
        return self._t[0], self._values[0]

    def judge(self, marks_a_turn: int, moment_s: float) -> None:
        """What it says, worked out anew with each mark; without one, now and then."""
        from logger.checks.turning import so_far

        marks, each, when = self._judged
        fresh = len(self._marks) == marks and each == marks_a_turn
        if fresh and (self._marks or moment_s - when < AGAIN_S):
            return
        self._judged = (len(self._marks), marks_a_turn, moment_s)
        t_s, values = self.stream()
        marks_t = np.array(sorted(self._marks))
        self.so_far = so_far(self._check, self._allowed, self._machine, t_s, values, marks_t, marks_a_turn)

    def laid_out(self, marks_a_turn: int) -> tuple[FloatArray, FloatArray, float | None]:
        """Angles (degrees, counted on) and readings since the first mark, and the angle now; none before two marks."""
        t_s, values = self.stream()
        marks = np.array(sorted(self._marks))
        if len(marks) < 2 or marks[-1] <= marks[0]:
            return np.zeros(0), np.zeros(0), None
        step, pace = 360.0 / marks_a_turn, float(np.median(np.diff(marks)))
        counted = np.interp(t_s, marks, step * np.arange(len(marks)))
        after = t_s > marks[-1]
        counted[after] += np.minimum((t_s[after] - marks[-1]) / max(pace, 1e-3), 0.999) * step  # held at the next one
        inside = t_s >= marks[0]
        angles = counted[inside]
        return angles, values[inside], float(angles[-1]) if len(angles) else None
