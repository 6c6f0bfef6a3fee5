"""The rail picture as data: what it shows of a machine and of what was found, in millimetres, without a pen.

Why it exists: the screen draws in cells and the report in lines, and both must show the same rail: which bolts, which
two lines, which flags, which stretches nobody has seen. All of that is decided here; whoever draws only scales. What is
drawn is the carriage's height when its middle is here, at the line the set-up reads, not the rail's own shape.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np

from analysis.results import Findings, FloatArray, Plan, Profile

if TYPE_CHECKING:
    from logger.machines import Machine


@dataclass(frozen=True, slots=True)
class Bolt:
    """A support bolt as drawn. ``raise_mm``: its move, + up, None where it has none."""

    name: str
    x_mm: float
    y_mm: float = 0.0
    seen: bool = True
    raise_mm: float | None = None
    current: bool = False


@dataclass(frozen=True, slots=True)
class Flag:
    """A high or low spot: ``kind`` high or low, where, and how high."""

    kind: str
    x_mm: float
    value: float


@dataclass(frozen=True)
class Curve:
    """Values along the rail, x ascending; arrays of shape (stations,). ``uncertainty`` may be empty."""

    x_mm: FloatArray
    value: FloatArray
    uncertainty: FloatArray = field(default_factory=lambda: np.zeros(0))
    not_seen: tuple[tuple[float, float], ...] = ()


@dataclass(frozen=True)
class RailPicture:
    """Everything a rail picture shows. ``band`` None: there is nothing to judge by, the scale follows the values."""

    from_mm: float
    to_mm: float
    bolts: tuple[Bolt, ...] = ()
    curve: Curve | None = None
    columns: FloatArray | None = None
    """Values already binned to columns (a sweep under way); used instead of ``curve``."""
    band: tuple[float, float] | None = None
    flags: tuple[Flag, ...] = ()
    places: tuple[tuple[str, float], ...] = ()
    stands_mm: float | None = None
    here_mm: float | None = None
    expected: Curve | None = None
    before: Curve | None = None
    unit: str = "mm"


@dataclass(frozen=True)
class Seen:
    """What is known of a machine at one moment: the newest findings, the plan, and the findings before."""

    findings: Findings | None = None
    plan: Plan | None = None
    before: Findings | None = None
    when: str = ""


NOTHING = Seen()


def curve_of(profile: Profile) -> Curve:
    """A profile as a curve; where only the shape is known it is laid about zero."""
    value = profile.value
    if not profile.zero_known and value.size:
        value = value - (float(np.min(value)) + float(np.max(value))) / 2
    return Curve(profile.x_mm, value, profile.uncertainty, profile.not_seen)


def band_of(machine: Machine, quantity: str) -> tuple[float, tuple[float, float] | None]:
    """How wide a profile may be, and where its mean may lie (None: anywhere)."""
    if quantity == "pitch":
        return machine.band.pitch_mm_per_m, None
    if quantity == "roll":
        return machine.band.roll_mm_per_m, None
    return machine.band.peak_to_valley_mm, machine.band.mean_mm


def live_limits(machine: Machine, quantity: str) -> tuple[float, float]:
    """The lines of the plain live bar: where the mean may lie, or the band about zero."""
    width, mean = band_of(machine, quantity)
    return mean if mean is not None else (-width / 2, width / 2)


def bolts_of(machine: Machine, plan: Plan | None, current: str = "", only: str = "") -> tuple[Bolt, ...]:
    """The bolts where they stand, with the plan's moves; ``only``: show this bolt's move and no other."""
    unseen = plan.unseen_bolts if plan else ()
    moves: dict[str, float] = {}
    for move in plan.moves if plan else ():  # a bolt may be turned a second time at the end of a round
        moves[move.bolt] = moves.get(move.bolt, 0.0) + move.raise_mm
    return tuple(
        Bolt(
            bolt.name,
            bolt.x_mm,
            bolt.y_mm,
            seen=bolt.name not in unseen,
            raise_mm=moves.get(bolt.name) if not only or bolt.name == only else None,
            current=bolt.name == current,
        )
        for bolt in machine.bolts
    )


def corridor(
    values: FloatArray, width: float, mean_limits: tuple[float, float] | None, aim: float | None = None
) -> tuple[float, float]:
    """Lower and upper line for a profile that may be ``width`` wide and lie anywhere in ``mean_limits``.

    The lines are laid where the profile needs least work: about its middle (or about ``aim``, where a plan says the
    middle will be), held inside the limits of the mean. So a hump or a hollow shows exactly if it is too wide or
    lies too high or too low.
    """
    seen = values[np.isfinite(values)]
    middle = aim
    if middle is None:
        middle = float((np.min(seen) + np.max(seen)) / 2) if seen.size else sum(mean_limits or (0.0, 0.0)) / 2
    if mean_limits is not None:
        middle = min(max(middle, mean_limits[0]), mean_limits[1])
    return middle - width / 2, middle + width / 2


def lines_for(machine: Machine, seen: Seen) -> tuple[float, float] | None:
    """The two lines a profile is drawn between."""
    findings = seen.findings
    if findings is None:
        return live_limits(machine, "height")
    width, mean = band_of(machine, findings.profile.quantity)
    value = curve_of(findings.profile).value
    if not findings.profile.zero_known:
        return corridor(value, width, None, 0.0)
    aim = None
    predicted = seen.plan.predicted if seen.plan else None
    if predicted is not None and predicted.value.size:
        aim = float((np.min(predicted.value) + np.max(predicted.value)) / 2)
    return corridor(value, width, mean, aim)


def flags_of(findings: Findings, lines: tuple[float, float]) -> tuple[Flag, ...]:
    """The spots that stand out of the lines, each with the height the picture has there.

    A spot's own value may be counted from a reference line; what is written beside the picture is the picture's.
    """
    curve = curve_of(findings.profile)
    if not curve.x_mm.size:
        return ()
    flags = [
        Flag(spot.kind, spot.x_mm, float(np.interp(spot.x_mm, curve.x_mm, curve.value))) for spot in findings.spots
    ]
    return tuple(f for f in flags if (f.value > lines[1] if f.kind == "high" else f.value < lines[0]))


def rail_picture(
    machine: Machine,
    seen: Seen,
    *,
    stands: str = "",
    current: str = "",
    moves: bool = True,
    expected: bool = False,
    before: bool = False,
) -> RailPicture:
    """The rail of ``machine`` with what was ``seen``; ``stands``: the set-up whose indicator is drawn standing."""
    findings, plan = seen.findings, seen.plan
    lines = lines_for(machine, seen)
    set_up = machine.set_ups.get(stands)
    predicted = plan.predicted if plan and expected else None
    return RailPicture(
        from_mm=machine.rail.from_mm,
        to_mm=machine.rail.to_mm,
        bolts=bolts_of(machine, plan if moves or current else None, current, only=current),
        curve=curve_of(findings.profile) if findings else None,
        band=lines,
        flags=flags_of(findings, lines) if findings and lines else (),
        places=tuple((place.name, place.x_mm) for place in machine.places) if not stands else (),
        stands_mm=set_up.x_mm if set_up is not None and set_up.kind == "fixed" else None,
        expected=Curve(predicted.x_mm, predicted.value, not_seen=findings.profile.not_seen if findings else ())
        if predicted is not None
        else None,
        before=curve_of(seen.before.profile) if before and seen.before is not None else None,
        unit=findings.profile.unit if findings else "mm",
    )
