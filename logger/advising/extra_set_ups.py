"""Which one extra set-up would show most for least work, before anything is turned.

Why it exists: people sweep what is easy to reach and turn bolts at the rest. It prevents that by saying what another
stand, a level at some stops or a map of the table would tell, in figures, and what it costs.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from typing import TYPE_CHECKING

import numpy as np

from analysis.response import SetUp, seen_by_geometry
from analysis.results import FloatArray, WouldShow
from analysis.visibility import RISE, Place, known_with, worth
from logger.advising import inputs

if TYPE_CHECKING:
    from analysis.carriage import Carriage
    from logger.machines import Machine

WORK = {"fixed": 1.0, "carried": 1.2, "level": 1.5, "laid": 0.5, "map": 3.0}
"""Effort beside one stand set down and swept (common practice, no source): a level stops, a map takes an hour, a level
that is at hand is soon laid on the table."""
LAID_u_mm_per_m = (0.006, 0.04)
"""How well a level laid along a mapped table, and one nobody mapped, tells its slope, k = 1 (a metre of it)."""
LITTLE = 0.1
"""Less than this tenth of a limit is not worth a word."""
FROM_THE_END_mm = 60.0
MOST = 4


def would_show(machine: Machine, swept: Sequence[str]) -> tuple[WouldShow, ...]:
    """Extra set-ups by what they would show for their work, best first; only what is worth a word."""
    carriage, limits = inputs.carriage_of(machine), _limits(machine)
    places = _places(machine)
    mapped = bool(machine.table.map)
    described = dict(_described(machine, carriage))
    have = {name: described[name] for name in swept if name in described}
    if not have:
        return ()
    laid = _laid_u(machine, have)
    now = known_with(carriage, have, places, mapped, laid)
    found = []
    for name, what, seat, kind in _candidates(machine, carriage, have, described):
        if kind == "map":
            then = known_with(carriage, have, places, True, laid)
        elif kind == "laid":
            then = known_with(carriage, have, places, mapped, LAID_u_mm_per_m[0 if mapped else 1])
        else:
            then = known_with(carriage, {**have, name or what: seat}, places, mapped, laid)
        gain = worth(now, then, limits)
        if gain < LITTLE:
            continue
        gains = tuple(
            (f"{goal} ± mm", now[goal], then[goal])
            for goal, limit in limits.items()
            if now[goal] - then[goal] > LITTLE * limit
        )
        found.append(WouldShow(name, what, WORK[kind], gains, gain / WORK[kind]))
    return tuple(sorted(found, key=lambda each: -each.worth)[:MOST])


def unknown_now(machine: Machine, swept: Sequence[str]) -> dict[str, tuple[float, float]]:
    """Goals known worse than they are allowed: uncertainty (k = 2) and limit, mm."""
    carriage = inputs.carriage_of(machine)
    described = dict(_described(machine, carriage))
    have = {name: described[name] for name in swept if name in described}
    known = known_with(carriage, have, _places(machine), bool(machine.table.map), _laid_u(machine, have))
    return {name: (known[name], limit) for name, limit in _limits(machine).items() if known[name] > limit}


def _laid_u(machine: Machine, have: Mapping[str, tuple[SetUp, FloatArray]]) -> float | None:
    """How well it is known what a pitch level among these shows along the table; None where it was not laid there."""
    laid = [each.standard_uncertainty_mm_per_m for name in have if (each := inputs.on_table_of(machine.set_up(name)))]
    return min(laid, default=None)


def sentence(extra: WouldShow) -> str:
    """The best one, in words: what would be known with it. What is known so far is said where each goal is judged,
    from the sweeps themselves; the figure here is worked out before any, and beside the other would contradict it.
    """
    gains = ", ".join(f"{of.removesuffix(' ± mm')} to ±{then:.3f} mm" for of, _, then in extra.gains)
    return f"One more set-up would show most for its work: {extra.what}. It would tell {gains}."


def _limits(machine: Machine) -> dict[str, float]:
    band = float(machine.band.peak_to_valley_mm)
    return {**{place.name: float(place.peak_to_valley_mm) for place in machine.places}, RISE: band}


def _places(machine: Machine) -> tuple[Place, ...]:
    return tuple(
        Place(place.name, float(place.x_mm), float(place.y_mm or 0.0), float(place.peak_to_valley_mm))
        for place in machine.places
    )


def _described(machine: Machine, carriage: Carriage) -> Iterator[tuple[str, tuple[SetUp, FloatArray]]]:
    """The set-ups of machine.yaml that read heights or tilts, with the stations at which they do."""
    for name, given in machine.set_ups.items():
        if given.direction != "height":
            continue
        set_up = inputs.set_up_of(machine, name)
        s_mm = _stations(machine, carriage, set_up)
        if len(s_mm) > 2:
            yield name, (set_up, s_mm)


def _stations(machine: Machine, carriage: Carriage, set_up: SetUp) -> FloatArray:
    s_mm = np.linspace(*carriage.stroke_mm, 14 if set_up.kind == "level" else 27)
    return s_mm[seen_by_geometry(set_up, carriage, inputs.table_of(machine), s_mm)]


def _candidates(
    machine: Machine,
    carriage: Carriage,
    have: dict[str, tuple[SetUp, FloatArray]],
    described: dict[str, tuple[SetUp, FloatArray]],
) -> Iterator[tuple[str, str, tuple[SetUp, FloatArray], str]]:
    """(name, words, seat, kind): described and not swept, then a map, then usual ones nobody described."""
    kinds = {(seat[0].kind, seat[0].axis if seat[0].kind == "level" else "") for seat in described.values()}
    for name, seat in described.items():
        if name not in have:
            yield name, f"sweep set-up {name} ({_words(seat[0])})", seat, seat[0].kind
    nothing = next(iter(have.values()))
    if not machine.table.map:
        yield "", "map the table along the line the indicator reads (truestroke map)", nothing, "map"
    pitch = [name for name, seat in have.items() if seat[0].kind == "level" and seat[0].axis == "pitch"]
    if pitch and _laid_u(machine, have) is None:
        said = f"lay the level of {pitch[0]} along the table (truestroke instrument --set-up {pitch[0]} --on-table)"
        yield "", said, nothing, "laid"
    wanted = [SetUp("fixed", x_mm=machine.table.from_mm + FROM_THE_END_mm, y_mm=carriage.edge_y_mm)]
    wanted.append(SetUp("fixed", x_mm=machine.table.to_mm - FROM_THE_END_mm, y_mm=carriage.edge_y_mm))
    wanted += [SetUp("level", axis=axis) for axis in ("pitch", "roll") if ("level", axis) not in kinds]
    for set_up in wanted:
        s_mm = _stations(machine, carriage, set_up)
        near = [s[0] for s in described.values() if s[0].kind == "fixed" and abs(s[0].x_mm - set_up.x_mm) < 100.0]
        if len(s_mm) > 2 and not (set_up.kind == "fixed" and near):
            yield "", f"describe in machine.yaml and sweep {_words(set_up)}", (set_up, s_mm), set_up.kind


def _words(set_up: SetUp) -> str:
    if set_up.kind == "fixed":
        return f"a stand on the table at x {set_up.x_mm:.0f} mm"
    if set_up.kind == "carried":
        return f"an indicator carried {set_up.offset_mm:+.0f} mm from the middle"
    return f"a level for {set_up.axis}, read at stops"
