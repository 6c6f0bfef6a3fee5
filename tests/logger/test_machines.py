"""Facts about machine files: the contract's own example loads as printed, and five mistakes are five faults."""

import math
import pickle
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from logger.errors import BadFile, NotAllowed
from logger.machines import Machine, load_machine, machine_from_text

# The machine file that scripts write, with its comments, character for character.
CONTRACT = """\
name: Kiln Street panel saw            # invented
rail: {from_mm: -300, to_mm: 2900, material: steel, I_mm4: 5.2e+5, J_mm4: 8.0e+5, mass_kg_per_m: 14}
carriage: {bearing_span_mm: 640, bearing_offsets_mm: [-320, 320], mass_kg: 35, top_length_mm: 1200, edge_y_mm: 150, stroke_mm: [0, 2600]}   # stroke = positions of the carriage's middle;
                                       # without bearing_offsets_mm: both ends of the span
bolts:
  - {name: B1, x_mm: 150, y_mm: 0, pitch_mm: 1.5, raises: clockwise, seen_from: below, kind: screw_and_locknut}     # six single bolts at Kiln Street; seen_from below|above; kind also stud_two_nuts, rest_only
  - {name: B2, x_mm: 1150, y_mm: 0, pitch_mm: 1.5, raises: clockwise, seen_from: below, kind: screw_and_locknut}
table: {from_mm: 700, to_mm: 1500, insert_mm: [1010, 1090], map: []}       # map: lines of measured flatness [{y_mm, points: [[x_mm, height_mm, u_mm], ...]}]
set_ups:
  across:  {kind: fixed, x_mm: 1100, zero_mm: 0.0}    # indicator stands on the table at machine x; y_mm in any set-up, default edge_y_mm (the roll arm)
  along:   {kind: carried, offset_mm: 250}            # indicator rides offset_mm from the carriage's middle
  pitch:   {kind: level, axis: pitch, sense: normal}  # sense reversed: a level set the other way round, an indicator with its sign switched
band: {mean_mm: [0.05, 0.15], peak_to_valley_mm: 0.05, origin: "common practice, no source"}
places: [{name: spindle, x_mm: 1450, y_mm: 250, peak_to_valley_mm: 0.025, origin: "common practice, no source"}]
"""  # noqa: E501

SMALL = """\
name: small
rail: {from_mm: 0, to_mm: 2000}
carriage: {bearing_span_mm: 400, top_length_mm: 800, stroke_mm: [300, 1700]}
bolts:
  - {name: B1, x_mm: 100, pitch_mm: 1.5}
  - {name: B2, x_mm: 1900, pitch_mm: 1.5}
table: {from_mm: 500, to_mm: 1500}
"""


def machine(text: str = SMALL) -> Machine:
    return machine_from_text(text, "machine.yaml")


def faults(text: str):
    with pytest.raises(BadFile) as caught:
        machine(text)
    return caught.value.faults


def one_fault(text: str):
    (fault,) = faults(text)
    return fault


def with_line(number: int, line: str, text: str = SMALL) -> str:
    lines = text.splitlines()
    lines[number - 1] = line
    return "\n".join(lines) + "\n"


# --- what loads ------------------------------------------------------------------------------------------------------


def test_the_contract_s_machine_loads_exactly_as_printed_and_without_a_warning():
    saw = machine(CONTRACT)
    assert saw.rail.I_mm4 == 5.2e5
    assert saw.rail.J_mm4 == 8.0e5
    assert list(saw.carriage.bearing_offsets_mm) == [-320, 320]
    assert list(saw.carriage.stroke_mm) == [0, 2600]
    assert saw.bolts[0].name == "B1"
    assert [list(pair) for pair in saw.table.insert_mm] == [[1010, 1090]]
    assert saw.set_ups["across"].zero_mm == 0.0
    assert saw.set_ups["pitch"].axis == "pitch"
    assert saw.places[0].peak_to_valley_mm == 0.025
    assert saw.warnings == ()
    assert saw.source_text == CONTRACT


def test_what_is_not_written_has_a_default():
    saw = machine()
    assert list(saw.carriage.bearing_offsets_mm) == [-200, 200], "both ends of the span"
    assert saw.rail.bending_I_mm4 is None, "not known is not a number"
    assert saw.bolts[0].raises == "clockwise"
    assert saw.bolts[0].kind == "screw_and_locknut"
    assert saw.bolts[0].flats == 6
    assert saw.band.peak_to_valley_mm == 0.05
    assert saw.band.origin == "common practice, no source"
    assert saw.table.insert_mm == ()
    assert saw.wrench_length_mm == 200


def test_a_set_up_and_a_place_without_y_stand_on_the_carriage_s_edge():
    saw = machine(
        SMALL + "set_ups: {a: {kind: fixed, x_mm: 900}, b: {kind: level, axis: roll, y_mm: 0}}\n"
        "places: [{name: blade, x_mm: 900}]\n"
    )
    assert saw.set_ups["a"].y_mm == saw.carriage.edge_y_mm == 150
    assert saw.set_ups["b"].y_mm == 0
    assert saw.places[0].y_mm == 150


def test_a_zero_that_is_not_known_is_null_and_not_nought():
    saw = machine(SMALL + "set_ups:\n  a: {kind: fixed, x_mm: 900, zero_mm: null}\n  b: {kind: fixed, x_mm: 900}\n")
    assert saw.set_ups["a"].zero_mm is None
    assert saw.set_ups["b"].zero_mm == 0.0


def test_openings_are_one_pair_several_or_none():
    for written, meant in [
        ("[900, 950]", ((900, 950),)),
        ("[[900, 950], [1100, 1180]]", ((900, 950), (1100, 1180))),
        ("[]", ()),
        ("null", ()),
    ]:
        assert (
            machine(with_line(7, f"table: {{from_mm: 500, to_mm: 1500, insert_mm: {written}}}")).table.insert_mm
            == meant
        )


def test_numbers_written_with_an_exponent_load_as_numbers():
    for written in ("5.2e+5", "5.2e5", "52e4", "520000", "5.2E+05"):
        saw = machine(with_line(2, f"rail: {{from_mm: 0, to_mm: 2000, I_mm4: {written}}}"))
        assert saw.rail.I_mm4 == 520_000
    assert machine(SMALL + "band: {peak_to_valley_mm: 5e-2}\n").band.peak_to_valley_mm == 0.05


def test_a_rail_may_say_that_its_stiffness_is_not_known():
    for said in ("section: unknown", "I_mm4: unknown, J_mm4: unknown", "section: null"):
        rail = machine(with_line(2, f"rail: {{from_mm: 0, to_mm: 2000, {said}}}")).rail
        assert (rail.bending_I_mm4, rail.torsion_J_mm4, rail.line_mass_kg_per_m) == (None, None, 14)


def test_a_section_gives_stiffness_and_mass():
    rail = machine(
        with_line(2, "rail: {from_mm: 0, to_mm: 2000, section: {shape: solid, width_mm: 20, height_mm: 60}}")
    ).rail
    assert rail.bending_I_mm4 == pytest.approx(20 * 60**3 / 12)
    assert rail.line_mass_kg_per_m == pytest.approx(0.02 * 0.06 * 7850), "7850 kg/m3: EN 1991-1-1, from memory"


def test_a_differential_screw_moves_by_the_difference_of_its_pitches():
    saw = machine(with_line(5, "  - {name: B1, x_mm: 100, pitch_mm: 1.5, counter_pitch_mm: 1.25}"))
    assert saw.bolts[0].travel_per_turn_mm == 0.25
    assert saw.bolts[1].travel_per_turn_mm == 1.5


def test_thread_left_is_two_lengths_whichever_sign_the_downward_one_was_given():
    for written in ("[4, 6]", "[-4, 6]"):
        saw = machine(with_line(5, f"  - {{name: B1, x_mm: 100, pitch_mm: 1.5, travel_mm: {written}}}"))
        assert saw.bolts[0].travel_mm == (4, 6)


def test_every_kind_of_support_can_be_described():
    bolts = "".join(
        f"  - {{name: S{index}, x_mm: {100 * index}, pitch_mm: 1.5, kind: {kind}, y_mm: {index}}}\n"
        for index, kind in enumerate(["screw_and_locknut", "stud_two_nuts", "rest_only", "clamped"], 1)
    )
    text = SMALL.replace(SMALL[SMALL.index("  - {name: B1") : SMALL.index("table:")], bolts)
    assert [bolt.kind for bolt in machine(text).bolts] == ["screw_and_locknut", "stud_two_nuts", "rest_only", "clamped"]


def test_a_measured_table_keeps_its_lines_and_their_uncertainty():
    saw = machine(
        with_line(
            7, "table: {from_mm: 500, to_mm: 1500, map: [{y_mm: 150, points: [[500, 0, 0.002], [1500, -0.01, 0.002]]}]}"
        )
    )
    assert saw.table.map[0].points == ((500, 0, 0.002), (1500, -0.01, 0.002))


def test_a_loaded_machine_cannot_be_changed_and_survives_the_way_to_another_process():
    saw = machine(CONTRACT)
    with pytest.raises(Exception, match="frozen"):
        saw.rail.from_mm = 0
    again = pickle.loads(pickle.dumps(saw))
    assert again == saw
    assert again.source_text == CONTRACT


def test_a_bolt_and_a_set_up_are_found_case_apart_and_a_wrong_name_gets_the_nearest():
    saw = machine(CONTRACT)
    assert saw.bolt("b2").name == "B2"
    assert saw.set_up("Across").kind == "fixed"
    with pytest.raises(NotAllowed, match=r"no bolt 'B7'.*B1, B2.*nearest is B"):
        saw.bolt("B7")
    with pytest.raises(NotAllowed, match="nearest is across"):
        saw.set_up("acros")


def test_a_folder_stands_for_the_machine_file_in_it(tmp_path):
    (tmp_path / "machine.yaml").write_text(CONTRACT, encoding="utf-8")
    assert load_machine(tmp_path) == load_machine(tmp_path / "machine.yaml")
    with pytest.raises(BadFile, match="cannot be read"):
        load_machine(tmp_path / "other.yaml")


# --- faults ----------------------------------------------------------------------------------------------------------


def test_five_mistakes_are_five_faults_each_with_its_own_line_all_at_once():
    text = """\
name: five mistakes
rail: {from_mm: 0, to_mm: 2000, materiel: steel}
carriage: {bearing_span_mm: 400, top_length_mm: "800", stroke_mm: [300, 1700]}
bolts:
  - {name: B1, x_mm: 2100, pitch_mm: 1.5}
  - {name: B2, x_mm: 1900, pitch_mm: 0}
  - {name: b2, x_mm: 1000, pitch_mm: 1.5}
table: {from_mm: 500, to_mm: 1500}
"""
    found = {(fault.line, fault.key) for fault in faults(text)}
    assert found == {
        (2, "rail.materiel"),
        (3, "carriage.top_length_mm"),
        (5, "bolts[0].x_mm"),
        (6, "bolts[1].pitch_mm"),
        (7, "bolts[2].name"),
    }


def test_an_unknown_key_names_the_nearest_known_one_and_is_one_fault_where_it_was_only_misspelt():
    fault = one_fault(with_line(5, "  - {name: B1, x: 100, pitch_mm: 1.5}"))
    assert (fault.line, fault.key) == (5, "bolts[0].x")
    assert fault.allowed.endswith("The nearest is x_mm")


def test_a_key_that_is_missing_is_said_with_what_it_means():
    fault = one_fault(with_line(5, "  - {name: B1, pitch_mm: 1.5}"))
    assert (fault.line, fault.key, fault.found) == (5, "bolts[0].x_mm", "nothing")
    assert "where it stands along the rail" in fault.allowed


@pytest.mark.parametrize(
    ("line", "text", "key", "word"),
    [
        (2, "rail: {from_mm: 2000, to_mm: 0}", "rail.to_mm", "more than from_mm"),
        (2, "rail: {from_mm: 0, to_mm: 2000, material: steal}", "rail.material", "'steel', 'aluminium' or 'cast iron'"),
        (2, "rail: {from_mm: 0, to_mm: 2000, I_mm4: -1}", "rail.I_mm4", "more than 0"),
        (2, "rail: {from_mm: 0, to_mm: .inf}", "rail.to_mm", "finite"),
        (2, "rail: {from_mm: 0, to_mm: 2000, section: {shape: bocks}}", "rail.section.shape", "'box'"),
        (3, "carriage: {bearing_span_mm: 400, top_length_mm: 800, stroke_mm: [1700, 300]}",
         "carriage.stroke_mm", "smaller"),
        (3, "carriage: {bearing_span_mm: 400, top_length_mm: 800, stroke_mm: [300]}",
         "carriage.stroke_mm[1]", "2 values"),
        (3, "carriage: {bearing_span_mm: 400, top_length_mm: 800, stroke_mm: [300, 9000]}",
         "carriage.stroke_mm", "on the rail"),
        (3, "carriage: {bearing_span_mm: 400, bearing_offsets_mm: [5, 5], top_length_mm: 8, stroke_mm: [3, 17]}",
         "carriage.bearing_offsets_mm", "different"),
        (3, "carriage: {bearing_span_mm: 400, bearing_offsets_mm: [5], top_length_mm: 8, stroke_mm: [3, 17]}",
         "carriage.bearing_offsets_mm", "2 to 40"),
        (5, "  - {name: B1, x_mm: 100, pitch_mm: -1.5}", "bolts[0].pitch_mm", "more than 0"),
        (5, "  - {name: B1, x_mm: 100, pitch_mm: 0}", "bolts[0].pitch_mm", "more than 0"),
        (5, "  - {name: B1, x_mm: 100, pitch_mm: true}", "bolts[0].pitch_mm", "a number"),
        (5, "  - {name: B1, x_mm: 100, pitch_mm: '1,5'}", "bolts[0].pitch_mm", "a number"),
        (5, "  - {name: 1, x_mm: 100, pitch_mm: 1.5}", "bolts[0].name", "text"),
        (5, '  - {name: "B\\e[2J", x_mm: 100, pitch_mm: 1.5}', "bolts[0].name", "without control"),
        (5, "  - {name: B1, x_mm: -50, pitch_mm: 1.5}", "bolts[0].x_mm", "on the rail"),
        (5, "  - {name: B2, x_mm: 100, pitch_mm: 1.5}", "bolts[1].name", "a name of its own"),
        (5, "  - {name: B1, x_mm: 1900, pitch_mm: 1.5}", "bolts", "two or more places"),
        (5, "  - {name: B1, x_mm: 100, pitch_mm: 1.5, counter_pitch_mm: 1.5}",
         "bolts[0].counter_pitch_mm", "two different"),
        (5, "  - B1", "bolts[0]", "keys and values"),
        (7, "table: {from_mm: 500, to_mm: 1500, insert_mm: [400, 600]}", "table.insert_mm", "inside the table"),
        (7, "table: {from_mm: 500, to_mm: 1500, insert_mm: [700, 600]}", "table.insert_mm", "smaller number first"),
        (7, "table: {from_mm: 500, to_mm: 1500, insert_mm: [[600, 800], [700, 900]]}", "table.insert_mm", "apart"),
        (7, "table: {from_mm: 500, to_mm: 1500, map: [{y_mm: 0, points: [[600, 0, 0], [500, 0, 0]]}]}",
         "table.map[0].points", "order"),
        (7, "table: {from_mm: 500, to_mm: 1500, map: [{y_mm: 0, points: [[600, 0, 0], [3000, 0, 0]]}]}",
         "table.map[0].points", "on the table"),
    ],
)  # fmt: skip
def test_each_thing_that_cannot_be_is_refused_at_its_line(line, text, key, word):
    fault = one_fault(with_line(line, text))
    assert fault.key == key
    assert word in fault.allowed
    assert fault.line in (line, 4, line + 1)


@pytest.mark.parametrize(
    ("text", "key", "word"),
    [
        ("{a: {kind: fixed}}", "set_ups.a", "x_mm"),
        ("{a: {kind: carried}}", "set_ups.a", "offset_mm"),
        ("{a: {kind: level}}", "set_ups.a", "axis"),
        ("{a: {kind: level, axis: yaw}}", "set_ups.a.axis", "'pitch' or 'roll'"),
        ("{a: {kind: level, axis: roll, on_table_mm_per_m: 0.1}}", "set_ups.a.on_table_mm_per_m", "axis pitch"),
        ("{a: {kind: fixed, x_mm: 900, on_table_mm_per_m: 0.1}}", "set_ups.a.on_table_mm_per_m", "kind it belongs"),
        ("{a: {kind: floating}}", "set_ups.a.kind", "'fixed', 'carried' or 'level'"),
        ("{a: {kind: fixed, x_mm: 5000}}", "set_ups.a.x_mm", "-100 to 2100"),
        ("{a: {kind: carried, offset_mm: 9000}}", "set_ups.a.offset_mm", "over the table"),
        ("{a: {kind: fixed, x_mm: 900, offset_mm: 3}}", "set_ups.a.offset_mm", "only with"),
        ("{a: {kind: fixed, x_mm: 900}, A: {kind: fixed, x_mm: 900}}", "set_ups.A", "name of its own"),
        ("{a: {kind: fixed, x_mm: 900, encoder: {counts_per_mm: 0}}}", "set_ups.a.encoder.counts_per_mm", "not zero"),
    ],
)
def test_a_set_up_that_sees_nothing_or_lacks_its_key_is_refused(text, key, word):
    fault = one_fault(SMALL + f"set_ups: {text}\n")
    assert (fault.line, fault.key) == (8, key)
    assert word in fault.allowed


def test_no_bolts_at_all_is_a_fault_and_so_is_a_file_that_is_something_else():
    text = SMALL[: SMALL.index("bolts:")] + "bolts: []\n" + SMALL[SMALL.index("table:") :]
    assert one_fault(text).allowed == "at least 1 entries"
    assert one_fault("just a sentence").key == "(file)"
    assert one_fault("").found == "nothing"
    assert one_fault("- a\n- b\n").key == "(file)"


def test_a_place_where_the_carriage_never_comes_is_refused():
    fault = one_fault(SMALL + "places: [{name: blade, x_mm: 5000}]\n")
    assert (fault.key, fault.allowed) == ("places[0].x_mm", "-100 to 2100")


def test_a_fault_in_one_part_does_not_hide_those_of_another_part_or_of_the_same_bolt():
    found = faults(with_line(5, "  - {name: B1, x_mm: 9000, pitch_mm: -1, raises: left}"))
    assert {fault.key for fault in found} == {"bolts[0].x_mm", "bolts[0].pitch_mm", "bolts[0].raises"}


# --- doubts ----------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("line", "text", "word"),
    [
        (2, "rail: {from_mm: 0, to_mm: 2000, I_mm4: 52}", "1 cm4 is 10 000 mm4"),
        (2, "rail: {from_mm: 150, to_mm: 2000}", "hangs 50 mm beyond"),
        (3, "carriage: {bearing_span_mm: 400, bearing_offsets_mm: [-9, 9], top_length_mm: 8, stroke_mm: [300, 1700]}",
         "18 mm apart"),
        (3, "carriage: {bearing_span_mm: 400, top_length_mm: 800, stroke_mm: [300, 1700], edge_y_mm: -150}", "sign"),
        (5, "  - {name: B1, x_mm: 100, pitch_mm: 16}", "Threads per inch"),
        (4, "bolts:\n  - {name: B0, x_mm: 1900, pitch_mm: 1.5}", "a pair differs in y_mm"),
    ],
)  # fmt: skip
def test_what_only_looks_doubtful_is_accepted_and_said_with_its_line(line, text, word):
    text = with_line(line, text)
    if "from_mm: 150" in text:
        text = text.replace("x_mm: 100,", "x_mm: 200,")
    (warning,) = machine(text).warnings
    assert word in warning
    assert "line" in warning


def test_a_stand_off_the_table_is_doubtful_not_impossible():
    (warning,) = machine(SMALL + "set_ups: {a: {kind: fixed, x_mm: 400}}\n").warnings
    assert "off the table" in warning


def test_a_bearing_a_tape_measure_s_error_beyond_the_rail_is_no_matter():
    assert machine(with_line(2, "rail: {from_mm: 80, to_mm: 1920}")).warnings == ()


def test_a_cage_moves_half_as_far_so_its_rail_may_be_shorter_than_the_stroke():
    carriage = "carriage: {{bearing_span_mm: 400, top_length_mm: 1800, stroke_mm: [-300, 2300], cage: {}}}"
    assert machine(with_line(3, carriage.format("true"))).warnings == ()
    assert one_fault(with_line(3, carriage.format("false")).replace("[-300, 2300]", "[-300, 1700]"))


# --- hostile ---------------------------------------------------------------------------------------------------------

KEYS = st.sampled_from(
    ["name", "rail", "carriage", "bolts", "table", "set_ups", "band", "places", "x_mm", "kind", "map"]
)
VALUES = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=8) | KEYS,
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(KEYS, inner, max_size=3),
    max_leaves=12,
)


@given(st.dictionaries(KEYS, VALUES, max_size=6))
def test_any_structure_gives_a_machine_or_a_bad_file_with_printable_faults(structure):
    import yaml

    try:
        machine(yaml.safe_dump(structure, allow_unicode=True))
    except BadFile as error:
        assert error.faults
        assert all(str(fault).isprintable() for fault in error.faults)


@given(st.floats(-1e4, 1e4), st.floats(-1e4, 1e4))
def test_a_bolt_is_accepted_exactly_where_there_is_rail(x_mm, to_mm):
    text = with_line(5, f"  - {{name: B1, x_mm: {x_mm!r}, pitch_mm: 1.5}}")
    inside = 0 <= x_mm <= 2000 and x_mm != 1900
    if inside:
        assert math.isclose(machine(text).bolts[0].x_mm, x_mm)
    else:
        assert faults(text)


def test_the_shipped_machines_load_without_a_warning():
    folder = Path(__file__).parents[2] / "hardware" / "machines"
    machines = {path.stem: load_machine(path) for path in folder.glob("*.yaml")}
    assert {"kiln-street", "kiln-street-pairs", "kiln-street-mixed", "new-machine"} <= set(machines)
    assert all(saw.warnings == () for saw in machines.values())
    assert [bolt.name for bolt in machines["kiln-street"].bolts] == ["B1", "B2", "B3", "B4", "B5", "B6"]
