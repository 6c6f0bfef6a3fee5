"""The newcomer's path: from the start page to a first verdict, on a machine that is described, by counted key presses.

The bound is 25 key presses (our own aim); every one of them is listed here.
"""

from logger.readings import Ended, Mark, Reading
from logger.recent_jobs import RecentJob
from logger.tui.invented import InventedParts, invented_job, source_of
from logger.tui.scenes import pass_time
from tests.tui.pilot import opened, press, run, shown

FEWER_THAN = 25


class Counted:
    """Presses keys and lists them with why."""

    def __init__(self, app, pilot):
        self.app, self.pilot = app, pilot
        self.pressed = []

    async def __call__(self, key, why):
        self.pressed.append((key, why))
        await press(self.app, self.pilot, key)


class NewcomersParts(InventedParts):
    """One prepared machine in the list; its source gives readings while the carriage is pushed."""

    def recent(self):
        return [RecentJob("kiln-street", "Kiln Street panel saw", "2026-03-14T10:51:00")]

    def open_job(self, folder):
        return invented_job()


def push_to(app, station, time_s):
    """The carriage rolls to the next mark: two seconds of readings."""
    for i in range(20):
        source_of(app).queue.append(Reading(round((time_s + i / 10) * 1e9), 0.1, "mm"))
    pass_time(app, 0.2)


def test_from_the_start_page_to_a_first_verdict(capsys):
    async def scenario():
        async with opened(parts=NewcomersParts(), with_job=False) as (app, pilot):
            key = Counted(app, pilot)
            await key("enter", "open the machine at the head of the list")
            await key("i", "the instrument")
            await key("i", "find it: listens on every port and names it")
            await key("s", "sweep")
            stations = app.session.stations()
            time_s = 0.0
            for _ in range(app.session.passes):
                for station in stations:
                    push_to(app, station, time_s)
                    time_s += 2.0
                    await key("space", f"the carriage's middle stands at {station:.0f}")
                    pass_time(app, 0.2)
            assert source_of(app).marks == 18
            source_of(app).queue = [Ended(round(time_s * 1e9), "marks")]  # the recorder ends after the last mark
            pass_time(app, 0.2)
            await press(app, pilot)
            if "Not seen yet" in shown(app):
                await key("enter", "the findings, without repeating a stretch")
            assert app.screen.NAME == "findings"
            assert "outside  peak to valley" in shown(app)
            return key.pressed

    pressed = []

    async def keep():
        pressed.extend(await scenario())

    run(keep())
    for number, (key, why) in enumerate(pressed, 1):
        print(f"{number:2} {key:6} {why}")
    assert len(pressed) < FEWER_THAN
    assert len(capsys.readouterr().out.splitlines()) == len(pressed)


def test_marks_come_in_the_readers_lines_too():
    """With an instrument that marks by itself the same path takes four keys, five where a stretch stayed unseen."""

    async def scenario():
        async with opened(parts=NewcomersParts(), with_job=False) as (app, pilot):
            key = Counted(app, pilot)
            for name in ("enter", "i", "i", "s"):
                await key(name, "")
            for i in range(18):
                source_of(app).queue += [Reading(i * 10**9, 0.1, "mm"), Mark(i * 10**9)]
            source_of(app).queue.append(Ended(19 * 10**9, "marks"))
            pass_time(app, 0.2)
            await press(app, pilot)
            if "Not seen yet" in shown(app):
                await key("enter", "the findings, without repeating a stretch")
            assert app.screen.NAME == "findings"
            assert len(key.pressed) <= 5

    run(scenario())
