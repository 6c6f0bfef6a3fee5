"""The saw bench as its user describes it: ``machine.yaml`` into a frozen ``Machine``.

Why it exists: every number the advice rests on (where the bolts stand, which way they turn, where the indicator sits)
comes from this one file, written with a tape measure. It prevents advice from a machine that cannot be: whatever does
not fit together is refused with its line before a sweep, and all of it at once.

Attributes are the YAML keys. Millimetres; ``x`` + toward outfeed, ``y`` + from the carriage toward blade and table,
``z`` up. Positions of the carriage are those of its middle. The parts are in ``description.machine_parts``, the
checks across them in ``description.machine_checks``.
"""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, Any, Self

from pydantic import Field, PrivateAttr, field_validator, model_validator

from logger.description.machine_checks import Parts, problems_of
from logger.description.machine_parts import Band, Bolt, Brace, Carriage, MapLine, Place, Rail, SetUp, Table
from logger.description.machine_work import Tolerance, Work, checked_tolerances
from logger.description.yaml_files import Document, bad_file, dotted, parse_yaml, read_text, shown
from logger.description.yaml_models import (
    Model,
    Name,
    Positive,
    Problem,
    Strict,
    lenient,
    nearest,
    problem_fault,
    validated,
)
from logger.errors import Fault, NotAllowed

__all__ = [
    "FILE_NAME",
    "Band",
    "Bolt",
    "Brace",
    "Carriage",
    "Machine",
    "MapLine",
    "Place",
    "Rail",
    "SetUp",
    "Table",
    "load_machine",
    "machine_from_text",
]

FILE_NAME = "machine.yaml"


class Machine(Strict):
    """The whole saw bench. Made by ``load_machine`` or ``machine_from_text``, which also check that it fits together.

    In a loaded machine ``y_mm`` of every set-up and place is a number (the carriage's edge where none was written).
    """

    name: Name = Field(description="what the machine is called")
    rail: Rail
    carriage: Carriage
    bolts: Annotated[tuple[Bolt, ...], Field(min_length=1, max_length=40)]
    braces: Annotated[tuple[Brace, ...], Field(max_length=40)] = ()
    table: Table
    set_ups: dict[Name, SetUp] = Field(default_factory=dict, description="by name, as across, along, pitch")
    band: Band = Field(default_factory=Band)
    places: Annotated[tuple[Place, ...], Field(max_length=40)] = ()
    tolerances: dict[Name, Tolerance] = Field(
        default_factory=dict, description="limits of the checks that differ from the usual ones, each with its origin"
    )
    work: Work = Field(default_factory=Work, description="what is usually made on it")
    wrench_length_mm: Positive = Field(default=200.0, description="from the nut to the hand")
    notes: Annotated[str, Field(max_length=4000)] = ""

    _source_text: str = PrivateAttr("")
    _warnings: tuple[str, ...] = PrivateAttr(())

    @field_validator("tolerances")
    @classmethod
    def _of_checks(cls, tolerances: dict[str, Tolerance]) -> dict[str, Tolerance]:
        return checked_tolerances(tolerances)

    @model_validator(mode="after")
    def _lines_default_to_the_edge(self) -> Self:
        edge = {"y_mm": self.carriage.edge_y_mm}
        set_ups = {name: s if s.y_mm is not None else s.model_copy(update=edge) for name, s in self.set_ups.items()}
        places = tuple(p if p.y_mm is not None else p.model_copy(update=edge) for p in self.places)
        self.__dict__.update(set_ups=set_ups, places=places)
        return self

    @property
    def source_text(self) -> str:
        """The YAML text this machine was read from, for a recording's descriptor."""
        return self._source_text

    @property
    def warnings(self) -> tuple[str, ...]:
        """What looks doubtful but was accepted, as sentences."""
        return self._warnings

    def bolt(self, name: str) -> Bolt:
        """The bolt of that name, case apart; NotAllowed names the nearest one."""
        bolt: Bolt = _by_name({bolt.name: bolt for bolt in self.bolts}, name, "bolt")
        return bolt

    def set_up(self, name: str) -> SetUp:
        """The set-up of that name, case apart; NotAllowed names the nearest one."""
        set_up: SetUp = _by_name(self.set_ups, name, "set-up")
        return set_up


def _by_name(things: dict[str, Any], name: str, what: str) -> Any:
    if name in things:
        return things[name]
    folded = {key.casefold(): thing for key, thing in things.items()}
    if name.casefold() in folded:
        return folded[name.casefold()]
    names = ", ".join(things) or "none"
    hint = f" The nearest is {nearest(name, things)}." if things else ""
    raise NotAllowed(f"There is no {what} {shown(name, 40)} in {FILE_NAME}; there are: {names}.", hint.strip())


def load_machine(path: Path | str) -> Machine:
    """The machine of a YAML file, or of the ``machine.yaml`` in a folder; BadFile with every fault."""
    path = Path(path)
    path = path / FILE_NAME if path.is_dir() else path
    return machine_from_text(read_text(path), str(path))


def machine_from_text(text: str, where: str) -> Machine:
    """The machine described by ``text``; ``where`` names it in messages. BadFile with every fault."""
    document = parse_yaml(text, where)
    if not isinstance(document.data, dict):
        fault = Fault(1, "(file)", shown(document.data), f"keys and values: {', '.join(Machine.model_fields)}")
        raise bad_file(where, [fault])
    machine, faults = validated(Machine, document)
    problems = problems_of(_parts(machine) if machine is not None else _readable_parts(document.data))
    faults += [problem_fault(problem, document) for problem in problems if not problem.doubt]
    if faults or machine is None:
        raise bad_file(where, faults)
    machine._source_text = text
    machine._warnings = tuple(_warning(problem, document) for problem in problems if problem.doubt)
    return machine


def _warning(problem: Problem, document: Document) -> str:
    line = document.line_of(problem.path)
    return f"{document.where} line {line}, {dotted(problem.path)}: {problem.found}; {problem.allowed}."


def _parts(machine: Machine) -> Parts:
    return Parts(
        machine.rail, machine.carriage, machine.bolts, machine.braces, machine.table, machine.set_ups, machine.places
    )


def _readable_parts(data: dict[str, Any]) -> Parts:
    """What can be made of a file with faults in it, part by part, for the checks across its parts (see ``lenient``)."""

    def several(model: type[Model], key: str) -> list[Model | None]:
        items = data.get(key)
        return [lenient(model, item) for item in items] if isinstance(items, list) else []

    set_ups = data.get("set_ups")
    return Parts(
        rail=lenient(Rail, data.get("rail")),
        carriage=lenient(Carriage, data.get("carriage")),
        bolts=several(Bolt, "bolts"),
        braces=several(Brace, "braces"),
        table=lenient(Table, data.get("table")),
        set_ups={name: lenient(SetUp, item) for name, item in set_ups.items()} if isinstance(set_ups, dict) else {},
        places=several(Place, "places"),
    )
