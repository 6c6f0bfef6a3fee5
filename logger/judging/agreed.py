"""What the person has agreed to about a sweep: repairs, and where its positions shall come from.

Why it exists: a repair is a decision, and every later command must make the same one. It stands in the journal, beside
the sweep and not in it: nothing recorded is changed, and what was agreed to can be withdrawn. It prevents a profile
that says one thing to ``spots`` and another to ``bolts``.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Final

from analysis.positions import CHOICE, REPAIRS, SOURCES
from logger.errors import NotAllowed

if TYPE_CHECKING:
    from analysis.results import Repair
    from logger.commands import Terminal
    from logger.job import Job

KIND: Final = "agreed"
TOOL: Final = "tool"
CHOICES: Final = (TOOL, *SOURCES)


def agreed(job: Job) -> dict[str, frozenset[str]]:
    """What was agreed to, by the sweep's name; of several choices of a source the last."""
    out: dict[str, dict[str, str]] = {}
    for entry in job.standing_entries():
        sweep, repair = entry.data.get("sweep"), entry.data.get("repair")
        if entry.kind != KIND or not isinstance(sweep, str) or not isinstance(repair, str):
            continue
        if repair in REPAIRS:
            out.setdefault(sweep, {})[repair] = repair
        elif repair.startswith(CHOICE) and repair[len(CHOICE) :] in CHOICES:
            out.setdefault(sweep, {})[CHOICE] = repair
    return {
        name: frozenset(word for word in words.values() if word != f"{CHOICE}{TOOL}") for name, words in out.items()
    }


def agree(job: Job, sweeps: Sequence[str], repair: str) -> None:
    """Write into the journal that ``repair`` is agreed to for each of ``sweeps``. NotAllowed for one not known."""
    if repair not in REPAIRS and repair.removeprefix(CHOICE) not in CHOICES:
        raise NotAllowed(f"There is no repair '{repair}'.", f"There are: {', '.join(REPAIRS)}.")
    for sweep in sweeps:
        job.append(KIND, sweep=sweep, repair=repair)


def ask(job: Job, repairs: Sequence[Repair], terminal: Terminal, asked: set[tuple[str, str]]) -> bool:
    """Offer the repairs that were not ``asked`` yet, until one is agreed to: then True, and the sweeps want to be
    looked at again, because one repair may make another one needless. Where nobody can be asked nothing is."""
    if not terminal.interactive:
        return False
    for each in repairs:
        if (each.sweep, each.key) in asked:
            continue
        asked.add((each.sweep, each.key))
        said = terminal.ask(f"{each.sweep}: {each.found} Shall I {each.offer}? [y/N]").lower()
        if said in ("y", "yes"):
            agree(job, [each.sweep], each.key)
            return True
    return False
