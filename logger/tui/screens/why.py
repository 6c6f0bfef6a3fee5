"""Why: how the findings came about, what was not seen, and what the instrument itself shows.

Why it exists: nobody should turn a bolt because a screen said so. Everything the advice rests on is said here in
sentences, with its numbers and where a limit came from.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import ClassVar

from textual.widget import Widget

from analysis.results import Findings, Plan
from logger.rail_picture import Seen
from logger.tui.drawing import place_of
from logger.tui.keys import WHY, Key
from logger.tui.screens.base import Sheet
from logger.tui.widgets.lines import BOLD, INK, SOFT, Line, Lines, wrap
from logger.tui.wording import Units, joined


class WhyScreen(Sheet):
    """Sentences one can scroll."""

    NAME = "why"
    KEYS: ClassVar[tuple[Key, ...]] = WHY

    def __init__(self) -> None:
        super().__init__()
        self._top = 0

    def body(self) -> Iterable[Widget]:
        yield Lines(id="text", fixed=True)

    DEFAULT_CSS = "WhyScreen #text { height: 1fr; }"

    def fit(self) -> None:
        self.head(self.session.machine.name)
        self._show()

    def units_changed(self) -> None:
        self._show()

    def _show(self) -> None:
        width = max(30, min(110, self.app.size.width - 4))
        lines = self._lines(self.session.seen, width)
        room = max(1, self.app.size.height - 5)
        self._top, shown = self.rows_of_page(lines, self._top, room)
        self.query_one("#text", Lines).show(shown)

    def _lines(self, seen: Seen, width: int) -> list[Line]:
        lines: list[Line] = [[]]
        for title, sentences in explain(seen, self.units, self._place(seen.findings)):
            lines.append([(f"  {title}", BOLD)])
            for sentence in sentences:
                lines += [[(f"    {part}", INK if title != "from" else SOFT)] for part in wrap(sentence, width - 6)]
            lines.append([])
        return lines

    def _place(self, findings: Findings | None) -> str:
        if findings is None or findings.set_up not in self.session.machine.set_ups:
            return ""
        return place_of(findings.set_up, self.session.machine.set_ups[findings.set_up])

    def action_scroll(self, by: int) -> None:
        """Further down or up."""
        self._top = max(0, self._top + by)
        self._show()


def explain(seen: Seen, units: Units, place: str) -> list[tuple[str, list[str]]]:
    """Titles and sentences: what is drawn, the verdict, the spots, the moves, what was not seen, warnings."""
    findings, plan = seen.findings, seen.plan
    if findings is None:
        return [("nothing yet", ["Nothing has been measured. Sweep first, then this page says how it was found."])]
    unit = Units(units.mode, "mm/m" if findings.profile.unit == "mm/m" else "mm")
    parts = [
        ("what is drawn", [_what_is_drawn(findings, place)]),
        ("verdict", _verdict_sentences(findings, unit)),
        ("spots", [spot.sentence or _spot_words(spot.kind, spot.x_mm, spot.value, unit) for spot in findings.spots]),
    ]
    if plan is not None:
        parts += _plan_parts(plan, units)
    parts.append(("not seen", [*findings.not_seen, *(plan.not_seen if plan else ())]))
    parts.append(("to be careful with", [*findings.warnings, *(plan.warnings if plan else ())]))
    return [(title, list(dict.fromkeys(s for s in sentences if s))) for title, sentences in parts if any(sentences)]


def _what_is_drawn(findings: Findings, place: str) -> str:
    if findings.profile.quantity != "height":
        return f"The carriage's {findings.profile.quantity} when its middle is here ({place}), against its mean."
    zero = "" if findings.profile.zero_known else " The instrument's zero is not known, so only the shape is judged."
    return (
        f"The carriage's height above the table's plane when its middle is here, at the line that was read ({place})."
        f" It is not the rail's own shape: the carriage rides on several bearings.{zero}"
        f" Positions come from: {findings.position_source}."
    )


def _verdict_sentences(findings: Findings, unit: Units) -> list[str]:
    extremes = findings.extremes
    spread = extremes.peak_to_valley_uncertainty
    sentences = [
        f"Peak to valley {unit.width(extremes.peak_to_valley, spread)} {unit.pm(spread)} {unit.unit}: "
        f"{findings.verdict.word}. {findings.verdict.reason}",
        "± is the expanded uncertainty (k = 2, about 95 %). Inside, outside or cannot tell is decided by ISO 14253-1: "
        "the value with its ± must lie on one side of the limit.",
    ]
    if extremes.mean is not None and extremes.mean_uncertainty is not None:
        sentences.append(
            f"Mean height {unit.height(extremes.mean, extremes.mean_uncertainty)} {unit.pm(extremes.mean_uncertainty)}."
        )
    for line in findings.straightness:
        sentences.append(f"Straightness about the {line.reference} line (ISO 12780-1): STRt {unit.width(line.STRt)}.")
    return sentences


def _spot_words(kind: str, x_mm: float, value: float, unit: Units) -> str:
    return f"{kind} at {unit.position(x_mm)}: {unit.height(value)} {unit.unit}."


def _plan_parts(plan: Plan, units: Units) -> list[tuple[str, list[str]]]:
    moves = []
    for move in plan.moves:
        unit = Units(units.mode, "mm/m" if move.unit == "mm/m" else "mm")
        park = "" if move.park_mm is None else f" with the carriage parked at {units.position(move.park_mm)}"
        moves.append(
            f"{move.order}. {move.bolt}: {move.turn}{park}. The instrument's own display shows "
            f"{unit.height(move.reading_now)} now and {unit.height(move.reading_target)} when it is right, all earlier "
            f"moves made. That is not the bolt's own travel ({Units(units.mode).height(move.raise_mm)} "
            f"{Units(units.mode).unit}): bolt, rail and carriage share it."
        )
    places = [
        f"{place.name}: {place.verdict}. {place.why}" if place.seen else f"{place.name}: not seen. {place.why}"
        for place in (*plan.places, *([plan.whole_stroke] if plan.whole_stroke is not None else []))
    ]
    unseen = [f"Bolts that this set-up cannot see: {joined(list(plan.unseen_bolts))}."] if plan.unseen_bolts else []
    from logger.advising.extra_set_ups import sentence

    shown = [sentence(extra) for extra in plan.would_show[:3]]
    return [
        ("why these bolts", list(plan.why)),
        ("what another set-up would show", shown),
        ("moves", moves),
        ("places that matter", places),
        ("bolts", unseen),
    ]
