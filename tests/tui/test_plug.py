"""Finding the instrument, and sweeping with one that has no wire."""

from logger.tui.invented import InventedParts
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
