"""A recorded sweep in the live widgets: pause, step, jump, speed."""

import asyncio
from pathlib import Path

import numpy as np
import pytest

from logger.recording import Recording
from logger.replay import Replay
from logger.tui.invented import Clock, InventedParts, invented_app, invented_machine
from logger.tui.invented_numbers import invented_height
from logger.tui.scenes import pass_time


def recording():
    """Twenty seconds of an invented push, 50 readings a second, with the position in every line."""
    from logger.instruments import load_instrument
    from logger.tui.invented import invented_machine

    t = np.arange(0, 20, 0.02)
    x = t * 130.0
    made = Recording(
        folder=Path("sweeps/0007-across"),
        name="0007-across",
        number=7,
        kind="sweep",
        set_up="across",
        passes=1,
        stations_mm=(0.0, 1300.0, 2600.0),
        started_utc="2026-03-14T10:51:00Z",
        ended="operator",
        descriptor={"truestroke": {"machine": invented_machine().source_text}},
        instrument=load_instrument("indicator-line"),
        t_s=t,
        value=np.where(np.abs(x - 1100) < 600, invented_height(x), -2.3),
        unit="mm",
        position_mm=x,
        no_value_t_s=np.zeros(0),
        no_value_position_mm=np.zeros(0),
        mark_t_s=np.array([0.0, 10.0]),
        mark_source=("key", "key"),
        gaps_t_s=np.zeros((0, 2)),
        gap_reason=(),
        garbage=0,
        channels=("",),
        channel=np.zeros(t.size, dtype=np.intp),
    )
    return made


class Recorded(InventedParts):
    """Invented parts with one real recording and a real replay on the standing clock."""

    clock: Clock

    def open_recording(self, job, name):
        return recording()

    def replay(self, recording, speed):
        return Replay(recording, speed, lambda: round(self.clock.now_s * 1e9))


def replayed(scenario):
    async def run():
        parts = Recorded()
        app = invented_app(parts=parts)
        assert isinstance(app.session.clock, Clock)
        parts.clock = app.session.clock
        async with app.run_test(size=(80, 24)) as pilot:
            app.open_replay("0007-across")
            await pilot.pause()
            await scenario(app, pilot)

    asyncio.run(run())


def shown(app):
    return "\n".join("".join(segment.text for segment in strip) for strip in app.screen._compositor.render_strips())


def test_it_runs_at_the_recorded_speed_and_shows_height_and_place():
    async def scenario(app, pilot):
        pass_time(app, 0.1)
        pass_time(app, 8.0)
        pass_time(app, 0.4)
        await pilot.pause()
        text = shown(app)
        assert "8.5 of 20.0 s" in text
        assert "carriage at 1105" in text
        assert app.screen.feed.now().height == pytest.approx(float(invented_height(np.array([1105.0]))[0]), abs=0.002)

    replayed(scenario)


def test_paused_it_stands_still_and_the_number_stays_alive():
    async def scenario(app, pilot):
        pass_time(app, 8.0)
        await pilot.press("space")
        before = app.screen.replay.t_s
        pass_time(app, 60.0)
        await pilot.pause()
        assert app.screen.replay.t_s == before
        assert "paused" in shown(app)
        assert "no reading" not in shown(app)
        await pilot.press("full_stop")
        assert app.screen.replay.t_s == pytest.approx(before + 0.02, abs=0.021)

    replayed(scenario)


def test_a_jump_shows_the_picture_of_that_moment():
    async def scenario(app, pilot):
        pass_time(app, 12.0)
        await pilot.press("space")
        late = np.isfinite(app.screen._trace.columns(app.screen._trace.fine)).sum()
        for _ in range(4):
            await pilot.press("left")
        early = np.isfinite(app.screen._trace.columns(app.screen._trace.fine)).sum()
        assert app.screen.replay.t_s == pytest.approx(8.0, abs=0.05)
        assert early < late

    replayed(scenario)


def test_twice_as_fast_is_twice_as_far():
    async def scenario(app, pilot):
        await pilot.press("plus")
        start = app.screen.replay.t_s
        pass_time(app, 3.0)
        assert app.screen.replay.t_s - start == pytest.approx(6.0)

    replayed(scenario)


def test_the_machine_of_the_recording_is_drawn():
    assert [bolt.name for bolt in recording().machine.bolts] == [bolt.name for bolt in invented_machine().bolts]
