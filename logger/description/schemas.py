"""JSON Schemas of the machine and instrument files, made from the models, so that an editor can help while typing.

Why it exists: a schema written by hand drifts from what the program really accepts. It prevents that by being
generated (``python -m logger.description.schemas machine``); a test holds the copies in ``hardware/schema`` equal to
the models.
The schemas are JSON Schema draft 2020-12. They cannot say everything: the checks across keys are the program's.
"""

from __future__ import annotations

import json
import sys
from functools import reduce
from operator import or_
from typing import Annotated, Any

from pydantic import Field, TypeAdapter
from pydantic.json_schema import GenerateJsonSchema

from logger.description.instrument_frames import FAMILIES
from logger.machines import Machine

DIALECT = "https://json-schema.org/draft/2020-12/schema"


class _WithoutTitles(GenerateJsonSchema):
    """A key's title would only repeat the key."""

    def field_title_should_be_set(self, schema: Any) -> bool:
        return False


def machine_schema() -> dict[str, Any]:
    """The schema of ``machine.yaml``."""
    return {
        "$schema": DIALECT,
        **Machine.model_json_schema(schema_generator=_WithoutTitles),
        "title": "truestroke machine file",
    }


def instrument_schema() -> dict[str, Any]:
    """The schema of an instrument file: one of the families, told apart by ``frame``."""
    families: Any = reduce(or_, FAMILIES.values())
    adapter: TypeAdapter[Any] = TypeAdapter(Annotated[families, Field(discriminator="frame")])
    return {
        "$schema": DIALECT,
        "title": "truestroke instrument file",
        **adapter.json_schema(schema_generator=_WithoutTitles),
    }


SCHEMAS = {"machine": machine_schema, "instrument": instrument_schema}


def schema_text(name: str) -> str:
    """The text of ``hardware/schema/<name>.schema.json``."""
    return json.dumps(SCHEMAS[name](), indent=2, ensure_ascii=False) + "\n"


if __name__ == "__main__":
    sys.stdout.write(schema_text(sys.argv[1]))
