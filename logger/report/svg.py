"""Shapes as SVG, to stand in a page or in a file of their own.

Why it exists: a page that asks for nothing from outside must carry its pictures in itself. Every text is escaped here,
whatever it came from; nothing else of a user's reaches the markup.
"""

from __future__ import annotations

import itertools

from markupsafe import Markup, escape

from logger.report.shapes import COLOURS, Area, Picture, Point, Shape, Stroke
from logger.wording import printable

FONT = "ui-sans-serif, system-ui, 'Segoe UI', 'Helvetica Neue', Arial, sans-serif"
_numbers = itertools.count(1)


def svg(picture: Picture, *, alone: bool = False) -> Markup:
    """The picture as an ``svg`` element; ``alone`` with what a file of its own needs."""
    own = f"g{next(_numbers)}"
    space = Markup(' xmlns="http://www.w3.org/2000/svg"') if alone else Markup("")
    width, height = _n(picture.width), _n(picture.height)
    size = Markup(' width="{}" height="{}"').format(width, height) if alone else Markup("")
    shapes = Markup("\n").join(_shape(shape, own) for shape in picture.shapes)
    return Markup(
        '<svg{} viewBox="0 0 {} {}"{} role="img" aria-labelledby="{}-t" font-family="{}">'
        '<title id="{}-t">{}</title>{}\n{}\n</svg>'
    ).format(space, width, height, size, own, FONT, own, printable(picture.title), _grains(own), shapes)


def _grains(own: str) -> Markup:
    """Dots and hatch: what a printer without colours keeps of a hollow and of what was not seen."""
    return Markup(
        '<defs><pattern id="{0}-dots" width="5" height="5" patternUnits="userSpaceOnUse">'
        '<rect width="5" height="5" fill="{1}"/><circle cx="1.5" cy="1.5" r="1.1" fill="{2}"/></pattern>'
        '<pattern id="{0}-hatch" width="8" height="8" patternUnits="userSpaceOnUse" patternTransform="rotate(45)">'
        '<line x1="0" y1="0" x2="0" y2="8" stroke="{3}" stroke-width="1.4"/></pattern></defs>'
    ).format(own, COLOURS["low"], COLOURS["dots"], COLOURS["rule"])


def _shape(shape: Shape, own: str) -> Markup:
    if isinstance(shape, Area):
        fill = f"url(#{own}-{shape.grain})" if shape.grain else COLOURS[shape.role]
        return Markup('<polygon{} points="{}" fill="{}"/>').format(_class(shape.name), _points(shape.points), fill)
    if isinstance(shape, Stroke):
        dash = Markup(' stroke-dasharray="{}"').format(" ".join(map(_n, shape.dash))) if shape.dash else Markup("")
        return Markup(
            '<polyline{} points="{}" fill="none" stroke="{}" stroke-width="{}"{} stroke-linejoin="round"/>'
        ).format(_class(shape.name), _points(shape.points), COLOURS[shape.role], _n(shape.width), dash)
    anchor = Markup(' text-anchor="{}"').format(shape.anchor) if shape.anchor != "start" else Markup("")
    weight = Markup(' font-weight="700"') if shape.bold else Markup("")
    return Markup('<text{} x="{}" y="{}" font-size="{}" fill="{}"{}{}>{}</text>').format(
        _class(shape.name), _n(shape.at[0]), _n(shape.at[1]), _n(shape.size), COLOURS[shape.role], anchor, weight,
        escape(printable(shape.text)),
    )  # fmt: skip


def _class(name: str) -> Markup:
    return Markup(' class="{}"').format(name) if name else Markup("")


def _points(points: tuple[Point, ...]) -> str:
    return " ".join(f"{_n(x)},{_n(y)}" for x, y in points)


def _n(value: float) -> str:
    text = f"{value:.2f}".rstrip("0").rstrip(".")
    return "0" if text == "-0" else text
