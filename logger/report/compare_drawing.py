"""Two sweeps as one picture: the rail as it is now, as it was dotted, and what changed in a strip below.

Why it exists: a change of a hundredth is lost in a picture scaled to the band. The strip has a scale of its own, zero
in the middle and the uncertainty of the *difference* round it: only what leaves that sleeve has moved.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np

from analysis.history import Shift
from logger.rail_picture import RailPicture
from logger.report.rail_drawing import LEFT, RIGHT, WIDTH, Frame, draw_rail, figure, unit_word
from logger.report.shapes import Picture
from logger.tui.scale import Up

if TYPE_CHECKING:
    from analysis.results import FloatArray
    from logger.wording import Units

STRIP = 120.0


def draw_compared(
    rail: RailPicture,
    x_mm: FloatArray,
    change: FloatArray,
    uncertainty: FloatArray,
    shifts: Sequence[Shift],
    units: Units = "mm",
    title: str = "",
) -> Picture:
    """``rail`` with ``before`` set, and the change at ``x_mm`` (places,) with its expanded uncertainty below it."""
    picture = draw_rail(rail, units, title)
    top = picture.height + 22.0
    picture.height = top + STRIP + 26.0
    reach = 1.15 * max(float(np.max(np.abs(change) + uncertainty)), 1e-6)
    frame = Frame(rail, Up(-reach, 2 * reach, 1))

    def y(value: float) -> float:
        return top + STRIP * (1.0 - (value + reach) / (2 * reach))

    for away in (reach / 1.15, -reach / 1.15):
        picture.words(
            LEFT - 8, y(away) + 4, figure(away, rail.unit, units, sign=True), "ink", 12, "end", name="change-scale"
        )
        picture.line([(LEFT - 5, y(away)), (LEFT, y(away))], "ink")
    picture.words(LEFT, top - 8, "change since then; grey: its uncertainty", "soft", 12)
    picture.words(LEFT - 8, top + STRIP + 14, unit_word(rail.unit, units), "soft", 12, "end")
    places = np.linspace(float(x_mm[0]), float(x_mm[-1]), len(x_mm))
    spread = np.interp(places, x_mm, uncertainty)
    edge = [(frame.x(float(x)), y(float(u))) for x, u in zip(places, spread, strict=True)]
    base = [(frame.x(float(x)), y(-float(u))) for x, u in zip(places[::-1], spread[::-1], strict=True)]
    picture.area(edge + base, "band", "sleeve")
    picture.line([(LEFT, y(0.0)), (WIDTH - RIGHT, y(0.0))], "ink", 1.0, "zero")
    picture.line([(frame.x(float(x)), y(float(v))) for x, v in zip(x_mm, change, strict=True)], "low", 2.0, "change")
    for shift in shifts:
        x, at = frame.x(shift.x_mm), y(shift.change)
        role = "high" if shift.clear else "soft"
        picture.line(
            [(x, y(shift.change - shift.uncertainty)), (x, y(shift.change + shift.uncertainty))], role, 1.6, "spread"
        )
        picture.box(x - 3.5, at - 3.5, 7, 7, role, "shift")
        said = f"{shift.place} {figure(shift.change, rail.unit, units, sign=True)}" if shift.clear else shift.place
        picture.words(x, top + STRIP + 16, said, role, 12, "middle", shift.clear, "shift-name")
    return picture
