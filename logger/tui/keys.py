"""Every key of every screen in one table: stable id, key, action, the word in the last row, the sentence in the help.

Why it exists: a key that is bound in one place, shown in another and explained in a third will sooner or later differ
in two of them. From this table come the bindings, the last row, the command palette and the help. Ids are stable, so
that a user's keymap keeps working.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

from textual.binding import Binding


@dataclass(frozen=True, slots=True)
class Key:
    """One key of one screen. ``word`` empty: works, is in the palette and the help, but not in the last row."""

    id: str
    key: str
    action: str
    word: str
    help: str


def scrolling(screen: str) -> tuple[Key, ...]:
    """The keys of a page that may be longer than the screen."""
    return (
        Key(f"{screen}.down", "down", "scroll(1)", "", "further down"),
        Key(f"{screen}.up", "up", "scroll(-1)", "", "further up"),
        Key(f"{screen}.page_down", "pagedown", "scroll(10)", "", "a page down"),
        Key(f"{screen}.page_up", "pageup", "scroll(-10)", "", "a page up"),
    )


ALWAYS = (
    Key("help", "question_mark", "app.help", "", "what to do on this screen"),
    Key("theme", "ctrl+t", "app.swap_theme", "", "light or dark colours"),
    Key("units", "u", "app.swap_units", "", "millimetres or thou"),
    Key("quit", "ctrl+q", "app.quit", "", "leave truestroke; everything received is on disk"),
)

JOBS = (
    Key("jobs.up", "up", "move(-1)", "", "the machine above"),
    Key("jobs.down", "down", "move(1)", "", "the machine below"),
    Key("jobs.open", "enter", "open", "open", "open this machine's board of checks"),
    Key("jobs.new", "n", "new", "new machine", "describe a machine: a short form, a tape measure and the manual"),
    Key("jobs.folder", "o", "folder", "a folder", "type the folder of a machine that is not in the list"),
    Key("jobs.forget", "x", "forget", "off the list", "take this one off the list; nothing in its folder is touched"),
    Key("jobs.help", "question_mark", "app.help", "help", "what to do on this screen"),
    Key("jobs.quit", "q", "app.quit", "leave", "leave truestroke"),
)

FORM = (
    Key("form.next", "down", "step(1)", "next", "the next line"),
    Key("form.previous", "up", "step(-1)", "before", "the line before"),
    Key("form.done", "ctrl+s", "done", "take it all", "take the whole form; enter on the last line does the same"),
    Key("form.back", "escape", "back", "back", "back; what was typed is asked about before it is lost"),
    Key("form.help", "f1", "app.help", "help", "what to do on this screen"),
)

READINGS = (
    *[replace(key, id=key.id.replace("form.", "readings.")) for key in FORM if key.action != "back"],
    Key(
        "readings.instrument", "ctrl+r", "from_instrument", "instrument", "the number on the instrument, into this line"
    ),
    *[replace(key, id=key.id.replace("form.", "readings.")) for key in FORM if key.action == "back"],
)

TURNING = (
    Key("turning.mark", "space", "mark", "chalk mark", "the chalk mark on the arbor passes the pointer"),
    Key("turning.done", "enter", "done", "take it", "end the recording and take what it says to the check"),
    Key("turning.each", "m", "marks_a_turn", "marks a turn", "one chalk mark, or 2, 4, 6, 12 evenly round"),
    Key("turning.again", "x", "again", "begin again", "another recording; the one until now stays on disk"),
    Key("turning.units", "u", "app.swap_units", "", "millimetres or thou"),
    Key("turning.back", "escape", "back", "back", "back to the check; nothing is taken, the recording stays on disk"),
    Key("turning.help", "question_mark", "app.help", "help", "what to do on this screen"),
)

BOARD = (
    Key("board.open", "enter", "open", "open", "how this check is done, then its readings"),
    Key("board.up", "up", "move(-1)", "", "the check above"),
    Key("board.down", "down", "move(1)", "", "the check below"),
    Key("board.next", "n", "next", "", "go to the check that comes next, and why"),
    Key("board.sweep", "s", "sweep", "sweep", "push the carriage through its stroke and record it"),
    Key("board.findings", "f", "findings", "findings", "high and low spots, and which bolt to turn"),
    Key("board.plug", "i", "plug", "instrument", "find the instrument, choose where it stands, hear what arrives"),
    Key("board.sweeps", "l", "sweeps", "sweeps", "all sweeps, and two of them side by side"),
    Key(
        "board.report",
        "r",
        "report",
        "report",
        "write the report of the job: one file to print or hand over",
    ),
    Key("board.undo", "z", "undo", "take back", "take back what was written down last; you are asked first"),
    Key("board.live", "v", "live", "live", "the height where the carriage stands, now"),
    Key("board.help", "question_mark", "app.help", "help", "what to do on this screen"),
    Key("board.units", "u", "app.swap_units", "", "millimetres or thou"),
    Key("board.back", "escape", "back", "", "back to the list of machines"),
    Key("board.quit", "q", "app.quit", "", "leave truestroke"),
)

CHECK = (
    Key("check.readings", "enter", "readings", "type readings", "type what was read"),
    Key("check.stream", "t", "stream", "turn, streaming", "turn it by hand while the readings stream"),
    Key("check.drawing", "d", "drawing", "drawing", "the set-up as a drawing, and back to the words"),
    Key("check.adjusted", "a", "adjusted", "adjusted", "write down that it was corrected since its readings"),
    Key("check.skip", "k", "skip", "", "leave this check out on purpose, or take it up again; you are asked first"),
    Key("check.sweep", "s", "sweep", "sweep", "the rail: push the carriage through its stroke"),
    Key("check.findings", "f", "findings", "findings", "the rail: spots and bolts"),
    Key("check.down", "down", "scroll(1)", "", "further down"),
    Key("check.up", "up", "scroll(-1)", "", "further up"),
    Key("check.page_down", "pagedown", "scroll(10)", "", "a page down"),
    Key("check.page_up", "pageup", "scroll(-10)", "", "a page up"),
    Key("check.back", "escape", "back", "back", "back to the board"),
    Key("check.help", "question_mark", "app.help", "help", "what to do on this screen"),
)

RESULT = (
    Key("result.board", "enter", "back", "board", "back to the board"),
    Key("result.adjusted", "a", "adjusted", "adjusted", "corrected as said: write that down, then measure again"),
    Key("result.again", "m", "again", "measure again", "type new readings"),
    Key("result.undo", "z", "undo", "take back", "take these readings back; you are asked first"),
    Key("result.down", "down", "scroll(1)", "", "further down"),
    Key("result.up", "up", "scroll(-1)", "", "further up"),
    Key("result.back", "escape", "back", "", "back to the board"),
    Key("result.help", "question_mark", "app.help", "help", "what to do on this screen"),
)

PHONE = (
    Key("phone.also", "enter", "back", "", "back to the number; the page stays open"),
    Key("phone.end", "x", "end", "close the page", "no phone can look on any more"),
    Key("phone.back", "escape", "back", "back", "back to the number; the page stays open"),
)

ASK_FIRST = (
    Key("confirm.yes", "y", "yes", "yes", "do it"),
    Key("confirm.no", "n", "back", "no", "leave everything as it is"),
    Key("confirm.back", "escape", "back", "", "leave everything as it is"),
)

DIRECTION = (
    Key("direction.yes", "y", "answer('yes')", "it moved as said", "it did: kept in the journal"),
    Key("direction.no", "n", "answer('no')", "the other way", "it moved the other way: nothing is taken"),
    Key("direction.later", "l", "answer('later')", "later", "nobody looked yet: go on, and say so with the readings"),
    Key("direction.back", "escape", "back", "back", "back; nothing is answered"),
    Key("direction.help", "question_mark", "app.help", "help", "what to do on this screen"),
)

PLUG = (
    Key("plug.find", "i", "find", "find it", "listen on every port and find out which instrument speaks where"),
    Key("plug.next_field", "tab", "next_field", "next choice", "go to the next choice"),
    Key("plug.previous_field", "shift+tab", "previous_field", "", "go to the choice before"),
    Key("plug.up", "up", "move(-1)", "", "the choice above"),
    Key("plug.down", "down", "move(1)", "", "the choice below"),
    Key("plug.listen", "l", "listen", "listen", "open the chosen port and show what arrives, as it arrives"),
    Key("plug.sweep", "s", "sweep", "sweep", "push the carriage through its stroke and record it"),
    Key("plug.live", "v", "live", "live", "the height where the carriage stands, now"),
    Key("plug.type", "o", "type_port", "", "type a port: a device name, or a URL such as socket://192.168.1.20:5000"),
    Key("plug.marks", "m", "marks", "marks", "type the stations marked on the rail"),
    Key("plug.again", "a", "refresh_ports", "", "look for serial ports again"),
    Key("plug.take", "enter", "keep", "", "keep what is chosen and go back to the board; another port is typed first"),
    Key("plug.back", "escape", "back", "back", "keep what is chosen and go back to the board"),
    Key("plug.help", "question_mark", "app.help", "help", "what to do on this screen"),
)

WHAT_IF = (
    Key("whatif.next", "tab", "choose(1)", "next bolt", "the next bolt"),
    Key("whatif.previous", "shift+tab", "choose(-1)", "", "the bolt before"),
    Key("whatif.right", "right", "choose(1)", "", "the next bolt"),
    Key("whatif.left", "left", "choose(-1)", "", "the bolt before"),
    Key("whatif.up", "up", "turn(1)", "raise", "raise it by a twelfth of a turn"),
    Key("whatif.down", "down", "turn(-1)", "lower", "lower it by a twelfth of a turn"),
    Key("whatif.finer_up", "pageup", "turn(0.25)", "", "raise it by a quarter of that"),
    Key("whatif.finer_down", "pagedown", "turn(-0.25)", "", "lower it by a quarter of that"),
    Key("whatif.type", "enter", "type", "type it", "type a move, as B2=-1/6turn or B2=+0.10mm"),
    Key("whatif.clear", "0", "clear", "all back", "no bolt moved"),
    Key("whatif.units", "u", "app.swap_units", "", "millimetres or thou"),
    Key("whatif.back", "escape", "back", "back", "back to the findings; nothing was turned or written down"),
    Key("whatif.help", "question_mark", "app.help", "help", "what to do on this screen"),
)

RESPONSE = (
    Key("response.next", "tab", "choose(1)", "next bolt", "the next bolt"),
    Key("response.previous", "shift+tab", "choose(-1)", "", "the bolt before"),
    Key("response.down", "down", "choose(1)", "", "the next bolt"),
    Key("response.up", "up", "choose(-1)", "", "the bolt before"),
    Key("response.back", "escape", "back", "back", "back to the findings"),
    Key("response.help", "question_mark", "app.help", "help", "what to do on this screen"),
)

SWEEPS = (
    Key("sweeps.up", "up", "move(-1)", "", "the sweep above"),
    Key("sweeps.down", "down", "move(1)", "", "the sweep below"),
    Key("sweeps.beside", "space", "beside", "beside it", "keep this one faintly in the picture while others are shown"),
    Key("sweeps.replay", "p", "replay", "replay", "play this sweep again"),
    Key("sweeps.units", "u", "app.swap_units", "thou/mm", "millimetres or thou"),
    Key("sweeps.back", "escape", "back", "back", "back to the board"),
    Key("sweeps.help", "question_mark", "app.help", "help", "what to do on this screen"),
)

LIVE = (
    Key("live.zero", "0", "zero", "zero", "what is read now is the table's plane: the height becomes 0"),
    Key("live.reference", "r", "reference", "reference", "what is read now is a height you type (a block, a shim)"),
    Key("live.undo", "z", "undo", "take back", "the zero or the reference set last does not hold any more"),
    Key("live.hold", "h", "clear_hold", "clear hold", "forget the highest and the lowest"),
    Key("live.sound", "s", "sound", "sound", "beeps that say which way and how close; silence inside; off again"),
    Key("live.far", "f", "far", "far view", "digits and bar that can be read from under the machine"),
    Key("live.phone", "p", "phone", "phone", "the same number on a phone: an address to photograph"),
    Key("live.units", "u", "app.swap_units", "", "millimetres or thou"),
    Key("live.back", "escape", "back", "back", "back to where you came from"),
    Key("live.help", "question_mark", "app.help", "help", "what to do on this screen"),
)

TURN = (
    Key(
        "turn.done",
        "enter",
        "done",
        "done, next",
        "write down what this bolt really did (not at its target: asks how far it was turned), plan the rest anew",
    ),
    Key("turn.lock", "l", "lock", "lock nut tight", "the lock nut is tight: show how much it moved the carriage"),
    Key("turn.skip", "k", "skip", "skip", "leave this bolt as it is and go to the next"),
    Key("turn.more_up", "up", "turn(1)", "", "tour only: turn the bolt a little so that the carriage rises"),
    Key("turn.more_down", "down", "turn(-1)", "", "tour only: turn the bolt a little so that the carriage falls"),
    Key("turn.fine_up", "right", "turn(0.2)", "", "tour only: the same by a fifth"),
    Key("turn.fine_down", "left", "turn(-0.2)", "", "tour only: the same by a fifth"),
    Key("turn.sound", "s", "sound", "sound", "beeps that say which way and how close; silence when right; off again"),
    Key("turn.far", "f", "far", "far view", "digits and bar that can be read from under the machine"),
    Key("turn.phone", "p", "phone", "phone", "the same number on a phone: an address to photograph"),
    Key("turn.units", "u", "app.swap_units", "", "millimetres or thou"),
    Key("turn.back", "escape", "back", "back", "back to the findings; nothing is written down for this bolt"),
    Key("turn.help", "question_mark", "app.help", "help", "what to do on this screen"),
)

CAUTION = (
    Key("caution.confirm", "y", "confirm", "yes, all of this is so", "the machine is safe to touch: go to the bolt"),
    *scrolling("caution"),
    Key("caution.back", "escape", "back", "back", "back to the findings"),
    Key("caution.help", "question_mark", "app.help", "help", "what to do on this screen"),
)

HELP = (
    *scrolling("help"),
    Key("help.back", "escape", "back", "back", "back to the screen"),
    Key("help.close", "question_mark", "back", "", "back to the screen"),
)

SWEEP = (
    Key("sweep.mark", "space", "mark", "mark", "the carriage's middle stands at the next station"),
    Key("sweep.undo", "z", "take_back", "take back", "the newest mark was a slip: it counts no more (both stay)"),
    Key("sweep.end_pass", "enter", "end_pass", "end of pass", "this pass is done; after the last the findings follow"),
    Key("sweep.gap", "g", "note_gap", "note a gap", "something was wrong just now: leave this stretch out"),
    Key("sweep.throw", "x", "throw_away", "throw this away", "forget this sweep (it stays on disk) and begin again"),
    Key("sweep.beside", "w", "beside", "", "another instrument beside this one: an encoder, a level, an indicator"),
    Key("sweep.repeat", "r", "repeat", "", "sweep again only the stretch that was not seen; both sweeps count"),
    Key("sweep.units", "u", "app.swap_units", "", "millimetres or thou"),
    Key(
        "sweep.back",
        "escape",
        "stop",
        "stop",
        "stop recording and go back; asked first, and what was received is kept",
    ),
    Key("sweep.help", "question_mark", "app.help", "help", "what to do on this screen"),
)

FINDINGS = (
    Key("findings.turn", "enter", "turn", "turn it", "cautions first, then the live bar for this bolt"),
    Key("findings.next", "tab", "choose(1)", "", "the next move of the table"),
    Key("findings.previous", "shift+tab", "choose(-1)", "", "the move before"),
    Key("findings.down", "down", "choose(1)", "", "the next move of the table"),
    Key("findings.up", "up", "choose(-1)", "", "the move before"),
    Key("findings.whatif", "i", "what_if", "what if", "try moves on paper: what the profile would be"),
    Key("findings.trust", "t", "trust", "weigh", "fewest bolts, or the best chance to come inside"),
    Key("findings.why", "w", "why", "why", "how this was found, what was not seen, what the instrument shows"),
    Key("findings.sweep", "s", "sweep", "sweep", "measure again"),
    Key("findings.expected", "e", "expected", "expected", "what the profile will be once the moves are made"),
    Key("findings.compare", "c", "compare", "compare", "the sweep before this one, faintly beside it"),
    Key("findings.response", "r", "response", "", "what each bolt does to the reading, believed and learned"),
    Key("findings.positions", "p", "positions", "", "where the places came from: repairs, another source"),
    Key("findings.undo", "z", "undo", "", "take back what was written down last; you are asked first"),
    Key("findings.units", "u", "app.swap_units", "", "millimetres or thou"),
    Key("findings.back", "escape", "back", "back", "back to the board"),
    Key("findings.help", "question_mark", "app.help", "help", "what to do on this screen"),
)

POSITIONS = (
    Key("positions.take", "enter", "take", "take it", "write this choice down and look at the sweep anew"),
    Key("positions.next", "tab", "choose(1)", "", "the next line"),
    Key("positions.previous", "shift+tab", "choose(-1)", "", "the line before"),
    Key("positions.down", "down", "choose(1)", "next", "the next line"),
    Key("positions.up", "up", "choose(-1)", "before", "the line before"),
    Key("positions.units", "u", "app.swap_units", "", "millimetres or thou"),
    Key("positions.back", "escape", "back", "back", "back to the findings; nothing is changed"),
    Key("positions.help", "question_mark", "app.help", "help", "what to do on this screen"),
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
    Key("replay.leave", "escape", "back", "back", "back to where you came from"),
    Key("replay.help", "question_mark", "app.help", "help", "what to do on this screen"),
)

WHY = (
    *scrolling("why"),
    Key("why.back", "escape", "back", "back", "back to the findings"),
    Key("why.help", "question_mark", "app.help", "help", "what to do on this screen"),
)

TABLE: dict[str, tuple[Key, ...]] = {
    "truestroke": JOBS,
    "new machine": FORM,
    "board": BOARD,
    "check": CHECK,
    "readings": READINGS,
    "turn by hand": TURNING,
    "result": RESULT,
    "confirm": ASK_FIRST,
    "direction": DIRECTION,
    "phone": PHONE,
    "instrument": PLUG,
    "what if": WHAT_IF,
    "response": RESPONSE,
    "sweeps": SWEEPS,
    "live": LIVE,
    "turn": TURN,
    "cautions": CAUTION,
    "sweep": SWEEP,
    "findings": FINDINGS,
    "positions": POSITIONS,
    "replay": REPLAY,
    "why": WHY,
}


def bindings(keys: tuple[Key, ...]) -> list[Binding]:
    """The framework's bindings of a table of keys."""
    return [Binding(key.key, key.action, key.word or key.help, show=bool(key.word), id=key.id) for key in keys]
