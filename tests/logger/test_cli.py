"""The command line's own manners: one sentence, the right exit code, nothing unescaped, never a traceback."""

import io
import json
import os
import subprocess
import sys
import threading

import pytest
from pydantic_core import SchemaError

from logger import cli
from logger.commands import COMMANDS, Answer
from logger.console import Console
from logger.errors import BadFile, CannotSave, Fault, InstrumentLost, NotAllowed, PortError, TruestrokeError


def run(*arguments, **settings):
    return subprocess.run(
        [sys.executable, "-m", "logger", *arguments],
        capture_output=True,
        text=True,
        stdin=subprocess.DEVNULL,
        timeout=60,
        **settings,
    )


class Command:
    """Stands in for a command module whose ``run`` does what the test says."""

    def __init__(self, run):
        self.run = run

    def add_parser(self, subparsers):
        subparsers.add_parser("spots", help=COMMANDS["spots"])


@pytest.fixture
def command(monkeypatch):
    def install(run):
        monkeypatch.setattr(cli, "command_module", lambda name: Command(run))

    return install


def test_help_lists_every_command_and_ends_well():
    done = run("--help")
    assert done.returncode == 0
    assert all(f"\n    {name} " in done.stdout for name in COMMANDS)
    assert done.stderr == ""


def test_version_is_the_packages():
    done = run("--version")
    assert (done.returncode, done.stdout) == (0, "truestroke 0.1.0\n")


@pytest.mark.parametrize("name", COMMANDS)
def test_every_command_has_help_with_an_example_in_plain_ascii(name):
    done = run(name, "--help")
    assert done.returncode == 0
    assert f"example:\n  truestroke {name}" in done.stdout
    assert done.stdout.isascii()
    assert all(option in done.stdout for option in ("--job", "--units", "--plain", "--json"))


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (["swep"], "There is no command 'swep'; the nearest is 'sweep'."),
        (["xyzzy"], "There is no command 'xyzzy'. The commands are demo, new,"),
        (
            ["sweep", "--port", "P", "--instrument", "I", "--pases", "2"],
            "no option '--pases'; the nearest is '--passes'.",
        ),
        (["live", "--instrument", "I"], "The following arguments are required: --port."),
        (["sweep", "--port", "P", "--instrument", "I", "--passes", "two"], "--passes: invalid int value: 'two'."),
        (["--units", "ft", "spots"], "--units: invalid choice: 'ft'"),
        (["replay", "1", "2"], "'2' is one argument too many."),
        (["--jsn"], "no option '--jsn'; the nearest is '--json'."),
    ],
)
def test_wrong_arguments_exit_2_and_name_what_is_near(arguments, said):
    done = run(*arguments)
    assert done.returncode == 2
    assert said in " ".join(done.stderr.split())
    assert done.stdout == ""
    assert "Traceback" not in done.stderr


@pytest.mark.parametrize("marks", [["--marks", "-300,0"], ["--marks=-300,0"]])
def test_marks_may_begin_with_a_minus_either_way(marks):
    args = cli.parse(["sweep", "--port", "P", "--instrument", "I", *marks])
    assert args.marks == "-300,0"


def test_an_option_after_marks_is_still_an_option():
    args = cli.parse(["sweep", "--port", "P", "--instrument", "I", "--marks", "0,1", "--json"])
    assert args.json


@pytest.mark.parametrize("arguments", [["--job", "saw", "spots"], ["spots", "--job", "saw"]])
def test_common_options_stand_before_or_after_the_command(arguments):
    args = cli.parse(arguments)
    assert (args.job, args.units, args.plain, args.json) == ("saw", "mm", False, False)


@pytest.mark.parametrize(
    ("error", "code"),
    [
        (TruestrokeError("It failed.", "Try again."), 1),
        (PortError("No port.", "Plug it in."), 1),
        (CannotSave("Disk full.", "Free some."), 1),
        (NotAllowed("No such bolt.", "Name one."), 2),
        (InstrumentLost("Cable out.", "Plug it in."), 3),
        (PermissionError(13, "Permission denied", "saw/journal.jsonl"), 1),
    ],
)
def test_an_error_is_a_sentence_and_an_exit_code(command, capsys, error, code):
    def fails(args):
        raise error

    command(fails)
    assert cli.main(["spots"]) == code
    said = capsys.readouterr()
    assert said.out == ""
    assert said.err.startswith("truestroke: ")
    assert said.err.count("\n") == 1


def test_a_bad_file_lists_every_fault(command, capsys):
    def fails(args):
        faults = [Fault(3, "rail.from_mm", "'x'", "a number"), Fault(None, "bolts", "nothing", "at least one")]
        raise BadFile("machine.yaml has 2 faults.", "Correct them.", faults)

    command(fails)
    assert cli.main(["spots"]) == 2
    assert capsys.readouterr().err.splitlines() == [
        "truestroke: machine.yaml has 2 faults. Correct them.",
        "  line 3, rail.from_mm: found 'x'; allowed: a number",
        "  bolts: found nothing; allowed: at least one",
    ]


def test_an_answer_with_a_failure_is_given_and_then_fails(command, capsys):
    command(lambda args: Answer({"ended": "link lost"}, ["kept"], InstrumentLost("Cable out.", "Plug it in.")))
    assert cli.main(["spots", "--json"]) == 3
    said = capsys.readouterr()
    assert json.loads(said.out) == {"ended": "link lost"}
    assert "Cable out." in said.err


def test_json_is_one_object_and_nothing_else(command, capsys):
    def chatty(args):
        args.terminal.write("not for a script")
        args.terminal.progress("12 readings")
        return Answer({"unit": "µm"}, ["not for a script"])

    command(chatty)
    assert cli.main(["spots", "--json"]) == 0
    said = capsys.readouterr()
    assert json.loads(said.out) == {"unit": "µm"}
    assert said.out.count("\n") == 1


def test_json_never_contains_what_is_no_json(command):
    command(lambda args: Answer({"mean_mm": float("nan")}))
    with pytest.raises(ValueError, match="not JSON compliant"):
        cli.main(["spots", "--json"])


@pytest.mark.parametrize("hostile", ["\x1b[2J\x1b]0;owned\x07", "a\rb", "\u202egnp", "\x9b31m", "line\nbreak"])
def test_nothing_hostile_reaches_the_terminal(command, capsys, hostile):
    def fails(args):
        args.terminal.write(hostile)
        raise NotAllowed(hostile)

    command(fails)
    cli.main(["spots"])
    said = capsys.readouterr()
    for text in (said.out, said.err):
        assert text.count("\n") == 1
        assert text.rstrip("\n").isprintable()
        assert text.isascii()


def test_ctrl_c_is_130(command, capsys):
    def interrupted(args):
        raise KeyboardInterrupt

    command(interrupted)
    assert cli.main(["spots"]) == 130
    assert capsys.readouterr().err == "truestroke: Interrupted. Whatever was recorded until now is kept.\n"


@pytest.mark.skipif(sys.version_info >= (3, 12), reason="from 3.12 on the exception itself comes through")
def test_ctrl_c_while_a_class_is_being_made_is_130_too(command, capsys):
    """Python 3.11 wraps what is raised in ``__set_name__``: a Ctrl-C during an import then looks like a fault."""

    class Field:
        def __set_name__(self, owner, name):
            raise KeyboardInterrupt

    def interrupted(args):
        type("Made", (), {"field": Field()})

    command(interrupted)
    assert cli.main(["spots"]) == 130
    assert capsys.readouterr().err == "truestroke: Interrupted. Whatever was recorded until now is kept.\n"


def test_ctrl_c_while_a_validator_is_being_made_is_130_too(command, capsys):
    """pydantic's core keeps no cause: what it says of a Ctrl-C in the middle of its work only names it at the end."""

    def interrupted(args):
        raise SchemaError('Error building "model" validator:\n  SchemaError: Field "bit_order":\n  KeyboardInterrupt:')

    command(interrupted)
    assert cli.main(["spots"]) == 130
    assert capsys.readouterr().err == "truestroke: Interrupted. Whatever was recorded until now is kept.\n"


def test_any_other_runtime_error_goes_up(command):
    def fails(args):
        raise RuntimeError("not foreseen") from ValueError("why")

    command(fails)
    with pytest.raises(RuntimeError, match="not foreseen"):
        cli.main(["spots"])


def test_a_reader_that_goes_away_is_no_traceback():
    first, second = os.pipe()
    os.close(first)
    with os.fdopen(second, "w") as gone:
        done = subprocess.run(
            [sys.executable, "-m", "logger", "--help"], stdout=gone, stderr=subprocess.PIPE, text=True, timeout=60
        )
    assert done.stderr == ""
    assert done.returncode in (0, 1)


def test_without_a_terminal_the_screen_says_so():
    done = run()
    assert done.returncode == 1
    assert "needs a terminal" in done.stderr
    assert "truestroke --help" in done.stderr


def test_an_ascii_terminal_gets_ascii(command):
    out, err = io.TextIOWrapper(io.BytesIO(), "ascii"), io.StringIO()
    console = Console(out, err)
    console.configure(plain=False, json_only=False)
    console.answer(Answer({}, ["▲ high by +0.012 ±0.002 mm, größer"]))
    assert out.buffer.getvalue() == b"^ high by +0.012 +/-0.002 mm, gr\\xf6\\xdfer\n"


def test_a_fault_of_our_own_is_kept_in_a_file_and_said_in_one_sentence(tmp_path, monkeypatch):
    monkeypatch.setenv("TMPDIR", str(tmp_path))
    program = (
        "import logger.cli as c; c.command_module = lambda name: 1 / 0; import sys; sys.argv = ['t', 'spots']; c.main()"
    )
    done = subprocess.run([sys.executable, "-c", program], capture_output=True, text=True, timeout=60)
    assert done.returncode == 1
    assert "Traceback" not in done.stderr
    assert "a fault in truestroke itself (ZeroDivisionError" in done.stderr
    (kept,) = tmp_path.glob("truestroke-fault-*.txt")
    assert "Traceback" in kept.read_text()


def test_a_ctrl_c_that_breaks_a_lock_being_taken_again_is_still_a_ctrl_c():
    """threading.Condition: the lock is not held yet when the interrupt comes, and leaving it raises RuntimeError."""

    def left(by):
        try:
            try:
                raise by
            finally:
                threading.Lock().release()
        except RuntimeError as error:
            return error

    assert cli._was_interrupt(left(KeyboardInterrupt()))
    assert not cli._was_interrupt(left(ValueError()))
