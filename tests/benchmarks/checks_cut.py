"""Studies of toe, cross-cut fence and rip fence on simulated saws: coverage, and rounds until inside."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np

from fixtures.blade import draw_blade, sawn
from fixtures.fence_seat import Fence, Tools, cut_over, cut_round, diagonals, draw_fence, length_of, other_end
from fixtures.plan_rail import PlanRail, draw_rail
from logger.machines import Machine
from tests.benchmarks.check_bench import MACHINE, ROUNDS, Shot, listed, take

LEAVES = np.arange(0.05, 1.51, 0.05)  # a usual set


# --- toe -------------------------------------------------------------------------------------------------------------


def toe_tooth(rng: np.random.Generator, kind: str) -> Shot:
    rail = draw_rail(rng, kind if kind in ("bent", "soft", "loose") else "usual")
    blade = draw_blade(rng, "wobbling" if kind == "wobbling" else "good")
    span = float(rng.uniform(180.0, 280.0))
    teeth = blade.tooth_y(rng.integers(0, blade.teeth, int(rng.integers(1, 6))))
    if kind == "loose":  # one tooth shows no scatter; the guide asks for several
        teeth = blade.tooth_y(rng.integers(0, blade.teeth, 5))
    front, rear = rail.tooth_readings(teeth, span, rng, 0.003)
    return Shot.of(
        take("toe", [f"front={listed(front)}", f"rear={listed(rear)}", f"span={span:.1f}"]), rail.toe_mm_per_m(span)
    )


def toe_plate(rng: np.random.Generator, kind: str) -> Shot:
    rail = draw_rail(rng)
    span = float(rng.uniform(180.0, 280.0))
    places = 4 if kind == "four places" else 2
    wobble, wave = float(rng.uniform(0.0, 0.08)), float(rng.normal(0.0, 0.004))
    flat = 0.012 if kind == "uneven" else 0.004
    turned = 2 * math.pi * np.arange(places) / places + float(rng.uniform(0, 6))
    forms = rng.normal(0.0, flat / 2.0, (2, places))
    front = rear = np.zeros(0)
    for index, phi in enumerate(turned):
        # at the front the plate's angle -phi, at the rear half a turn on
        ends = wobble * np.cos(np.array([0.0, math.pi]) - phi) + wave * np.cos(2 * (np.array([0.0, math.pi]) - phi))
        both = rail.tooth_readings(np.array([0.0]), span, rng, 0.003)
        front = np.append(front, both[0] - ends[0] - forms[0, index])
        rear = np.append(rear, both[1] - ends[1] - forms[1, index])
    texts = ["by=plate", f"front={listed(front)}", f"rear={listed(rear)}", f"span={span:.1f}", f"flat={flat}mm"]
    return Shot.of(take("toe", texts), rail.toe_mm_per_m(span))


def toe_straightedge(rng: np.random.Generator, kind: str) -> Shot:
    rail = draw_rail(rng)
    span = float(rng.uniform(300.0, 600.0))
    count = 2 if kind == "two places" else 4
    x = np.linspace(rail.blade_x_mm - span / 2.0, rail.blade_x_mm + span / 2.0, count)
    parallel = float(rng.normal(0.0, 0.01)) / span  # 0.02 mm, k = 2, over the stretch read
    wobble = float(rng.normal(0.0, 3e-4))
    bow = float(rng.normal(0.0, 0.006)) * (1 - (2 * (x - rail.blade_x_mm) / span) ** 2)
    runs = []
    for sense in (1.0, -1.0):
        lay = float(rng.normal(0.0, 1.5e-5))
        runs.append(rail.along_edge(x, parallel + sense * wobble + lay, 0.0, rng, 0.003) - bow)
    texts = ["by=straightedge", f"x={listed(x - x[0] + 100, 0)}", f"readings={listed(runs[0])}"]
    truth = rail.carried(np.array([x[0], x[-1]]), 0.0)
    toe = -1000.0 * ((truth[1] - truth[0]) / span - rail.blade_yaw)
    return Shot.of(take("toe", [*texts, f"half_round={listed(runs[1])}"]), float(toe))


def toe_bevel(rng: np.random.Generator, kind: str) -> Shot:
    """How much the toe changes at full tilt: the plate's normal turned about an axis that climbs and lies askew."""
    normal = np.array([-float(rng.normal(1e-4, 2e-4)), 1.0, float(rng.normal(0.0, 3e-4))])
    axis = np.array([1.0, float(rng.normal(0.0, 2e-4)), float(rng.normal(0.0, 4e-4))])
    axis /= np.linalg.norm(axis)
    bevel, span = float(rng.choice([30.0, 45.0])), float(rng.uniform(180.0, 280.0))
    turn = math.radians(bevel if kind == "carriage" else -bevel)
    tilted = normal * math.cos(turn) + np.cross(axis, normal) * math.sin(turn)
    tilted = tilted + axis * float(axis @ normal) * (1.0 - math.cos(turn))
    texts = [f"span={span:.1f}", f"bevel={bevel:g}", f"top={'carriage' if kind == 'to the carriage' else 'table'}"]
    for name, plate in (("", normal), ("tilted_", tilted)):
        opens = -plate[0] / np.linalg.norm(plate) * span  # read square to the plate
        teeth = rng.normal(0.0, 0.02, 3)
        front, rear = (0.5 + teeth - away + rng.normal(0.0, 0.003, 3) for away in (0.0, opens))
        texts += [f"{name}front={listed(front)}", f"{name}rear={listed(rear)}"]
    found = take("toe", texts).details
    truth = -1000.0 * float(tilted[0] / np.linalg.norm(tilted) - normal[0] / np.linalg.norm(normal))
    return Shot(found["change_mm_per_m"], found["change_uncertainty_mm_per_m"], truth)


def marks(rng: np.random.Generator, kind: str, guide: str) -> Shot:
    blade = draw_blade(rng, {"swing known": "good"}.get(kind, kind))
    projection = float(rng.uniform(40.0, 80.0))
    height = float(rng.choice([0.0, 18.0]))
    toe = float(rng.normal(0.0, 0.25))
    left = sawn(blade, toe, height, projection, rng, guide=guide)
    away, near = (max(each + float(rng.normal(0.0, 0.005)), 0.0) for each in (left.away_mm, left.guide_mm))
    seen = away > 0.01, near > 0.01
    wall = {(True, True): "both", (True, False): "away", (False, True): "guide", (False, False): "none"}[seen]
    depth = {"both": [away, near], "away": [away], "guide": [near], "none": []}[wall]
    texts = ["by=marks", f"wall={wall}", f"radius={blade.radius_mm:.1f}", f"projection={projection:.1f}"]
    texts += [f"height={height:g}mm", *([f"depth={listed(depth)}"] if depth else [])]
    if kind == "swing known":
        texts.append(f"swing={max(blade.swing_at_teeth() + float(rng.normal(0, 0.003)), 0.001):.3f}mm")
    return Shot.of(take("toe" if guide == "carriage" else "rip", texts), toe)


def toe_marks(rng: np.random.Generator, kind: str) -> Shot:
    return marks(rng, kind, "carriage")


def rip_marks(rng: np.random.Generator, kind: str) -> Shot:
    return marks(rng, kind, "rip fence")


# --- rip fence -------------------------------------------------------------------------------------------------------


def felt(gap_mm: float, rng: np.random.Generator) -> str:
    """Feelers in a gap: the hand that pushes a leaf makes it a hair wider or narrower."""
    felt_mm = gap_mm + float(rng.normal(0.0, 0.005))
    goes = LEAVES[felt_mm >= LEAVES]
    stops = LEAVES[felt_mm < LEAVES]
    return f"{goes[-1] if len(goes) else 0.0:.2f}..{stops[0]:.2f}"


def rip_distances(rng: np.random.Generator, kind: str) -> Shot:
    opening = float(rng.normal(0.1, 0.3))
    count = {"two": 2, "four": 4, "feelers": 3}[kind]
    x = np.sort(rng.uniform(0, 50, count)) + np.linspace(0.0, float(rng.uniform(350, 800)), count)
    if kind == "feelers":  # beside a spacer of 200 mm
        start = float(rng.uniform(0.2, 0.5)) + max(-opening * x[-1] / 1000.0, 0.0)
        pairs = [felt(start + opening * each / 1000.0, rng).split("..") for each in x]
        spaced = ",".join(f"{200.0 + float(goes):.2f}..{200.0 + float(stops):.2f}" for goes, stops in pairs)
        return Shot.of(take("rip", [f"x={listed(x, 1)}", f"distance={spaced}mm", "u=0.01mm"]), opening)
    distance = 300.0 + opening * x / 1000.0 + rng.normal(0.0, 0.015, count)
    return Shot.of(take("rip", [f"x={listed(x, 1)}", f"distance={listed(distance, 2)}"]), opening)


def rip_sheet(rng: np.random.Generator, kind: str) -> Shot:
    """A sheet squared elsewhere lies against the cross-cut fence; feelers between its edge and the rip fence."""
    opening = float(rng.normal(0.05, 0.25))
    toe, corner = float(rng.normal(0.08, 0.1)), float(rng.normal(0.0, 0.075))
    x = np.array([0.0, 350.0, 700.0]) if kind == "three gaps" else np.array([0.0, 700.0])
    slope = opening + toe - corner  # the gap's own: the edge runs at -toe + corner to the blade
    start = float(rng.uniform(0.2, 0.5)) + max(-slope * 0.7, 0.0)
    gaps = ",".join(felt(start + slope * each / 1000.0, rng) for each in x)
    measured = toe + float(rng.normal(0.0, 0.015))
    result = take(
        "rip", ["by=sheet", f"x={listed(x, 0)}", f"gap={gaps}mm", "u=0.01mm"], known={"toe": (measured, 0.03)}
    )
    return Shot.of(result, opening)


# --- cross-cut fence -------------------------------------------------------------------------------------------------


def fence_texts(
    fence: Fence, rng: np.random.Generator, cuts: str, size: tuple[float, float], tools: Tools
) -> list[str]:
    """One cut test as a person would do and type it."""
    number = {"three": 3, "four": 4, "five": 5, "seven": 7}.get(cuts, 0)
    if cuts == "over":
        panel = cut_over(fence, rng, size)
        ends = ("reference", other_end(panel, "one side", "reference"))
        widths = [tools.width(panel, "one side", "other side", end, 20.0, rng) for end in ends]
        length = length_of(panel, "one side") - 40.0
        return _widths(cuts, widths, length, fence)
    done = cut_round(fence, rng, number, size)
    panel, strip = done[-1]
    if cuts == "three":
        ends = ("2", other_end(panel, "1", "2"))
        widths = [tools.width(panel, "1", "3", end, 20.0, rng) for end in ends]
        return _widths(cuts, widths, length_of(panel, "1") - 40.0, fence)
    if cuts == "four":
        a, b = diagonals(panel)
        sides = f"sides={length_of(panel, '1'):.0f},{length_of(panel, '2'):.0f}mm"
        return [
            f"cuts={cuts}", f"last_diagonal={tools.taped(a, rng):.2f}mm", f"other_diagonal={tools.taped(b, rng):.2f}mm",
            sides, f"fence={_side(fence)}", f"screw={fence.screw_mm:.0f}mm", f"pitch={fence.pitch_mm}mm",
        ]  # fmt: skip
    strip = done[4][1]
    ends = ("4", other_end(strip, "5", "4"))
    widths = [tools.width(strip, "5", "1", end, 10.0, rng) for end in ends]
    texts = _widths(cuts, widths, length_of(strip, "5") - 20.0, fence)
    if cuts == "seven":
        ends = ("6", other_end(panel, "5", "6"))
        kept = [tools.width(panel, "5", "7", end, 10.0, rng) for end in ends]
        texts += [f"panel_fence_end={kept[0]:.2f}mm", f"panel_far_end={kept[1]:.2f}mm"]
        texts.append(f"panel_length={length_of(panel, '5') - 20.0:.0f}mm")
    return texts


def _widths(cuts: str, widths: list[float], length: float, fence: Fence) -> list[str]:
    return [
        f"cuts={cuts}", f"fence_end={widths[0]:.2f}mm", f"far_end={widths[1]:.2f}mm", f"length={length:.0f}mm",
        f"fence={_side(fence)}", f"screw={fence.screw_mm:.0f}mm", f"pitch={fence.pitch_mm}mm",
    ]  # fmt: skip


def _side(fence: Fence) -> str:
    return "behind" if fence.side == "behind" else "front"


def fence_cuts(cuts: str):
    def study(rng: np.random.Generator, kind: str) -> Shot:
        fence = draw_fence(rng, kind if kind in ("loose", "sloppy") else "usual")
        size = {"small": (300.0, 320.0)}.get(kind, (float(rng.uniform(550, 800)), float(rng.uniform(600, 900))))
        fence.refit(rng)
        texts = fence_texts(fence, rng, cuts, size, Tools())
        if kind == "sloppy":
            texts.append("seating=0.08mm/m")
        if kind == "loose":  # the verdict is for the next time it is put on
            now = fence.refit_rad
            touched = []
            for _ in range(int(rng.integers(4, 8))):
                fence.refit(rng)
                touched.append(fence.touched_at(fence.screw_mm, rng, 0.002))
            texts += [f"refit={listed(touched)}", f"refit_at={fence.screw_mm:.0f}mm"]
            fence.refit_rad = now
            result = take("fence", texts)
            fence.refit(rng)
            return Shot.of(result, fence.error_now_mm_per_m)
        return Shot.of(take("fence", texts), fence.error_now_mm_per_m)

    return study


# --- rounds ----------------------------------------------------------------------------------------------------------


def machine_of(rail: PlanRail) -> Machine:
    """The owner's machine.yaml: bolts by tape measure."""
    first = MACHINE.bolts[0]
    bolts = tuple(
        first.model_copy(update={"name": f"B{n}", "x_mm": round(float(x))}) for n, x in enumerate(rail.bolts_x_mm, 1)
    )
    return MACHINE.model_copy(update={"bolts": bolts})


def toe_inside(rail: PlanRail, span: float) -> bool:
    return 0.0 <= rail.toe_mm_per_m(span) <= 0.2


def _tooth(rail: PlanRail, rng: np.random.Generator, span: float, machine: Machine):
    front, rear = rail.tooth_readings(rng.normal(0, 0.02, 4), span, rng, 0.003)
    return take("toe", [f"front={listed(front)}", f"rear={listed(rear)}", f"span={span:.1f}"], machine)


def toe_rounds(rng: np.random.Generator, kind: str) -> tuple[int | None, int | None, bool]:
    """Rounds by the check's shifts at every bolt; by one bolt a round, the end nearest the fault; wrongly accepted."""
    start, span = draw_rail(rng, kind), 240.0
    machine = machine_of(start)
    rail = replace(start, seat_mm=start.seat_mm.copy())
    ours, wrong = None, False
    for number in range(ROUNDS):
        result = _tooth(rail, rng, span, machine)
        if result.verdict.word == "inside" or not result.corrections:
            wrong = result.verdict.word == "inside" and not toe_inside(rail, span)
            break
        for each in result.corrections:
            bolt = int(each.where.removeprefix("rail at B")) - 1
            rail.shift(bolt, each.move_mm * (1.0 if each.way == "toward the table" else -1.0), rng)
        if toe_inside(rail, span):
            ours = number + 1
            break
    if ours is None and toe_inside(start, span) and number == 0:
        ours = 0
    rail = replace(start, seat_mm=start.seat_mm.copy())
    usual = 0 if toe_inside(rail, span) else None
    # one bolt after another from the outside in, each by the lever of what was read last; the middle stays tight
    middle = float(np.median(rail.bolts_x_mm))
    turn = [int(b) for b in np.argsort(-np.abs(rail.bolts_x_mm - middle))[:-1]]
    for number in range(ROUNDS):
        if usual is not None:
            break
        front, rear = rail.tooth_readings(np.zeros(1), span, rng, 0.003)
        toe = float(front[0] - rear[0]) / span * 1000.0
        bolt = turn[number % len(turn)]
        rail.shift(bolt, (toe - 0.05) / 1000.0 * (rail.bolts_x_mm[bolt] - middle), rng)
        if toe_inside(rail, span):
            usual = number + 1
    return ours, usual, wrong


def fence_rounds(rng: np.random.Generator, kind: str) -> tuple[int | None, int | None, bool]:
    """Rounds by the five-cut check; by turning the screw an eighth at a time toward what a try square test shows."""
    start = draw_fence(rng, kind)
    fence = replace(start)
    ours, wrong = (0 if abs(start.error_mm_per_m) <= 0.1 else None), False
    size = (700.0, 800.0)
    if ours is None:
        for number in range(ROUNDS):
            result = take("fence", fence_texts(fence, rng, "five", size, Tools()))
            if result.verdict.word == "inside" or not result.corrections:
                wrong = result.verdict.word == "inside" and abs(fence.error_mm_per_m) > 0.1
                break
            (move,) = result.corrections
            fence.screw_moved(move.move_mm * (1.0 if move.way == "toward outfeed" else -1.0), rng)
            if abs(fence.error_mm_per_m) <= 0.1:
                ours = number + 1
                break
    fence = replace(start)
    usual = 0 if abs(start.error_mm_per_m) <= 0.1 else None
    step, way, last = fence.pitch_mm / 8.0, 1.0, math.inf
    for number in range(ROUNDS * 2):
        if usual is not None:
            break
        panel = cut_over(fence, rng, size)
        ends = ("reference", other_end(panel, "one side", "reference"))
        a, b = (Tools().width(panel, "one side", "other side", end, 20.0, rng) for end in ends)
        off = abs(b - a)
        if off > last:
            way, step = -way, step / 2.0
        last = off
        fence.screw_moved(way * step, rng)
        if abs(fence.error_mm_per_m) <= 0.1:
            usual = number + 1
    return ours, usual, wrong


COVERAGE = [
    ("toe, same tooth", toe_tooth, ("usual", "bent", "soft", "loose", "wobbling"), "mm/m"),
    ("toe, plate", toe_plate, ("two places", "four places", "uneven"), "mm/m"),
    ("toe, straightedge", toe_straightedge, ("two places", "four places"), "mm/m"),
    ("toe, change at full tilt", toe_bevel, ("carriage", "table"), "mm/m"),
    ("toe, marks", toe_marks, ("good", "wobbling", "uneven", "waved", "swing known"), "mm/m"),
    ("rip fence, distances", rip_distances, ("two", "four", "feelers"), "mm/m"),
    ("rip fence, sheet", rip_sheet, ("two gaps", "three gaps"), "mm/m"),
    ("rip fence, marks", rip_marks, ("good", "wobbling", "uneven", "swing known"), "mm/m"),
    *((f"fence, {cuts}", fence_cuts(cuts), ("usual", "loose", "sloppy", "small"), "mm/m")
      for cuts in ("three", "over", "four", "five", "seven")),
]  # fmt: skip
ROUND_STUDIES = [("toe", toe_rounds, ("usual", "bent", "soft")), ("squareness", fence_rounds, ("usual", "soft"))]
