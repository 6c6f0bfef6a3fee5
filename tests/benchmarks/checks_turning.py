"""Studies of what turns: run-out by a dial and by a stream, whose swing it is, and a spindle's lean."""

from __future__ import annotations

import cmath
import math

import numpy as np

from analysis import turned
from fixtures.blade import Waves, dial_round, draw_blade, turned_by_hand
from tests.benchmarks.check_bench import Shot, listed, take


def _shape(rng: np.random.Generator, kind: str) -> Waves:
    """A face or journal: ``clean`` swing, with ``form``, or ``true`` (hardly any run-out)."""
    first = {"true": 0.002}.get(kind, float(rng.uniform(0.01, 0.08)))
    form = 0.5 if kind == "form" else 0.1
    waves = [(first, float(rng.uniform(0, 2 * math.pi)))]
    waves += [(first * form * float(rng.uniform(0.2, 1.0)) / order, float(rng.uniform(0, 6))) for order in (2, 3, 4)]
    return Waves(tuple(waves))


def dial(places: int):
    def study(rng: np.random.Generator, kind: str) -> Shot:
        shape = _shape(rng, kind)
        readings = dial_round(shape.at, rng, places, 0.002)
        return Shot.of(take("arbor", [f"readings={listed(readings)}"]), shape.total())

    return study


def stream(rng: np.random.Generator, kind: str) -> Shot:
    """The way of ``take --port``: marks once a turn, one turn made of all, its readings judged."""
    shape = _shape(rng, "form" if kind in ("slots", "wandering") else kind)
    told = turned_by_hand(
        shape.at,
        rng,
        turns=int(rng.integers(3, 6)),
        bearing_mm=0.004 if kind == "wandering" else 0.001,
        slots=4 if kind == "slots" else 0,
    )
    found = turned.one_turn(turned.angles_from_marks(told.t_s, told.mark_t_s), told.value_mm)
    texts = [
        f"readings={listed(found.values_mm, 4)}",
        f"angles={listed(found.angles_deg, 1, '')}",
        f"u={2 * found.standard_uncertainty_mm:.5f}mm",
        f"wander={found.wander_mm:.5f}mm",
    ]
    return Shot.of(take("blade", texts), shape.total())


def stream_unmarked(rng: np.random.Generator, kind: str) -> Shot:
    shape = _shape(rng, kind)
    told = turned_by_hand(shape.at, rng, turns=3)
    total, doubt = turned.total_only(told.value_mm)
    return Shot.of(take("blade", [f"total={total:.4f}mm", f"u={doubt / 2**0.5:.5f}mm"]), shape.total())


def eccentric(rng: np.random.Generator, kind: str) -> Shot:
    """The once-a-turn part alone, by eight places of a dial."""
    shape = _shape(rng, kind)
    result = take("arbor", [f"readings={listed(dial_round(shape.at, rng, 8, 0.002))}"])
    return Shot(result.details["eccentric_mm"], result.details["eccentric_uncertainty_mm"], shape.waves[0][0])


def flange_part(rng: np.random.Generator, kind: str) -> Shot:
    """A blade clamped against a flange: how much of the swing is the flange's?"""
    blade = draw_blade(rng, "good")
    flange = complex(*(rng.normal(0.0, 0.012, 2)))
    circle, seat = 2.0 * blade.radius_mm - 20.0, 100.0

    def on_flange(angle):
        return abs(flange) * np.cos(angle - cmath.phase(flange))

    def on_blade(angle, half=0.0):
        return on_flange(angle) * circle / seat + blade.wobble.at(angle - half)

    readings = dial_round(on_blade, rng, 8, 0.002)
    texts = [f"readings={listed(readings)}", f"diameter={circle:.0f}mm"]
    if kind == "half round":
        again = dial_round(lambda angle: on_blade(angle, math.pi), rng, 8, 0.002)
        texts.append(f"half_round={listed(again)}")
    else:
        texts.append(f"flange={listed(dial_round(on_flange, rng, 8, 0.002))}")
    result = take("blade", texts)
    return Shot(result.details["flange_part_mm"], result.details["parts_uncertainty_mm"], abs(flange) * circle / seat)


def swung(places: int):
    def study(rng: np.random.Generator, kind: str) -> Shot:
        """An arm on a leaning spindle over a table: vectors, not the first harmonic."""
        lean = {"upright": 2e-5}.get(kind, float(rng.uniform(5e-5, 6e-4)))
        toward = float(rng.uniform(0, 2 * math.pi))
        spindle = np.array([lean * math.cos(toward), lean * math.sin(toward), 1.0])
        spindle /= np.linalg.norm(spindle)
        one = np.cross(spindle, [0.0, 1.0, 0.0])
        one /= np.linalg.norm(one)
        other = np.cross(spindle, one)
        radius = float(rng.uniform(120.0, 300.0))
        turn = 2 * math.pi * np.arange(places) / places + rng.normal(0.0, math.radians(1.5), places)
        tips = radius * (np.outer(np.cos(turn), one) + np.outer(np.sin(turn), other))
        table = np.zeros(places)
        if kind == "uneven table":
            waves = [
                (rng.normal(0, 0.006), rng.uniform(150, 500), rng.uniform(0, 6), rng.uniform(0, 6)) for _ in range(4)
            ]
            for size, wave, way, phase in waves:
                along = tips[:, 0] * math.cos(way) + tips[:, 1] * math.sin(way)
                table += size * np.sin(2 * math.pi * along / wave + phase)
        shown = -tips[:, 2] + table + rng.normal(0.0, 0.002, places)
        start = math.atan2(tips[0, 1], tips[0, 0])
        sense = np.unwrap(np.arctan2(tips[:, 1], tips[:, 0])) - start
        order = np.rad2deg(np.mod(start + np.round(sense / (2 * math.pi / places)) * 2 * math.pi / places, 2 * math.pi))
        texts = [f"readings={listed(shown)}", f"angles={listed(order, 1, '')}", f"radius={radius:.0f}mm"]
        if kind == "uneven table":
            texts.append("flat=0.017mm")
        return Shot.of(take("spindle", texts), 1000.0 * math.tan(lean))

    return study


COVERAGE = [
    ("run-out, dial at 8", dial(8), ("clean", "form", "true"), "mm"),
    ("run-out, dial at 12", dial(12), ("clean", "form", "true"), "mm"),
    ("run-out, stream with marks", stream, ("clean", "form", "true", "slots", "wandering"), "mm"),
    ("run-out, stream without marks", stream_unmarked, ("clean", "form", "true"), "mm"),
    ("run-out, once a turn", eccentric, ("clean", "form", "true"), "mm"),
    ("blade, the flange's part", flange_part, ("flange read", "half round"), "mm"),
    ("spindle, swing of 4", swung(4), ("leaning", "upright", "uneven table"), "mm/m"),
    ("spindle, swing of 8", swung(8), ("leaning", "upright", "uneven table"), "mm/m"),
]
ROUND_STUDIES: list = []  # type: ignore[type-arg]
