"""Facts about reading YAML: nothing is silently something else, every fault has its line, hostile files end."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from logger.description.yaml_files import MAX_BYTES, dotted, parse_yaml, plain_scalar, read_text, shown
from logger.errors import BadFile


def data(text):
    return parse_yaml(text, "file.yaml").data


def faults(text):
    with pytest.raises(BadFile) as caught:
        parse_yaml(text, "file.yaml")
    return caught.value.faults


@pytest.mark.parametrize(
    ("text", "value"),
    [
        # YAML 1.2.2 section 10.3.2 (core schema): what YAML 1.1 readers turn into something else
        ("no", "no"),
        ("on", "on"),
        ("12:30", "12:30"),
        ("010", 10),
        ("1e-3", 0.001),
        ("5.2e+5", 520000.0),
        ("5.2e5", 520000.0),
        ("1_000", "1_000"),
        ("2026-11-25", "2026-11-25"),
        ("~", None),
        ("true", True),
        ("-3", -3),
        (".5", 0.5),
        ("5.", 5.0),
        ("0x1F", 31),
        (".inf", math.inf),
        ("−0.25", -0.25),  # a typeset minus, as copied from a screen
        ("1.2.3", "1.2.3"),
        ("1,5", "1,5"),
    ],
)
def test_an_unquoted_scalar_means_what_yaml_1_2_says(text, value):
    assert plain_scalar(text) == value
    assert type(plain_scalar(text)) is type(value)


def test_quotes_make_text_of_a_number():
    assert data("a: '1'\nb: \"2\"\nc: 3") == {"a": "1", "b": "2", "c": 3}


def test_lines_are_those_of_keys_and_of_values():
    document = parse_yaml("a: 1\nb:\n  - {c: 2,\n     d: 3}\n", "file.yaml")
    assert document.line_of(("b", 0, "c")) == 3
    assert document.line_of(("b", 0, "d")) == 4
    assert document.line_of(("b", 0, "missing")) == 3, "what is missing is said at the entry it is missing from"
    assert document.line_of(("nowhere",)) == 1


def test_a_key_written_twice_is_a_fault_with_both_lines():
    (fault,) = faults("pitch_mm: 1.5\nname: x\npitch_mm: 2\n")
    assert (fault.line, fault.key) == (3, "pitch_mm")
    assert "line 1" in fault.found


@pytest.mark.parametrize(
    ("text", "line", "word"),
    [
        ("a: &x 1\nb: *x\n", 1, "anchor"),
        ("a: 1\nb: !!python/object/apply:os.system ['true']\n", 2, "tag"),
        ("a: 1\n---\nb: 2\n", 2, "second document"),
        ("a: [1, 2\nb: 3\n", 2, "','"),
        ("a: x\n\tb: 1\n", 2, "\\t"),
        ("? [1, 2]\n: 3\n", 1, "as a key"),
        ("a: 1\nb: \x00\n", None, ""),
    ],
)
def test_what_yaml_can_do_and_a_machine_file_never_needs_is_refused_with_its_line(text, line, word):
    fault = faults(text)[0]
    assert fault.line == line
    assert word in fault.found


def test_a_billion_laughs_ends_before_it_begins():
    text = "a0: &a0 [x]\n" + "".join(f"a{i}: &a{i} [{', '.join(['*a' + str(i - 1)] * 9)}]\n" for i in range(1, 10))
    assert faults(text)


@pytest.mark.parametrize("text", ["[" * 5000, "{a: " * 5000, "- " * 5000 + "x", "a:\n" + "- x\n" * 60_000])
def test_depth_and_size_are_bounded(text):
    assert faults(text)


def test_a_file_that_is_too_large_or_no_text_is_refused(tmp_path):
    large = tmp_path / "large.yaml"
    large.write_bytes(b"#" * (MAX_BYTES + 1))
    with pytest.raises(BadFile, match="256 kB"):
        read_text(large)
    binary = tmp_path / "binary.yaml"
    binary.write_bytes(b"a: 1\nb: \xff\xfe\n")
    with pytest.raises(BadFile) as caught:
        read_text(binary)
    assert caught.value.faults[0].line == 2
    with pytest.raises(BadFile, match="cannot be read"):
        read_text(tmp_path / "missing.yaml")


def test_a_byte_order_mark_and_windows_line_ends_are_no_matter(tmp_path):
    path = tmp_path / "machine.yaml"
    path.write_bytes(b"\xef\xbb\xbfa: 1\r\nb: 2\r\n")
    assert data(read_text(path)) == {"a": 1, "b": 2}


@given(st.text(max_size=200))
def test_any_text_gives_data_or_a_bad_file_and_nothing_else(text):
    try:
        parse_yaml(text, "file.yaml")
    except BadFile as error:
        assert error.faults
        assert all(character.isprintable() for fault in error.faults for character in str(fault))


@given(st.text(max_size=100))
def test_what_is_shown_of_a_value_is_one_printable_bounded_line(text):
    assert shown(text).isprintable()
    assert len(shown(text)) <= 60


@given(st.floats(allow_nan=False, allow_infinity=False))
def test_every_number_python_writes_is_read_back(number):
    assert plain_scalar(repr(number)) == number


def test_a_dotted_key_names_list_entries_from_zero():
    assert dotted(("bolts", 2, "pitch_mm")) == "bolts[2].pitch_mm"
    assert dotted(()) == "(file)"
    assert "\x1b" not in dotted(("\x1b[2J",))
