"""The facts laid out: one HTML file that asks for nothing from outside, or the one-page sheet.

Why it exists: a report is handed over, opened years later on another computer, and printed. Everything is in the one
file; every text a user wrote is escaped by the template engine and stripped of control and direction characters on the
way. Words for figures come from ``logger.wording``, as on the screen and the command line.
"""

from __future__ import annotations

import platform
from dataclasses import dataclass
from importlib import resources
from typing import TYPE_CHECKING, Any

import numpy as np
from markupsafe import Markup

from logger.checks.words import correction_lines, limits_words, look_again_words, standing, value_words
from logger.rail_picture import Seen, rail_picture
from logger.report.environment import temperature_at
from logger.report.facts import Facts, RailState, Told, utc_words
from logger.report.rail_drawing import draw_rail
from logger.report.shapes import Picture
from logger.report.strip_drawing import Bead, draw_beads
from logger.report.svg import svg
from logger.wording import STATE_SIGNS, amount, count, position, printable, state

if TYPE_CHECKING:
    from analysis.results import Findings, Verdict
    from logger.checks.work import Shown
    from logger.job import TurnedBolt
    from logger.wording import Units

SAFE_FIRST = (
    "Before a hand goes under the machine: isolate and lock out the power (a licensed person where local codes ask for "
    "one), park and clamp the carriage, and never slack all supports at once: one bolt at a time, the others tight.",
    "The maker's manual comes first where it says otherwise.",
)
MOST_BEADS = 30


@dataclass(frozen=True, slots=True)
class SummaryLine:
    """One check in the first table."""

    name: str
    title: str
    before: str
    after: str
    allowed: str
    state: str
    date: str


def page(facts: Facts, units: Units = "mm", *, sheet: bool = False) -> str:
    """The report, or with ``sheet`` the single page for the machine's folder."""
    pen = Pen(facts, units)
    template = _environment().get_template("sheet.html" if sheet else "page.html")
    return str(template.render(pen.words()))


def pictures(facts: Facts, units: Units = "mm") -> dict[str, Picture]:
    """Every picture of the report by the name of its file."""
    pen = Pen(facts, units)
    out = {
        f"round-{s.number:03d}-{slug(found.set_up)}": pen.rail(s, found)
        for s in facts.full_states
        for found in s.findings
    }
    out |= {f"check-{told.check.name}": pen.beads(told) for told in facts.checks if _has_beads(told)}
    return out


def _drawing(check: str) -> Markup:
    """How the check is set up: our own drawing, which escapes its words itself; nothing where there is none."""
    from logger.checks.drawings import drawing

    try:
        return Markup(
            drawing(check).svg().replace(' xmlns="http://www.w3.org/2000/svg"', "")
        )  # a page needs no such name
    except KeyError:
        return Markup("")


def fine(value: float, unit: str) -> str:
    """A part of an uncertainty: a tenth of a micrometre, or of a micrometre a metre, whatever the units of the rest."""
    shown = "µm" if unit == "mm" else "µm/m"
    return f"{value * 1000:.1f} {shown}" if abs(value) >= 0.00005 else f"under 0.1 {shown}"


def grouped(value: float) -> str:
    """A second moment to three figures, with a thin gap by thousands: 520 000."""
    return count(round(float(f"{value:.3g}")))


def slug(name: str) -> str:
    """A name as part of a file's name."""
    return "".join(char if char.isalnum() and char.isascii() else "-" for char in name.casefold())[:40] or "set-up"


def _environment() -> Any:
    from jinja2 import Environment, FunctionLoader, StrictUndefined

    folder = resources.files("logger.report").joinpath("templates")
    return Environment(
        loader=FunctionLoader(lambda name: folder.joinpath(name).read_text(encoding="utf-8")),
        autoescape=True,
        undefined=StrictUndefined,
        finalize=lambda value: printable(value) if isinstance(value, str) and not isinstance(value, Markup) else value,
        trim_blocks=True,
        lstrip_blocks=True,
    )


def _has_beads(told: Told) -> bool:
    return bool(told.taken) and bool(told.row.allowed.unit) and told.row.allowed.upper is not None


class Pen:
    """What the templates ask for: the facts' figures in words and pictures, in one kind of unit."""

    def __init__(self, facts: Facts, units: Units) -> None:
        self.facts = facts
        self.units = units
        self.machine = facts.job.machine
        self._drawn: dict[tuple[int, str], Picture] = {}

    def words(self) -> dict[str, Any]:
        facts = self.facts
        newest_state = next((s for s in reversed(facts.states) if s.findings), None)
        newest = newest_state.findings[-1] if newest_state is not None else None
        budget = [(f.set_up, self._budget(f)) for f in newest_state.findings] if newest_state is not None else []
        style = resources.files("logger.report").joinpath("templates", "style.css").read_text(encoding="utf-8")
        return {
            "facts": facts,
            "machine": self.machine,
            "units": self.units,
            "style": Markup(style),
            "inside": sum(row.state == "inside" for row in facts.board.rows),
            "summary": [self._summary(told) for told in facts.checks],
            "still_open": facts.not_done,
            "told": [told for told in facts.checks if told.taken or told.adjusted],
            "budget": budget,
            "budget_parts": list(dict.fromkeys(part for _, parts in budget for part in parts)),
            "limits": self._limits(),
            "machine_rows": self._machine_rows(),
            "cautions": self._cautions(),
            "safe_first": SAFE_FIRST,
            "system": f"Python {platform.python_version()} on {platform.system()}",
            "newest": newest,
            "newest_state": newest_state,
            "last_turned": next((s for s in reversed(facts.states) if s.turned), None),
            "temperature": self._temperature(),
            "amount": amount,
            "position": position,
            "state": state,
            "symbol": lambda kind: STATE_SIGNS.get(kind, "·"),
            "utc_words": utc_words,
            "brief": lambda text: text if len(text) <= 150 else text[:147].rsplit(" ", 1)[0] + " ...",
            "fine": fine,
            "width": self.width,
            "mean": self.mean,
            "moves": self.moves,
            "reason": self.reason,
            "how_known": self.how_known,
            "typed_rows": self._typed_rows,
            "standing": standing,
            "look_again": look_again_words,
            "work_of": lambda name: [self.work(each) for each in facts.work if each.of == name],
            "rail_svg": lambda s, found: svg(self.rail(s, found)),
            "rail_caption": self.rail_caption,
            "drawing_svg": lambda told: _drawing(told.check.name),
            "beads_svg": lambda told: svg(self.beads(told)) if _has_beads(told) else "",
        }

    # -- figures in words

    def width(self, found: Findings) -> str:
        ends = found.extremes
        return amount(ends.peak_to_valley, ends.peak_to_valley_uncertainty, found.profile.unit, self.units, sign=False)

    def mean(self, found: Findings) -> str:
        ends = found.extremes
        unknown = "not known: shape only"
        return amount(ends.mean, ends.mean_uncertainty, found.profile.unit, self.units, unknown=unknown)

    def reason(self, verdict: Verdict) -> str:
        """Why a verdict is what it is: the analysis's own sentence in mm, the same figures in other units."""
        if self.units == "mm" or verdict.unit != "mm" or not np.isfinite(verdict.value):
            return verdict.reason
        ends = [each for each in (verdict.lower, verdict.upper) if each is not None]
        limits = [amount(end, None, "mm", self.units, sign=False) for end in ends]
        allowed = " to ".join(limits) if len(limits) == 2 else f"at most {limits[0]}" if limits else "anything"
        return f"{amount(verdict.value, verdict.uncertainty, 'mm', self.units, sign=False)}; {allowed} allowed."

    def moves(self, turned: tuple[TurnedBolt, ...]) -> str:
        return ", ".join(
            f"{move.bolt} {amount(move.raise_mm, move.uncertainty_mm, 'mm', self.units)}" for move in turned
        )

    def work(self, shown: Shown) -> str:
        """What the work would show of one error."""
        size = amount(shown.size_mm, shown.uncertainty_mm, "mm", self.units, sign=False)
        return f"The work would show {size}: {shown.what}. {shown.why}"

    def how_known(self, move: TurnedBolt) -> str:
        said = {"turns": "turns counted", "thread": "travel given"}.get(move.form, "")
        if move.park_mm is None or move.before is None or move.after is None:
            return said
        display = (
            f"parked at {position(move.park_mm, self.units)} the display went from {move.before:+.3f} "
            f"to {move.after:+.3f}"
        )
        return f"{said}; {display}" if said else display

    def _summary(self, told: Told) -> SummaryLine:
        allowed = told.row.allowed
        if told.check.name == "rail":
            return self._rail_summary(told)
        figures = [value_words(t.value, t.uncertainty, allowed, self.units) or t.verdict for t in told.taken]
        before, after = figures[0] if figures else "", figures[-1] if len(figures) > 1 else ""
        limits = limits_words(allowed, self.units)
        return SummaryLine(
            told.check.name, told.check.title, before, after, limits, standing(told.row), (told.row.time or "")[:10]
        )

    def _rail_summary(self, told: Told) -> SummaryLine:
        every = [found for s in self.facts.states for found in s.findings]
        swept = [found for found in every if found.set_up == every[-1].set_up]
        before = self.width(swept[0]) if swept else ""
        after = self.width(swept[-1]) if len(swept) > 1 else ""
        limit = amount(self.machine.band.peak_to_valley_mm, None, "mm", self.units, sign=False)
        return SummaryLine(
            "rail", told.check.title, before, after, f"at most {limit}", standing(told.row), (told.row.time or "")[:10]
        )

    def _typed_rows(self, told: Told) -> list[str]:
        out = []
        for entry, taken in zip(told.entries, told.taken, strict=True):
            typed = entry.data.get("typed")
            words = " ".join(str(each) for each in typed[:40]) if isinstance(typed, list) else ""
            out.append(f"{utc_words(entry.time)}, {entry.who}: {words}. {taken.reason}"[:900])
            if entry.data.get("direction_checked") is False:
                out.append("Nobody had checked that the number moves as it should.")
            out += [f"To be moved: {line.strip()}" for line in _corrections(entry.data.get("corrections"), self.units)]
        return out

    def _budget(self, found: Findings) -> dict[str, str]:
        """Each part's standard uncertainty as the middle one of its stations."""
        unit = found.profile.unit
        return {name: fine(float(np.median(part)), unit) for name, part in found.profile.parts.items() if np.size(part)}

    def _limits(self) -> list[tuple[str, str, str]]:
        band, units = self.machine.band, self.units
        low, high = (amount(each, None, "mm", units) for each in band.mean_mm)
        rows = [
            ("Carriage, peak to valley", f"at most {amount(band.peak_to_valley_mm, None, 'mm', units, sign=False)}"),
            ("Carriage, mean height over the table", f"{low.rsplit(' ', 1)[0]} to {high}"),
            (
                "Change of pitch over the stroke",
                f"at most {amount(band.pitch_mm_per_m, None, 'mm/m', units, sign=False)}",
            ),
            (
                "Change of roll over the stroke",
                f"at most {amount(band.roll_mm_per_m, None, 'mm/m', units, sign=False)}",
            ),
        ]
        out = [(what, allowed, band.origin) for what, allowed in rows]
        out += [
            (
                f"Height at the {p.name}",
                f"at most {amount(p.peak_to_valley_mm, None, 'mm', units, sign=False)}",
                p.origin,
            )
            for p in self.machine.places
        ]
        return out + [
            (t.check.title, limits_words(t.row.allowed, units), t.row.allowed.origin)
            for t in self.facts.checks
            if t.check.asks
        ]

    def _machine_rows(self) -> list[tuple[str, str]]:
        m = self.machine

        def at(mm: float) -> str:
            return position(mm, self.units)

        rail, carriage = m.rail, m.carriage
        stiff = ", ".join(
            f"{name} {grouped(value)} mm⁴"
            for name, value in (("I", rail.bending_I_mm4), ("J", rail.torsion_J_mm4))
            if value is not None
        )
        set_ups = "; ".join(f"{name}: {_set_up_words(s, self.units)}" for name, s in m.set_ups.items())
        openings = ", ".join(f"{at(a)} to {at(b)}" for a, b in m.table.insert_mm)
        return [
            ("Rail", f"{at(rail.from_mm)} to {at(rail.to_mm)}, {rail.material}, {stiff or 'section not known'}"),
            ("Carriage", f"stroke {at(carriage.stroke_mm[0])} to {at(carriage.stroke_mm[1])}, top "
             f"{at(carriage.top_length_mm)} long, bearings over {at(carriage.bearing_span_mm)}"),
            ("Table", f"{at(m.table.from_mm)} to {at(m.table.to_mm)}"
             + (f", openings {openings}" if openings else "")
             + ("; its flatness is mapped" if m.table.map else "; its flatness is not mapped")),
            ("Set-ups", set_ups or "none described"),
        ]  # fmt: skip

    def _cautions(self) -> list[str]:
        said = [*SAFE_FIRST]
        said += [caution for told in self.facts.checks for caution in told.check.cautions]
        return list(dict.fromkeys(said))

    def _temperature(self) -> float | None:
        entries = [e for e in self.facts.job.standing_entries() if e.kind in ("sweep", "taken")]
        return temperature_at(self.facts.noted, entries[-1].time) if entries else None

    # -- pictures

    def rail(self, state_: RailState, found: Findings) -> Picture:
        """The rail picture of one set-up in one state; drawn once, for it is asked for by its caption too."""
        key = (state_.number, found.set_up)
        if key not in self._drawn:
            self._drawn[key] = self._rail(state_, found)
        return self._drawn[key]

    def _rail(self, state_: RailState, found: Findings) -> Picture:
        plan = self.facts.plan
        newest = self.facts.states[-1] is state_ and plan is not None and plan.set_up == found.set_up
        first = next((f for s in self.facts.states for f in s.findings if f.set_up == found.set_up), None)
        before = first if first is not None and first is not found else None
        seen = Seen(found, plan if newest else None, before)
        drawn = rail_picture(self.machine, seen, moves=newest, before=before is not None)
        return draw_rail(drawn, self.units, f"{self.rail_title(found)}, round {state_.number}: {found.verdict.word}")

    def rail_title(self, found: Findings) -> str:
        what = {
            "height": "Carriage's height",
            "pitch": "Carriage's pitch",
            "roll": "Carriage's roll",
            "sideways": "Carriage's line in plan",
        }
        return f"{what[found.profile.quantity]} when its middle is here, set-up {found.set_up}"

    def rail_caption(self, state_: RailState, found: Findings) -> str:
        first = next((f for s in self.facts.states for f in s.findings if f.set_up == found.set_up), None)
        dotted = "" if first is None or first is found else " Dotted: as it was first found."
        if any(getattr(shape, "name", "") == "sleeve" for shape in self.rail(state_, found).shapes):
            dotted += " Thin broken lines above and below the profile: its uncertainty."
        known = "" if found.profile.zero_known else " The zero is not known: only the shape is."
        typical = amount(float(np.median(found.profile.uncertainty)), None, found.profile.unit, self.units, sign=False)
        return (
            f"{self.rail_title(found)}; sweeps {', '.join(found.sweeps)}, positions from {found.position_source}. "
            f"Each height is known to about ±{typical}.{dotted}{known}"
        )

    def beads(self, told: Told) -> Picture:
        allowed = told.row.allowed
        beads = [
            Bead(utc_words(t.time).removesuffix(" UTC"), t.value, t.uncertainty, t.verdict)
            for t in told.taken[-MOST_BEADS:]
        ]
        return draw_beads(beads, allowed.lower, allowed.upper, allowed.unit, self.units, told.check.title)


def _set_up_words(set_up: Any, units: Units) -> str:
    if set_up.kind == "fixed":
        return f"indicator on the table at {position(set_up.x_mm, units)}"
    if set_up.kind == "carried":
        return f"indicator on the carriage, {position(set_up.offset_mm, units)} from its middle"
    return f"level for {set_up.axis}"


def _corrections(listed: Any, units: Units) -> list[str]:
    """The corrections of a ``taken`` entry in words; what is damaged is left out."""
    from logger.checks.model import Correction

    made = []
    for item in listed if isinstance(listed, list) else []:
        try:
            turns, spread = item.get("turns"), item.get("uncertainty_mm")
            made.append(
                Correction(
                    str(item["where"])[:80],
                    float(item["move_mm"]),
                    str(item["way"])[:80],
                    None if spread is None else float(spread),
                    None if turns is None else float(turns),
                )
            )
        except (KeyError, TypeError, ValueError, AttributeError):
            continue  # a damaged or hand-edited entry: its verdict is still told
    return correction_lines(tuple(made), units)
