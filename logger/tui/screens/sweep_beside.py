"""Another instrument beside the one that is swept: named in one line, shown in the head, entered in the journal.

Why it exists: an encoder, a level or a second indicator costs no second push of the carriage. What is named is checked
against the machine before anything is recorded.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING, Any

from logger.errors import TruestrokeError
from logger.link.beside_asked import asked_beside
from logger.wording import raw

if TYPE_CHECKING:
    from logger.tui.screens.base import Sheet
    from logger.tui.session import Session

WELL_ENDED = ("operator", "passes", "closed", "marks", "still", "time")
QUESTION = (
    "Which instrument beside this one? Its port, its profile and its set-up, with blanks between; for an encoder write "
    "position in place of the set-up. Several with semicolons between; an empty line: none. This sweep then begins "
    "again; what was received until now stays on disk and is not counted."
)


def named(text: str) -> tuple[tuple[str, str, str], ...] | str:
    """``PORT INSTRUMENT SET-UP; ...`` as it was typed, or what is wrong with it."""
    found = []
    for one in filter(None, (part.strip() for part in text.split(";"))):
        words = one.split(maxsplit=2)
        if len(words) != 3:
            return f"'{one[:60]}' is not a port, a profile and a set-up. Type three words, as: COM5 level-line along."
        found.append((words[0], words[1], words[2]))
    return tuple(found)


def ask_beside(sheet: Sheet, begin: Callable[[], object]) -> None:
    """Ask for it; ``begin`` once it fits the machine."""
    session = sheet.session
    job = session.job
    if job is None or session.tour is not None:
        sheet.say("Beside another instrument only in a job of your own: open one from the start page.")
        return

    def check(text: str) -> str | None:
        found = named(text)
        if isinstance(found, str):
            return found
        try:
            asked_beside(found, session.port, session.set_up_name, job)
        except TruestrokeError as error:
            return f"{error.what} {error.todo}".strip()
        return None

    def take(text: str) -> None:
        found = named(text)
        if not isinstance(found, str):
            session.beside = found
            begin()

    value = "; ".join(" ".join(one) for one in session.beside)
    sheet.truestroke.ask_text(QUESTION, check, take, value)


def swept_set_ups(session: Session) -> list[tuple[str, str]]:
    """(set-up, instrument) of everything that is swept now and has a direction, the leader first."""
    session.set_up()
    swept = [(session.set_up_name, session.fitting_instrument().name)]
    if session.job is not None and session.beside:
        others = asked_beside(session.beside, session.port, session.set_up_name, session.job)
        swept += [(one.set_up, one.instrument.name) for one in others if not one.is_position]
    return swept


def beside_words(source: Any) -> str:
    """``, with along +0.12 mm/m``: what the others show now; empty without any."""
    others = getattr(source, "beside", ())
    said = [f"{one.name} {raw(one.latest.value, one.latest.unit) if one.latest else 'silent'}" for one in others]
    return f" · with {', '.join(said)}" if said else ""


def note_beside(session: Session, source: Any) -> list[str]:
    """Enter the others' sweeps in the journal; the names of those that were cut off and are not counted."""
    job, lost = session.job, []
    for (one, folder), heard in zip(session.recorded_beside, getattr(source, "beside", ()), strict=False):
        if heard.ended is None or heard.ended.how not in WELL_ENDED:
            lost.append(one.set_up or one.name)
        elif job is not None and not one.is_position:
            session.parts.note_sweep(job, folder, one.set_up)
    return lost
