"""Facts about instrument files: a line, a mistake, a refusal; nothing is believed that was not tried."""

import pytest

from logger.errors import BadFile, NotAllowed
from logger.instruments import decode_once, instrument_from_text, list_instruments, load_instrument
from logger.readings import Mark, Reading

# The line instrument of the contract, as printed.
CONTRACT = r"""
name: bench indicator
link: {baud: 115200}
frame: line
pattern: '^(?P<value>[+-]?\d+\.\d+)(?:,(?P<position>[+-]?\d+(?:\.\d+)?))?(?P<mark>,M)?$'     # named groups: value, unit, position (mm or counts), mark, time (device seconds), channel
unit: mm
resolution_mm: 0.001
examples: [{bytes: "+0.123\r\n", value_mm: 0.123}]
"""  # noqa: E501


def instrument(text=CONTRACT):
    return instrument_from_text(text, "mine.yaml")


def faults(text):
    with pytest.raises(BadFile) as caught:
        instrument(text)
    return caught.value.faults


def changed(old, new):
    assert old in CONTRACT
    return CONTRACT.replace(old, new)


def test_the_contract_s_instrument_loads_as_printed_and_decodes_as_described():
    one = instrument()
    assert (one.name, one.link.baud, one.frame, one.unit, one.resolution_mm) == (
        "bench indicator",
        115200,
        "line",
        "mm",
        0.001,
    )
    reading, mark = decode_once(one, b"-0.004,1480.5,M\r\n")
    assert isinstance(reading, Reading)
    assert (reading.value, reading.position) == (-0.004, 1480.5)
    assert isinstance(mark, Mark)
    assert one.requests == ()
    assert one.source_text == CONTRACT


def test_the_contract_s_no_value_pattern_with_device_time_loads():
    text = changed("unit: mm", r"no_value: '^ERR,t(?P<time>\d+\.\d+)(?P<mark>,M)?$'" + "\nclock: device\nunit: mm")
    text = text.replace(r"[+-]?\d+\.\d+)(?:", r"[+-]?\d+\.\d+),t(?P<time>\d+\.\d+)(?:").replace("+0.123", "+0.123,t1.5")
    assert instrument(text).clock == "device"


@pytest.mark.parametrize(
    ("unit", "resolution", "step", "base"),
    [
        ("mm", 0.01, 0.01, "mm"),
        ("in", 0.0005, 0.0127, "mm"),  # 1 in = 25.4 mm exactly (ISO 80000-3, from memory)
        ("mm/m", 0.01, 0.01, "mm/m"),
        ("in/ft", 0.0012, 0.1, "mm/m"),  # 1 in/ft = 1000/12 mm/m
        ("arcsec", 206.264806, 1.0, "mm/m"),  # one second of arc is 1/206264.8 rad
        ("deg", 0.0572957607, 1.0, "mm/m"),
    ],
)
def test_resolution_in_any_unit_becomes_mm_or_mm_per_m(unit, resolution, step, base):
    text = changed("unit: mm", f"unit: {unit}").replace("resolution_mm: 0.001", f"resolution: {resolution}")
    one = instrument(text.replace("value_mm: 0.123", "value: 0.123"))
    assert one.step == pytest.approx(step, rel=1e-6)
    assert one.base_unit == base


@pytest.mark.parametrize(
    ("old", "new", "key", "word"),
    [
        ("unit: mm", "unit: furlong", "unit", "'mm', 'in', 'mm/m', 'in/ft', 'arcsec' or 'deg'"),
        ("frame: line", "frame: lime", "frame", "nearest is line"),
        ("frame: line", "", "frame", "line"),
        ("{baud: 115200}", "{baud: 1}", "link.baud", "50"),
        ("{baud: 115200}", "{bawd: 9600}", "link.bawd", "nearest is baud"),
        ("{baud: 115200}", "{baud: 115200, parity: no}", "link.parity", "'none'"),
        ("unit: mm\n", "unit: mm\npoll: '?\\r'\n", "poll", "double quotes"),
        ("unit: mm\n", "unit: mm\npoll: ''\n", "poll", "1 to 64 bytes"),
        ("unit: mm\n", "unit: mm\ncounts_per_mm: 0\n", "counts_per_mm", "not zero"),
        ("unit: mm\n", "unit: mm\nresolution: 1\n", "resolution_mm", "one of them"),
        ("unit: mm\n", "unit: mm/m\n", "resolution_mm", "own unit"),
        ("unit: mm\n", "unit: mm\nregisters: []\n", "registers", "nearest is"),
        ("value_mm: 0.123", "value_mm: 0.321", "examples[0].value_mm", "decode to"),
        ("value_mm: 0.123", "value_mm: 0.123, mark: true", "examples[0].mark", "decode to"),
        ("value_mm: 0.123", "no_value: true", "examples[0]", "none"),
        ("+0.123", "+0,123", "examples[0]", "rules can read"),
        ("[{bytes", "[{hex: '0', bytes", "examples[0].hex", "hexadecimal"),
        (', value_mm: 0.123}]', "}]", "examples[0]", "what these bytes mean"),
        ("[{", "[] #", "examples", "at least 1"),
    ],
)  # fmt: skip
def test_each_mistake_is_one_fault_with_its_key(old, new, key, word):
    (fault,) = faults(changed(old, new))
    assert fault.key == key
    assert word in fault.allowed
    assert fault.line is not None


@pytest.mark.parametrize(
    "pattern",
    [
        r"^(?P<value>(\d+)+)$",
        r"^(?P<value>(?:\d*)*\.\d+)$",
        r"^(?P<value>(\d+|\d+\.)*)$",
        r"^(?P<value>\d+",
        r"^(?P<height>\d+)$",
        r"^\d+$",
    ],
)
def test_a_pattern_that_can_run_away_or_has_no_value_is_refused(pattern):
    old = CONTRACT[CONTRACT.index("pattern: '") : CONTRACT.index("     # named")]
    assert any(fault.key == "pattern" for fault in faults(CONTRACT.replace(old, f"pattern: '{pattern}'")))


def test_an_instrument_is_found_by_name_or_by_path_and_a_wrong_name_gets_the_nearest(tmp_path):
    assert load_instrument("indicator-line").unit == "mm"
    path = tmp_path / "mine.yaml"
    path.write_text(CONTRACT, encoding="utf-8")
    assert load_instrument(path).name == load_instrument(str(path)).name == "bench indicator"
    with pytest.raises(NotAllowed, match="nearest is indicator-line"):
        load_instrument("indicator-lime")
    with pytest.raises(BadFile, match="cannot be read"):
        load_instrument("missing.yaml")


def test_four_profiles_for_lines_of_text_come_with_truestroke():
    lines = [name for name in list_instruments() if load_instrument(name).frame == "line"]
    assert lines == ["indicator-line", "indicator-polled", "indicator-with-position", "level-line"]
    assert load_instrument("indicator-polled").requests == (b"?\r",)
    assert load_instrument("level-line").base_unit == "mm/m"


def test_a_loaded_instrument_goes_to_another_process_by_its_text():
    one = load_instrument("indicator-polled")
    again = instrument_from_text(one.source_text, "descriptor")
    assert again == one


def shipped(name):
    return load_instrument(name).source_text


@pytest.mark.parametrize(
    ("name", "old", "new", "key", "words"),
    [
        ("level-modbus", "register: 2,", "register: 1,", "registers", ("'pitch' (input 0-1", "'roll' (input 1-2")),
        ("level-modbus", "pitch, address: 1,", "pitch, address: 0,", "registers[0].address", ("1",)),
        ("level-modbus", "scale: 0.001}", "scale: 0.001, unit: furlong}", "registers[0].unit", ("mm",)),
        ("level-modbus", "unit: mm/m", "unit: kg", "unit", ("'mm/m'",)),
        ("level-nmea-xdr", "unit: deg", "unit: in/ft", "unit", ("deg for an inclinometer",)),
        ("scpi-indicator", '"READ?"', '"CONF:VOLT 10"', "query", ("is not a query",)),
        ("scpi-indicator", '"READ?"', '"*TST?"', "query", ("test or calibrate",)),
        ("indicator-polled", "unit: mm\n", "unit: mm\nunits: {inch: furlong}\n", "units.inch", ("'mm'",)),
        ("node-gauge-24", "sign_at: 20", "sign_at: 19", "gauge", ("share a bit",)),
        ("typed-mm", "smallest: -25", "smallest: 26", "smallest", ("below largest",)),
    ],
)  # fmt: skip
def test_what_cannot_be_in_the_other_families_is_named(name, old, new, key, words):
    text = shipped(name)
    assert old in text
    with pytest.raises(BadFile) as refused:
        instrument_from_text(text.replace(old, new, 1), "bad.yaml")
    said = next(fault for fault in refused.value.faults if fault.key == key)
    assert all(word in str(said) for word in words), str(said)
