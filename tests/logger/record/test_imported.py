"""Tables from elsewhere: every habit of writing them, and what is refused with its line."""

import csv
import io
import json
import math
import shutil
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from logger.errors import BadFile, NotAllowed
from logger.findings import find
from logger.job import Job
from logger.record import imported_table
from logger.record.imported import ORIGINAL, plan_of, write
from logger.record.imported_table import columns_of, read_table
from logger.recording import open_recording, verify
from tests.logger.shell import MACHINE, Shell

PLAIN = ["position=x", "value=h"]


def height(x_mm):
    return 0.1 + 0.03 * math.sin(x_mm / 300.0)


@pytest.fixture
def job(tmp_path):
    (tmp_path / "machine.yaml").write_text(MACHINE, encoding="utf-8")
    return Job.open(tmp_path)


def read(tmp_path, data, columns=PLAIN, **more):
    path = tmp_path / "table.csv"
    path.write_bytes(data if isinstance(data, bytes) else data.encode("utf-8"))
    return read_table(path, columns_of(columns), **more)


# -- how tables are written --------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("data", "columns"),
    [
        ("x,h\n0,0.1\n500,0.12\n900,-0.05\n", PLAIN),
        ("x;h\r\n0;0,1\r\n500;0,12\r\n900;-0,05\r\n", PLAIN),
        ("x\th\n0\t0,1\n500\t0,12\n900\t-0,05\n", PLAIN),
        ("\ufeffx|h\n0|0.1\n500|0.12\n900|-0.05\n", PLAIN),
        ("Weg cm;Hub um\n0;100\n50;120\n90;-50\n", ["position=Weg cm:cm", "value=Hub um:um"]),
        ("made by hand\non a Monday\n\nx,h,who\n0,0.1,a\n500,0.12,b\n900,-0.05,c\n", PLAIN),
        ('"x","h"\n"0","0,1"\n"500","0,12"\n"900","-0,05"\n', PLAIN),
        ("0,9,0.1\n500,9,0.12\n900,9,-0.05\n", ["position=1", "value=3"]),
        ("x,h\n0,0.1\n500,+1.2e-1\n900,−0.05\n", PLAIN),
        ("x;h\n0;0,1\n500;0,12\n900;-0,05\n\n\n", ["position=X:mm", "value=H:mm"]),
    ],
)
def test_the_same_three_readings_in_every_habit(tmp_path, data, columns):
    table = read(tmp_path, data, columns)
    assert table.position_mm == pytest.approx((0.0, 500.0, 900.0))
    assert table.value == pytest.approx((0.1, 0.12, -0.05))
    assert table.unit == "mm"


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "cp1252"])
def test_every_usual_encoding(tmp_path, encoding):
    table = read(
        tmp_path, "Länge;Höhe µm\n0;100\n500;120\n900;90\n".encode(encoding), ["position=Länge", "value=Höhe µm:µm"]
    )
    assert table.value == pytest.approx((0.1, 0.12, 0.09))


def test_inches_and_thou_become_millimetres(tmp_path):
    table = read(tmp_path, "x,h\n0,4\n10,5\n20,6\n", ["position=x:in", "value=h:thou"])
    assert table.position_mm == pytest.approx((0.0, 254.0, 508.0))
    assert table.value == pytest.approx((0.1016, 0.127, 0.1524))


def test_a_levels_arc_seconds_become_millimetres_a_metre(tmp_path):
    table = read(tmp_path, "x,h\n0,0\n10,10\n20,206.265\n", ["position=x", "value=h:arcsec"])
    assert table.unit == "mm/m"
    assert table.value[2] == pytest.approx(1.0, abs=1e-5)  # 206 265 arc seconds are one radian


def test_blanks_and_words_for_nothing_are_gaps_not_zeros(tmp_path):
    table = read(tmp_path, "x,h\n0,0.1\n100,\n200,ERR\n300,--\n400,nan\n500,0.2\n600,0.3\n")
    assert table.value == (0.1, None, None, None, None, 0.2, 0.3)


def test_the_step_is_the_last_digit_written(tmp_path):
    assert read(tmp_path, "x,h\n0,0.1\n1,0.125\n2,0.3\n").step == pytest.approx(0.001)
    assert read(tmp_path, "x,h\n0,4\n1,5.5\n2,6\n", ["position=x", "value=h:thou"]).step == pytest.approx(0.00254)


def test_a_thousands_comma_is_asked_about_and_both_answers_work(tmp_path):
    data = "x;h\n0;1,250\n500;1,300\n900;1,200\n"
    with pytest.raises(NotAllowed, match="may be a thousand and more"):
        read(tmp_path, data)
    assert read(tmp_path, data, decimal=",").value == pytest.approx((1.25, 1.3, 1.2))
    with pytest.raises(BadFile, match="3 of 3 rows cannot be read"):
        read(tmp_path, data, decimal=".")  # 1250 mm is no height


def test_dots_by_thousands_go_with_decimal_commas(tmp_path):
    assert read(tmp_path, "x;h\n1.000,5;0,1\n2.000,5;0,2\n2.100;0,3\n").position_mm == pytest.approx(
        (1000.5, 2000.5, 2100.0)
    )


# -- what is refused ---------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("columns", "said"),
    [
        (["position=x"], "does not name the value"),
        (["hight=x", "value=h"], "is not understood"),
        (["position=x", "value=h", "value=g"], "names the value twice"),
        (["position=x:furlong", "value=h"], "the unit 'furlong' is not known"),
        (["position=x", "value=h:s"], "the unit 's' is not known"),
        (["position="], "is not understood"),
        (["value"], "is not understood"),
    ],
)
def test_columns_that_cannot_be_are_refused_with_what_can(columns, said):
    with pytest.raises(NotAllowed, match=said):
        columns_of(columns)


def test_a_heading_may_hold_a_colon_and_an_equals_sign():
    assert columns_of(["position=a:b=c:cm", "value=2: h"])["position"].name == "a:b=c"
    assert columns_of(["position=x", "value=t:12"])["value"].name == "t:12"


@pytest.mark.parametrize(
    ("data", "said"),
    [
        (b"", "is empty"),
        (b"x,h\n", "0 hold a value"),
        (b"x,h\n0,1\n", "1 hold a value"),
        (b"\x00\x01\x02", "zero bytes"),
        (b"a,b\n0,1\n", "has no column 'x'"),
        (b"x,h\n" + b"abc,0.1\n" * 9, "9 of 9 rows cannot be read"),
        (b"x,h\n" + b"1,900\n" * 9, "9 of 9 rows cannot be read"),
        (b"x,h\n" + b"1," + b"9" * 400 + b"\n" + b"1,1e999\n" * 8, "cannot be read"),
        (b'x,h\n"0,1\n' + b"1,2\n" * 9, "1 of 1 row cannot be read"),
        (b"x,h\n1" + b"," * 5000 + b"\n", "5001 cells; 1000 are allowed"),
        (b"x,h\n" + b"\xff\xfe\x80,\x81\n" * 5, "cannot be read"),
    ],
)
def test_what_is_no_table_is_refused_in_a_sentence(tmp_path, data, said):
    with pytest.raises(NotAllowed, match=said):
        read(tmp_path, data)


def test_faulty_lines_are_named(tmp_path):
    with pytest.raises(BadFile) as refused:
        read(tmp_path, "x,h\n0,0.1\n100,0.1\nhere,0.1\n200,high\n300,0.1\n")
    assert [(fault.line, fault.key, fault.found) for fault in refused.value.faults] == [
        (4, "x", "'here'"),
        (5, "h", "'high'"),
    ]


def test_a_few_faulty_lines_are_left_out_and_said(tmp_path):
    rows = "".join(f"{x},0.1\n" for x in range(0, 2000, 50))
    table = read(tmp_path, "x,h\n" + rows + "oops,0.1\n")
    assert len(table.value) == 40
    assert "1 row could not be read and were left out; the first is line 42" in table.notes[0]


def test_a_file_that_is_too_large_is_refused(tmp_path, monkeypatch):
    monkeypatch.setattr(imported_table, "LARGEST_BYTES", 1000)
    with pytest.raises(BadFile, match="larger than"):
        read(tmp_path, "x,h\n" + "0,0.1\n" * 1000)
    monkeypatch.setattr(imported_table, "LARGEST_BYTES", 10**6)
    monkeypatch.setattr(imported_table, "MOST_ROWS", 100)
    with pytest.raises(BadFile, match="more than 100 rows"):
        read(tmp_path, "x,h\n" + "0,0.1\n" * 1000)


def test_times_that_run_back_are_named(tmp_path):
    with pytest.raises(BadFile) as refused:
        read(tmp_path, "t,x,h\n0,0,0.1\n2,1,0.1\n1,2,0.1\n1,3,0.1\n", [*PLAIN, "time=t"])
    assert refused.value.faults[0].allowed == "later than the row before"


@given(st.binary(max_size=400))
def test_any_bytes_are_a_table_or_a_refusal(tmp_path_factory, data):
    folder = tmp_path_factory.mktemp("any")
    try:
        read(folder, data)
    except NotAllowed as refused:
        assert str(refused)


@given(
    st.lists(st.tuples(st.integers(0, 2600), st.integers(-500, 500)), min_size=3, max_size=20),
    st.sampled_from([(",", "."), (";", ","), ("\t", ","), ("|", ".")]),
)
def test_what_was_written_is_what_is_read(tmp_path_factory, rows, habit):
    separator, decimal = habit
    out = io.StringIO()
    writer = csv.writer(out, delimiter=separator)
    writer.writerow(["x", "h"])
    for x, thousandths in rows:
        writer.writerow([str(x), f"{thousandths / 1000:.4f}".replace(".", decimal)])
    table = read(tmp_path_factory.mktemp("rows"), out.getvalue())
    assert table.position_mm == pytest.approx([x for x, _ in rows])
    assert table.value == pytest.approx([h / 1000 for _, h in rows])


# -- as a recording ----------------------------------------------------------------------------------------------------


def imported(job, tmp_path, rows, columns, set_up="across", **more):
    source = tmp_path / "old log.csv"
    source.write_text(rows, encoding="utf-8")
    named = columns_of(columns)
    plan = plan_of(job, set_up, read_table(source, named), source.name, **more)
    folder, _ = write(job, set_up, plan, source, named)
    return plan, folder, source


def test_a_track_with_times_is_judged_as_if_it_had_been_recorded_here(job, tmp_path):
    there = np.linspace(0.0, 2600.0, 400)
    x = np.concatenate([there, there[::-1]])
    rows = "t,x,h\n" + "".join(
        f"{k / 40:.3f},{p:.1f},{height(p):.4f}\n" for k, p in enumerate(x) if abs(p - 1100) < 590
    )
    plan, folder, source = imported(job, tmp_path, rows, [*PLAIN, "time=t"])
    recording = open_recording(folder)
    found = find([recording])
    assert plan.passes == 2
    assert found.position_source == "encoder"
    inner = (found.profile.x_mm > 560) & (found.profile.x_mm < 1640)
    expected = np.array([height(p) for p in found.profile.x_mm])
    assert found.profile.value[inner] == pytest.approx(expected[inner], abs=0.002)
    assert verify(folder) == []
    kept = json.loads((folder / "datapackage.json").read_text(encoding="utf-8"))["truestroke"]["extra"]["imported"]
    assert kept["file"] == "old log.csv"
    assert (folder / f"{ORIGINAL}.csv").read_bytes() == source.read_bytes()


def test_stations_without_times_are_readings_at_rest_and_no_times_are_made_up(job, tmp_path):
    stations = list(range(600, 1700, 100))
    rows = "x;h\n" + "".join(f"{x};{height(x):.4f}\n".replace(".", ",") for x in [*stations, *stations[::-1]])
    plan, folder, _ = imported(job, tmp_path, rows, PLAIN)
    assert plan.passes == 2
    assert plan.stations_mm == tuple(map(float, stations))
    assert any("none were made up" in note for note in plan.notes)
    found = find([open_recording(folder)])
    expected = np.array([height(p) for p in found.profile.x_mm])
    assert found.profile.value == pytest.approx(expected, abs=0.004)


def test_heights_are_turned_back_into_what_the_display_showed(job, tmp_path):
    """A carried indicator shows the other sign: a height of +0.1 is a reading of -0.1."""
    stations = [500, 550, 600, 650, 700]
    rows = "x,h\n" + "".join(f"{x},0.1\n" for x in stations)
    _, folder, _ = imported(job, tmp_path, rows, PLAIN, set_up="along", heights=True)
    assert open_recording(folder).value == pytest.approx(np.full(5, -0.1))


def test_a_level_needs_its_stations_and_its_unit(job, tmp_path):
    stations = list(range(0, 2601, 200))
    rows = "x,h\n" + "".join(f"{x},{0.02 * math.cos(x / 400):.3f}\n" for x in [*stations, *stations[::-1]])
    _, folder, _ = imported(job, tmp_path, rows, ["position=x", "value=h:mm/m"], set_up="pitch")
    assert find([open_recording(folder)]).profile.quantity == "pitch"
    with pytest.raises(NotAllowed, match="wants a level"):
        imported(job, tmp_path, rows, PLAIN, set_up="pitch")
    with pytest.raises(NotAllowed, match="read at rest"):
        uneven = "x,h\n" + "".join(f"{x * 7 % 2600},0.1\n" for x in range(0, 2600, 10))
        imported(job, tmp_path, uneven, ["position=x", "value=h:mm/m"], set_up="pitch")


def test_positions_outside_the_stroke_are_refused_before_anything_is_made(job, tmp_path):
    with pytest.raises(BadFile, match=r"A position of 13000 mm is outside the stroke \(0 to 2600 mm\)"):
        imported(job, tmp_path, "x,h\n0,0.1\n1300,0.1\n2600,0.1\n", ["position=x:cm", "value=h"])
    assert not (tmp_path / "sweeps").exists()


def test_a_file_name_with_anything_in_it_makes_no_trouble(job, tmp_path):
    source = tmp_path / "a: {b} #'\"<c>\u202e.csv"
    source.write_text("x,h\n600,0.1\n700,0.1\n800,0.1\n", encoding="utf-8")
    named = columns_of(PLAIN)
    plan = plan_of(job, "across", read_table(source, named), source.name)
    folder, _ = write(job, "across", plan, source, named)
    assert len(open_recording(folder).value) == 3


# -- the command -------------------------------------------------------------------------------------------------------


def test_the_command_makes_a_sweep_that_spots_judges(tmp_path):
    shell = Shell(tmp_path)
    stations = range(600, 1700, 50)
    rows = "Pos [cm];Wert\n" + "".join(f"{x / 10:g};{height(x):.4f}\n".replace(".", ",") for x in stations)
    (tmp_path / "alt.csv").write_text(rows, encoding="utf-8-sig")
    said = shell.json("import", "alt.csv", "--columns", "position=Pos [cm]:cm", "value=Wert", "--set-up", "across")
    assert said["sweep"] == "0001-across"
    assert said["readings"] == 22
    judged = shell.json("spots")
    assert judged["peak_to_valley_mm"] == pytest.approx(np.ptp([height(x) for x in stations]), abs=0.006)
    assert shell("verify").returncode == 0


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (("no.csv", "--columns", *PLAIN), "cannot be read"),
        (("machine.yaml", "--columns", *PLAIN), "has no column 'x'"),
        (("machine.yaml", "--columns", *PLAIN, "--separator", "dot"), "--separator 'dot' is not known"),
        (("machine.yaml", "--columns", *PLAIN, "--decimal", "x"), "--decimal 'x' is not known"),
        (("machine.yaml", "--columns", *PLAIN, "--set-up", "acros"), "across"),
        (("machine.yaml",), "are required: --columns"),
    ],
)
def test_what_cannot_be_is_refused_and_nothing_is_made(tmp_path, arguments, said):
    shell = Shell(tmp_path)
    more = () if "--set-up" in arguments else ("--set-up", "across")
    done = shell("import", *arguments, *more)
    assert done.returncode == 2, done.stderr
    assert said in done.stderr
    assert "Traceback" not in done.stderr
    assert not (tmp_path / "sweeps").exists()


def test_the_examples_profile_survives_export_and_import(tmp_path):
    """What this program writes as a table it reads as a table: the profile comes out the same."""
    from logger.record.export import export

    example = Path(__file__).parents[3] / "fixtures" / "recordings"
    shutil.copytree(example, tmp_path / "job")
    job = Job.open(tmp_path / "job")
    before = find([open_recording(job.recordings()[0])])
    table = export(job.recordings()[0], tmp_path / "out.csv")
    rows = [line for line in table.read_text(encoding="utf-8").splitlines() if line.split(",")[1] != "mark"]
    (tmp_path / "rows.csv").write_text("\n".join(rows) + "\n", encoding="utf-8")
    named = columns_of(["position=position_mm", "value=value", "time=t_s"])
    plan = plan_of(job, "across", read_table(tmp_path / "rows.csv", named), "rows.csv")
    folder, _ = write(job, "across", plan, tmp_path / "rows.csv", named)
    after = find([open_recording(folder)])
    assert after.extremes.peak_to_valley == pytest.approx(before.extremes.peak_to_valley, abs=0.001)
