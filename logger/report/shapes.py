"""A picture as a list of shapes: areas, lines and words, without a format.

Why it exists: the same picture goes into the page (SVG), into a text document (PNG) and onto a plotter (PDF). It
prevents three drawings of one rail that disagree. Coordinates are in picture units (1/96 inch on paper at full size),
x to the right, y down. Colours are roles, as on the screen; an area that must survive a grey printer has a grain.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Literal

Point = tuple[float, float]

#: The screen's light palette: paper is white here, and the roles have the same meaning.
COLOURS = {
    "paper": "#FFFFFF",
    "ink": "#16181A",
    "soft": "#55524A",
    "body": "#77716A",
    "band": "#D3DEEA",
    "rule": "#767167",
    "high": "#A34300",
    "low": "#0B559F",
    "dots": "#7FB0E3",
    "cut": "#FBF9F4",
}
Grain = Literal["", "dots", "hatch"]
"""dots: what is missing below the band; hatch: not seen. Everything else is solid."""
Anchor = Literal["start", "middle", "end"]


@dataclass(frozen=True, slots=True)
class Area:
    """A filled polygon. ``name`` says what it is, for whoever reads the picture (a test, a style sheet)."""

    points: tuple[Point, ...]
    role: str
    name: str = ""
    grain: Grain = ""


@dataclass(frozen=True, slots=True)
class Stroke:
    """A line through points."""

    points: tuple[Point, ...]
    role: str = "ink"
    width: float = 1.0
    name: str = ""
    dash: tuple[float, ...] = ()


@dataclass(frozen=True, slots=True)
class Words:
    """One line of text; ``at`` is the point on its baseline that ``anchor`` names."""

    at: Point
    text: str
    role: str = "ink"
    size: float = 12.0
    anchor: Anchor = "start"
    bold: bool = False
    name: str = ""


Shape = Area | Stroke | Words


@dataclass
class Picture:
    """A drawing under way: ``shapes`` in the order in which they are painted. ``title`` is read out to the blind."""

    width: float
    height: float
    title: str = ""
    shapes: list[Shape] = field(default_factory=list)

    def area(self, points: list[Point], role: str, name: str = "", grain: Grain = "") -> None:
        if len(points) > 2:
            self.shapes.append(Area(tuple(points), role, name, grain))

    def box(
        self, x: float, y: float, width: float, height: float, role: str, name: str = "", grain: Grain = ""
    ) -> None:
        if width > 0 and height > 0:
            corners = [(x, y), (x + width, y), (x + width, y + height), (x, y + height)]
            self.area(corners, role, name, grain)

    def line(
        self, points: list[Point], role: str = "ink", width: float = 1.0, name: str = "", dash: tuple[float, ...] = ()
    ) -> None:
        if len(points) > 1:
            self.shapes.append(Stroke(tuple(points), role, width, name, dash))

    def words(
        self,
        x: float,
        y: float,
        text: str,
        role: str = "ink",
        size: float = 12.0,
        anchor: Anchor = "start",
        bold: bool = False,
        name: str = "",
    ) -> None:
        self.shapes.append(Words((x, y), text, role, size, anchor, bold, name))
