"""The advice as the ``bolts`` object that scripts read: the keys are a contract.

Why it exists: names of keys carry units; a level's figures are tilts, and calling them millimetres would be a lie that
a script cannot notice. One place decides the endings.
"""

from __future__ import annotations

import math
from dataclasses import asdict
from typing import Any

from analysis.results import Move, PlaceFinding, Plan, Predicted, WouldShow


def as_json(plan: Plan) -> dict[str, Any]:
    """The ``bolts`` contract. For a level the keys of readings end in ``_mm_per_m``; bolts always move in mm."""
    unit = ending(plan.verdict.unit)
    answer: dict[str, Any] = {
        "round": plan.round,
        "set_up": plan.set_up,
        "verdict": plan.verdict.word,
        "verdict_reason": plan.verdict.reason,
        f"peak_to_valley_or_worst_{unit}": number(plan.verdict.value),
        "next": plan.next,
        "next_set_up": plan.next_set_up,
        "reachable": plan.reachable,
        f"best_possible_peak_to_valley_{unit}": number(plan.best_possible_peak_to_valley),
        f"best_possible_uncertainty_{unit}": number(plan.best_possible_uncertainty),
        "unseen_bolts": list(plan.unseen_bolts),
        "moves": [move_as_json(move) for move in plan.moves],
        **(predicted_as_json(plan.predicted, plan.verdict.unit) if plan.predicted else {"predicted": None}),
        "places": [place_as_json(place) for place in plan.places],
        "whole_stroke": place_as_json(plan.whole_stroke) if plan.whole_stroke else None,
        "would_show": [would_show_as_json(each) for each in plan.would_show],
        "cautions": list(plan.cautions),
        "not_seen": list(plan.not_seen),
        "warnings": list(plan.warnings),
        "why": list(plan.why),
    }
    return answer


def move_as_json(move: Move) -> dict[str, Any]:
    """One move; ``raise_mm`` is the bolt's own thread travel, + up."""
    unit = ending(move.unit)
    return {
        "order": move.order,
        "bolt": move.bolt,
        "raise_mm": number(move.raise_mm),
        "turns": number(move.turns),
        "flats": number(move.flats),
        "raise_at_most_mm": number(move.raise_at_most_mm),
        "turn": move.turn,
        "park_mm": number(move.park_mm),
        f"reading_now_{unit}": number(move.reading_now),
        f"reading_target_{unit}": number(move.reading_target),
        f"height_now_{unit}": number(move.height_now),
        f"height_target_{unit}": number(move.height_target),
        f"uncertainty_{unit}": number(move.uncertainty),
        "set_up": move.set_up,
        "steps": list(move.steps),
    }


def predicted_as_json(predicted: Predicted, unit: str = "mm") -> dict[str, Any]:
    """``{"predicted": {...}}``: what the profile will be, with its 95 % band, and the chance of being inside."""
    end = ending(unit)
    return {
        "predicted": {
            f"peak_to_valley_{end}": number(predicted.peak_to_valley),
            f"peak_to_valley_uncertainty_{end}": number(predicted.peak_to_valley_uncertainty),
            f"mean_{end}": number(predicted.mean),
            "chance_inside": number(predicted.chance_inside),
            "profile": {
                "x_mm": [number(x) for x in predicted.x_mm],
                f"height_{end}": [number(v) for v in predicted.value],
                f"uncertainty_{end}": [number(u) for u in predicted.uncertainty],
            },
        }
    }


def place_as_json(place: PlaceFinding) -> dict[str, Any]:
    """A place with its verdict, or named not seen."""
    said = asdict(place)
    return {
        "name": place.name,
        "verdict": place.verdict,
        "peak_to_valley_mm": number(said["peak_to_valley"]),
        "uncertainty_mm": number(said["uncertainty"]),
        "allowed_mm": number(place.allowed),
        "seen": place.seen,
        "why": place.why,
    }


def would_show_as_json(extra: WouldShow) -> dict[str, Any]:
    """An extra set-up: what its sweep would tell, uncertainties now and then (k = 2)."""
    return {
        "set_up": extra.set_up or None,
        "what": extra.what,
        "work": extra.work,
        "gains": [{"of": of, "now": number(now), "then": number(then)} for of, now, then in extra.gains],
    }


def ending(unit: str) -> str:
    """``mm`` or ``mm_per_m``."""
    return "mm_per_m" if unit == "mm/m" else "mm"


def number(value: float | None) -> float | None:
    """A JSON number rounded to a tenth of a micrometre; what is not finite is null."""
    return None if value is None or not math.isfinite(value) else round(float(value), 4)
