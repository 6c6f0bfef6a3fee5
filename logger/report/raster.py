"""Shapes as a PNG or PDF file, for text documents and plotters that take no SVG.

Why it exists: a picture that is drawn a second time by hand for another format is a second picture. Here the same list
of shapes goes through the plotting library; nothing about a rail is known in this module.
"""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from logger.errors import CannotSave
from logger.report.shapes import COLOURS, Area, Picture, Shape, Stroke
from logger.wording import printable

if TYPE_CHECKING:
    from matplotlib.axes import Axes

UNITS_PER_INCH = 96.0
DPI = 192
POINTS_PER_UNIT = 72.0 / UNITS_PER_INCH
_ANCHORS = {"start": "left", "middle": "center", "end": "right"}


def save(picture: Picture, path: Path) -> None:
    """Write ``picture`` to ``path`` (.png or .pdf). CannotSave where it cannot be written."""
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure

    figure = Figure(figsize=(picture.width / UNITS_PER_INCH, picture.height / UNITS_PER_INCH), facecolor="white")
    FigureCanvasAgg(figure)
    axes = figure.add_axes((0.0, 0.0, 1.0, 1.0))
    axes.set_xlim(0, picture.width)
    axes.set_ylim(picture.height, 0)
    axes.axis("off")
    for order, shape in enumerate(picture.shapes):
        _draw(axes, shape, order)
    kind = path.suffix.lower().lstrip(".")
    said = {"Title": printable(picture.title)} if picture.title else {}
    try:
        figure.savefig(path, format=kind, dpi=DPI, metadata=said)
    except OSError as error:
        raise CannotSave(f"{path} cannot be written: {error.strerror or error}.", "Choose another place.") from error


def _draw(axes: Axes, shape: Shape, order: int) -> None:
    from matplotlib.patches import Polygon

    if isinstance(shape, Area):
        fill = {"facecolor": COLOURS[shape.role], "edgecolor": "none", "linewidth": 0.0}
        if shape.grain == "hatch":
            fill = {"facecolor": "none", "edgecolor": COLOURS["rule"], "linewidth": 0.0, "hatch": "///"}
        elif shape.grain == "dots":
            fill = {"facecolor": COLOURS["low"], "edgecolor": COLOURS["dots"], "linewidth": 0.0, "hatch": "...."}
        axes.add_patch(Polygon(shape.points, closed=True, zorder=order, **fill))
    elif isinstance(shape, Stroke):
        x, y = zip(*shape.points, strict=True)
        width = shape.width * POINTS_PER_UNIT
        line = axes.plot(x, y, color=COLOURS[shape.role], linewidth=width, zorder=order)[0]
        if shape.dash:
            line.set_dashes([part / shape.width for part in shape.dash])
    else:
        axes.text(
            *shape.at,
            printable(shape.text),
            color=COLOURS[shape.role],
            fontsize=shape.size * POINTS_PER_UNIT,
            ha=_ANCHORS[shape.anchor],
            va="baseline",
            fontweight="bold" if shape.bold else "normal",
            zorder=order,
            parse_math=False,  # a dollar sign starts no formula
        )
