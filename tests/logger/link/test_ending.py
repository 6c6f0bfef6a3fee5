"""Facts about when a recording ends by itself."""

from logger.link.ending import EndRules, Watch
from logger.readings import Mark, Reading

S = 1_000_000_000


def reading(t_s, value, position=None):
    return Reading(round(t_s * S), value, "mm", "", position)


def test_without_rules_it_goes_on():
    watch = Watch(EndRules())
    watch.note([reading(0, 0.1)], 0)
    assert watch.over(3600 * S) is None


def test_seconds():
    assert Watch(EndRules(seconds=10)).over(10 * S) == "time"
    assert Watch(EndRules(seconds=10)).over(9 * S) is None


def test_the_last_mark_ends_it_a_second_later():
    watch = Watch(EndRules(marks=2))
    watch.note([Mark(0), Mark(S)], S)
    assert watch.over(int(1.9 * S)) is None
    assert watch.over(2 * S) == "passes"


def still_watch(rows):
    watch = Watch(EndRules(until="still", step=0.001))
    for row in rows:
        watch.note([reading(*row)], round(row[0] * S))
    return watch.over(round(rows[-1][0] * S))


def test_standing_still_before_the_first_push_is_no_end():
    assert still_watch([(t / 10, 0.1) for t in range(100)]) is None


def test_standing_still_after_motion_is_the_end():
    rows = [(t / 10, 0.01 * t) for t in range(50)] + [(5 + t / 10, 0.5) for t in range(31)]
    assert still_watch(rows[:-5]) is None
    assert still_watch(rows) == "still"


def test_a_pause_of_two_seconds_is_no_end():
    rows = [(0, 0.0), (1, 0.1), (3, 0.1), (3.1, 0.2), (5, 0.2)]
    assert still_watch(rows) is None


def test_where_a_position_is_sent_it_is_the_position_that_stands():
    """A flat table gives the same reading all along: the naive rule, on readings, would end there."""
    moving = [(t / 10, 0.1, 20.0 * t) for t in range(100)]
    assert still_watch(moving) is None
    assert still_watch([*moving, *[(10 + t / 10, 0.1, 2000.0) for t in range(31)]]) == "still"


def test_what_is_only_watched_lets_go_of_the_port_when_the_screen_is_gone():
    watch = Watch(EndRules(goes_on_alone=False))
    watch.note([reading(12, 0.1)], 12 * S)
    assert watch.over(12 * S) is None
    watch.screen_gone(12 * S)
    assert watch.over(12 * S) == "screen gone"


def test_without_a_screen_it_ends_when_the_line_is_quiet_or_after_ten_minutes():
    watch = Watch(EndRules())
    watch.screen_gone(10 * S)
    watch.note([reading(12, 0.1)], 12 * S)
    assert watch.over(16 * S) is None
    assert watch.over(17 * S) == "screen gone"
    watch.note([reading(609, 0.1)], 609 * S)
    assert watch.over(610 * S) == "screen gone"
