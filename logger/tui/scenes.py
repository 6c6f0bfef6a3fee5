"""Scenes for pictures and tests: the real screens brought to one moment, on invented data and a clock that stands."""

from __future__ import annotations

from collections.abc import Awaitable, Callable
from typing import TYPE_CHECKING, Any

import numpy as np

from logger.rail_picture import Seen
from logger.readings import Mark, Reading
from logger.tui.app import TruestrokeApp
from logger.tui.invented import Clock, source_of
from logger.tui.invented_numbers import invented_findings, invented_height, invented_plan

if TYPE_CHECKING:
    from textual.pilot import Pilot


def pass_time(app: TruestrokeApp, seconds: float) -> None:
    """Move the standing clock on and let the open screen draw one frame."""
    assert isinstance(app.session.clock, Clock)
    app.session.clock.now_s += seconds
    tick = getattr(app.screen, "tick", None)
    if tick is not None:
        tick()


async def scene_live(app: TruestrokeApp, pilot: Pilot[Any]) -> None:
    """The plain live view, inside."""
    app.session.seen = Seen(invented_findings(), invented_plan(), None, "")
    app.open_live()
    await pilot.pause()
    source_of(app).say(0.058, seconds=0.3)
    source_of(app).say(0.166, start_s=0.4, seconds=0.3)
    source_of(app).say(0.104, start_s=1.0)
    pass_time(app, 0.5)
    pass_time(app, 0.5)
    await pilot.pause()


async def scene_findings(app: TruestrokeApp, pilot: Pilot[Any]) -> None:
    """Findings with two moves."""
    app.open_findings()
    await app.workers.wait_for_complete()
    await pilot.pause()


async def scene_turn(app: TruestrokeApp, pilot: Pilot[Any]) -> None:
    """Turning B3, not there yet."""
    await scene_findings(app, pilot)
    await pilot.press("enter", "y")
    await pilot.pause()
    source_of(app).say(0.050, seconds=0.7)
    pass_time(app, 0.5)
    source_of(app).say(0.076, start_s=2.0, seconds=0.7)
    pass_time(app, 0.5)
    pass_time(app, 0.5)
    await pilot.pause()


async def scene_sweep(app: TruestrokeApp, pilot: Pilot[Any]) -> None:
    """A first pass that has come as far as the hump."""
    app.open_sweep()
    await pilot.pause()
    source = source_of(app)
    for i, x in enumerate(np.arange(0.0, 1480.0, 4.0)):
        t_ns = round(i * 0.02 * 1e9)
        value = float(invented_height(np.array([x]))[0]) if x >= 500 else -2.3
        if any(abs(x - station) < 2.5 for station in app.session.stations()) and source.queue:
            source.queue.append(Mark(t_ns))
        source.queue.append(Reading(t_ns, value, "mm", "", float(x)))
    source.queue.insert(0, Mark(0))
    pass_time(app, 0.2)
    pass_time(app, 10.0)
    source.say(0.156, start_s=8.0, seconds=0.2, position=1480.0)
    pass_time(app, 0.2)
    await pilot.pause()


async def scene_board(app: TruestrokeApp, pilot: Pilot[Any]) -> None:
    """The board after a sweep; the fence is outside, the toe stale. Wants an app that has ``taken`` checks."""
    await settled(app, pilot)


async def scene_turning(app: TruestrokeApp, pilot: Pilot[Any]) -> None:
    """An arbor turned by hand: three whole turns and a little more."""
    from logger.checks.table import BY_NAME

    await settled(app, pilot)
    app.open_turning(BY_NAME["arbor"])
    await pilot.pause()
    source = source_of(app)
    for i in range(3 * 160 + 60):
        if i % 160 == 0:
            source.queue.append(Mark(round(i * 0.025e9)))
        angle = i / 160 * 2.0 * np.pi
        value = 0.2 + 0.008 * np.cos(angle - 2.3) + 0.003 * np.cos(2.0 * angle)
        source.queue.append(Reading(round(i * 0.025e9), round(float(value), 4), "mm", "", None))
    pass_time(app, 0.2)
    pass_time(app, 10.0)
    source.say(float(source.latest.value if source.latest is not None else 0.2), start_s=13.5, seconds=0.1)
    pass_time(app, 0.2)
    await pilot.pause()


async def scene_what_if(app: TruestrokeApp, pilot: Pilot[Any]) -> None:
    """The advice with one more bolt tried on paper."""
    await scene_findings(app, pilot)
    await pilot.press("i", "tab", "tab", "up")
    await settled(app, pilot)


async def scene_sweeps(app: TruestrokeApp, pilot: Pilot[Any]) -> None:
    """Two sweeps side by side."""
    await settled(app, pilot)
    await pilot.press("l", "down", "space", "up")
    await settled(app, pilot)


async def settled(app: TruestrokeApp, pilot: Pilot[Any]) -> None:
    """Everything that was asked in a thread has been answered and drawn."""
    await pilot.pause()
    for _ in range(4):
        if all(worker.is_finished for worker in app.workers):
            break
        await app.workers.wait_for_complete()
        await pilot.pause()


SCENES: dict[str, Callable[[TruestrokeApp, Pilot[Any]], Awaitable[None]]] = {
    "live": scene_live,
    "turn": scene_turn,
    "sweep": scene_sweep,
    "findings": scene_findings,
    "what-if": scene_what_if,
    "board": scene_board,
}
SIZES = {"board": (120, 44)}
"""Pictures that want more than the smallest screen."""
