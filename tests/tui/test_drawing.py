"""The step and the rail as text, in the alphabet without colour and in the plain one."""

import numpy as np

from logger.rail_picture import Bolt, Curve, Flag, RailPicture
from logger.tui.canvas import Canvas
from logger.tui.glyphs import COLOUR, NO_COLOUR, PLAIN
from logger.tui.widgets.digits import dashes, draw_digits, width_of
from logger.tui.widgets.rail import along_of, draw_rail
from logger.tui.widgets.step import Step, draw_step
from logger.tui.wording import Units


def step_rows(step, letters=NO_COLOUR):
    canvas = Canvas(34, 12)
    draw_step(canvas, step, letters, Units())
    return canvas.rows()


def test_a_height_inside_is_a_block_between_the_lines():
    assert step_rows(Step(0.104, 0.05, 0.15))[1:6] == [
        "",
        "  +0.150 ▔▔▔▔▔▔▔▔▔▔▔▔▔▔▔▔▔▔▔▔▔▔▔▔",
        "                  ▅▅▅▅▅▅▅▅▅▅▅▅▅▅▅",
        "  +0.050 ▁▁▁▁▁▁▁▁▁▒▒▒▒▒▒▒▒▒▒▒▒▒▒▒",
        "                  ▒▒▒▒▒▒▒▒▒▒▒▒▒▒▒",
    ]


def test_too_high_stands_solid_above_the_line():
    rows = step_rows(Step(0.20, 0.05, 0.15))
    assert "█" in rows[1]
    assert "▒" in rows[2]


def test_too_low_leaves_dots_up_to_the_line():
    rows = step_rows(Step(-0.05, 0.05, 0.15))
    assert rows[5].endswith("░" * 15)
    assert rows[4] == "  +0.050 ▁▁▁▁▁▁▁▁▁▁▁▁▁▁▁▁▁▁▁▁▁▁▁▁"


def test_a_lost_link_hatches_the_carriage_and_says_so():
    rows = step_rows(Step(None, 0.05, 0.15, lost=True))
    assert "╱" in rows[4]
    assert "last seen here" in rows[-1]
    assert "▒" in rows[8]  # the table stays


def test_drawn_at_a_tenth_the_ruler_has_round_numbers_and_the_band_its_name():
    text = "\n".join(step_rows(Step(-1.284, 0.05, 0.15, factor=10.0)))
    assert "band" in text
    assert "−1.000" in text
    assert "−2.000" in text


def test_the_plain_alphabet_has_no_sign_outside_ascii():
    for height in (0.104, 0.2, -0.05, None):
        rows = step_rows(Step(height, 0.05, 0.15, lost=height is None), PLAIN)
        assert all((row.replace("−", "-")).isascii() for row in rows)


def picture(**changes):
    x = np.arange(120.0, 2240.0, 20.0)
    value = 0.1 + 0.055 * np.exp(-(((x - 1700) / 220) ** 2)) - 0.055 * np.exp(-(((x - 560) / 200) ** 2))
    bolts = tuple(
        Bolt(f"B{i + 1}", at, seen=i < 5, raise_mm={1: 0.09, 3: -0.06}.get(i))
        for i, at in enumerate((0.0, 500.0, 1000.0, 1500.0, 2000.0, 2500.0))
    )
    fields = {
        "from_mm": -300.0,
        "to_mm": 2900.0,
        "bolts": bolts,
        "curve": Curve(x, value, np.full(x.size, 0.004), ((1010.0, 1090.0),)),
        "band": (0.075, 0.125),
        "flags": (Flag("high", 1700.0, 0.155), Flag("low", 560.0, 0.045)),
        "places": (("spindle", 1450.0),),
    }
    return RailPicture(**{**fields, **changes})


def rail_rows(pic, letters=NO_COLOUR, rows=(2, 3, 2)):
    canvas = Canvas(80, sum(rows) + 4)
    draw_rail(canvas, pic, rows, letters, Units())
    return canvas.rows()


def test_bolts_stand_where_they_stand_with_their_moves_and_what_is_not_seen():
    rows = rail_rows(picture())
    along = along_of(picture(), 80)
    names = rows[-1]
    for bolt in picture().bolts:
        assert abs(names.index(bolt.name) - (8 + along.column(bolt.x_mm))) <= 1
    assert "╫ ↑0.09" in rows[-2]
    assert "╫ ↓0.06" in rows[-2]
    assert "not seen ┊" in rows[-2]


def test_the_hump_is_solid_above_the_line_and_the_hollow_dotted_below():
    rows = rail_rows(picture())
    assert "█" in rows[2]
    assert "░" in rows[6]
    assert "▲ +0.155" in "\n".join(rows[:3])
    assert "▼ +0.045" in "\n".join(rows[:3])


def test_what_was_not_seen_is_hatched_and_has_no_band():
    canvas = Canvas(80, 11)
    draw_rail(canvas, picture(), (2, 3, 2), COLOUR, Units())
    last = 8 + along_of(picture(), 80).column(2600.0)
    assert {canvas.looks[y][last].bg for y in range(1, 8)} == {"paper"}
    opening = 8 + along_of(picture(), 80).column(1050.0)
    assert {canvas.signs[y][opening] for y in range(1, 8)} == {"╱"}


def test_a_profile_inside_has_neither_hump_nor_hollow():
    x = np.arange(0.0, 2600.0, 20.0)
    inside = picture(curve=Curve(x, np.full(x.size, 0.1)), flags=())
    text = "\n".join(rail_rows(inside))
    assert "█" not in text.split("▀")[0]
    assert "░" not in text


def test_what_leaves_the_drawing_is_said_with_its_amount():
    x = np.arange(0.0, 2600.0, 20.0)
    value = np.where(np.abs(x - 1300) < 100, 0.9, 0.1)
    rows = rail_rows(picture(curve=Curve(x, value), flags=(Flag("high", 1300.0, 0.9),)))
    assert "beyond the drawing" in "\n".join(rows)


def test_the_current_bolt_is_inverse():
    canvas = Canvas(80, 11)
    bolts = (Bolt("B3", 1000.0, current=True, raise_mm=0.03),)
    draw_rail(canvas, picture(bolts=bolts), (2, 3, 2), COLOUR, Units())
    at = "".join(canvas.signs[10]).index("B3")
    assert (canvas.looks[10][at].fg, canvas.looks[10][at].bg) == ("paper", "ink")


def test_two_bolts_at_one_place_both_stand_and_are_named():
    bolts = (Bolt("B3", 1000.0, -40.0), Bolt("B4", 1000.0, 40.0))
    rows = rail_rows(picture(bolts=bolts))
    assert "╫╫" in rows[-2]
    assert rows[-1].index("B3") < rows[-1].index("B4")  # the blade side is at the right


def test_colour_says_nothing_that_the_signs_do_not():
    """In colour a mass is a ground; the same cells carry a sign in the alphabet without colour."""
    colour, plain = Canvas(80, 11), Canvas(80, 11)
    draw_rail(colour, picture(), (2, 3, 2), COLOUR, Units())
    draw_rail(plain, picture(), (2, 3, 2), NO_COLOUR, Units())
    for y in range(11):
        for x in range(80):
            if colour.looks[y][x].bg in ("high", "body") and colour.signs[y][x] in " ▔":
                assert plain.signs[y][x] in "█▒"


def test_digits_keep_their_cells_and_become_dashes_without_a_reading():
    canvas = Canvas(50, 5)
    draw_digits(canvas, "+0.104", NO_COLOUR, x=2)
    assert canvas.rows()[2] == "  ██████  ██  ██        ██    ██  ██  ██████"
    assert width_of("+0.104", 2, 2) == width_of(dashes("+0.104"), 2, 2)
    assert dashes("−1.284") == " -.---"
