"""A fault nobody foresaw ends the screen with the exception itself: no pages of insides over the terminal."""

import pytest

from logger.tui import OpenOn, app


def test_a_fault_closes_the_screen_and_reaches_whoever_opened_it(monkeypatch, capsys):
    def broken(self):
        raise ZeroDivisionError("invented")

    class Quiet(app.TruestrokeApp):
        def run(self, **options):
            return super().run(headless=True, size=(80, 24))

    monkeypatch.setattr(app, "TruestrokeApp", Quiet)
    monkeypatch.setattr("logger.tui.screens.jobs.JobsScreen.fit", broken)
    with pytest.raises(ZeroDivisionError):
        app.open_screen(None, plain=False, units="mm", dark=False, tour=None, open_on=OpenOn())
    shown = capsys.readouterr()
    assert "Traceback" not in shown.out + shown.err
