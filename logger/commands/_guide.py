"""``truestroke take CHECK`` without readings: what it needs, its cautions, how it is set up and drawn, what to type.

Why it exists: the way a check is done is asked more often than a check is done, and records nothing.
"""

from __future__ import annotations

from textwrap import wrap
from typing import TYPE_CHECKING, Any

from logger.checks.direction import DIRECTIONS
from logger.checks.drawings import drawing
from logger.checks.feasible import deciding
from logger.checks.model import COMMON_PRACTICE
from logger.checks.table import all_above
from logger.checks.words import limits_words
from logger.wording import amount, table

if TYPE_CHECKING:
    from logger.checks.model import Allowed, Check
    from logger.wording import Units

WIDTH = 80
SUFFIX = {"mm": "_mm", "mm/m": "_mm_per_m", "deg": "_deg", "": ""}


def guide_json(check: Check, limits: Allowed) -> dict[str, Any]:
    """The same as ``guide_lines``, with the drawing as rows and as SVG."""
    shown = drawing(check.name)
    return {
        "check": check.name,
        "title": check.title,
        "needs": check.needs,
        "cautions": list(check.cautions),
        "steps": list(check.steps),
        "drawing": {"view": shown.view, "rows": shown.rows(), "svg": shown.svg()},
        "direction": _directions(check),
        "asks": [
            {
                "key": ask.key,
                "unit": ask.unit,
                "words": list(ask.words),
                "text": ask.text,
                "needed": ask.needed,
                "default": ask.default,
                "only": None if ask.only is None else {"key": ask.only[0], "words": list(ask.only[1])},
            }
            for ask in check.asks
        ],
        "allowed": allowed_json(limits),
        **({f"needs{SUFFIX[limits.unit]}": needs} if (needs := deciding(limits)) is not None else {}),
        "rests_on": [{"check": each.check, "reason": each.reason} for each in check.rests_on],
        "left_alone_by": [{"check": each.check, "reason": each.reason} for each in check.left_alone_by],
        "disturbs": [{"check": each.check, "reason": each.reason} for each in check.disturbs],
        "makes_stale": list(all_above(check.name)),
    }


def guide_lines(check: Check, limits: Allowed, units: Units, *, ascii_only: bool = False) -> list[str]:
    """Cautions first, then the drawing, the steps, the keys, the limit, and what it rests on."""
    lines = [
        check.title,
        f"  needs: {check.needs}",
        *[line for each in check.cautions for line in wrap(each, WIDTH)],
        "",
    ]
    lines += [f"  {row}" for row in drawing(check.name).rows(ascii_only=ascii_only)]
    lines += ["", *[line for place, step in enumerate(check.steps, 1) for line in _step(place, step)]]
    lines += [line for said in dict.fromkeys(_directions(check).values()) for line in _step(0, f"First: {said}.")]
    rows = [("key", "unit", "reading")]
    for ask in check.asks:
        usual = "" if ask.needed else f" (optional{'' if ask.default is None else f', else {ask.default:g}'})"
        only = f" (only with {ask.only[0]}={'|'.join(ask.only[1])})" if ask.only else ""
        rows.append((ask.key, "|".join(ask.words) or ask.unit, f"{ask.text}{usual}{only}"))
    lines += ["", *(table(rows) if check.asks else [])]
    allowed = limits_words(limits, units) if check.asks else "see"
    lines.append(f"  allowed: {allowed} ({limits.origin})")
    if (needs := deciding(limits)) is not None and check.asks:
        lines.append(f"  to decide it: known to ±{amount(needs, None, limits.unit, units, sign=False)} or better")
    said = [f"rests on {each.check}: {each.reason}" for each in check.rests_on]
    said += [f"left alone by {each.check}: {each.reason}" for each in check.left_alone_by]
    said += [f"adjusting it disturbs {each.check}: {each.reason}" for each in check.disturbs]
    if above := all_above(check.name):
        said.append(f"moving it makes stale: {', '.join(above)}")
    return [*lines, *[line for each in said for line in _step(0, each)]]


def allowed_json(allowed: Allowed) -> dict[str, Any]:
    """Limits with the unit in their names, and their origin."""
    suffix = SUFFIX[allowed.unit]
    ends = {f"lower{suffix}": allowed.lower, f"upper{suffix}": allowed.upper} if suffix else {}
    return {**ends, "origin": allowed.origin, "common_practice": allowed.origin.startswith(COMMON_PRACTICE)}


def _directions(check: Check) -> dict[str, str]:
    """The direction check by how it is measured (one without a name where there is one way only)."""
    said = DIRECTIONS.get(check.name, "")
    if isinstance(said, str):
        return {"": said} if said else {}
    return dict(said)


def _step(place: int, step: str) -> list[str]:
    first = f"  {place}. " if place else "  "
    return wrap(
        step, WIDTH, initial_indent=first, subsequent_indent="     " if place else "    ", break_long_words=False
    )
