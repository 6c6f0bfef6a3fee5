"""The colours by role, both themes: contrast (W3C, WCAG 2.2) of every pair that is painted, and colour-blind sight.

Contrast: (L1 + 0.05) / (L2 + 0.05) of the relative luminances, sRGB threshold 0.04045 (W3C, WCAG 2.2, definitions of
contrast ratio and relative luminance). Least: 4.5 for text (SC 1.4.3), 7 for the main text (SC 1.4.6, enhanced), 3 for
graphics (SC 1.4.11).
"""

import asyncio

import numpy as np
import pytest

from logger.tui.glyphs import COLOUR
from logger.tui.invented import invented_app
from logger.tui.scenes import SCENES, settled
from logger.tui.themes import DARK, LIGHT, ROLES, contrast
from logger.tui.widgets.painted import Painted
from tests.tui.colours import MACHADO_2009, difference, lab, linear

THEMES = pytest.mark.parametrize("palette", [LIGHT, DARK], ids=lambda p: p.name)
TEXT, MAIN_TEXT, GRAPHICS = 4.5, 7.0, 3.0


def test_black_on_white_is_21_to_1():
    # W3C, WCAG 2.2, definition of contrast ratio: it ranges from 1 to 21.
    assert contrast("#000000", "#FFFFFF") == pytest.approx(21.0)
    assert contrast("#777777", "#777777") == pytest.approx(1.0)


def test_grey_777_on_white_just_misses_the_text_threshold():
    # W3C, Understanding SC 1.4.3: #777777 on white is 4.48:1 (rounded down, it fails 4.5).
    assert contrast("#777777", "#FFFFFF") == pytest.approx(4.48, abs=0.005)


@pytest.fixture(scope="module")
def painted_pairs():
    """Every (role, ground) with a sign in it, by what the signs are, over the walk through all pictures."""
    text: set[tuple[str, str]] = set()
    graphics: set[tuple[str, str]] = set()

    def collect(app):
        for widget in app.screen.query(Painted):
            canvas = widget._canvas
            for signs, looks in zip(canvas.signs, canvas.looks, strict=True) if canvas else ():
                for sign, look in zip(signs, looks, strict=True):
                    if sign.strip():
                        (text if sign.isalnum() else graphics).add((look.fg, look.bg))

    async def walk():
        for name, scene in SCENES.items():
            app = invented_app(taken=True)
            async with app.run_test(size=(120, 44)) as pilot:
                await scene(app, pilot)
                collect(app)
                if name == "board":
                    for key in ("l", "escape", "enter", "enter", "escape", "escape", "z"):
                        await pilot.press(key)
                        await settled(app, pilot)
                        collect(app)

    asyncio.run(walk())
    return text, graphics


@THEMES
def test_every_text_that_is_painted_has_the_contrast_of_text(palette, painted_pairs):
    text, _ = painted_pairs
    assert {("ink", "paper"), ("soft", "paper"), ("on_high", "high"), ("on_low", "low")} <= text
    ratios = {pair: contrast(palette.colours[pair[0]], palette.colours[pair[1]]) for pair in text}
    assert {pair: ratio for pair, ratio in ratios.items() if ratio < TEXT} == {}


@THEMES
def test_every_sign_that_is_painted_has_the_contrast_of_graphics(palette, painted_pairs):
    _, graphics = painted_pairs
    assert len(graphics) > 8
    told_otherwise = {("body", "low")}  # the edge of the material over a hollow: the hollow's grain tells it
    pairs = graphics - told_otherwise
    ratios = {pair: contrast(palette.colours[pair[0]], palette.colours[pair[1]]) for pair in pairs}
    assert {pair: ratio for pair, ratio in ratios.items() if ratio < GRAPHICS} == {}


@THEMES
@pytest.mark.parametrize(("role", "ground"), [("ink", "paper"), ("ink", "band"), ("ink", "sheet")])
def test_the_main_text_has_the_enhanced_contrast(palette, role, ground):
    assert contrast(palette.colours[role], palette.colours[ground]) >= MAIN_TEXT


@THEMES
@pytest.mark.parametrize(
    ("role", "ground"),
    [
        ("body", "paper"),
        ("body", "band"),
        ("rule", "paper"),
        ("dots", "low"),
        ("cut", "body"),
        ("cut", "high"),
        ("high", "band"),
        ("low", "band"),
    ],
)
def test_masses_and_lines_have_the_contrast_of_graphics(palette, role, ground):
    assert contrast(palette.colours[role], palette.colours[ground]) >= GRAPHICS


@THEMES
def test_what_misses_the_threshold_is_told_by_a_line_or_a_grain_instead(palette):
    """Hump and hollow beside the body, and the band's tint, are under 3: lines, dots and signs tell them apart."""
    below = [("high", "body"), ("low", "body"), ("band", "paper")]
    assert all(contrast(palette.colours[a], palette.colours[b]) < GRAPHICS for a, b in below)
    assert contrast(palette.colours["cut"], palette.colours["high"]) >= GRAPHICS
    assert contrast(palette.colours["dots"], palette.colours["low"]) >= GRAPHICS
    assert contrast(palette.colours["ink"], palette.colours["paper"]) >= GRAPHICS
    assert len({COLOUR.high, COLOUR.low, COLOUR.inside, COLOUR.cannot_tell, COLOUR.stale}) == 5


@THEMES
def test_a_theme_has_every_role_and_no_other(palette):
    assert set(palette.colours) == set(ROLES)


# --- colour-blind sight ----------------------------------------------------------------------------------------------

CLEARLY_APART = 30.0
"""Our own aim; a difference one just sees is about 2.3 (Mahy, Van Eycken, Oosterlinck 1994, from memory)."""


@pytest.mark.parametrize("sight", list(MACHADO_2009))
def test_the_simulation_leaves_grey_as_it_is(sight):
    # A property of the published matrices: their rows add up to one.
    assert MACHADO_2009[sight].sum(axis=1) == pytest.approx(1.0, abs=2e-6)
    assert MACHADO_2009[sight] @ linear("#808080") == pytest.approx(linear("#808080"), abs=1e-5)


def test_red_and_green_of_one_lightness_come_together_in_deutan_sight_and_stay_apart_in_tritan():
    # What the deficiency is called by: red-green confusion (protan, deutan), not for tritan.
    red, green = "#C85A5A", "#6E9650"
    assert difference(red, green, "deutan") < 0.5 * difference(red, green)
    assert difference(red, green, "tritan") > 0.7 * difference(red, green)


def test_white_is_at_100_and_black_at_0():
    # CIE 15: L* of the white point is 100, of black 0.
    assert lab(linear("#FFFFFF")) == pytest.approx([100.0, 0.0, 0.0], abs=0.02)
    assert lab(linear("#000000"))[0] == pytest.approx(0.0, abs=1e-9)


@THEMES
@pytest.mark.parametrize("sight", list(MACHADO_2009))
@pytest.mark.parametrize(("first", "second"), [("high", "low"), ("high", "body"), ("low", "body")])
def test_hump_hollow_and_material_stay_clearly_apart_in_every_sight(palette, sight, first, second):
    assert difference(palette.colours[first], palette.colours[second], sight) >= CLEARLY_APART


@THEMES
@pytest.mark.parametrize("sight", list(MACHADO_2009))
def test_text_keeps_its_contrast_of_lightness_in_every_sight(palette, sight):
    """L* hardly depends on the sight where the colours are nearly grey; the plates are not, so they are looked at."""
    for text, ground in (("ink", "paper"), ("soft", "paper"), ("on_high", "high"), ("on_low", "low")):
        seen = [lab(MACHADO_2009[sight] @ linear(palette.colours[role]))[0] for role in (text, ground)]
        assert abs(seen[0] - seen[1]) > 40


def test_pure_grey_does_not_tell_hump_from_hollow_and_so_is_never_relied_on():
    for palette in (LIGHT, DARK):
        lightness = [lab(linear(palette.colours[role]))[0] for role in ("high", "low")]
        assert np.ptp(lightness) < 15
