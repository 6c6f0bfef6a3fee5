"""Pydantic's complaints in the words of a person: line, key, what was found, what is allowed, all at once.

Why it exists: a validation library speaks of types and of Python; somebody measuring a saw needs to know which line of
the file, and what to write there instead. It prevents two mistakes: stopping at the first fault, so that five mistakes
take five tries, and reporting one mistake twice (a misspelt key is not also a missing one).
"""

from __future__ import annotations

import difflib
import math
import typing
import unicodedata
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Annotated, Any, TypeVar

from pydantic import AfterValidator, BaseModel, BeforeValidator, ConfigDict, Field, ValidationError
from pydantic.fields import FieldInfo
from pydantic_core import ErrorDetails, PydanticCustomError

from logger.description.yaml_files import Document, PathKey, dotted, shown
from logger.errors import Fault

Model = TypeVar("Model", bound=BaseModel)


class Strict(BaseModel):
    """Base of every model read from YAML: frozen, unknown keys refused, no infinities."""

    model_config = ConfigDict(extra="forbid", frozen=True, allow_inf_nan=False)


def refuse(found: str, allowed: str) -> PydanticCustomError:
    """The error a validator raises: what was found and what is allowed, as a person reads it."""
    return PydanticCustomError("refused", "refused", {"found": found, "allowed": allowed})


def _safe_text(text: str) -> str:
    hidden = [char for char in text if unicodedata.category(char) in {"Cc", "Cf", "Cs", "Co", "Cn", "Zl", "Zp"}]
    if hidden:
        raise refuse(shown(text), "text without control or invisible characters")
    return text


def _not_bool(value: object) -> object:
    if isinstance(value, bool):
        raise refuse(shown(value), "a number")
    return value


Number = Annotated[float, Field(strict=True), BeforeValidator(_not_bool)]
Positive = Annotated[float, Field(strict=True, gt=0), BeforeValidator(_not_bool)]
NotNegative = Annotated[float, Field(strict=True, ge=0), BeforeValidator(_not_bool)]
Whole = Annotated[int, Field(strict=True)]
Text = Annotated[str, Field(max_length=200), AfterValidator(_safe_text)]
Channel = Annotated[str, Field(max_length=60), AfterValidator(_safe_text)]
Name = Annotated[str, Field(min_length=1, max_length=60), AfterValidator(_safe_text)]


@dataclass(frozen=True)
class Problem:
    """What a check across fields found, at ``path``; ``doubt`` True: worth saying, not worth refusing."""

    path: PathKey
    found: str
    allowed: str
    doubt: bool = False


def problem_fault(problem: Problem, document: Document) -> Fault:
    return Fault(document.line_of(problem.path), dotted(problem.path), problem.found, problem.allowed)


def nearest(word: str, known: Iterable[str]) -> str:
    """The known word most like ``word``: case apart, and a word without its unit counts as very near."""

    def likeness(candidate: str) -> float:
        a, b = word.casefold(), candidate.casefold()
        start = 0.5 if b.startswith(a + "_") or a.startswith(b + "_") else 0.0
        return difflib.SequenceMatcher(None, a[:60], b).ratio() + start

    return max(sorted(known), key=likeness, default="")


def validated(model: type[Model], document: Document) -> tuple[Model | None, list[Fault]]:
    """The model of a document, or None and every fault of its single fields."""
    try:
        return model.model_validate(document.data), []
    except ValidationError as error:
        return None, faults_from(error.errors(include_url=False), model, document)


def lenient(model: type[Model], data: Any) -> Model | None:
    """A model of ``data`` for the checks across fields even where some fields are bad; None where nothing can be said.

    A bad field has its default, or NaN or an empty text where the default is missing or None: every comparison with
    NaN is false, so a check speaks only of what it knows.
    """
    if not isinstance(data, dict):
        return None
    try:
        return model.model_validate(data)
    except ValidationError as error:
        bad = {str(item["loc"][0]) for item in error.errors(include_url=False) if item["loc"]}
    fillers = {name: _filler(info.annotation) for name, info in model.model_fields.items() if info.is_required()}
    wanting = {name: filler for name, filler in fillers.items() if name in bad or name not in data}
    good = {key: value for key, value in data.items() if key in model.model_fields and key not in bad}
    try:
        partial = model.model_validate({**good, **wanting})
    except ValidationError:
        return None
    unknown = {name: _unknown_like(value) for name, value in wanting.items()}
    for name in bad & set(model.model_fields) - set(unknown):
        if getattr(partial, name) is None:
            unknown[name] = math.nan if "float" in str(model.model_fields[name].annotation) else ""
    return partial.model_copy(update=unknown)


def _filler(annotation: Any) -> Any:
    if annotation is float:
        return 1.0
    if typing.get_origin(annotation) is tuple:
        return (0.0, 1.0)
    if typing.get_origin(annotation) is typing.Literal:
        return typing.get_args(annotation)[0]
    return "?" if annotation is str else None


def _unknown_like(filler: Any) -> Any:
    if isinstance(filler, float):
        return math.nan
    return (math.nan, math.nan) if isinstance(filler, tuple) else ""


def faults_from(errors: Sequence[ErrorDetails], model: type[BaseModel], document: Document) -> list[Fault]:
    """Every pydantic error as a Fault. A key that is only misspelt is not also reported as missing."""
    excused = {
        (*item["loc"][:-1], nearest(str(item["loc"][-1]), known_keys(model, item["loc"][:-1])))
        for item in errors
        if item["type"] == "extra_forbidden"
    }
    faults: list[Fault] = []
    for item in errors:
        if _only_an_echo(item) or (item["type"] == "missing" and item["loc"] in excused):
            continue
        path = _path_in(document, item["loc"])
        if item["type"].startswith("union_tag"):
            path = (*path, str(item["ctx"]["discriminator"]).strip("'"))
        found, allowed = _said(item, model)
        faults.append(Fault(document.line_of(path), dotted(path), found, allowed))
    return faults


def _only_an_echo(item: ErrorDetails) -> bool:
    """A fault already said elsewhere: a default that waits for a bad key, a list "too short" for its bad entries."""
    if item["type"] == "default_factory_not_called":
        return True
    enough = isinstance(item["input"], list) and len(item["input"]) >= item.get("ctx", {}).get("min_length", 0)
    return item["type"] == "too_short" and enough


def _path_in(document: Document, loc: Sequence[str | int]) -> PathKey:
    """The error's place in the file: names of union members, which pydantic puts in between, are left out."""
    path: PathKey = ()
    for index, part in enumerate(loc):
        if (*path, part) in document.value_lines or index == len(loc) - 1:
            path = (*path, part)
    return path


def known_keys(model: type[BaseModel], loc: Sequence[str | int]) -> list[str]:
    """The keys allowed at ``loc`` inside ``model``; where several shapes are possible, those of all of them."""
    return sorted({key for candidate in _models_at(model, loc) for key in _fields(candidate)})


def _fields(model: type[BaseModel]) -> dict[str, FieldInfo]:
    """The model's fields by the key they have in the file."""
    return {info.alias or name: info for name, info in model.model_fields.items()}


def _models_at(model: type[BaseModel], loc: Sequence[str | int]) -> list[type[BaseModel]]:
    """The models whose keys stand at ``loc``, found by walking the annotations."""
    annotations: list[Any] = [model]
    for part in loc:
        following: list[Any] = []
        for annotation in annotations:
            following += _step(annotation, part)
        annotations = following or annotations  # a union member's name, which is no step in the file
    return [found for annotation in annotations for found in _models_in(annotation)]


def _step(annotation: Any, part: str | int) -> list[Any]:
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        info = _fields(annotation).get(str(part))
        return [info.annotation] if info is not None else []
    origin, arguments = typing.get_origin(annotation), typing.get_args(annotation)
    if origin is dict:
        return [arguments[1]]
    if origin is tuple:
        return [argument for argument in arguments if argument is not ...]
    return [step for argument in arguments for step in _step(argument, part)]


def _models_in(annotation: Any) -> list[type[BaseModel]]:
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return [annotation]
    return [model for argument in typing.get_args(annotation) for model in _models_in(argument)]


def _said(item: ErrorDetails, model: type[BaseModel]) -> tuple[str, str]:
    kind, value, context, loc = item["type"], item["input"], item.get("ctx", {}), item["loc"]
    if kind == "refused":
        return str(context["found"]), str(context["allowed"])
    if kind == "missing":
        if isinstance(loc[-1], int):
            return f"{shown(value)}, too few", f"at least {loc[-1] + 1} values"
        return "nothing", f"this key is needed: {_described(model, loc)}"
    if kind == "extra_forbidden":
        known = known_keys(model, loc[:-1])
        return "an unknown key", f"{', '.join(known)}. The nearest is {nearest(str(loc[-1]), known)}"
    if kind in _SENTENCES:
        return _with_hint(value, kind), _SENTENCES[kind].format(**context)
    return shown(value), item["msg"].removeprefix("Input should be ")


_SENTENCES = {
    "float_type": "a number",
    "int_type": "a whole number",
    "int_from_float": "a whole number",
    "finite_number": "a finite number",
    "string_type": "text",
    "string_too_short": "at least {min_length} character",
    "string_too_long": "at most {max_length} characters",
    "bool_type": "true or false",
    "bool_parsing": "true or false",
    "tuple_type": "a list in brackets, as [a, b]",
    "list_type": "a list",
    "dict_type": "keys and values",
    "model_type": "keys and values",
    "model_attributes_type": "keys and values",
    "too_short": "at least {min_length} entries",
    "too_long": "at most {max_length} entries",
    "greater_than": "more than {gt:g}",
    "greater_than_equal": "{ge:g} or more",
    "less_than": "less than {lt:g}",
    "less_than_equal": "{le:g} or less",
    "literal_error": "{expected}",
    "union_tag_invalid": "{expected_tags}",
    "union_tag_not_found": "a key {discriminator}",
}


def _with_hint(value: object, kind: str) -> str:
    if kind.startswith(("float", "int")) and isinstance(value, str):
        if value.replace(",", "", 1).lstrip("+-").isdigit():
            return f"{shown(value)} (write a decimal point, not a comma)"
        return f"{shown(value)} (text)"
    if kind == "string_type" and value is not None and not isinstance(value, dict | list):
        return f"{shown(value)} (put quotes around it)"
    return shown(value)


def _described(model: type[BaseModel], loc: Sequence[str | int]) -> str:
    for candidate in _models_at(model, loc[:-1]):
        info = _fields(candidate).get(str(loc[-1]))
        if info is not None and info.description:
            return info.description
    return str(loc[-1])
