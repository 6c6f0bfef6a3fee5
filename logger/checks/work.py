"""What the work would show, from the board: the measured errors as they come out in a board, a panel, a groove.

Why it exists: a limit is a number somebody wrote down; the board in the hand decides. It prevents a week spent on an
error the work cannot show, and a figure shown for a check that is stale.

The geometry is in ``analysis.work``; the sizes of the work are in the machine file (``work:``).
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from analysis import work
from analysis.work import Shown, worth_correcting

if TYPE_CHECKING:
    from analysis.results import PlaceFinding
    from logger.checks.board import Board
    from logger.description.machine_work import Work
    from logger.job import Job
    from logger.journal import JournalEntry
    from logger.machines import Machine

__all__ = ["Shown", "work_of", "work_of_job", "worth_correcting"]


@dataclass(frozen=True)
class _Known:
    value: float
    uncertainty: float
    work: Work
    swept_mm: float


def work_of_job(job: Job, board: Board) -> tuple[Shown, ...]:
    """The same for a job, with its places from the newest sweeps."""
    return work_of(board, job.standing_entries(), job.machine, _places(job, board))


def work_of(
    board: Board, entries: Sequence[JournalEntry], machine: Machine, places: Sequence[PlaceFinding] = ()
) -> tuple[Shown, ...]:
    """One line for every check whose error shows in the work and still holds, in the order of the board."""
    found: list[Shown] = []
    for row in board.rows:
        if row.check.name == "rail":
            found += [
                work.groove_depth(place.name, place.peak_to_valley, place.uncertainty)
                for place in places
                if place.peak_to_valley is not None and place.uncertainty is not None
            ]
        elif row.check.name in SHOWN and row.state in ("inside", "outside", "cannot tell") and row.value is not None:
            known = _Known(row.value, row.uncertainty or 0.0, machine.work, _swept(entries))
            found.append(SHOWN[row.check.name](known))
    return tuple(found)


SHOWN: dict[str, Callable[[_Known], Shown]] = {
    "sag": lambda k: work.sag_under(k.value, k.uncertainty),
    "straight": lambda k: work.hollow_edge(k.value, k.uncertainty, k.swept_mm, k.work.board_mm),
    "blade": lambda k: work.wobble_marks(k.value, k.uncertainty),
    "bevel": lambda k: work.bevel_over(k.value, k.uncertainty, k.work.thickness_mm),
    "upright": lambda k: work.groove_square(k.value, k.uncertainty, k.work.rebate_mm),
    "toe": lambda k: _marks("toe", k),
    "outrigger": lambda k: work.edge_tipped(k.value, k.uncertainty, k.work.board_mm, k.work.thickness_mm),
    "fence": lambda k: work.out_of_square(k.value, k.uncertainty, k.work.panel_mm),
    "length": lambda k: work.length_error(k.value, k.uncertainty),
    "rip": lambda k: work.rip_taper(k.value, k.uncertainty, k.work.board_mm),
}
"""Which checks show in the work, and how."""


def _marks(of: str, known: _Known) -> Shown:
    sizes = known.work
    return work.saw_marks(
        of, known.value, known.uncertainty, sizes.blade_radius_mm, sizes.projection_mm, sizes.thickness_mm
    )


def _swept(entries: Sequence[JournalEntry]) -> float:
    """Over how much travel the straightness was taken last."""
    for entry in reversed(entries):
        if entry.kind == "taken" and entry.data.get("check") == "straight":
            details = entry.data.get("details")
            found = details.get("swept_mm") if isinstance(details, dict) else None
            if isinstance(found, int | float) and not isinstance(found, bool) and found > 0:
                return float(found)
    return 1000.0


def _places(job: Job, board: Board) -> tuple[PlaceFinding, ...]:
    from logger.errors import NotAllowed, NotUnderstood

    if board.row("rail").state in ("not measured", "stale"):
        return ()
    from logger.advising.inputs import state_of
    from logger.advising.places import formed_now, places

    try:
        state = state_of(job)
        return places(job.machine, list(state.current.values()), formed_now(job.machine, state))
    except (NotAllowed, NotUnderstood):
        return ()
