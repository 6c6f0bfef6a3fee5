"""The board: the state of every check from the journal alone, and the next sensible one.

Why it exists: after three days nobody remembers whether the toe was measured before or after the third foot was
raised. A check is *stale* when it was adjusted after its readings, or when something it rests on was: a bolt turned,
an adjustment recorded, or a new measurement that differs from the one that held by more than both uncertainties.
Nothing is stored: the same journal gives the same board.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from typing import TYPE_CHECKING, Any

from logger.checks.model import VERDICTS, Allowed, Check, State
from logger.checks.table import BY_NAME, CHECKS, all_below

if TYPE_CHECKING:
    from logger.checks.rail import RailState
    from logger.job import Job
    from logger.journal import JournalEntry
    from logger.machines import Machine


@dataclass(frozen=True, slots=True)
class Taken:
    """A check's readings as the journal has them: ``place`` is the entry's place in the journal.

    ``position``: which of several (fence positions, stops), where the check has them. ``allowed`` are the user's own
    limits, ``judged_by`` those it was judged by.
    """

    place: int
    time: str
    verdict: str
    value: float
    uncertainty: float
    reason: str
    allowed: Allowed | None
    position: str = ""
    judged_by: Allowed | None = None


@dataclass(frozen=True, slots=True)
class Moved:
    """Something moved: which check's thing, when (place in the journal), how that is known, by ``bolts`` or else.

    ``position``: the one of several that moved (empty: all of them).
    """

    place: int
    check: str
    how: str
    bolts: bool = False
    position: str = ""


@dataclass(frozen=True, slots=True)
class Row:
    """One check on the board. ``why`` says what the state rests on; ``value`` in ``check.allowed.unit``.

    ``look_again``: when something that gives way wants measuring next; ``late`` when that has passed.
    ``skipped``: left out on purpose (a machine without a scoring blade), until it is measured or taken up again.
    """

    check: Check
    state: State
    value: float | None
    uncertainty: float | None
    time: str | None
    why: str
    allowed: Allowed
    look_again: datetime | None = None
    late: bool = False
    skipped: bool = False


@dataclass(frozen=True, slots=True)
class Board:
    """Every row in the order of work, and the next sensible check with the reason (None: all inside)."""

    rows: tuple[Row, ...]
    next: str | None
    why: str

    def row(self, name: str) -> Row:
        return next(row for row in self.rows if row.check.name == name)


def board_of(job: Job) -> Board:
    """The board of a job now. Reads the journal, and the newest sweeps for the rail."""
    from logger.checks.rail import rail_state

    entries = job.standing_entries()
    newest = max((place for place, entry in enumerate(entries) if entry.kind == "sweep"), default=-1)
    under = {"rail", *all_below("rail")}
    # Bolts are the rounds' affair; after anything else that moved, older sweeps show another machine.
    last = max(
        (m.place for m in history(entries)[1] if m.check in under and not m.bolts and m.place < newest), default=0
    )
    return board_from(entries, rail_state(job, last), job.machine, datetime.now(UTC))


def board_from(
    entries: Sequence[JournalEntry],
    rail: RailState | None,
    machine: Machine | None = None,
    now: datetime | None = None,
) -> Board:
    """The board from standing journal entries, the rail's own state, and the machine's own tolerances.

    ``now`` None: nothing is said of when to look again.
    """
    taken, moved = history(entries)
    rows = tuple(_row(check, entries, taken, moved, rail, machine) for check in CHECKS)
    if now is not None:
        rows = tuple(_with_look(row, entries, now) for row in rows)
    left_out = skipped(entries)
    rows = tuple(replace(row, skipped=row.check.name in left_out) for row in rows)
    following = next((row for row in rows if row.state != "inside" and not row.skipped), None)
    late = next((row for row in rows if row.late), None)
    if following is None and late is not None:
        return Board(rows, late.check.name, "Everything is inside; but this was pushed, and it is time to look again.")
    if following is None:
        return Board(rows, None, _all_done(rows))
    return Board(rows, following.check.name, _why_next(following, rows))


def standing_limits(check: Check, entries: Sequence[JournalEntry], machine: Machine | None = None) -> Allowed:
    """The user's own limits where the journal has some for this check, else the machine file's, else the table's."""
    return _limits(check, history(entries)[0].get(check.name, []), machine)


def _all_done(rows: Sequence[Row]) -> str:
    left_out = [row.check.name for row in rows if row.skipped]
    if not left_out:
        return "Every check is inside, and nothing it rests on was moved since."
    return f"Every check but those left out ({', '.join(left_out)}) is inside, and nothing was moved since."


def skipped(entries: Sequence[JournalEntry]) -> set[str]:
    """The checks that are left out now: said so, and neither measured nor taken up again since."""
    left_out: set[str] = set()
    for entry in entries:
        name = entry.data.get("check")
        if entry.kind != "taken" or not isinstance(name, str):
            continue
        if entry.data.get("skipped") is True:
            left_out.add(name)
        else:
            left_out.discard(name)
    return left_out


def _with_look(row: Row, entries: Sequence[JournalEntry], now: datetime) -> Row:
    from logger.checks.follow import next_look

    look = next_look(row.check, entries, now)
    return row if look is None else replace(row, look_again=look.due, late=look.late)


def _limits(check: Check, taken: Sequence[Taken], machine: Machine | None) -> Allowed:
    own = [each.allowed for each in taken if each.allowed is not None]
    if own:
        return own[-1]
    tolerance = machine.tolerances.get(check.name) if machine is not None else None
    if tolerance is None:
        return check.allowed
    lower, upper = tolerance.limits
    return Allowed(lower, upper, check.allowed.unit, tolerance.origin)


def history(entries: Sequence[JournalEntry]) -> tuple[dict[str, list[Taken]], list[Moved]]:
    """What was taken, by check and oldest first, and everything that moved."""
    taken: dict[str, list[Taken]] = {}
    moved: list[Moved] = []
    for place, entry in enumerate(entries):
        if entry.kind == "turned":
            moved.append(Moved(place, "rail", _bolts_of(entry), bolts=True))
        name = entry.data.get("check")
        if entry.kind != "taken" or not isinstance(name, str) or name not in BY_NAME:
            continue
        if entry.data.get("adjusted") is True:
            moved.append(Moved(place, name, f"{name} was adjusted", position=_position(entry)))
            moved += [Moved(place, each.check, f"{name} was adjusted") for each in BY_NAME[name].disturbs]
        elif (found := _taken(place, entry)) is not None:
            before = [each for each in taken.setdefault(name, []) if each.position == found.position]
            if before and _differs(before[-1], found) and not _known_moved(moved, name, before[-1].place):
                moved.append(Moved(place, name, f"{name} measured differently since", position=found.position))
            taken[name].append(found)
    return taken, moved


def _row(
    check: Check,
    entries: Sequence[JournalEntry],
    taken: Mapping[str, list[Taken]],
    moved: Sequence[Moved],
    rail: RailState | None,
    machine: Machine | None,
) -> Row:
    if check.name == "rail":
        return _rail_row(check, entries, moved, rail)
    mine = taken.get(check.name, [])
    allowed = _limits(check, mine, machine)
    if not mine:
        return Row(check, "not measured", None, None, None, "", allowed)
    states = [_state_of(check, last, moved, allowed) for last in {each.position: each for each in mine}.values()]
    state, why, last = min(states, key=lambda each: WORST_FIRST.index(each[0]))
    named = f"{last.position}: " if last.position else ""
    return Row(check, state, last.value, last.uncertainty, last.time, f"{named}{why}", allowed)


WORST_FIRST: tuple[State, ...] = ("outside", "stale", "cannot tell", "inside")
"""Of several positions the row shows the one that asks for most."""


def _state_of(check: Check, last: Taken, moved: Sequence[Moved], allowed: Allowed) -> tuple[State, str, Taken]:
    stale = _stale(check, last.place, moved, last.position)
    if not stale and last.judged_by is not None and not _same_limits(last.judged_by, allowed):
        from analysis.verdict import judge

        name = f"{check.quantity}, by new limits,"
        now = judge(last.value, last.uncertainty, allowed.lower, allowed.upper, allowed.unit, name)
        return now.word, now.reason, last
    return "stale" if stale else last.verdict, stale or last.reason, last  # type: ignore[return-value]


def _same_limits(one: Allowed, other: Allowed) -> bool:
    return (one.lower, one.upper) == (other.lower, other.upper)


def known_values(entries: Sequence[JournalEntry]) -> dict[str, tuple[float, float]]:
    """What each check gave last and still holds: value and expanded uncertainty, in the check's unit."""
    taken, moved = history(entries)
    return {
        name: (mine[-1].value, mine[-1].uncertainty)
        for name, mine in taken.items()
        if BY_NAME[name].allowed.unit and not _stale(BY_NAME[name], mine[-1].place, moved, mine[-1].position)
    }


def _rail_row(check: Check, entries: Sequence[JournalEntry], moved: Sequence[Moved], rail: RailState | None) -> Row:
    if rail is None:
        return Row(check, "not measured", None, None, None, "", check.allowed)
    newest = max((place for place, entry in enumerate(entries) if entry.kind == "sweep"), default=-1)
    stale = _stale(check, newest, moved)
    time = entries[newest].time if newest >= 0 else None
    return Row(
        check, "stale" if stale else rail.verdict, rail.value_mm, rail.uncertainty_mm, time, stale or rail.why,
        check.allowed,
    )  # fmt: skip


def _stale(check: Check, since: int, moved: Sequence[Moved], position: str = "") -> str:
    """Why readings from ``since`` hold no longer, or nothing. The nearest cause is named with its reason."""
    after = {
        move.check: move.how
        for move in moved
        if move.place > since and not (move.check == check.name and move.position and move.position != position)
    }
    if check.name in after:
        spoilt = [
            each.reason
            for other in CHECKS
            for each in other.disturbs
            if each.check == check.name and after[check.name] == f"{other.name} was adjusted"
        ]
        return " ".join([f"{_capital(after[check.name])} after it; measure again.", *spoilt])
    for name, reason in all_below(check.name).items():
        if name in after:
            return f"{_capital(after[name])} after it. {reason}"
    return ""


NAMED = 4


def _why_next(row: Row, rows: Sequence[Row]) -> str:
    resting = [other.check.name for other in rows if row.check.name in all_below(other.check.name)]
    near = ", ".join(resting[:NAMED]) + (f" and {len(resting) - NAMED} more" if len(resting) > NAMED else "")
    rests = f" On it rest{'s' if len(resting) == 1 else ''} {near}." if resting else ""
    said = (
        _at_the_rail(row)
        if row.check.name == "rail"
        else {
            "not measured": "It is not measured yet, and all it rests on is inside."
            if row.check.rests_on
            else "It comes first: it is not seen to yet.",
            "outside": "It is outside: correct it, say adjusted=yes, measure again."
            if row.check.allowed.unit
            else f"{row.why} Put it right and say so.",
            "cannot tell": "The uncertainty reaches across the limit: measure better, or correct it.",
            "stale": row.why,
        }
    )
    return f"{said[row.state]}{rests}"


def _at_the_rail(row: Row) -> dict[State, str]:
    return {
        "not measured": "It is not swept yet, and all it rests on is inside.",
        "outside": f"It is outside. {row.why}",
        "cannot tell": row.why,
        "stale": row.why,
    }


def _taken(place: int, entry: JournalEntry) -> Taken | None:
    """One ``taken`` entry; None for one that is damaged or was edited by hand."""
    data = entry.data
    value, uncertainty = _number(data.get("value")), _number(data.get("uncertainty"))
    if data.get("verdict") not in VERDICTS or value is None or uncertainty is None:
        return None
    reason = data.get("reason")
    by = _allowed(data.get("allowed"), BY_NAME[data["check"]])
    own = by if data.get("own_limits") is True else None
    text = reason[:500] if isinstance(reason, str) else ""
    return Taken(place, entry.time, data["verdict"], value, uncertainty, text, own, _position(entry), by)


def _position(entry: JournalEntry) -> str:
    words = entry.data.get("words")
    position = words.get("position", "") if isinstance(words, Mapping) else ""
    return position[:40] if isinstance(position, str) else ""


def _allowed(data: Any, check: Check) -> Allowed | None:
    if not isinstance(data, Mapping):
        return None
    origin = data.get("origin")
    upper = _number(data.get("upper"))
    if upper is None or not isinstance(origin, str):
        return None
    return Allowed(_number(data.get("lower")), upper, check.allowed.unit, origin[:200])


def _differs(before: Taken, now: Taken) -> bool:
    return abs(now.value - before.value) > math.hypot(before.uncertainty, now.uncertainty)


def _known_moved(moved: Sequence[Moved], name: str, since: int) -> bool:
    """An adjustment of it was recorded in between: that moved what rests on it, the new readings do not again."""
    return any(move.check == name and move.place > since for move in moved)


def _bolts_of(entry: JournalEntry) -> str:
    from logger.job import turned_in

    names = list(dict.fromkeys(move.bolt for move in turned_in(entry)))
    return f"{', '.join(names) or 'a support bolt'} turned"


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]


def _number(value: Any) -> float | None:
    if not isinstance(value, int | float) or isinstance(value, bool) or not math.isfinite(value):
        return None
    return float(value)
