"""The parts of a saw bench as its user describes them: rail, carriage, bolts, braces, table, set-ups, band, places.

Why it exists: each part is held to its own keys here, one model a part, so that a file with a fault in one part can
still be checked in all others. It prevents a person from learning of one fault at a time.

Attributes are the YAML keys; signs and units as in ``logger.machines``, which puts the parts together.
"""

from __future__ import annotations

from typing import Annotated, Any, Literal

from pydantic import BeforeValidator, ConfigDict, Field, ValidationInfo, field_validator

from logger.description.machine_work import COMMON_PRACTICE
from logger.description.sections import Section
from logger.description.yaml_files import shown
from logger.description.yaml_models import (
    Channel,
    Name,
    NotNegative,
    Number,
    Positive,
    Strict,
    Text,
    refuse,
)

KEY_OF_KIND = {"fixed": "x_mm", "carried": "offset_mm", "level": "axis"}
"""The key a set-up of that kind cannot do without."""


def _rising(pair: tuple[float, float]) -> tuple[float, float]:
    if pair[0] >= pair[1]:
        raise refuse(f"[{pair[0]:g}, {pair[1]:g}]", "the smaller number first, and a length between them")
    return pair


def _pairs(value: Any) -> Any:
    """One opening ``[a, b]``, several ``[[a, b], [c, d]]``, or none."""
    if value is None:
        return ()
    if isinstance(value, list) and value and not isinstance(value[0], list):
        return (value,)
    return value


def _unknown_is_none(value: Any) -> Any:
    return None if value in ("unknown", "don't know") else value


Span = tuple[Number, Number]
Spans = Annotated[
    tuple[Span, ...],
    BeforeValidator(_pairs, json_schema_input_type=Span | tuple[Span, ...] | None),
    Field(max_length=40),
]
MaybeSize = Annotated[
    Positive | None, BeforeValidator(_unknown_is_none, json_schema_input_type=Positive | Literal["unknown"] | None)
]
MaybeSection = Annotated[
    Section | None, BeforeValidator(_unknown_is_none, json_schema_input_type=Section | Literal["unknown"] | None)
]


class Rail(Strict):
    """The beam the carriage runs on. Stiffness from I and J, or from a section, or unknown (None: a wide guess)."""

    from_mm: Number = Field(description="x of the rail's infeed end")
    to_mm: Number = Field(description="x of the rail's outfeed end")
    material: Literal["steel", "aluminium", "cast iron"] = Field(
        default="steel", description="what the rail is made of"
    )
    I_mm4: MaybeSize = Field(default=None, description="second moment of area, up and down")
    J_mm4: MaybeSize = Field(default=None, description="torsion constant")
    section: MaybeSection = Field(default=None, description="shape and dimensions, or unknown")
    mass_kg_per_m: Positive | None = Field(default=None, description="from the section where it is known, else 14")

    @property
    def bending_I_mm4(self) -> float | None:
        """I as given or from the section; None when not known."""
        return self.section.I_mm4 if self.section is not None else self.I_mm4

    @property
    def torsion_J_mm4(self) -> float | None:
        """J as given or from the section; None when not known."""
        return self.section.J_mm4 if self.section is not None else self.J_mm4

    @property
    def line_mass_kg_per_m(self) -> float:
        """Mass per metre as given, else from the section, else 14 kg/m (common practice, no source)."""
        if self.mass_kg_per_m is not None:
            return self.mass_kg_per_m
        return self.section.area_mm2 * DENSITY_KG_PER_MM3[self.material] * 1000 if self.section is not None else 14.0

    @property
    def young_N_per_mm2(self) -> float:
        return ELASTIC_N_PER_MM2[self.material][0]

    @property
    def shear_N_per_mm2(self) -> float:
        return ELASTIC_N_PER_MM2[self.material][1]


# Young's modulus and shear modulus: steel EN 1993-1-1:2005 3.2.6, aluminium EN 1999-1-1:2007 3.2.5, grey iron of grade
# EN-GJL-250 the middle of EN 1561's informative range with Poisson's ratio 0.26. Values written down from memory.
ELASTIC_N_PER_MM2 = {
    "steel": (210_000.0, 81_000.0),
    "aluminium": (70_000.0, 27_000.0),
    "cast iron": (110_000.0, 43_700.0),
}
DENSITY_KG_PER_MM3 = {"steel": 7.85e-6, "aluminium": 2.70e-6, "cast iron": 7.20e-6}


class Carriage(Strict):
    """The sliding table. ``stroke_mm`` are the two end positions of its middle."""

    bearing_span_mm: Positive = Field(description="from the first bearing to the last, along the rail")
    bearing_offsets_mm: tuple[Number, ...] = Field(
        default_factory=lambda known: (-known["bearing_span_mm"] / 2, known["bearing_span_mm"] / 2),
        description="each bearing from the carriage's middle, + toward outfeed; default both ends of the span",
    )
    bearing_stiffness_N_per_mm: Positive | None = Field(
        default=None, description="of one bearing with the frame over it; counts where there are more than two"
    )
    mass_kg: Positive = Field(default=35.0, description="mass of the carriage")
    top_length_mm: Positive = Field(description="length of the carriage's top")
    edge_y_mm: Number = Field(
        default=150.0, description="from the rail's middle line to the edge of the top beside the table"
    )
    stroke_mm: Span = Field(description="the two end positions of the carriage's middle")
    cage: bool = Field(default=False, description="true: rolls on an intermediate cage that travels half as far")
    roller_diameter_mm: Positive | None = Field(default=None, description="a flat spot shows once a turn")

    @field_validator("bearing_offsets_mm")
    @classmethod
    def _bearings(cls, offsets: tuple[float, ...]) -> tuple[float, ...]:
        if len(offsets) < 2 or len(offsets) > 40:
            raise refuse(f"{len(offsets)} bearings", "2 to 40 bearings along the rail")
        if len(set(offsets)) < len(offsets):
            raise refuse(f"{shown(list(offsets))}, two the same", "a different offset for each bearing")
        return tuple(sorted(offsets))

    @field_validator("stroke_mm")
    @classmethod
    def _stroke(cls, stroke: tuple[float, float]) -> tuple[float, float]:
        return _rising(stroke)


class Bolt(Strict):
    """One support of the rail, adjusted by a thread. ``pitch_mm`` is the thread's; ``travel_per_turn_mm`` counts."""

    name: Name = Field(description="a short name, as B1")
    x_mm: Number = Field(description="where it stands along the rail")
    y_mm: Number = Field(default=0.0, description="beside the rail's middle line, + toward the table")
    pitch_mm: Positive = Field(description="thread pitch: travel for one turn")
    counter_pitch_mm: NotNegative = Field(default=0.0, description="second pitch of a differential screw, else 0")
    raises: Literal["clockwise", "anticlockwise"] = Field(
        default="clockwise", description="the way of turning that raises"
    )
    seen_from: Literal["below", "above"] = Field(default="below", description="from where that way of turning is seen")
    kind: Literal["screw_and_locknut", "stud_two_nuts", "rest_only", "clamped"] = Field(
        default="screw_and_locknut",
        description="rest_only: the rail can lift off; clamped: the foot also holds its tilt",
    )
    travel_mm: Span | None = Field(
        default=None, description="[down, up]: thread left each way; [0, 0] cannot be adjusted"
    )
    stiffness_N_per_mm: Positive | None = Field(default=None, description="of bracket and bolt, where it was measured")
    flats: Annotated[int, Field(strict=True, ge=4, le=12)] = Field(default=6, description="flats of the head or nut")
    wrench_length_mm: Positive | None = Field(default=None, description="where it differs from the machine's")

    @field_validator("travel_mm")
    @classmethod
    def _travel(cls, travel: tuple[float, float] | None) -> tuple[float, float] | None:
        if travel is not None and travel[1] < 0:
            raise refuse(f"[{travel[0]:g}, {travel[1]:g}]", "[down, up], two lengths of thread, as [4, 6]")
        return None if travel is None else (abs(travel[0]), travel[1])

    @field_validator("counter_pitch_mm")
    @classmethod
    def _moves(cls, counter: float, info: ValidationInfo) -> float:
        if counter and counter == info.data.get("pitch_mm"):
            raise refuse(f"{counter:g}, the same as pitch_mm", "two different pitches, or nothing moves")
        return counter

    @property
    def travel_per_turn_mm(self) -> float:
        """What the foot moves in one turn, always positive."""
        return abs(self.pitch_mm - self.counter_pitch_mm)


class Brace(Strict):
    """A strut at the rail that can be loosened; while tight it holds the rail where it is."""

    name: Name = Field(description="a short name")
    x_mm: Number = Field(description="where it holds the rail")
    y_mm: Number = 0.0
    tight: bool = True


class MapLine(Strict):
    """Measured flatness of the table along one line: ``points`` of [x_mm, height_mm, uncertainty_mm]."""

    y_mm: Number = Field(description="where the line runs")
    points: Annotated[tuple[tuple[Number, Number, NotNegative], ...], Field(min_length=2, max_length=2000)]


class Table(Strict):
    """The cast table beside the carriage. ``insert_mm`` is always a tuple of pairs here, however it was written."""

    from_mm: Number = Field(description="x of the table's infeed edge")
    to_mm: Number = Field(description="x of the table's outfeed edge")
    insert_mm: Spans = Field((), description="openings: [a, b] or several")
    map: Annotated[tuple[MapLine, ...], Field(max_length=40)] = Field(
        default=(), description="measured flatness, line by line"
    )


class Encoder(Strict):
    """How a position in the instrument's line becomes x."""

    at_zero_mm: Number | None = Field(
        default=None, description="carriage position at count 0; default the stroke's first end"
    )
    counts_per_mm: Number | None = Field(default=None, description="minus when it counts down toward outfeed")
    index_mm: Number | None = Field(
        default=None, description="carriage position at the encoder's index (at one of them, where it comes again)"
    )
    index_every_mm: Positive | None = Field(
        default=None, description="way from one index to the next: a wheel's turn; absent: there is one only"
    )

    @field_validator("counts_per_mm")
    @classmethod
    def _counts(cls, counts: float | None) -> float | None:
        if counts == 0:
            raise refuse("0", "counts for one millimetre, not zero")
        return counts


class SetUp(Strict):
    """Where the indicator or level sits (ISO 230-1's word). Which keys a kind needs is in ``machine_checks``.

    fixed: stands on the table at ``x_mm`` and touches the carriage. carried: rides ``offset_mm`` from the carriage's
    middle and touches the table. level: rides the carriage and shows pitch or roll.
    ``direction`` is which way the tip points: height, or sideways toward or away from the table.
    """

    model_config = ConfigDict(
        json_schema_extra={
            "allOf": [
                {"if": {"properties": {"kind": {"const": kind}}, "required": ["kind"]}, "then": {"required": [key]}}
                for kind, key in KEY_OF_KIND.items()
            ]
        }
    )

    kind: Literal["fixed", "carried", "level"] = Field(description="fixed, carried or level")
    x_mm: Number | None = Field(default=None, description="fixed: machine x of the indicator")
    y_mm: Number | None = Field(default=None, description="the line it reads on; default the carriage's edge_y_mm")
    offset_mm: Number | None = Field(
        default=None, description="carried, level: from the carriage's middle, + toward outfeed"
    )
    axis: Literal["pitch", "roll"] | None = Field(default=None, description="level: which tilt it shows")
    sense: Literal["normal", "reversed"] = Field(
        default="normal", description="reversed: turned round, or its sign switched"
    )
    direction: Literal["height", "toward_table", "from_table"] = Field(
        default="height", description="which way the tip points"
    )
    zero_mm: Number | None = Field(default=0.0, description="what it shows on the table's plane; null: not known")
    zero_mm_per_m: Number | None = Field(
        None, description="level: what it shows when true, from a reversal; null: not known"
    )
    on_table_mm_per_m: Number | None = Field(
        None, description="pitch level: what it shows along the table's plane; null: not laid there"
    )
    on_table_u_mm_per_m: Positive = Field(0.02, description="standard uncertainty of that")
    encoder: Encoder = Field(default_factory=Encoder, description="for instruments that send a position")
    channel: Channel = Field(
        default="", description="which channel of an instrument with several; a level's is its axis"
    )


class Band(Strict):
    """What the carriage's height may be over the stroke, and where the figures come from."""

    mean_mm: Span = Field(default=(0.05, 0.15), description="the mean height above the table")
    peak_to_valley_mm: Positive = Field(default=0.05, description="highest minus lowest over what was seen")
    pitch_mm_per_m: Positive = Field(default=0.10, description="change of pitch over the stroke")
    roll_mm_per_m: Positive = Field(default=0.10, description="change of roll over the stroke")
    origin: Text = COMMON_PRACTICE

    @field_validator("mean_mm")
    @classmethod
    def _mean(cls, mean: tuple[float, float]) -> tuple[float, float]:
        return _rising(mean)


class Place(Strict):
    """A machine x and y where height matters most; what must stay constant is the height there while a board passes."""

    name: Name = Field(description="as spindle, blade")
    x_mm: Number = Field(description="where it is")
    y_mm: Number | None = Field(default=None, description="default the carriage's edge_y_mm")
    peak_to_valley_mm: Positive = Field(default=0.025, description="highest minus lowest while the board passes")
    origin: Text = COMMON_PRACTICE
