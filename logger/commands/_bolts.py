"""What ``bolts`` does: the plan in words, what would be if, and what was learned of this machine.

Why it exists: cautions and steps stand where the hand needs them, before the first move and at it, and the same facts
go out as JSON.
"""

from __future__ import annotations

import argparse
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from textwrap import wrap
from typing import TYPE_CHECKING, Any

from logger.commands import Answer
from logger.commands._findings import _not_seen, _places_lines, _predicted_line, _verdict, _warned
from logger.commands._job import open_job, the_set_up
from logger.wording import amount, number, position, state, table

if TYPE_CHECKING:
    from analysis.results import Move, PlaceFinding, Plan
    from logger.advising.response import Responses
    from logger.advising.what_if import WhatIf
    from logger.job import Job
    from logger.machines import Machine
    from logger.wording import Units

CHOICES = {"few": "fewest", "least": "least", "best": "chance"}
"""How the moves are chosen, as it is asked for, and the advice's own word."""
WIDTH = 79
SHOWN = 7
"""Stations of the learned response that are shown in words; all of them are in the JSON."""


def bolts(args: argparse.Namespace) -> Answer:
    """``truestroke bolts``, with ``--if`` as what would happen and ``--learned`` as what is believed of the machine."""
    from logger import advice

    job = open_job(args)
    set_up = the_set_up(job, args.set_up) if args.set_up else None
    if args.what_if:
        return _what_if(job, args.what_if, set_up, args.units)
    if args.learned or args.picture:
        return _learned(job, set_up, args.units, args.picture)
    trust: Any = CHOICES.get(args.choose, "few")
    plan = advice.advise(job, set_up=set_up, trust=trust)
    plan = replace(plan, warnings=(*plan.warnings, *job.journal_faults()))
    answer = {**advice.as_json(plan), "choose": args.choose}
    return Answer(answer, bolts_lines(plan, args.units, job.machine))


def bolts_lines(plan: Plan, units: Units, machine: Machine) -> list[str]:
    """The plan in words: cautions before the first move, the steps of each move under it."""
    unit = plan.verdict.unit
    lines = [f"round {plan.round}, {plan.set_up}: {_verdict(plan.verdict, units)}"]
    if plan.next == "turn" and plan.moves:
        lines += _more_to_see(plan, machine)
        lines += ["", *_wrapped("", plan.cautions), "", *_moves_table(plan.moves, units)]
        for move in plan.moves:
            lines += ["", *_steps(machine, move, units)]
        lines += ["", "  Then record what the indicator showed before and after, with your own figures:"]
        where = f"--set-up {plan.set_up} " if len(plan.places) or plan.verdict.unit != "mm" else ""
        lines.append(f"    truestroke turned {where}" + " ".join(map(_as_typed, plan.moves)))
    elif plan.next == "sweep":
        other = f" with set-up {plan.next_set_up}" if plan.next_set_up else ""
        lines.append(f"  Next: measure again{other}.")
    elif not plan.reachable:
        best = amount(plan.best_possible_peak_to_valley, plan.best_possible_uncertainty, unit, units, sign=False)
        lines.append(f"  The bolts alone cannot do it: the best they can reach is {best} peak to valley.")
    else:
        lines.append("  Nothing to turn.")
    if plan.predicted is not None and plan.moves:
        lines.append(_predicted_line("After these moves", plan.predicted, unit, units))
    if plan.unseen_bolts:
        lines.append(f"  bolts this set-up cannot see: {', '.join(plan.unseen_bolts)}")
    lines += _places_lines(plan.places, unit, units)
    if plan.whole_stroke is not None:
        lines += _whole_stroke_lines(plan.whole_stroke, units)
    if plan.next != "turn":
        lines += _more_to_see(plan, machine)
    lines += _wrapped("  ", [f"why: {reason}" for reason in plan.why])
    lines += _wrapped("  ", [line.strip() for line in _not_seen(plan.not_seen)])
    return [*lines, *_wrapped("  ", [line.strip() for line in _warned(plan.warnings)])]


def _more_to_see(plan: Plan, machine: Machine) -> list[str]:
    """What nobody can see yet and which one more set-up would show most, where something allowed is not known."""
    blind = [
        place.name for place in (*plan.places, *([plan.whole_stroke] if plan.whole_stroke else [])) if not place.seen
    ]
    if not blind or not plan.would_show:
        return []
    from logger.advising.extra_set_ups import sentence

    said = [f"not known well enough yet: {', '.join(blind)}", sentence(plan.would_show[0])]
    return _wrapped("  ", said)


def _wrapped(indent: str, sentences: Sequence[str]) -> list[str]:
    """Each sentence on lines of its own, none wider than a terminal of 80."""
    return [
        line
        for sentence in sentences
        for line in wrap(sentence, WIDTH, initial_indent=indent, subsequent_indent=f"{indent}   ")
    ]


def _steps(machine: Machine, move: Move, units: Units) -> list[str]:
    from logger.advising.turn_steps import steps_of

    steps = steps_of(machine, move, units)
    lettered = [f"{chr(96 + place)}) {step}" for place, step in enumerate(steps, 1)]
    return [f"  {move.order}. {move.bolt}", *_wrapped("     ", lettered)]


def _whole_stroke_lines(place: PlaceFinding, units: Units) -> list[str]:
    if not place.seen:
        return [f"  {place.name}: not seen. {place.why}".rstrip()]
    value = amount(place.peak_to_valley, place.uncertainty, "mm", units, sign=False)
    allowed = amount(place.allowed, None, "mm", units, sign=False)
    return [f"  {place.name}: {state(place.verdict)}, {value} from end to end, allowed {allowed}"]


def _moves_table(moves: Sequence[Move], units: Units) -> list[str]:
    rows = [("", "bolt", "move", "turns", "park at", "indicator now", "stop at")]
    for move in moves:
        arrow = "↑" if move.raise_mm > 0 else "↓"
        rows.append(
            (
                str(move.order),
                move.bolt,
                f"{arrow} {amount(abs(move.raise_mm), None, 'mm', units, sign=False)}",
                move.turn.partition(", ")[0],
                position(move.park_mm, units),
                amount(move.reading_now, None, move.unit, units),
                amount(move.reading_target, move.uncertainty, move.unit, units),
            )
        )
    # A turn too small to judge by eye is also said as the way the wrench's end goes: on a line of its own, it is long.
    ways = [(move.bolt, move.turn.partition(", ")[2]) for move in moves]
    return [*table(rows), *[f"  {bolt}: {way}" for bolt, way in ways if way]]


def _as_typed(move: Move) -> str:
    """A move as it is reported: parked readings say more of the machine than the travel that was meant."""
    if move.park_mm is None or move.reading_now is None or move.reading_target is None:
        return f"{move.bolt}={move.raise_mm:+.2f}mm"
    unit = "mm" if move.unit == "mm" else "mm/m"
    return f"{move.bolt}@{move.park_mm:g}:{move.reading_now:+.3f}..{move.reading_target:+.3f}{unit}"


# --- what if ---------------------------------------------------------------------------------------------------------


def _what_if(job: Job, texts: Sequence[str], set_up: str | None, units: Units) -> Answer:
    from logger.advising.turned import EXAMPLES, ParkedMove, parse_all
    from logger.advising.what_if import as_json, what_if
    from logger.errors import NotAllowed

    moves = parse_all(texts, job.machine)
    if any(isinstance(move, ParkedMove) for move in moves):
        raise NotAllowed("A parked reading says what was done, not what would be.", f"For --if write {EXAMPLES}.")
    typed = {move.bolt: move.raise_mm for move in moves if not isinstance(move, ParkedMove)}
    found = what_if(job, typed, set_up=set_up)
    told = ", ".join(f"{bolt} {amount(raise_mm, None, 'mm', units)}" for bolt, raise_mm in typed.items())
    answer: dict[str, Any] = {
        "if": [{"bolt": bolt, "raise_mm": raise_mm} for bolt, raise_mm in typed.items()],
        **as_json(found),
    }
    return Answer(answer, _what_if_lines(told, found, units))


def _what_if_lines(told: str, found: WhatIf, units: Units) -> list[str]:
    lines = [_predicted_line(f"With {told}", found.predicted, found.unit, units).strip()]
    rows = [("band", "now", "then", "allowed", "chance")]
    for goal in found.goals:
        rows.append(
            (
                goal.name,
                amount(goal.now, None, goal.unit, units, sign=False),
                amount(goal.then, goal.uncertainty, goal.unit, units, sign=False),
                amount(goal.limit, None, goal.unit, units, sign=False),
                f"{100 * goal.chance:.0f} in 100",
            )
        )
    lines += table(rows)
    if len(found.goals) > 1:
        lines.append(f"  all of them together: {100 * found.chance_inside:.0f} in 100")
    for each in found.targets:
        if each.park_mm is None:
            lines.append(f"  {each.bolt}: {each.turn}; this set-up does not see it")
            continue
        now = amount(each.reading_now, None, each.unit, units)
        then = amount(each.reading_then, None, each.unit, units)
        park = position(each.park_mm, units)
        lines.append(f"  {each.bolt}: {each.turn}; parked at {park} the indicator would go from {now} to {then}")
    return lines


# --- what was learned ------------------------------------------------------------------------------------------------


def _learned(job: Job, set_up: str | None, units: Units, picture: str | None) -> Answer:
    from logger.advising.response import responses_of

    found = responses_of(job, set_up)
    answer, lines = _learned_json(job, found), _learned_lines(job, found, units)
    if picture is not None:
        answer["picture"] = str(_drawn(job, found, units, picture))
        lines.append(f"  as a picture: {answer['picture']}")
    return Answer(answer, lines)


def _drawn(job: Job, found: Responses, units: Units, name: str) -> Path:
    """The same as an SVG file; one that is there already is not written over."""
    from logger.errors import CannotSave, NotAllowed
    from logger.report.response_drawing import draw_responses
    from logger.report.svg import svg

    path = Path(name)
    if path.suffix.casefold() != ".svg":
        raise NotAllowed(f"{name[:80]} is no name for a picture.", "Give one that ends in .svg.")
    try:
        with path.open("x", encoding="utf-8", newline="\n") as file:
            file.write(str(svg(draw_responses(found, _per_turn(job, found), units), alone=True)))
    except FileExistsError as there:
        raise NotAllowed(f"{path} is there already and stays as it is.", "Give another name.") from there
    except OSError as problem:
        raise CannotSave(
            f"{path} could not be written: {problem.strerror}.", "Name a folder you may write to."
        ) from problem
    return path


def _per_turn(job: Job, found: Responses) -> list[float]:
    return [job.machine.bolt(name).travel_per_turn_mm for name in found.bolts]


def _learned_json(job: Job, found: Responses) -> dict[str, Any]:
    end = "mm" if found.unit == "mm" else "mm_per_m"
    travel = _per_turn(job, found)
    return {
        "set_up": found.set_up,
        "turns_learned_from": found.turns,
        "x_mm": [round(float(x), 1) for x in found.x_mm],
        "bolts": [
            {
                "bolt": name,
                "travel_per_turn_mm": travel[index],
                f"nominal_{end}_per_turn": _rounded(found.believed[:, index] * travel[index]),
                f"learned_{end}_per_turn": _rounded(found.learned[:, index] * travel[index]),
                f"uncertainty_{end}_per_turn": _rounded(found.uncertainty[:, index] * travel[index]),
            }
            for index, name in enumerate(found.bolts)
        ],
        "warnings": [],
    }


def _rounded(values: Any) -> list[float]:
    return [round(float(value), 4) for value in values]


def _learned_lines(job: Job, found: Responses, units: Units) -> list[str]:
    """For every bolt, at a few stations: what one whole turn does to the reading, learned over believed before."""
    keep = sorted({round(k * (len(found.x_mm) - 1) / (SHOWN - 1)) for k in range(SHOWN)})
    travel = _per_turn(job, found)
    scale, unit = (1.0, found.unit) if units == "mm" or found.unit != "mm" else (1.0 / 25.4, "in")
    decimals = 3 if unit == "in" else 2
    said = "learned from " + (f"{found.turns} turn{'s' if found.turns != 1 else ''}" if found.turns else "nothing yet")
    rows: list[tuple[str, ...]] = [("a whole turn of", *[position(float(found.x_mm[k]), units) for k in keep])]
    for index, name in enumerate(found.bolts):
        for title, values, sign in (
            (f"{name} learned", found.learned, True),
            ("   ±", found.uncertainty, False),
            ("   nominal", found.believed, True),
        ):
            figures = [number(float(values[k, index]) * travel[index] * scale, decimals, sign=sign) for k in keep]
            rows.append((title, *figures))
    return [
        f"{found.set_up}: what one turn that raises a bolt does to the reading, {unit} at each station; {said}",
        *table(rows),
        "  nominal: what was believed before anything was turned or laid on. ±: 95 in 100.",
    ]
