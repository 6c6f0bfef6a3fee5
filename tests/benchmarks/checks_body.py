"""Studies of feet, sag, travel in plan, outrigger, length stop, knife, scoring, bevel and the carriage's plane.

Coverage on simulated machines (cast body on yielding feet, rail bent in plan, vectors for what stands), and rounds
until inside for sag (a strut that creeps) and travel in plan.
``python -m tests.benchmarks.checks_body [--machines 200] [--only sag]``. Not a test.
"""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import linprog

from analysis.follow import Trial, share_of
from fixtures.cast_body import CastBody, draw_body
from fixtures.plan_rail import PlanRail, draw_rail
from logger.machines import Machine
from tests.benchmarks.check_bench import HEADER, MACHINE, ROUNDS, Rounds, Shot, cover, listed, take

Points = NDArray[np.float64]
LEAVES = np.arange(0.05, 2.01, 0.05)


def zone(x: Points, y: Points, z: Points) -> float:
    """The smallest zone of points, apart from the checks' own way: one linear program over both bounds."""
    flat = np.ptp(y) < 1e-9
    columns = np.column_stack([np.ones_like(x), x / 1000.0] + ([] if flat else [y / 1000.0]))
    many = columns.shape[1]
    rows = np.vstack([np.column_stack([columns, -np.ones(len(x))]), np.column_stack([-columns, -np.ones(len(x))])])
    found = linprog([0.0] * many + [1.0], rows, np.concatenate([z, -z]), bounds=[(None, None)] * many + [(0, None)])
    return 2.0 * float(found.fun or 0.0)


def feelers(gaps: Points) -> str:
    """The thickest leaf that goes and the thinnest that does not."""
    said = []
    for gap in gaps:
        goes = LEAVES[gap >= LEAVES]
        stops = LEAVES[gap < LEAVES]
        said.append(f"{goes[-1]:.2f}..{stops[0]:.2f}" if len(goes) else f"..{stops[0]:.2f}")
    return ",".join(said)


# --- feet ------------------------------------------------------------------------------------------------------------


def feet(rng: np.random.Generator, kind: str) -> Shot:
    """Travels until each foot turns freely, by lowering it in the simulated body; truth: the least loaded foot's."""
    body = draw_body(rng, kind)
    true = np.array([_until_free(body, foot) for foot in range(4)])
    read = true + rng.normal(0.0, 0.015, 4)
    result = take("feet", ["gap=..0.05,..0.05,..0.05,..0.05", f"travel={listed(np.maximum(read, 0.001))}"])
    share = true / true.sum()
    found = float(result.details["least_share"])
    return Shot(
        found, 2.0 * 0.015 / float(read.sum()) * math.sqrt(1.0 - 2.0 * found + 4.0 * found**2), float(share.min())
    )


def _until_free(body: CastBody, foot: int) -> float:
    """Lowered by so much it carries nothing: its load falls in a straight line as long as the others carry."""

    def load(lowered_mm: float) -> float:
        raised = body.raised_mm.copy()
        raised[foot] -= lowered_mm
        now = replace(body, raised_mm=raised)
        return float(now.raised_mm[foot] - (now._rows(*now.feet.T) @ now._state())[foot])

    here, lower = load(0.0), load(0.02)
    return 0.02 * here / (here - lower)


# --- sag -------------------------------------------------------------------------------------------------------------


def sag(rng: np.random.Generator, kind: str) -> Shot:
    """``kind``: feelers, indicator, grid, union_jack on a stiff table; rough and limp by indicator."""
    by = kind if kind in ("feelers", "indicator", "grid", "union_jack") else "indicator"
    body = draw_body(rng, kind if kind in ("rough", "limp") else "stiff")
    if by == "grid":
        return _grid(body, rng)
    if by == "union_jack":
        return _jack(body, rng)
    x = np.linspace(40.0, body.length_mm - 40.0, 9)
    y = np.full(9, body.width_mm / 2.0)
    true = body.height(x, y)
    edge = _edge(rng, x, 0.02)
    if by == "feelers":
        gap = _laid_on(x, true, edge)
        result = take("sag", [f"x={listed(x, 1)}", f"gap={feelers(gap)}", "u=0.006", "edge=0.02"])
    else:
        read = true - true.mean() + edge + rng.normal(0.0, 0.003, 9)
        result = take("sag", ["by=indicator", f"x={listed(x, 1)}", f"readings={listed(read)}", "edge=0.02"])
    return Shot.of(result, zone(x, y, true))


def _edge(rng: np.random.Generator, x: Points, whole_mm: float) -> Points:
    """A straightedge's own shape: a bow and an S, its whole error within ``whole_mm`` 19 times in 20."""
    u = np.linspace(-1.0, 1.0, len(x))
    return np.asarray(rng.normal(0.0, whole_mm / 3.0) * u**2 + rng.normal(0.0, whole_mm / 5.0) * np.sin(math.pi * u))


def _laid_on(x: Points, table: Points, edge: Points) -> Points:
    """The gap under a straightedge that rests on the two high places either side of its middle."""
    raised = table + edge
    best: tuple[float, Points] | None = None
    middle = float(x.mean())
    for i in range(len(x)):
        for j in range(i + 1, len(x)):
            if not x[i] <= middle <= x[j]:
                continue
            line = raised[i] + (raised[j] - raised[i]) * (x - x[i]) / (x[j] - x[i])
            gap = line - raised
            if gap.min() > -1e-9 and (best is None or line.mean() < best[0]):
                best = (float(line.mean()), gap)
    assert best is not None
    return np.asarray(best[1])


def _grid(body: CastBody, rng: np.random.Generator) -> Shot:
    step = 200.0
    columns, rows = int((body.length_mm - 60) // step) + 1, int((body.width_mm - 60) // step) + 1
    x, y = np.meshgrid(30.0 + step * np.arange(columns), 30.0 + step * np.arange(rows))
    z = body.height(x, y)
    along = 1000.0 * np.diff(z, axis=1) / step + rng.normal(0.0, 0.01, (rows, columns - 1))
    across = 1000.0 * np.diff(z, axis=0) / step + rng.normal(0.0, 0.01, (rows - 1, columns))
    texts = [f"along={listed(along.ravel(), 3, '')}", f"across={listed(across.ravel(), 3, '')}"]
    result = take("sag", ["by=grid", f"step={step}", "u_level=0.02", *texts])
    return Shot.of(result, zone(x.ravel(), y.ravel(), z.ravel()))


def _jack(body: CastBody, rng: np.random.Generator) -> Shot:
    """Sides of 4 and 3 units, diagonals of 5: a bridge of one length fits all eight lines."""
    unit = 2.0 * math.floor(min((body.length_mm - 60) / 8.0, (body.width_mm - 60) / 6.0))
    step = unit / 2.0  # sides 8 and 6 steps, diagonals 10, centre lines 8 and 6
    size = np.array([8.0 * step, 6.0 * step])
    corner = {"NW": (0, 1), "NE": (1, 1), "SW": (0, 0), "SE": (1, 0), "N": (0.5, 1), "S": (0.5, 0), "E": (1, 0.5),
              "W": (0, 0.5)}  # fmt: skip
    texts, places, heights = [], [], []
    for line in ("NW_SE", "NE_SW", "NE_NW", "NE_SE", "NW_SW", "SE_SW", "N_S", "E_W"):
        ends = [np.array(corner[end]) * size + 30.0 for end in line.split("_")]
        count = round(float(np.linalg.norm(ends[1] - ends[0])) / step)
        at = ends[0] + np.linspace(0.0, 1.0, count + 1)[:, None] * (ends[1] - ends[0])
        z = body.height(at[:, 0], at[:, 1])
        slopes = 1000.0 * np.diff(z) / step + rng.normal(0.0, 0.01, count)
        texts.append(f"{line.casefold()}={listed(slopes, 3, '')}")
        places.append(at)
        heights.append(z)
    at, z = np.vstack(places), np.concatenate(heights)
    result = take("sag", ["by=union_jack", f"step={step}", "u_level=0.02", *texts])
    return Shot.of(result, zone(at[:, 0], at[:, 1], z))


def sag_rounds(rng: np.random.Generator, kind: str) -> tuple[int | None, int | None, bool]:
    """Rounds until the sag is inside 0.03 mm a day later: scaled by what the last push did, and the whole sag again.

    What the strut takes up the feet lose. As the check says, they are felt after each push and one that hangs is
    brought back to the floor; the usual way looks at the table alone, and ends on three feet where one lets go.
    """
    drawn = draw_body(rng, "limp")
    softer = 0.3 if kind == "thin" else 0.6
    # with all that hangs on it; a lighter one would be lifted off its feet by the strut
    first = replace(drawn, bending_nmm=drawn.bending_nmm * softer, weight_n=2.0 * drawn.weight_n)
    at = [np.array([each]) for each in first.strut_at_mm]
    first.strut_mm = float(first.height(*at)[0] - first._form(*at)[0])
    first.form = np.vstack([first.form, [-rng.uniform(0.06, 0.15), 2 * first.length_mm, 1e9, 0.0]])
    second = replace(first, raised_mm=first.raised_mm.copy(), form=first.form.copy())
    seeds = rng.integers(0, 2**31, 2)
    ours = _pushed(first, np.random.default_rng(int(seeds[0])), learned=True)
    usual = _pushed(second, np.random.default_rng(int(seeds[0])), learned=False)
    return ours, usual, False


def _pushed(body: CastBody, rng: np.random.Generator, *, learned: bool) -> int | None:
    x = np.linspace(40.0, body.length_mm - 40.0, 9)
    y = np.full(9, body.width_mm / 2.0)
    trials: list[Trial] = []
    before: tuple[float, float, float] | None = None
    for done in range(ROUNDS):
        body.wait(24.0)
        if learned:
            _feet_to_the_floor(body, rng)
        if not body.carries().all():
            return None  # pushed off its feet: it stands on a strut
        if abs(body.sag_mm(body.width_mm / 2.0, (40.0, body.length_mm - 40.0))) < 0.03:
            return done
        read = body.height(x, y) + rng.normal(0.0, 0.003, 9)
        texts = ["by=indicator", f"x={listed(x, 1)}", f"readings={listed(read - read.mean())}", "edge=0.005"]
        result = take("sag", [*texts, f"strut={body.strut_at_mm[0]:.0f}", "allowed=0.02"])
        found, doubt = float(result.details["sag_mm"]), float(result.details["sag_uncertainty_mm"])
        if before is not None:
            trials.append(Trial(before[0], before[1], found, doubt, before[2]))
        factor = share_of(trials).factor if learned and trials else 1.0
        if not result.corrections:
            return None
        move = result.corrections[0].move_mm * (1.0 if result.corrections[0].way == "up" else -1.0)
        before = (found, doubt, found * factor)
        body.push_strut(move * factor, rng)
    return None


def _feet_to_the_floor(body: CastBody, rng: np.random.Generator) -> None:
    """Feel under each foot; raise one that hangs until it touches and an eighth of a turn on (check feet)."""
    for _ in range(8):
        gaps = body.gaps()
        if (gaps < 0.0).all():
            return
        foot = int(np.argmax(gaps))
        body.raise_foot(foot, float(gaps[foot]) + 0.1, rng, hand_mm=0.01)


# --- travel in plan --------------------------------------------------------------------------------------------------


def straight(rng: np.random.Generator, kind: str) -> Shot:
    """``kind``: over, end (a straightedge turned), edges (two boards sawn), bent (over, on a bowed rail)."""
    rail = draw_rail(rng, "bent" if kind in ("bent", "edges") else "usual")
    x = np.linspace(200.0, 1600.0, 9)
    travel = rail.carried(x, 0.0)
    if kind == "edges":
        gap = 2.0 * _laid_on(x, -travel, np.zeros(9)) + np.abs(rng.normal(0.0, 0.003, 9))
        result = take("straight", ["by=edges", f"x={listed(x, 0)}", f"gap={feelers(gap)}", "u=0.012"])
    else:
        edge = _edge(rng, x, 0.1)
        first = travel - edge + rng.normal(0.0, 0.004, 9)
        face = edge[::-1] if kind == "end" else edge
        second = -travel - face + rng.normal(0.0, 0.004, 9)
        texts = [f"x={listed(x, 0)}", f"first={listed(first - first[0])}", f"second={listed(second - second[0])}"]
        result = take("straight", [*texts, f"turned={'end' if kind == 'end' else 'over'}", "edge=0.1", "u=0.008"])
    return Shot.of(result, zone(x, np.zeros_like(x), travel))


def straight_rounds(rng: np.random.Generator, kind: str) -> tuple[int | None, int | None, bool]:
    """Rounds until the travel bows less than 0.1 mm: all shifts of the check, and one bolt at a time."""
    first = draw_rail(rng, "bent")
    second = replace(first, seat_mm=first.seat_mm.copy())
    seed = int(rng.integers(0, 2**31))
    return (
        _straightened(first, np.random.default_rng(seed), at_once=True),
        _straightened(second, np.random.default_rng(seed), at_once=False),
        False,
    )


def _straightened(rail: PlanRail, rng: np.random.Generator, *, at_once: bool) -> int | None:
    bolts = [
        MACHINE.bolts[0].model_copy(update={"name": f"B{i + 1}", "x_mm": float(x), "y_mm": 0.0})
        for i, x in enumerate(rail.bolts_x_mm)
    ]
    machine: Machine = MACHINE.model_copy(update={"bolts": tuple(bolts)})
    x = np.linspace(100.0, rail.ends_mm[1] - 300.0, 9)
    for done in range(ROUNDS):
        travel = rail.carried(x, 0.0)
        if zone(x, np.zeros_like(x), travel) < 0.1:
            return done
        noise = rng.normal(0.0, 0.004, (2, 9))
        first, second = travel + noise[0], -travel + noise[1]
        texts = [f"x={listed(x, 0)}", f"first={listed(first - first[0])}", f"second={listed(second - second[0])}"]
        moves = take("straight", [*texts, "u=0.008", "allowed=0.05"], machine).corrections
        if not moves:
            return None
        for move in moves if at_once else [max(moves, key=lambda each: each.move_mm)]:
            bolt = int(move.where.rpartition("B")[2]) - 1
            rail.shift(bolt, move.move_mm * (1.0 if move.way == "toward the table" else -1.0), rng)
    return None


# --- what is set to the travel and to the blade ----------------------------------------------------------------------


def outrigger(rng: np.random.Generator, kind: str) -> Shot:
    lean, height = float(rng.normal(0.0, 4e-4)), float(rng.normal(0.0, 0.3))
    ends = np.array([height - lean * 1300.0, height + lean * 1300.0])
    read = np.round((ends + rng.normal(0.0, 0.025, 2)) / 0.01) * 0.01
    result = take("outrigger", [f"infeed={read[0]:.2f}mm", f"outfeed={read[1]:.2f}mm", "apart=2600"])
    return Shot(result.details["lean_mm_per_m"], 1000.0 * math.sqrt(2.0) * 0.05 / 2600.0, 1000.0 * lean)


def length(rng: np.random.Generator, kind: str) -> Shot:
    offset, stretch, play = float(rng.normal(0.0, 0.2)), float(rng.normal(0.0, 1e-4)), 0.08 if kind == "loose" else 0.01
    count = 3 if kind == "few" else 8
    at = np.sort(rng.uniform(200.0, 2200.0, count)) if kind != "one setting" else np.full(count, 600.0)
    true = at + offset + stretch * at
    read = np.round((true + rng.normal(0.0, play, count) + rng.normal(0.0, 0.025, count)) / 0.01) * 0.01
    result = take("length", [f"set={listed(at, 2)}", f"measured={listed(read, 2)}", "u=0.05"])
    doubt = float(result.details["offset_uncertainty_mm"])
    return Shot(float(result.details["offset_mm"]), doubt, offset + stretch * float(at.mean()))


def scoring(rng: np.random.Generator, kind: str) -> Shot:
    shift, wider = float(rng.normal(0.0, 0.1)), float(rng.normal(0.1, 0.08))
    steps = np.array([wider / 2.0 - shift, wider / 2.0 + shift])  # the scoring kerf stands over toward the table
    if kind == "teeth":
        main = rng.uniform(0.2, 0.6, 2)
        read = np.round((np.array([main, main + steps]) + rng.normal(0.0, 0.01, (2, 2))) / 0.001) * 0.001
        result = take("scoring", ["by=teeth", f"main={listed(read[0])}", f"scoring={listed(read[1])}"])
    else:
        read = np.round((steps + rng.normal(0.0, 0.01, 2)) / 0.01) * 0.01
        result = take("scoring", [f"carriage_step={read[0]:.2f}mm", f"table_step={read[1]:.2f}mm"])
    return Shot.of(result, shift)


def knife(rng: np.random.Generator, kind: str) -> Shot:
    offset, lean = float(rng.normal(0.0, 0.08)), float(rng.normal(0.0, 0.08)) if kind == "leaning" else 0.0
    spare = (3.2 - 2.6) / 2.0
    ends = np.array([offset - lean / 2.0, offset + lean / 2.0])
    near, far = np.maximum(spare + ends, 0.0), np.maximum(spare - ends, 0.0)
    texts = [f"carriage_side={feelers(near)}", f"table_side={feelers(far)}", "kerf=3.2", "knife=2.6", "plate=2.2"]
    result = take("knife", [*texts, "u=0.01"])
    return Shot(result.details["offset_mm"], result.verdict.uncertainty, offset)


def bevel(rng: np.random.Generator, kind: str) -> Shot:
    lean, wobble, square = float(rng.normal(0.0, 1e-3)), float(rng.normal(0.0, 4e-4)), float(rng.normal(0.0, 2.5e-5))
    if kind == "level":
        shown = math.degrees(lean) + 45.0 + rng.normal(0.0, 0.025)
        zero = float(np.round(rng.normal(0.0, 0.1), 2))
        shown, table = shown + zero, zero + rng.normal(0.0, 0.025)
        result = take("bevel", ["by=level", f"shown={shown:.2f}", f"zero={table:.2f}", "nominal=45", "u_deg=0.05"])
        return Shot.of(result, 1000.0 * lean)
    height = float(rng.uniform(50.0, 90.0))
    turns = np.array([1.0, -1.0]) * wobble
    low = 0.5 + rng.normal(0.0, 0.003, 2)
    high = 0.5 - (lean + turns + square) * height + rng.normal(0.0, 0.003, 2)
    result = take("bevel", [f"low={listed(low)}", f"high={listed(high)}", f"height={height:.1f}", "u=0.006"])
    return Shot.of(result, 1000.0 * lean)


def upright(rng: np.random.Generator, kind: str) -> Shot:
    """A tip swung about a leaning spindle over a plane that rolls: vectors, nothing derived. The part across."""
    spindle = np.array([*rng.normal(0.0, 3e-4, 2), 1.0])
    normal = np.array([*rng.normal(0.0, 3e-4, 2), 1.0])
    angles = np.arange(200.0, 341.0, 20.0) if kind == "arc" else np.arange(220.0, 321.0, 20.0)
    radius = 220.0
    read = _swung(spindle, normal, radius, angles) + rng.normal(0.0, 0.003, len(angles))
    result = take(
        "upright", [f"readings={listed(read)}", f"angles={listed(angles, 0, '')}", f"radius={radius}", "u=0.006"]
    )
    across = 1000.0 * (spindle - normal)[1]
    spread = np.column_stack([np.ones(len(angles)), np.cos(np.deg2rad(angles)), np.sin(np.deg2rad(angles))])
    sigma = math.sqrt(np.linalg.inv(spread.T @ spread)[2, 2]) * 0.003 * 1000.0 / radius
    return Shot(float(result.details["across_mm_per_m"]), 2.0 * sigma, float(across))


def _swung(spindle: Points, normal: Points, radius: float, angles: Points) -> Points:
    spindle, normal = spindle / np.linalg.norm(spindle), normal / np.linalg.norm(normal)
    along = np.array([1.0, 0.0, 0.0]) - spindle * spindle[0]
    along /= np.linalg.norm(along)
    across = np.cross(spindle, along)
    turn = np.deg2rad(angles)
    arm = radius * (np.outer(np.cos(turn), along) + np.outer(np.sin(turn), across))
    return np.asarray(-(((100.0 * spindle + arm) @ normal) / (spindle @ normal) - 100.0))


COVERAGE = [
    ("feet: least share", feet, ("stiff", "limp", "soft floor"), "of 1"),
    ("sag: flatness", sag, ("feelers", "indicator", "grid", "union_jack", "rough", "limp"), "mm"),
    ("straight: bow", straight, ("over", "end", "edges", "bent"), "mm"),
    ("outrigger: lean", outrigger, ("usual",), "mm/m"),
    ("length: offset", length, ("usual", "few", "one setting", "loose"), "mm"),
    ("scoring: shift", scoring, ("cut", "teeth"), "mm"),
    ("knife: offset", knife, ("usual", "leaning"), "mm"),
    ("bevel: lean", bevel, ("indicator", "level"), "mm/m"),
    ("upright: across", upright, ("arc", "short arc"), "mm/m"),
]
ROUND_STUDIES = [("sag", sag_rounds, ("limp", "thin")), ("straight", straight_rounds, ("bent",))]


def main() -> None:
    import argparse

    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--machines", type=int, default=200)
    parser.add_argument("--only", default="")
    args = parser.parse_args()
    print(HEADER)
    for name, study, kinds, unit in COVERAGE:
        for kind in kinds:
            if name.startswith(args.only):
                print(cover(name, kind, study, args.machines, 1).line(unit), flush=True)
    for name, rounds_of, kinds in ROUND_STUDIES:
        for kind in kinds:
            if name.startswith(args.only):
                told = Rounds(name, kind, {"check": [], "usual way": []})
                for number in range(args.machines):
                    ours, usual, _ = rounds_of(np.random.default_rng([1, number, 77]), kind)
                    told.ways["check"].append(ours)
                    told.ways["usual way"].append(usual)
                print(told.line(), flush=True)


if __name__ == "__main__":
    main()
