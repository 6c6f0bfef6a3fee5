"""Facts about lines with a number in them: what they mean, and what becomes of dirt."""

import math
from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from logger.decode import DeviceTimed, make_decoder
from logger.decode.value_line import LARGEST_VALUE, UNITS, ValueLineSpec, spec_faults
from logger.readings import Gap, Garbage, Index, Mark, Reading

MS = 1_000_000
S = 1_000_000_000
PLAIN = ValueLineSpec(r"^(?P<value>[+-]?\d+\.\d+)(?:,(?P<position>[+-]?\d+(?:\.\d+)?))?(?P<mark>,M)?$")
LOOSE = ValueLineSpec(r"(?P<value>[^,;]*)(?:,(?P<position>[^;]*))?(?:;(?P<unit>.*))?")
TIMED = ValueLineSpec(
    r"t(?P<time>\d+\.\d+) (?P<value>[+-]?\d+\.\d+)(?P<mark>,M)?",
    no_value=r"t(?P<time>\d+\.\d+) ERR(?P<mark>,M)?",
    clock="device",
)


def decode(spec, *chunks):
    decoder = make_decoder(spec)
    records = [record for i, chunk in enumerate(chunks) for record in decoder.feed(chunk, (i + 1) * 10 * MS)]
    return records + decoder.flush(S)


def values(records):
    return [record.value for record in records if isinstance(record, Reading)]


def kinds(records):
    return [type(record).__name__ for record in records]


def times_s(records):
    return [record.t_ns / S for record in records if isinstance(record, Reading)]


# -- what lines mean ---------------------------------------------------------------------------------------------------


def test_a_line_worked_by_hand():
    assert decode(PLAIN, b"+0.123,1480.5,M\r\n") == [
        Reading(10 * MS, 0.123, "mm", "", 1480.5),
        Mark(10 * MS, "line"),
    ]


@given(
    st.lists(
        st.sampled_from([b"+0.123", b"-1.5,20.25", b"+0.1,5,M", b"1e999", b"+9999999999.0", b"ERR", b"+0.1,M", b"x"]),
        max_size=12,
    )
)
def test_the_everyday_kind_of_line_is_read_as_the_general_one_would(lines):
    """The same pattern with a unit group that never fits takes the general way."""
    text = r"(?P<value>[+-]?\d+(?:\.\d+)?(?:e\d+)?)(?:,(?P<position>\d+(?:\.\d+)?))?(?P<mark>,M)?"
    data = b"".join(line + b"\r\n" for line in lines)
    everyday, general = ValueLineSpec(text), ValueLineSpec(text + "(?P<unit>(?!))?")
    assert decode(everyday, data) == decode(general, data)


def test_a_line_without_the_optional_fields():
    assert decode(PLAIN, b"-0.5\n") == [Reading(10 * MS, -0.5, "mm", "", None)]


def test_the_unit_field_names_the_unit_also_by_the_instruments_own_word():
    spec = ValueLineSpec(r"(?P<value>\S+) (?P<unit>\S+)", unit="mm", units=(('"', "in"),))
    records = decode(spec, b'1.5 mm\n0.05 "\n1.5 furlong\n')
    assert [record.unit for record in records[:2]] == ["mm", "in"]
    assert records[2].why == "its unit is unknown"


def test_channels_come_from_the_line():
    spec = ValueLineSpec(r"(?P<channel>[^=]*)=(?P<value>[-+0-9.]+)")
    records = decode(spec, b"A1=0.5\nB2=0.7\n\x1b[2J=0.9\n=HYPER=0.9\n")
    assert [(r.channel, r.value) for r in records[:2]] == [("A1", 0.5), ("B2", 0.7)]
    assert kinds(records[2:]) == ["Garbage", "Garbage"]


def test_a_device_that_invents_channels_without_end_is_bounded():
    spec = ValueLineSpec(r"(?P<channel>\w+)=(?P<value>\d+)")
    records = decode(spec, b"".join(b"c%d=1\n" % i for i in range(500)))
    assert len({r.channel for r in records if isinstance(r, Reading)}) <= 65


def test_a_decimal_comma_and_blanks_inside_a_number_are_understood():
    assert values(decode(ValueLineSpec(r"(?P<value>[-+ 0-9,.]+)"), b"+ 1,25\n-  0.5\n")) == [1.25, -0.5]


def test_a_line_that_says_no_value_is_a_gap_with_its_position_and_mark():
    spec = ValueLineSpec(PLAIN.pattern, no_value=r"ERR(?:,(?P<position>\d+\.\d+))?(?P<mark>,M)?")
    assert decode(spec, b"ERR,710.5,M\n") == [Gap(10 * MS, 10 * MS, "no value", 710.5), Mark(10 * MS, "line")]


def test_a_switch_shown_as_0_and_1_marks_once_when_it_is_pressed():
    spec = ValueLineSpec(r"(?P<value>\d+),(?P<mark>[01])")
    records = decode(spec, b"1,0\n2,1\n3,1\n4,0\n5,1\n")
    assert kinds(records) == ["Reading", "Reading", "Mark", "Reading", "Reading", "Reading", "Mark"]


def test_two_marks_in_a_row_are_two_the_end_of_a_pass_and_the_start_of_the_next():
    assert kinds(decode(PLAIN, b"0.1,M\n0.1,M\n")).count("Mark") == 2


# -- dirt --------------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "text", [b"nan", b"inf", b"-Infinity", b"1e400", b"1_000x", b"", b"--1", b"1e12", b"\xb2", b"0x10", b"+"]
)
def test_what_is_no_number_or_too_large_a_one_is_garbage(text):
    (record,) = decode(LOOSE, text + b",1\n")
    assert isinstance(record, Garbage)


def test_a_position_that_is_no_number_condemns_the_line():
    assert kinds(decode(LOOSE, b"1.5,nan\n")) == ["Garbage"]


@pytest.mark.parametrize(
    ("dirty", "left"),
    [
        (b"\x00\xff+0.1\r\n+0.2\r\n", [0.2]),  # dirt before costs the line it is in
        (b"+0.\x001\r\n+0.2\r\n", [0.2]),  # dirt inside
        (b"+0.1\x80\r\n+0.2\r\n", [0.2]),  # dirt after
        (b"+0.1\r\n\x1b[2J\x07\r\n+0.2\r\n", [0.1, 0.2]),  # dirt between
        (b"+0.1+0.2\r\n+0.3\r\n", [0.3]),  # a lost line end
        (b"+0.1\r\n" + b"\xaa" * 1000 + b"\r\n+0.2\r\n", [0.1, 0.2]),  # a burst longer than a line
    ],
)
def test_dirt_costs_its_own_line_and_no_other(dirty, left):
    for size in (len(dirty), 1, 3):
        pieces = [dirty[i : i + size] for i in range(0, len(dirty), size)]
        records = decode(PLAIN, *pieces)
        assert values(records) == left
        assert sum(isinstance(record, Garbage) for record in records) == 1


def test_a_line_cut_off_by_a_pulled_cable_is_no_reading():
    """The naive way, decoding what is left, would report +0.1 for +0.123."""
    assert kinds(decode(PLAIN, b"+0.123\r\n+0.1")) == ["Reading", "Garbage"]


def test_an_overlong_line_is_one_garbage_of_bounded_size():
    (record,) = decode(PLAIN, *[b"\xff" * 4096] * 256)
    assert isinstance(record, Garbage)
    assert len(record.raw) == 256


@given(st.lists(st.binary(max_size=400), max_size=20))
def test_noise_never_raises_and_never_gives_a_number_that_is_none(chunks):
    for spec in (PLAIN, LOOSE, TIMED):
        for record in decode(spec, *chunks):
            if isinstance(record, Reading):
                assert math.isfinite(record.value)
                assert abs(record.value) < LARGEST_VALUE
            if isinstance(record, Garbage):
                assert len(record.raw) <= 256


@given(
    st.lists(st.floats(-99, 99).map(lambda v: round(v, 3)), min_size=1, max_size=30),
    st.lists(st.integers(0, 600), max_size=40),
    st.sampled_from([b"\r\n", b"\n", b"\r"]),
)
def test_clean_lines_give_their_values_wherever_the_cable_cuts(numbers, places, end):
    data = b"".join(b"%+.3f" % number + end for number in numbers)
    places = sorted({place % (len(data) + 1) for place in places} | {0, len(data)})
    pieces = [data[a:b] for a, b in pairwise(places)]
    records = decode(PLAIN, *pieces)
    assert values(records) == numbers
    assert all(isinstance(record, Reading) for record in records)


@given(st.lists(st.binary(max_size=200), max_size=10), st.sampled_from([PLAIN, LOOSE, TIMED]))
def test_the_same_chunks_give_the_same_records(chunks, spec):
    assert decode(spec, *chunks) == decode(spec, *chunks)


# -- the device's clock ------------------------------------------------------------------------------------------------


def test_with_the_devices_clock_time_counts_from_its_first_line_whatever_the_host_saw():
    records = decode(TIMED, b"t100.000 0.1\nt100.010 0.2\nt100.020 0.3\n")
    assert times_s(records) == [0.0, 0.01, 0.02]


def test_a_damaged_time_ahead_costs_one_line_and_moves_no_other():
    records = decode(TIMED, b"t1.00 0.1\nt1.01 0.2\nt91.02 0.3\nt1.03 0.4\nt1.04 0.5\n")
    assert values(records) == [0.1, 0.2, 0.4, 0.5]
    assert times_s(records) == pytest.approx([0, 0.01, 0.03, 0.04])
    assert kinds(records).count("Garbage") == 1


def test_a_damaged_time_behind_costs_one_line_too():
    records = decode(TIMED, b"t11.00 0.1\nt11.01 0.2\nt1.02 0.3\nt11.03 0.4\n")
    assert values(records) == [0.1, 0.2, 0.4]
    assert kinds(records).count("Garbage") == 1


def test_a_real_pause_is_believed_when_the_next_line_goes_on_from_it():
    records = decode(TIMED, b"t1.00 0.1\nt1.01 0.2\nt31.00 0.3\nt31.01 0.4\n")
    assert times_s(records) == pytest.approx([0, 0.01, 30.0, 30.01])


def test_a_device_that_restarts_is_followed_and_said():
    decoder = make_decoder(TIMED)
    records = decoder.feed(b"t50.00 0.1\nt50.01 0.2\n", 10 * MS)
    records += decoder.feed(b"t0.50 0.3\n", 2010 * MS) + decoder.feed(b"t0.51 0.4\n", 2020 * MS)
    gap = next(record for record in records if isinstance(record, Gap))
    assert gap.reason == "device restarted"
    assert times_s(records) == pytest.approx([0, 0.01, 2.01, 2.02])


def test_time_never_goes_back_in_what_comes_out():
    records = decode(TIMED, b"t5.0 0.1\nt5.1 0.2\nt0.0 0.3\nt0.1 0.4\nt0.0 0.5\nt0.1 0.6\nt0.2 0.7\n")
    found = times_s(records)
    assert found == sorted(found)


def test_with_the_devices_clock_a_no_value_line_has_its_time_too():
    records = decode(TIMED, b"t5.0 0.1\nt5.1 ERR\nt5.2 0.2\n")
    assert records[1] == Gap(100 * MS, 100 * MS, "no value")


def test_the_operators_key_is_placed_between_two_lines_of_the_devices_time():
    decoder = make_decoder(TIMED)
    assert isinstance(decoder, DeviceTimed)
    decoder.feed(b"t0.00 0.1\n", 1000 * MS)
    assert decoder.key(1025 * MS) == []  # the line after it is needed
    records = decoder.feed(b"t1.00 0.2\n", 1100 * MS)  # a device ten times as fast as the host
    assert [r for r in records if isinstance(r, Mark)] == [Mark(250 * MS, "key")]


def test_a_key_after_the_last_line_is_not_lost():
    decoder = make_decoder(TIMED)
    assert isinstance(decoder, DeviceTimed)
    decoder.feed(b"t0.00 0.1\n", 1000 * MS)
    decoder.key(1500 * MS)
    assert [r for r in decoder.flush(2 * S) if isinstance(r, Mark)] == [Mark(500 * MS, "key")]


def test_mark_time_says_when_the_key_went_down():
    pattern = r"t(?P<time>\d+\.\d+) (?P<value>\d+\.\d+)(?P<mark>,M(?P<mark_time>\d+\.\d+))?"
    for clock in ("device", "host"):
        records = decode(ValueLineSpec(pattern, clock=clock), b"t10.0 0.1\n", b"t10.5 0.2\n", b"t11.0 0.3,M10.75\n")
        reading, mark = records[-2:]
        assert isinstance(mark, Mark)
        assert clock == "host" or (reading.t_ns, mark.t_ns) == (1000 * MS, 750 * MS)
        assert mark.t_ns == max(0, reading.t_ns - 250 * MS)


def test_a_senseless_mark_time_leaves_the_mark_on_its_line():
    pattern = r"(?P<time>\d+\.\d+) (?P<value>\d+\.\d+),M(?P<mark_time>\d+\.\d+)"
    reading, mark = decode(ValueLineSpec(pattern), b"500.0 0.1,M3.0\n")
    assert mark == Mark(reading.t_ns, "line")


# -- what an instrument file may not say -------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("spec", "words"),
    [
        (ValueLineSpec(r"\d+"), "no group (?P<value>"),
        (ValueLineSpec(r"(?P<value>\d+)(?P<colour>x)?"), "unknown group 'colour'"),
        (ValueLineSpec(r"(?P<value>(\d+)*)"), "repeat inside a repeat"),
        (ValueLineSpec(r"(?P<value>\d*)"), "fits an empty line"),
        (ValueLineSpec(r"(?P<value>\d+)", clock="device"), "which clock: device needs"),
        (ValueLineSpec(r"(?P<value>\d+)", no_value=r"E(?P<value>\d)"), "says there is none"),
        (ValueLineSpec(r"(?P<value>\d+)", no_value=r"("), "not a regular expression"),
        (ValueLineSpec(r"(?P<value>\d+)", unit="furlong"), "furlong"),
        (ValueLineSpec(r"(?P<value>\d+)", units=(("x", "furlong"),)), "furlong"),
    ],
)
def test_a_bad_spec_is_refused_in_words(spec, words):
    assert any(words in what for _, what in spec_faults(spec))


@pytest.mark.parametrize("spec", [PLAIN, TIMED])
def test_the_specs_used_here_are_sound(spec):
    assert spec_faults(spec) == []


def test_all_units_of_the_contract_are_known():
    assert set(UNITS) == {"mm", "in", "mm/m", "in/ft", "arcsec", "deg"}


def test_the_index_is_a_record_of_its_own_with_the_position_at_it():
    spec = ValueLineSpec(r"(?P<value>\d\.\d),(?P<position>-?\d+)(?:,I(?P<index_position>-?\d+))?")
    records = decode(spec, b"0.1,10\n0.2,20,I17\n0.3,30,I0\n")
    assert [one.position for one in records if isinstance(one, Index)] == [17.0, 0.0]
    flag = ValueLineSpec(r"(?P<value>\d\.\d),(?P<position>-?\d+),(?P<index>[01])")
    records = decode(flag, b"0.1,10,0\n0.2,20,1\n0.3,30,1\n0.4,40,0\n0.5,50,1\n")
    assert [one.position for one in records if isinstance(one, Index)] == [20.0, 50.0]


def test_an_index_without_any_position_is_refused():
    faults = spec_faults(ValueLineSpec(r"(?P<value>\d\.\d)(?P<index>,I)?"))
    assert any("(?P<index>...) without" in what for _, what in faults)
