"""Completion scripts: made from the parsers, and tried in the shells that are here."""

import shutil
import subprocess
import sys

import pytest

from logger.commands import COMMANDS
from logger.commands.completion import SHELLS as OFFERED
from logger.completion import SHELLS, script, words_of_the_command_line

WORDS = words_of_the_command_line()


def in_shell(shell, text, tmp_path):
    if shutil.which(shell) is None:
        pytest.skip(f"{shell} is not installed: its completion was not tried")
    path = tmp_path / f"done.{shell}"
    path.write_text(script(shell), encoding="utf-8")
    done = subprocess.run(
        [shell, *(("-f",) if shell == "zsh" else ()), "-c", text.replace("SCRIPT", str(path))],
        capture_output=True,
        text=True,
        timeout=60,
        cwd=tmp_path,
    )
    assert done.returncode == 0, done.stderr
    assert done.stderr == ""
    return done.stdout.split()


def completed(tmp_path, *typed):
    """What bash offers for the last of the words typed."""
    words = " ".join(f"'{word}'" for word in ("truestroke", *typed))
    text = f'source SCRIPT; COMP_WORDS=({words}); COMP_CWORD={len(typed)}; _truestroke; echo "${{COMPREPLY[@]}}"'
    return in_shell("bash", text, tmp_path)


def test_the_command_offers_every_shell_there_is_a_script_for():
    assert OFFERED == SHELLS


def test_every_command_and_every_option_of_the_parsers_is_known():
    assert [word.name for word in WORDS] == list(COMMANDS)
    sweep = next(word for word in WORDS if word.name == "sweep")
    flags = {flag for option in sweep.options for flag in option.flags}
    assert {"--port", "--instrument", "--set-up", "--marks", "--job", "--units", "--json", "--help", "-h"} <= flags


@pytest.mark.parametrize("shell", SHELLS)
def test_every_script_names_every_command_and_long_option(shell):
    text = script(shell)
    for word in WORDS:
        assert word.name in text
        for option in word.options:
            for flag in option.flags:
                assert (f"-l {flag[2:]}" if shell == "fish" and flag.startswith("--") else flag.lstrip("-")) in text


@pytest.mark.parametrize(
    ("typed", "offered"),
    [
        (["sw"], ["sweep"]),
        (["--units", "in", "repo"], ["report"]),
        (["sweep", "--pa"], ["--passes"]),
        (["report", "--as", "p"], ["png", "pdf"]),
        (["board", "--units", ""], ["mm", "in"]),
        (["sweep", "--instrument", "level-l"], ["level-line"]),
        (["take", "flan"], ["flange"]),
        (["completion", "z"], ["zsh"]),
        (["nonsense", "--x"], []),
    ],
)
def test_bash_offers_what_fits(tmp_path, typed, offered):
    assert completed(tmp_path, *typed) == offered


def test_bash_offers_files_and_folders_where_they_belong(tmp_path):
    (tmp_path / "saw-job").mkdir()
    (tmp_path / "saw.csv").write_text("", encoding="utf-8")
    assert completed(tmp_path, "board", "--job", "saw") == ["saw-job"]
    assert sorted(completed(tmp_path, "import", "saw")) == ["saw-job", "saw.csv"]


@pytest.mark.parametrize(
    ("line", "offered"),
    [("truestroke sw", "sweep"), ("truestroke report --as p", "png"), ("truestroke take flan", "flange")],
)
def test_fish_offers_what_fits(tmp_path, line, offered):
    assert offered in in_shell("fish", f"source SCRIPT; complete -C '{line}' | cut -f1", tmp_path)


def test_zsh_loads_the_script_as_its_own(tmp_path):
    text = (
        "autoload -U compinit; compinit -u -D; source SCRIPT; print -r -- ${_comps[truestroke]}; whence -w _truestroke"
    )
    assert in_shell("zsh", text, tmp_path) == ["_truestroke", "_truestroke:", "function"]


def test_powershell_reads_the_script(tmp_path):
    in_shell("pwsh", "$null = [scriptblock]::Create((Get-Content -Raw SCRIPT))", tmp_path)


def test_the_command_prints_the_script_and_nothing_else():
    done = subprocess.run(
        [sys.executable, "-m", "logger", "completion", "bash"], capture_output=True, text=True, timeout=60
    )
    assert done.stdout == script("bash")
    assert done.stderr == ""
