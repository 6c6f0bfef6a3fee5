"""A short form's answers into the same commented machine.yaml one would write by hand.

Why it exists: describing a machine in an editor stops many people before the first sweep. The form asks only what the
first sweep needs; the file it makes is the commented template with those lines filled in, so everything else can still
be written by hand, and whatever ``load_machine`` says of the file is shown beside the question it came from. Pure text:
nothing is written here.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import partial

from logger.errors import BadFile, Fault
from logger.machines import Machine, machine_from_text

MOST_BOLTS = 40


@dataclass(frozen=True, slots=True)
class Question:
    """One line of the form. ``keys``: beginnings of the dotted YAML keys whose faults belong here."""

    key: str
    label: str
    hint: str
    value: str = ""
    words: tuple[str, ...] = ()
    keys: tuple[str, ...] = ()


QUESTIONS = (
    Question("name", "what you call the machine", "any short name", "my panel saw", keys=("name",)),
    Question(
        "rail", "rail from, to", "mm, as -300 2900; x rises from infeed to outfeed", keys=("rail.from", "rail.to")
    ),
    Question(
        "section",
        "rail's section",
        "w x h x wall; outer width x height x wall of a box in mm, or unknown",
        "unknown",
        keys=("rail",),
    ),
    Question("span", "first to last bearing", "mm, as 640; the carriage's, along the rail", keys=("carriage.bearing",)),
    Question("top", "length of the carriage's top", "mm, as 1200", keys=("carriage.top",)),
    Question(
        "stroke", "carriage's middle from, to", "mm, as 0 2600; where it stands at its two stops", keys=("carriage",)
    ),
    Question(
        "bolts",
        "support bolts at",
        "mm, as 150 900 1700 2450; a pair as 900/40 900/-40 (+ table side)",
        keys=("bolts",),
    ),
    Question("pitch", "their thread pitch", "mm, as 1.5; the way of one turn", keys=("bolts.pitch",)),
    Question(
        "raises",
        "turned which way it raises",
        "as you see it; from where you turn the bolt",
        "",
        ("clockwise", "anticlockwise"),
    ),
    Question("seen_from", "you turn it from", "where you stand; when you turn it", "", ("below", "above")),
    Question(
        "table", "table from, to", "mm, as 700 1500; the cast top beside the carriage", keys=("table.from", "table.to")
    ),
    Question("opening", "opening in it from, to", "mm; empty where there is none", keys=("table",)),
    Question("stand", "indicator stands at", "mm; on the table, its tip on the carriage", keys=("set_ups",)),
    Question("blade", "middle of the blade at", "mm; empty: no place of its own", keys=("places",)),
    Question("spindle", "moulder spindle at", "mm; empty where there is none"),
)
"""In the order in which one walks along the machine with a tape measure. No length is filled in beforehand: a figure
that stands there already is a figure nobody measures."""


class Unclear(Exception):
    """An answer that is no number or list of numbers: ``key`` of the question, and a sentence."""

    def __init__(self, key: str, sentence: str) -> None:
        super().__init__(sentence)
        self.key = key
        self.sentence = sentence


def unclear_answers(answers: Mapping[str, str]) -> dict[str, str]:
    """What cannot be read, question by question: all of it at once, so that nobody mends one to be told the next."""
    reads: tuple[Callable[[], object], ...] = (
        *(partial(_pair, answers, key) for key in ("rail", "stroke", "table")),
        *(partial(_one, answers, key) for key in ("span", "top", "pitch", "stand")),
        *(partial(_one, answers, key) for key in ("blade", "spindle") if answers.get(key, "").strip()),
        *([partial(_pair, answers, "opening")] if answers.get("opening", "").strip() else []),
        partial(_section, answers),
        partial(_bolts, answers),
        partial(_ways, answers),
        partial(_ways, {**answers, "raises": "clockwise"}),  # where from is said even while which way is open
    )
    said: dict[str, str] = {}
    for read in reads:
        try:
            read()
        except Unclear as unclear:
            said.setdefault(unclear.key, unclear.sentence)
    return said


def machine_text(answers: Mapping[str, str], template: str) -> str:
    """The template with the answers in its lines; Unclear for the first that cannot be read."""
    low, high = _pair(answers, "rail")
    first, last = _pair(answers, "stroke")
    start, end = _pair(answers, "table")
    opening = _pair(answers, "opening") if answers.get("opening", "").strip() else None
    stand = _one(answers, "stand")
    bolts = _bolts(answers)
    lines: list[str] = []
    in_bolts = False
    for line in template.split("\n"):
        in_bolts = (in_bolts and line.startswith((" ", "#"))) or line == "bolts:"
        if in_bolts and line.startswith("  - {name: B"):
            lines += bolts
            bolts = []
            continue
        lines.append(line)
    text = "\n".join(lines)
    span = f"[{first}, {last}]"
    inserts = f", insert_mm: [{opening[0]}, {opening[1]}]" if opening else ""
    places = _places(answers)
    for pattern, new in (
        (r"^# The figures below are invented:.*$", "# Begun with the short form of the screen; the rest is as usual."),
        (r"^name: .*$", f"name: {_quoted(answers.get('name', ''))}"),
        (r"^rail: \{[^}]*\}", f"rail: {{from_mm: {low}, to_mm: {high}, material: steel, {_section(answers)}}}"),
        (r"^  bearing_span_mm: [^ ]+", f"  bearing_span_mm: {_one(answers, 'span')}"),
        (r"^  top_length_mm: [^ ]+", f"  top_length_mm: {_one(answers, 'top')}"),
        (r"^  stroke_mm: \[[^]]*\]", f"  stroke_mm: {span}"),
        (r"^table: \{.*\}", f"table: {{from_mm: {start}, to_mm: {end}{inserts}}}"),
        (r"^(  across: \{kind: fixed, x_mm: )[^,]+", rf"\g<1>{stand}"),
        (r"^places:\n  - .*$", "\n".join(["places:", *places]) if places else "places: []"),
    ):
        text = re.sub(pattern, new.replace("\\", "\\\\") if "\\g" not in new else new, text, count=1, flags=re.M)
    return text


def understood(text: str, where: str) -> tuple[Machine | None, dict[str, str]]:
    """The machine, or None with a sentence for each question that has a fault ("" for one that has no question)."""
    try:
        return machine_from_text(text, where), {}
    except BadFile as bad:
        said: dict[str, str] = {}
        for fault in bad.faults:
            said.setdefault(question_of(fault), f"found {fault.found}; allowed: {fault.allowed}")
        return None, said or {"": f"{bad.what} {bad.todo}".strip()}


def question_of(fault: Fault) -> str:
    """The question a fault of the file belongs to; the most particular key wins."""
    key = re.sub(r"\[\d+\]|\.\d+(?=\.|$)", "", fault.key)
    best = ""
    longest = 0
    for question in QUESTIONS:
        for start in question.keys:
            if key.startswith(start) and len(start) > longest:
                best, longest = question.key, len(start)
    return best


def _bolts(answers: Mapping[str, str]) -> list[str]:
    parts = answers.get("bolts", "").replace(",", " ").split()
    if not parts:
        raise Unclear("bolts", "Where do the support bolts stand? Type their places in mm, as: 150 900 1700 2450")
    if len(parts) > MOST_BOLTS:
        raise Unclear("bolts", f"{len(parts)} bolts; at most {MOST_BOLTS} are allowed.")
    raises, seen_from = _ways(answers)
    lines = []
    for index, part in enumerate(parts, 1):
        x, _, y = part.partition("/")
        side = f", y_mm: {_number('bolts', y)}" if y else ""
        lines.append(
            f"  - {{name: B{index}, x_mm: {_number('bolts', x)}{side}, pitch_mm: {_one(answers, 'pitch')}, "
            f"raises: {raises}, seen_from: {seen_from}, kind: screw_and_locknut}}"
        )
    return lines


def _ways(answers: Mapping[str, str]) -> tuple[str, str]:
    """Which way raises, and seen from where."""
    raises, seen_from = answers.get("raises", ""), answers.get("seen_from", "")
    if raises not in ("clockwise", "anticlockwise"):
        raise Unclear("raises", "Which way raises the rail? Try it, or think it through: c or a.")
    if seen_from not in ("below", "above"):
        raise Unclear(
            "seen_from", "Clockwise from below is anticlockwise from above: where do you turn it from, b or a?"
        )
    return raises, seen_from


def _places(answers: Mapping[str, str]) -> list[str]:
    """Where height matters most: what is allowed there is the template's, common practice."""
    lines = []
    for name, allowed in (("blade", 0.05), ("spindle", 0.025)):
        if answers.get(name, "").strip():
            where = f"name: {name}, x_mm: {_one(answers, name)}, peak_to_valley_mm: {allowed}"
            lines.append(f'  - {{{where}, origin: "common practice, no source"}}')
    return lines


def _section(answers: Mapping[str, str]) -> str:
    text = answers.get("section", "").strip().casefold()
    if text in ("", "unknown", "not known"):
        return "section: unknown"
    sizes = re.split(r"\s*[x×*]\s*|\s+", text)
    if len(sizes) != 3:
        raise Unclear("section", "Type the box as width x height x wall in mm, as 60x80x4, or: unknown")
    width, height, wall = (_number("section", size) for size in sizes)
    return f"section: {{shape: box, width_mm: {width}, height_mm: {height}, wall_mm: {wall}}}"


def _one(answers: Mapping[str, str], key: str) -> str:
    return _number(key, answers.get(key, "").strip())


def _pair(answers: Mapping[str, str], key: str) -> tuple[str, str]:
    parts = [part for part in re.split(r"[\s;]+|,\s+|\s+to\s+", answers.get(key, "").strip()) if part and part != "to"]
    if len(parts) != 2:
        raise Unclear(key, "Two numbers in mm with a space between, the smaller first, as: 700 1500")
    return _number(key, parts[0]), _number(key, parts[1])


def _number(key: str, text: str) -> str:
    """A number as YAML has it, from one as people type it (comma or point, any minus, with or without mm)."""
    plain = text.strip().removesuffix("mm").strip().replace("−", "-").replace(",", ".")
    if not re.fullmatch(r"[+-]?(\d{1,7}(\.\d{1,6})?|\.\d{1,6})", plain):
        said = f"'{text[:30]}' is no number." if text.strip() else "This one is needed."
        raise Unclear(key, f"{said} Type millimetres, as 640.")
    return f"{float(plain):g}"


def _quoted(name: str) -> str:
    """A name as a YAML string that cannot be anything else."""
    plain = " ".join(name.split())[:80]
    if re.fullmatch(r"[A-Za-z][A-Za-z0-9 ]*", plain) and plain.casefold() not in _NOT_NAMES:
        return plain
    return '"' + plain.replace("\\", "\\\\").replace('"', '\\"') + '"'


_NOT_NAMES = ("yes", "no", "on", "off", "true", "false", "null", "y", "n")
