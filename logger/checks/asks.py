"""Readings that more than one check asks for, each worded once.

Why it exists: the marks of a test board serve carriage and rip fence, two feet of a carrier serve spindle and blade. It
prevents the same reading being asked for in two ways, with two defaults.
"""

from __future__ import annotations

from logger.checks.model import Ask

CARRIER = (
    Ask("feet_apart", "mm", "distance of the carrier's feet", (30.0, 2000.0), needed=False),
    Ask("foot_direction", "deg", "the direction of one of them", (0.0, 360.0), needed=False, default=0.0),
)
"""Where a spindle's carrier can be shimmed."""

FEET_ACROSS = Ask("feet_across", "mm", "distance of the feet across", (200.0, 3000.0))
FOOT_PITCH = Ask("pitch", "mm", "thread pitch of the foot screws", (0.5, 4.0), needed=False)
LEVEL_ON_CASTING = (
    Ask("flat", "mm", "how far a spot is from flat (k = 2)", (0.0, 0.5), needed=False, default=0.015),
    Ask("level", "mm", "between the level's feet", (50.0, 1000.0), needed=False, default=200.0),
)
"""What a casting's own form does under a level of that length."""


OPENING = Ask("wanted", "mm/m", "the opening to aim at", (0.0, 1.0), needed=False, default=0.05)
"""A hair of it, for carriage and rip fence."""


def by_marks(first: str) -> tuple[Ask, ...]:
    """Marks in the kerf of a test board; ``first`` says which of two walls is written first."""
    only = ("by", ("marks",))
    depth = f"how deep (both: away from {first} first)"
    stands = "how far the blade stands out of the table"
    above = "above the table, where the depth was read"
    swing = "total reading of the blade at its teeth"
    one = "uncertainty of one depth (k = 2)"
    return (
        Ask("wall", "", "the wall with marks", words=("away", "guide", "both", "none"), only=only),
        Ask("depth", "mm", depth, (0.0, 1.0), many=True, needed=False, feeler=True, only=only),
        Ask("radius", "mm", "of the blade", (50.0, 400.0), only=only),
        Ask("projection", "mm", stands, (5.0, 250.0), only=only),
        Ask("height", "mm", above, (0.0, 200.0), needed=False, default=0.0, only=only),
        Ask("swing", "mm", swing, (0.0, 1.0), needed=False, only=only),
        Ask("depth_u", "mm", one, (0.0, 0.2), needed=False, default=0.01, only=only),
    )
