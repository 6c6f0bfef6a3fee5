"""What ``board`` and ``take`` do: the checks' table and the journal, in words and as JSON.

Why it exists: both show the same check, so its state, limits and cautions are worded once. Nothing is computed here.
"""

from __future__ import annotations

import argparse
from textwrap import wrap
from typing import TYPE_CHECKING, Any

from logger.checks.model import Check, Correction
from logger.checks.table import BY_NAME, all_above, all_below
from logger.checks.words import (
    correction_lines,
    limits_words,
    look_again_words,
    standing,
    value_words,
    verdict_line,
)
from logger.commands import Answer
from logger.commands._guide import SUFFIX, WIDTH, allowed_json
from logger.commands._job import open_job
from logger.errors import NotAllowed
from logger.wording import amount, nearest, state, table

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from logger.checks.board import Board, Row
    from logger.checks.taking import Taking
    from logger.checks.typed import Typed
    from logger.checks.work import Shown
    from logger.job import Job
    from logger.wording import Units

AT_THE_LIMIT = 0.05  # of the uncertainty: nearer to the limit than this, no better instrument helps


# --- board -----------------------------------------------------------------------------------------------------------


def board(args: argparse.Namespace) -> Answer:
    """``truestroke board``."""
    from logger.checks.board import board_of
    from logger.checks.work import work_of_job, worth_correcting

    job = open_job(args)
    found = board_of(job)
    faults = job.journal_faults()
    shown = work_of_job(job, found)
    answer = {
        "checks": [_row_json(row) for row in found.rows],
        "next": found.next,
        "why": found.why,
        "work": [
            {"check": each.of, "shows": each.what, "size_mm": each.size_mm, "uncertainty_mm": each.uncertainty_mm,
             "why": each.why, "worth_correcting": worth_correcting(each)}
            for each in shown
        ],
        "warnings": faults,
    }  # fmt: skip
    lines = [*board_lines(found, args.units), *_work_lines(shown, args.units)]
    return Answer(answer, [*lines, *[f"  note: {fault}" for fault in faults]])


def _work_lines(shown: Sequence[Shown], units: Units) -> list[str]:
    """What the work would show of it, the largest first."""
    if not shown:
        return []
    ordered = sorted(shown, key=lambda each: -each.size_mm)
    rows = [(amount(each.size_mm, each.uncertainty_mm, "mm", units, sign=False), each.what) for each in ordered]
    return ["the work would show:", *table(rows)]


def board_lines(found: Board, units: Units) -> list[str]:
    """The table, then the next sensible check and why."""
    rows = [("check", "state", "value", "allowed", "taken")]
    for row in found.rows:
        value = value_words(row.value, row.uncertainty, row.allowed, units)
        limits = limits_words(row.allowed, units) if row.check.asks else "as machine.yaml"
        word = state(standing(row))
        rows.append((row.check.name, word, value, limits, (row.time or "")[:10]))
    # Value and limit say why a typed one is outside; what made one stale, and the rail, take a sentence.
    doubtful = [row for row in found.rows if row.why and (row.state == "stale" or row.check.name == "rail")]
    said = [f"  {row.check.name}: {row.why}" for row in doubtful]
    said += [f"  {row.check.name}: {look_again_words(row)}" for row in found.rows if row.look_again is not None]
    lines = [*table(rows), *[line for each in said for line in _wrapped(each)]]
    if found.next is None:
        return [*lines, *_wrapped(f"next: nothing. {found.why}")]
    command = f"truestroke take {found.next}"
    if found.next == "rail":
        command = "truestroke bolts" if found.row("rail").state == "outside" else "truestroke sweep"
    return [*lines, *_wrapped(f"next: {BY_NAME[found.next].title}. {found.why}"), f"      {command}"]


def _row_json(row: Row) -> dict[str, Any]:
    suffix = SUFFIX[row.allowed.unit]
    return {
        "check": row.check.name,
        "title": row.check.title,
        "state": row.state,
        **({f"value{suffix}": row.value, f"uncertainty{suffix}": row.uncertainty} if suffix else {}),
        "allowed": allowed_json(row.allowed),
        "taken": row.time,
        "skipped": row.skipped,
        "why": row.why,
        **({"look_again": row.look_again.isoformat(timespec="minutes"), "late": row.late} if row.look_again else {}),
        "rests_on": [{"check": each.check, "reason": each.reason} for each in row.check.rests_on],
        "left_alone_by": [{"check": each.check, "reason": each.reason} for each in row.check.left_alone_by],
    }


# --- take ------------------------------------------------------------------------------------------------------------


def take(args: argparse.Namespace) -> Answer:
    """``truestroke take``: everything is understood and computed before anything is recorded."""
    from logger.checks.board import standing_limits
    from logger.checks.doing import do
    from logger.commands._turning import texts_of

    job = open_job(args)
    check = _the_check(args.check)
    if not args.readings and not args.port:
        from logger.commands._guide import guide_json, guide_lines

        limits = standing_limits(check, job.standing_entries(), job.machine)
        plain = not args.terminal.can_draw()
        return Answer(guide_json(check, limits), guide_lines(check, limits, args.units, ascii_only=plain))
    if not check.asks and args.readings != ["adjusted=yes"]:
        raise NotAllowed(
            f"{check.name} is not typed in: it is swept.", "Record it: truestroke sweep; or say adjusted=yes."
        )
    look = _look(args) if args.terminal.interactive else None
    done = do(job, check, texts_of(args, job, check), _confirm(args), unit_needed=args.units == "in", look=look)
    if done.kind == "advice":
        return _which_cuts(done.typed, args.units)
    if done.kind in ("left out", "taken up"):
        return _left_out(job, check, done.kind == "left out")
    if done.kind == "adjusted":
        return _adjusted(job, check)
    if done.taking is None:
        said = "The number moves as said; that is kept with the next readings of this set-up."
        return Answer({"check": check.name, "moved_as_said": True, "warnings": []}, [said])
    return _taken(job, check, done.taking, args.units, [done.unchecked] if done.unchecked else [])


def _look(args: argparse.Namespace) -> Callable[[str], str]:
    """Whether somebody saw the number move as said: asked of the person at the terminal."""

    def look(sentence: str) -> str:
        answer = args.terminal.ask(f"{sentence}. Did it? [y/n, Enter = nobody looked]").casefold()
        return {"y": "yes", "yes": "yes", "n": "no", "no": "no"}.get(answer, "later")

    return look


def _the_check(name: str) -> Check:
    folded = name.casefold()
    if folded not in BY_NAME:
        raise NotAllowed(
            f"There is no check '{name[:40]}'{nearest(folded, BY_NAME)}.", f"The checks are {', '.join(BY_NAME)}."
        )
    return BY_NAME[folded]


def _confirm(args: argparse.Namespace) -> Callable[[str], bool]:
    def confirm(question: str) -> bool:
        terminal = args.terminal
        return bool(terminal.interactive) and terminal.ask(question).casefold() in ("y", "yes")

    return confirm


def _taken(job: Job, check: Check, taking: Taking, units: Units, said_before: list[str]) -> Answer:
    from logger.checks.board import board_of
    from logger.checks.evaluate import would_decide

    typed, result = taking.typed, taking.result
    found = board_of(job)
    verdict, suffix = result.verdict, SUFFIX[check.allowed.unit]
    deciding = would_decide(verdict)
    warnings = [*typed.readings.warnings, *said_before, *_out_of_order(found, check)]
    feasible = taking.feasible
    stale = _stale_above(found, check)
    figures = {f"value{suffix}": verdict.value, f"uncertainty{suffix}": verdict.uncertainty} if suffix else {}
    answer = {
        "check": check.name,
        "verdict": verdict.word,
        **figures,
        **result.details,
        "allowed": allowed_json(typed.allowed),
        "reason": verdict.reason,
        **({f"would_decide{suffix}": deciding} if deciding is not None else {}),
        **({"decides": feasible.decides, f"needs{suffix}": feasible.needs} if feasible is not None else {}),
        **({"instrument_that_would": feasible.instrument} if feasible is not None and feasible.instrument else {}),
        "corrections": [_correction_json(each) for each in result.corrections],
        "notes": list(result.notes),
        "cautions": list(check.cautions),
        "stale": stale,
        "warnings": warnings,
        "next": found.next,
        "why": found.why,
    }
    lines = _wrapped(f"{check.title}: {verdict_line(result, typed.allowed, units)}")
    lines += [line for note in result.notes for line in _wrapped(f"  {note}")]
    if deciding is not None and deciding < AT_THE_LIMIT * verdict.uncertainty:
        lines += _wrapped(
            "  It is at the limit itself: no instrument decides that. Correct it, or set a limit of your own."
        )
    elif deciding is not None:
        lines.append(
            f"  An uncertainty below {amount(deciding, None, verdict.unit, units, sign=False)} would decide it."
        )
    if feasible is not None and feasible.sentence and verdict.word == "cannot tell":
        lines += _wrapped(f"  {feasible.sentence}")
    if result.corrections:
        cautions = [line for caution in check.cautions for line in _wrapped(caution)]
        moves = [line for each in correction_lines(result.corrections, units) for line in _wrapped(each)]
        lines += ["", *cautions, "", *moves]
        lines.append(f"  Then: truestroke take {check.name} adjusted=yes, and measure again.")
    return Answer(answer, [*lines, *_after(found, stale, warnings)])


def _wrapped(text: str) -> list[str]:
    """A sentence in lines of 80; what goes on is set in by two more."""
    indent = " " * (len(text) - len(text.lstrip()))
    return wrap(text, WIDTH, subsequent_indent=f"{indent}  ", drop_whitespace=True, break_long_words=False)


def _which_cuts(typed: Typed, units: Units) -> Answer:
    """Which cut test is worth the wood; nothing is recorded."""
    from logger.checks.evaluate_fence import worth_cutting

    choices, best = worth_cutting(typed.readings, typed.allowed)
    rows = [("cuts", "number", "would leave", "enough")]
    for each in choices:
        doubt = amount(each.uncertainty_mm_per_m, None, "mm/m", units, sign=False)
        rows.append((each.name, str(each.cuts), f"±{doubt}", "yes" if each.decides else "no"))
    last = f"worth doing: cuts={best.name}"
    if not best.decides:
        last += "; but none decides: a longer panel or better calipers would"
    tests = {each.name for each in choices}
    if "three" not in tests:
        wide = min(typed.readings.numbers["sides"])
        opens = typed.readings.one("opens")
        last += f"; the others want calipers that open {wide:.0f} mm (these {opens:.0f}: opens=)"
    answer = {
        "check": "fence",
        "worth_doing": best.name,
        "decides": best.decides,
        "tests": [
            {"cuts": c.name, "number": c.cuts, "uncertainty_mm_per_m": c.uncertainty_mm_per_m, "decides": c.decides}
            for c in choices
        ],
        "warnings": list(typed.readings.warnings),
    }
    heading = f"allowed {limits_words(typed.allowed, units)} ({typed.allowed.origin})"
    return Answer(answer, [heading, *table(rows), last])


def _left_out(job: Job, check: Check, skip: bool) -> Answer:
    """What leaving a check out costs, said once."""
    from logger.checks.board import board_of

    found = board_of(job)
    above = all_above(check.name)
    cost = [
        f"{other}: {each.reason}" for other in above for each in BY_NAME[other].rests_on if each.check == check.name
    ]
    said = f"{check.title}: left out, recorded." if skip else f"{check.title}: taken up again, recorded."
    answer = {
        "check": check.name, "skipped": skip, "costs": cost if skip else [], "warnings": [], "next": found.next,
        "why": found.why,
    }  # fmt: skip
    lines = [said]
    if skip and cost:
        lines += _wrapped("  What rests on it is worth only as much as it happens to be in order:")
        lines += [line for each in cost for line in _wrapped(f"  {each}")]
    return Answer(answer, [*lines, *_after(found, [], [])])


def _adjusted(job: Job, check: Check) -> Answer:
    from logger.checks.board import board_of

    found = board_of(job)
    stale = _stale_above(found, check)
    answer = {
        "check": check.name,
        "adjusted": True,
        "stale": stale,
        "warnings": [],
        "next": found.next,
        "why": found.why,
    }
    row = found.row(check.name)
    look = [] if row.look_again is None else _wrapped(f"  {look_again_words(row)}")
    if row.look_again is not None:
        answer["look_again"] = row.look_again.isoformat(timespec="minutes")
    return Answer(answer, [f"{check.title}: adjusted, recorded.", *look, *_after(found, stale, [])])


def _after(found: Board, stale: list[str], warnings: list[str]) -> list[str]:
    lines = [line for warning in warnings for line in _wrapped(f"  note: {warning}")]
    if stale:
        lines += _wrapped(f"  stale now: {', '.join(stale)}")
    return [*lines, *_wrapped(f"next: {found.next or 'nothing'}. {found.why}")]


def _out_of_order(found: Board, check: Check) -> list[str]:
    """Working out of order is allowed; what it may cost is said: near ones with the reason, the rest by name."""
    near = {each.check: each.reason for each in check.rests_on}
    behind = [name for name in all_below(check.name) if found.row(name).state != "inside"]
    alike: dict[tuple[str, str], list[str]] = {}
    for name in behind:
        if name in near:
            alike.setdefault((standing(found.row(name)), near[name]), []).append(name)
    said = [
        f"{_these(names)} {word}: when corrected later, measure this again. {why}"
        for (word, why), names in alike.items()
    ]
    far = [f"{name} ({standing(found.row(name))})" for name in behind if name not in near]
    return [*said, *([f"Under those, also not inside: {', '.join(far)}."] if far else [])]


def _these(names: list[str]) -> str:
    return f"{', '.join(names)} {'is' if len(names) == 1 else 'are'}"


def _stale_above(found: Board, check: Check) -> list[str]:
    return [name for name in all_above(check.name) if found.row(name).state == "stale"]


# --- words -----------------------------------------------------------------------------------------------------------


def _correction_json(each: Correction) -> dict[str, Any]:
    return {
        "where": each.where,
        "move_mm": each.move_mm,
        "way": each.way,
        "uncertainty_mm": each.uncertainty_mm,
        "turns": each.turns,
    }
