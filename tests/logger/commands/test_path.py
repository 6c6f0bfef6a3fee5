"""The whole path through the command line: bytes on a real socket to the bolt, each command a process of its own.

The profile is worked by hand: a hollow of 0.080 mm over the 1200 mm the stand sees (height 0.080 mm at 1100, 0.160 mm
at 500 and 1700 mm), so peak to valley, mean (0.080 + 0.080/3 = 0.1067 mm: the mean of a parabola is a third of its
rise), end-point and minimum-zone straightness (0.080 mm) are known without any of our own formulas.
"""

import csv
import re
from pathlib import Path

import pytest

from tests.logger.device import STATIONS, Device, sweep_lines
from tests.logger.shell import Shell


def hollow(s_mm):
    return 0.080 + 0.080 * ((s_mm - 1100.0) / 600.0) ** 2


def flat(s_mm):
    return 0.100 + 0.000004 * (s_mm - 1100.0)


@pytest.fixture(scope="module")
def swept(tmp_path_factory):
    """A job with one sweep of the hollow; the tests that use it change nothing."""
    shell = Shell(tmp_path_factory.mktemp("saw"))
    shell.sweep(sweep_lines(hollow))
    return shell


@pytest.fixture(scope="module")
def answer(tmp_path_factory):
    """What ``sweep --json`` said of the same hollow, in a job of its own."""
    return Shell(tmp_path_factory.mktemp("saw")).sweep(sweep_lines(hollow))


@pytest.fixture
def shell(tmp_path):
    return Shell(tmp_path)


# --- sweep -----------------------------------------------------------------------------------------------------------


def test_sweep_says_what_was_recorded(answer):
    values = sum(not line.startswith(b"ERR") for line in sweep_lines(hollow).splitlines())
    assert answer["sweep"] == "0001-across"
    assert answer["readings"] == values
    assert (answer["marks"], answer["garbage"], answer["passes"]) == (2 * len(STATIONS), 0, 2)
    assert answer["gaps"] == 3  # before the top comes over the stand, between the passes, after
    assert (answer["position_source"], answer["ended"]) == ("marks", "closed")


def test_every_byte_is_on_disk(swept):
    with (swept.folder / "sweeps" / "0001-across" / "wire.csv").open(newline="") as file:
        rows = [row for row in csv.DictReader(file) if row["channel"] == "in"]
    arrived = "".join(row["bytes"] for row in rows).encode().decode("unicode_escape").encode("latin-1")
    assert arrived == sweep_lines(hollow)


def test_without_a_person_nothing_is_asked_and_the_doubt_is_said(answer):
    assert any("counts the right way" in warning for warning in answer["warnings"])


# --- spots -----------------------------------------------------------------------------------------------------------


def test_spots_finds_the_hollow(swept):
    answer = swept.json("spots")
    assert answer["peak_to_valley_mm"] == pytest.approx(0.080, abs=0.003)
    assert answer["mean_mm"] == pytest.approx(0.080 + 0.080 / 3, abs=0.003)
    assert answer["straightness"]["minimum_zone_mm"] == pytest.approx(0.080, abs=0.003)
    assert answer["verdict"] == "outside"  # 0.050 mm is allowed
    low = [spot for spot in answer["spots"] if spot["kind"] == "low"]
    assert [spot["x_mm"] for spot in low] == [pytest.approx(1100, abs=40)]


def test_spots_has_the_keys_scripts_read(swept):
    answer = swept.json("spots")
    assert {"profile", "peak_to_valley_mm", "mean_mm", "straightness", "spots", "verdict"} <= set(answer)
    assert {"places", "not_seen", "warnings"} <= set(answer)
    assert {"x_mm", "height_mm", "uncertainty_mm"} <= set(answer["profile"])
    assert len({len(answer["profile"][key]) for key in ("x_mm", "height_mm", "uncertainty_mm")}) == 1
    assert {"reference", "STRt_mm", "STRp_mm", "STRv_mm", "STRq_mm", "minimum_zone_mm"} <= set(answer["straightness"])
    assert all({"kind", "x_mm", "height_mm", "uncertainty_mm"} <= set(spot) for spot in answer["spots"])
    keys = {"name", "verdict", "peak_to_valley_mm", "uncertainty_mm", "seen"}
    assert all(keys <= set(place) for place in answer["places"])


@pytest.mark.parametrize("name", ["1", "0001", "0001-across", "sweeps/0001-across"])
def test_a_sweep_is_named_by_number_name_or_path(swept, name):
    assert swept.json("spots", name)["sweeps"] == ["0001-across"]


def test_spots_in_words_and_in_inches(swept):
    said = swept("spots", "--units", "in").stdout
    assert "^ outside: 3.1" in said or "^ outside: 3.2" in said  # 0.080 mm = 3.15 thou
    assert "thou" in said
    assert said.isascii()


# --- bolts -----------------------------------------------------------------------------------------------------------


def test_bolts_has_the_keys_scripts_read(swept):
    answer = swept.json("bolts")
    assert {"round", "verdict", "reachable", "unseen_bolts", "moves", "predicted", "next"} <= set(answer)
    assert {"best_possible_peak_to_valley_mm", "places", "not_seen", "warnings"} <= set(answer)
    assert (answer["round"], answer["next"], answer["verdict"]) == (1, "turn", "outside")
    keys = {"order", "bolt", "raise_mm", "turns", "turn", "park_mm", "reading_now_mm", "reading_target_mm"}
    assert all({*keys, "uncertainty_mm"} <= set(move) for move in answer["moves"])
    assert {"peak_to_valley_mm", "mean_mm", "chance_inside"} <= set(answer["predicted"])
    assert answer["predicted"]["peak_to_valley_mm"] < 0.05


def test_the_display_now_is_the_hollow_where_the_carriage_is_parked(swept):
    first = swept.json("bolts")["moves"][0]
    assert first["reading_now_mm"] == pytest.approx(hollow(first["park_mm"]), abs=0.004)


def test_bolts_says_what_to_make_safe_before_the_first_move(swept):
    said = swept("bolts").stdout.lower()
    caution, move = said.index("isolate and lock out the power"), said.index("stop at")
    assert caution < move
    assert "never slack all supports at once" in said and "clamp the carriage" in said and "maker's manual" in said


def test_what_if_takes_several_moves_and_records_nothing(swept):
    before = (swept.folder / "journal.jsonl").read_bytes()
    answer = swept.json("bolts", "--if", "B2=-1/6turn", "B3=+0.05mm", "--if", "B4=+0.01mm")
    assert [move["bolt"] for move in answer["if"]] == ["B2", "B3", "B4"]
    assert [move["raise_mm"] for move in answer["if"]] == pytest.approx([-0.25, 0.05, 0.01])
    assert answer["predicted"]["peak_to_valley_mm"] > 0.08  # lowering a bolt beside the hollow cannot be good
    assert (swept.folder / "journal.jsonl").read_bytes() == before


# --- turned, and the state after it ----------------------------------------------------------------------------------


def test_a_round_from_sweep_to_sweep(shell):
    shell.sweep(sweep_lines(hollow))
    recorded = shell.json("turned", "B2=+0.12mm", "B4=-1/6turn", "B3@810:+0.036..+0.084mm")["recorded"]
    assert [each["bolt"] for each in recorded] == ["B2", "B4", "B3"]
    assert [each["raise_mm"] for each in recorded[:2]] == pytest.approx([0.12, -0.25])
    assert recorded[2]["raise_mm"] > 0  # the display rose, and B3 raises what it shows
    assert all(each["uncertainty_mm"] > 0 for each in recorded)

    stale = shell("spots")
    assert stale.returncode == 2
    assert "0001-across, is from before the last moves (B2, B4, B3)" in stale.stderr
    assert "truestroke spots 0001-across" in stale.stderr
    asked = shell.json("spots", "1")
    assert any("before the last moves" in warning for warning in asked["warnings"])
    assert shell.json("bolts")["next"] == "sweep"

    shell.sweep(sweep_lines(flat))
    assert shell.json("spots")["sweeps"] == ["0002-across"]
    answer = shell.json("bolts")
    assert (answer["round"], answer["verdict"]) == (2, "inside")
    mixed = shell("spots", "1", "2")
    assert mixed.returncode == 2
    assert "Bolts were turned between these sweeps" in mixed.stderr


def test_sweeps_of_one_state_are_judged_together(shell):
    shell.sweep(sweep_lines(flat))
    shell.sweep(sweep_lines(flat))
    assert shell.json("spots")["sweeps"] == ["0001-across", "0002-across"]


# --- replay, verify, export, live, listen ----------------------------------------------------------------------------


def test_replay_plays_every_reading_again(swept, answer):
    played = swept.json("replay", "1", "--speed", "0")
    assert (played["readings"], played["marks"]) == (answer["readings"], 12)
    lines = swept("replay", "1", "--speed", "0", "--plain").stdout.splitlines()
    assert sum("height" in line for line in lines) == answer["readings"]


def test_verify_and_export(swept, tmp_path):
    assert swept.json("verify") == {
        "recordings": [{"sweep": "0001-across", "sound": True, "faults": []}],
        "sound": True,
    }
    written = swept.json("export", "1", str(tmp_path / "out"))["exported"]
    assert {file.name for file in Path(written[0]).iterdir()} == {"datapackage.json", "readings.csv", "wire.csv"}
    again = swept("export", "1", str(tmp_path / "out"))
    assert again.returncode == 2 and "already there" in again.stderr


def test_live_says_height_state_and_what_is_to_go(swept):
    with Device(b"+0.071,t0.0\r\n+0.083,t0.1\r\n+0.084,t0.2\r\n+0.099,t0.3\r\n") as device:
        where = ("--port", device.url, "--instrument", "bench.yaml", "--set-up", "across", "--until", "closed")
        done = swept("live", *where, "--target", "+0.084")
    assert done.returncode == 0, done.stderr
    lines = done.stdout.splitlines()
    assert "height +0.071 mm  v 0.013 mm to go, raise  (indicator +0.071 mm)" in lines[0]
    assert "= here" in lines[1] and "= here" in lines[2]
    assert "^ 0.015 mm to go, lower" in lines[3]


def test_live_guides_a_planned_bolt_to_its_own_target(swept):
    move = swept.json("bolts")["moves"][0]
    now, target = move["reading_now_mm"], move["reading_target_mm"]
    data = "".join(f"{value:+.4f},t{t:.1f}\r\n" for t, value in enumerate([now, target, 2 * target - now]))
    with Device(data.encode()) as device:
        where = ("--port", device.url, "--instrument", "bench.yaml", "--set-up", "across", "--until", "closed")
        done = swept("live", *where, "--bolt", move["bolt"])
    how, first, second, third, *_ = done.stdout.splitlines()
    onward, back = ("raise", "lower") if move["raise_mm"] > 0 else ("lower", "raise")
    assert move["turn"].partition(", ")[0] in how and "then tighten the lock nut" in how
    assert re.search(r" mm, and after [0-9/ ]+ turns? at the latest, then", how), "no bolt is turned for ever"
    assert f"to go, {onward} {move['bolt']}" in first
    assert f"= here: {move['bolt']} is right" in second
    assert f"too far, {back} {move['bolt']}" in third


def test_live_in_a_carried_set_up_turns_the_sign_once(swept):
    with Device(b"-0.300,t0.0\r\n") as device:
        where = ("--port", device.url, "--instrument", "bench.yaml", "--set-up", "along", "--until", "closed")
        done = swept("live", *where)
    assert "height +0.300 mm  ^ high by 0.150 mm  (indicator -0.300 mm)" in done.stdout


def test_listen_shows_what_the_instrument_says(swept):
    with Device(b"+0.123,t0.0\r\nERR,t0.1\r\nrubbish\x1b[2J\r\n-0.001,t0.2,M\r\n") as device:
        done = swept("listen", device.url, "--instrument", "bench.yaml", "--until", "closed")
    assert done.returncode == 0, done.stderr
    assert "+0.123 mm" in done.stdout and "-0.001 mm" in done.stdout
    assert "\x1b" not in done.stdout and "not understood" in done.stdout


def test_listen_without_an_instrument_names_those_that_fit(swept):
    with Device(b"+0.123,812.50\r\n" * 40) as device:
        answer = swept.json("listen", device.url)
    assert answer["instrument"] == "indicator-with-position"


def test_ports_listens_where_it_is_told(swept):
    with Device(b"+0.123,812.50\r\n" * 40) as device:
        answer = swept.json("ports", "--listen", device.url, "--seconds", "1")
    (found,) = [each for each in answer["ports"] if each["port"] == device.url]
    assert found["instrument"] == "indicator-with-position"


def test_new_makes_a_job_that_opens_as_it_is(tmp_path, swept):
    answer = swept.json("new", str(tmp_path / "my-saw"))
    assert Path(answer["machine"]).is_file()
    unswept = swept("spots", "--job", str(tmp_path / "my-saw"))
    assert unswept.returncode == 2
    assert "no finished sweep yet" in unswept.stderr
