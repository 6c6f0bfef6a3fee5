"""README.md and DEVELOPERS.md tell the truth about what is there."""

import re
from pathlib import Path

import pytest

from logger.commands import COMMANDS

ROOT = Path(__file__).parents[1]
README = (ROOT / "README.md").read_text(encoding="utf-8")
DEVELOPERS = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
CI = (ROOT / ".ci" / "run").read_text(encoding="utf-8")

FENCED = re.findall(r"^```\n(.*?)^```$", README, flags=re.MULTILINE | re.DOTALL)
TWO_COMMANDS = [block.strip() for block in FENCED if block.startswith("python3 -m venv")]


def test_readme_opens_with_one_paragraph_that_states_the_job():
    title, paragraph, *_ = README.split("\n\n")
    assert title == "# truestroke"
    assert "\n" not in paragraph
    assert all(word in paragraph for word in ("indicator", "carriage", "bolt", "which way", "how far"))


def test_ci_runs_the_two_commands_as_they_stand_in_the_readme():
    assert len(TWO_COMMANDS) == 2
    assert all(command in CI for command in TWO_COMMANDS)


def test_ci_ends_with_the_tests():
    assert CI.rstrip().endswith(TWO_COMMANDS[1])


@pytest.mark.parametrize("check", ["ruff check", "ruff format --check", "mypy", "lint-imports"])
def test_ci_and_the_handbook_run_every_check(check):
    assert check in CI
    assert check in DEVELOPERS


@pytest.mark.parametrize("name", COMMANDS)
def test_every_command_is_in_the_readme(name):
    assert f"`truestroke {name}" in README


def test_the_readme_names_no_command_that_is_not_there():
    quoted = "\n".join([*FENCED, *re.findall(r"`([^`\n]+)`", README)])
    named = set(re.findall(r"^truestroke ([a-z]+)", quoted, flags=re.MULTILINE))
    assert named <= set(COMMANDS)


@pytest.mark.parametrize("text", [README, DEVELOPERS], ids=["README", "DEVELOPERS"])
def test_every_file_that_is_named_is_there(text):
    linked = re.findall(r"\]\(([^)#:]+)\)", text)
    quoted = re.findall(r"`((?:logger|analysis|tests|fixtures|hardware)/[\w./-]+)`", text)
    missing = [path for path in linked + quoted if not (ROOT / path).exists()]
    assert not missing


def test_every_module_on_the_packages_map_is_there():
    table = (ROOT / "logger" / "__init__.py").read_text(encoding="utf-8").split("\n===")[1]
    named = re.findall(r"``([\w/]+)``", "\n".join(row.split("  ")[0] for row in table.splitlines()))
    assert len(named) > 10
    assert [name for name in named if not list((ROOT / "logger").glob(f"{name.rstrip('/')}*"))] == []


def test_every_picture_of_the_readme_is_there():
    pictures = re.findall(r"!\[[^\]]+\]\(([^)]+)\)", README)
    assert pictures
    assert all((ROOT / picture).is_file() for picture in pictures)


def test_the_cautions_are_in_the_readme():
    for caution in (
        "Isolate and lock out the power",
        "Never slack all supports at once",
        "clamp the carriage",
        "manual",
    ):
        assert caution in README


def test_the_first_measurement_takes_ten_lines():
    (block,) = [block for block in FENCED if block.startswith("truestroke new")]
    assert re.findall(r"# +(\d+) ", block) == [str(number) for number in range(1, 11)]
