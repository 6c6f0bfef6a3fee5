"""One bolt from first to last: where to park, which nut to slack, which way, when to stop, what to tighten.

Why it exists: the hand under the machine sees neither the screen nor the thread. Which of two nuts carries and which
locks differs by the kind of support, and slacking the wrong one drops the rail. It prevents that, and cautions that
stand in a preface instead of at the step where somebody could be hurt.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from logger.advising.turn_words import fraction_words, typed_turns, way_of_turning
from logger.wording import amount, position

if TYPE_CHECKING:
    from analysis.results import Move
    from logger.machines import Bolt, Brace, Machine
    from logger.wording import Units

NEAR_A_BRACE_mm = 700.0
"""A brace this near to a bolt holds the rail against it (common practice, no source)."""
NEAR_THE_END_PART = 0.08
"""Parked within this part of the stroke from its end, the carriage's weight stands beyond the last feet."""
ASTRAY = {"mm": 0.03, "mm/m": 0.15}
"""On a foot that only rests, a display that goes this far the other way shows that it does not carry as was thought."""
OVERHANG_mm = 250.0
"""A rail that reaches further beyond its last support hangs free there (common practice, no source)."""

LOCK_OUT = (
    "Isolate and lock out the power (a licensed person where local codes ask for one), try the switch, wait until "
    "blade and cutter stand still."
)
ONE_AT_A_TIME = "Never slack all supports at once: one bolt at a time, the others tight."
MANUAL = "The maker's manual comes first where it says otherwise."
CABLE = "Lead the indicator's cable clear of the carriage and of the wrench."
ALUMINIUM = "A magnetic stand does not hold on aluminium: clamp the stand, or screw a steel plate down for it."
TIP = "Near the end of its stroke the carriage may tip the machine: prop the frame there, and nobody leans on it."


def cautions_for(machine: Machine, moves: Sequence[Move]) -> tuple[str, ...]:
    """What must be so before the first of these moves, for this machine and these parking places."""
    said = [LOCK_OUT, ONE_AT_A_TIME]
    said.append(f"{_clamped(moves)}, or take it off, before a hand goes under the machine.")
    if any(_near_an_end(machine, move.park_mm) for move in moves):
        said.append(TIP)
    braces = [brace for brace in machine.braces if brace.tight]
    held = [brace for brace in braces if any(_near(machine, move, brace) for move in moves)]
    if held:
        names = ", ".join(brace.name for brace in held)
        holds = "is tight and holds" if len(held) == 1 else "are tight and hold"
        said.append(
            f"{names} {holds} the rail near a bolt to be turned. Prop the overhanging rail first, then loosen {names}, "
            "write tight: false into machine.yaml and sweep again; tighten at the end, and sweep once more: tightening "
            "moves the rail."
        )
    elif overhangs := _overhangs(machine):
        said.append(f"The rail reaches {overhangs} beyond its last support: prop it there before a brace is loosened.")
    if any(_magnet_on_aluminium(machine, move.set_up) for move in moves):
        said.append(ALUMINIUM)
    return (*said, CABLE, MANUAL)


def steps_of(machine: Machine, move: Move, units: Units = "mm") -> tuple[str, ...]:
    """The steps of one move, in working order, each short enough to be read from the floor."""
    bolt = machine.bolt(move.bolt)
    parked = (
        "" if move.park_mm is None else f"Park the carriage's middle at {position(move.park_mm, units)} and clamp it"
    )
    shows = amount(move.reading_now, None, move.unit, units) if move.reading_now is not None else ""
    steps = []
    if parked:
        steps.append(f"{parked}; the indicator shows {shows} now." if shows else f"{parked}.")
    steps.append(_slack(bolt, move.raise_mm))
    steps.append(_turn(bolt, move))
    if move.reading_target is not None:
        stop = amount(move.reading_target, move.uncertainty, move.unit, units)
        steps.append(f"Stop at {stop}.")
        steps.append(_too_far(bolt, move, units))
    steps.append(_lock(bolt))
    if move.reading_now is not None:
        steps.append("Read again, hands off, and write down before and after: the nut may have moved it.")
    return tuple(step for step in steps if step)


def _slack(bolt: Bolt, raise_mm: float) -> str:
    name = bolt.name
    if bolt.kind == "stud_two_nuts":
        return (
            f"{name} is a stud between two nuts: the nut under the bracket carries, the nut above it locks. Slack the "
            "upper one by half a turn; the lower one carries the rail and is never slacked, only turned."
        )
    if bolt.kind == "rest_only":
        if raise_mm < 0:
            return (
                f"{name} only carries, nothing locks it: the rail must follow by its own weight. Feel afterwards that "
                "no leaf of 0.05 mm goes under it."
            )
        return f"{name} only carries, nothing locks it: turn it as it is."
    if bolt.kind == "clamped":
        return (
            f"{name}'s foot is clamped to the rail: slack the clamp and the lock nut by half a turn. The screw carries "
            "and stays in."
        )
    return (
        f"Hold the screw of {name} and slack its lock nut by half a turn. The screw carries, the nut only locks; the "
        "screw must not turn with it."
    )


def _turn(bolt: Bolt, move: Move) -> str:
    way = way_of_turning(bolt, move.raise_mm)
    what = {"stud_two_nuts": "the lower (carrying) nut of "}.get(bolt.kind, "")
    flats = abs(move.flats)
    about = f", about {_flats(flats)}" if 0.4 <= flats < 2 * bolt.flats else ""
    fine = (
        f" (a differential screw: a whole turn moves it {bolt.travel_per_turn_mm:g} mm)"
        if bolt.counter_pitch_mm
        else ""
    )
    part = fraction_words(abs(move.turns))
    turn = "turns" if abs(move.turns) > 1.0 else "of a turn" if "/" in part else "turn"
    return f"Turn {what}{bolt.name} {way}, seen from {bolt.seen_from}: {part} {turn}{about}{fine}."


def _too_far(bolt: Bolt, move: Move, units: Units) -> str:
    """When to stop before the display is there: what it takes then is not what was believed of this bolt."""
    if move.raise_at_most_mm is None or move.park_mm is None:
        return ""
    turns = abs(move.raise_at_most_mm) / bolt.travel_per_turn_mm
    part = fraction_words(turns)
    way = f"{part} {'turns' if turns > 1.0 else 'of a turn' if '/' in part else 'turn'}"
    astray = ""
    if bolt.kind == "rest_only":  # one that holds both ways is turned after its display whichever way that goes
        astray = f", or {amount(ASTRAY[move.unit], None, move.unit, units, sign=False)} further from it than before"
    typed = f"{bolt.name}={'-' if move.raise_mm < 0 else '+'}{typed_turns(turns)}turn@{move.park_mm:g}"
    return (
        f"Not there after {way}{astray}: stop, turn no further, lock, and record how far you turned and what it shows "
        f"(truestroke turned {typed}:BEFORE..AFTER), then ask again."
    )


def _flats(flats: float) -> str:
    rounded = round(2 * flats) / 2
    if rounded == 0.5:
        return "half a flat"
    if rounded == 1.0:
        return "one flat"
    return f"{rounded:g} flats"


def _lock(bolt: Bolt) -> str:
    if bolt.kind == "rest_only":
        return "There is no lock nut: press the rail down by hand at the bolt and let go, so that it sits."
    if bolt.kind == "stud_two_nuts":
        return "Hold the lower nut and tighten the upper one."
    if bolt.kind == "clamped":
        return "Hold the screw, tighten its lock nut, then the clamp."
    return "Hold the screw and tighten the lock nut."


def _clamped(moves: Sequence[Move]) -> str:
    parks = [move.park_mm for move in moves if move.park_mm is not None]
    return "Clamp the carriage where it is parked for each bolt" if parks else "Clamp the carriage"


def _near_an_end(machine: Machine, park_mm: float | None) -> bool:
    if park_mm is None:
        return False
    low, high = machine.carriage.stroke_mm
    return min(park_mm - low, high - park_mm) <= NEAR_THE_END_PART * (high - low)


def _near(machine: Machine, move: Move, brace: Brace) -> bool:
    return bool(abs(machine.bolt(move.bolt).x_mm - brace.x_mm) <= NEAR_A_BRACE_mm)


def _overhangs(machine: Machine) -> str:
    x = [bolt.x_mm for bolt in machine.bolts]
    ends = {"infeed": min(x) - machine.rail.from_mm, "outfeed": machine.rail.to_mm - max(x)}
    long = [f"{length:.0f} mm at the {end} end" for end, length in ends.items() if length > OVERHANG_mm]
    return " and ".join(long) if machine.braces else ""


def _magnet_on_aluminium(machine: Machine, set_up: str) -> bool:
    given = machine.set_ups.get(set_up)
    return given is not None and given.kind == "carried"
