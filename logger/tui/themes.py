"""The colours by role, light and dark.

Why it exists: a widget that names a colour decides what the colour means on its own, and the tenth widget decides
otherwise. Widgets name a role; the hex value lives here once, together with the contrast it was chosen for. It
prevents a state that is told by colour alone: no two roles that mean different things rely on their colours to differ
(see ``tests/tui/test_themes.py``, WCAG 2.2).
"""

from __future__ import annotations

from dataclasses import dataclass

from rich.style import Style
from textual.theme import Theme

ROLES = (
    "paper",
    "sheet",
    "ink",
    "soft",
    "body",
    "band",
    "rule",
    "high",
    "low",
    "dots",
    "cut",
    "on_high",
    "on_low",
)
"""paper: background; sheet: key caps; ink: text, rail, limits; soft: second voice; body: material of rail and
carriage; band: tint between the limits; rule: hatch and thin rules;
high / low: outside above / below; dots: grain of the hollow, on low; cut: a limit line where it crosses material;
on_high, on_low: text on a plate."""


@dataclass(frozen=True, slots=True)
class Look:
    """How one cell is painted: a role for the sign, a role for what is under it, and weight."""

    fg: str = "ink"
    bg: str = "paper"
    bold: bool = False


@dataclass(frozen=True)
class Palette:
    """The roles of one theme as hex colours."""

    name: str
    dark: bool
    colours: dict[str, str]

    def style(self, look: Look) -> Style:
        """The rich style of a look; kept, because thousands of cells share a dozen looks."""
        found = _STYLES.get((self.name, look))
        if found is None:
            found = Style(color=self.colours[look.fg], bgcolor=self.colours[look.bg], bold=look.bold)
            _STYLES[(self.name, look)] = found
        return found

    def theme(self) -> Theme:
        """The same colours for the framework's own widgets (input line, command palette)."""
        c = self.colours
        return Theme(
            name=self.name,
            dark=self.dark,
            primary=c["ink"],
            secondary=c["soft"],
            accent=c["low"],
            warning=c["high"],
            error=c["high"],
            success=c["ink"],
            foreground=c["ink"],
            background=c["paper"],
            surface=c["paper"],
            panel=c["sheet"],
            boost=c["sheet"],
            variables={
                "block-cursor-background": c["ink"],
                "block-cursor-foreground": c["paper"],
                "input-selection-background": c["band"],
                "input-cursor-background": c["ink"],
                "input-cursor-foreground": c["paper"],
                "border": c["rule"],
                "scrollbar": c["rule"],
                "scrollbar-background": c["paper"],
                "scrollbar-corner-color": c["paper"],
            },
        )


_STYLES: dict[tuple[str, Look], Style] = {}

LIGHT = Palette(
    "truestroke-light",
    False,
    {
        "paper": "#FBF9F4",
        "sheet": "#EFEBE1",
        "ink": "#16181A",
        "soft": "#55524A",
        "body": "#77716A",
        "band": "#D3DEEA",
        "rule": "#767167",
        "high": "#A34300",
        "low": "#0B559F",
        "dots": "#7FB0E3",
        "cut": "#FBF9F4",
        "on_high": "#FFFFFF",
        "on_low": "#FFFFFF",
    },
)

DARK = Palette(
    "truestroke-dark",
    True,
    {
        "paper": "#15181B",
        "sheet": "#20252A",
        "ink": "#F1EDE4",
        "soft": "#B4AFA4",
        "body": "#8D877D",
        "band": "#2B3A4A",
        "rule": "#8F897E",
        "high": "#FFB057",
        "low": "#6AA8F0",
        "dots": "#205490",
        "cut": "#15181B",
        "on_high": "#15181B",
        "on_low": "#15181B",
    },
)

PALETTES = {palette.name: palette for palette in (LIGHT, DARK)}


def contrast(first: str, second: str) -> float:
    """Contrast ratio of two hex colours, 1 to 21 (W3C, WCAG 2.2, relative luminance; threshold 0.04045)."""
    brighter, darker = sorted((_luminance(first), _luminance(second)), reverse=True)
    return (brighter + 0.05) / (darker + 0.05)


def _luminance(colour: str) -> float:
    channels = (int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5))
    r, g, b = (c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in channels)
    return 0.2126 * r + 0.7152 * g + 0.0722 * b
