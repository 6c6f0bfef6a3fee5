"""What turns: run-out by turning by hand, and how square a spindle or blade stands, both from the first harmonic.

Why it exists: an eccentric arbor, a wobbling flange and a leaning spindle all show as one swing of the pointer a turn,
and the form of the part (a burr, a chip, a bump) hides in the rest. It prevents two mistakes: taking the total
indicator reading for twice the eccentricity when there is form in it, and correcting a spindle from two readings that
saw only one of its two directions of lean.

Angles in degrees: 0 toward outfeed, 90 toward the table side, the sense of turning only has to be kept. Readings in
mm, + when the indicator is pushed in.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from analysis.results import FloatArray

FEWEST_ANGLES = 4
"""Three unknowns (mean, two parts of the swing) and one reading that can contradict them."""
WIDEST_GAP_deg = 180.0
"""Angles that leave half the circle unseen hold up the fit from one side only."""


ENOUGH = 6
"""From so many readings on, waves fitted to them tell what the extremes are worth."""
ORDERS = 12
"""Waves round the turn that are kept then: what is finer is noise, a tooth or a slot."""


@dataclass(frozen=True, slots=True)
class RunOut:
    """One turn by hand. ``total_mm`` is the total indicator reading, highest minus lowest.

    ``eccentric_mm`` is the amplitude of the once-a-turn part (that part alone swings the pointer by twice as much),
    highest at ``direction_deg`` (0 to 360). ``form_mm`` is the peak to valley of what is left when that part is taken
    off. ``harmonics_mm``: amplitudes once, twice, ... a turn, as many as the readings carry (six at most): twice a
    turn is an oval or a saddle. Uncertainties are expanded (k = 2).
    """

    mean_mm: float
    eccentric_mm: float
    eccentric_uncertainty_mm: float
    direction_deg: float
    total_mm: float
    total_uncertainty_mm: float
    form_mm: float
    harmonics_mm: tuple[float, ...] = ()


@dataclass(frozen=True, slots=True)
class Parts:
    """Once-a-turn parts as vectors toward their high place: of the flange at the blade's circle, and of the blade.

    ``blade_uncertainty_mm`` expanded, for either.
    """

    flange_mm: float
    flange_direction_deg: float
    blade_mm: float
    blade_direction_deg: float
    uncertainty_mm: float


@dataclass(frozen=True, slots=True)
class Swing:
    """How far a spindle or blade stands from square to what the tip touched.

    ``tilt_mm_per_m`` (never negative) with its expanded uncertainty; ``direction_deg`` is where the tip was pushed in
    most: there the far end of the spindle leans to. ``form_mm`` is what no lean explains: an uneven table, a tip that
    caught an edge.
    """

    tilt_mm_per_m: float
    uncertainty_mm_per_m: float
    direction_deg: float
    form_mm: float


def run_out(
    angles_deg: FloatArray, readings_mm: FloatArray, reading_uncertainty_mm: float, wander_mm: float = 0.0
) -> RunOut:
    """Least-squares mean and first harmonic of readings at any angles; both arrays of shape (readings,).

    ``r = mean + a cos(angle) + b sin(angle)``; at N equal steps a = (2/N) sum r cos, b = (2/N) sum r sin (ISO 4291
    annex F, from memory; exact there). ``reading_uncertainty_mm`` is the expanded uncertainty of one reading. The
    uncertainty of the total reading also holds the part of the swing that can hide between two readings,
    eccentric x (1 - cos(half the widest gap)) at either end. Raises ValueError in words when the angles do not carry
    the fit.
    """
    _carry_the_fit(angles_deg, readings_mm)
    turn = np.deg2rad(angles_deg)
    design = np.column_stack([np.ones_like(turn), np.cos(turn), np.sin(turn)])
    fitted, *_ = np.linalg.lstsq(design, readings_mm, rcond=None)
    mean, cosine, sine = (float(part) for part in fitted)
    left = readings_mm - design @ fitted
    amplitude = math.hypot(cosine, sine)
    variance = _variance_of_one(angles_deg, readings_mm, reading_uncertainty_mm)
    if len(readings_mm) < MANY:  # a hand stops a little beside the angle, and the slope makes a reading of it
        variance += (amplitude * math.radians(STOPS_WITHIN_deg) / 2.0) ** 2 / 2.0
    covariance = np.linalg.inv(design.T @ design) * variance
    hidden = 2.0 * amplitude * (1.0 - math.cos(math.radians(_widest_gap(angles_deg)) / 2.0))
    standard = math.sqrt(float(np.linalg.eigvalsh(covariance[1:, 1:])[-1]))
    total = float(np.ptp(readings_mm)), math.hypot(math.sqrt(2.0) * reading_uncertainty_mm, hidden)
    if len(readings_mm) >= ENOUGH:
        waves = total_of_waves(angles_deg, readings_mm, reading_uncertainty_mm / 2.0, wander_mm)
        # Few readings: the total reading is what was read, by definition. What the waves say otherwise is a known
        # difference that is not taken off, so it adds to the uncertainty as it is (JCGM 100:2008, F.2.4.5).
        total = waves if len(readings_mm) >= MANY else (total[0], waves[1] + abs(total[0] - waves[0]))
    return RunOut(
        mean_mm=mean,
        eccentric_mm=amplitude,
        eccentric_uncertainty_mm=_coverage(amplitude, standard) * standard,
        direction_deg=math.degrees(math.atan2(sine, cosine)) % 360.0,
        total_mm=total[0],
        total_uncertainty_mm=total[1],
        form_mm=float(np.ptp(left)),
        harmonics_mm=harmonics(angles_deg, readings_mm),
    )


def harmonics(angles_deg: FloatArray, readings_mm: FloatArray) -> tuple[float, ...]:
    """Amplitudes of the parts once, twice, ... a turn by least squares; as many as leave one reading over, six at most.

    Angles too uneven to carry so many (a gap as wide as half the shortest wave) carry fewer.
    """
    orders = _orders(angles_deg, len(readings_mm))
    fitted, *_ = np.linalg.lstsq(_waves(angles_deg, orders), readings_mm, rcond=None)
    return tuple(float(math.hypot(fitted[2 * n + 1], fitted[2 * n + 2])) for n in range(orders))


STOPS_WITHIN_deg = 3.0
"""How far from the angle meant a hand stops, expanded (common practice, no source)."""
MANY = 40
"""From so many on (a stream) the extremes are the waves', and those near them are enough to show the scatter there."""
WANDER_deg = 45.0
"""Over what angle a bearing's wander stays alike while it is turned by hand (a second in six to the turn)."""


def total_of_waves(
    angles_deg: FloatArray, readings_mm: FloatArray, standard_mm: float, wander_mm: float = 0.0
) -> tuple[float, float]:
    """Range of the waves fitted to a turn of many readings, the extremes' bias taken off, and expanded uncertainty.

    ``standard_mm`` is the standard uncertainty of one; what they scatter about the waves counts where it is more.
    ``wander_mm`` (k = 1) is alike for neighbours: it does not average out over places, and widens the range.
    """
    gap = _widest_gap(angles_deg)
    orders = max(1, min(ORDERS, (len(angles_deg) - 2) // 2, int(180.0 / gap)))
    design, at = _waves(angles_deg, orders), _waves(np.arange(0.0, 360.0, 5.0), orders)
    solve = np.linalg.pinv(design)
    left = readings_mm - design @ (solve @ readings_mm)
    scatter = math.sqrt(float(left @ left) / max(len(readings_mm) - design.shape[1], 1))
    if len(readings_mm) >= MANY:
        slope = np.abs(np.gradient(design @ (solve @ readings_mm)))
        level = slope <= np.median(slope)  # at the extremes; on a slope an uneven hand scatters angles, not heights
        scatter = float(np.sqrt(np.mean(left[level] ** 2) * len(left) / (len(left) - design.shape[1])))
    scatter = max(standard_mm, scatter)
    apart = np.abs(angles_deg[:, None] - angles_deg[None, :])
    apart = np.minimum(apart, 360.0 - apart) / WANDER_deg
    covariance = np.eye(len(readings_mm)) * scatter**2 + wander_mm**2 * np.exp(-0.5 * apart**2)
    rows = at @ solve
    return _range(rows @ readings_mm, rows @ np.linalg.cholesky(covariance + 1e-12 * np.eye(len(readings_mm))))


DRAWS = 800


def _range(value: FloatArray, root: FloatArray) -> tuple[float, float]:
    """Highest less lowest of noisy values and its expanded uncertainty; ``root root'`` is their covariance.

    The range of noise alone comes on top as another swing does, in quadrature: exact where there is nothing but noise,
    and little where the swing is large, as it should be. By drawing (JCGM 101:2008), with a fixed seed.
    """
    plain = float(np.ptp(value))
    noise = np.random.default_rng(20_260_102).standard_normal((DRAWS, root.shape[1])) @ root.T
    alone = float(np.mean(np.ptp(noise, axis=1)))
    corrected = math.sqrt(max(plain**2 - alone**2, 0.0))
    low, high = np.quantile(np.ptp(value + noise, axis=1), [0.025, 0.975])
    return corrected, math.hypot((high - low) / 2.0, (plain - corrected) / 2.0)


def flange_and_blade(blade: RunOut, flange: RunOut, blade_circle_mm: float, flange_circle_mm: float) -> Parts:
    """Whose swing is it? Both read from the same mark on the arbor, the blade as it is clamped.

    The flange tilts what lies against it: its swing grows with the ratio of the circles. What is left, as a vector, is
    the blade's own (bent plate, dirt between).
    """
    ratio = blade_circle_mm / flange_circle_mm
    carried = ratio * _vector(flange)
    doubt = math.hypot(blade.eccentric_uncertainty_mm, ratio * flange.eccentric_uncertainty_mm)
    return _parts(carried, _vector(blade) - carried, doubt)


def half_round(first: RunOut, half_round_on: RunOut) -> Parts:
    """The same question by turning the blade half round on its flange: what stays is the flange's, what turns is not.

    Both read from the same mark on the *arbor*: flange = half the sum, blade = half the difference (as it lay first).
    """
    one, other = _vector(first), _vector(half_round_on)
    doubt = math.hypot(first.eccentric_uncertainty_mm, half_round_on.eccentric_uncertainty_mm) / 2.0
    return _parts((one + other) / 2.0, (one - other) / 2.0, doubt)


def swing(
    angles_deg: FloatArray,
    readings_mm: FloatArray,
    radius_mm: float,
    reading_uncertainty_mm: float,
    flatness_mm: float = 0.0,
) -> Swing:
    """Lean of a spindle (or blade) from an indicator on an arm that turns with it, its tip ``radius_mm`` from the axis.

    Leaning toward a direction lowers the arm there, so the tip is pushed in most on that side: tilt = amplitude over
    radius. Run-out of the spindle cancels, because the arm turns with it and the tip's own track is the same circle.
    ``flatness_mm`` (expanded): how far the surface lies from flat where the tip runs; four readings cannot show it.
    Raises ValueError as ``run_out`` does.
    """
    if not radius_mm > 0:
        raise ValueError(f"The arm is {radius_mm:g} mm long; a length above 0 is needed.")
    turned = run_out(angles_deg, readings_mm, math.hypot(reading_uncertainty_mm, flatness_mm))
    return Swing(
        tilt_mm_per_m=1000.0 * turned.eccentric_mm / radius_mm,
        uncertainty_mm_per_m=1000.0 * turned.eccentric_uncertainty_mm / radius_mm,
        direction_deg=turned.direction_deg,
        form_mm=turned.form_mm,
    )


def shim_mm(found: Swing, foot_direction_deg: float, feet_apart_mm: float) -> float:
    """What to put under the carrier's foot that stands in ``foot_direction_deg``, its partner ``feet_apart_mm`` away.

    + add there, - take away there (or add under its partner). Raising the side the spindle leans to stands it up;
    feet across the lean do nothing, which is the cosine.
    """
    return (
        found.tilt_mm_per_m / 1000.0 * feet_apart_mm * math.cos(math.radians(found.direction_deg - foot_direction_deg))
    )


def _vector(found: RunOut) -> complex:
    turn = math.radians(found.direction_deg)
    return complex(found.eccentric_mm * math.cos(turn), found.eccentric_mm * math.sin(turn))


def _parts(flange: complex, blade: complex, doubt: float) -> Parts:
    def direction(vector: complex) -> float:
        return math.degrees(math.atan2(vector.imag, vector.real)) % 360.0

    return Parts(abs(flange), direction(flange), abs(blade), direction(blade), doubt)


def _coverage(amplitude: float, standard: float) -> float:
    """2 for an amplitude that stands out; 2.45 for one that is mostly noise.

    The length of a noisy two-part vector that is nothing keeps below 2.45 standard deviations in 95 of 100 cases
    (Rayleigh: exp(-k^2/2) = 0.05), a long one errs along its own direction only.
    """
    return 2.0 if amplitude > 3.0 * standard else 2.45


def _variance_of_one(angles_deg: FloatArray, readings_mm: FloatArray, reading_uncertainty_mm: float) -> float:
    """Variance (k = 1) of one reading: as claimed, or as the readings scatter about *all* waves they carry.

    Form is no scatter: at even steps it leaves the once-a-turn part alone.
    """
    claimed = (reading_uncertainty_mm / 2.0) ** 2
    design = _waves(angles_deg, _orders(angles_deg, len(readings_mm)))
    freedom = len(readings_mm) - design.shape[1]
    if freedom < 3:  # one or two readings left over show the next wave, not the scatter
        return claimed
    left = readings_mm - design @ np.linalg.lstsq(design, readings_mm, rcond=None)[0]
    return float(max(claimed, float(left @ left) / freedom))


def _orders(angles_deg: FloatArray, count: int) -> int:
    gap = _widest_gap(angles_deg)
    return max(1, min(6, (count - 2) // 2, int(180.0 / gap) if gap > 0 else 6))


def _waves(angles_deg: FloatArray, orders: int) -> FloatArray:
    turn = np.deg2rad(angles_deg)
    waves = [part(order * turn) for order in range(1, orders + 1) for part in (np.cos, np.sin)]
    return np.column_stack([np.ones_like(turn), *waves])


def _carry_the_fit(angles_deg: FloatArray, readings_mm: FloatArray) -> None:
    if len(angles_deg) != len(readings_mm):
        raise ValueError(f"{len(readings_mm)} readings at {len(angles_deg)} angles; one angle for each is needed.")
    different = len(np.unique(np.round(np.mod(angles_deg, 360.0), 3)))
    if different < FEWEST_ANGLES:
        raise ValueError(
            f"Readings at {different} different angles; at least {FEWEST_ANGLES} round the turn are needed."
        )
    gap = _widest_gap(angles_deg)
    if gap >= WIDEST_GAP_deg:
        raise ValueError(f"The angles leave {gap:.0f} degrees unseen; less than {WIDEST_GAP_deg:.0f} is allowed.")


def _widest_gap(angles_deg: FloatArray) -> float:
    ordered = np.unique(np.mod(angles_deg, 360.0))
    return float(np.max(np.diff(np.append(ordered, ordered[0] + 360.0))))
