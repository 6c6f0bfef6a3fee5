"""Contrast of the colours by role (W3C, WCAG 2.2: 1.4.3 text 4.5, 1.4.6 enhanced 7, 1.4.11 graphics 3)."""

import pytest

from logger.tui.themes import DARK, LIGHT, ROLES, contrast


def test_black_on_white_is_21_to_1():
    # W3C, WCAG 2.2, definition of contrast ratio: it ranges from 1 to 21.
    assert contrast("#000000", "#FFFFFF") == pytest.approx(21.0)
    assert contrast("#777777", "#777777") == pytest.approx(1.0)


def test_grey_777_on_white_just_misses_the_text_threshold():
    # W3C, Understanding SC 1.4.3: #777777 on white is 4.48:1 (rounded down, it fails 4.5).
    assert contrast("#777777", "#FFFFFF") == pytest.approx(4.48, abs=0.005)


@pytest.mark.parametrize("palette", [LIGHT, DARK], ids=lambda p: p.name)
@pytest.mark.parametrize(
    ("role", "ground", "least"),
    [
        ("ink", "paper", 7.0),
        ("ink", "band", 7.0),
        ("soft", "paper", 4.5),
        ("soft", "sheet", 4.5),
        ("high", "paper", 4.5),
        ("low", "paper", 4.5),
        ("on_high", "high", 4.5),
        ("on_low", "low", 4.5),
        ("body", "paper", 3.0),
        ("body", "band", 3.0),
        ("rule", "paper", 3.0),
        ("dots", "low", 3.0),
        ("cut", "body", 3.0),
        ("cut", "high", 3.0),
    ],
)
def test_what_must_be_seen_has_its_contrast(palette, role, ground, least):
    assert contrast(palette.colours[role], palette.colours[ground]) >= least


@pytest.mark.parametrize("palette", [LIGHT, DARK], ids=lambda p: p.name)
def test_a_theme_has_every_role_and_no_other(palette):
    assert set(palette.colours) == set(ROLES)
