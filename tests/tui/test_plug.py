"""Finding the instrument, and sweeping with one that has no wire."""

import pytest

from logger.errors import NotAllowed
from logger.instruments import load_instrument
from logger.job import Job
from logger.link.listening import with_settings
from logger.tui.asked import Heard, OtherSettings
from logger.tui.invented import InventedParts
from logger.tui.parts_job import JobParts
from tests.tui.pilot import opened, press, run, shown


def test_a_sweep_from_the_board_without_an_instrument_leads_to_finding_it():
    async def scenario():
        async with opened(taken=True) as (app, pilot):
            app.session.port = app.session.instrument_name = ""
            await press(app, pilot, "s")
            assert app.screen.NAME == "instrument"
            assert "press i to find it" in shown(app)
            await press(app, pilot, "i")
            assert app.session.port == "/dev/ttyUSB0"
            assert app.session.instrument_name == "indicator-line"
            await press(app, pilot, "s")
            assert app.screen.NAME == "sweep"

    run(scenario())


def test_when_nothing_is_recognised_every_port_says_what_it_heard():
    async def scenario():
        parts = InventedParts()
        parts.found = type(parts.found)("/dev/none", "", "")
        async with opened(parts=parts) as (app, pilot):
            await press(app, pilot, "i", "i")
            text = " ".join(shown(app).split())
            assert "No instrument was recognised." in text
            assert "/dev/ttyACM0: Nothing arrived." in text

    run(scenario())


AT_9600 = OtherSettings(
    "indicator-line",
    9600,
    with_settings(
        load_instrument("indicator-line").source_text, {"baud": 9600, "bits": 8, "parity": "none", "stop": 1}
    ),
)


@pytest.mark.parametrize(("answer", "chosen"), [("y", "kept.yaml"), ("n", "")])
def test_an_instrument_at_another_speed_is_used_after_a_yes_with_a_file_of_its_own(answer, chosen):
    class Keeping(InventedParts):
        def keep_instrument(self, job, other):
            assert other is AT_9600
            return "kept.yaml"

        def load_instrument(self, name):
            return load_instrument("indicator-line")

    async def scenario():
        says = "indicator-line at 9600 baud: it reads 40 of 40. The profile itself names other line settings."
        parts = Keeping()
        parts.found = Heard("/dev/ttyUSB0", "", says, other=AT_9600)
        async with opened(parts=parts) as (app, pilot):
            app.session.port = app.session.instrument_name = ""
            await press(app, pilot, "i", "i")
            assert "Use indicator-line at 9600 baud?" in shown(app)
            await press(app, pilot, answer)
            assert app.session.instrument_name == chosen

    run(scenario())


def test_the_file_with_the_settings_loads_and_one_that_is_there_stays(tmp_path):
    job, parts = Job.create(tmp_path / "saw"), JobParts()
    path = parts.keep_instrument(job, AT_9600)
    assert load_instrument(path).link.baud == 9600
    assert parts.keep_instrument(job, AT_9600) == path
    with pytest.raises(NotAllowed, match="stays as it is"):
        parts.keep_instrument(job, OtherSettings("indicator-line", 9600, "other words"))


def test_a_silent_port_is_asked_only_after_a_yes_for_that_port():
    async def scenario():
        parts = InventedParts()
        parts.found = type(parts.found)("/dev/none", "", "")
        parts.answers = "scpi-indicator"
        async with opened(parts=parts) as (app, pilot):
            await press(app, pilot, "i", "i")
            text = " ".join(shown(app).split())
            assert "Send read-only requests to /dev/ttyUSB0?" in text
            assert "may drive a machine" in text
            await press(app, pilot, "n")
            assert app.session.instrument_name != "scpi-indicator"
            assert "Send read-only requests to /dev/ttyACM0?" in " ".join(shown(app).split())
            await press(app, pilot, "y")
            assert (app.session.port, app.session.instrument_name) == ("/dev/ttyACM0", "scpi-indicator")

    run(scenario())


def test_a_typed_instrument_is_asked_at_each_station_and_becomes_a_sweep(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)  # the invented job lies in no folder of its own

    async def scenario():
        async with opened() as (app, pilot):
            app.session.instrument_name, app.session.passes = "typed-mm", 1
            app.session.stations_mm = (550.0, 1150.0, 1650.0)
            await press(app, pilot, "i")
            app.session.instrument_name = "typed-mm"
            app.screen._fill()
            await press(app, pilot, "s")
            assert "pass 1, carriage at 550 mm (1 of 3)" in " ".join(shown(app).split())
            for keys in ("0.1", "x", "0.12", "0.10..0.15"):
                await press(app, pilot, *[{".": "full_stop"}.get(key, key) for key in keys], "enter")
                if keys == "x":
                    assert "Not taken" in shown(app)
                    await press(app, pilot, "backspace")
            assert app.session.parts.swept
            (wire,) = (path.read_text() for path in tmp_path.glob("**/wire.csv"))
            assert [row.split(",")[1] for row in wire.splitlines()[1:]] == ["key", "in", "in", "key", "in", "key", "in"]
            assert '"0.10..0.15\\n"' in wire

    run(scenario())
