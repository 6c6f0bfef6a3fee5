"""Refuse a line pattern that could take minutes on one line of noise.

Why it exists: an instrument file's pattern is matched against every line of up to 256 hostile bytes, in the process
that must never be late. Python's ``re`` tries every way to divide a line between repeats; a repeat inside a repeat
makes that exponential (``(\\d+)*x``), several neighbouring repeats of the same characters a high power. The mistake
prevented: a pattern that works on the bench and freezes the recorder on the first dirty line.

What is refused: a repeat inside a repeat and alternatives inside a repeat (``?`` counts as neither), references back,
and more than ``MOST_TRADING`` unbounded repeats that can trade one character among themselves.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from importlib import import_module
from typing import Any

# The parser of ``re`` itself, so that what is checked is what will run; it has no public name. A test holds its use.
_parser: Any = import_module("re._parser")
_OPS: Any = import_module("re._constants")

LONGEST_PATTERN = 1000
LONG_REPEAT = 16
"""A repeat that may take more than this many characters counts as unbounded."""
MOST_TRADING = 3
"""256 characters divided among three repeats: about 256²/2 ways, some milliseconds at worst."""


def pattern_fault(pattern: str) -> str | None:
    """What is wrong with ``pattern``, in words for the author of an instrument file; None where it is safe."""
    if len(pattern) > LONGEST_PATTERN:
        return f"a pattern of {len(pattern)} characters; at most {LONGEST_PATTERN}"
    if not pattern.isascii():
        return "a character outside ASCII; write it as \\xHH"
    try:
        re.compile(pattern.encode("ascii"))
        tree = _parser.parse(pattern.encode("ascii"))
    except (re.error, OverflowError, RecursionError) as error:
        return f"not a regular expression: {error}"
    if tree.state.flags & ~re.ASCII:
        return "flags such as (?i) for the whole pattern; write (?i:...) around a part"
    return _nesting_fault(tree, repeated=False) or _trading_fault(tree)


def _is_repeat(op: Any) -> bool:
    return op in (_OPS.MAX_REPEAT, _OPS.MIN_REPEAT, _OPS.POSSESSIVE_REPEAT)


def _inner(op: Any, argument: Any) -> Sequence[Any]:
    """The sequences directly inside one element of a parsed pattern."""
    if _is_repeat(op):
        return [argument[2]]
    if op is _OPS.SUBPATTERN:
        return [argument[3]]
    if op is _OPS.BRANCH:
        return list(argument[1])
    if op in (_OPS.ASSERT, _OPS.ASSERT_NOT):
        return [argument[1]]
    if op is _OPS.ATOMIC_GROUP:
        return [argument]
    return []


def _nesting_fault(sequence: Any, *, repeated: bool) -> str | None:
    for op, argument in sequence:
        if op in (_OPS.GROUPREF, _OPS.GROUPREF_EXISTS):
            return "a reference to an earlier group"
        repeats = _is_repeat(op) and argument[1] > 1
        if repeated and repeats:
            return "a repeat inside a repeat, which can take for ever on a line of noise"
        if repeated and op is _OPS.BRANCH:
            return "alternatives inside a repeat, which can take for ever on a line of noise"
        for part in _inner(op, argument):
            fault = _nesting_fault(part, repeated=repeated or repeats)
            if fault:
                return fault
    return None


def _trading_fault(tree: Any) -> str | None:
    """Count, for each character, the longest run of unbounded repeats with nothing between that refuses it."""
    for character in range(256):
        _, longest = _run(tree, character, 0)
        if longest > MOST_TRADING:
            return (
                f"{longest} or more unbounded repeats in a row that all take {chr(character)!r}; "
                f"at most {MOST_TRADING}: put a fixed character between them"
            )
    return None


def _run(sequence: Any, character: int, run: int) -> tuple[int, int]:
    """The run at the end of ``sequence`` that began with ``run``, and the longest inside, over all ways through it.

    An optional part is gone through or skipped: what parts its repeats still parts them when it is gone through.
    """
    longest = run
    for op, argument in sequence:
        if _is_repeat(op) and argument[1] > LONG_REPEAT:
            if character in _all_characters(argument[2]):
                run += 1
            elif argument[0] > 0:
                run = 0
        elif _is_repeat(op):
            through, inside = _run(argument[2], character, run)
            run = max(run, through) if argument[0] == 0 else through
            longest = max(longest, inside)
        elif op is _OPS.BRANCH:
            ways = [_run(part, character, run) for part in argument[1]]
            run = max(through for through, _ in ways)
            longest = max(longest, *(inside for _, inside in ways))
        elif op is _OPS.AT or op in (_OPS.ASSERT, _OPS.ASSERT_NOT):
            continue
        elif inner := _inner(op, argument):
            for part in inner:
                run, inside = _run(part, character, run)
                longest = max(longest, inside)
        elif character not in _characters(op, argument):
            run = 0
        longest = max(longest, run)
    return run, longest


_EVERY = frozenset(range(256))


def _all_characters(sequence: Any) -> frozenset[int]:
    """Every byte that anything in ``sequence`` takes."""
    found: frozenset[int] = frozenset()
    for op, argument in sequence:
        if op is _OPS.AT or op in (_OPS.ASSERT, _OPS.ASSERT_NOT):
            continue
        inner = _inner(op, argument)
        found |= frozenset().union(*map(_all_characters, inner)) if inner else _characters(op, argument)
    return found


def _characters(op: Any, argument: Any) -> frozenset[int]:
    """The bytes one element takes, found by asking ``re`` itself."""
    if op is _OPS.LITERAL:
        return frozenset((argument,))
    if op is _OPS.NOT_LITERAL:
        return _EVERY - {argument}
    if op is _OPS.IN:
        inside = frozenset().union(*(_in_characters(*part) for part in argument if part[0] is not _OPS.NEGATE))
        return _EVERY - inside if argument[0][0] is _OPS.NEGATE else inside
    return _EVERY


_CATEGORIES = {
    "CATEGORY_DIGIT": rb"\d",
    "CATEGORY_NOT_DIGIT": rb"\D",
    "CATEGORY_SPACE": rb"\s",
    "CATEGORY_NOT_SPACE": rb"\S",
    "CATEGORY_WORD": rb"\w",
    "CATEGORY_NOT_WORD": rb"\W",
}


def _in_characters(op: Any, argument: Any) -> frozenset[int]:
    if op is _OPS.RANGE:
        return frozenset(range(argument[0], argument[1] + 1))
    if op is _OPS.CATEGORY:
        category = re.compile(_CATEGORIES.get(str(argument), rb"[\x00-\xff]"))
        return frozenset(byte for byte in range(256) if category.match(bytes((byte,))))
    return _characters(op, argument)
