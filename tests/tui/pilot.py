"""What the tests of the screens share: an app on invented parts, what is shown, and a way to type."""

import asyncio
from contextlib import asynccontextmanager

from logger.tui.invented import invented_app
from logger.tui.scenes import settled

SIGNS = {
    " ": "space",
    ".": "full_stop",
    ",": "comma",
    "-": "minus",
    "+": "plus",
    "/": "slash",
    "=": "equals_sign",
    "~": "tilde",
}


@asynccontextmanager
async def opened(size=(80, 24), **options):
    """The app with its first screen drawn and everything it asked for answered."""
    app = invented_app(**options)
    async with app.run_test(size=size) as pilot:
        await settled(app, pilot)
        yield app, pilot


def shown(app):
    """Everything on the screen as text."""
    return "\n".join("".join(segment.text for segment in strip) for strip in app.screen._compositor.render_strips())


async def press(app, pilot, *keys):
    """Keys one after another, each answered before the next; ``'text`` is typed sign by sign."""
    await settled(app, pilot)
    for key in keys:
        await pilot.press(*([SIGNS.get(sign, sign) for sign in key[1:]] if key.startswith("'") else [key]))
        await settled(app, pilot)


def run(scenario):
    """One scenario in a loop of its own."""
    asyncio.run(scenario)


def entries(app):
    return app.session.job.standing_entries()


async def to_check(app, pilot, name):
    """The board's cursor on a check, by its name."""
    names = [row.check.name for row in app.session.board.rows]
    by = names.index(name) - names.index(app.screen.chosen.check.name)
    await pilot.press(*["down" if by > 0 else "up"] * abs(by))
