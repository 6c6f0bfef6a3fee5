"""How unlike the brackets of one machine are, told by how well each degree of it explains what was seen.

Why it exists: brackets of one maker's casting are alike within a fifth; brackets that were repaired, shimmed or rusted
differ threefold. A fixed belief between the two trusts the second kind too much and the first too little, and a round
is lost either way. It prevents that by learning the spread itself, which no linearised update can: at brackets that are
all alike the readings do not depend on it.

For every degree on a grid the machine that fits best is sought; the degree weighs by its prior times the evidence of
the readings about that fit (D. J. C. MacKay, Neural Computation 4 (1992) 415-447: the Gaussian approximation). The
draws are then moved to this posterior by their quantiles, so that they stay as they were where the readings are silent.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from analysis.results import FloatArray

DEGREES = np.linspace(-2.4, 2.4, 7)  # in standard deviations of the prior
STEPS = 3
Linearised = Callable[[FloatArray], tuple[FloatArray, FloatArray]]


def posterior_degree(
    linearised: Linearised, value: FloatArray, noise: FloatArray, size: int, at: int, degree: FloatArray
) -> FloatArray:
    """Degrees (draws,) drawn from the prior, moved to the posterior.

    ``linearised(centre)`` gives the expected values (rows,) and their Jacobian (rows, size) at a vector of ``size``
    standard normal unknowns, of which number ``at`` is the degree; ``value`` (rows,) was seen with ``noise``.
    """
    from scipy.interpolate import CubicSpline

    fits = [_best_fit(linearised, value, noise, size, at, each) for each in DEGREES]
    unexplained = max(1.0, min(misfit for _, misfit in fits))  # readings no degree explains tell little of it
    evidence = np.array([density for density, _ in fits]) / unexplained
    fine = np.linspace(-4.0, 4.0, 801)
    within = np.clip(fine, DEGREES[0], DEGREES[-1])
    log_density = -0.5 * fine * fine + CubicSpline(DEGREES, evidence)(within)
    prior, posterior = (_distribution(each) for each in (-0.5 * fine * fine, log_density))
    return np.asarray(np.interp(np.interp(degree, fine, prior), posterior, fine))


def _distribution(log_density: FloatArray) -> FloatArray:
    density = np.exp(log_density - log_density.max())
    total = np.concatenate([[0.0], np.cumsum(0.5 * (density[1:] + density[:-1]))])
    return np.asarray(total / total[-1])


def _best_fit(
    linearised: Linearised, value: FloatArray, noise: FloatArray, size: int, at: int, degree: float
) -> tuple[float, float]:
    """At one degree: logarithm of the density of ``value``, but for a constant, and the mean square of what the best
    fit leaves of it (1: as much as the density expects).
    """
    centre = np.zeros(size)
    centre[at] = degree
    free = np.arange(size) != at
    for step in range(STEPS):
        expected, jacobian = linearised(centre)
        seen = jacobian[:, free]
        away = value - expected + seen @ centre[free]
        root = np.linalg.cholesky(seen @ seen.T + noise)
        white = np.linalg.solve(root, away)
        if step < STEPS - 1:
            wanted = seen.T @ np.linalg.solve(root.T, white)
            centre[free] += np.clip(wanted - centre[free], -2.0, 2.0)
    return float(-0.5 * white @ white - np.log(np.diag(root)).sum()), float(np.mean(white * white))
