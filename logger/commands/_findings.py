"""What ``spots``, ``bolts`` and ``turned`` do: from recordings and the journal to advice, and back into the journal.

Why it exists: the three commands are one conversation (what is it like, what shall I turn, this is what I turned), and
share how sweeps are chosen and how a finding is worded. The numbers come from ``logger.findings`` and
``logger.advice``; nothing is computed here.
"""

from __future__ import annotations

import argparse
import math
from collections.abc import Sequence
from typing import TYPE_CHECKING

from logger.commands import Answer
from logger.commands._job import open_job, sweeps_to_judge, the_set_up
from logger.description.described import as_now, changes_since, moved_since
from logger.wording import amount, position, share, state

if TYPE_CHECKING:
    from analysis.results import Findings, FloatArray, PlaceFinding, Predicted, Spot, Verdict
    from logger.job import TurnedBolt
    from logger.judging.words import Shape
    from logger.wording import Units

SAFE_FIRST = (
    "Before a hand goes under the machine: isolate and lock out the power (a licensed person where local codes ask for",
    "one), park and clamp the carriage, and never slack all supports at once: one bolt at a time, the others tight.",
    "The maker's manual comes first where it says otherwise.",
)


def spots(args: argparse.Namespace) -> Answer:
    """``truestroke spots``."""
    from logger import advice, findings
    from logger.judging import agreed, level_heights

    job, shape = open_job(args), _shape(args)
    swept, doubts = sweeps_to_judge(job, args.sweeps)
    for each in swept:
        doubts += [said for said in (moved_since(each, job.machine), changes_since(each, job.machine)) if said]
    recordings = [as_now(each, job.machine) for each in swept]
    names = [each.name for each in recordings]
    for said in [*args.agree, *([f"positions from {args.positions}"] if args.positions else [])]:
        agreed.agree(job, names, said)
    found = findings.find(recordings, agreed.agreed(job))
    asked: set[tuple[str, str]] = set()
    while agreed.ask(job, found.repairs, args.terminal, asked):
        found = findings.find(recordings, agreed.agreed(job))
    places = advice.places(job.machine, found)
    answer = findings.as_json(found, places, shape)
    answer["warnings"] = [*answer["warnings"], *doubts, *job.journal_faults()]
    answer.update(level_heights.as_json(found, job.machine, args.ends))
    lines = spots_lines(found, places, answer["warnings"], args.units, shape)
    return Answer(answer, [*lines, *level_heights.lines(found, job.machine, args.ends)])


def _shape(args: argparse.Namespace) -> Shape:
    """How straightness is wanted. Raises NotAllowed for a length that is none."""
    from logger.errors import NotAllowed
    from logger.judging.words import Shape

    for name, value in (("--local", args.local), ("--cutoff", args.cutoff)):
        if value is not None and not 1.0 <= value <= 100_000.0:
            raise NotAllowed(f"{name} {value:g} is not possible.", "Allowed: 1 to 100000 mm.")
    return Shape(args.reference.replace("-", " "), args.local, args.cutoff)


def spots_lines(
    found: Findings,
    places: Sequence[PlaceFinding],
    warnings: Sequence[str],
    units: Units,
    shape: Shape | None = None,
) -> list[str]:
    """The findings in words: verdict first, then where, then what was not seen."""
    unit, profile = found.profile.unit, found.profile
    extremes = found.extremes
    lines = [
        f"{found.set_up}: {', '.join(found.sweeps)}; positions from {found.position_source}",
        f"  {_verdict(found.verdict, units)}",
        "  peak to valley "
        + amount(extremes.peak_to_valley, extremes.peak_to_valley_uncertainty, unit, units, sign=False)
        + ", mean "
        + amount(extremes.mean, extremes.mean_uncertainty, unit, units, unknown="not known: shape only"),
        f"  seen from {position(float(profile.x_mm[0]), units)} to {position(float(profile.x_mm[-1]), units)}",
    ]
    lines += [
        f"  straightness, {each.reference} line: STRt {amount(each.STRt, None, unit, units, sign=False)}"
        for each in found.straightness
    ]
    if shape is not None:
        lines += _shape_lines(found, shape, units)
    lines += [f"  {_spot(spot, unit, units)}" for spot in found.spots]
    if not found.spots:
        lines.append("  no spot stands clear of the noise")
    lines += _worth_lines(found, units)
    return [*lines, *_places_lines(places, unit, units), *_not_seen(found.not_seen), *_warned(warnings)]


def _spot(spot: Spot, unit: str, units: Units) -> str:
    """The spot in one sentence."""
    by = amount(abs(spot.value), spot.uncertainty, unit, units, sign=False)
    way = f"from {position(spot.from_mm, units)} to {position(spot.to_mm, units)}"
    most = "highest" if spot.kind == "high" else "deepest"
    return f"{state(spot.kind)} by {by} {way}, {most} at {position(spot.x_mm, units)}"


def _shape_lines(found: Findings, shape: Shape, units: Units) -> list[str]:
    """Straightness over a shorter length and behind a filter, where they were asked for."""
    from analysis.straightness import straightness
    from logger.judging.words import END_TREATMENT, filtered_of, local_of

    profile, out = found.profile, []
    if shape.local_mm is not None:
        local = local_of(profile, shape.local_mm)
        if local is None:
            out.append(f"  straightness over {position(shape.local_mm, units)}: nothing so long was seen in one piece")
        else:
            value = amount(local[0], local[1], profile.unit, units, sign=False)
            out.append(
                f"  straightness over any {position(shape.local_mm, units)} (minimum zone): at most {value}, "
                f"about {position(local[2], units)}"
            )
    filtered = filtered_of(profile, shape.cutoff_mm)
    if filtered is not None:
        line = straightness(profile.x_mm, filtered, shape.reference)
        value = amount(line.STRt, None, profile.unit, units, sign=False)
        out.append(f"  filtered at {position(shape.cutoff_mm, units)} (Gaussian): STRt {value}, {line.reference} line;")
        out.append(f"    {END_TREATMENT}")
    return out


def _worth_lines(found: Findings, units: Units) -> list[str]:
    """Where the positions come from and how well they are known; of what the uncertainty is made."""
    from logger.judging.words import parts_of_mean, parts_of_peak_to_valley

    lines = [f"  why from {found.position_source}: {found.position_why}"] if found.position_why else []
    if found.position_uncertainty_mm is not None and len(found.position_uncertainty_mm):
        u, x = found.position_uncertainty_mm, found.profile.x_mm
        most = int(u.argmax())
        lines.append(
            f"  places known to ±{position(float(_median(u)), units)} (half of them), "
            f"at worst ±{position(float(u[most]), units)} at {position(float(x[most]), units)}"
        )
    lines += _on_the_way(found, units)
    for name, parts in (
        ("peak to valley", parts_of_peak_to_valley(found.profile)),
        ("mean", parts_of_mean(found.profile) if found.extremes.mean is not None else {}),
    ):
        said = [f"{part} {share(u, found.profile.unit, units)}" for part, u in parts.items() if u >= 0.0005]
        if said:
            lines.append(f"  ± of {name} from: {', '.join(said)}")
    return lines


_FOUND_ON_THE_WAY = (
    ("direction_offset", "half the offset between directions"),
    ("play", "play"),
    ("zero_shift", "zero shift between passes"),
    ("drift_per_min", "drift in a minute"),
)


def _on_the_way(found: Findings, units: Units) -> list[str]:
    """What was estimated and taken out of the profile."""
    said = []
    delay, u = found.reports.get("delay_s"), found.reports.get("delay_standard_uncertainty_s", 0.0)
    if delay is not None and found.position_source == "marks":
        said.append(f"marks late by {delay:.2f} ±{2.0 * u:.2f} s")
    for key, words in _FOUND_ON_THE_WAY:
        value = found.reports.get(key)
        if value is not None and abs(value) >= 0.0005:
            said.append(f"{words} {amount(value, None, found.profile.unit, units)}")
    return [f"  taken out: {', '.join(said)}"] if said else []


def _median(values: FloatArray) -> float:
    """The median, the array library loaded only now."""
    import numpy as np

    return float(np.median(values))


def _verdict(verdict: Verdict, units: Units) -> str:
    """The word and why: the analysis's own sentence in mm, the same figures in other units."""
    if units == "mm" or verdict.unit != "mm" or not math.isfinite(verdict.value):
        return f"{state(verdict.word)}. {verdict.reason}"
    limits = [
        amount(limit, None, "mm", units, sign=False) for limit in (verdict.lower, verdict.upper) if limit is not None
    ]
    allowed = " to ".join(limits) if len(limits) == 2 else f"at most {limits[0]}" if limits else "anything"
    value = amount(verdict.value, verdict.uncertainty, "mm", units, sign=False)
    return f"{state(verdict.word)}: {value}, allowed {allowed}"


def _places_lines(places: Sequence[PlaceFinding], unit: str, units: Units) -> list[str]:
    lines = []
    for place in places:
        if not place.seen:
            lines.append(f"  {place.name}: not seen. {place.why}".rstrip())
            continue
        value = amount(place.peak_to_valley, place.uncertainty, unit, units, sign=False)
        allowed = amount(place.allowed, None, unit, units, sign=False)
        lines.append(f"  {place.name}: {state(place.verdict)}, {value} while a board passes, allowed {allowed}")
    return lines


def _not_seen(not_seen: Sequence[str]) -> list[str]:
    return [f"  not seen: {', '.join(not_seen)}"] if not_seen else []


def _warned(warnings: Sequence[str]) -> list[str]:
    return [f"  note: {warning}" for warning in warnings]


def _predicted_line(start: str, predicted: Predicted, unit: str, units: Units) -> str:
    spread = amount(predicted.peak_to_valley, predicted.peak_to_valley_uncertainty, unit, units, sign=False)
    mean = amount(predicted.mean, None, unit, units)
    return (
        f"  {start}: {spread} peak to valley, mean {mean}; {predicted.chance_inside * 100:.0f} in 100 to come inside."
    )


def turned(args: argparse.Namespace) -> Answer:
    """``truestroke turned``: every move is understood before the first is recorded, all of them in one entry."""
    from logger import advice
    from logger.advising.doubts import lifts_so_far, thread_words, unmoved_words
    from logger.advising.turned import parse_all

    job = open_job(args)
    moves = parse_all(args.moves, job.machine)
    set_up = the_set_up(job, args.set_up) if args.set_up else None
    recorded: list[TurnedBolt] = []
    for move in moves:
        recorded.append(advice.estimate_turned(job, move, set_up=set_up, made_before=recorded))
    warnings = thread_words(job.machine, lifts_so_far(job.rounds()), moves) + unmoved_words(job.machine, recorded)
    job.append_turned(recorded)
    rows = [
        {"bolt": each.bolt, "raise_mm": round(each.raise_mm, 4), "uncertainty_mm": round(each.uncertainty_mm, 4)}
        for each in recorded
    ]
    lines = [
        f"{each.bolt}: {amount(each.raise_mm, each.uncertainty_mm, 'mm', args.units)} recorded" for each in recorded
    ]
    last = "Next: sweep again, before any other bolt is turned."
    return Answer({"recorded": rows, "warnings": warnings}, [*lines, *_warned(warnings), last])
