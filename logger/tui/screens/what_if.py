"""What if: moves tried on paper, and the profile they would give, with its chance.

Why it exists: people have an opinion which bolt it is, and a tool that cannot be asked is not believed. Nothing is
turned and nothing is written down here. The answer comes from the same learned response as the advice.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace
from typing import ClassVar

from textual import work
from textual.widget import Widget
from textual.worker import Worker, WorkerState

from analysis.results import Predicted
from logger.errors import TruestrokeError
from logger.rail_picture import Bolt, Curve, band_of, curve_of, rail_picture
from logger.tui.keys import WHAT_IF, Key
from logger.tui.screens.base import Sheet
from logger.tui.widgets.lines import BOLD, INK, SOFT, Line, Lines, plate
from logger.tui.widgets.rail import Rail
from logger.tui.wording import State, Units, arrow, chance, fraction_of_turn, way_of_turning

TWELFTH = 1.0 / 12.0


class WhatIfScreen(Sheet):
    """The rail as it would be, the rail as it is faintly beside it, and the tried moves."""

    NAME = "what if"
    KEYS: ClassVar[tuple[Key, ...]] = WHAT_IF

    DEFAULT_CSS = """
    WhatIfScreen #verdict { height: 2; margin-top: 1; }
    WhatIfScreen #moves { height: 1fr; margin-top: 1; }
    """

    def __init__(self) -> None:
        super().__init__()
        self.turns: dict[str, float] = {}
        self.chosen = 0
        self._predicted: Predicted | None = None
        self._asked: dict[str, float] = {}
        self._working = False

    def body(self) -> Iterable[Widget]:
        yield Rail(self.units, id="rail")
        yield Lines(id="verdict", fixed=True)
        yield Lines(id="moves", fixed=True)

    def on_mount(self) -> None:
        plan = self.session.seen.plan
        machine = self.session.machine
        if plan is not None:  # begin with what is advised: one asks what happens when it is changed
            self.turns = {}
            for move in plan.moves:  # a bolt may be turned a second time at the end of a round
                turned = move.raise_mm / machine.bolt(move.bolt).travel_per_turn_mm
                self.turns[move.bolt] = self.turns.get(move.bolt, 0.0) + turned
            names = [bolt.name for bolt in machine.bolts]
            self.chosen = names.index(plan.moves[0].bolt) if plan.moves else 0
            self._predicted = plan.predicted
        self._asked = dict(self.moves)
        super().on_mount()

    @property
    def moves(self) -> dict[str, float]:
        """Thread travel of each tried bolt, mm, + up."""
        machine = self.session.machine
        return {
            name: turns * machine.bolt(name).travel_per_turn_mm
            for name, turns in self.turns.items()
            if abs(turns) > 1e-9
        }

    def fit(self) -> None:
        self.query_one("#rail", Rail).fit()
        self.show()

    def units_changed(self) -> None:
        self.query_one("#rail", Rail).units = self.rail_units()
        self.show()

    def rail_units(self) -> Units:
        """Units of the profile."""
        findings = self.session.seen.findings
        return Units(self.units.mode, "mm/m" if findings and findings.profile.unit == "mm/m" else "mm")

    # --- showing ----------------------------------------------------------------------------------------------------

    def show(self) -> None:
        """Picture, verdict, moves."""
        session, seen = self.session, self.session.seen
        findings = seen.findings
        if findings is None:
            self.query_one("#verdict", Lines).show([[("  Nothing has been measured yet. Sweep first.", BOLD)]])
            return
        picture = rail_picture(session.machine, seen)
        now, predicted, moves = curve_of(findings.profile), self._predicted, self.moves
        if predicted is not None and moves:
            curve = Curve(predicted.x_mm, predicted.value, predicted.uncertainty, findings.profile.not_seen)
            picture = replace(picture, curve=curve, before=now, flags=())
        current = session.machine.bolts[self.chosen].name
        bolts = tuple(self._drawn(bolt, moves.get(bolt.name), current) for bolt in picture.bolts)
        self.query_one("#rail", Rail).show(replace(picture, bolts=bolts))
        self.query_one("#verdict", Lines).show(self._verdict_lines(moves))
        self.query_one("#moves", Lines).show(self._move_lines(moves, current))
        self.head(f"these bolts were moved · {findings.set_up}", "nothing is written down")

    def _drawn(self, bolt: Bolt, raise_mm: float | None, current: str) -> Bolt:
        return replace(bolt, raise_mm=raise_mm, current=bolt.name == current)

    def _verdict_lines(self, moves: dict[str, float]) -> list[Line]:
        findings, predicted, units = self.session.seen.findings, self._predicted, self.rail_units()
        if findings is None:
            return []
        extremes = findings.extremes
        now = f"{units.width(extremes.peak_to_valley, extremes.peak_to_valley_uncertainty)} {units.unit}"
        if not moves:
            return [[(f"  No bolt moved: peak to valley {now}, as measured.", INK)]]
        if self._working or predicted is None:
            return [[("  working it out", SOFT)]]
        spread = predicted.peak_to_valley_uncertainty
        allowed = band_of(self.session.machine, findings.profile.quantity)[0]
        width = predicted.peak_to_valley
        word = "inside" if width + spread <= allowed else "high" if width - spread > allowed else "cannot tell"
        said = {"inside": "would be inside", "high": "would be outside", "cannot tell": "would be near the limit"}[word]
        letters = self.query_one("#verdict", Lines).letters
        amount = f"{units.width(width, spread)} {units.pm(spread)} {units.unit}"
        first: list[tuple[str, object]] = [(" ", INK)]
        first += plate(State(word, said), letters, filled=True)  # type: ignore[arg-type]
        first.append((f" peak to valley {amount}, allowed {units.width(allowed)}", INK))
        dots, likely = letters.before * 2, chance(predicted.chance_inside)
        second = f"  {dots} as it is now, {now}. {likely} to come inside, the mean counted too."
        return [first, [(second, SOFT)]]  # type: ignore[list-item]

    def _move_lines(self, moves: dict[str, float], current: str) -> list[Line]:
        machine = self.session.machine
        block = self.query_one("#moves", Lines)
        letters = block.letters
        room = max(2, block.size.height)
        rows: list[Line] = []
        for bolt in machine.bolts:
            at = bolt.name == current
            sign = letters.chosen if at else " "
            raised = moves.get(bolt.name)
            if raised is None:
                words = "as it stands"
            else:
                turns = raised / bolt.travel_per_turn_mm
                way = way_of_turning(bolt.raises, bolt.seen_from, raised)
                moved = arrow(raised, Units(self.units.mode), letters, words=True)
                words = f"{moved:<12}{fraction_of_turn(turns)} turn {way}"
            look = BOLD if at else SOFT if raised is None else INK
            rows.append([(f"  {sign} {bolt.name:<5} at {self.units.position(bolt.x_mm):<8} {words}", look)])
        first = max(0, min(self.chosen - room // 2, len(rows) - room))
        return rows[first : first + room]

    # --- asking -----------------------------------------------------------------------------------------------------

    def _ask(self) -> None:
        """Work it out anew; while one answer is being worked out the newest question waits."""
        self.show()
        if self._working or not self.moves:
            return
        self._working = True
        self._asked = dict(self.moves)
        self.show()
        self._predict_in_thread(dict(self._asked))

    @work(thread=True, group="what if", exit_on_error=False)
    def _predict_in_thread(self, moves: dict[str, float]) -> Predicted | None:
        job = self.session.job
        return self.session.parts.what_if(job, moves) if job is not None else None

    def on_worker_state_changed(self, event: Worker.StateChanged) -> None:
        """The answer, or why there is none."""
        if event.worker.group != "what if" or event.state not in (WorkerState.SUCCESS, WorkerState.ERROR):
            return
        self._working = False
        if event.state is WorkerState.ERROR:
            error = event.worker.error
            if not isinstance(error, TruestrokeError):
                raise error or RuntimeError("a thread failed without a reason")
            self.say_error(error)
            self.show()
            return
        self._predicted = event.worker.result
        if self._asked != self.moves:
            self._ask()
        else:
            self.show()

    # --- keys -------------------------------------------------------------------------------------------------------

    def action_choose(self, by: int) -> None:
        """Another bolt, round and round."""
        self.chosen = (self.chosen + by) % len(self.session.machine.bolts)
        self.show()

    def action_turn(self, twelfths: float) -> None:
        """The chosen bolt a little up or down."""
        name = self.session.machine.bolts[self.chosen].name
        self.turns[name] = round(self.turns.get(name, 0.0) + float(twelfths) * TWELFTH, 9)
        self._ask()

    def action_clear(self) -> None:
        """No bolt moved."""
        self.turns.clear()
        self.show()

    def action_type(self) -> None:
        """A move as on the command line."""
        from logger.advising.turned import TypedMove, parse

        machine = self.session.machine

        def check(text: str) -> str | None:
            try:
                found = parse(text, machine)
            except TruestrokeError as error:
                return f"{error.what} {error.todo}".strip()
            return None if isinstance(found, TypedMove) else "Type a travel or turns, as B2=+0.10mm or B2=-1/6turn."

        def take(text: str) -> None:
            found = parse(text, machine)
            if isinstance(found, TypedMove):
                self.turns[found.bolt] = found.raise_mm / machine.bolt(found.bolt).travel_per_turn_mm
                self.chosen = [bolt.name for bolt in machine.bolts].index(found.bolt)
                self.call_after_refresh(self._ask)

        self.truestroke.ask_text("Which bolt, how far? As B2=-1/6turn or B2=+0.10mm; + raises.", check, take)
