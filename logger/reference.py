"""The reference pages of the guide, made from the code: commands, checks, the two YAML files, what is on disk.

Why it exists: a page written by hand beside the code is wrong after a month. ``python -m logger.reference FOLDER``
writes them; a test holds the copies in ``hardware/guide`` equal to the code, and demands a word about every key.
"""

from __future__ import annotations

import argparse
import dataclasses
import json
import sys
from collections.abc import Callable, Iterable, Sequence
from pathlib import Path
from typing import Any

MADE = "*Made from the code by `python -m logger.reference hardware/guide`; change the code, not this page.*"

#: Keys whose models say nothing about them: units, allowed words and defaults stand in the table anyway.
ALSO = {
    "wall_mm": "thickness of the wall",
    "diameter_mm": "outside",
    "origin": "where the figures come from, as they stand in the report",
    "tight": "false once it has been loosened",
    "y_mm": "beside the rail's middle line, + toward the table",
    "points": "[x_mm, height_mm, uncertainty_mm], at least two",
    "rail": "the beam",
    "carriage": "the sliding table on it",
    "bolts": "the support bolts, in any order",
    "braces": "struts that hold the rail while they are tight",
    "table": "the cast top beside the carriage",
    "band": "what is allowed over the stroke",
    "places": "where height matters most",
    "notes": "anything worth keeping; it stands in the report",
    "bit_order": "which bit of a digit comes first",
    "digit_order": "which digit comes first",
    "bits": "data bits",
    "parity": "of the serial line",
    "stop": "stop bits",
    "flow": "flow control",
    "channel": "name of the value, where there are several",
    "table_": "which of the device's tables is read",
    "type": "how the value is packed",
    "word_order": "which of two registers comes first",
    "items": "the values of an answer, in order",
    "offset": "added after scaling",
}


def pages() -> dict[str, str]:
    """Every page by the name of its file."""
    return {
        "commands.md": commands_page(),
        "checks.md": checks_page(),
        "machine-file.md": machine_page(),
        "instrument-file.md": instrument_page(),
        "files.md": files_page(),
    }


def _page(title: str, lead: str, parts: Iterable[str]) -> str:
    return "\n\n".join([f"# {title}", lead, MADE, *[part.strip("\n") for part in parts if part.strip()]]) + "\n"


def _table(heads: Sequence[str], rows: Iterable[Sequence[str]]) -> str:
    lines = ["| " + " | ".join(heads) + " |", "|" + "---|" * len(heads)]
    return "\n".join([*lines, *["| " + " | ".join(_cell(cell) for cell in row) + " |" for row in rows]])


def _cell(text: str) -> str:
    return " ".join(text.split()).replace("|", "\\|")


# -- commands ----------------------------------------------------------------------------------------------------------


def commands_page() -> str:
    """Every command with its options and examples, from the parsers."""
    from logger.cli import COMMON_DEFAULTS, build_parser
    from logger.commands import COMMANDS
    from logger.completion import _parser_of

    common = {f"--{name}" for name in COMMON_DEFAULTS} | {"--help"}
    parts = []
    for name, summary in COMMANDS.items():
        parser = _parser_of(build_parser(name), name)
        own = [a for a in parser._actions if not common & set(a.option_strings)]
        rows = [(f"`{_spelled(action)}`", _help(action)) for action in own]
        table = _table(("argument", "what it is"), rows) if rows else ""
        example = (parser.epilog or "").removeprefix("example:\n")
        text = (parser.description or "").replace("\n\n", "\0").replace("\n", " ").replace("\0", "\n\n")
        parts.append(
            "\n\n".join(each for each in (f"## {name}: {summary}", text, table, f"```\n{example}\n```") if each)
        )
    lead = (
        "Every command takes `--job DIR`, `--units mm|in`, `--plain` and `--json` before or after its name. Exit "
        "codes: 0 done, 1 could not, 2 wrong arguments or file, 3 instrument lost, 130 interrupted."
    )
    return _page("Commands", lead, parts)


def _spelled(action: argparse.Action) -> str:
    if not action.option_strings:
        return str(action.metavar or action.dest)
    value = "" if action.nargs == 0 else f" {action.metavar or '|'.join(map(str, action.choices or ()))}"
    return ", ".join(action.option_strings) + value


def _help(action: argparse.Action) -> str:
    choices = "" if not action.choices or action.option_strings == [] else f" ({', '.join(map(str, action.choices))})"
    return (action.help or "").replace("%%", "%") + (choices if action.metavar else "")


# -- checks ------------------------------------------------------------------------------------------------------------


def checks_page() -> str:
    """How to do each check, in the order of work, from the table of checks."""
    from logger.checks.table import CHECKS

    lead = (
        "In the order of work: each rests on the ones it names. `truestroke board` says which is next, `truestroke "
        "take NAME` without readings shows the same steps beside the machine, with readings it gives the result and "
        "what to move. The maker's manual comes first where it says more."
    )
    return _page("How to do each check", lead, [_check(check) for check in CHECKS])


def _check(check: Any) -> str:
    from logger.checks.drawings import drawing
    from logger.checks.words import limits_words

    parts = [f"## {check.title} (`{check.name}`)", f"**You need** {check.needs}."]
    parts.append("**First**\n\n" + "\n".join(f"- {caution}" for caution in check.cautions))
    try:
        rows = drawing(check.name).rows(ascii_only=True)
    except KeyError:
        rows = []
    if rows:
        parts.append("```\n" + "\n".join(row.rstrip() for row in rows) + "\n```")
    parts.append("\n".join(f"{number}. {step}" for number, step in enumerate(_steps(check.steps), 1)))
    if check.asks:
        asks = [
            (f"`{ask.key}`", "\\|".join(ask.words).replace("\\|", ", ") or ask.unit, _asked(ask)) for ask in check.asks
        ]
        parts.append(_table(("key", "unit or words", "reading"), asks))
        parts.append(f"```\ntruestroke take {check.name} {_example(check)}\n```")
    else:
        parts.append("```\ntruestroke sweep --port PORT --instrument I --set-up S --passes 2 --marks 0,500,...\n```")
    if check.allowed.unit and check.allowed.upper is not None:
        limits = limits_words(check.allowed, "mm")
        parts.append(f"**Allowed** {limits} ({check.allowed.origin}); your own: `allowed=`, `origin=`.")
    rests = [f"- rests on `{each.check}`: {each.reason}" for each in check.rests_on]
    rests += [f"- left alone by `{each.check}`: {each.reason}" for each in check.left_alone_by]
    rests += [f"- adjusting it disturbs `{each.check}`: {each.reason}" for each in check.disturbs]
    parts.append("\n".join(rests))
    return "\n\n".join(part for part in parts if part)


def _steps(lines: Sequence[str]) -> list[str]:
    """Steps as they are told at the machine, with a line that only goes on joined to the one before."""
    steps: list[str] = []
    for line in lines:
        if steps and line[:1].islower():
            steps[-1] += f" {line}"
        else:
            steps.append(line)
    return steps


def _asked(ask: Any) -> str:
    only = f" (only with {ask.only[0]}={', '.join(ask.only[1])})" if ask.only else ""
    if ask.needed:
        return f"{ask.text}{only}"
    return f"{ask.text} (optional{'' if ask.default is None else f', else {ask.default:g}'}){only}"


def _example(check: Any) -> str:
    """The needed keys with a place for each value."""
    needed = [ask for ask in check.asks if ask.needed and ask.only is None] or list(check.asks[:1])
    return " ".join(f"{ask.key}={ask.words[0] if ask.words else '...'}" for ask in needed)


# -- YAML files --------------------------------------------------------------------------------------------------------


def machine_page() -> str:
    """``machine.yaml``, key by key, from its model."""
    from logger.description.schemas import machine_schema

    lead = (
        "`truestroke new DIR` makes a commented one. Millimetres; `x` + toward outfeed, `y` + toward blade and table. "
        "A key that is not known is refused with the nearest that is; every fault is named with its line."
    )
    return _page("machine.yaml", lead, _schema_parts(machine_schema(), "the machine"))


def instrument_page() -> str:
    """Instrument files, family by family, from their models."""
    from logger.description.schemas import instrument_schema

    lead = "One file for each kind of instrument; `frame` names its family; each family is a file of its own."
    return _page("Instrument files", lead, _schema_parts(instrument_schema(), "the file"))


def _schema_parts(schema: dict[str, Any], top: str) -> list[str]:
    defs = schema.get("$defs", {})
    parts = [_keys(f"## {top[:1].upper()}{top[1:]}", schema)] if schema.get("properties") else []
    return parts + [_keys(f"## {name}", model) for name, model in sorted(defs.items()) if model.get("properties")]


def _keys(head: str, model: dict[str, Any]) -> str:
    needed = set(model.get("required", ()))
    rows = []
    for key, said in model["properties"].items():
        default = "needed" if key in needed else json.dumps(said.get("default"), ensure_ascii=False)
        rows.append((f"`{key}`", _type(said), default, described(key, said)))
    about = str(model.get("description", "")).replace("``", "`")
    return "\n\n".join(part for part in (head, about, _table(("key", "type", "default", "meaning"), rows)) if part)


def described(key: str, said: dict[str, Any]) -> str:
    """What a key means: the model's own words, else those kept here."""
    own = str(said.get("description", "")) or ALSO.get(f"{key}_" if key == "table" and "enum" in said else key, "")
    return own.replace("``", "`")


def _type(said: dict[str, Any]) -> str:
    if "$ref" in said:
        return str(said["$ref"]).rsplit("/", 1)[1]
    if "const" in said:
        return f"`{said['const']}`"
    if "enum" in said:
        return ", ".join(f"`{each}`" for each in said["enum"])
    several = said.get("anyOf") or said.get("oneOf")
    if several:
        return " or ".join(dict.fromkeys(_type(each) for each in several))
    kind = str(said.get("type", "any"))
    if kind == "array":
        inner = said.get("items") or {}
        if "prefixItems" in said:
            return f"list of {len(said['prefixItems'])}"
        return f"list of {_type(inner)}"
    if kind == "object" and isinstance(said.get("additionalProperties"), dict):
        return f"{_type(said['additionalProperties'])} by name"
    return {"null": "nothing", "string": "text", "integer": "whole number"}.get(kind, kind) + _bounds(said)


def _bounds(said: dict[str, Any]) -> str:
    words = {"exclusiveMinimum": "above", "minimum": "from", "maximum": "to", "exclusiveMaximum": "below"}
    told = [f"{word} {said[key]:g}" for key, word in words.items() if key in said]
    return f" {' '.join(told)}" if told else ""


# -- files -------------------------------------------------------------------------------------------------------------

ENTRIES = {
    "sweep": "a sweep that ended well and counts: `sweep` is its folder, with the counts of the recording",
    "turned": "bolts that were turned: a list of `bolt`, `raise_mm`, `uncertainty_mm`, `form` and the parked readings",
    "parked": "a reading of a parked carriage",
    "taken": "a check's readings, result and limits; or `adjusted: true`: the thing was moved",
    "verdict": "a verdict that was kept",
    "note": "`text` and, if noted, `temperature_C`",
    "direction check": "whether a set-up's number moved as said when the tip was pressed",
    "load": "what a known mass or a panel on the carriage moved",
    "seats": "which feet of a resting rail carry, felt with a leaf: `park_mm`, and by foot what goes and what does not",
    "instrument check": "an instrument stood still and was brought back to one place: `still`, `repeats`, `floor`",
    "level zero": "a level turned end for end: `zero_mm_per_m`, `slope_mm_per_m`",
    "level on table": "a level laid along the table: `on_table_mm_per_m`, `on_table_u_mm_per_m`",
    "agreed": "a repair of a sweep, or a choice of where its positions come from, that somebody agreed to",
    "learned": "written by earlier versions; nothing learned is stored any more",
    "machine changed": "the machine was altered or described anew",
    "withdrawn": "an earlier entry does not hold: `withdraws` is its id",
}


ABOUT = {
    "kind": "`sweep`, or `live`: only watched",
    "set_up": "the set-up of machine.yaml",
    "passes": "passes asked for",
    "stations_mm": "stations of the first pass",
    "port": "where it was read; `keyboard`: typed in; `import`: a table from elsewhere",
    "until": "what was to end it",
    "instrument": "the instrument's file, as it was",
    "instrument_name": "the name or path it was given by",
    "machine": "machine.yaml, as it was",
    "unit": "what the instrument shows",
    "clock": "whose time `t_s` is: the host's or the device's",
    "resolution": "the display's step in mm or mm/m",
    "extra": "whatever else was known: where an imported table came from, what lay on the carriage",
}


def files_page() -> str:
    """The job folder, the recording, the journal and the exported package."""
    from logger.job import KINDS
    from logger.record import package
    from logger.record.writing import Description, _reading_fields, _wire_fields

    tree = (
        "my-saw/                        a job: one machine, any number of days\n"
        "  machine.yaml                 yours\n"
        "  journal.jsonl                one JSON object a line, only ever added to\n"
        "  sweeps/0001-across/          recordings that are judged\n"
        "  live/0002-across/            what was only watched, in the same form\n"
        "    datapackage.json           Data Package v2: tables, units, machine and instrument as used, how it ended\n"
        "    wire.csv                   what arrived, as it arrived: this is the record\n"
        "    readings.csv               what it meant; can be made again from wire.csv\n"
        "  report.html, sheet.html      made by truestroke report, replaced each time"
    )
    about = [(f"`{each.name}`", ABOUT.get(each.name, "")) for each in dataclasses.fields(Description)]
    exported = [
        ("recordings.csv", package._RECORDINGS),
        ("journal.csv", package._JOURNAL),
        ("turned.csv", package._TURNED),
        ("checks.csv", package._CHECKS),
    ]
    parts = [
        f"```\n{tree}\n```",
        "## readings.csv\n\nRFC 4180, UTF-8; no cell starts a spreadsheet formula. Marks and gaps are rows too.",
        _fields(_reading_fields(Description())),
        "## wire.csv",
        _fields(_wire_fields()),
        "## datapackage.json\n\nBeside the standard's keys a part of our own, `truestroke`: `version`, `start`, "
        "`ended` (missing: the recording was interrupted), and what was known at the start:",
        _table(("key", "meaning"), about),
        "## journal.jsonl\n\nEach line has `v` (version), `id`, `time` (UTC), `who`, `kind` and `data`. A line that "
        "cannot be read stays where it is and is said; a correction is a later entry with `corrects`.",
        _table(("kind", "what it says"), [(f"`{kind}`", ENTRIES.get(kind, "")) for kind in KINDS]),
        "## The exported job\n\n`truestroke export all DEST` writes one Data Package: recordings and these tables.",
        *[f"### {name}\n\n{_fields(fields)}" for name, fields in exported],
    ]
    return _page(
        "What is on disk", "Nothing that exists is rewritten but a recording's descriptor, once, at its end.", parts
    )


def _fields(fields: Sequence[dict[str, Any]]) -> str:
    rows = [(f"`{f['name']}`", str(f["type"]), str(f.get("unit", "")), str(f.get("description", ""))) for f in fields]
    return _table(("column", "type", "unit", "meaning"), rows)


def write(folder: Path, say: Callable[[str], object] = lambda _: None) -> None:
    """Write every page into ``folder``."""
    folder.mkdir(parents=True, exist_ok=True)
    for name, text in pages().items():
        (folder / name).write_text(text, encoding="utf-8", newline="\n")
        say(name)


if __name__ == "__main__":
    write(Path(sys.argv[1] if len(sys.argv) > 1 else "hardware/guide"), lambda name: sys.stdout.write(f"{name}\n"))
