"""What the sweep says: the profile with its spots, the bolts where they stand, the moves as table and arrows.

Why it exists: the bolt to turn often stands under another place than the spot, so the picture, the table and one line
of why stand together. Finding and planning run in a thread; this screen only shows what came back.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import ClassVar

from textual import work
from textual.widget import Widget
from textual.worker import Worker, WorkerState

from analysis.results import Move, Plan
from logger.errors import TruestrokeError
from logger.rail_picture import Seen, band_of, rail_picture
from logger.tui.asked import Made
from logger.tui.drawing import place_of
from logger.tui.keys import FINDINGS, Key
from logger.tui.screens.base import Sheet
from logger.tui.screens.cautions import CautionsScreen
from logger.tui.screens.positions import PositionsScreen
from logger.tui.screens.response import ResponseScreen
from logger.tui.screens.turn import TurnScreen
from logger.tui.screens.what_if import WhatIfScreen
from logger.tui.screens.why import WhyScreen
from logger.tui.widgets.lines import BOLD, INK, SOFT, Line, Lines, plate, wrap
from logger.tui.widgets.moves import MoveTable
from logger.tui.widgets.rail import Rail
from logger.tui.wording import State, Units, chance, joined
from logger.wording import plural

TRUST_WORDS = {
    "few": "few moves and a good chance",
    "fewest": "the fewest bolts",
    "chance": "the best chance to come inside",
    "least": "the least turning",
}
"""The ways of planning a round, in words."""
LINES_AFTER = 2
"""Rows kept under the table at the least: the outlook and one line of why."""


class FindingsScreen(Sheet):
    """Profile, verdict, moves."""

    NAME = "findings"
    KEYS: ClassVar[tuple[Key, ...]] = FINDINGS
    TOUR_STEP = "findings"

    DEFAULT_CSS = """
    FindingsScreen #verdict { height: 2; margin-top: 1; }
    FindingsScreen #moves { margin-top: 1; }
    FindingsScreen #after { height: 1fr; margin-top: 1; }
    """

    def __init__(self, *, look: bool = True) -> None:
        super().__init__()
        self._look = look
        self._compare = False
        self._expected: bool | None = None
        self._busy = ""
        self._written = False
        self._written_words = ""

    def body(self) -> Iterable[Widget]:
        yield Rail(self.units, id="rail")
        yield Lines(id="verdict", fixed=True)
        yield MoveTable(self.units, id="moves")
        yield Lines(id="after", fixed=True)

    def on_mount(self) -> None:
        super().on_mount()
        if self._look:
            self.look()
        else:
            self.show()

    def fit(self) -> None:
        self.query_one("#rail", Rail).fit()
        self.query_one("#after").styles.margin = (self._gap, 0, 0, 0)
        self.show()

    @property
    def _gap(self) -> int:
        """Blank rows above the outlook: at the smallest size the row belongs to the moves."""
        return 1 if self.app.size.height >= 30 else 0

    def units_changed(self) -> None:
        self.query_one("#rail", Rail).units = self.rail_units()
        self.query_one("#moves", MoveTable).units = self.units
        self.show()

    def rail_units(self) -> Units:
        """Units of the profile."""
        findings = self.session.seen.findings
        return Units(self.units.mode, "mm/m" if findings and findings.profile.unit == "mm/m" else "mm")

    # --- asking -----------------------------------------------------------------------------------------------------

    def look(self) -> None:
        """Find and plan, in a thread."""
        self._busy = "finding high and low spots, then which bolt moves them; a few seconds"
        self.show()
        self.tour_line()
        self._look_in_thread()

    @work(thread=True, exclusive=True, group="findings", exit_on_error=False)
    def _look_in_thread(self) -> Seen:
        job = self.session.job
        return self.session.parts.look(job, self.session.trust) if job is not None else Seen()

    @work(thread=True, exclusive=True, group="findings", exit_on_error=False)
    def _turned_in_thread(self, made: Made) -> Seen:
        job, parts = self.session.job, self.session.parts
        if job is None:
            return Seen()
        parts.note_turned(job, made)
        self._written = True
        return parts.look(job, self.session.trust)

    def on_worker_state_changed(self, event: Worker.StateChanged) -> None:
        """One message back: what was found, or why it could not be."""
        if event.worker.group != "findings":
            return
        if event.state is WorkerState.SUCCESS and isinstance(event.worker.result, Seen):
            self._busy = ""
            self.session.seen = event.worker.result
            if self._written:
                self.session.board, self._written = None, False
                self.say(self._written_words)
            self.query_one("#moves", MoveTable).chosen = 0
            self.units_changed()
            self.tour_line(self._tour_step())
            self.refresh_keys()
        elif event.state is WorkerState.ERROR:
            self._busy = ""
            error = event.worker.error
            if isinstance(error, TruestrokeError):
                self.say_error(error)
                self.show()
            elif error is not None:
                raise error

    # --- showing ----------------------------------------------------------------------------------------------------

    def show(self) -> None:
        """Everything, from what the session holds."""
        session, seen = self.session, self.session.seen
        expected = self._expected if self._expected is not None else self.app.size.width >= 120
        picture = rail_picture(session.machine, seen, expected=expected, before=self._compare)
        self.query_one("#rail", Rail).show(picture)
        self.query_one("#verdict", Lines).show([self._verdict_line(seen), self._places_line(seen)])
        moves = seen.plan.moves if seen.plan else ()
        table = self.query_one("#moves", MoveTable)
        room = self.app.size.height - sum_of_rows(self)
        table.show(moves, room=max(2, room if len(moves) <= room else room + LINES_AFTER - 1))
        self._say_what_follows()
        self.call_after_refresh(self._say_what_follows)  # the room for it is known when all is laid out
        self.head(self._words_of_head(seen), seen.when)

    def _say_what_follows(self) -> None:
        self.query_one("#after", Lines).show(self._after_lines(self.session.seen))

    def _words_of_head(self, seen: Seen) -> str:
        findings = seen.findings
        if findings is None:
            return self.session.machine.name
        set_up = self.session.machine.set_ups.get(findings.set_up)
        where = place_of(findings.set_up, set_up) if set_up is not None else findings.set_up
        what = {
            "height": "height, carriage's middle here",
            "pitch": "pitch",
            "roll": "roll",
            "sideways": "line in plan",
        }
        number = f", round {seen.plan.round}" if seen.plan else ""
        sweeps = "+".join(name.split("-", 1)[0] for name in findings.sweeps)
        return f"{what[findings.profile.quantity]} · {where} · {sweeps}{number}"

    def _verdict_line(self, seen: Seen) -> Line:
        if self._busy:
            return [(f"  {self._busy}", BOLD)]
        findings = seen.findings
        if findings is None:
            return [("  Nothing has been measured yet. Press s to sweep.", BOLD)]
        letters = self.query_one("#verdict", Lines).letters
        units = self.rail_units()
        verdict = findings.verdict
        word = {"inside": "inside", "cannot tell": "cannot tell"}.get(verdict.word, "high")
        allowed = band_of(self.session.machine, findings.profile.quantity)[0]
        extremes = findings.extremes
        spread = extremes.peak_to_valley_uncertainty
        amount = f"{units.width(extremes.peak_to_valley, spread)} {units.pm(spread)} {units.unit}"
        line: list[tuple[str, object]] = [(" ", INK)]
        line += plate(State(word, verdict.word), letters, filled=True)  # type: ignore[arg-type]
        line.append((f" peak to valley {amount}, allowed {units.width(allowed)}", INK))
        if extremes.mean is not None:
            line.append((f", mean {units.height(extremes.mean, extremes.mean_uncertainty)}", INK))
        return line  # type: ignore[return-value]

    def _places_line(self, seen: Seen) -> Line:
        """Each place that matters with its own verdict, or that it has not been seen."""
        if self._busy or seen.plan is None:
            return []
        stroke = seen.plan.whole_stroke
        places = [*seen.plan.places, *([stroke] if stroke is not None else [])]
        letters, units = self.query_one("#verdict", Lines).letters, Units(self.units.mode)
        words = []
        for place in places:
            if not place.seen:
                words.append(f"{letters.hatch} {place.name} not seen")
            else:
                amount = units.width(place.peak_to_valley, place.uncertainty)
                words.append(f"{letters.state(place.verdict)} {place.name} {amount} {place.verdict}")
        return [("  " + "   ".join(words)[: max(0, self.app.size.width - 4)], SOFT)]

    def _after_lines(self, seen: Seen) -> list[Line]:
        plan = seen.plan
        if self._busy or plan is None:
            return []
        width = self.app.size.width - 4
        lines: list[Line] = [[(f"  {part}", INK)] for part in wrap(self._outlook(plan), width)]
        offered = len(seen.findings.repairs) if seen.findings else 0
        repairs = (f"{plural(offered, 'repair')} of this sweep offered: p shows what, and asks.",) if offered else ()
        said = (*repairs, *plan.why, *(seen.findings.warnings if seen.findings else ()), *plan.warnings)
        for text in dict.fromkeys(said):
            lines += [[(f"  {part}", SOFT)] for part in wrap(text, width)]
        room = max(LINES_AFTER, self.query_one("#after", Lines).size.height)
        if len(lines) > room:
            words, most = lines[room - 1][0][0], self.app.size.width - 17
            words = words if len(words) <= most else words[:most].rsplit(" ", 1)[0]  # never in the middle of a word
            lines = [*lines[: room - 1], [(f"{words} … w says all", SOFT)]]
        return lines

    def _outlook(self, plan: Plan) -> str:
        """What follows: the prediction, or what to do instead."""
        units = self.rail_units()
        unseen = f" {joined(list(plan.unseen_bolts))} not seen from here." if plan.unseen_bolts else ""
        if plan.moves and plan.predicted is not None:
            spread = plan.predicted.peak_to_valley_uncertainty
            all_of = {1: "it", 2: "both"}.get(len(plan.moves), f"all {len(plan.moves)}")
            after = f"{units.width(plan.predicted.peak_to_valley, spread)} {units.pm(spread)}"
            return f"After {all_of}: {after}, {chance(plan.predicted.chance_inside)} to come inside.{unseen}"
        if not plan.reachable:
            best = units.width(plan.best_possible_peak_to_valley, plan.best_possible_uncertainty)
            return f"The bolts cannot do it: the best they can reach is {best} {units.unit}.{unseen}"
        if plan.next == "sweep":
            where = f" with the set-up {plan.next_set_up}" if plan.next_set_up else ""
            return f"Measure again{where}.{unseen}"
        return f"Nothing to turn.{unseen}"

    def tour_line(self, step: str = "") -> None:
        """No key is named that does nothing yet."""
        super().tour_line("finding" if self._busy else step or self._tour_step())

    def _tour_step(self) -> str:
        plan = self.session.seen.plan
        if plan is None or plan.moves:
            return "findings"
        return "findings_inside" if plan.verdict.word == "inside" and plan.next == "stop" else "resweep"

    # --- keys -------------------------------------------------------------------------------------------------------

    def check_action(self, action: str, parameters: tuple[object, ...]) -> bool | None:
        plan = self.session.seen.plan
        if action in ("turn", "choose"):
            return bool(plan and plan.moves) and not self._busy
        if action == "why":
            return not self._busy
        if action == "positions":
            return self.session.seen.findings is not None and not self._busy
        if action == "compare":
            return self.session.seen.before is not None
        if action in ("trust", "what_if", "response"):
            return plan is not None and not self._busy
        return True

    def action_choose(self, by: int) -> None:
        """Another row of the table."""
        self.query_one("#moves", MoveTable).choose(by)

    def action_turn(self) -> None:
        """Cautions, then the live bar for the chosen bolt."""
        plan = self.session.seen.plan
        if plan is None or not plan.moves:
            return
        move = plan.moves[min(self.query_one("#moves", MoveTable).chosen, len(plan.moves) - 1)]
        if not self.session.port:
            self.truestroke.open_plug("No instrument is chosen yet: press i to find it, then esc, and turn the bolt.")
            return
        self.app.push_screen(CautionsScreen(move, lambda: self._open_turn(move), plan.cautions))

    def _open_turn(self, move: Move) -> None:
        self.app.push_screen(TurnScreen(move, self._turned))

    def _turned(self, made: Made | None, skipped: bool) -> None:
        """A bolt was turned or left: write it down and plan the rest anew."""
        if skipped or made is None:
            self.query_one("#moves", MoveTable).choose(1)
            self.say("Left as it is.")
            return
        self._busy = f"writing down what {made.move.bolt} did, then planning the rest anew"
        unit = Units(self.units.mode, "mm/m" if made.move.unit == "mm/m" else "mm")
        shown = f"display {unit.height(made.before)} to {unit.height(made.after)} {unit.unit}"
        counted = f" counted {made.counted.replace('-', '−')}," if made.counted else ""
        self._written_words = f"Written down: {made.move.bolt},{counted} {shown}. z takes it back."
        self.show()
        self._turned_in_thread(made)

    def action_what_if(self) -> None:
        """Try moves on paper."""
        self.app.push_screen(WhatIfScreen())

    def action_response(self) -> None:
        """What each bolt does to the reading."""
        self.app.push_screen(ResponseScreen())

    def action_positions(self) -> None:
        """Where the places came from, and what can be repaired or chosen."""
        findings = self.session.seen.findings
        if findings is not None:
            self.app.push_screen(PositionsScreen(findings, self._agreed))

    def _agreed(self) -> None:
        self.session.forget_what_was_found()
        self.say("Written down. Looking at the sweep anew; z takes it back.")
        self.look()

    def action_trust(self) -> None:
        """Weigh few moves against the chance to come inside in another way, and plan anew."""
        ways = self.session.parts.trusts()
        at = ways.index(self.session.trust) if self.session.trust in ways else 0
        self.session.trust = ways[(at + 1) % len(ways)]
        self.say(f"Planned for {TRUST_WORDS.get(self.session.trust, self.session.trust)}.")
        self.look()

    def action_undo(self) -> None:
        """Take back what was written down last."""
        self.truestroke.ask_to_take_back()

    def action_why(self) -> None:
        """How this was found."""
        self.app.push_screen(WhyScreen())

    def action_compare(self) -> None:
        """The sweep before, faintly."""
        self._compare = not self._compare
        self.show()

    def action_expected(self) -> None:
        """What the profile will be."""
        shown = self._expected if self._expected is not None else self.app.size.width >= 120
        self._expected = not shown
        self.show()

    def action_sweep(self) -> None:
        """Measure again."""
        self.truestroke.open_sweep()


def sum_of_rows(screen: FindingsScreen) -> int:
    """Rows taken by what stands above and below the table: head, rail, verdict, blank rows, keys."""
    rail = screen.query_one("#rail", Rail)
    height = rail.styles.height
    return 2 + (int(height.value) if height is not None else 11) + 3 + 2 + screen._gap + LINES_AFTER + 2
