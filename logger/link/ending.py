"""When a recording ends by itself.

Why it exists: the ways a recording ends are a contract (``closed``, ``still``, ``time``, ``passes``, ``screen gone``,
``link lost``), and each needs a moment of patience so that the last reading is not cut off. The mistake prevented:
these rules scattered through a read loop. Time is an argument; nothing here reads a clock.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from logger.readings import Gap, Mark, Reading, Record, TakenBack

S = 1_000_000_000
AFTER_LAST_MARK_NS = 1 * S
QUIET_WITHOUT_SCREEN_NS = 5 * S
LONGEST_WITHOUT_SCREEN_NS = 600 * S
STILL_S = 3.0
STILL_STEPS = 4.0
"""Standing still: within this many steps for STILL_S; anything wider is motion."""


@dataclass(frozen=True, slots=True)
class EndRules:
    """``until``: ``closed``, ``still``, or empty; ``seconds`` since the start; ``marks``: as many as were asked for."""

    until: str = ""
    seconds: float | None = None
    marks: int | None = None
    give_up_s: float = 30.0
    step: float = 0.001
    """One step of the instrument, in its own unit."""
    position_step: float = 0.25
    """One step of its position field, in the field's own unit (mm or counts)."""
    goes_on_alone: bool = True
    """A sweep goes on when its screen is gone (a line that dropped); what is only watched holds no port then."""


class Watch:
    """Told what comes, asked whether it is over. All times are host nanoseconds since the start, but for ``still``,
    which is judged in the recording's own time base."""

    def __init__(self, rules: EndRules) -> None:
        self.rules = rules
        self._still = _Still(rules)
        self._marks = 0
        self._enough_ns: int | None = None
        self._gone_ns: int | None = None
        self._heard_ns = 0

    def note(self, records: Iterable[Record], t_ns: int) -> None:
        self._heard_ns = t_ns
        if self.rules.marks is not None:
            records = list(records)
            self._marks += sum(isinstance(record, Mark) for record in records)
            self._marks -= sum(isinstance(record, TakenBack) for record in records)
            if self._marks < self.rules.marks:
                self._enough_ns = None
            elif self._enough_ns is None:
                self._enough_ns = t_ns
        if self.rules.until == "still":
            for record in records:
                self._still.note(record)

    def screen_gone(self, t_ns: int) -> None:
        self._gone_ns = t_ns

    @property
    def without_screen(self) -> bool:
        return self._gone_ns is not None

    def over(self, t_ns: int) -> str | None:
        """How it ended, or None where it goes on."""
        rules = self.rules
        if rules.seconds is not None and t_ns >= rules.seconds * S:
            return "time"
        if self._enough_ns is not None and t_ns >= self._enough_ns + AFTER_LAST_MARK_NS:
            return "passes"
        if rules.until == "still" and self._still.stands(quiet_ns=t_ns - self._heard_ns):
            return "still"
        if self._gone_ns is not None:
            if not rules.goes_on_alone:
                return "screen gone"
            quiet = t_ns - max(self._heard_ns, self._gone_ns) >= QUIET_WITHOUT_SCREEN_NS
            if quiet or t_ns - self._gone_ns >= LONGEST_WITHOUT_SCREEN_NS:
                return "screen gone"
        return None


class _Still:
    """The carriage has moved and now stands: its position, or the reading where there is none, keeps to a few steps."""

    def __init__(self, rules: EndRules) -> None:
        self._value_band = STILL_STEPS * rules.step
        self._position_band = STILL_STEPS * rules.position_step
        self._anchor: tuple[int, float] | None = None
        self._last_ns = 0
        self._moved = False

    def note(self, record: Record) -> None:
        if not isinstance(record, Reading | Gap):
            return
        if record.position is not None:
            self._seen(record.t_ns, record.position, self._position_band)
        elif isinstance(record, Reading):
            self._seen(record.t_ns, record.value, self._value_band)

    def _seen(self, t_ns: int, shown: float, band: float) -> None:
        anchor = self._anchor
        if anchor is None or abs(shown - anchor[1]) > band:
            self._moved = self._moved or anchor is not None
            self._anchor = (t_ns, shown)
        self._last_ns = t_ns

    def stands(self, quiet_ns: int) -> bool:
        """Also where an instrument that only speaks on change has been quiet as long."""
        if self._anchor is None or not self._moved:
            return False
        return max(self._last_ns - self._anchor[0], quiet_ns) >= STILL_S * S
