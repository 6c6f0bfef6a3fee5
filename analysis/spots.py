"""High and low spots that stand clear of the noise, each in one plain sentence.

Why it exists: a profile always has a highest and a lowest point; a person must be told only of those that are there.
It prevents a correction of noise: a spot has to stand out from the reference line, and from the ground between it and
the next one, by more than what chance does over the whole length.
"""

from __future__ import annotations

import numpy as np

from analysis.results import FloatArray, Profile, Spot
from analysis.straightness import straightness

LEAST_MM = 0.002
_WHOLE_LENGTH = 1.9  # chance has some 60 places to try: 3.8 standard uncertainties, about 1 in 7000 at one of them


def find_spots(profile: Profile, least: float | None = None) -> tuple[Spot, ...]:
    """Spots about the least-squares line, the most prominent first. ``least``: the smallest that is worth a word."""
    if len(profile.x_mm) < 5:
        return ()
    deviations = straightness(profile.x_mm, profile.value, "least squares").deviations
    uncertainty = 2.0 * np.sqrt(np.maximum(np.diag(_about_the_line(profile)), 0.0))
    least = (LEAST_MM if profile.unit == "mm" else 0.01) if least is None else least
    spots = []
    for sign, kind in ((1.0, "high"), (-1.0, "low")):
        for at in _summits(sign * deviations, np.maximum(_WHOLE_LENGTH * uncertainty, least)):
            spots.append(_spot(profile, deviations, uncertainty, at, sign, "high" if kind == "high" else "low"))
    return tuple(sorted(spots, key=lambda spot: -abs(spot.value)))


def _about_the_line(profile: Profile) -> FloatArray:
    """Covariance of the deviations: what the line takes along (an unknown zero, a drift's tilt) drops out."""
    x = profile.x_mm
    design = np.stack([np.ones_like(x), x - x.mean()], axis=1)
    keep = np.eye(len(x)) - design @ np.linalg.solve(design.T @ design, design.T)
    return np.asarray(keep @ profile.covariance @ keep.T, float)


def _summits(z: FloatArray, need: FloatArray) -> list[int]:
    """Summits above ``need`` with a saddle of at least their own ``need`` toward any higher one."""
    out = []
    for i in np.nonzero(z > need)[0]:
        left = i == 0 or z[i] >= z[i - 1]
        right = i == len(z) - 1 or z[i] > z[i + 1]
        if left and right and all(z[i] - saddle >= need[i] for saddle in _saddles(z, int(i))):
            out.append(int(i))
    return out


def _saddles(z: FloatArray, i: int) -> list[float]:
    """The lowest values on the way to higher ground on either side (none where there is no higher ground)."""
    out = []
    higher = np.nonzero(z[:i] > z[i])[0]
    if len(higher):
        out.append(float(z[higher[-1] : i].min()))
    higher = np.nonzero(z[i + 1 :] > z[i])[0]
    if len(higher):
        out.append(float(z[i + 1 : i + 1 + higher[0] + 1].min()))
    return out


def _spot(profile: Profile, deviations: FloatArray, uncertainty: FloatArray, at: int, sign: float, kind: str) -> Spot:
    above = sign * deviations > 0.5 * sign * deviations[at]
    first = last = at
    while first > 0 and above[first - 1]:
        first -= 1
    while last < len(above) - 1 and above[last + 1]:
        last += 1
    x = profile.x_mm
    digits = 3 if profile.unit == "mm" else 2
    word = "highest" if kind == "high" else "deepest"
    sentence = (
        f"{kind} by {abs(deviations[at]):.{digits}f} ± {uncertainty[at]:.{digits}f} {profile.unit}"
        f" from {x[first]:.0f} to {x[last]:.0f} mm, {word} at {x[at]:.0f}"
    )
    return Spot(
        "high" if kind == "high" else "low", float(x[at]), float(deviations[at]), float(uncertainty[at]),
        float(x[first]), float(x[last]), sentence,
    )  # fmt: skip
