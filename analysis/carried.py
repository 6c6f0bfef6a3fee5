"""A carriage on several bearings at the rows of a plan, in every draw: how they move as the bolts are lifted.

Why it exists: planning, playing a round through and estimating a parked turn must all let the same bearings take over
from each other as the rail moves under them. It prevents a plan on one response of a machine that has many.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from analysis.carriage import state_on_rail
from analysis.results import FloatArray
from analysis.running import Bearings


@dataclass(frozen=True)
class Part:
    """Rows that one set-up, or one goal, contributes: the bearings at its stations, and ``read``, which turns states
    (draws, stations, 3, cases) into rows (draws, rows, cases).
    """

    s_mm: FloatArray
    bearings: Bearings
    read: Callable[[FloatArray], FloatArray]

    def rows(self, lifts_mm: FloatArray) -> FloatArray:
        """The rows (draws, rows) with the bolts lifted by (draws, 1, bolts) since the first sweep."""
        return self.read(self.bearings.stand(lifts_mm).state[..., None])[..., 0]


@dataclass(frozen=True)
class Carried:
    """The parts (the main set-up first, a row for each of its stations) and how the bolts stand now against the first
    sweep, ``lifts_mm`` (draws, 1, bolts).
    """

    parts: tuple[Part, ...]
    lifts_mm: FloatArray
    descends: bool = True

    def first(self, draws: int) -> Carried:
        """The first draws."""
        parts = tuple(Part(part.s_mm, part.bearings.first(draws), part.read) for part in self.parts)
        return Carried(parts, self.lifts_mm[:draws])

    def main_alone(self) -> Carried:
        """The main set-up's rows only."""
        return Carried(self.parts[:1], self.lifts_mm)

    def values(self) -> FloatArray:
        """The rows (draws, rows) as they are now."""
        return np.concatenate([part.rows(self.lifts_mm) for part in self.parts], axis=1)

    @cached_property
    def _now(self) -> FloatArray:
        return self.values()

    def change(self, lifts_mm: FloatArray) -> FloatArray:
        """How the rows change (draws, rows) when the bolts are lifted by (draws, bolts) from now."""
        then = self.lifts_mm + lifts_mm[:, None, :]
        return np.concatenate([part.rows(then) for part in self.parts], axis=1) - self._now

    def change_and_response(self, lifts_mm: FloatArray) -> tuple[FloatArray, FloatArray]:
        """How the rows change (draws, rows), and their response there (draws, rows, bolts)."""
        then = self.lifts_mm + lifts_mm[:, None, :]
        ends, answers = [], []
        for part in self.parts:
            on = part.bearings.stand(then)
            ends.append(part.read(on.state[..., None])[..., 0])
            answers.append(part.read(part.bearings.response(on)))
        return np.concatenate(ends, axis=1) - self._now, np.concatenate(answers, axis=1)

    def beginnings(self, least: float) -> list[tuple[FloatArray, FloatArray]]:
        """Responses (draws, rows, bolts), and offsets (draws, rows), to begin a plan on: with the bearings that carry
        now, and with the mean of all, which is nearer to what large turns do.
        """
        still = np.zeros_like(self.lifts_mm[:, 0])
        none, now = self.change_and_response(still)
        all_alike = []
        for part in self.parts:
            bearings = part.bearings
            state = state_on_rail(bearings.carriage, part.s_mm, bearings.by_height, bearings.by_twist)
            all_alike.append(part.read(state))
        return [(now, none), (np.concatenate(all_alike, axis=1), none)]

    def display(self, park: int, lifts_mm: FloatArray) -> FloatArray:
        """How the main set-up's reading at row ``park`` changes: lifts (draws, cases, bolts) to (draws, cases)."""
        part = self.parts[0]
        one = part.bearings.only(park)
        trials = np.concatenate([np.zeros_like(lifts_mm[:, :1]), lifts_mm], axis=1)
        state = one.stand(self.lifts_mm + trials).state  # (draws, cases, 3)
        count = len(part.s_mm)
        spread = np.zeros((len(state), count, 3, state.shape[1]))
        spread[:, park] = np.swapaxes(state, 1, 2)
        shown = part.read(spread)[:, park]
        return np.asarray(shown[:, 1:] - shown[:, :1])
