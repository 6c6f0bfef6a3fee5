"""The command line in one job's folder, each command a process of its own as a script or a person starts it."""

import contextlib
import io
import json
import os
import subprocess
import sys
from importlib import resources
from pathlib import Path

from tests.logger.device import INSTRUMENT, LEVEL, STATIONS, Device

ROOT = Path(__file__).parents[2]
MARKS = ",".join(f"{station:g}" for station in STATIONS)
MACHINE = resources.files("hardware").joinpath("machines", "kiln-street.yaml").read_text(encoding="utf-8")
COMMAND = (sys.executable, "-m", "logger")
ENVIRONMENT = {**os.environ, "PYTHONPATH": str(ROOT), "OPENBLAS_NUM_THREADS": "1"}


class Shell:
    """A job of the Kiln Street saw; ``bench.yaml`` and ``level.yaml`` are the instruments of :mod:`device`."""

    def __init__(self, folder):
        self.folder = folder
        (folder / "machine.yaml").write_text(MACHINE, encoding="utf-8")
        (folder / "bench.yaml").write_text(INSTRUMENT, encoding="utf-8")
        (folder / "level.yaml").write_text(LEVEL, encoding="utf-8")

    def __call__(self, *arguments, **settings):
        return subprocess.run(
            [*COMMAND, *arguments],
            cwd=self.folder,
            env=ENVIRONMENT,
            stdin=subprocess.DEVNULL,
            capture_output=True,
            text=True,
            timeout=300,
            **settings,
        )

    def json(self, *arguments, code=0):
        """The one object a command prints with ``--json``, and nothing beside it."""
        done = self(*arguments, "--json")
        assert done.returncode == code, done.stderr
        assert done.stdout.count("\n") == 1
        return json.loads(done.stdout)

    def sweep(self, data, *more, set_up="across", instrument="bench.yaml", marks=True, code=0):
        """Two passes from a device that says ``data`` and hangs up."""
        with Device(data) as device:
            return self.json(
                *("sweep", "--port", device.url, "--instrument", instrument, "--set-up", set_up, "--passes", "2"),
                *("--until", "closed", *(("--marks", MARKS) if marks else ()), *more),
                code=code,
            )

    def sweeps(self):
        return sorted(folder.name for folder in (self.folder / "sweeps").glob("*"))


class Inside(Shell):
    """The same commands in this process, which is quicker: for what is said, not for how a process behaves."""

    def __call__(self, *arguments, **settings):
        from logger.cli import main

        out, said = io.StringIO(), io.StringIO()
        with contextlib.chdir(self.folder), contextlib.redirect_stdout(out), contextlib.redirect_stderr(said):
            code = main(arguments)
        return subprocess.CompletedProcess(arguments, code, out.getvalue(), said.getvalue())
