"""A device's clock against the host's, from late lines: offset, drift, and where the naive ways fail."""

from __future__ import annotations

import random

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from logger.decode.node_clock import DeviceClock, fit_clock

MS = 1_000_000
S = 1_000_000_000


def lines(seconds: float, drift: float, offset_ns: int, seed: int = 1, clump_ns: int = 16 * MS):
    """(device, host) of lines spaced as the node spaces them, handed over by the host in clumps; invented."""
    chance = random.Random(seed)
    phase = chance.randrange(clump_ns)
    pairs: list[tuple[int, int]] = []
    device = 0
    while device < seconds * S:
        device += 17 * MS + (len(pairs) % 16) * 62_500
        sent = round(device * (1 + drift)) + offset_ns
        wake = -(-(sent - phase) // clump_ns) * clump_ns + phase
        pairs.append((device, wake + chance.randrange(300_000)))
    return pairs


def test_without_delay_the_relation_is_exact():
    fit = fit_clock([(t, round(t * 1.0001) + 5 * S) for t in range(0, 10 * S, S // 10)])
    assert fit is not None
    assert fit.drift == pytest.approx(1e-4, abs=1e-9)
    assert fit.host_ns(20 * S) == pytest.approx(25 * S + 2 * MS, abs=10)
    assert fit.device_ns(fit.host_ns(20 * S)) == pytest.approx(20 * S, abs=2)


def test_late_lines_do_not_move_it():
    pairs = [(t, t + 5 * S + (16 * MS if t % (3 * S // 10) else 0)) for t in range(0, 10 * S, S // 10)]
    fit = fit_clock(pairs)
    assert fit is not None
    assert fit.host_ns(4 * S) == 9 * S


@pytest.mark.parametrize("drift", [-5e-3, -50e-6, 0.0, 50e-6, 5e-3])
def test_sixteen_millisecond_clumps(drift):
    pairs = lines(20, drift, 3 * S)
    fit = fit_clock(pairs)
    assert fit is not None
    assert fit.drift == pytest.approx(drift, abs=60e-6)
    for device, _ in pairs:
        assert abs(fit.host_ns(device) - (device * (1 + drift) + 3 * S)) < 1.0 * MS


def test_where_the_mean_delay_fails():
    # The naive way, host stamps as they are, is 8 ms late on average and up to 16 ms: 2.4 mm at 300 mm/s.
    pairs = lines(20, 50e-6, 3 * S)
    fit = fit_clock(pairs)
    assert fit is not None
    naive = [host - (device * (1 + 50e-6) + 3 * S) for device, host in pairs]
    ours = [fit.host_ns(device) - (device * (1 + 50e-6) + 3 * S) for device, _ in pairs]
    assert sum(naive) / len(naive) > 6 * MS
    assert max(map(abs, ours)) < 0.1 * max(naive)


@given(st.lists(st.integers(0, 50 * MS), min_size=2, max_size=200))
@settings(max_examples=80, deadline=None)
def test_it_lies_on_or_below_every_line(delays):
    pairs = [(index * 10 * MS, index * 10 * MS + S + delay) for index, delay in enumerate(delays)]
    fit = fit_clock(pairs)
    assert fit is not None
    assert all(fit.host_ns(device) <= host + 1 for device, host in pairs)


@given(st.lists(st.tuples(st.integers(0, 10**19), st.integers(0, 10**19)), max_size=100))
@settings(max_examples=80, deadline=None)
def test_hostile_times_never_raise(pairs):
    clock = DeviceClock()
    for device, host in pairs:
        clock.see(device, host)
        clock.host_ns(device)
    assert (clock.fit is None) == (not pairs)


def test_old_points_are_forgotten():
    clock = DeviceClock(window_ns=10 * S)
    for device, host in lines(60, 0.0, 0):
        clock.see(device, host)
    assert clock.fit is not None
    assert clock.fit.span_ns <= 10 * S


def test_it_keeps_little():
    clock = DeviceClock()
    for t in range(0, 5000 * MS, MS):
        clock.see(t, t + (t // MS) ** 2)  # convex: every point lies on the hull
    assert len(clock._hull) <= 1025
