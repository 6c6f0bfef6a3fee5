"""Another instrument beside the one that is swept, named on the screen: checked first, recorded together, in the
journal together."""

from dataclasses import replace
from types import SimpleNamespace

from logger.link.together import Heard
from logger.readings import Ended, Reading
from logger.recording import open_recording
from logger.tui.asked import SourceSpec
from logger.tui.invented import InventedParts, invented_job, invented_machine, source_of
from logger.tui.parts import RealParts
from logger.tui.scenes import pass_time
from logger.tui.screens.sweep_beside import beside_words, named
from logger.tui.session import Session
from tests.logger.wire_bench import LIMIT_S, instrument, sender, server, until
from tests.tui.pilot import opened, press, run, shown

LEVEL = "COM5 level-line pitch"


def test_three_words_name_an_instrument_and_semicolons_part_several():
    assert named("COM5 level-line pitch; COM6 node-encoder position") == (
        ("COM5", "level-line", "pitch"),
        ("COM6", "node-encoder", "position"),
    )
    assert named("") == ()
    assert "is not a port, a profile and a set-up" in named("COM5 level-line")


def test_what_does_not_fit_the_machine_is_said_and_nothing_begins():
    async def scenario():
        async with opened(taken=True) as (app, pilot):
            await press(app, pilot, "s", "w", "'COM5 level-line across", "enter")
            assert app.screen.NAME == "type it"
            assert "is named twice" in shown(app)
            assert app.session.beside == ()
            await press(app, pilot, "escape")
            assert app.screen.NAME == "sweep"

    run(scenario())


def test_a_level_beside_the_indicator_is_recorded_after_it_shown_and_entered_with_it():
    async def scenario():
        async with opened(size=(120, 34), taken=True) as (app, pilot):
            await press(app, pilot, "s", "w", f"'{LEVEL}", "enter")
            assert app.screen.NAME == "sweep"
            ((one, folder),) = app.session.recorded_beside
            assert (one.port, one.set_up, folder.name) == ("COM5", "pitch", "0009-across")
            source = source_of(app)
            source.beside = [Heard("pitch", Reading(0, 0.12, "mm/m"), 40, None)]
            pass_time(app, 0.2)
            assert "with pitch +0.12 mm/m" in shown(app)
            source.beside = [Heard("pitch", None, 40, Ended(0, "operator"))]
            source.queue.append(Ended(0, "operator"))
            pass_time(app, 0.2)
            await press(app, pilot)
            swept = [entry.data["set_up"] for entry in app.session.job.standing_entries() if entry.kind == "sweep"]
            assert swept[-2:] == ["pitch", "across"]

    run(scenario())


def test_one_that_was_cut_off_is_not_counted_and_that_is_said():
    async def scenario():
        async with opened(taken=True) as (app, pilot):
            await press(app, pilot, "s", "w", f"'{LEVEL}", "enter")
            source = source_of(app)
            source.beside = [Heard("pitch", None, 40, Ended(0, "link lost"))]
            source.queue.append(Ended(0, "operator"))
            pass_time(app, 0.2)
            assert "pitch was cut off and is not counted" in shown(app)
            assert app.session.parts.swept == ["0008-across"]

    run(scenario())


def test_the_direction_of_each_is_asked_before_they_are_swept():
    async def scenario():
        async with opened(taken=True, parts=InventedParts(asks_direction=True)) as (app, pilot):
            await press(app, pilot, "s", "y", "w", f"'{LEVEL}", "enter")
            assert app.screen.NAME == "look once"
            assert "set-up pitch. Raise one end of the level" in " ".join(shown(app).split())
            await press(app, pilot, "l")
            assert app.screen.NAME == "sweep"

    run(scenario())


def test_without_another_instrument_nothing_is_said_of_one():
    assert beside_words(SimpleNamespace()) == ""


def spec_of(tmp_path, port, other):
    job = replace(invented_job(), folder=tmp_path)
    session = Session(
        InventedParts(), job, port=port, set_up_name="across", beside=((other, "indicator-line", "spindle"),)
    )
    folder = tmp_path / "sweeps" / "0001-across"
    beside = InventedParts().beside(job, session, folder)
    beside = tuple((replace(one, instrument=instrument()), folder.parent / "0002-spindle") for one, _ in beside)
    return SourceSpec(port, instrument(), "across", invented_machine(), folder, kind="sweep", beside=beside)


def test_two_ports_are_recorded_as_one_sweep(tmp_path):
    lines = b"+0.100\r\n" * 30
    with server(sender(lines)) as one, server(sender(lines)) as two:
        source = RealParts().start(spec_of(tmp_path, one, two))
        until(lambda: source.drain() is not None and source.readings == 30 == source.beside[0].readings, "all readings")
        source.stop()
        assert source.wait(LIMIT_S) is not None
        source.close()
    sweep = open_recording(tmp_path / "sweeps" / "0001-across")
    assert (len(sweep.value), sweep.beside) == (30, ("0002-spindle",))


def test_where_the_other_port_does_not_open_none_goes_on_and_it_is_said_why(tmp_path):
    with server(sender(b"+0.100\r\n" * 30)) as one:
        source = RealParts().start(spec_of(tmp_path, one, str(tmp_path / "nowhere")))
        until(lambda: source.drain() is not None and source.error is not None, "the port that is not there")
        source.stop()
        assert source.wait(LIMIT_S) is not None or source.state == "ended"
        source.close()
    assert "nowhere" in source.error.what
