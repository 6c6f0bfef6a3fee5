"""A measured map of the table, as it is typed and as it goes into ``machine.yaml``.

Why it exists: ``machine.yaml`` belongs to the user, with comments and order of their own; a map of twenty points is
nothing to type. It prevents a file that is written anew by a program: only the map is put in, everything else stays
letter by letter, and the result is read back and compared before it replaces the file.
"""

from __future__ import annotations

import os
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
import yaml

from analysis.table_map import BadMap, TableMap, from_level, from_reversal, from_straightedge
from logger.advising.turned import MM_PER
from logger.errors import CannotSave, NotAllowed
from logger.machines import FILE_NAME, Machine, MapLine, machine_from_text

if TYPE_CHECKING:
    from logger.job import Job

SAME_LINE_mm = 5.0
"""A line measured again within this of an old one takes its place."""
LARGEST_mm = 2.0
"""A table further off its line is no table, or the numbers are in another unit (common practice, no source)."""
WAYS = {
    "straightedge": ("x", "gap"),
    "level": ("from", "step", "slopes"),
    "reversal": ("x", "first", "turned", "table"),
}
"""What each way needs, besides ``y``."""
DEFAULT_U = {"straightedge": 0.006, "level": 0.02, "reversal": 0.003}
"""Expanded uncertainty of one reading, mm (level: mm/m); common practice, no source."""
KEYS = ("by", "y", "x", "gap", "edge", "from", "step", "slopes", "first", "turned", "table", "u")


def understood(texts: Sequence[str], machine: Machine) -> tuple[float, str, TableMap]:
    """(y, the way, the map) from ``key=value`` texts. NotAllowed naming the part that is wrong."""
    given = _pairs(texts)
    way = given.get("by", "straightedge")
    if way not in WAYS:
        raise NotAllowed(f"by={way[:40]} is not known.", f"Allowed: {', '.join(WAYS)}.")
    y_mm = _one(given, "y", machine.carriage.edge_y_mm)
    missing = [key for key in WAYS[way] if key not in given]
    if missing:
        raise NotAllowed(f"by={way} still wants {', '.join(missing)}.", f"As: {EXAMPLES[way]}")
    u = _one(given, "u", DEFAULT_U[way]) / 2.0
    try:
        found = _mapped(way, given, u)
    except (BadMap, ValueError) as wrong:
        raise NotAllowed(f"map: {wrong}", "Correct the readings; nothing was changed.") from wrong
    if found.peak_to_valley_mm > LARGEST_mm:
        raise NotAllowed(
            f"The table would be {found.peak_to_valley_mm:.2f} mm off its own line, and {LARGEST_mm:g} is the most "
            "believed.",
            "Check the unit of the readings.",
        )
    low, high = machine.table.from_mm, machine.table.to_mm
    if found.x_mm[0] < low - 25.0 or found.x_mm[-1] > high + 25.0:
        raise NotAllowed(
            f"The places reach from {found.x_mm[0]:g} to {found.x_mm[-1]:g} mm, the table from {low:g} to {high:g}.",
            "Give x as machine positions, the same zero as in machine.yaml.",
        )
    return y_mm, way, found


EXAMPLES = {
    "straightedge": "truestroke map y=150 x=700,900,1100,1300,1500 gap=0.050,0.062,0.071,0.060,0.050 edge=0.010",
    "level": "truestroke map by=level y=150 from=700 step=100 slopes=+0.04,+0.02,0,-0.03",
    "reversal": "truestroke map by=reversal x=700,900,1100 first=0,0.02,0 turned=0,-0.01,0 table=0.02,0.01,0.02",
}


def _mapped(way: str, given: Mapping[str, str], u: float) -> TableMap:
    if way == "level":
        return from_level(_one(given, "from"), _one(given, "step"), _many(given, "slopes", "mm/m"), u)
    x_mm = _many(given, "x")
    if way == "reversal":
        return from_reversal(x_mm, _many(given, "first"), _many(given, "turned"), _many(given, "table"), u)
    return from_straightedge(x_mm, _many(given, "gap"), u, _one(given, "edge", 0.010))


def _pairs(texts: Sequence[str]) -> dict[str, str]:
    given: dict[str, str] = {}
    for text in texts:
        key, equals, value = text.partition("=")
        key = key.strip().casefold()
        if not equals or key not in KEYS:
            from logger.wording import nearest

            raise NotAllowed(f"'{text[:60]}' is not understood{nearest(key, KEYS)}.", f"Keys: {', '.join(KEYS)}.")
        if key in given:
            raise NotAllowed(f"{key} is given twice.", "Give each once.")
        given[key] = value.strip().casefold()
    return given


def _many(given: Mapping[str, str], key: str, unit: str = "mm") -> np.ndarray[tuple[int], np.dtype[np.float64]]:
    text, scale = given[key], 1.0
    for name in sorted(MM_PER, key=len, reverse=True):
        if unit == "mm" and text.endswith(name):
            text, scale = text[: -len(name)], MM_PER[name]
            break
    text = text.removesuffix("mm/m") if unit == "mm/m" else text
    try:
        values = np.array([float(part.replace("−", "-")) for part in text.split(",")]) * scale
    except ValueError as wrong:
        raise NotAllowed(f"{key}={given[key][:60]} is no list of numbers.", "As: 0.050,0.062,0.071") from wrong
    if not np.isfinite(values).all() or len(values) > 2000:
        raise NotAllowed(f"{key}={given[key][:60]} is no list of numbers.", "As: 0.050,0.062,0.071")
    return values


def _one(given: Mapping[str, str], key: str, default: float | None = None) -> float:
    if key not in given and default is not None:
        return default
    values = _many(given, key)
    if len(values) != 1:
        raise NotAllowed(f"{key} is one number.", f"As: {key}=150")
    return float(values[0])


# --- into machine.yaml ----------------------------------------------------------------------------------------------


def line_of(y_mm: float, found: TableMap) -> MapLine:
    """The map as machine.yaml has it: [x, height, standard uncertainty]."""
    rows = zip(found.x_mm, found.height_mm, found.standard_uncertainty_mm, strict=True)
    points = tuple((round(float(x), 1), round(float(h), 4), round(float(u), 4)) for x, h, u in rows)
    return MapLine(y_mm=y_mm, points=points)


def as_yaml(lines: Sequence[MapLine]) -> str:
    """The map on one line of YAML."""
    said = []
    for line in lines:
        points = ", ".join(f"[{x:g}, {height:+.4f}, {u:.4f}]" for x, height, u in line.points)
        said.append(f"{{y_mm: {line.y_mm:g}, points: [{points}]}}")
    return f"[{', '.join(said)}]"


def with_line(text: str, where: str, line: MapLine) -> str:
    """``text`` of a machine.yaml with this line in its table's map; everything else letter by letter.

    NotAllowed where that cannot be done safely: then the line is for the user to put in.
    """
    machine = machine_from_text(text, where)
    kept = [old for old in machine.table.map if abs(old.y_mm - line.y_mm) > SAME_LINE_mm]
    lines = sorted([*kept, line], key=lambda each: each.y_mm)
    changed = _spliced(text, as_yaml(lines))
    again = machine_from_text(changed, where)
    if _without_map(again) != _without_map(machine) or len(again.table.map) != len(lines):
        raise NotAllowed(
            f"The map cannot be put into {where} without touching something else.",
            f"Put it in yourself, under table: map: {as_yaml(lines)}",
        )
    return changed


def _without_map(machine: Machine) -> object:
    data = machine.model_dump()
    data["table"].pop("map")
    return data


def _spliced(text: str, value: str) -> str:
    """The value of ``table: map:`` replaced, or put in as the table's first key."""
    root = yaml.compose(text, Loader=yaml.SafeLoader)
    table = _value_of(root, "table")
    if not isinstance(table, yaml.MappingNode) or not table.value:
        raise NotAllowed(
            "machine.yaml has no table to put a map into.", "Write table: {from_mm: ..., to_mm: ...} first."
        )
    old = _value_of(table, "map")
    if old is not None:
        end = old.end_mark.index
        while end > old.start_mark.index and text[end - 1] in " \t\r\n":  # a block's end is the next token's place
            end -= 1
        if "\n" in text[old.start_mark.index : end] and not getattr(old, "flow_style", True):
            raise NotAllowed(
                "The map in machine.yaml is written over several lines.", f"Put it in yourself: map: {value}"
            )
        return text[: old.start_mark.index] + value + text[end:]
    first = table.value[0][0].start_mark
    between = ", " if table.flow_style else "\n" + " " * first.column
    return f"{text[: first.index]}map: {value}{between}{text[first.index :]}"


def _value_of(node: yaml.Node | None, key: str) -> yaml.Node | None:
    if not isinstance(node, yaml.MappingNode):
        return None
    return next((value for name, value in node.value if getattr(name, "value", None) == key), None)


def write(job: Job, line: MapLine) -> Path:
    """Put the line into the job's machine.yaml, in one step, and say so in the journal with what was there before."""
    path = job.folder / FILE_NAME
    text = path.read_bytes().decode("utf-8-sig")
    changed = with_line(text, str(path), line)
    temporary = path.with_suffix(".yaml.new")
    try:
        with temporary.open("wb") as handle:
            handle.write(changed.encode("utf-8"))
            handle.flush()
            os.fsync(handle.fileno())
        temporary.replace(path)
    except OSError as problem:
        raise CannotSave(
            f"{path} could not be written: {problem.strerror}.", "Is the folder yours to write?"
        ) from problem
    before = [each.model_dump() for each in job.machine.table.map]
    job.append("machine changed", what="table.map", before=before, now=line.model_dump())
    return path
