"""Does the machine fit together? The checks that need more than one key of ``machine.yaml``.

Why it exists: each number can be fine and the machine still impossible: a bolt beyond the rail's end, two bolts of one
name, an indicator the carriage never comes over. It prevents advice for such a machine. What cannot be is refused;
what only looks doubtful (a tape measure is good to a few millimetres) is said and accepted.

The checks also run on a file with unreadable parts (None, or NaN in a field): such parts are passed over.
"""

from __future__ import annotations

import itertools
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from logger.description.machine_parts import KEY_OF_KIND
from logger.description.yaml_files import PathKey
from logger.description.yaml_models import Problem

if TYPE_CHECKING:
    from logger.description.machine_parts import Bolt, Brace, Carriage, Place, Rail, SetUp, Table

TAPE_MM = 25.0
"""How far two lengths taken with a tape may disagree before it is worth a word (common practice, no source)."""


@dataclass(frozen=True)
class Parts:
    """The parts of a machine file that could be read; None where one could not."""

    rail: Rail | None
    carriage: Carriage | None
    bolts: Sequence[Bolt | None]
    braces: Sequence[Brace | None]
    table: Table | None
    set_ups: Mapping[str, SetUp | None]
    places: Sequence[Place | None]


STRANGE_TO_KIND = {
    "fixed": ("offset_mm", "axis", "zero_mm_per_m", "on_table_mm_per_m"),
    "carried": ("x_mm", "axis", "zero_mm_per_m", "on_table_mm_per_m"),
    "level": ("x_mm",),
}
"""Keys that say something about another kind, so that one of the two is a slip."""


def problems_of(machine: Parts) -> list[Problem]:
    """Everything that does not fit together, refused or doubtful."""
    return [problem for check in CHECKS for problem in check(machine)]


def _spans_have_length(machine: Parts) -> Iterator[Problem]:
    for key, part in (("rail", machine.rail), ("table", machine.table)):
        if part is not None and part.from_mm >= part.to_mm:
            yield Problem((key, "to_mm"), f"{part.to_mm:g}", f"more than from_mm, which is {part.from_mm:g}")


def _stiffness_is_said_once(machine: Parts) -> Iterator[Problem]:
    rail = machine.rail
    if rail is None:
        return
    if rail.section is not None and (rail.I_mm4 is not None or rail.J_mm4 is not None):
        yield Problem(("rail", "section"), "a section beside I_mm4 or J_mm4", "either the section or the two numbers")
    for key in ("I_mm4", "J_mm4"):
        value = getattr(rail, key)
        if value is not None and value < 2000:
            said = "a beam has 1e4 to 1e8 mm4. A table in cm4? 1 cm4 is 10 000 mm4"
            yield Problem(("rail", key), f"{value:g} mm4, as thin as a wire", said, doubt=True)


def _bolts_stand_under_the_rail(machine: Parts) -> Iterator[Problem]:
    rail = machine.rail
    supports: tuple[tuple[str, Sequence[Bolt | Brace | None]], ...] = (
        ("bolts", machine.bolts),
        ("braces", machine.braces),
    )
    for key, things in supports:
        for index, thing in enumerate(things):
            if rail is None or thing is None or rail.from_mm >= rail.to_mm:
                continue
            if thing.x_mm < rail.from_mm or thing.x_mm > rail.to_mm:
                said = f"on the rail, {rail.from_mm:g} to {rail.to_mm:g}"
                yield Problem((key, index, "x_mm"), f"{thing.x_mm:g} ({thing.name})", said)


def _names_differ(machine: Parts) -> Iterator[Problem]:
    named: tuple[tuple[str, Sequence[Bolt | Brace | Place | None]], ...] = (
        ("bolts", machine.bolts),
        ("braces", machine.braces),
        ("places", machine.places),
    )
    for key, things in named:
        names = [thing.name if thing is not None else "" for thing in things]
        for index, first in _repeated(names):
            yield Problem((key, index, "name"), f"{names[index]}, as {key}[{first}]", "a name of its own, case apart")
    names = list(machine.set_ups)
    for index, first in _repeated(names):
        yield Problem(("set_ups", names[index]), f"the name of {names[first]} again", "a name of its own, case apart")


def _repeated(names: Sequence[str]) -> Iterator[tuple[int, int]]:
    seen: dict[str, int] = {}
    for index, name in enumerate(names):
        folded = name.strip().casefold()
        if folded and folded in seen:
            yield index, seen[folded]
        seen.setdefault(folded, index)


def _bolts_can_carry(machine: Parts) -> Iterator[Problem]:
    bolts = [bolt for bolt in machine.bolts if bolt is not None]
    known = len(bolts) == len(machine.bolts) and all(bolt.x_mm == bolt.x_mm for bolt in bolts)
    if known and bolts and len({bolt.x_mm for bolt in bolts}) < 2:
        yield Problem(
            ("bolts",), f"supports at {bolts[0].x_mm:g} only", "supports at two or more places along the rail"
        )
    feet: dict[tuple[float, float], str] = {}
    for index, bolt in enumerate(machine.bolts):
        if bolt is None:
            continue
        if (bolt.x_mm, bolt.y_mm) in feet:
            found = f"{bolt.name} at x {bolt.x_mm:g}, y {bolt.y_mm:g}, where {feet[bolt.x_mm, bolt.y_mm]} stands"
            yield Problem(("bolts", index), found, "a pair differs in y_mm", doubt=True)
        feet.setdefault((bolt.x_mm, bolt.y_mm), bolt.name)
        if bolt.pitch_mm > 6 and not bolt.counter_pitch_mm:
            said = "M6 to M24 have 1 to 3 mm. Threads per inch? The pitch is 25.4 divided by them"
            yield Problem(("bolts", index, "pitch_mm"), f"{bolt.pitch_mm:g} mm ({bolt.name})", said, doubt=True)


def bearing_positions_mm(carriage: Carriage, position_mm: float) -> list[float]:
    """Where the bearings touch the rail with the carriage at ``position_mm``; a cage travels half as far."""
    middle = sum(carriage.stroke_mm) / 2
    centre = middle + (position_mm - middle) / 2 if carriage.cage else position_mm
    return [centre + offset for offset in carriage.bearing_offsets_mm]


def _carriage_stays_on_the_rail(machine: Parts) -> Iterator[Problem]:
    """The middle of the bearings must stay over the rail, or the carriage tips off; a bearing may hang over, said."""
    rail, carriage = machine.rail, machine.carriage
    if rail is None or carriage is None or rail.from_mm >= rail.to_mm:
        return
    for index, (end, sign) in enumerate(((rail.from_mm, -1), (rail.to_mm, 1))):
        bearings = bearing_positions_mm(carriage, carriage.stroke_mm[index])
        middle_over = sign * ((min(bearings) + max(bearings)) / 2 - end)
        last_over = max(sign * (bearing - end) for bearing in bearings)
        stroke = f"{carriage.stroke_mm[index]:g}"
        key = ("carriage", "stroke_mm")
        if middle_over > 0:
            found = f"{stroke}, where the carriage's bearings are centred {middle_over:g} mm beyond the rail"
            yield Problem(key, found, f"the carriage on the rail, whose end is at {end:g}")
        elif last_over > TAPE_MM:
            found = f"at {stroke} a bearing hangs {last_over:g} mm beyond the rail's end at {end:g}"
            yield Problem(key, found, "measure the stroke, the bearings and the rail's ends again", doubt=True)


def _carriage_agrees_with_itself(machine: Parts) -> Iterator[Problem]:
    carriage = machine.carriage
    if carriage is None:
        return
    span = max(carriage.bearing_offsets_mm) - min(carriage.bearing_offsets_mm)
    if abs(span - carriage.bearing_span_mm) > TAPE_MM:
        found = f"bearings {span:g} mm apart, bearing_span_mm {carriage.bearing_span_mm:g}"
        yield Problem(("carriage", "bearing_offsets_mm"), found, "the offsets are used", doubt=True)
    if carriage.edge_y_mm < 0:
        said = "the table side is +; is the sign right?"
        yield Problem(("carriage", "edge_y_mm"), f"{carriage.edge_y_mm:g}", said, doubt=True)


def _inserts_are_in_the_table(machine: Parts) -> Iterator[Problem]:
    table = machine.table
    if table is None or table.from_mm >= table.to_mm:
        return
    before: tuple[float, float] | None = None
    for start, end in table.insert_mm:
        path = ("table", "insert_mm")
        if start >= end:
            yield Problem(path, f"[{start:g}, {end:g}]", "the smaller number first")
        elif start < table.from_mm or end > table.to_mm:
            yield Problem(path, f"[{start:g}, {end:g}]", f"inside the table, {table.from_mm:g} to {table.to_mm:g}")
        elif before is not None and start < before[1]:
            yield Problem(path, f"[{start:g}, {end:g}] over [{before[0]:g}, {before[1]:g}]", "openings in order, apart")
        before = (start, end)


def _map_points_are_on_the_table(machine: Parts) -> Iterator[Problem]:
    table = machine.table
    if table is None:
        return
    for index, line in enumerate(table.map):
        path = ("table", "map", index, "points")
        xs = [point[0] for point in line.points]
        if any(after <= before for before, after in itertools.pairwise(xs)):
            yield Problem(path, "x_mm that goes back or stands still", "points in the order of x_mm")
        if min(xs) < table.from_mm - TAPE_MM or max(xs) > table.to_mm + TAPE_MM:
            found = f"points from {min(xs):g} to {max(xs):g}"
            yield Problem(path, found, f"points on the table, {table.from_mm:g} to {table.to_mm:g}")


def _set_ups_have_their_keys(machine: Parts) -> Iterator[Problem]:
    for name, set_up in machine.set_ups.items():
        if set_up is None or set_up.kind not in KEY_OF_KIND:
            continue
        key = KEY_OF_KIND[set_up.kind]
        if getattr(set_up, key) is None:
            said = f"{key}: {type(set_up).model_fields[key].description}"
            yield Problem(("set_ups", name), f"kind {set_up.kind} without {key}", said)
        for key in STRANGE_TO_KIND[set_up.kind]:
            if getattr(set_up, key) is not None:
                yield Problem(
                    ("set_ups", name, key), f"{key} with kind {set_up.kind}", "only with the kind it belongs to"
                )
        if set_up.axis == "roll" and set_up.on_table_mm_per_m is not None:
            said = "only with axis pitch: the stands tell roll over the table, and a table's twist would be in it"
            yield Problem(("set_ups", name, "on_table_mm_per_m"), "on_table_mm_per_m with axis roll", said)


def _set_ups_see_something(machine: Parts) -> Iterator[Problem]:
    carriage, table = machine.carriage, machine.table
    if carriage is None:
        return
    low, high = carriage.stroke_mm
    half = carriage.top_length_mm / 2
    for name, set_up in machine.set_ups.items():
        if set_up is None:
            continue
        path = ("set_ups", name)
        if set_up.kind == "fixed" and set_up.x_mm is not None:
            if set_up.x_mm < low - half or set_up.x_mm > high + half:
                said = f"{low - half:g} to {high + half:g}, where the carriage's top comes"
                yield Problem((*path, "x_mm"), f"{set_up.x_mm:g}, where the carriage never comes", said)
            elif table is not None:
                yield from _stands_on_the_table((*path, "x_mm"), set_up.x_mm, table)
        if set_up.kind == "carried" and set_up.offset_mm is not None and table is not None:
            start, end = low + set_up.offset_mm, high + set_up.offset_mm
            if end < table.from_mm or start > table.to_mm:
                said = f"an offset that brings it over the table, {table.from_mm:g} to {table.to_mm:g}"
                yield Problem((*path, "offset_mm"), f"{set_up.offset_mm:g}, which passes {start:g} to {end:g}", said)
        yield from _rides_on_the_top(path, set_up, half)


def _stands_on_the_table(path: PathKey, x_mm: float, table: Table) -> Iterator[Problem]:
    if x_mm < table.from_mm or x_mm > table.to_mm:
        found = f"{x_mm:g} is off the table ({table.from_mm:g} to {table.to_mm:g})"
        yield Problem(path, found, "a stand beside the table does not measure against its plane", doubt=True)


def _rides_on_the_top(path: PathKey, set_up: SetUp, half_mm: float) -> Iterator[Problem]:
    if set_up.kind in ("carried", "level") and set_up.offset_mm is not None and abs(set_up.offset_mm) > half_mm + 500:
        found = f"{set_up.offset_mm:g}, far beyond the carriage's top (±{half_mm:g})"
        yield Problem((*path, "offset_mm"), found, "offset_mm counts from the carriage's middle", doubt=True)


def _places_are_passed(machine: Parts) -> Iterator[Problem]:
    carriage = machine.carriage
    for index, place in enumerate(machine.places):
        if carriage is None or place is None:
            continue
        low, high = (
            end + sign * carriage.top_length_mm / 2 for end, sign in zip(carriage.stroke_mm, (-1, 1), strict=True)
        )
        if place.x_mm < low or place.x_mm > high:
            found = f"{place.x_mm:g} ({place.name}), where the carriage never comes"
            yield Problem(("places", index, "x_mm"), found, f"{low:g} to {high:g}")


CHECKS: tuple[Callable[[Parts], Iterable[Problem]], ...] = (
    _spans_have_length,
    _stiffness_is_said_once,
    _bolts_stand_under_the_rail,
    _names_differ,
    _bolts_can_carry,
    _carriage_stays_on_the_rail,
    _carriage_agrees_with_itself,
    _inserts_are_in_the_table,
    _map_points_are_on_the_table,
    _set_ups_have_their_keys,
    _set_ups_see_something,
    _places_are_passed,
)
