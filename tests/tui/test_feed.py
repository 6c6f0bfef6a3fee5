"""The newest for the eye; nothing frozen is shown as live."""

import numpy as np
import pytest

from logger.readings import LinkBack, LinkLost, Reading
from logger.tui.feed import Feed, Meaning
from logger.tui.invented import Clock, InventedSource


def feed_of(meaning=None):
    source, clock = InventedSource(), Clock()
    return Feed(source, meaning or Meaning(), clock), source, clock


def test_a_carried_indicator_reads_the_other_way_round():
    feed, source, _ = feed_of(Meaning(kind="carried", zero=1.0))
    source.say(0.9)
    feed.poll()
    assert feed.now().height == pytest.approx(0.1)
    assert feed.now().figure == pytest.approx(0.9)


def test_inches_become_millimetres():
    feed, source, _ = feed_of()
    source.queue = [Reading(0, 0.1, "in")]
    feed.poll()
    assert feed.now().height == pytest.approx(2.54)


def test_after_a_second_and_a_half_of_silence_no_number_is_alive():
    feed, source, clock = feed_of()
    source.state = "quiet"
    source.say(0.1)
    feed.poll()
    assert feed.now().height is not None
    clock.now_s += 2.0
    assert feed.now().height is None
    assert feed.now().last_height == pytest.approx(0.1)


def test_a_lost_link_is_dead_at_once_and_its_age_is_known():
    feed, source, clock = feed_of()
    source.say(0.1)
    feed.poll()
    source.queue = [LinkLost(0, "cable")]
    feed.poll()
    clock.now_s += 12.0
    now = feed.now()
    assert now.height is None
    assert now.silent_s == pytest.approx(12.0)
    source.queue = [LinkBack(0, "port")]
    source.state = "receiving"
    feed.poll()
    assert feed.now().height is not None


def test_the_hold_remembers_the_extremes_until_it_is_cleared():
    feed, source, _ = feed_of()
    source.queue = [Reading(i, value, "mm") for i, value in enumerate((0.1, 0.3, -0.2))]
    feed.poll()
    assert (feed.highest, feed.lowest) == (0.3, -0.2)
    feed.clear_hold()
    assert feed.highest is None


def test_a_reference_sets_the_present_height_and_nothing_else():
    feed, source, _ = feed_of()
    source.say(0.42)
    feed.poll()
    feed.set_height(0.1)
    assert feed.now().height == pytest.approx(0.1)
    assert feed.now().figure == pytest.approx(0.42)  # its own display is not touched


def test_a_thousand_readings_a_second_keep_the_ring_bounded_and_the_newest_last():
    feed, source, _ = feed_of()
    for second in range(12):
        source.queue = [Reading((second * 1000 + i) * 1_000_000, second + i / 1000, "mm") for i in range(1000)]
        feed.poll()
    times, figures = feed.recent(100.0)
    assert figures.size == 8192
    assert np.all(np.diff(times) > 0)
    assert figures[-1] == pytest.approx(11.999)


def test_of_an_instrument_with_two_axes_only_the_one_of_the_set_up_is_shown():
    from logger.readings import Reading

    class TwoAxes:
        state, latest, readings, garbage, gaps, marks = "receiving", None, 0, 0, 0, 0

        def drain(self):
            return [Reading(k * 1000, float(k % 2), "mm/m", ("pitch", "roll")[k % 2]) for k in range(10)]

    feed = Feed(TwoAxes(), Meaning("mm/m", "level"), lambda: 0.0, lambda channel: channel == "roll")
    assert len(feed.poll()) == 10
    assert feed.now().height == 1.0
