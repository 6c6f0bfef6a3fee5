"""Readings typed as ``key=value``: lists, units, and the wrong unit suspected.

Why it exists: a dial in thou typed as millimetres is wrong by 25.4 and still looks like a reading. A bare number is in
the check's own unit; one of an unusual size is asked about (or refused, where nobody can be asked), never taken. A unit
written out is believed.

Grammar::

    key=word      key=number[unit]      key=number,number,...[unit]      unit: mm in thou um m mm/m in/ft arcsec deg
    key=0.10..0.15[unit]    feelers: the leaf that goes, and the one that does not; ..0.05: not even that one goes
"""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Iterable
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from logger.checks.model import Allowed, Ask, Check, Readings
from logger.errors import NotAllowed
from logger.wording import nearest

if TYPE_CHECKING:
    from logger.checks.model import Unit

MOST_VALUES = 1000
FACTORS: dict[str, dict[str, float]] = {
    "mm": {"mm": 1.0, "in": 25.4, "thou": 0.0254, "um": 0.001, "m": 1000.0},
    "mm/m": {"mm/m": 1.0, "um/m": 0.001, "in/ft": 1000.0 / 12.0, "arcsec": 1000.0 * math.radians(1.0 / 3600.0)},
    "deg": {"deg": 1.0},
}
"""To the unit a check asks in; small angles for arcsec (exact to 1e-6 below 1 mm/m)."""
ALSO = {"inch": "in", "inches": "in", "mil": "thou", "mils": "thou", "micron": "um"}
"""Other ways to write them."""

_VALUE = re.compile(r"([+\-−]?(?:\d{1,7}(?:\.\d{1,7})?|\.\d{1,7}))\s*([a-zµ]{1,6}(?:/[a-z]{1,2})?)?")

_UNIT = re.compile(r"[a-zµ]{1,6}(?:/[a-z]{1,2})?$")

Confirm = Callable[[str], bool]


@dataclass(frozen=True, slots=True)
class Typed:
    """What one command line says: readings, own limits if any, and whether the thing was adjusted since.

    ``direction``: whether the number moved as said (None: nothing was said of it). ``part``: how much of the correction
    was made, of an adjustment (1: all of it). ``direction_alone``: the direction was said, and no readings.
    ``skip``: the check is left out (True), or taken up again (False); then there are no readings either. ``bare``: the
    keys whose numbers carried no unit.
    """

    readings: Readings
    allowed: Allowed
    own_limits: bool
    adjusted: bool
    direction: bool | None = None
    part: float = 1.0
    direction_alone: bool = False
    skip: bool | None = None
    bare: frozenset[str] = frozenset()


def understand(
    check: Check, texts: Iterable[str], standing: Allowed, confirm: Confirm, *, unit_needed: bool = False
) -> Typed:
    """All of the command line, or NotAllowed naming the first thing wrong and the nearest key.

    ``standing`` are the limits until now; ``confirm`` asks a yes-or-no question and is False where nobody can be
    asked; ``unit_needed`` refuses bare numbers of lengths (a user who works in inches has to write them out).
    """
    given = _pairs(check, texts)
    if "skip" in given:
        return _skipped(given, standing)
    adjusted = _yes(given.pop("adjusted", "no"), "adjusted")
    direction = _yes(given.pop("direction"), "direction") if "direction" in given else None
    part = _part(given.pop("part"), adjusted) if "part" in given else 1.0
    alone = direction is not None and not adjusted and not set(given) - {"by", "position"}
    new = [key for key in given if key != "position"]
    if adjusted and new:
        raise NotAllowed(
            f"adjusted=yes says that {check.name} was changed after its readings; {new[0]} is a new one.",
            "Record the adjustment alone, then measure again.",
        )
    allowed, own = _limits(check, given.pop("allowed", None), given.pop("origin", None), standing, unit_needed)
    numbers: dict[str, tuple[float, ...]] = {}
    halves: dict[str, tuple[float, ...]] = {}
    words = {ask.key: ask.default_word for ask in check.asks if ask.default_word and not adjusted}
    warnings: list[str] = []
    for ask in check.asks:
        if ask.key not in given:
            continue
        if ask.name:
            words[ask.key] = _name(ask, given[ask.key])
        elif ask.words:
            words[ask.key] = _word(ask, given[ask.key])
        elif ".." in given[ask.key]:
            numbers[ask.key], halves[ask.key] = _feelers(ask, given[ask.key], confirm, unit_needed, warnings)
        else:
            numbers[ask.key] = _numbers(ask, given[ask.key], confirm, unit_needed, warnings)
    if not adjusted and not alone:
        _nothing_missing(check, numbers, words)
        _nothing_too_much(check, given, words)
        numbers = {
            **{a.key: (a.default,) for a in check.asks if a.default is not None and not a.needed},
            **numbers,
        }
    readings = Readings(numbers, words, tuple(warnings), halves)
    bare = frozenset(key for key in numbers if key in given and not re.search(r"[a-zµ]", given[key]))
    if words.get("ends") == "swapped":
        readings = readings.ends_swapped(check.ends)
    return Typed(readings, allowed, own, adjusted, direction, part, alone, bare=bare)


def _skipped(given: dict[str, str], standing: Allowed) -> Typed:
    skip = _yes(given.pop("skip"), "skip")
    if given:
        raise NotAllowed(
            f"skip= says that the check is left out; {next(iter(given))} is a reading.", "Say one of both."
        )
    return Typed(Readings({}, {}), standing, own_limits=False, adjusted=False, skip=skip)


def _pairs(check: Check, texts: Iterable[str]) -> dict[str, str]:
    known = [*[ask.key for ask in check.asks], "allowed", "origin", "adjusted", "part", "direction", "skip"]
    given: dict[str, str] = {}
    for text in texts:
        key, found, value = text.partition("=")
        key = key.strip().casefold().replace("-", "_")
        if not found or not value.strip():
            raise NotAllowed(f"'{text[:60]}' is no key=value.", f"The keys of {check.name} are {', '.join(known)}.")
        if key not in known:
            raise NotAllowed(
                f"{check.name} has no key '{key[:40]}'{nearest(key, known)}.", f"Its keys are {', '.join(known)}."
            )
        if key in given:
            raise NotAllowed(f"{key} is given twice.", f"Several readings go in one: {key}=0.10,0.12.")
        given[key] = value.strip()
    return given


def _numbers(ask: Ask, text: str, confirm: Confirm, unit_needed: bool, warnings: list[str]) -> tuple[float, ...]:
    parts = [part.strip() for part in text.split(",")]
    if len(parts) > (MOST_VALUES if ask.many else 1):
        most = f"at most {MOST_VALUES} are" if ask.many else "one is"
        raise NotAllowed(
            f"{ask.key} has {len(parts)} values, and {most} allowed.", "A decimal is written with a point."
        )
    matched = [_VALUE.fullmatch(part) for part in parts]
    if None in matched:
        wrong = parts[matched.index(None)]
        raise NotAllowed(f"{ask.key}: '{wrong[:40]}' is not a number.", f"Write {ask.key}=0.12{ask.unit} ({ask.text}).")
    found = [match for match in matched if match is not None]
    values = [float(match[1].replace("−", "-")) for match in found]
    units = [match[2] for match in found]
    if len(units) > 1 and units[-1] and not any(units[:-1]):
        units = [units[-1]] * len(units)  # one unit at the end is that of the whole list
    if unit_needed and ask.unit == "mm" and None in units:
        raise NotAllowed(
            f"{ask.key}={text[:40]} has no unit, and with --units in it could be either.",
            f"Write it out: {ask.key}={parts[0]}in or {ask.key}={parts[0]}mm.",
        )
    scales = [_factor(ask, unit) for unit in units]
    bare = [value for value, unit in zip(values, units, strict=True) if unit is None]
    if bare and (factor := _suspected(ask, bare, confirm)) is not None:
        scales = [factor if unit is None else scale for unit, scale in zip(units, scales, strict=True)]
    values = [value * scale for value, scale in zip(values, scales, strict=True)]
    low, high = ask.usual
    if any(not low <= abs(value) <= high for value in values):
        warnings.append(f"{ask.key} is outside the usual {_range(ask)}; it was taken as written.")
    return tuple(values)


def _feelers(
    ask: Ask, text: str, confirm: Confirm, unit_needed: bool, warnings: list[str]
) -> tuple[tuple[float, ...], tuple[float, ...]]:
    """Middles and halves of the intervals between the leaf that goes and the one that does not."""
    if not ask.feeler:
        raise NotAllowed(f"{ask.key}: '{text[:40]}' reads as feelers, and {ask.key} is no gap.", "Write one number.")
    ends: list[str] = []
    parts = text.split(",")
    last = _UNIT.search(parts[-1].strip())
    if last is not None and not any(_UNIT.search(part.strip()) for part in parts[:-1]):
        parts = [part if part is parts[-1] else f"{part.strip()}{last[0]}" for part in parts]  # of the whole list
    for part in parts:
        goes, two, not_ = part.partition("..")
        if two and not not_.strip():
            raise NotAllowed(
                f"{ask.key}: {goes.strip()[:20]} goes, and no leaf is named that does not: the gap has no upper end.",
                f"Try thicker leaves until one does not go, and write it behind: {ask.key}={goes.strip()[:20]}..LEAF.",
            )
        unit = _UNIT.search(not_.strip())
        if two and goes.strip() and unit is not None and _UNIT.search(goes.strip()) is None:
            goes = f"{goes.strip()}{unit[0]}"  # one unit behind the two leaves is that of both
        ends += [goes if goes.strip() else f"0{unit[0] if unit else ''}", not_] if two else [goes, goes]
    values = _numbers(replace(ask, many=True), ",".join(ends), confirm, unit_needed, warnings)
    pairs = list(zip(values[::2], values[1::2], strict=True))
    # below a surface (-) the leaves are written as they are felt: the one that goes first
    pairs = [(high, low) if high < low < 0.0 else (low, high) for low, high in pairs]
    for place, (low, high) in enumerate(pairs):
        if low > high or (low == high and ".." in text.split(",")[place]):
            raise NotAllowed(
                f"{ask.key}: a leaf of {low:g} mm goes and one of {high:g} does not: the two contradict each other.",
                "Clean the leaves and the place, feel again; the leaf that goes is written first.",
            )
    return tuple((low + high) / 2.0 for low, high in pairs), tuple((high - low) / 2.0 for low, high in pairs)


def _factor(ask: Ask, unit: str | None) -> float:
    known = FACTORS[ask.unit]
    unit = unit.replace("µ", "u") if unit else ask.unit
    unit = ALSO.get(unit, unit)
    if unit not in known:
        raise NotAllowed(f"{ask.key}: the unit '{unit}' does not fit.", f"Allowed: {', '.join(known)}.")
    return known[unit]


def _suspected(ask: Ask, bare: list[float], confirm: Confirm) -> float | None:
    """The factor of another unit that was meant, once confirmed; None when the sizes are usual. NotAllowed else."""
    low, high = ask.usual
    unusual = [value for value in bare if not low <= abs(value) <= high]
    if not unusual:
        return None
    value = unusual[0]
    said = f"{ask.key}={value:g} is taken as {value:g} {ask.unit}, and {_range(ask)} is usual"
    for unit, factor in FACTORS[ask.unit].items():
        if factor != 1.0 and all(low <= abs(each * factor) <= high for each in bare):
            meant = f"{value:g} {unit} ({value * factor:g} {ask.unit})"
            if confirm(f"{said}. Is it {meant}? [y/n]"):
                return factor
            raise NotAllowed(
                f"{said}: is it {meant}?",
                f"Write the unit: {ask.key}={value:g}{unit}, or {ask.key}={value:g}{ask.unit} to mean just that.",
            )
    raise NotAllowed(f"{said}.", f"Check the reading, or write {ask.key}={value:g}{ask.unit} to mean just that.")


def _range(ask: Ask) -> str:
    low, high = ask.usual
    return f"{low:g} to {high:g} {ask.unit}" if low else f"at most {high:g} {ask.unit}"


def _word(ask: Ask, text: str) -> str:
    word = text.casefold()
    if word not in ask.words:
        raise NotAllowed(
            f"{ask.key}: '{text[:40]}' is not known{nearest(word, ask.words)}.", f"Allowed: {', '.join(ask.words)}."
        )
    return word


def _name(ask: Ask, text: str) -> str:
    if len(text) > 40 or not text.isprintable():
        raise NotAllowed(f"{ask.key}: '{text[:40]}' is too long for a name.", "At most 40 letters and figures.")
    return text


def _yes(text: str, key: str) -> bool:
    return _word(Ask(key, "", "", words=("yes", "no")), text) == "yes"


def _part(text: str, adjusted: bool) -> float:
    """``part=0.5``: half of what was said was done; more than all of it up to twice is believed."""
    if not adjusted:
        raise NotAllowed("part= says how much of a correction was made.", "It goes with adjusted=yes.")
    try:
        part = float(text)
    except ValueError:
        part = math.nan
    if not 0.0 < part <= 2.0:
        raise NotAllowed(
            f"part={text[:20]} is no part of a correction.", "Write part=0.5 where half of it was made; 1 is all of it."
        )
    return part


def _asked(ask: Ask, words: dict[str, str]) -> bool:
    return ask.only is None or words.get(ask.only[0]) in ask.only[1]


def _nothing_missing(check: Check, numbers: dict[str, tuple[float, ...]], words: dict[str, str]) -> None:
    missing = [a for a in check.asks if a.needed and _asked(a, words) and a.key not in numbers and a.key not in words]
    if not missing:
        return
    named = ", ".join(f"{a.key} ({a.text}{', ' + a.unit if a.unit else ''})" for a in missing)
    example = " ".join(f"{a.key}={'|'.join(a.words) or '...'}" for a in missing)
    raise NotAllowed(f"{check.name} still wants {named}.", f"Add {example}; nothing was recorded.")


def _nothing_too_much(check: Check, given: dict[str, str], words: dict[str, str]) -> None:
    for ask in check.asks:
        if ask.key in given and not _asked(ask, words) and ask.only is not None:
            raise NotAllowed(
                f"{ask.key} does not belong to {ask.only[0]}={words.get(ask.only[0], '?')}.",
                f"It goes with {ask.only[0]}={'|'.join(ask.only[1])}.",
            )


def _limits(
    check: Check, text: str | None, origin: str | None, standing: Allowed, unit_needed: bool
) -> tuple[Allowed, bool]:
    if text is None:
        if origin is not None:
            raise NotAllowed("origin= says where limits come from, and there are none.", "Give allowed= with it.")
        return standing, False
    if check.allowed.unit == "" or not check.asks:
        raise NotAllowed(f"{check.name} has no limit of its own to set.", "The rail's band is in machine.yaml.")
    unit: Unit = check.allowed.unit
    parts = text.split("..")
    ask = Ask("allowed", unit, "the limit", many=False)
    ends = [_numbers(ask, part, lambda _question: False, unit_needed, [])[0] for part in parts[:2]]
    if len(parts) == 1:
        default = check.allowed
        low = None if default.lower is None else 0.0 if default.lower == 0.0 else -abs(ends[0])
        ends = [abs(ends[0])]
    else:
        low = ends[0]
    if len(parts) > 2 or (low is not None and low >= ends[-1]):
        raise NotAllowed(f"allowed={text[:40]} is no limit.", "Write allowed=0.1 or allowed=0..0.1.")
    return Allowed(low, ends[-1], unit, (origin or "own wish")[:200]), True
