"""Instrument profiles: ``hardware/instruments/*.yaml`` or a user's own file into a frozen ``Instrument``.

Why it exists: an instrument nobody here has seen must be one small text file, not code. It prevents a profile that was
never tried (its examples are decoded when it is loaded) and a pattern that could run away on hostile bytes.
"""

from __future__ import annotations

from functools import cache
from importlib import resources
from pathlib import Path

from logger.description.instrument_base import Example, Instrument, Link, decode_once, instrument_problems
from logger.description.instrument_frames import FAMILIES
from logger.description.yaml_files import bad_file, parse_yaml, read_text, shown
from logger.description.yaml_models import nearest, problem_fault, validated
from logger.errors import Fault, NotAllowed

SUFFIX = ".yaml"


def list_instruments() -> list[str]:
    """The names of the profiles that come with truestroke, in alphabetical order."""
    folder = resources.files("hardware").joinpath("instruments")
    return sorted(entry.name.removesuffix(SUFFIX) for entry in folder.iterdir() if entry.name.endswith(SUFFIX))


def load_instrument(name_or_path: str | Path) -> Instrument:
    """The profile of that name, or of that YAML file. BadFile with every fault; NotAllowed names the nearest."""
    text = str(name_or_path)
    if text in list_instruments():
        return _shipped(text)
    path = Path(name_or_path)
    if path.suffix.casefold() in (SUFFIX, ".yml") or path.is_file():
        return instrument_from_text(read_text(path), text)
    names = list_instruments()
    raise NotAllowed(
        f"There is no instrument profile {shown(text)}; there are: {', '.join(names)}.",
        f"The nearest is {nearest(text, names)}; or give the path of a YAML file of your own.",
    )


@cache
def _shipped(name: str) -> Instrument:
    entry = resources.files("hardware").joinpath("instruments", name + SUFFIX)
    return instrument_from_text(entry.read_text(encoding="utf-8"), f"hardware/instruments/{name}{SUFFIX}")


def instrument_from_text(text: str, where: str) -> Instrument:
    """The instrument described by ``text``; ``where`` names it in messages. BadFile with every fault."""
    document = parse_yaml(text, where)
    if not isinstance(document.data, dict):
        raise bad_file(
            where, [Fault(1, "(file)", shown(document.data), "keys and values: name, link, frame, unit, ...")]
        )
    frame = document.data.get("frame")
    family = FAMILIES.get(frame) if isinstance(frame, str) else None
    if family is None:
        allowed = f"{', '.join(FAMILIES)}. The nearest is {nearest(str(frame), FAMILIES)}"
        raise bad_file(where, [Fault(document.line_of(("frame",)), "frame", shown(frame), allowed)])
    instrument, faults = validated(family, document)
    if instrument is not None:
        faults += [problem_fault(problem, document) for problem in instrument_problems(instrument)]
    if instrument is None or faults:
        raise bad_file(where, faults)
    instrument._source_text = text
    return instrument


__all__ = [
    "Example",
    "Instrument",
    "Link",
    "decode_once",
    "instrument_from_text",
    "list_instruments",
    "load_instrument",
]
