"""The report says what the record says, in one file, whatever a user has written into it."""

import json
import re
import shutil
import subprocess

import html5lib
import pytest

from logger.checks.words import value_words
from logger.job import Job
from logger.report.facts import as_json, gather
from logger.report.page import page
from logger.wording import amount
from tests.logger.report.conftest import EXAMPLE, HOSTILE, NOW
from tests.logger.report.test_rail_drawing import points, scales

CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser") or shutil.which("google-chrome")
PAPER = {"A4": (595, 842), "letter": (612, 792)}


def parsed(text):
    """The page as a tree; the parser is the standard's own algorithm and refuses what is no HTML."""
    return html5lib.HTMLParser(strict=True, namespaceHTMLElements=False).parse(text)


def text_of(element):
    return " ".join("".join(element.itertext()).split())


def cells(tree, table):
    (found,) = [each for each in tree.iter("table") if each.get("id") == table]
    return [[text_of(cell) for cell in row if cell.tag in ("td", "th")] for row in found.iter("tr")]


@pytest.fixture(scope="module")
def html(facts):
    return page(facts)


def test_the_page_is_html_by_the_standard(html):
    assert parsed(html).find("head/title").text == "Kiln Street panel saw: alignment report"


def test_the_sheet_is_html_by_the_standard(facts):
    assert parsed(page(facts, sheet=True)).find("head/title") is not None


def test_the_page_asks_for_nothing_from_outside(html):
    outside = re.findall(r"""(?:src|href|action|data)\s*=\s*["'](?!#)|url\((?!#)|@import|https?:""", html)
    assert outside == []
    assert "default-src 'none'" in html
    assert "<script" not in html


def test_the_figures_are_those_of_json(html, facts):
    tree, said = parsed(html), as_json(facts)
    told = [each for each in tree.iter("table") if each.get("class") == "found"]
    every = [(r["round"], s) for r in said["rounds"] for s in r["spots"]]
    assert len(told) == len(every) == 3
    for table, (number, spots) in zip(told, every, strict=True):
        assert (table.get("data-round"), table.get("data-set-up")) == (str(number), spots["set_up"])
        shown = {cell.get("class"): text_of(cell) for cell in table.iter("td")}
        width, u = spots["peak_to_valley_mm"], spots["peak_to_valley_uncertainty_mm"]
        assert shown["n peak-to-valley"] == amount(width, u, sign=False)
        assert shown["n mean"] == amount(spots["mean_mm"], spots["mean_uncertainty_mm"])
        for spot in spots["spots"]:
            assert amount(spot["height_mm"], spot["uncertainty_mm"]) in text_of(table)


def test_the_pictures_profile_is_that_of_json(html, facts):
    """Read off the picture's own ticks, as in the tests of the drawing."""
    pictures = [each for each in parsed(html).iter() if str(each.tag).endswith("svg")]
    every = [s for r in as_json(facts)["rounds"] for s in r["spots"]]
    rails = [each for each in pictures if any(e.get("class") == "rail" for e in each.iter())]
    assert len(rails) == len(every)
    for picture, spots in zip(rails, every, strict=True):
        to_x, to_height = scales(picture)
        drawn = [p for e in picture.iter() if e.get("class") == "profile" for p in points(e).tolist()]
        assert [to_x(x) for x, _ in drawn] == pytest.approx(spots["profile"]["x_mm"], abs=0.2)
        inside = [y for _, y in drawn]
        heights = spots["profile"]["height_mm"]
        # what leaves the drawing is cut at its edge: those points are compared with the edge
        low, high = to_height(max(inside)), to_height(min(inside))
        held = [min(max(height, low), high) for height in heights]
        assert [to_height(y) for y in inside] == pytest.approx(held, abs=6e-4)  # the labels have three decimals


def test_every_check_is_told_before_and_after_with_what_is_allowed_and_its_origin(html, facts):
    tree = parsed(html)
    rows = {row[0]: row for row in cells(tree, "summary")}
    told = next(each for each in facts.checks if each.check.name == "flange")
    expected = [value_words(t.value, t.uncertainty, told.row.allowed, "mm") for t in told.taken]
    assert rows["Run-out of the arbor's flange"][1:3] == expected == ["0.048 ±0.006 mm", "0.012 ±0.006 mm"]
    assert len(rows) == len(facts.board.rows) + 1
    everything = text_of(tree)
    for row in facts.board.rows:
        if row.check.asks:
            assert row.allowed.origin in everything
    assert "ISO 14253-1" in everything


def test_what_was_turned_when_by_whom_and_how_far(html, facts):
    section = html[html.index('id="turned"') :]
    for row in facts.turned:
        for move in row.moves:
            assert amount(move.raise_mm, move.uncertainty_mm) in section
    assert "root" in section


def test_what_remains_is_the_advice_of_bolts_with_its_cautions_first(tmp_path):
    """The example as it was found: its first sweep only, outside."""
    from logger.advice import advise

    shutil.copytree(EXAMPLE, tmp_path / "job")
    journal = tmp_path / "job" / "journal.jsonl"
    journal.write_text(journal.read_text(encoding="utf-8").splitlines()[0] + "\n", encoding="utf-8")
    job = Job.open(tmp_path / "job")
    tree = parsed(page(gather(job, now=NOW)))
    plan = advise(job)
    rows = cells(tree, "moves")[1:]
    assert [row[1] for row in rows] == [move.bolt for move in plan.moves]
    for row, move in zip(rows, plan.moves, strict=True):
        assert row[2].endswith(amount(abs(move.raise_mm), None, "mm", sign=False))
        assert row[6] == amount(move.reading_target, move.uncertainty, move.unit)
    (section,) = [each for each in tree.iter("section") if each.get("id") == "remains"]
    assert text_of(section).index("isolate and lock out") < text_of(section).index(plan.moves[0].turn)


def test_an_inside_machine_has_nothing_to_turn_and_says_so(html):
    assert "Nothing to turn: what was swept last is inside." in html


def test_what_was_not_done_is_named(html, facts):
    for expected in ("Not measured: ", "; Twist of the table; ", "Nobody has checked that"):
        assert any(expected in said for said in facts.not_done)
    listed = parsed(html)
    (section,) = [each for each in listed.iter("section") if each.get("id") == "not-done"]
    assert len(list(section.iter("li"))) == len(facts.not_done)


def test_surroundings_instruments_version_and_cautions_are_told(html):
    trial = "across: repeatability 2.1 µm, hysteresis 3.0 µm, least standard uncertainty 2.4 µm"
    for expected in (trial, "14.5 °C", "cold morning", "Instruments and their check", "truestroke 0.", "lock out"):
        assert expected in html


def test_in_inches_the_same_figures_are_thou(facts):
    said = page(facts, "in")
    width = facts.states[0].findings[0].extremes
    for table in [each for each in parsed(said).iter() if each.get("class") in ("found", "keep")]:
        assert not re.search(r"\d mm\b", text_of(table))
    assert amount(width.peak_to_valley, width.peak_to_valley_uncertainty, "mm", "in", sign=False) in said


@pytest.fixture
def hostile(tmp_path):
    """A job whose owner has written markup, escape codes and a formula wherever a text is allowed."""
    shutil.copytree(EXAMPLE, tmp_path / "job")
    path = tmp_path / "job" / "machine.yaml"
    text = path.read_text(encoding="utf-8")
    name = json.dumps(HOSTILE.replace("\x1b", "").replace("\u202e", ""))
    text = re.sub(r"(?m)^name:.*$", lambda _: f"name: {name}", text)
    text += f"\nnotes: {json.dumps(HOSTILE)}\n"
    path.write_text(text, encoding="utf-8")
    job = Job.open(tmp_path / "job")
    job.append("note", text=HOSTILE, temperature_C="hot")
    job.append("taken", check="flange", value=0.1, uncertainty=0.1, verdict="outside", reason=HOSTILE, typed=[HOSTILE])
    job.append("direction check", set_up=HOSTILE, instrument=HOSTILE, moved_as_said=True)
    return job


@pytest.mark.parametrize("sheet", [False, True])
def test_whatever_a_user_has_written_stays_text(hostile, sheet):
    said = page(gather(hostile, now=NOW), sheet=sheet)
    tree = parsed(said)
    assert not list(tree.iter("script"))
    assert not list(tree.iter("b"))
    assert "\x1b" not in said
    assert "\u202e" not in said
    assert "<script>alert(1)</script>" in text_of(tree)


def test_a_report_before_anything_was_measured_says_so(tmp_path):
    facts = gather(Job.create(tmp_path / "new"), now=NOW)
    assert not facts.measured
    tree = parsed(page(facts))
    assert "Nothing has been measured yet" in text_of(tree)
    assert "Nothing has been measured yet" in text_of(parsed(page(facts, sheet=True)))
    assert as_json(facts)["measured"] is False


@pytest.fixture
def some_checks(tmp_path):
    """Nothing swept: the fence measured, a strut moved, the scoring blade left out."""
    job = Job.create(tmp_path / "job")
    figures = {"unit": "mm/m", "verdict": "outside", "reason": "Out of square.", "direction_checked": False}
    moves = [{"where": "stop screw", "move_mm": 0.31, "way": "in", "uncertainty_mm": 0.04, "turns": 0.21}]
    typed = ["cuts=four", "side=900"]
    job.append("taken", check="fence", value=0.4, uncertainty=0.05, typed=typed, corrections=moves, **figures)
    job.append("taken", check="sag", adjusted=True)
    job.append("taken", check="scoring", skipped=True)
    return gather(job, now=NOW)


def test_each_measured_check_has_its_drawing_its_readings_its_correction_and_what_the_work_would_show(some_checks):
    tree = parsed(page(some_checks))
    (section,) = [each for each in tree.iter("section") if each.get("id") == "checks"]
    said = text_of(section)
    drawn = [each for each in section.iter("div") if each.get("class") == "drawing"]
    assert [any(str(part.tag).endswith("svg") for part in each.iter()) for each in drawn] == [True, True]
    assert "cuts=four side=900" in said
    assert "Nobody had checked that the number moves as it should." in said
    assert said.index("lock out") < said.index("To be moved"), "cautions stand before what is to be moved"
    assert "To be moved: stop screw: 0.31 ±0.04 mm in, 0.21 turn of its screw" in said
    # A corner out of square by so much misses by error times length: plain geometry.
    (work,) = as_json(some_checks)["work"]
    panel = some_checks.job.machine.work.panel_mm
    assert work["size_mm"] == pytest.approx(0.4 * panel / 1000.0)
    assert f"The work would show {amount(0.4 * panel / 1000, 0.05 * panel / 1000, sign=False)}: out of square" in said


def test_what_was_left_out_and_what_wants_looking_at_again_are_told(some_checks):
    tree = parsed(page(some_checks))
    rows = {row[0]: row for row in cells(tree, "summary")}
    assert any(row[-1] == "· left out" for title, row in rows.items() if "coring" in title)
    assert any(said.startswith("Left out on purpose: ") for said in some_checks.not_done)
    assert not any("coring" in said for said in some_checks.not_done if said.startswith("Not measured"))
    assert "it gives way again after it was pushed; measure it from" in text_of(tree)


def test_a_broken_journal_line_and_one_of_a_newer_version_are_told_not_hidden(tmp_path):
    shutil.copytree(EXAMPLE, tmp_path / "job")
    with (tmp_path / "job" / "journal.jsonl").open("ab") as file:
        file.write(b'{"v": 1, "id"\n{"v": 99, "id": "x", "time": "t", "who": "w", "kind": "note", "data": {}}\n')
    said = text_of(parsed(page(gather(Job.open(tmp_path / "job"), now=NOW))))
    assert "journal.jsonl line 5 is not a JSON object" in said
    assert "written by a newer truestroke (version 99" in said


def test_a_sweep_that_is_gone_and_one_that_was_never_counted_are_told(tmp_path):
    shutil.copytree(EXAMPLE, tmp_path / "job")
    sweeps = tmp_path / "job" / "sweeps"
    shutil.copytree(sweeps / "0003-across", sweeps / "0004-across")
    shutil.rmtree(sweeps / "0002-along")
    facts = gather(Job.open(tmp_path / "job"), now=NOW)
    assert any("0002-along is in the journal but not on the disk" in said for said in facts.not_done)
    assert any("not counted as a sweep" in said and "0004-across" in said for said in facts.not_done)


@pytest.fixture(scope="module")
def everything_measured(tmp_path_factory):
    """Every check taken: the longest table a sheet can have."""
    from logger.checks.table import CHECKS

    folder = tmp_path_factory.mktemp("whole") / "job"
    shutil.copytree(EXAMPLE, folder)
    job = Job.open(folder)
    for check in CHECKS:
        figures = {"value": 0.123, "uncertainty": 0.045, "verdict": "outside", "reason": "It is outside. " * 9}
        job.append("taken", check=check.name, unit=check.allowed.unit, **figures)
    return gather(job, now=NOW)


@pytest.mark.skipif(CHROMIUM is None, reason="chromium is not installed: how the page prints was not tried")
@pytest.mark.parametrize("paper", PAPER)
def test_the_report_prints_on_both_papers_and_the_sheet_on_one_page(facts, everything_measured, tmp_path, paper):
    sizes = {}
    for name in ("report", "sheet", "longest"):
        said = page(everything_measured if name == "longest" else facts, sheet=name != "report")
        file = tmp_path / f"{name}.html"
        file.write_text(said.replace("@page {", f"@page {{ size: {paper};", 1), encoding="utf-8")
        made = tmp_path / f"{name}.pdf"
        subprocess.run(
            [
                *(str(CHROMIUM), "--headless", "--no-sandbox", "--disable-gpu", "--no-pdf-header-footer"),
                *(f"--user-data-dir={tmp_path / 'profile'}", f"--print-to-pdf={made}", file.as_uri()),
            ],
            check=True,
            capture_output=True,
            timeout=120,
        )
        data = made.read_bytes()
        sizes[name] = len(re.findall(rb"/Type\s*/Page\b", data))
        width, height = (float(n) for n in re.findall(rb"/MediaBox\s*\[\s*0 0 ([\d.]+) ([\d.]+)", data)[0])
        assert (width, height) == pytest.approx(PAPER[paper], abs=2)
    assert sizes["sheet"] == 1
    assert sizes["longest"] == 1
    assert 4 <= sizes["report"] <= 12
