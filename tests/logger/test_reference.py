"""The reference pages are the code's own words, and complete."""

import re
from pathlib import Path

import pytest

from logger.checks.table import CHECKS
from logger.commands import COMMANDS
from logger.completion import words_of_the_command_line
from logger.description.instrument_frames import FAMILIES
from logger.description.schemas import SCHEMAS
from logger.job import KINDS
from logger.reference import ENTRIES, described, pages

GUIDE = Path(__file__).parents[2] / "hardware" / "guide"
PAGES = pages()
RENEW = "python -m logger.reference hardware/guide"


@pytest.mark.parametrize("name", PAGES)
def test_the_page_in_the_repository_is_the_codes_own(name):
    assert (GUIDE / name).read_text(encoding="utf-8") == PAGES[name], f"renew it: {RENEW}"


def test_every_command_and_every_option_is_there():
    for word in words_of_the_command_line():
        section = PAGES["commands.md"].split(f"\n## {word.name}: ")[1].split("\n## ")[0]
        for option in word.options:
            if option.flags[-1] not in ("--job", "--units", "--plain", "--json", "--help"):
                assert option.flags[-1] in section, (word.name, option.flags)
        assert f"truestroke {word.name}" in section
    assert len(re.findall(r"^## ", PAGES["commands.md"], flags=re.MULTILINE)) == len(COMMANDS)


@pytest.mark.parametrize("page", ["machine", "instrument"])
def test_every_key_of_the_yaml_files_is_there_with_a_word_about_it(page):
    schema = SCHEMAS[page]()
    text, silent = PAGES[f"{page}-file.md"], []
    for name, model in {**schema.get("$defs", {}), "": schema}.items():
        for key, said in model.get("properties", {}).items():
            assert f"| `{key}` |" in text
            if not described(key, said):
                silent.append(f"{name}.{key}")
    assert silent == []


def test_every_family_of_instruments_is_there():
    for family in FAMILIES.values():
        assert f"## {family.__name__}" in PAGES["instrument-file.md"]


def test_every_kind_of_journal_entry_is_told():
    assert set(ENTRIES) == set(KINDS)
    for kind in KINDS:
        assert f"| `{kind}` |" in PAGES["files.md"]


@pytest.mark.parametrize("check", CHECKS, ids=lambda check: check.name)
def test_every_check_is_told_with_cautions_steps_keys_and_limit(check):
    section = PAGES["checks.md"].split(f"(`{check.name}`)\n")[1].split("\n## ")[0]
    for caution in check.cautions:
        assert caution in section
    for ask in check.asks:
        assert f"| `{ask.key}` |" in section
    joined = " ".join(section.split())
    for step in check.steps:
        assert " ".join(step.split()) in joined
    assert section.index(check.cautions[0]) < section.index("1. ")


def test_every_page_of_the_guide_is_linked_and_every_link_leads_somewhere():
    index = (GUIDE / "README.md").read_text(encoding="utf-8")
    assert {page.name for page in GUIDE.glob("*.md")} - {"README.md"} == set(re.findall(r"\]\(([\w-]+\.md)\)", index))
    for page in GUIDE.glob("*.md"):
        for link in re.findall(r"\]\(([^)#:]+)(?:#[^)]*)?\)", page.read_text(encoding="utf-8")):
            assert (GUIDE / link).exists(), (page.name, link)


def test_the_guide_names_no_command_or_option_that_is_not_there():
    flags = {flag for word in words_of_the_command_line() for option in word.options for flag in option.flags}
    for page in ("first-sweep.md", "troubleshooting.md"):
        text = (GUIDE / page).read_text(encoding="utf-8")
        assert set(re.findall(r"truestroke ([a-z]+)", text)) <= {*COMMANDS, "it"}
        assert set(re.findall(r"(?<![\w-])--[a-z][a-z-]+", text)) <= flags


def test_what_may_hurt_is_said_before_it_may():
    text = (GUIDE / "first-sweep.md").read_text(encoding="utf-8")
    assert text.index("Isolate and lock out the power") < text.index("## 1.")
    assert text.index("Never slack all supports at once") < text.index("Slack the lock nut")
