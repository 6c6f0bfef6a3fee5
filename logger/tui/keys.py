"""Every key of every screen in one table: stable id, key, action, the word in the last row, the sentence in the help.

Why it exists: a key that is bound in one place, shown in another and explained in a third will sooner or later differ
in two of them. From this table come the bindings, the last row, the command palette and the help. Ids are stable, so
that a user's keymap keeps working.
"""

from __future__ import annotations

from dataclasses import dataclass

from textual.binding import Binding


@dataclass(frozen=True, slots=True)
class Key:
    """One key of one screen. ``word`` empty: works, is in the palette and the help, but not in the last row."""

    id: str
    key: str
    action: str
    word: str
    help: str


ALWAYS = (
    Key("help", "question_mark", "app.help", "", "what to do on this screen"),
    Key("theme", "ctrl+t", "app.swap_theme", "", "light or dark colours"),
    Key("units", "u", "app.swap_units", "", "millimetres or thou"),
    Key("quit", "ctrl+q", "app.quit", "", "leave truestroke; everything received is on disk"),
)

START = (
    Key("start.next_field", "tab", "next_field", "next choice", "go to the next choice"),
    Key("start.previous_field", "shift+tab", "previous_field", "", "go to the choice before"),
    Key("start.up", "up", "move(-1)", "", "the choice above"),
    Key("start.down", "down", "move(1)", "", "the choice below"),
    Key("start.listen", "l", "listen", "listen", "open the chosen port and show what arrives, as it arrives"),
    Key("start.sweep", "s", "sweep", "sweep", "push the carriage through its stroke and record it"),
    Key("start.live", "v", "live", "live", "the height where the carriage stands, now"),
    Key("start.findings", "f", "findings", "findings", "high and low spots, and which bolt to turn"),
    Key("start.replay", "p", "replay", "replay", "play a recorded sweep again"),
    Key("start.marks", "m", "marks", "marks", "type the stations marked on the rail"),
    Key("start.again", "a", "refresh_ports", "", "look for serial ports again"),
    Key("start.help", "question_mark", "app.help", "help", "what to do on this screen"),
    Key("start.quit", "q", "app.quit", "leave", "leave truestroke"),
)

LIVE = (
    Key("live.zero", "z", "zero", "zero", "what is read now is the table's plane: the height becomes 0"),
    Key("live.reference", "r", "reference", "set reference", "what is read now is a height you type (a block, a shim)"),
    Key("live.hold", "h", "clear_hold", "clear hold", "forget the highest and the lowest"),
    Key("live.units", "u", "app.swap_units", "thou/mm", "millimetres or thou"),
    Key("live.far", "f", "far", "far view", "digits that can be read from under the machine"),
    Key("live.back", "escape", "back", "back", "back to where you came from"),
)

TURN = (
    Key(
        "turn.done", "enter", "done", "done, next bolt", "write down what this bolt really did, and plan the rest anew"
    ),
    Key("turn.lock", "l", "lock", "lock nut tight", "the lock nut is tight: show how much it moved the carriage"),
    Key("turn.skip", "k", "skip", "skip", "leave this bolt as it is and go to the next"),
    Key("turn.more_up", "up", "turn(1)", "", "tour only: turn the bolt a little so that the carriage rises"),
    Key("turn.more_down", "down", "turn(-1)", "", "tour only: turn the bolt a little so that the carriage falls"),
    Key("turn.fine_up", "right", "turn(0.2)", "", "tour only: the same by a fifth"),
    Key("turn.fine_down", "left", "turn(-0.2)", "", "tour only: the same by a fifth"),
    Key("turn.units", "u", "app.swap_units", "thou", "millimetres or thou"),
    Key("turn.far", "f", "far", "far view", "digits that can be read from under the machine"),
    Key("turn.back", "escape", "back", "back", "back to the findings; nothing is written down for this bolt"),
)

CAUTION = (
    Key("caution.confirm", "y", "confirm", "yes, all of this is so", "the machine is safe to touch: go to the bolt"),
    Key("caution.back", "escape", "back", "back", "back to the findings"),
)

SWEEP = (
    Key("sweep.mark", "space", "mark", "mark", "the carriage's middle stands at the next station"),
    Key("sweep.end_pass", "enter", "end_pass", "end of pass", "this pass is done; after the last the findings follow"),
    Key("sweep.gap", "g", "note_gap", "note a gap", "something was wrong just now: leave this stretch out"),
    Key("sweep.throw", "x", "throw_away", "throw this away", "forget this sweep (it stays on disk) and begin again"),
    Key("sweep.units", "u", "app.swap_units", "", "millimetres or thou"),
    Key("sweep.back", "escape", "stop", "stop", "stop recording and go back; what was received is kept"),
)

FINDINGS = (
    Key("findings.turn", "enter", "turn", "turn this bolt", "cautions first, then the live bar for this bolt"),
    Key("findings.next", "tab", "choose(1)", "next move", "the next move of the table"),
    Key("findings.previous", "shift+tab", "choose(-1)", "", "the move before"),
    Key("findings.down", "down", "choose(1)", "", "the next move of the table"),
    Key("findings.up", "up", "choose(-1)", "", "the move before"),
    Key("findings.why", "w", "why", "why", "how this was found, what was not seen, what the instrument shows"),
    Key("findings.compare", "c", "compare", "compare", "the sweep before this one, faintly beside it"),
    Key("findings.expected", "e", "expected", "expected", "what the profile will be once the moves are made"),
    Key("findings.sweep", "s", "sweep", "sweep again", "measure again"),
    Key("findings.units", "u", "app.swap_units", "", "millimetres or thou"),
    Key("findings.back", "escape", "back", "back", "back to the start"),
)

REPLAY = (
    Key("replay.pause", "space", "pause", "pause", "stop and go on"),
    Key("replay.step", "full_stop", "step", "step", "one reading further while paused"),
    Key("replay.back_jump", "left", "jump(-1)", "back", "back by a twentieth of the recording"),
    Key("replay.jump", "right", "jump(1)", "on", "on by a twentieth of the recording"),
    Key("replay.faster", "plus", "speed(2)", "faster", "twice as fast"),
    Key("replay.slower", "minus", "speed(0.5)", "slower", "half as fast"),
    Key("replay.start", "home", "jump_to_start", "", "from the beginning"),
    Key("replay.units", "u", "app.swap_units", "", "millimetres or thou"),
    Key("replay.leave", "escape", "back", "esc back"[4:], "back to where you came from"),
)

WHY = (
    Key("why.down", "down", "scroll(1)", "", "further down"),
    Key("why.up", "up", "scroll(-1)", "", "further up"),
    Key("why.page_down", "pagedown", "scroll(10)", "", "a page down"),
    Key("why.page_up", "pageup", "scroll(-10)", "", "a page up"),
    Key("why.back", "escape", "back", "back", "back"),
)

TABLE: dict[str, tuple[Key, ...]] = {
    "start": START,
    "live": LIVE,
    "turn": TURN,
    "cautions": CAUTION,
    "sweep": SWEEP,
    "findings": FINDINGS,
    "replay": REPLAY,
    "why": WHY,
}


def bindings(keys: tuple[Key, ...]) -> list[Binding]:
    """The framework's bindings of a table of keys."""
    return [Binding(key.key, key.action, key.word or key.help, show=bool(key.word), id=key.id) for key in keys]
