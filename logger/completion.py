"""What a shell needs to finish a half-typed command, made from the command line itself.

Why it exists: options are long words, and a list kept by hand beside the parser is wrong after a month. The scripts are
made from the parsers; nothing of the program runs while a word is being completed, so the shell never waits.
"""

from __future__ import annotations

import argparse
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Literal

Kind = Literal["words", "file", "folder", "any", "none"]
SHELLS = ("bash", "zsh", "fish", "powershell")


@dataclass(frozen=True, slots=True)
class Value:
    """What may stand somewhere: one of ``words``, a file, a folder, anything; ``none``: it takes no value."""

    kind: Kind
    words: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Option:
    """An option with all its spellings, a line of help, and what follows it."""

    flags: tuple[str, ...]
    text: str
    value: Value


@dataclass(frozen=True, slots=True)
class Word:
    """One command: its options, and what its own arguments are."""

    name: str
    summary: str
    options: tuple[Option, ...]
    arguments: tuple[Value, ...]


def words_of_the_command_line() -> tuple[Word, ...]:
    """Every command with its options, from the parsers."""
    from logger.checks.table import BY_NAME
    from logger.cli import build_parser
    from logger.commands import COMMANDS
    from logger.instruments import list_instruments

    known = {"I": tuple(list_instruments()), "CHECK": tuple(BY_NAME), "SHELL": SHELLS, "SWEEP": ()}
    found = []
    for name, summary in COMMANDS.items():
        parser = _parser_of(build_parser(name), name)
        options = [_option(action, known) for action in parser._actions if action.option_strings]
        arguments = [_value(action, known) for action in parser._actions if not action.option_strings]
        found.append(Word(name, summary, tuple(options), tuple(arguments)))
    return tuple(found)


def _parser_of(parser: argparse.ArgumentParser, name: str) -> argparse.ArgumentParser:
    groups = [action for action in parser._actions if isinstance(action, argparse._SubParsersAction)]
    chosen: argparse.ArgumentParser = groups[0].choices[name]
    return chosen


def _option(action: argparse.Action, known: dict[str, tuple[str, ...]]) -> Option:
    text = (action.help or "").replace("%%", "%")
    return Option(tuple(action.option_strings), " ".join(text.split()), _value(action, known))


def _value(action: argparse.Action, known: dict[str, tuple[str, ...]]) -> Value:
    if action.nargs == 0:
        return Value("none")
    if action.choices:
        return Value("words", tuple(map(str, action.choices)))
    metavar = action.metavar if isinstance(action.metavar, str) else ""
    if metavar == "DIR":
        return Value("folder")
    if metavar in ("FILE", "DEST"):
        return Value("file")
    words = known.get(metavar, ())
    return Value("words", words) if words else Value("any")


def script(shell: str) -> str:
    """The completion script for one of ``SHELLS``."""
    makers = {"bash": _bash, "zsh": _zsh, "fish": _fish, "powershell": _powershell}
    return makers[shell](words_of_the_command_line())


def _flags(words: Iterable[Word]) -> list[str]:
    return sorted({flag for word in words for option in word.options for flag in option.flags})


# -- bash --------------------------------------------------------------------------------------------------------------


def _bash(words: tuple[Word, ...]) -> str:
    names = " ".join(word.name for word in words)
    after, own, plain = [], [], []
    for word in words:
        for option in word.options:
            reply = _bash_reply(option.value)
            if reply:
                after += [f"    {word.name}:{flag}) {reply}; return ;;" for flag in option.flags]
        own.append(f'    {word.name}) options="{" ".join(flag for o in word.options for flag in o.flags)}" ;;')
        if word.arguments and (reply := _bash_reply(word.arguments[0])):
            plain.append(f"    {word.name}) {reply} ;;")
    lines = [
        "# bash completion for truestroke; made by: truestroke completion bash",
        "_truestroke() {",
        '  local cur="${COMP_WORDS[COMP_CWORD]}" prev="${COMP_WORDS[COMP_CWORD-1]}" command="" options="" i',
        "  for ((i = 1; i < COMP_CWORD; i++)); do",
        '    case "${COMP_WORDS[i]}" in',
        "      --job|--units) ((i++)) ;;",
        "      -*) ;;",
        '      *) command="${COMP_WORDS[i]}"; break ;;',
        "    esac",
        "  done",
        "  COMPREPLY=()",
        "  if [[ -z $command ]]; then",
        f'    COMPREPLY=($(compgen -W "{names} --help --version --job --units --plain --json" -- "$cur"))',
        "    return",
        "  fi",
        '  case "$command:$prev" in',
        *after,
        "  esac",
        '  case "$command" in',
        *own,
        "  esac",
        "  if [[ $cur == -* ]]; then",
        '    COMPREPLY=($(compgen -W "$options" -- "$cur"))',
        "    return",
        "  fi",
        '  case "$command" in',
        *plain,
        "  esac",
        "}",
        "complete -o filenames -F _truestroke truestroke",
    ]
    return "\n".join(lines) + "\n"


def _bash_reply(value: Value) -> str:
    if value.kind == "words":
        return f'COMPREPLY=($(compgen -W "{" ".join(value.words)}" -- "$cur"))'
    if value.kind == "file":
        return 'COMPREPLY=($(compgen -f -- "$cur"))'
    if value.kind == "folder":
        return 'COMPREPLY=($(compgen -d -- "$cur"))'
    return ""


# -- zsh ---------------------------------------------------------------------------------------------------------------


def _zsh(words: tuple[Word, ...]) -> str:
    lines = [
        "#compdef truestroke",
        "# zsh completion for truestroke; made by: truestroke completion zsh",
        "_truestroke() {",
        "  local context state line",
        "  typeset -A opt_args",
        "  _arguments -C '1: :->command' '*:: :->rest'",
        "  case $state in",
        "    command)",
        "      local -a commands=(",
        *[f"        {_single(f'{word.name}:{word.summary}')}" for word in words],
        "      )",
        "      _describe command commands ;;",
        "    rest)",
        "      case $line[1] in",
    ]
    for word in words:
        specs = [_single(spec) for option in word.options for spec in _zsh_option(option)]
        specs += [_single(f"{'*' if n else '1'}:argument:{_zsh_action(v)}") for n, v in enumerate(word.arguments[:2])]
        lines += [f"        {word.name}) _arguments \\", *[f"          {spec} \\" for spec in specs], "          ;;"]
    lines += ["      esac ;;", "  esac", "}", 'compdef _truestroke truestroke 2>/dev/null || _truestroke "$@"']
    return "\n".join(lines) + "\n"


def _zsh_option(option: Option) -> list[str]:
    text = option.text.replace("[", "(").replace("]", ")").replace(":", ";")[:70]
    tail = "" if option.value.kind == "none" else f":value:{_zsh_action(option.value)}"
    return [f"{flag}[{text}]{tail}" for flag in option.flags]


def _zsh_action(value: Value) -> str:
    if value.kind == "words":
        return f"({' '.join(value.words)})"
    return {"file": "_files", "folder": "_files -/"}.get(value.kind, "")


def _single(text: str) -> str:
    return "'" + text.replace("'", "'\\''") + "'"


# -- fish --------------------------------------------------------------------------------------------------------------


def _fish(words: tuple[Word, ...]) -> str:
    lines = [
        "# fish completion for truestroke; made by: truestroke completion fish",
        "complete -c truestroke -f",
        *[
            f"complete -c truestroke -n __fish_use_subcommand -a {word.name} -d {_fish_quoted(word.summary)}"
            for word in words
        ],
    ]
    for word in words:
        here = f"complete -c truestroke -n '__fish_seen_subcommand_from {word.name}'"
        for option in word.options:
            named = "".join(f" -l {flag[2:]}" if flag.startswith("--") else f" -s {flag[1:]}" for flag in option.flags)
            lines.append(f"{here}{named}{_fish_value(option.value)} -d {_fish_quoted(option.text[:70])}")
        for value in word.arguments[:1]:
            if value.kind in ("words", "file", "folder"):
                lines.append(f"{here}{_fish_value(value).replace(' -r', '').replace(' -x', '')}")
    return "\n".join(lines) + "\n"


def _fish_value(value: Value) -> str:
    if value.kind == "words":
        return f" -x -a {_fish_quoted(' '.join(value.words))}"
    return {"file": " -r -F", "folder": " -x -a '(__fish_complete_directories)'", "any": " -x", "none": ""}[value.kind]


def _fish_quoted(text: str) -> str:
    return "'" + text.replace("\\", "\\\\").replace("'", "\\'") + "'"


# -- PowerShell --------------------------------------------------------------------------------------------------------


def _powershell(words: tuple[Word, ...]) -> str:
    """Commands, options and fixed words; files are what the shell offers when nothing else fits."""
    lines = [
        "# PowerShell completion for truestroke; made by: truestroke completion powershell",
        "Register-ArgumentCompleter -Native -CommandName truestroke -ScriptBlock {",
        "  param($word, $ast, $position)",
        "  $commands = [ordered]@{",
        *[f"    {_ps(word.name)} = {_ps(word.summary)}" for word in words],
        "  }",
        "  $options = @{",
    ]
    for word in words:
        flags = ", ".join(_ps(flag) for option in word.options for flag in option.flags)
        lines.append(f"    {_ps(word.name)} = @({flags})")
    lines += ["  }", "  $values = @{"]
    for word in words:
        for option in word.options:
            if option.value.kind == "words":
                said = ", ".join(map(_ps, option.value.words))
                lines += [f"    {_ps(f'{word.name} {flag}')} = @({said})" for flag in option.flags]
        if word.arguments and word.arguments[0].kind == "words":
            lines.append(f"    {_ps(word.name)} = @({', '.join(map(_ps, word.arguments[0].words))})")
    lines += [
        "  }",
        "  $typed = @($ast.CommandElements | Select-Object -Skip 1 | ForEach-Object { $_.ToString() })",
        "  $done = @($typed | Where-Object { $_ -ne $word })",
        "  $command = $done | Where-Object { $commands.Contains($_) } | Select-Object -First 1",
        "  if (-not $command) { $offer = @($commands.Keys) }",
        '  elseif ($values.ContainsKey("$command $($done[-1])")) { $offer = $values["$command $($done[-1])"] }',
        "  elseif ($word -like '-*') { $offer = $options[$command] }",
        "  elseif ($values.ContainsKey($command)) { $offer = $values[$command] }",
        "  else { $offer = @() }",
        '  $offer | Where-Object { $_ -like "$word*" } | ForEach-Object {',
        "    $text = if ($commands.Contains($_)) { $commands[$_] } else { $_ }",
        "    [System.Management.Automation.CompletionResult]::new($_, $_, 'ParameterValue', $text)",
        "  }",
        "}",
    ]
    return "\n".join(lines) + "\n"


def _ps(text: str) -> str:
    return "'" + text.replace("'", "''") + "'"
