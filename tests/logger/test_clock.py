"""Facts about stamps, the device's clock and the device's time as the base."""

from hypothesis import given
from hypothesis import strategies as st

from logger.clock import DeviceTimeBase, SharpenedStamps, Start

MS = 1_000_000
S = 1_000_000_000


def test_times_since_the_start_are_whole_microseconds_and_never_negative():
    start = Start(5_000_000_123, "2026-01-01T00:00:00.000Z")
    assert start.since(5_000_003_456) == 3_000
    assert start.since(4_000_000_000) == 0


def test_a_late_stamp_is_pulled_back_to_where_the_device_says():
    stamps = SharpenedStamps()
    assert stamps.stamp(10.000, 1000 * MS) == 1000 * MS
    assert stamps.stamp(10.010, 1010 * MS) == 1010 * MS
    late = stamps.stamp(10.020, 1036 * MS)  # 16 ms late by a USB clump
    assert 1020 * MS <= late < 1020.1 * MS


def test_stamps_are_never_later_than_the_hosts_and_never_go_back():
    stamps = SharpenedStamps()
    device, last = 0.0, 0
    for i, delay in enumerate([0, 9, 3, 0, 15, 1, 0, 2, 14, 0]):
        device += 0.01
        host = (1000 + 10 * i + delay) * MS
        found = stamps.stamp(device, host)
        assert last <= found <= host
        last = found


def test_a_device_at_another_pace_falls_back_to_the_hosts_stamps():
    stamps = SharpenedStamps()
    worst = 0
    for i in range(2000):  # the device's clock runs at a tenth of the pace
        host = i * 10 * MS
        worst = max(worst, host - stamps.stamp(i * 0.001, host))
    assert worst <= SharpenedStamps.LONGEST_DELAY_NS


def test_a_device_clock_that_restarts_falls_back_too():
    stamps = SharpenedStamps()
    stamps.stamp(1000.0, 1 * S)
    assert stamps.stamp(0.5, 2 * S) == 2 * S


@given(st.lists(st.tuples(st.floats(-1e9, 1e9), st.integers(0, S)), max_size=60))
def test_any_device_time_gives_a_stamp_in_order(lines):
    stamps, host, last = SharpenedStamps(), 0, 0
    for device, pause in lines:
        host += pause // 1000 * 1000
        found = stamps.stamp(device, host)
        assert last <= found <= max(host, last)
        last = found


def test_the_host_is_interpolated_between_two_lines_of_the_device():
    base = DeviceTimeBase()
    base.place(7.0, 1 * S)
    base.place(8.0, 2 * S)
    assert base.from_host(1_500_000_000) == 500 * MS
    assert base.from_host(3 * S) == 2 * S
    assert base.from_host(0) == 0


def test_a_restart_goes_on_by_what_the_host_saw_pass():
    base = DeviceTimeBase()
    base.place(7.0, 1 * S)
    base.place(7.5, 2 * S)
    assert not base.fits(0.1)
    assert base.restart(0.1, 4 * S) == (500 * MS, 2500 * MS)
    assert base.place(0.1, 4 * S) == 2500 * MS
    assert base.fits(0.2)
