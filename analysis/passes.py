"""Several passes become one profile, with all that is uncertain about it carried along.

Why it exists: forward and return never lie on each other. The mark was late, the indicator lags and has play, it
drifts, dust lies on the rail, the hand pushed unevenly. It prevents two mistakes: averaging the passes as they are,
which wipes out real spots where the positions disagree, and dividing the scatter by the root of the number of readings,
when most of the error is common to neighbours.

Method: one maximum-a-posteriori fit (Gauss-Newton) of a smoothing spline, the position's error along each pass (with
the prior of :mod:`analysis.motion`), and nuisances: delay, offset between directions, play of the indicator, drift from
the start of each sweep, zero shift of each pass and sweep. The strengths of smoothing and position prior follow from
the data (the fixed-point rule of Fellner and Schall; Wood and Fasiolo, Biometrics 73 (2017) 1071-1081). Robust weights
are Tukey's biweight. Readings can tell how the passes are shifted against each other, never how all of them are shifted
together: that common part is held at its prior mean (a smoothness guess must not decide it) and its whole prior
uncertainty is added to the covariance afterwards, so errors common to the passes do not average away.
"""

from __future__ import annotations

import itertools
from collections.abc import Sequence

import numpy as np

from analysis.cells import Cells, gather
from analysis.cells import PassReadings as PassReadings
from analysis.fit import Fit, PassFit, Scales, hat_of
from analysis.results import FloatArray
from analysis.spline import Spline
from analysis.uncertainty import MAD_TO_SIGMA

KNOTS_MM = 45.0
_NODES_MM = 60.0
_ITERATIONS = 30
_TUKEY = 5.0
_LEAST_PLAY = 0.005  # of the profile's range: narrower play cannot be told from noise


class NothingToFit(ValueError):
    """There are no readings a profile could be made of."""


def fit_passes(
    passes: Sequence[PassReadings], scales: Scales | None = None, knots_mm: float = KNOTS_MM, resolution: float = 0.0
) -> Fit:
    """Fit one profile to all passes. ``resolution`` is the display's step: rounding alone is never an outlier.

    Raises NothingToFit when fewer than 4 readings are left.
    """
    cells = [gather(p) for p in passes]
    usable = [i for i, c in enumerate(cells) if len(c.t_s) >= 2]
    if sum(len(cells[i].t_s) for i in usable) < 4:
        raise NothingToFit("Fewer than 4 readings touch; a profile needs more.")
    return _Joint(
        [passes[i] for i in usable], [cells[i] for i in usable], scales or Scales(), knots_mm, resolution
    ).run()


class _Joint:
    """The unknowns, laid out as [spline | position shifts of each pass | delay | nuisances], and their fit."""

    def __init__(
        self, passes: Sequence[PassReadings], cells: Sequence[Cells], scales: Scales, knots_mm: float, resolution: float
    ) -> None:
        self.resolution = resolution
        self.passes, self.cells = passes, cells
        self.rows = np.concatenate([[0], np.cumsum([len(c.t_s) for c in cells])]).astype(int)
        self.y = np.concatenate([c.value for c in cells])
        count = np.concatenate([c.count for c in cells])
        self.base_weight = np.minimum(count / np.median(count), 1.0)
        self.nominal = np.concatenate([p.motion.position_mm(c.t_s) for p, c in zip(passes, cells, strict=True)])
        self.delay_effect = np.concatenate(
            [p.motion.delay_effect_mm_s(c.t_s) for p, c in zip(passes, cells, strict=True)]
        )
        self.spline = self._choose_spline(knots_mm)
        self.roughness = self.spline.roughness()
        self._lay_out_positions()
        self._lay_out_nuisances(scales)

    def _choose_spline(self, knots_mm: float) -> Spline:
        span = float(np.ptp(self.nominal))
        typical = float(np.median([np.ptp(self.nominal[a:b]) / (b - a) for a, b in self._spans()]))
        spacing = max(knots_mm, 1.5 * typical / len(self.passes), span / 120.0)
        reach = min(60.0, 0.05 * span + 5.0)
        return Spline.over(float(self.nominal.min()) - reach, float(self.nominal.max()) + reach, spacing)

    def _spans(self) -> list[tuple[int, int]]:
        return [(int(a), int(b)) for a, b in zip(self.rows[:-1], self.rows[1:], strict=True)]

    def _lay_out_positions(self) -> None:
        """Position errors at nodes common to all passes, each pass with those it went by."""
        low, high = float(self.nominal.min()), float(self.nominal.max())
        count = int(np.clip(round((high - low) / _NODES_MM), 3, 60)) + 1
        self.common_x = np.linspace(low, high, count)
        step = self.common_x[1] - self.common_x[0]
        self.node_index, self.hats, self.prior, self.prior_covariance = [], [], [], []
        for p, (a, b) in self._with_spans():
            x = self.nominal[a:b]
            first = int(np.clip(np.floor((x.min() - low) / step), 0, count - 2))
            last = int(np.clip(np.ceil((x.max() - low) / step), first + 1, count - 1))
            index = np.arange(first, last + 1)
            covariance = p.motion.covariance_mm2(p.motion.time_s(self.common_x[index]))
            covariance = covariance + (0.1**2) * np.eye(len(index))
            self.node_index.append(index)
            self.hats.append(hat_of(x, self.common_x[index]))
            self.prior_covariance.append(covariance)
            self.prior.append(_inverse(covariance))
        starts = self.spline.count + np.concatenate([[0], np.cumsum([len(n) for n in self.node_index])])
        self.shift_columns = [slice(int(a), int(b)) for a, b in itertools.pairwise(starts)]
        self.delay_column = int(starts[-1])
        self.all_shifts = slice(self.spline.count, self.delay_column)
        self._lay_out_common()

    def _lay_out_common(self) -> None:
        """The precision-weighted sum of the passes' shifts, which is held at nothing, and its prior covariance."""
        count, total = len(self.common_x), self.all_shifts.stop - self.all_shifts.start
        together, precision = np.zeros((count, total)), np.zeros((count, count))
        for index, columns, prior in zip(self.node_index, self.shift_columns, self.prior, strict=True):
            at = slice(columns.start - self.all_shifts.start, columns.stop - self.all_shifts.start)
            together[index, at] = prior
            precision[np.ix_(index, index)] += prior
        self.common_covariance = _inverse(precision + 1e-8 * np.eye(count))
        mean = self.common_covariance @ together  # the common shift at each node, mm
        self.hold_common = mean.T @ mean / 0.02**2

    def _lay_out_nuisances(self, scales: Scales) -> None:
        direction = np.concatenate([np.full(b - a, p.motion.direction) for p, (a, b) in self._with_spans()])
        both = len({p.motion.direction for p in self.passes}) > 1
        hysteresis = scales.hysteresis_both if both else scales.hysteresis_one
        columns, sd = [direction.astype(float), np.zeros(len(self.y))], [hysteresis, min(hysteresis, 0.01)]
        sweeps = sorted({p.sweep for p in self.passes})
        for sweep in sweeps:
            columns.append(np.concatenate([c.t_s * (p.sweep == sweep) for p, c in zip(self.passes, self.cells)]))  # noqa: B905
            sd.append(scales.drift_per_s)
        if len(self.passes) > 2:
            for k, (a, b) in enumerate(self._spans()):
                columns.append(np.where((np.arange(len(self.y)) >= a) & (np.arange(len(self.y)) < b), 1.0, 0.0))
                sd.append(scales.pass_shift)
                del k
        if len(sweeps) > 1:
            for sweep in sweeps:
                columns.append(
                    np.concatenate([np.full(b - a, float(p.sweep == sweep)) for p, (a, b) in self._with_spans()])
                )
                sd.append(scales.sweep_shift)
        self.nuisance = np.stack(columns, axis=1)
        self.nuisance_precision = 1.0 / np.asarray(sd) ** 2
        by_hand = any(not p.motion.measured and p.motion.delayed.any() for p in self.passes)
        self.least_noise = scales.least_noise
        self.delay_precision = 1.0 / (scales.delay_s if by_hand else scales.line_delay_s) ** 2
        self.usual_delay_s = scales.usual_delay_s if by_hand else 0.0
        self.sweeps = sweeps
        self.both_ways = both
        self.size = self.delay_column + 1 + self.nuisance.shape[1]

    def _with_spans(self) -> list[tuple[PassReadings, tuple[int, int]]]:
        return list(zip(self.passes, self._spans(), strict=True))

    def _positions(self, theta: FloatArray) -> FloatArray:
        x = self.nominal + self.delay_effect * theta[self.delay_column]
        for (a, b), hat, columns in zip(self._spans(), self.hats, self.shift_columns, strict=True):
            x[a:b] += hat @ theta[columns]
        return np.asarray(x, float)

    def _linearise(self, theta: FloatArray) -> tuple[FloatArray, FloatArray]:
        """(Jacobian (cells, unknowns), residual (cells,)) at theta."""
        x = self._positions(theta)
        coefficients = theta[: self.spline.count]
        slope = self.spline.value(coefficients, x, 1)
        if self.both_ways:
            play = float(theta[self.delay_column + 2])
            self._update_play(self.spline.value(coefficients, x), play)
        jacobian = np.zeros((len(self.y), self.size))
        jacobian[:, : self.spline.count] = self.spline.basis(x)
        for (a, b), hat, columns in zip(self._spans(), self.hats, self.shift_columns, strict=True):
            jacobian[a:b, columns] = slope[a:b, None] * hat
        jacobian[:, self.delay_column] = slope * self.delay_effect
        jacobian[:, self.delay_column + 1 :] = self.nuisance
        fitted = jacobian[:, : self.spline.count] @ coefficients + self.nuisance @ theta[self.delay_column + 1 :]
        return jacobian, self.y - fitted

    def _update_play(self, fitted: FloatArray, play: float) -> None:
        """A worn indicator lags the way its tip moves, which on a hump is not the way the carriage moves.

        The column is the state of a play of the width found so far, from -1 to 1, run along the fitted heights in order
        of time. On a summit it is full in both directions: play lowers summits and lifts hollows, and the mean of
        forward and return does not show it.
        """
        width = max(abs(play), _LEAST_PLAY * float(np.ptp(fitted)), 1e-6)
        state, before = 0.0, float(fitted[0])
        column = np.empty(len(fitted))
        for i, z in enumerate(fitted.tolist()):
            state = min(max(state + (z - before) / width, -1.0), 1.0)
            before = z
            column[i] = -state
        self.nuisance[:, 1] = column

    def _penalty(self, smoothing: float, position: float) -> FloatArray:
        out = np.zeros((self.size, self.size))
        n = self.spline.count
        out[:n, :n] = smoothing * self.roughness + 1e-9 * np.eye(n)
        for columns, prior in zip(self.shift_columns, self.prior, strict=True):
            out[columns, columns] = position * prior
        out[self.all_shifts, self.all_shifts] += self.hold_common
        diagonal = np.concatenate([[self.delay_precision], self.nuisance_precision])
        rest = np.arange(self.delay_column, self.size)
        out[rest, rest] = diagonal
        return out

    def run(self) -> Fit:
        theta = np.zeros(self.size)
        n = self.spline.count
        theta[:n] = np.median(self.y)
        theta[self.delay_column] = self.usual_delay_s
        variance = max(float(np.var(self.y)) * 0.01, 1e-10)
        smoothing, position, inflation = 1e-2 / max(variance, 1e-8), 1.0, 1.0
        weight = self.base_weight.copy()
        previous = np.full(len(self.y), np.inf)
        for iteration in range(_ITERATIONS):
            jacobian, residual = self._linearise(theta)
            if iteration > 3:
                weight = self.base_weight * _biweight(residual, weight, 0.4 * self.resolution)
            theta, covariance, normal = self._step(theta, jacobian, residual, weight / variance, smoothing, position)
            smoothing = self._new_smoothing(theta, covariance, smoothing)
            position = self._new_position(theta, covariance, position)
            _, residual = self._linearise(theta)
            freedom = max(len(self.y) - float(np.sum(covariance * normal)), 0.1 * len(self.y), 1.0)
            if iteration > 5:
                inflation = 0.5 * inflation + 0.5 * self._inflation(residual, weight)
            fresh = float(np.sum(weight * residual**2)) / freedom * inflation
            variance = max(fresh if iteration > 2 else max(fresh, variance / 4.0), self.least_noise**2)
            fitted = self.y - residual
            if iteration > 10 and float(np.max(np.abs(fitted - previous))) < 0.02 * np.sqrt(variance):
                break
            previous = fitted
        return self._result(theta, weight, variance, inflation, smoothing, position)

    def _step(
        self,
        theta: FloatArray,
        jacobian: FloatArray,
        residual: FloatArray,
        w: FloatArray,
        smoothing: float,
        position: float,
    ) -> tuple[FloatArray, FloatArray, FloatArray]:
        weighted = jacobian * w[:, None]
        normal = jacobian.T @ weighted
        precision = normal + self._penalty(smoothing, position)
        covariance = _inverse(precision)
        right = weighted.T @ (residual + jacobian @ theta)
        right[self.delay_column] += self.delay_precision * self.usual_delay_s
        new = covariance @ right
        shift = new[self.all_shifts] - theta[self.all_shifts]
        largest = float(np.max(np.abs(shift))) if len(shift) else 0.0
        if largest > 30.0:  # the shape changes under a long step: take it in parts
            new = theta + (new - theta) * max(30.0 / largest, 0.3)
        return new, covariance, normal

    def _new_smoothing(self, theta: FloatArray, covariance: FloatArray, smoothing: float) -> float:
        n = self.spline.count
        c = theta[:n]
        freedom = max(n - 2 - smoothing * float(np.sum(covariance[:n, :n] * self.roughness)), 0.05)
        return float(np.clip(freedom / max(float(c @ self.roughness @ c), 1e-14), smoothing / 10.0, smoothing * 10.0))

    def _new_position(self, theta: FloatArray, covariance: FloatArray, position: float) -> float:
        """The hand was as uneven as the data say, but a prior worth sixteen values keeps it sensible."""
        used, size = 16.0, 16.0
        for columns, prior in zip(self.shift_columns, self.prior, strict=True):
            shift = theta[columns]
            used += len(shift) * (1.0 - 1.0 / len(self.passes)) - position * float(
                np.sum(covariance[columns, columns] * prior)
            )
            size += float(shift @ prior @ shift)
        return float(np.clip(used / size, 0.15, 2.0))

    def _inflation(self, residual: FloatArray, weight: FloatArray) -> float:
        """By how much neighbours' likeness raises the variance of an average (sum of the autocorrelation)."""
        total, lags = 0.0, np.zeros(0)
        for a, b in self._spans():
            r = residual[a:b] * np.sqrt(weight[a:b])
            span = abs(self.nominal[b - 1] - self.nominal[a]) / max(b - a - 1, 1)
            most = int(np.clip(150.0 / max(span, 1e-6), 1, (b - a) // 4)) if b - a >= 8 else 0
            if most < 1:
                continue
            own = np.array([float(r[: len(r) - k] @ r[k:]) for k in range(most + 1)])
            lags = own if len(lags) != len(own) else lags + own
            total += own[0]
        if len(lags) < 2 or lags[0] <= 0:
            return 1.0
        taper = 1.0 - np.arange(1, len(lags)) / len(lags)
        return float(np.clip(1.0 + 2.0 * np.sum(taper * lags[1:] / lags[0]), 1.0, 40.0))

    def _result(
        self,
        theta: FloatArray,
        weight: FloatArray,
        variance: float,
        inflation: float,
        smoothing: float,
        position: float,
    ) -> Fit:
        jacobian, residual = self._linearise(theta)
        normal = jacobian.T @ (jacobian * (weight / variance)[:, None])
        precision = normal + self._penalty(smoothing, position)
        covariance = _inverse(precision)
        n, first = self.spline.count, self.delay_column
        # That the passes agree does not say that both were even: never less than the prior.
        common = self.common_covariance / min(position, 1.0)
        fixed = np.concatenate([np.arange(n), np.arange(first + 1, self.size)])
        x = self._positions(theta)
        passes = []
        for k, (a, b) in enumerate(self._spans()):
            columns = self.shift_columns[k]
            index = self.node_index[k]
            u = np.sqrt(np.maximum(self._place_variance(covariance, k) + np.diag(common)[index], 0.0))
            passes.append(
                PassFit(
                    self.passes[k].motion, self.common_x[index], theta[columns], u, float(theta[first]),
                    float(x[a:b].min()), float(x[a:b].max()), x[a:b], residual[a:b],
                    weight[a:b] / self.base_weight[a:b],
                )
            )  # fmt: skip
        return Fit(
            self.spline, theta[:n], covariance[:n, :n],
            _inverse(precision[np.ix_(fixed, fixed)])[:n, :n], _inverse(precision[:n, :n]),
            tuple(passes), float(np.sqrt(variance / inflation)), self._reading_noise(),
            float(theta[first]), float(np.sqrt(covariance[first, first])),
            float(theta[first + 1]), float(theta[first + 2]),
            tuple(float(v) for v in theta[first + 3 : first + 3 + len(self.sweeps)]),
            float(np.max(np.abs(theta[first + 3 + len(self.sweeps) :]), initial=0.0)),
            int(np.sum(weight < 0.1 * self.base_weight)), sum(c.spikes for c in self.cells), position,
            self.common_x, common,
        )  # fmt: skip

    def _place_variance(self, covariance: FloatArray, number: int) -> FloatArray:
        """Variance (nodes,) of one pass's places from its own shift and the delay that all share."""
        columns, motion = self.shift_columns[number], self.passes[number].motion
        nodes = self.common_x[self.node_index[number]]
        late = motion.delay_effect_mm_s(motion.time_s(nodes))
        both = covariance[columns, self.delay_column]
        own = np.diag(covariance)[columns]
        return np.asarray(own + 2.0 * late * both + late**2 * covariance[self.delay_column, self.delay_column], float)

    def _reading_noise(self) -> float:
        values = []
        for p in self.passes:
            z = p.value[np.isfinite(p.value)]
            if len(z) >= 5:
                values.append(
                    float(
                        np.sqrt(
                            np.mean(np.minimum(np.diff(z, 2) ** 2, 9 * np.median(np.diff(z, 2) ** 2) + 1e-12)) / 6.0
                        )
                    )
                )
        return float(np.median(values)) if values else 0.0


def _biweight(residual: FloatArray, weight: FloatArray, least: float) -> FloatArray:
    """Tukey's biweight with 1.4826 MAD as the scale; never nothing, so a set-aside stretch can come back."""
    used = residual[weight > 0]
    scale = max(MAD_TO_SIGMA * float(np.median(np.abs(used))) if len(used) else 0.0, least)
    if scale <= 0:
        return np.ones(len(residual))
    u = np.clip(np.abs(residual) / (_TUKEY * scale), 0.0, 1.0)
    return np.asarray((1.0 - u * u) ** 2, float)


def _inverse(matrix: FloatArray) -> FloatArray:
    """Inverse of a symmetric positive matrix, scaled first because its blocks have different units."""
    scale = 1.0 / np.sqrt(np.maximum(np.diag(matrix), 1e-300))
    scaled = matrix * np.outer(scale, scale)
    try:
        inverse = np.linalg.inv(scaled)
    except np.linalg.LinAlgError:
        inverse = np.linalg.pinv(scaled, hermitian=True)
    inverse = (inverse + inverse.T) / 2.0
    return np.asarray(inverse * np.outer(scale, scale), float)
