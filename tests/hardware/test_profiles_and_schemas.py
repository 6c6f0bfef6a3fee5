"""Facts about the shipped data: every profile reads its own examples, every schema is the models' own."""

from pathlib import Path

import jsonschema
import pytest

from logger.description.instrument_base import example_problems, instrument_problems
from logger.description.instrument_frames import FAMILIES
from logger.description.schemas import SCHEMAS, instrument_schema, machine_schema, schema_text
from logger.description.yaml_files import parse_yaml
from logger.instruments import list_instruments, load_instrument
from logger.readings import Reading

HARDWARE = Path(__file__).parents[2] / "hardware"
MACHINES = sorted((HARDWARE / "machines").glob("*.yaml"))
INSTRUMENTS = sorted((HARDWARE / "instruments").glob("*.yaml"))


def parsed(path):
    return parse_yaml(path.read_text(encoding="utf-8"), path.name).data


@pytest.mark.parametrize("name", list_instruments())
def test_every_profile_decodes_its_own_examples(name):
    instrument = load_instrument(name)
    assert instrument_problems(instrument) == []
    assert any(not example.no_value for example in instrument.examples), "at least one example is a reading"


@pytest.mark.parametrize("name", list_instruments())
def test_an_example_that_says_another_value_is_found_out(name):
    """The check above can fail: the same bytes with another meaning are refused."""
    instrument = load_instrument(name)
    example = next(one for one in instrument.examples if not one.no_value)
    wrong = example.model_copy(update={"value": 123.456, "value_mm": None, "value_mm_per_m": None})
    assert example_problems(instrument, wrong, ("examples", 0))


def test_every_family_of_frames_has_a_shipped_profile():
    assert {load_instrument(name).frame for name in list_instruments()} == set(FAMILIES)


def test_no_two_line_profiles_read_each_other_s_readings():
    """Otherwise listening could not tell them apart."""
    from logger.description.instrument_base import decode_once

    lines = {name: load_instrument(name) for name in list_instruments() if load_instrument(name).frame == "line"}
    for name, profile in lines.items():
        for example in profile.examples:
            readers = [
                other
                for other, instrument in lines.items()
                if any(isinstance(record, Reading) for record in decode_once(instrument, example.wire))
            ]
            assert readers == ([] if example.no_value else [name])


@pytest.mark.parametrize("name", SCHEMAS)
def test_the_schema_in_the_repository_is_the_models_own(name):
    written = (HARDWARE / "schema" / f"{name}.schema.json").read_text(encoding="utf-8")
    assert written == schema_text(name), (
        f"renew it: python -m logger.description.schemas {name} > hardware/schema/{name}.schema.json"
    )


@pytest.mark.parametrize("schema", [machine_schema(), instrument_schema()], ids=["machine", "instrument"])
def test_the_schemas_are_valid_json_schema_2020_12(schema):
    jsonschema.Draft202012Validator.check_schema(schema)


@pytest.mark.parametrize("path", MACHINES, ids=lambda path: path.stem)
def test_every_shipped_machine_fits_the_schema(path):
    jsonschema.Draft202012Validator(machine_schema()).validate(parsed(path))


@pytest.mark.parametrize("path", INSTRUMENTS, ids=lambda path: path.stem)
def test_every_shipped_instrument_fits_the_schema(path):
    jsonschema.Draft202012Validator(instrument_schema()).validate(parsed(path))


@pytest.mark.parametrize(
    ("old", "new"),
    [
        ("pitch_mm: 1.5", "pitch_mm: 0"),
        ("kind: fixed, x_mm: 1100", "kind: fixed"),
        ("x_mm: 150", "x: 150"),
        ("material: steel", "material: wood"),
    ],
)
def test_the_schema_refuses_what_an_editor_can_know_is_wrong(old, new):
    text = (HARDWARE / "machines" / "kiln-street.yaml").read_text(encoding="utf-8")
    assert old in text
    wrong = parse_yaml(text.replace(old, new, 1), "wrong").data
    assert not jsonschema.Draft202012Validator(machine_schema()).is_valid(wrong)


@pytest.mark.parametrize("path", MACHINES, ids=lambda path: path.stem)
def test_every_shipped_machine_says_that_it_is_invented(path):
    assert "invented" in path.read_text(encoding="utf-8").casefold()
