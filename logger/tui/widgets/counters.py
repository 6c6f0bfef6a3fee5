"""Under the picture of a sweep: the height now, what has come, what was marked, and that it is on disk."""

from __future__ import annotations

from logger.tui.feed import Now, Source
from logger.tui.glyphs import Alphabet
from logger.tui.trace import Trace
from logger.tui.widgets.lines import BOLD, INK, SOFT, Line, plate
from logger.tui.wording import State, Units, rate
from logger.wording import count

MIDDLE_AT, RIGHT_AT = 33, 25


def count_lines(
    source: Source, trace: Trace, now: Now, state: State, letters: Alphabet, units: Units, more: tuple[str, str]
) -> list[Line]:
    """Three lines in three columns; ``more``: whether it is written, and the opening of the table."""
    value = units.height(now.height) if now.height is not None else "− − −"
    where = "" if trace.here_mm is None else f"  at x {units.position(trace.here_mm)}"
    made, wanted = len(trace.now.marks_s), len(trace.now.stations_mm)
    upcoming = trace.next_station()
    following = f", next {units.position(upcoming)}" if upcoming is not None else ""
    gaps = f"{count(source.gaps)} gaps, {count(source.garbage)} not read"
    rows = (
        ([(f"  {value} {units.unit}", BOLD), (where, INK)], f"{count(source.readings)} readings", "not seen yet"),
        ([(" ", INK), *plate(state, letters, filled=False)], gaps, more[1]),
        ([(f"  marks {made} of {wanted}{following}", INK)], more[0], rate(now.rate)),
    )
    lines: list[Line] = []
    for index, (left, middle, right) in enumerate(rows):
        width = sum(len(text) for text, _ in left)
        shape = f"{letters.hatch} " if index == 0 else ""
        tail = f"{' ' * max(1, MIDDLE_AT - width)}{middle:<{RIGHT_AT}}{shape}{right}"
        lines.append([*left, (tail, SOFT)])
    return lines
