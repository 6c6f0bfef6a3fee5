"""A user's YAML file read into plain data, with the line of every key, or with every fault at once.

Why it exists: these files are written by hand beside a machine, with a tape measure in the other hand. It prevents the
quiet mistakes of YAML 1.1 that would turn into wrong metal: ``no`` read as false, ``12:30`` as 750, ``010`` as 8,
``1e-3`` as text, a key written twice of which the last one wins. Scalars follow the core schema of YAML
(YAML 1.2.2, section 10.3.2): decimal integers, exponents without a point, only true and false.

A file is also hostile until proven otherwise: its size, depth and number of nodes are bounded before anything is built,
anchors, aliases, tags and second documents are refused, and nothing in it is ever executed.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import yaml

from logger.errors import BadFile, Fault

MAX_BYTES = 256 * 1024
MAX_DEPTH = 12
MAX_NODES = 40_000

PathKey = tuple[str | int, ...]

_INTEGER = re.compile(r"[-+]?[0-9]+\Z")
_HEX = re.compile(r"0x[0-9a-fA-F]+\Z")
_FLOAT = re.compile(r"[-+]?(\.[0-9]+|[0-9]+(\.[0-9]*)?)([eE][-+]?[0-9]+)?\Z")
_SPECIAL_FLOATS = {".inf": float("inf"), "+.inf": float("inf"), "-.inf": float("-inf"), ".nan": float("nan")}
_NULLS = {"", "~", "null", "Null", "NULL"}
_BOOLEANS = {"true": True, "True": True, "TRUE": True, "false": False, "False": False, "FALSE": False}


@dataclass(frozen=True)
class Document:
    """One file's data, its text, and where each key and value stands (lines count from 1)."""

    where: str
    text: str
    data: Any
    value_lines: dict[PathKey, int] = field(repr=False)
    key_lines: dict[PathKey, int] = field(repr=False)

    def line_of(self, path: Sequence[str | int]) -> int | None:
        """The line of the key at ``path``, or of the nearest thing around it that the file does contain."""
        for length in range(len(path), -1, -1):
            part = tuple(path[:length])
            line = self.key_lines.get(part, self.value_lines.get(part))
            if line is not None:
                return line
        return None


def read_text(path: Path) -> str:
    """The text of a small UTF-8 file; BadFile when it is missing, too large, or not text."""
    try:
        with path.open("rb") as handle:
            raw = handle.read(MAX_BYTES + 1)
    except OSError as problem:
        reason = problem.strerror or type(problem).__name__
        raise BadFile(f"{path} cannot be read: {reason}.", "Name a file that is there and can be read.") from problem
    if len(raw) > MAX_BYTES:
        raise BadFile(f"{path} is larger than {MAX_BYTES // 1024} kB, the most allowed.", "Is it the right file?")
    try:
        return raw.decode("utf-8-sig")
    except UnicodeDecodeError as problem:
        line = raw.count(b"\n", 0, problem.start) + 1
        fault = Fault(line, "(text)", f"byte 0x{raw[problem.start]:02x}", "UTF-8 text")
        raise bad_file(str(path), [fault]) from problem


def parse_yaml(text: str, where: str) -> Document:
    """``text`` as plain data (dict, list, str, int, float, bool, None) with lines; BadFile with every fault found."""
    if len(text.encode("utf-8", "surrogatepass")) > MAX_BYTES:
        raise BadFile(f"{where} is larger than {MAX_BYTES // 1024} kB, the most allowed.", "Is it the right file?")
    try:
        faults = _refused_features(text)
        if faults:
            raise bad_file(where, faults)
        root = yaml.compose(text, Loader=yaml.SafeLoader)
    except yaml.YAMLError as problem:
        raise bad_file(where, [_syntax_fault(problem)]) from problem
    builder = _Builder()
    data = builder.build(root, ()) if root is not None else None
    if builder.faults:
        raise bad_file(where, builder.faults)
    return Document(where, text, data, builder.value_lines, builder.key_lines)


def bad_file(where: str, faults: Sequence[Fault]) -> BadFile:
    """The error that carries ``faults`` in the order of the file."""
    ordered = sorted(faults, key=lambda fault: fault.line or 0)
    count = "one fault" if len(ordered) == 1 else f"{len(ordered)} faults"
    return BadFile(f"{where} cannot be used, it has {count}.", "Correct what is listed here and try again.", ordered)


def shown(value: object, limit: int = 60) -> str:
    """``value`` as it may be shown to a person: one line, bounded, escaped so that nothing in it reaches a terminal."""
    if value is None:
        return "nothing"
    if isinstance(value, dict):
        return f"keys {', '.join(shown(key, 20) for key in list(value)[:6])}" if value else "an empty mapping"
    if isinstance(value, list | tuple):
        text = "[" + ", ".join(shown(item, 20) for item in list(value)[:6]) + (", ...]" if len(value) > 6 else "]")
    elif isinstance(value, bool):
        text = "true" if value else "false"
    else:
        text = ascii(value) if isinstance(value, str) and not value.isprintable() else repr(value)
    return text if len(text) <= limit else text[: limit - 3] + "..."


def _refused_features(text: str) -> list[Fault]:
    """Walk the event stream, which needs no recursion, before any tree is built."""
    faults: list[Fault] = []
    depth = nodes = documents = 0
    for event in yaml.parse(text, Loader=yaml.SafeLoader):
        line = event.start_mark.line + 1 if event.start_mark is not None else 0
        if isinstance(event, yaml.DocumentStartEvent):
            documents += 1
            if documents > 1:
                faults.append(Fault(line, "---", "a second document", "one document a file"))
                break
        elif isinstance(event, yaml.CollectionEndEvent):
            depth -= 1
        elif isinstance(event, yaml.NodeEvent):
            nodes += 1
            depth += isinstance(event, yaml.CollectionStartEvent)
            if depth > MAX_DEPTH or nodes > MAX_NODES:
                faults.append(
                    Fault(line, "(file)", "more nesting or entries", f"{MAX_DEPTH} levels, {MAX_NODES} entries")
                )
                break
            faults.extend(_refused_in_node(event, line))
    return faults


def _refused_in_node(event: yaml.NodeEvent, line: int) -> list[Fault]:
    if isinstance(event, yaml.AliasEvent):
        return [Fault(line, f"*{shown(event.anchor)}", "a reference to another place", "the value itself, written out")]
    if event.anchor is not None:
        return [Fault(line, f"&{shown(event.anchor)}", "an anchor", "plain values; text starting with & needs quotes")]
    tag = getattr(event, "tag", None)
    if tag is not None:
        return [Fault(line, shown(tag), "a tag", "plain values; text starting with ! needs quotes")]
    return []


def _syntax_fault(problem: yaml.YAMLError) -> Fault:
    mark = getattr(problem, "problem_mark", None) or getattr(problem, "context_mark", None)
    said = getattr(problem, "problem", None) or getattr(problem, "reason", None) or "text YAML cannot read"
    context = getattr(problem, "context", None)
    found = f"{said} ({context})" if context else str(said)
    line = mark.line + 1 if mark is not None else None
    return Fault(line, "(YAML)", found, "keys and values as in the example file, indented with spaces")


class _Builder:
    """Turns the composed tree into plain data, keeping the line of each key and value."""

    def __init__(self) -> None:
        self.value_lines: dict[PathKey, int] = {}
        self.key_lines: dict[PathKey, int] = {}
        self.faults: list[Fault] = []

    def build(self, node: yaml.Node, path: PathKey) -> Any:
        self.value_lines[path] = node.start_mark.line + 1
        if isinstance(node, yaml.MappingNode):
            return self._mapping(node, path)
        if isinstance(node, yaml.SequenceNode):
            return [self.build(item, (*path, index)) for index, item in enumerate(node.value)]
        return plain_scalar(node.value) if getattr(node, "style", None) is None else node.value

    def _mapping(self, node: yaml.MappingNode, path: PathKey) -> dict[str, Any]:
        result: dict[str, Any] = {}
        for key_node, value_node in node.value:
            line = key_node.start_mark.line + 1
            key = key_node.value
            if not isinstance(key, str):
                self.faults.append(Fault(line, dotted(path), "a list or mapping as a key", "a word as a key"))
                continue
            if key in result:
                first = self.key_lines[(*path, key)]
                self.faults.append(Fault(line, dotted((*path, key)), f"the key again (first on line {first})", "once"))
                continue
            self.key_lines[(*path, key)] = line
            result[key] = self.build(value_node, (*path, key))
        return result


def plain_scalar(text: str) -> str | int | float | bool | None:
    """An unquoted scalar by the core schema of YAML 1.2; a typeset minus before a number counts as a minus."""
    candidate = text.replace("\N{MINUS SIGN}", "-", 1) if text.startswith("\N{MINUS SIGN}") else text
    if candidate in _NULLS:
        return None
    if candidate in _BOOLEANS:
        return _BOOLEANS[candidate]
    if _INTEGER.match(candidate) and len(candidate) <= 20:
        return int(candidate)
    if _HEX.match(candidate) and len(candidate) <= 18:
        return int(candidate, 16)
    if _FLOAT.match(candidate) and len(candidate) <= 40:
        return float(candidate)
    return _SPECIAL_FLOATS.get(candidate.lower(), text)


def dotted(path: Sequence[str | int]) -> str:
    """``("bolts", 2, "pitch_mm")`` as ``bolts[2].pitch_mm``, safe to show."""
    text = ""
    for part in path:
        if isinstance(part, int):
            text += f"[{part}]"
        else:
            name = part if part.isprintable() and len(part) <= 40 else shown(part, 40)
            text += f".{name}" if text else name
    return text or "(file)"
