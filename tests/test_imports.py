"""The import directions hold, and the command line starts without the heavy libraries.

Contracts live in pyproject.toml with a sentence of reason each; here they are run. The second half starts a fresh
interpreter, because what matters is what is loaded, not what is written.
"""

import subprocess
import sys

import pytest
from importlinter.cli import lint_imports

HEAVY = ("numpy", "scipy", "textual", "rich", "serial", "pydantic", "yaml", "matplotlib", "jinja2")


def test_every_import_contract_is_kept(capsys):
    assert lint_imports(no_cache=True) == 0, capsys.readouterr().out


def _loaded_after(statement: str) -> set[str]:
    program = f"{statement}\nimport sys\nprint('\\n'.join(sys.modules))"
    done = subprocess.run([sys.executable, "-c", program], capture_output=True, text=True, check=True)
    return set(done.stdout.split())


@pytest.mark.parametrize(
    "statement",
    [
        "import logger.cli",
        "import logger.cli; logger.cli.build_parser()",
        "import logger.cli; logger.cli.parse(['sweep', '--port', 'P', '--instrument', 'I', '--set-up', 'S'])",
    ],
)
def test_the_command_line_starts_without_heavy_libraries(statement):
    assert not _loaded_after(statement) & set(HEAVY)


def test_the_package_itself_imports_nothing():
    bare = _loaded_after("pass")
    assert _loaded_after("import logger") - bare == {"logger"}


@pytest.mark.parametrize("module", ["logger.readings", "logger.errors", "logger.decode"])
def test_records_errors_and_decoders_need_only_the_standard_library(module):
    outside = _loaded_after(f"import {module}") & {*HEAVY, "analysis", "fixtures"}
    assert not outside


def test_the_analysis_imports_nothing_of_ours_but_itself():
    loaded = {name.split(".")[0] for name in _loaded_after("import analysis.results")}
    assert not loaded & {"logger", "fixtures", "hardware", "serial", "textual"}
