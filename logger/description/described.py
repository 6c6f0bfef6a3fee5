"""An older recording beside today's ``machine.yaml``: which of the two descriptions holds.

Why it exists: a job lasts days, and its description gets better: a bolt measured again, the table mapped, the band made
narrower. It prevents two mistakes: old sweeps judged by facts that were wrong, and a stand that was moved taken for the
one that stood elsewhere. Facts of the machine are as they are written now; where the indicator sat is as it was
written when the sweep was made.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, fields
from functools import cached_property
from typing import TYPE_CHECKING, Any

from logger.errors import NotAllowed
from logger.recording import Recording

if TYPE_CHECKING:
    from logger.machines import Machine, SetUp

SEAT = ("kind", "x_mm", "y_mm", "offset_mm", "axis", "sense", "direction")
"""What makes a set-up another one. Its zero and encoder belong to the sweep."""
FACTS = ("rail", "carriage", "bolts", "braces", "table")
MOST_NAMED = 3


def as_now(recording: Recording, machine: Machine) -> Recording:
    """The recording with the machine as it is described now, and its own set-up as it was then."""
    then = recording.machine
    if then == machine or recording.set_up not in then.set_ups:
        return recording
    set_ups = {**machine.set_ups, recording.set_up: then.set_ups[recording.set_up]}
    own = {field.name: getattr(recording, field.name) for field in fields(recording) if field.name != "today"}
    return _Reread(**own, today=machine.model_copy(update={"set_ups": set_ups}))


@dataclass(frozen=True)
class _Reread(Recording):
    """A recording with another description than the one it was made with; stays so when something else is replaced."""

    today: Machine | None = None

    @cached_property
    def machine(self) -> Machine:
        assert self.today is not None
        return self.today


def moved_since(recording: Recording, machine: Machine) -> str | None:
    """Why a recording is no part of today's set-up of that name; None where it is."""
    name = recording.set_up
    then, now = recording.machine.set_ups.get(name), machine.set_ups.get(name)
    if then is None or now is None:
        return None
    other = [
        f"{key} {_said(then, key)}, now {_said(now, key)}" for key in SEAT if getattr(then, key) != getattr(now, key)
    ]
    if not other:
        return None
    return (
        f"{recording.name} is left out: set-up {name} was described otherwise when it was swept ({'; '.join(other)}). "
        "If it was moved, give the new place a name of its own; if it was written wrongly, sweep it again."
    )


def refuse_moved(recording: Recording, machine: Machine) -> None:
    """NotAllowed for a recording whose set-up is another one now."""
    why = moved_since(recording, machine)
    if why is not None:
        raise NotAllowed(why)


def changes_since(recording: Recording, machine: Machine) -> str | None:
    """What machine.yaml says otherwise now than when this was swept, in a sentence; None where nothing is."""
    then, now = recording.machine, machine
    found = [text for part in FACTS for text in _differences(part, _plain(then, part), _plain(now, part))]
    if not found:
        return None
    more = f" and {len(found) - MOST_NAMED} more" if len(found) > MOST_NAMED else ""
    return (
        f"machine.yaml has changed since {recording.name}: {', '.join(found[:MOST_NAMED])}{more}. Everything is worked "
        "out with what it says now."
    )


def _plain(machine: Machine, part: str) -> Any:
    value = getattr(machine, part)
    if part in ("bolts", "braces"):
        return {each.name: each.model_dump(mode="json") for each in value}
    return value.model_dump(mode="json")


def _differences(path: str, then: Any, now: Any) -> Iterator[str]:
    if path == "table.map":
        if then != now:
            yield f"{path} ({len(then)} lines, now {len(now)})"
        return
    if isinstance(then, dict) and isinstance(now, dict):
        for key in dict.fromkeys([*then, *now]):
            if key not in then or key not in now:
                yield f"{path}.{key} {'taken out' if key in then else 'new'}"
            else:
                yield from _differences(f"{path}.{key}", then[key], now[key])
    elif then != now:
        yield f"{path} {then} (now {now})"


def _said(set_up: SetUp, key: str) -> str:
    value = getattr(set_up, key)
    return f"{value:g}" if isinstance(value, float) else str(value)
