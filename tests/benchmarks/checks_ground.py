"""Studies of the ground: base level and twist of an elastic cast body on yielding feet."""

from __future__ import annotations

import numpy as np

from fixtures.cast_body import CastBody, draw_body
from tests.benchmarks.check_bench import ROUNDS, Memory, Shot, listed, take

FLAT = {"rough": ["flat=0.07mm"], "limp": ["flat=0.03mm"]}
"""What an owner who has seen the table says of it; else the default."""
FEET = ("infeed, carriage side", "infeed, table side", "outfeed, carriage side", "outfeed, table side")


def base_along(rng: np.random.Generator, kind: str) -> Shot:
    """Slope along: a level in the middle, turned end for end."""
    result, body, floor = _base(rng, kind)
    return Shot(
        result.details["along_mm_per_m"],
        result.details["slope_uncertainty_mm_per_m"],
        body.slopes_mm_per_m()[0] + floor[0],
    )


def base_across(rng: np.random.Generator, kind: str) -> Shot:
    result, body, floor = _base(rng, kind)
    return Shot(
        result.details["across_mm_per_m"],
        result.details["slope_uncertainty_mm_per_m"],
        body.slopes_mm_per_m()[1] + floor[1],
    )


def _base(rng: np.random.Generator, kind: str):
    body = draw_body(rng, kind)
    floor, zero = rng.normal(0.0, 1.0, 2), float(rng.normal(0.0, 0.1))
    said = {}
    for way in ("along", "across"):
        for name, sense in ((way, 1.0), (f"{way}_turned", -1.0)):
            slope = body.level(
                body.length_mm / 2, body.width_mm / 2, way, rng, along=floor[0], across=floor[1], noise_mm_per_m=0.0
            )
            said[name] = sense * slope + zero + float(rng.normal(0.0, 0.02))
    texts = [f"{key}={value:.2f}mm/m" for key, value in said.items()]
    texts += ["flat=0.1mm"] if kind == "rough" else []
    texts += [f"feet_along={body.length_mm - 120:.0f}mm", f"feet_across={body.width_mm - 120:.0f}mm"]
    return take("base", texts), body, floor


def twist_texts(body: CastBody, rng: np.random.Generator, places: int) -> list[str]:
    zero, across = float(rng.normal(0.0, 0.1)), float(rng.normal(0.0, 0.5))
    middle = body.width_mm / 2.0
    y = middle + 200.0 * (np.arange(places) - (places - 1) / 2.0)
    ends = {}
    for name, x in (("infeed", 60.0), ("outfeed", body.length_mm - 60.0)):
        ends[name] = [body.level(x, each, "across", rng, zero_mm_per_m=zero, across=across) for each in y]
    said = [f"{name}={listed(values, 3, 'mm/m')}" for name, values in ends.items()]
    return [*said, f"feet_across={body.width_mm - 120:.0f}mm"]


def twist(rng: np.random.Generator, kind: str) -> Shot:
    body = draw_body(rng, kind)
    texts = twist_texts(body, rng, 1 if kind == "one place" else 3)
    texts += FLAT.get(kind, [])
    return Shot.of(take("twist", texts), body.twist_between((60.0, body.length_mm - 60.0)))


# --- rounds ----------------------------------------------------------------------------------------------------------


def twist_rounds(rng: np.random.Generator, kind: str) -> tuple[int | None, int | None, bool]:
    """By the check (it learns how far the body follows); by one foot a round, the end that is worse, 1:1."""

    def inside(body: CastBody) -> bool:
        return abs(body.twist_between((60.0, body.length_mm - 60.0))) <= 0.1

    seed = int(rng.integers(1 << 31))
    body, rng = draw_body(np.random.default_rng(seed), kind), np.random.default_rng(seed + 1)
    ours, usual, wrong = (0 if inside(body) else None), None, False
    job = Memory()
    for number in range(ROUNDS):
        if ours is not None:
            break
        result = job.take("twist", [*twist_texts(body, rng, 3), *FLAT.get(kind, [])])
        if result.verdict.word == "inside" or not result.corrections:
            wrong = result.verdict.word == "inside"
            break
        for each in result.corrections:
            body.raise_foot(FEET.index(each.where.removeprefix("foot ")), each.move_mm, rng)
        job.adjusted("twist")
        ours = number + 1 if inside(body) else None
    body, rng = draw_body(np.random.default_rng(seed), kind), np.random.default_rng(seed + 1)
    usual = 0 if inside(body) else None
    for number in range(ROUNDS):
        if usual is not None:
            break
        ends = [body.level(x, body.width_mm / 2, "across", rng) for x in (60.0, body.length_mm - 60.0)]
        # one foot a round: at the outfeed end, then at the infeed end, until the bubble there says as the other end
        end = 1 - number % 2
        off = ends[end] - ends[1 - end]
        foot = 2 * end + (0 if off > 0 else 1)
        body.raise_foot(foot, abs(off) * (body.width_mm - 120.0) / 1000.0, rng)
        usual = number + 1 if inside(body) else None
    return ours, usual, wrong


COVERAGE = [
    ("base, slope along", base_along, ("stiff", "limp", "rough"), "mm/m"),
    ("base, slope across", base_across, ("stiff", "limp", "rough"), "mm/m"),
    ("twist", twist, ("one place", "stiff", "limp", "soft floor", "rough"), "mm/m"),
]
ROUND_STUDIES = [
    ("twist", twist_rounds, ("stiff", "limp", "soft floor")),
]
