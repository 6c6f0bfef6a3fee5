"""Pictures of the screens, made by the program: ``python -m logger.tui.pictures FOLDER``.

Why it exists: a picture in the README that was drawn by hand shows a program that does not exist. These come from the
real screens on invented data (the Kiln Street workshop's panel saw; every number is made up). The framework's own
export adds a window with buttons, a title and the address of a web font; this one draws cells and nothing else, so a
picture needs no network and prints on a grey printer.
"""

from __future__ import annotations

import asyncio
import sys
from html import escape
from pathlib import Path

from rich.segment import Segment
from textual.strip import Strip

from logger.tui.app import TruestrokeApp

CELL_WIDTH, CELL_HEIGHT, BASELINE = 8.4, 18.0, 13.5
FONT = "'DejaVu Sans Mono', Menlo, Consolas, 'Liberation Mono', monospace"


def svg_of_strips(strips: list[Strip], width: int, paper: str, ink: str) -> str:
    """Rows of cells as one SVG. Grounds are rectangles; signs are text that is held to the cells' width."""
    height = len(strips)
    grounds: list[str] = []
    texts: list[str] = []
    for y, strip in enumerate(strips):
        x = 0
        for segment in strip:
            x = _segment(segment, x, y, grounds, texts, paper, ink)
    w, h = width * CELL_WIDTH, height * CELL_HEIGHT
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {w:g} {h:g}" width="{w:g}" height="{h:g}" '
        f'shape-rendering="crispEdges">\n<rect width="{w:g}" height="{h:g}" fill="{paper}"/>\n'
        + "\n".join(grounds)
        + f'\n<g font-family="{escape(FONT)}" font-size="14" xml:space="preserve">\n'
        + "\n".join(texts)
        + "\n</g>\n</svg>\n"
    )


_BLOCKS = {"▀": (0.0, 0.5), "█": (0.0, 1.0), "▔": (0.0, 0.09), "▁": (0.875, 0.125)} | {
    sign: (1 - eighths / 8, eighths / 8) for eighths, sign in enumerate(" ▁▂▃▄▅▆▇") if eighths > 1
}
"""Signs that are masses are drawn as rectangles: top and height in cells. A font would leave seams between rows."""


def _segment(segment: Segment, x: int, y: int, grounds: list[str], texts: list[str], paper: str, ink: str) -> int:
    text, style = segment.text, segment.style
    cells = segment.cell_length
    fg = style.color.get_truecolor().hex if style is not None and style.color is not None else ink
    bg = style.bgcolor.get_truecolor().hex if style is not None and style.bgcolor is not None else paper
    if bg.lower() != paper.lower():
        grounds.append(_rect(x, y, cells, 0.0, 1.0, bg))
    bold = ' font-weight="bold"' if style is not None and style.bold else ""
    start = 0
    while start < len(text):
        end = start + 1
        while end < len(text) and (text[end] == text[start] if text[start] in _BLOCKS else text[end] not in _BLOCKS):
            end += 1
        piece = text[start:end]
        if piece[0] in _BLOCKS:
            grounds.append(_rect(x + start, y, end - start, *_BLOCKS[piece[0]], fg))
        else:
            texts.extend(_words(piece, x + start, y, fg, bold))
        start = end
    return x + cells


def _rect(x: float, y: int, cells: int, top: float, height: float, fill: str) -> str:
    return (
        f'<rect x="{x * CELL_WIDTH:.1f}" y="{(y + top) * CELL_HEIGHT:.1f}" width="{cells * CELL_WIDTH:.1f}" '
        f'height="{height * CELL_HEIGHT:.1f}" fill="{fill}"/>'
    )


def _words(piece: str, x: int, y: int, fg: str, bold: str) -> list[str]:
    """Text between gaps of two and more spaces, each held to its cells."""
    out = []
    start = 0
    while start < len(piece):
        if piece[start] == " ":
            start += 1
            continue
        end = piece.find("  ", start)
        end = len(piece) if end < 0 else end
        word = piece[start:end].rstrip()
        out.append(
            f'<text x="{(x + start) * CELL_WIDTH:.1f}" y="{y * CELL_HEIGHT + BASELINE:.1f}" fill="{fg}"{bold} '
            f'textLength="{len(word) * CELL_WIDTH:.1f}" lengthAdjust="spacingAndGlyphs">{escape(word)}</text>'
        )
        start = end
    return out


def svg_of(app: TruestrokeApp) -> str:
    """The open screen as SVG."""
    from logger.tui.themes import LIGHT, PALETTES

    palette = PALETTES.get(app.theme, LIGHT)
    strips = app.screen._compositor.render_strips()
    return svg_of_strips(strips, app.size.width, palette.colours["paper"], palette.colours["ink"])


async def make_pictures(folder: Path, size: tuple[int, int] = (80, 24), *, dark: bool = False) -> list[Path]:
    """The main screens of the invented saw as ``live.svg`` and so on in ``folder``."""
    from logger.tui.invented import invented_app
    from logger.tui.scenes import SCENES, SIZES

    folder.mkdir(parents=True, exist_ok=True)
    written = []
    for name, scene in SCENES.items():
        app = invented_app(dark=dark, taken=name == "board")
        async with app.run_test(size=SIZES.get(name, size)) as pilot:
            await scene(app, pilot)
            path = folder / f"{name}.svg"
            path.write_text(svg_of(app), encoding="utf-8")
            written.append(path)
    return written


if __name__ == "__main__":
    asyncio.run(make_pictures(Path(sys.argv[1] if len(sys.argv) > 1 else "hardware/pictures")))
