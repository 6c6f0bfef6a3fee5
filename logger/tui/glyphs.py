"""The signs the screen draws with, in three alphabets.

Why it exists: colour, ``NO_COLOR`` and ``--plain`` must say the same things. Each alphabet is one frozen table, so a
widget never asks "is there colour?" in the middle of drawing, and a sign cannot be forgotten in one of them. It
prevents a picture that is right on a good terminal and mute on a poor one.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

EIGHTHS = " ▁▂▃▄▅▆▇█"


@dataclass(frozen=True)
class Alphabet:
    """One way of drawing. ``colour`` True: masses are painted as backgrounds and ``full`` signs are spaces."""

    name: str
    colour: bool
    eighths: str
    """Nine signs: empty, one to seven eighths, full."""
    material: str
    hump: str
    hollow: str
    table: str
    limit_top: str
    limit_bottom: str
    hatch: str
    sleeve_top: str
    sleeve: str
    sleeve_bottom: str
    rail: str
    foot: str
    nut: str
    unseen_bolt: str
    up: str
    down: str
    stands: str
    here: str
    beam: str
    beam_leg: str
    beam_middle: str
    bearing: str
    upright: str
    span_left: str
    span: str
    span_right: str
    inside: str
    high: str
    low: str
    cannot_tell: str
    stale: str
    not_measured: str
    chosen: str
    expected: str
    before: str
    rule: str
    tick: str
    block: str
    minus: str
    plus_minus: str
    thin: str
    middot: str

    def state(self, word: str) -> str:
        """The shape that stands before a state word."""
        return {
            "inside": self.inside,
            "high": self.high,
            "low": self.low,
            "outside": self.high,
            "cannot tell": self.cannot_tell,
            "lost": self.hatch,
            "none": self.not_measured,
        }[word]

    def text(self, words: str) -> str:
        """``words`` with every sign that this alphabet lacks replaced by its plain column."""
        if self.name != "plain":
            return words
        return words.translate(_PLAIN_TEXT)


_PLAIN_TEXT = str.maketrans(
    {
        "−": "-",
        "±": "+-",
        "·": "-",
        "\u2009": " ",
        "▲": "^",
        "▼": "v",
        "═": "=",
        "≈": "~",
        "╱": "/",
        "○": "o",
        "›": ">",
        "↑": "up ",
        "↓": "dn ",
        "▽": "V",
        "…": "...",
        "°": " deg",
    }
)

COLOUR = Alphabet(
    name="colour",
    colour=True,
    eighths=EIGHTHS[:8] + " ",
    material=" ",
    hump=" ",
    hollow="░",
    table="░",
    limit_top="▔",
    limit_bottom="▁",
    hatch="╱",
    sleeve_top="╷",
    sleeve="│",
    sleeve_bottom="╵",
    rail="▀",
    foot="█",
    nut="╫",
    unseen_bolt="┊",
    up="↑",
    down="↓",
    stands="▽",
    here="▾",
    beam="━",
    beam_leg="┳",
    beam_middle="┿",
    bearing="●",
    upright="│",
    span_left="├",
    span="─",
    span_right="┤",
    inside="═",
    high="▲",
    low="▼",
    cannot_tell="≈",
    stale="○",
    not_measured="·",
    chosen="›",
    expected="╌",
    before="·",
    rule="─",
    tick="╴",
    block="█",
    minus="−",
    plus_minus="±",
    thin="\u2009",
    middot="·",
)

NO_COLOUR = replace(
    COLOUR, name="no colour", colour=False, eighths=EIGHTHS, material="▒", hump="█", hollow="░", table="▒"
)

PLAIN = replace(
    NO_COLOUR,
    name="plain",
    eighths="     ####",
    material="#",
    hump="#",
    hollow=".",
    table="#",
    limit_top="-",
    limit_bottom="-",
    hatch="/",
    sleeve_top="I",
    sleeve="I",
    sleeve_bottom="I",
    rail="=",
    foot="+",
    nut="+",
    unseen_bolt=":",
    up="up",
    down="dn",
    stands="V",
    here="V",
    beam="=",
    beam_leg="+",
    beam_middle="+",
    bearing="o",
    upright="|",
    span_left="[",
    span="-",
    span_right="]",
    inside="=",
    high="^",
    low="v",
    cannot_tell="~",
    stale="o",
    not_measured=".",
    chosen=">",
    expected="'",
    before=",",
    rule="-",
    tick="-",
    block="#",
    minus="-",
    plus_minus="+-",
    thin=" ",
    middot="-",
)


def alphabet(*, no_colour: bool, plain: bool) -> Alphabet:
    """The alphabet for this terminal: ``plain`` wins over ``no_colour``."""
    if plain:
        return PLAIN
    return NO_COLOUR if no_colour else COLOUR
