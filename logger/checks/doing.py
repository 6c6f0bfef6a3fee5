"""One line of readings from what is typed to the journal, in the one way that command line and screen share.

Why it exists: typed readings may also say that something was adjusted, left out, or seen to move as said, and each has
its own entry. It prevents a step (the direction check, a recording made into readings) that one of the two forgets.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

from logger.checks import direction
from logger.checks.board import standing_limits
from logger.checks.swept import with_sweeps
from logger.checks.taking import result_of
from logger.checks.turning import with_recording
from logger.checks.typed import Confirm, understand
from logger.checks.words import adjusted_data, taken_data

if TYPE_CHECKING:
    from logger.checks.model import Check
    from logger.checks.taking import Taking
    from logger.checks.typed import Typed
    from logger.job import Job
    from logger.journal import JournalEntry

Look = Callable[[str], str]
"""Asked whether the number moves as said: yes, no or later."""


@dataclass(frozen=True, slots=True)
class Done:
    """What was typed and is in the journal now (``advice``: which cut test is worth the wood; that is no entry).

    ``taking`` where there is a result. ``unchecked``: the warning where nobody saw the number move as said.
    """

    kind: Literal["taken", "adjusted", "left out", "taken up", "advice", "direction"]
    typed: Typed
    taking: Taking | None = None
    unchecked: str = ""


def do(
    job: Job, check: Check, texts: Sequence[str], confirm: Confirm, *, unit_needed: bool, look: Look | None = None
) -> Done:
    """Understand, compute, then record. NotAllowed where something is wrong: nothing was recorded then.

    ``confirm`` asks a yes-or-no question and is False where nobody can be asked; ``look`` is None there.
    """
    entries = job.standing_entries()
    limits = standing_limits(check, entries, job.machine)
    texts = with_recording(job, check, with_sweeps(job, check, texts))
    typed = understand(check, texts, limits, confirm, unit_needed=unit_needed)
    if typed.readings.words.get("cuts") == "which":
        return Done("advice", typed)
    if typed.skip is not None or typed.adjusted:
        job.append("taken", **adjusted_data(check, typed))
        return Done("adjusted" if typed.skip is None else "left out" if typed.skip else "taken up", typed)
    looked, unchecked = _direction(job, check, typed, entries, look)
    if typed.direction_alone:
        return Done("direction", typed)
    taking = result_of(check, typed, entries, job.machine, confirm, job)
    job.append("taken", **taken_data(check, taking.typed, taking.result, texts), direction_checked=looked)
    return Done("taken", taking.typed, taking, unchecked)


def _direction(
    job: Job, check: Check, typed: Typed, entries: Sequence[JournalEntry], look: Look | None
) -> tuple[bool | None, str]:
    """Whether somebody saw the number move as said (None: nothing here has a direction), and the warning if not."""
    looked, unchecked = direction.settled(job, check, typed.readings, typed.direction, entries)
    if unchecked and look is not None:
        by = typed.readings.words.get("by", "")
        answer = look(direction.sentence_of(check, by))
        if answer != "later":
            direction.record(job, check, by, moved_as_said=answer == "yes")
            return True, ""
    return looked, unchecked
