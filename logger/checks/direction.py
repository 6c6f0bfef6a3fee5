"""Before a set-up is trusted: lift the tip or raise one end, and see that the number moves as said.

Why it exists: an indicator with its sign switched, or a level lying the other way round, gives perfect readings of the
opposite error, and the correction makes it twice as bad. One touch by hand settles it. The answer is kept in the
journal beside the readings it stands for; without it they are taken, and it is said that nobody looked.

A set-up that is swept is asked once for each instrument (``swept_wanted``): its sense is written in the machine file.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import UTC, datetime
from typing import TYPE_CHECKING

from logger.errors import NotAllowed

if TYPE_CHECKING:
    from logger.checks.model import Check, Readings
    from logger.job import Job
    from logger.journal import JournalEntry

GOOD_FOR_h = 12.0
"""A set-up does not outlast the day (common practice, no source)."""

_PUSH = "Push the tip in with a finger: the number must grow"
_RAISE_ACROSS = "Raise the table side of the level by hand: the number must grow"
_RAISE_ALONG = "Raise the outfeed end of the level by hand: the number must grow"
_BOTH_WAYS = "Raise the level's outfeed end, then (lying across) its table side: each time the number must grow"

DIRECTIONS: Mapping[str, str | Mapping[str, str]] = {
    "base": _RAISE_ALONG,
    "twist": _RAISE_ACROSS,
    "sag": {
        "indicator": "Push the tip up with a finger: the number must grow",
        "grid": _BOTH_WAYS,
        "union_jack": _RAISE_ALONG,
    },
    "fit": "Push the tip up with a finger: the number must grow",
    "straight": {"reversal": _PUSH},
    "arbor": _PUSH,
    "flange": _PUSH,
    "blade": _PUSH,
    "spindle": _PUSH,
    "bevel": {"indicator": _PUSH, "level": "Tilt the level the way the blade tilts: the number must grow"},
    "upright": {"arc": _PUSH, "level": _BOTH_WAYS},
    "toe": {"tooth": _PUSH, "plate": _PUSH, "straightedge": _PUSH},
    "scoring": {"teeth": _PUSH},
}
"""What to do by hand and what the number must do, by check and, where there are several, by how it is measured."""


def sentence_of(check: Check, by: str = "") -> str:
    """What to do and to see before this set-up; empty where nothing has a sign (feelers, calipers, a cut)."""
    said = DIRECTIONS.get(check.name, "")
    return said if isinstance(said, str) else said.get(by, "")


def needed(check: Check, readings: Readings, entries: Sequence[JournalEntry], now: datetime | None = None) -> str:
    """The sentence where this set-up still wants its direction check, else nothing."""
    by = readings.words.get("by", "")
    said = sentence_of(check, by)
    if not said:
        return ""
    now = now or datetime.now(UTC)
    for entry in reversed(entries):
        data = entry.data
        if entry.kind == "direction check" and data.get("check") == check.name and data.get("by", "") == by:
            fresh = data.get("moved_as_said") is True and _hours_since(entry.time, now) <= GOOD_FOR_h
            return "" if fresh else said
    return said


def record(job: Job, check: Check, by: str, *, moved_as_said: bool) -> None:
    """Keep the answer; NotAllowed with what to do where the number moved the other way."""
    said = sentence_of(check, by)
    if not said:
        raise NotAllowed(
            f"{check.name}{f' by={by}' if by else ''} reads nothing that has a direction.", "Leave direction= away."
        )
    job.append("direction check", check=check.name, by=by, way=said, moved_as_said=moved_as_said)
    if not moved_as_said:
        raise NotAllowed(
            f"{said}, and it does not: the readings would have the opposite sign.",
            "Switch the instrument's sign or turn the level round, then say direction=yes; nothing else was recorded.",
        )


def settled(
    job: Job, check: Check, readings: Readings, said: bool | None, entries: Sequence[JournalEntry]
) -> tuple[bool | None, str]:
    """Whether somebody saw the number move as said (None: nothing here has a direction), and the warning if not.

    ``said`` is what was typed with the readings (direction=yes): it is recorded. Asks nobody.
    """
    by = readings.words.get("by", "")
    if said is not None:
        record(job, check, by, moved_as_said=said)
        return True, ""
    if not sentence_of(check, by):
        return None, ""
    wanting = needed(check, readings, entries)
    return (False, unchecked(wanting)) if wanting else (True, "")


def all_sentences(check: Check) -> list[str]:
    """What to do and to see before this check's set-ups, one sentence for each way of measuring that has a sign."""
    said = DIRECTIONS.get(check.name, "")
    if isinstance(said, str):
        return [f"{said}."] if said else []
    return [f"{by}: {text}." for by, text in said.items()]


def unchecked(said: str) -> str:
    """The warning where nobody could be asked."""
    return f"Nobody has checked the direction of this set-up. {said}; then say direction=yes."


# --- set-ups that are swept ------------------------------------------------------------------------------------------

_LIFT = {
    "fixed": "Press the indicator's tip in by hand",
    "carried": "Press the indicator's tip in by hand",
    "level": "Raise one end of the level by hand (outfeed end for pitch, table side for roll)",
}


def _way(job: Job, set_up: str) -> str:
    return "fall" if job.machine.set_ups[set_up].sense == "reversed" else "rise"


def swept_wanted(job: Job, set_up: str, instrument: str) -> str:
    """What to do and to see before this instrument is swept in this set-up; empty once it was seen to move as said."""
    kept = [
        entry.data
        for entry in job.entries()
        if entry.kind == "direction check"
        and entry.data.get("set_up") == set_up
        and entry.data.get("instrument") == instrument
    ]
    if kept and kept[-1].get("moved_as_said") is True:
        return ""
    return f"{_LIFT[job.machine.set_ups[set_up].kind]}: the number must {_way(job, set_up)}"


def swept_unchecked(set_up: str, instrument: str) -> str:
    """The warning where nobody looked."""
    return f"Nobody has checked yet that {instrument} counts the right way in set-up '{set_up}'."


def record_swept(job: Job, set_up: str, instrument: str, *, moved_as_said: bool) -> None:
    """Keep the answer; NotAllowed with what to write in the machine file where it moved the other way."""
    way = _way(job, set_up)
    job.append("direction check", set_up=set_up, instrument=instrument, way=way, moved_as_said=moved_as_said)
    if not moved_as_said:
        other = "reversed" if way == "rise" else "normal"
        raise NotAllowed(
            f"{instrument} counts the other way than set-up '{set_up}' says.",
            f"Write 'sense: {other}' under set_ups: {set_up}: in {job.folder / 'machine.yaml'}, then sweep again.",
        )


def _hours_since(time: str, now: datetime) -> float:
    try:
        then = datetime.fromisoformat(time.replace("Z", "+00:00"))
    except ValueError:
        return float("inf")
    return (now - then).total_seconds() / 3600.0
