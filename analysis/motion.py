"""How the carriage moved in one pass: where it was at which time, and how well that is known.

Why it exists: encoder, marks, strips, stops and bare ends are the same thing to the profile, a few times at which the
place is known (*anchors*) and a hand that pushed unevenly between them. One description of both keeps the position's
uncertainty in every later number. It prevents straight-line "constant speed" interpolation being taken for truth, and
a spline through the marks that runs backwards (interpolation is monotone: Fritsch and Carlson 1980).
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from analysis.results import BoolArray, FloatArray

SPEED_SPREAD = (
    0.14  # relative standard deviation of a hand's speed; scaled by the data later. Common practice, no source
)
# Time lost between a mark at rest and the push at its full pace, and between that pace and the mark at the end: a
# moment until the hand moves and half of the time in which it gathers speed; easing up to the stop, and the key after
# it. Common practice, no source; and their spread.
IDLE_S = (0.5, 0.5)
START_SPREAD_S = 0.35
_EVENED_MM = 5.0  # a mark as well known as this is left where it was set
_PACE_MISSED = 0.15  # relative deviation of a pass's mean pace between its ends
_MOMENT_S = 2.0  # a push from stop to stop that takes longer is even in its middle
_LONG = 2.5  # an interval so many times as long as its neighbour decides the speed where they meet
_SHARES = ((0.6, 0.7), (0.4, 3.0))  # the unevenness lives on these shares and correlation times (s)


@dataclass(frozen=True)
class Motion:
    """One pass. Anchors in order of time; arrays of shape (anchors,).

    ``direction`` +1 toward outfeed, -1 toward infeed. ``standard_uncertainty_mm`` belongs to the anchor alone;
    ``delayed`` marks anchors that share the operator's (or the line's) delay: the carriage had already gone on by
    delay x speed. ``measured`` True: anchors are an encoder's track, so the hand's unevenness does not enter.
    ``standing`` says whether the first and the last anchor were set with the carriage at rest, ``idle_s`` how long it
    rested (or crept) after the first and before the last; ``unevenness`` the relative deviation of the hand's speed.
    """

    direction: int
    t_s: FloatArray
    x_mm: FloatArray
    standard_uncertainty_mm: FloatArray
    delayed: BoolArray
    measured: bool = False
    standing: tuple[bool, bool] = (False, False)
    landmark: BoolArray | None = None
    idle_s: tuple[float, float] = (0.0, 0.0)
    unevenness: float = SPEED_SPREAD

    @property
    def speed_mm_s(self) -> float:
        """Mean speed over the pass, never 0."""
        span = float(self.t_s[-1] - self.t_s[0])
        return max(abs(float(self.x_mm[-1] - self.x_mm[0])) / span if span > 0 else 0.0, 1e-3)

    def position_mm(self, t_s: FloatArray) -> FloatArray:
        """Where the carriage's middle was; held still outside the anchors, monotone between them."""
        moving = self._moving_t_s()
        if self.measured or len(self.t_s) == 2:
            return np.interp(t_s, moving, self.x_mm)
        from scipy.interpolate import CubicHermiteSpline

        inside = np.clip(t_s, moving[0], moving[-1])
        curve = CubicHermiteSpline(moving, self.x_mm, monotone_slopes(moving, self.x_mm))
        straight = (_beside_long(moving) | _beside_stop(moving, self.x_mm))[
            np.clip(np.searchsorted(moving, inside) - 1, 0, len(moving) - 2)
        ]
        return np.where(straight, np.interp(inside, moving, self.x_mm), np.asarray(curve(inside), float))

    def _moving_t_s(self) -> FloatArray:
        """The anchors' times with the idle time at standing ends taken off (at most a third of the interval)."""
        t = self.t_s.astype(float).copy()
        if len(t) < 2:
            return t
        first, last = float(np.diff(t)[0]), float(np.diff(t)[-1])
        if self.standing[0]:
            t[0] += min(self.idle_s[0], self._most_idle(first))
        if self.standing[1]:
            t[-1] -= min(self.idle_s[1], self._most_idle(last))
        return t

    def _most_idle(self, interval_s: float) -> float:
        """Of a way between marks a third may be idle; up to a moment of setting off that was seen, nearly all of it."""
        return interval_s * (0.85 if self.landmark is not None and self.landmark.any() else 1.0 / 3.0)

    def delay_effect_mm_s(self, t_s: FloatArray) -> FloatArray:
        """How far the carriage is beyond the interpolated place per second of delay (signed by the direction)."""
        speed = self._speed_at_anchors()
        return np.interp(t_s, self.t_s, np.where(self.delayed, speed, 0.0)) * self.direction

    def time_s(self, x_mm: FloatArray) -> FloatArray:
        """When the carriage went by ``x_mm`` (held at the ends): the inverse of :meth:`position_mm`."""
        fine = np.linspace(self.t_s[0], self.t_s[-1], max(200, 4 * len(self.t_s)))
        order = np.arange(len(fine)) if self.direction > 0 else np.arange(len(fine))[::-1]
        t = np.interp(x_mm, self.position_mm(fine)[order], fine[order])
        ahead = (np.asarray(x_mm) - self.x_mm[0]) * self.direction
        return np.where(
            ahead <= 0, self.t_s[0], np.where((self.x_mm[-1] - x_mm) * self.direction <= 0, self.t_s[-1], t)
        )

    def covariance_mm2(self, t_s: FloatArray) -> FloatArray:
        """Prior covariance (times, times) of the position's error, the anchors taken into account."""
        if self.measured:
            u = np.interp(t_s, self.t_s, self.standard_uncertainty_mm)
            correlation = np.exp(-np.abs(t_s[:, None] - t_s[None, :]) / 1.0)
            return np.asarray(np.outer(u, u) * (0.5 * correlation + 0.5), float)
        free = self._unanchored(t_s, t_s)
        across = self._unanchored(t_s, self.t_s)
        anchors = self._unanchored(self.t_s, self.t_s) + np.diag(self.standard_uncertainty_mm**2)
        conditioned = free - across @ np.linalg.solve(anchors, across.T)
        return (conditioned + conditioned.T) / 2.0

    def evened(self, delay_s: float) -> Motion:
        """The same pass with its hand marks where marks, edges and an evenly pushing hand together put them (the mean
        that belongs to :meth:`covariance_mm2`): a track through every mark as pressed has each press's own scatter in
        it. ``delay_s`` is how late they were all. Anchors at rest, at edges and at stops stay."""
        moved = self.delayed & (self.standard_uncertainty_mm > _EVENED_MM)
        if self.measured or not moved.any() or len(self.t_s) < 4:
            return self
        moving = self._moving_t_s()
        way = moving - moving[0]
        late = self._speed_at_anchors() * self.delayed * self.direction * delay_s
        line = np.interp(moving, moving[[0, -1]], self.x_mm[[0, -1]])
        own = self._unanchored(self.t_s, self.t_s) + (_PACE_MISSED * self.speed_mm_s) ** 2 * np.outer(way, way)
        noise = np.diag(self.standard_uncertainty_mm**2)
        smooth = line + own @ np.linalg.solve(own + noise, self.x_mm + late - line) - late
        x = np.where(moved, smooth, self.x_mm)
        return replace(self, x_mm=x) if np.all(np.diff(x) * self.direction > 1.0) else self

    def with_anchor(self, t_s: float, x_mm: float, standard_uncertainty_mm: float) -> Motion:
        """The same pass with one more place known (a landmark in the readings: no operator's delay in it).

        An anchor that would make the track run backwards displaces the weaker anchors it contradicts.
        """
        keep = (self.t_s - t_s) * (self.x_mm - x_mm) * self.direction > 0
        keep |= self.standard_uncertainty_mm < standard_uncertainty_mm
        clash = ~((self.t_s - t_s) * (self.x_mm - x_mm) * self.direction > 0)
        if bool(np.any(clash & keep)):
            return self
        landmark = self.landmark if self.landmark is not None else np.zeros(len(self.t_s), bool)
        order = np.argsort(np.append(self.t_s[keep], t_s))

        def joined(old: FloatArray, new: float) -> FloatArray:
            return np.append(old[keep], new)[order]

        return replace(
            self,
            t_s=joined(self.t_s, t_s),
            x_mm=joined(self.x_mm, x_mm),
            standard_uncertainty_mm=joined(self.standard_uncertainty_mm, standard_uncertainty_mm),
            delayed=np.append(self.delayed[keep], False)[order],
            landmark=np.append(landmark[keep], True)[order],
            standing=(self.standing[0] and bool(keep[0]) and t_s > self.t_s[0],
                      self.standing[1] and bool(keep[-1]) and t_s < self.t_s[-1]),
        )  # fmt: skip

    def with_start(self, t_s: float, x_mm: float, standard_uncertainty_mm: float, at_start: bool) -> Motion:
        """The same pass with the moment seen at which it set off (or, ``at_start`` False, nearly stood): the idle time
        at that end becomes the one that leads there."""
        more = self.with_anchor(t_s, x_mm, standard_uncertainty_mm)
        if more is self:
            return self
        # Between the rest and that moment the carriage gathers (loses) speed: about a third of a second.
        idle = abs(t_s - self.t_s[0 if at_start else -1]) * 0.8
        return replace(more, idle_s=(idle, self.idle_s[1]) if at_start else (self.idle_s[0], idle))

    def without_anchor(self, index: int) -> Motion:
        """The same pass with one anchor left out."""
        keep = np.arange(len(self.t_s)) != index
        return replace(
            self,
            t_s=self.t_s[keep],
            x_mm=self.x_mm[keep],
            standard_uncertainty_mm=self.standard_uncertainty_mm[keep],
            delayed=self.delayed[keep],
            landmark=None if self.landmark is None else self.landmark[keep],
            standing=(self.standing[0] and index != 0, self.standing[1] and index != len(self.t_s) - 1),
        )

    def with_anchor_moved(self, index: int, by_s: float) -> Motion:
        """The same pass with one anchor put elsewhere in time and trusted a third as much; left out where it would pass
        its neighbour."""
        t = self.t_s.copy()
        t[index] += by_s
        if np.any(np.diff(t) <= 0.05):
            return self.without_anchor(index)
        u = self.standard_uncertainty_mm.copy()
        u[index] *= 3.0
        return replace(self, t_s=t, standard_uncertainty_mm=u)

    def _speed_at_anchors(self) -> FloatArray:
        if len(self.t_s) < 3:
            speed = np.full(len(self.t_s), self.speed_mm_s)
        else:
            speed = np.abs(np.gradient(self.x_mm, self.t_s))
        if self.standing[0]:
            speed[0] = 0.0
        if self.standing[1]:
            speed[-1] = 0.0
        return speed

    def _unanchored(self, a_s: FloatArray, b_s: FloatArray) -> FloatArray:
        """Covariance of the way travelled with an uneven hand from the first anchor on (integrated Ornstein-Uhlenbeck
        speed), an unknown start, and the moments of setting off and stopping at standing anchors."""
        a, b = a_s[:, None] - self.t_s[0], b_s[None, :] - self.t_s[0]
        speed = self.speed_mm_s
        total = np.full((len(a_s), len(b_s)), 1e4)
        for share, tau in _SHARES:
            both = (
                2.0 * np.minimum(a, b) / tau - 1.0 + np.exp(-a / tau) + np.exp(-b / tau) - np.exp(-np.abs(a - b) / tau)
            )
            total = total + share * (self.unevenness * speed * tau) ** 2 * both
        for standing, interval in zip(self.standing, (0, -1), strict=True):
            if standing and len(self.t_s) > 1:
                shape_a, shape_b = self._start_shape(a_s, interval), self._start_shape(b_s, interval)
                total = total + (START_SPREAD_S * speed) ** 2 * np.outer(shape_a, shape_b)
        return total

    def _start_shape(self, t_s: FloatArray, interval: int) -> FloatArray:
        """Setting off late (or arriving early) shifts the near end of the interval and leaves the far end."""
        t, moving = self.t_s, self._moving_t_s()
        if interval == 0:
            near, far, sign = moving[0], t[1], 1.0
        else:
            near, far, sign = moving[-1], t[-2], -1.0
        fading = np.clip((far - t_s) * sign / max(abs(far - near), 1e-9), 0.0, 1.0)
        rising = np.clip((t_s - (t[0] if interval == 0 else t[-1])) * sign / 0.4, 0.0, 1.0)
        return np.asarray(fading * rising, float)


def monotone_slopes(t_s: FloatArray, x_mm: FloatArray) -> FloatArray:
    """Speeds (anchors,) of a curve through the anchors that never runs back (Fritsch and Carlson 1980).

    A hand gathers speed in a moment: where a short slow interval meets a long one, the speed there is the long one's.
    The usual mean would give half of it, and bend the whole long interval by tens of millimetres.
    """
    from scipy.interpolate import PchipInterpolator

    speed = np.asarray(PchipInterpolator(t_s, x_mm).derivative()(t_s), float)
    h = np.diff(t_s)
    mean = np.diff(x_mm) / h
    for k in range(1, len(t_s) - 1):
        long, short = (k - 1, k) if h[k - 1] > h[k] else (k, k - 1)
        if h[long] > _LONG * h[short]:
            speed[k] = mean[long]
    return speed


def _beside_long(t_s: FloatArray) -> BoolArray:
    """Which intervals are short beside a long neighbour: there a straight line is as good as any curve."""
    h = np.diff(t_s)
    out = np.zeros(len(h), bool)
    out[:-1] |= h[1:] > _LONG * h[:-1]
    out[1:] |= h[:-1] > _LONG * h[1:]
    return out


def _beside_stop(t_s: FloatArray, x_mm: FloatArray) -> BoolArray:
    """Which intervals begin or end at a stop and last long: the hand gathers speed in a moment and then goes on evenly,
    where a curve that begins at rest would lag by tens of millimetres."""
    stands = np.diff(x_mm) == 0.0
    beside = np.zeros(len(stands), bool)
    beside[:-1] |= stands[1:]
    beside[1:] |= stands[:-1]
    return np.asarray(beside & ~stands & (np.diff(t_s) > _MOMENT_S), bool)


def with_idle_time(motions: list[Motion]) -> list[Motion]:
    """Estimate how long standing ends cost, from the end intervals against the ones between, and set ``idle_s``.

    An end interval that starts at rest takes longer than its length at the pass's own pace by the idle time. The mean
    of all such excesses, weighed against the common value, is used for every standing start, and likewise every end.
    """
    idle = [_idle(motions, end) for end in (0, 1)]
    return [
        replace(m, idle_s=(idle[0] if m.standing[0] else 0.0, idle[1] if m.standing[1] else 0.0))
        if any(m.standing) and not m.measured
        else m
        for m in motions
    ]


def _idle(motions: list[Motion], end: int) -> float:
    weight, total = 1.0 / START_SPREAD_S**2, IDLE_S[end] / START_SPREAD_S**2
    for motion in motions:
        way, took = np.abs(np.diff(motion.x_mm)), np.diff(motion.t_s)
        middle = slice(1 if motion.standing[0] else 0, len(way) - 1 if motion.standing[1] else len(way))
        if not motion.standing[end] or motion.measured or not len(way[middle]) or way[middle].sum() <= 0:
            continue
        pace = took[middle].sum() / way[middle].sum()
        excess = float(took[-end] - pace * way[-end])
        u2 = (SPEED_SPREAD * pace * float(way[-end])) ** 2 + START_SPREAD_S**2
        weight += 1.0 / u2
        total += float(np.clip(excess, -1.0, 2.0)) / u2
    return max(total / weight, 0.0)
