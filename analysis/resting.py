"""A rail that only rests on its bolts at the rows of a plan, in every draw: how they move as feet open and close.

Why it exists: a bolt with a gap under the rail does nothing until it touches, and one that is lowered takes its support
away only until it hangs. It prevents a plan made with one linear response, which asks for turns that change nothing, or
much more than was said.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from analysis.gaps import Feet
from analysis.results import FloatArray


@dataclass(frozen=True)
class Part:
    """Rows that one set-up, or one goal, contributes: ``state`` (draws, stations, 3, bolts) held both ways, the feet
    there, and ``read``, which turns states (draws, stations, 3, cases) into rows (draws, rows, cases).
    """

    state: FloatArray
    feet: Feet
    read: Callable[[FloatArray], FloatArray]

    def first(self, draws: int) -> Part:
        """The first draws."""
        feet = Feet(self.feet.stiffness[:draws], self.feet.force_N[:draws], self.feet.one_way)
        return Part(self.state[:draws], feet, self.read)


@dataclass(frozen=True)
class Resting:
    """A resting rail in every draw: its parts (the main set-up first, a row for each of its stations) and how its
    bolts stand now against the first sweep, ``lifts_mm`` (draws, 1, bolts).
    """

    parts: tuple[Part, ...]
    lifts_mm: FloatArray
    descends: bool = False

    def first(self, draws: int) -> Resting:
        """The first draws."""
        return Resting(tuple(part.first(draws) for part in self.parts), self.lifts_mm[:draws])

    def main_alone(self) -> Resting:
        """The main set-up's rows only."""
        return Resting(self.parts[:1], self.lifts_mm)

    def change(self, lifts_mm: FloatArray) -> FloatArray:
        """How the rows change (draws, rows) when the bolts are lifted by (draws, bolts) from now."""
        moved = []
        for part in self.parts:
            now = part.feet.effective(self.lifts_mm)
            then = part.feet.effective(self.lifts_mm + lifts_mm[:, None, :])
            moved.append(part.read(np.sum(part.state * (then - now)[:, :, None, :], axis=-1, keepdims=True))[..., 0])
        return np.concatenate(moved, axis=1)

    def change_and_response(self, lifts_mm: FloatArray) -> tuple[FloatArray, FloatArray]:
        """How the rows change (draws, rows), and their response there (draws, rows, bolts)."""
        return self.change(lifts_mm), self.response(lifts_mm)

    def response(self, lifts_mm: FloatArray) -> FloatArray:
        """Response of the rows (draws, rows, bolts) with the bolts lifted by (draws, bolts) from now."""
        found = []
        for part in self.parts:
            answer = part.feet.answer(self.lifts_mm + lifts_mm[:, None, :])
            found.append(part.read(np.einsum("dsqb,dsbc->dsqc", part.state, answer)))
        return np.concatenate(found, axis=1)

    def beginnings(self, least: float) -> list[tuple[FloatArray, FloatArray]]:
        """Responses (draws, rows, bolts), and offsets (draws, rows), to begin a plan on: the feet as they carry now,
        and all feet carrying (contact first, where it was lost), unless the two differ by less than ``least``.
        """
        still = np.zeros_like(self.lifts_mm[:, 0])
        now = self.response(still)
        closed = self.closed()
        found = [(now, np.zeros(now.shape[:2]))]
        return [*found, (self.held(), closed)] if np.abs(closed).max() >= least else found

    def held(self) -> FloatArray:
        """Response of the rows with all feet carrying: (draws, rows, bolts)."""
        return np.concatenate([part.read(part.state) for part in self.parts], axis=1)

    def closed(self) -> FloatArray:
        """How the rows would change (draws, rows) if every open foot were followed by its bolt and carried."""
        moved = []
        for part in self.parts:
            gap = part.feet.effective(self.lifts_mm) - self.lifts_mm
            moved.append(part.read(-np.sum(part.state * gap[:, :, None, :], axis=-1, keepdims=True))[..., 0])
        return np.concatenate(moved, axis=1)

    def hanging(self) -> FloatArray:
        """Chance of each bolt (bolts,) to have a gap over more than half of the main set-up's stations."""
        feet = self.parts[0].feet
        gap = feet.effective(self.lifts_mm) - self.lifts_mm
        return np.asarray(np.mean(np.mean(gap > 1e-6, axis=1) > 0.5, axis=0))

    def display(self, park: int, lifts_mm: FloatArray) -> FloatArray:
        """How the main set-up's reading at row ``park`` changes: lifts (draws, cases, bolts) to (draws, cases)."""
        part = self.parts[0]
        draws, cases, bolts = lifts_mm.shape
        force = np.broadcast_to(part.feet.force_N[:, park : park + 1], (draws, cases + 1, bolts))
        feet = Feet(part.feet.stiffness, force, part.feet.one_way)
        trials = np.concatenate([np.zeros((draws, 1, bolts)), lifts_mm], axis=1)
        effective = feet.effective(self.lifts_mm + trials)
        column = part.read(part.state)[:, park]
        return np.asarray(np.einsum("dcb,db->dc", effective[:, 1:] - effective[:, :1], column))
