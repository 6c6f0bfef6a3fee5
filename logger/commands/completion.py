"""``truestroke completion``: what a shell needs to finish half-typed commands.

Why it exists: nobody remembers ``--instrument`` with gloves on. The script is made from the command line itself.
"""

from __future__ import annotations

from logger.commands import Answer, new_parser

TYPE_CHECKING = False
if TYPE_CHECKING:
    import argparse

    from logger.commands import Subparsers

SHELLS = ("bash", "zsh", "fish", "powershell")


def add_parser(subparsers: Subparsers) -> None:
    parser = new_parser(
        subparsers,
        "completion",
        "Prints the completion script for a shell. Keep it where the shell looks for such scripts, or load it\n"
        "from the shell's start file.",
        "  truestroke completion bash > ~/.local/share/bash-completion/completions/truestroke\n"
        "  truestroke completion zsh > ~/.zfunc/_truestroke        (a folder that is in fpath)\n"
        "  truestroke completion fish > ~/.config/fish/completions/truestroke.fish\n"
        "  truestroke completion powershell >> $PROFILE",
    )
    parser.add_argument("shell", metavar="SHELL", choices=SHELLS, help="bash, zsh, fish or powershell")


def run(args: argparse.Namespace) -> Answer:
    from logger.completion import script

    text = script(args.shell)
    return Answer({"shell": args.shell, "script": text}, text.splitlines())
