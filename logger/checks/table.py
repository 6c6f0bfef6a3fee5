"""The checks in the order of work, and why one rests on another.

Why it exists: the order is geometry, not habit, so each dependence carries its reason. It prevents two costly mistakes:
measuring what the next correction underneath will spoil, and measuring again what a correction leaves alone.

Limits are defaults, each with its origin; a user's own (``allowed=``, ``origin=``) come first. Where no published limit
is known none is made up: it says common practice. The cautions (``cautions``) are shown at the step, not in a preface.

The rows are in ``table_base``, ``table_surface``, ``table_travel``, ``table_turning``, ``table_line``, ``table_cut``
and ``table_final``; here is their order.
"""

from __future__ import annotations

from logger.checks import (
    table_base,
    table_cut,
    table_final,
    table_line,
    table_surface,
    table_travel,
    table_turning,
)
from logger.checks.model import Check

ORDER = (
    "condition", "base", "feet", "twist", "sag",
    "fit", "rail", "straight",
    "arbor", "flange", "blade", "spindle", "bevel", "upright", "knife",
    "toe", "scoring", "outrigger", "fence", "length", "rip",
    "final",
)  # fmt: skip
"""The order of work: the body, the travel, what turns, what is set to both, and the sweep that accepts it all."""

_FAMILIES = (table_base, table_surface, table_travel, table_turning, table_line, table_cut, table_final)

CHECKS: tuple[Check, ...] = tuple(
    sorted((check for family in _FAMILIES for check in family.CHECKS), key=lambda check: ORDER.index(check.name))
)

BY_NAME: dict[str, Check] = {check.name: check for check in CHECKS}


def all_below(name: str) -> dict[str, str]:
    """Every check that ``name`` rests on, near ones first, each with the reason that leads to it."""
    found: dict[str, str] = {}
    waiting = list(BY_NAME[name].rests_on)
    while waiting:
        because = waiting.pop(0)
        if because.check not in found:
            found[because.check] = because.reason
            waiting += BY_NAME[because.check].rests_on
    return found


def all_above(name: str) -> tuple[str, ...]:
    """Every check that rests on ``name``, in the order of work: what moving it makes stale."""
    return tuple(check.name for check in CHECKS if name in all_below(check.name))
