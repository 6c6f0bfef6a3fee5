"""Cubic B-splines on even knots: the shape of the profile, and nothing else.

Why it exists: the profile's fit moves the readings along the stroke while it runs, so the basis is evaluated many times
at changing places; even knots make that four multiplications per reading and keep the time linear. It prevents a
smoothing whose strength is a hidden constant: the roughness matrix is explicit and its weight is chosen by the data.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from analysis.results import FloatArray, IntArray


@dataclass(frozen=True)
class Spline:
    """``count`` cubic B-splines with knots every ``spacing_mm`` from ``from_mm`` on."""

    from_mm: float
    spacing_mm: float
    count: int

    @classmethod
    def over(cls, from_mm: float, to_mm: float, spacing_mm: float) -> Spline:
        """Cover from_mm .. to_mm with knots about ``spacing_mm`` apart."""
        pieces = max(int(np.ceil((to_mm - from_mm) / spacing_mm)), 1)
        return cls(from_mm, max((to_mm - from_mm) / pieces, 1e-6), pieces + 3)

    def local(self, x_mm: FloatArray, derivative: int = 0) -> tuple[IntArray, FloatArray]:
        """(first column (points,), weights (points, 4)) of the basis or its derivative (per mm) at x."""
        u = (np.asarray(x_mm, float) - self.from_mm) / self.spacing_mm
        first = np.clip(np.floor(u), 0, self.count - 4).astype(np.int64)
        s = np.clip(u - first, -0.5, 1.5)
        if derivative == 0:
            weights = [(1 - s) ** 3, 3 * s**3 - 6 * s**2 + 4, -3 * s**3 + 3 * s**2 + 3 * s + 1, s**3]
            scale = 6.0
        else:
            weights = [-3 * (1 - s) ** 2, 9 * s**2 - 12 * s, -9 * s**2 + 6 * s + 3, 3 * s**2]
            scale = 6.0 * self.spacing_mm
        return first, np.stack(weights, axis=1) / scale

    def basis(self, x_mm: FloatArray, derivative: int = 0) -> FloatArray:
        """Dense (points, count) matrix of the basis or its derivative."""
        first, weights = self.local(x_mm, derivative)
        out = np.zeros((len(first), self.count))
        rows = np.arange(len(first))
        for k in range(4):
            out[rows, first + k] = weights[:, k]
        return out

    def value(self, coefficients: FloatArray, x_mm: FloatArray, derivative: int = 0) -> FloatArray:
        """The spline (or its slope per mm) at x; coefficients (count,)."""
        first, weights = self.local(x_mm, derivative)
        return np.asarray(sum(weights[:, k] * coefficients[first + k] for k in range(4)), float)

    def roughness(self) -> FloatArray:
        """Matrix of the integral of the squared second derivative (exact), scaled to a knot spacing of one."""
        second = np.zeros((self.count - 3, 4, 2))  # each piece's second derivative is linear: values at its two ends
        second[:, :, 0] = [1.0, -2.0, 1.0, 0.0]
        second[:, :, 1] = [0.0, 1.0, -2.0, 1.0]
        out = np.zeros((self.count, self.count))
        for piece in range(self.count - 3):
            a, b = second[piece, :, 0], second[piece, :, 1]
            block = (np.outer(a, a) + np.outer(b, b)) / 3.0 + (np.outer(a, b) + np.outer(b, a)) / 6.0
            out[piece : piece + 4, piece : piece + 4] += block
        return out
