"""The same check over months: creeping with its uncertainty, taken apart from turning and from the seasons.

Why it exists: two sweeps a year apart always differ, and three in a row always seem to show a trend. It prevents a
trend from being read into noise, the step of a turned bolt from being taken for creeping, and a warm summer from being
taken for a sinking foot: each is a term of its own in one weighted least-squares fit, and what does not stand clear of
its uncertainty is said not to.

Weighted least squares with known uncertainties: JCGM 100:2008 (GUM) H.3 with weights 1/u², as in any text on least
squares. Where the values scatter by more than their uncertainties say, these are enlarged by the ratio of the two
(R. T. Birge, Phys. Rev. 40 (1932) 207-227), and the coverage factor is Student's for the freedom left (GUM G.3).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from analysis.results import FloatArray, IntArray

DAYS_PER_YEAR = 365.25
LEAST_SPAN_DAYS = 14.0
"""Over less time no creeping is claimed per year: it would be a long way to carry a short measurement on."""
LEAST_SPREAD_C = 3.0
"""With less difference in temperature the seasons cannot be told from time (common practice, no source)."""
MOST_ALIKE = 0.98
"""Correlation of temperature and time above which the two cannot be told apart."""


@dataclass(frozen=True, slots=True)
class Term:
    """One effect: its size, expanded uncertainty (about 95 in 100), and whether it stands clear of it."""

    size: float
    uncertainty: float

    @property
    def clear(self) -> bool:
        return abs(self.size) > self.uncertainty


@dataclass(frozen=True)
class Course:
    """How a value went. ``per_year``, ``per_C``: None where the record cannot tell (``why`` says it in a sentence).

    ``levels`` (states,): the fitted value of each state of the machine at ``day_zero`` and ``temperature_zero``.
    ``scatter`` is how many times more the values scatter than their uncertainties say (1 or less: as they say).
    """

    per_year: Term | None
    per_C: Term | None
    levels: FloatArray
    states: IntArray
    day_zero: float
    temperature_zero: float
    scatter: float
    why: tuple[str, ...]

    def value(self, day: float, state: int, temperature: float | None = None) -> float:
        """The fitted course on a day in a state of the machine, at the mean temperature unless given."""
        out = float(self.levels[int(np.flatnonzero(self.states == state)[0])])
        if self.per_year is not None:
            out += self.per_year.size * (day - self.day_zero) / DAYS_PER_YEAR
        if self.per_C is not None and temperature is not None:
            out += self.per_C.size * (temperature - self.temperature_zero)
        return out


def course(
    days: FloatArray,
    value: FloatArray,
    standard_uncertainty: FloatArray,
    state: IntArray,
    temperature_C: FloatArray | None = None,
) -> Course:
    """Fit level by state, creeping, and temperature where it was noted (nan: not noted). All arrays (values,).

    ``state`` numbers the stretches between which something was turned or adjusted: each has a level of its own, so that
    a turn is no creeping. ValueError without values.
    """
    days, value = np.asarray(days, float), np.asarray(value, float)
    u = np.asarray(standard_uncertainty, float)
    if not len(value):
        raise ValueError("There is no value to fit a course to.")
    states = np.unique(state)
    day_zero = float(np.mean(days))
    why: list[str] = []
    columns = [(state == each).astype(float) for each in states]
    time_at = _time_column(days, state, columns, why)
    warm, temperature_zero = _temperature(temperature_C, days, why)
    if warm is not None and len(value) <= len(columns) + 1:
        warm = None
        why.append("There are too few values to tell the seasons from the rest.")
    if warm is not None:
        columns.append(warm)
    fitted = fit(np.column_stack(columns), value, u)
    shift = len(states) + (1 if time_at else 0)
    return Course(
        per_year=fitted.term(len(states)) if time_at else None,
        per_C=fitted.term(shift) if warm is not None else None,
        levels=fitted.coefficients[: len(states)],
        states=states.astype(np.int64),
        day_zero=day_zero,
        temperature_zero=temperature_zero,
        scatter=fitted.scatter,
        why=tuple(why),
    )


def _time_column(days: FloatArray, state: IntArray, columns: list[FloatArray], why: list[str]) -> bool:
    """Add the column of time where it can be told; only time within a state counts, between states a turn hides it."""
    spans = [float(np.ptp(days[state == each])) for each in np.unique(state)]
    if max(spans) < LEAST_SPAN_DAYS:
        why.append(
            f"Between two turns the record spans {max(spans):.0f} days at most; {LEAST_SPAN_DAYS:.0f} are needed "
            "to tell creeping."
        )
        return False
    columns.append((days - float(np.mean(days))) / DAYS_PER_YEAR)
    return True


def _temperature(temperature_C: FloatArray | None, days: FloatArray, why: list[str]) -> tuple[FloatArray | None, float]:
    if temperature_C is None or not np.isfinite(temperature_C).any():
        why.append("No temperature was noted: creeping and seasons cannot be told apart.")
        return None, math.nan
    known = np.isfinite(temperature_C)
    mean = float(np.mean(temperature_C[known]))
    if not known.all():
        why.append(f"The temperature was noted for {int(known.sum())} of {len(known)} values: seasons are not told.")
        return None, mean
    spread = float(np.ptp(temperature_C))
    if spread < LEAST_SPREAD_C:
        why.append(f"The temperatures differ by {spread:.1f} °C; {LEAST_SPREAD_C:.0f} are needed to tell the seasons.")
        return None, mean
    if np.ptp(days) > 0 and abs(float(np.corrcoef(days, temperature_C)[0, 1])) > MOST_ALIKE:
        why.append("It grew warmer or colder all the while: creeping and temperature cannot be told apart.")
        return None, mean
    return temperature_C - mean, mean


@dataclass(frozen=True)
class Fit:
    """Coefficients with the covariance that the known uncertainties give; ``scatter`` is Birge's ratio."""

    coefficients: FloatArray
    covariance: FloatArray
    scatter: float
    freedom: int

    def term(self, index: int) -> Term:
        """One coefficient with its expanded uncertainty: k = 2, or Student's factor on the enlarged one if more."""
        from scipy.stats import t as student

        u = math.sqrt(max(float(self.covariance[index, index]), 0.0))
        spread = 2.0 * u
        if self.freedom > 0:
            spread = max(spread, float(student.ppf(0.975, self.freedom)) * u * self.scatter)
        return Term(float(self.coefficients[index]), spread)


def fit(design: FloatArray, value: FloatArray, standard_uncertainty: FloatArray) -> Fit:
    """Weighted least squares of ``value`` (n,) on ``design`` (n, p); ValueError where columns depend on each other."""
    weight = 1.0 / np.maximum(np.asarray(standard_uncertainty, float), 1e-12)
    scaled = np.asarray(design, float) * weight[:, None]
    size = np.sqrt(np.sum(scaled**2, axis=0))
    if len(value) < scaled.shape[1] or np.any(size == 0):
        raise ValueError(f"{len(value)} values cannot fix {scaled.shape[1]} unknowns.")
    q, r = np.linalg.qr(scaled / size)
    if abs(np.diag(r)).min() < 1e-9:
        raise ValueError("The terms of the fit cannot be told apart.")
    coefficients = np.linalg.solve(r, q.T @ (value * weight)) / size
    root = np.linalg.inv(r) / size[:, None]
    left = (value - design @ coefficients) * weight
    freedom = len(value) - scaled.shape[1]
    scatter = math.sqrt(float(left @ left) / freedom) if freedom > 0 else 1.0
    return Fit(coefficients, np.asarray(root @ root.T, float), scatter, freedom)


def at_places(
    x_mm: FloatArray,
    value: FloatArray,
    covariance: FloatArray,
    places_mm: Sequence[float],
    not_seen: Sequence[tuple[float, float]] = (),
) -> tuple[FloatArray, FloatArray]:
    """(values, covariance) of a profile at places, straight between its stations; nan where it was not seen."""
    rows = np.full((len(places_mm), len(x_mm)), np.nan)
    for row, place in enumerate(places_mm):
        if len(x_mm) < 2 or not x_mm[0] <= place <= x_mm[-1] or any(a < place < b for a, b in not_seen):
            continue
        right = int(np.clip(np.searchsorted(x_mm, place), 1, len(x_mm) - 1))
        part = (place - x_mm[right - 1]) / (x_mm[right] - x_mm[right - 1])
        rows[row] = 0.0
        rows[row, right - 1], rows[row, right] = 1.0 - part, part
    return rows @ value, rows @ covariance @ rows.T


def sag(
    x_mm: FloatArray, value: FloatArray, covariance: FloatArray, from_mm: float, to_mm: float
) -> tuple[float, float]:
    """(height of the middle over the straight line between ``from_mm`` and ``to_mm``, its standard uncertainty).

    Negative where it sags. What is common to all heights (the zero) and the tilt cancel.
    """
    middle = 0.5 * (from_mm + to_mm)
    at, spread = at_places(x_mm, value, covariance, (from_mm, middle, to_mm))
    weights = np.array([-0.5, 1.0, -0.5])
    return float(weights @ at), math.sqrt(max(float(weights @ spread @ weights), 0.0))


@dataclass(frozen=True, slots=True)
class Shift:
    """How far the height at one place changed between two profiles; expanded uncertainty for all places together."""

    place: str
    x_mm: float
    change: float
    uncertainty: float

    @property
    def clear(self) -> bool:
        return abs(self.change) > self.uncertainty


def shifts(
    names: Sequence[str],
    places_mm: Sequence[float],
    before: tuple[FloatArray, FloatArray],
    after: tuple[FloatArray, FloatArray],
    *,
    shape_only: bool = False,
) -> tuple[Shift, ...]:
    """Changes at places from (values, covariance) before and after, as ``at_places`` gives them; unseen ones left out.

    The more places are looked at, the more likely one of them seems to have moved by chance: the coverage factor is
    that of Sidak (J. Am. Stat. Assoc. 62 (1967) 626-633), 95 in 100 for all of them together. ``shape_only``: the mean
    change over the places is taken off, where a zero was not known.
    """
    from scipy.special import ndtri

    seen = np.flatnonzero(np.isfinite(before[0]) & np.isfinite(after[0]))
    if not len(seen):
        return ()
    change = np.asarray(after[0][seen] - before[0][seen], float)
    covariance = (before[1] + after[1])[np.ix_(seen, seen)]
    if shape_only:
        centre = np.eye(len(seen)) - 1.0 / len(seen)
        change, covariance = centre @ change, centre @ covariance @ centre.T
    factor = float(ndtri(0.5 * (1.0 + 0.95 ** (1.0 / len(seen)))))
    spread = factor * np.sqrt(np.maximum(np.diag(covariance), 0.0))
    return tuple(
        Shift(names[index], float(places_mm[index]), float(moved), float(u))
        for index, moved, u in zip(seen.tolist(), change, spread, strict=True)
    )
