"""Stiffness of a rail's cross-section from a few tape-measure dimensions.

Why it exists: hardly anybody knows the second moment of area of the beam under their carriage, and anybody can measure
its width, height and wall. It prevents guessing a stiffness that could have been worked out, and taking an open
section for a closed one (their torsional stiffness differs a hundredfold).

``I`` is about the horizontal axis through the centroid (bending up and down), ``J`` is Saint-Venant's torsion constant,
both in mm^4; areas in mm^2. Corners are taken as square. Rolled sections have fillets and rounded corners: 3 to 6 %.

* Closed thin wall: Bredt, J = 4 A_m^2 t / p, with A_m and p of the wall's middle line (EN 10210-2:2019 annex A uses the
  same form with rounded corners).
* Open thin wall: J = sum(b t^3) / 3.
* Full rectangle: Saint-Venant's series as in Timoshenko and Goodier, Theory of Elasticity, section 109.
"""

from __future__ import annotations

import math
from typing import Annotated, Literal, Self, TypeVar

from pydantic import Field, model_validator

from logger.description.yaml_models import Positive, Strict, refuse

_S = TypeVar("_S", bound=Strict)


def rectangle_torsion_mm4(width_mm: float, height_mm: float) -> float:
    """Saint-Venant's torsion constant of a full rectangle, either side the longer, mm^4."""
    long, short = max(width_mm, height_mm), min(width_mm, height_mm)
    series = sum(math.tanh(n * math.pi * long / (2 * short)) / n**5 for n in range(1, 20, 2))
    return long * short**3 * (1 / 3 - 64 / math.pi**5 * (short / long) * series)


def _stacked(*layers: tuple[float, float, float]) -> tuple[float, float]:
    """Area and I of rectangles given as (width, from height, to height), about their common horizontal centroid."""
    area = sum(width * (top - bottom) for width, bottom, top in layers)
    centre = sum(width * (top**2 - bottom**2) / 2 for width, bottom, top in layers) / area
    about_base = sum(width * (top**3 - bottom**3) / 3 for width, bottom, top in layers)
    return area, about_base - area * centre**2


class Solid(Strict):
    """A full rectangular bar."""

    shape: Literal["solid"] = Field(description="a full rectangular bar")
    width_mm: Positive = Field(description="across")
    height_mm: Positive = Field(description="up and down")

    @property
    def area_mm2(self) -> float:
        return self.width_mm * self.height_mm

    @property
    def I_mm4(self) -> float:
        return self.width_mm * self.height_mm**3 / 12

    @property
    def J_mm4(self) -> float:
        return rectangle_torsion_mm4(self.width_mm, self.height_mm)


class Bar(Strict):
    """A full round bar."""

    shape: Literal["bar"] = Field(description="a full round bar")
    diameter_mm: Positive

    @property
    def area_mm2(self) -> float:
        return math.pi / 4 * self.diameter_mm**2

    @property
    def I_mm4(self) -> float:
        return math.pi / 64 * self.diameter_mm**4

    @property
    def J_mm4(self) -> float:
        return 2 * self.I_mm4


class Tube(Strict):
    """A round tube."""

    shape: Literal["tube"] = Field(description="a round tube")
    diameter_mm: Positive = Field(description="outside")
    wall_mm: Positive

    @model_validator(mode="after")
    def _wall_fits(self) -> Self:
        return _refuse_thick(self, self.wall_mm, self.diameter_mm)

    @property
    def area_mm2(self) -> float:
        return math.pi / 4 * (self.diameter_mm**2 - (self.diameter_mm - 2 * self.wall_mm) ** 2)

    @property
    def I_mm4(self) -> float:
        return math.pi / 64 * (self.diameter_mm**4 - (self.diameter_mm - 2 * self.wall_mm) ** 4)

    @property
    def J_mm4(self) -> float:
        return 2 * self.I_mm4


class Box(Strict):
    """A closed rectangular hollow section."""

    shape: Literal["box"] = Field(description="a closed rectangular hollow section")
    width_mm: Positive = Field(description="outside, across")
    height_mm: Positive = Field(description="outside, up and down")
    wall_mm: Positive

    @model_validator(mode="after")
    def _wall_fits(self) -> Self:
        return _refuse_thick(self, self.wall_mm, min(self.width_mm, self.height_mm))

    @property
    def _inside(self) -> tuple[float, float]:
        return self.width_mm - 2 * self.wall_mm, self.height_mm - 2 * self.wall_mm

    @property
    def area_mm2(self) -> float:
        width, height = self._inside
        return self.width_mm * self.height_mm - width * height

    @property
    def I_mm4(self) -> float:
        width, height = self._inside
        return (self.width_mm * self.height_mm**3 - width * height**3) / 12

    @property
    def J_mm4(self) -> float:
        middle = (self.width_mm - self.wall_mm, self.height_mm - self.wall_mm)
        return 4 * (middle[0] * middle[1]) ** 2 * self.wall_mm / (2 * (middle[0] + middle[1]))


class Angle(Strict):
    """An L of two legs, one lying and one upright. Bending is taken straight up and down, the sideways part held."""

    shape: Literal["angle"] = Field(description="an L, one leg lying, one upright")
    width_mm: Positive = Field(description="the lying leg, outside")
    height_mm: Positive = Field(description="the upright leg, outside")
    wall_mm: Positive

    @model_validator(mode="after")
    def _wall_fits(self) -> Self:
        return _refuse_thick(self, self.wall_mm / 2, min(self.width_mm, self.height_mm))

    @property
    def _layers(self) -> tuple[float, float]:
        return _stacked((self.width_mm, 0.0, self.wall_mm), (self.wall_mm, self.wall_mm, self.height_mm))

    @property
    def area_mm2(self) -> float:
        return self._layers[0]

    @property
    def I_mm4(self) -> float:
        return self._layers[1]

    @property
    def J_mm4(self) -> float:
        return (self.width_mm + self.height_mm - self.wall_mm) * self.wall_mm**3 / 3


class Channel(Strict):
    """A U: a web with two flanges, the web upright (open to the side) or lying (open up or down)."""

    shape: Literal["channel"] = Field(description="a U: a web with two flanges")
    web_mm: Positive = Field(description="outside, over both flanges")
    flange_mm: Positive = Field(description="outside, over the web")
    wall_mm: Positive
    web: Literal["upright", "lying"] = Field(
        default="upright", description="upright: open to the side; lying: open up or down"
    )

    @model_validator(mode="after")
    def _wall_fits(self) -> Self:
        return _refuse_thick(self, self.wall_mm, min(self.web_mm, 2 * self.flange_mm))

    @property
    def _layers(self) -> tuple[float, float]:
        wall, inside = self.wall_mm, self.web_mm - self.wall_mm
        if self.web == "upright":
            return _stacked((self.flange_mm, 0.0, wall), (wall, wall, inside), (self.flange_mm, inside, self.web_mm))
        return _stacked((self.web_mm, 0.0, wall), (2 * wall, wall, self.flange_mm))

    @property
    def area_mm2(self) -> float:
        return self._layers[0]

    @property
    def I_mm4(self) -> float:
        return self._layers[1]

    @property
    def J_mm4(self) -> float:
        return (self.web_mm + 2 * (self.flange_mm - self.wall_mm)) * self.wall_mm**3 / 3


Section = Annotated[Solid | Bar | Tube | Box | Angle | Channel, Field(discriminator="shape")]


def _refuse_thick(section: _S, wall_mm: float, outside_mm: float) -> _S:
    if 2 * wall_mm >= outside_mm:
        raise refuse(f"a wall of {wall_mm:g} mm in {outside_mm:g} mm", "a wall under half the outside")
    return section
