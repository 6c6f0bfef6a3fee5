"""Readings of one check, typed: understood and judged by the same functions as ``truestroke take``.

Why it exists: a dial, a bubble, feelers and calipers have no plug. A reading of an unusual size is asked about before
it is believed, a wrong one is said under its own line, and nothing is written down until all of it makes sense.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from typing import TYPE_CHECKING, ClassVar

from textual import work
from textual.worker import Worker, WorkerState

from logger.errors import TruestrokeError
from logger.readings import Mark
from logger.tui.asked import Outcome
from logger.tui.feed import Feed
from logger.tui.keys import READINGS, Key
from logger.tui.screens.direction import DirectionScreen
from logger.tui.screens.new_job import FormSheet
from logger.tui.screens.result import ResultScreen
from logger.tui.widgets.form import Field, Row, Words
from logger.tui.wording import Units

if TYPE_CHECKING:
    from logger.checks.model import Ask, Check

SHOWN_PER_S = 10
STANDS_FOR_S = 0.5
"""Over so long a reading is averaged before it goes into a line."""
LARGEST = 20.0
"""What is usually larger (mm, mm/m) is a place or a size and comes from a rule, not from an indicator."""
UNSTEADY = 5.0
"""So many steps of the display may the mean of that time be uncertain before it is said."""

LIMITS = (
    Field("allowed", "Own limit", "optional", more="Your own limit, as 0.1 or 0..0.1. Left out, it stays as it is."),
    Field("origin", "Where that comes from", "optional", more="Where your own limit comes from, as: maker's manual."),
)


def _direction(check: Check) -> list[Field]:
    """Whether the number was seen to move as it should: one touch by hand before the set-up is trusted."""
    from logger.checks.direction import DIRECTIONS

    said = DIRECTIONS.get(check.name)
    if said is None:
        return []
    sentences = [said] if isinstance(said, str) else [f"{by}: {text}" for by, text in said.items()]
    more = f"One touch by hand first. {'; '.join(sentences)}. Nobody looked: leave it empty."
    return [Field("direction", "The number moves as it should", "optional", "", ("yes", "no"), more=more)]


class Asked(Exception):
    """To be asked before the readings are believed: about a figure, or (``direction``) about the set-up."""

    def __init__(self, question: str, *, direction: bool = False) -> None:
        super().__init__(question)
        self.question = question
        self.direction = direction


def field_of(ask: Ask, keep: str = "") -> Field:
    """One reading as a line of the form."""
    hint = ", ".join(part for part in ("" if ask.needed else "optional", ask.unit, "list" if ask.many else "") if part)
    label = ask.text[:1].upper() + ask.text[1:]
    more = [f"{label}{f', in {ask.unit}' if ask.unit else ''}."]
    if ask.many:
        more.append("Several with commas between.")
    if ask.feeler:
        more.append("Feelers: 0.10..0.15, the leaf that goes and the one that does not.")
    if not ask.needed:
        more.append("May be left out." if ask.default is None else f"Left out, {ask.default:g} is taken.")
    return Field(ask.key, label, hint, keep or ask.default_word, ask.words, ask.only, " ".join(more))


def texts_of(check: Check, answers: Mapping[str, str]) -> list[str]:
    """The answers as ``key=value``, as on the command line; what was left empty is left out."""
    numbers = {ask.key for ask in check.asks if not ask.words and not ask.name}
    return [f"{key}={_listed(value) if key in numbers else value}" for key, value in answers.items() if value]


def _listed(text: str) -> str:
    """Several readings may be parted by blanks or semicolons as well as by commas; a unit stays with its number."""
    return ",".join(part for part in re.split(r"[,;\s]+(?=[+\-−.\d])", text.strip()) if part)


class ReadingsScreen(FormSheet):
    """The form, and the journal behind it; ``given``: answers that are known, by key."""

    NAME = "readings"
    KEYS: ClassVar[tuple[Key, ...]] = READINGS

    def __init__(self, check: Check, given: Mapping[str, str] | None = None) -> None:
        known = dict(given or {})
        # what is known stands first; what may be left out stands at the end
        asks = sorted(check.asks, key=lambda ask: (ask.key not in known, not ask.needed))
        fields = [field_of(ask, known.get(ask.key, "")) for ask in asks]
        super().__init__([*_direction(check), *fields, *(LIMITS if check.allowed.unit else ())])
        self.check = check
        self._units_of: dict[str, str] = {ask.key: ask.unit for ask in check.asks if ask.usual[1] <= LARGEST}
        self._many = {ask.key for ask in check.asks if ask.many}
        self._feed: Feed | None = None
        self._agreed: set[str] = set()
        self._looked: dict[str, str] = {}

    def fit(self) -> None:
        self.head(f"{self.check.title}; needs {self.check.needs}")
        super().fit()

    # --- the instrument's number ------------------------------------------------------------------------------------

    def on_mount(self) -> None:
        super().on_mount()
        self.set_interval(1 / SHOWN_PER_S, self.tick)

    def on_unmount(self) -> None:
        if self._feed is not None:
            self.session.close_feed(self._feed)

    def tick(self) -> None:
        """The number at the right of the first row; the instrument's own button puts it into the line."""
        if self._feed is None:
            return
        records = self._feed.poll()
        now = self._feed.now(STANDS_FOR_S)
        context = f"{self.check.title}; needs {self.check.needs}"
        if now.height is None:
            self.head(context, "╱ no signal" if now.state == "lost" else "no reading")
        else:
            units = Units(self.truestroke.units_mode, "mm/m" if self._feed.meaning.quantity == "mm/m" else "mm")
            self.head(context[: max(0, self.app.size.width - 44)], f"{units.height(now.figure)} {units.unit}")
        if any(isinstance(record, Mark) for record in records):
            self.action_from_instrument()

    def action_from_instrument(self) -> None:
        """The number on the instrument, into the line one is in; the port is opened with the first one."""
        row = next((row for row in self.form.shown if row.box.has_focus), None)
        unit = self._units_of.get(row.field.key, "") if row is not None else ""
        if row is None or isinstance(row.box, Words) or unit not in ("mm", "mm/m"):
            self.say("This line takes no reading of the instrument: go to the line it belongs to.")
            return
        if self._feed is None:
            self._listen(unit)
        elif self._feed.meaning.quantity != unit:
            self.say(f"The instrument reads {self._feed.meaning.quantity}, and this line wants {unit}.")
        else:
            self._put(row, self._feed)

    def _listen(self, unit: str) -> None:
        try:
            self._feed = self.session.open_stream(self.check.name, unit)
        except TruestrokeError as error:
            self.say_error(error)
            return
        self.say(
            "The instrument is read, above at the right. Ctrl-r (or its own button) puts its number into the line."
        )

    def _put(self, row: Row, feed: Feed) -> None:
        if feed.error is not None:
            self.say_error(feed.error)
            return
        now = feed.now(STANDS_FOR_S)
        if now.height is None:
            self.say("There is no reading now. Check the cable, then try again.")
            return
        reading = f"{now.height:+.4f}{feed.meaning.quantity}"
        several = row.field.key in self._many
        row.set_value(f"{row.value},{reading}" if several and row.value else reading)
        unsteady = now.uncertainty > UNSTEADY * feed.meaning.resolution
        said = f"{reading} taken, mean of the last half second"
        self.say(f"{said}; it does not stand still: wait, and put the line right." if unsteady else f"{said}.")
        if not several:
            self.form.step(1)

    # --- what was typed ---------------------------------------------------------------------------------------------

    def action_done(self) -> None:
        """Judge and write down, in a thread."""
        self.say("One moment: judging the readings.")
        self._take_in_thread(texts_of(self.check, self.form.answers()), self.truestroke.units_mode)

    @work(thread=True, exclusive=True, group="take", exit_on_error=False)
    def _take_in_thread(self, texts: list[str], units: str) -> Outcome | Asked | None:
        job = self.session.job
        if job is None:
            return None

        def confirm(question: str) -> bool:
            if question not in self._agreed:
                raise Asked(question)
            return True

        def look(sentence: str) -> str:
            if sentence not in self._looked:
                raise Asked(sentence, direction=True)
            return self._looked[sentence]

        try:
            return self.session.parts.take(job, self.check.name, texts, confirm, units=units, look=look)
        except Asked as asked:
            return asked

    def on_worker_state_changed(self, event: Worker.StateChanged) -> None:
        """The result, a question, or what is wrong with which reading."""
        if event.worker.group != "take" or event.state not in (WorkerState.SUCCESS, WorkerState.ERROR):
            return
        self._looked = {said: answer for said, answer in self._looked.items() if answer != "no"}
        self.say("")
        if event.state is WorkerState.ERROR:
            self._refused(event.worker.error)
        elif isinstance(event.worker.result, Asked):
            (self._ask_look if event.worker.result.direction else self._ask)(event.worker.result.question)
        elif isinstance(event.worker.result, Outcome):
            self.session.forget_what_was_found()
            self.app.switch_screen(ResultScreen(event.worker.result))

    def _ask(self, question: str) -> None:
        def yes() -> None:
            self._agreed.add(question)
            self.action_done()

        plain = question.removesuffix("[y/n]").strip()
        self.truestroke.ask_first(plain, "With no the line stays as it is, and you can write its unit out.", yes)

    def _ask_look(self, sentence: str) -> None:
        """Whether the number moves as said; an answer of no holds for this one try."""

        def answered(answer: str) -> None:
            self._looked = {sentence: answer}
            self.action_done()

        self.app.push_screen(DirectionScreen(sentence, answered))

    def _refused(self, error: BaseException | None) -> None:
        if not isinstance(error, TruestrokeError):
            raise error or RuntimeError("a thread failed without a reason")
        if not self.form.complain(faults_of(error, [field.key for field in self._fields])):
            self.say_error(error)


def faults_of(error: TruestrokeError, keys: list[str]) -> dict[str, str]:
    """Under which line a complaint belongs: the key it begins with, or every key it says is still wanted."""
    what = error.what
    for key in sorted(keys, key=len, reverse=True):
        if what.startswith((f"{key}:", f"{key}=", f"{key} ")):
            return {key: f"{what} {error.todo}".strip()}
    _, _, wanted = what.partition(" still wants ")
    if wanted:
        return {key: "This one is needed." for key in keys if f"{key} (" in wanted}
    return {}
