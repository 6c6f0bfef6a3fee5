"""The frozen records that travel from the wire to the disk and the screen.

Why it exists: the reader process, the recorder, the screen and the replay hand each other the same few small objects,
so no part can quietly change what another part measured. Values here are the instrument's own (raw sign, raw zero,
its own unit); turning them into heights is ``analysis.units``'s business, done once, elsewhere.

``t_ns`` is always the recording's time base in integer nanoseconds since the recording began: the host's monotonic
clock, or the device's clock where the instrument file says ``clock: device``.
"""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Reading:
    """One value from an instrument, in the instrument's own unit and sign.

    ``position`` is the line's position field as sent (mm or counts), None where the line has none.
    """

    t_ns: int
    value: float
    unit: str
    channel: str = ""
    position: float | None = None


@dataclass(frozen=True, slots=True)
class Mark:
    """A position mark: ``source`` is ``key`` (the operator's), ``line`` (the instrument's field) or ``switch``."""

    t_ns: int
    source: str = "key"


@dataclass(frozen=True, slots=True)
class TakenBack:
    """The operator took the newest mark back at ``t_ns``: the mark stays on the record, and so does this."""

    t_ns: int


@dataclass(frozen=True, slots=True)
class Index:
    """The encoder's index was passed; ``position`` is the count (or mm) at it, as in :class:`Reading`."""

    t_ns: int
    position: float | None = None


@dataclass(frozen=True, slots=True)
class Gap:
    """A stretch with no data from ``t_ns`` to ``until_ns`` (equal when it is a single "no value" line).

    ``reason``: ``no value`` (the instrument said so), ``link lost``, ``noted`` (by the operator),
    ``lines lost`` (the node's sequence numbers jumped), ``node restarted``, ``device restarted``,
    ``no answer`` (more than one request was left unanswered).
    ``position`` as in :class:`Reading`, where the "no value" line carried one.
    """

    t_ns: int
    until_ns: int
    reason: str
    position: float | None = None


@dataclass(frozen=True, slots=True)
class Garbage:
    """Bytes no reading could be made of; ``why`` in a few words."""

    t_ns: int
    raw: bytes
    why: str


@dataclass(frozen=True, slots=True)
class LinkLost:
    """The port went away at ``t_ns``; a :class:`LinkBack` or the end of the recording follows."""

    t_ns: int
    why: str


@dataclass(frozen=True, slots=True)
class LinkBack:
    """The port came back (perhaps under another name)."""

    t_ns: int
    port: str


@dataclass(frozen=True, slots=True)
class Ended:
    """The recording ended. ``how``: closed, still, time, passes, operator, screen gone, link lost, disk full."""

    t_ns: int
    how: str
    message: str = ""


Record = Reading | Mark | TakenBack | Index | Gap | Garbage | LinkLost | LinkBack | Ended
