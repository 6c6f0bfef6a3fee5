"""The drawings of the set-ups, one for each check: what stands where, in words and numbers.

Why it exists: a drawing is data. The first line says from where it is seen, every other one is a part, its place in
columns and rows (see ``drawings``): ``line``, ``arrow`` x1 y1 x2 y2; ``box`` x y width height [text]; ``round`` x y
radius; ``dial`` x y way length; ``bubble`` x y width; ``words`` x y text; ``| 10`` behind the view: more rows. It
prevents a drawing that one of terminal, screen and report lacks.
"""

from __future__ import annotations

from logger.checks.drawings import Arrow, Box, Bubble, Dial, Drawing, Line, Part, Round, Words

WIDTH, HEIGHT = 72, 9

TEXTS = {
    "condition": """
        plan: outfeed to the right, table side up
        box 6 0 50 4
        words 8 1 table
        box 2 5 56 4 carriage on its rail: clean, no play
        words 22 1 clean, no burrs
        words 42 1 spindle bare
        line 24 4 42 4
        words 30 2 blade
    """,
    "base": """
        from the carriage side: outfeed to the right
        bubble 26 4 13
        line 4 5 60 5
        line 4 6 60 6
        words 6 7 table
        arrow 16 8 16 7
        arrow 50 8 50 7
        words 18 8 foot
        words 52 8 foot
        words 6 1 read, turn it end for end, read again;
        words 6 2 then the same across
        words 42 4 + outfeed end up
    """,
    "feet": """
        plan: outfeed to the right, table side up
        box 10 1 44 7 body
        box 6 0 4 3
        box 54 0 4 3
        box 6 6 4 3
        box 54 6 4 3
        words 2 1 2
        words 60 1 4
        words 2 7 1
        words 60 7 3
        words 15 3 feeler under each foot, in this order
    """,
    "twist": """
        plan: outfeed to the right, table side up
        box 6 0 52 8 table
        words 9 1 level
        words 49 1 level
        line 11 2 11 6
        line 51 2 51 6
        words 13 6 1 infeed
        words 39 6 2 outfeed
        words 13 2 not turned round between: + table side up
    """,
    "sag": """
        from the carriage side: outfeed to the right | 10
        words 6 0 straightedge on two equal blocks, 0.223 L from its ends
        box 6 1 52 3
        words 17 4 []
        words 45 4 []
        line 4 5 26 5
        line 27 6 37 6
        line 38 5 60 5
        words 25 4 feeler: the gap
        arrow 32 9 32 7
        words 34 8 strut
    """,
    "fit": """
        from the infeed end: table side to the right
        box 6 2 30 2
        words 12 1 carriage
        round 12 5 1
        round 29 5 1
        line 6 7 36 7
        words 14 8 rail
        dial 38 0 down 1
        words 42 0 tip on the top, near a corner
        arrow 4 5 4 3
        words 0 6 lift
        line 42 4 60 4
        words 46 5 table
    """,
    "rail": """
        from the carriage side: outfeed to the right
        box 6 0 38 3 carriage
        line 0 4 62 4
        words 1 5 rail
        arrow 8 7 8 5
        arrow 22 7 22 5
        arrow 36 7 36 5
        arrow 50 7 50 5
        words 6 8 B1
        words 20 8 B2
        words 34 8 B3
        words 48 8 B4
        dial 51 1 left 4
        words 54 0 stands on the
        words 54 1 table, tip on
        words 54 2 the carriage
    """,
    "straight": """
        plan: outfeed to the right, table side up
        box 6 0 50 3 straightedge on the table
        dial 20 4 up 1
        words 24 4 first: toward the table, at its near edge
        box 2 5 42 4
        words 4 6 carriage
        words 14 7 second: turned, from behind
        arrow 46 7 60 7
        words 48 6 travel
    """,
    "arbor": """
        from the infeed end: table side to the right
        box 8 3 26 3 arbor
        box 34 1 3 7
        words 39 2 flange
        dial 20 0 down 2
        words 23 0 tip on the journal
        words 8 8 turn by hand, power locked out
    """,
    "flange": """
        from the infeed end: table side to the right
        box 8 3 26 3 arbor
        box 34 0 3 8
        dial 46 1 left 6
        words 49 1 on the face, near
        words 49 2 its rim
        words 39 6 turn by hand,
        words 39 7 pushed one way
    """,
    "blade": """
        plan: outfeed to the right, table side up
        box 30 2 3 5
        words 34 6 arbor
        line 10 4 54 4
        words 12 3 blade
        dial 46 8 up 3
        words 50 7 on the plate, just
        words 50 8 inside the teeth
    """,
    "spindle": """
        from the carriage side: outfeed to the right
        line 30 0 30 6
        words 32 0 spindle, cutter block off
        line 30 2 48 2
        words 36 1 arm
        dial 48 3 down 2
        line 4 6 60 6
        words 6 7 table
        words 4 3 swing it round by hand:
        words 4 4 0 outfeed, 90 table side
    """,
    "bevel": """
        from the infeed end: table side to the right
        line 4 8 60 8
        words 46 7 table
        line 30 0 30 7
        words 32 0 blade's plate
        line 14 1 14 7
        words 6 0 square
        dial 18 2 right 9
        dial 18 6 right 9
        words 34 2 high
        words 34 6 low
    """,
    "upright": """
        plan: outfeed to the right, table side up
        box 6 0 50 4
        words 8 1 table
        round 32 2 1
        words 36 2 spindle
        box 2 5 58 4
        line 32 3 26 6
        words 21 6 tip
        words 34 6 carriage beside it;
        words 34 7 swing over 60 or more
    """,
    "knife": """
        plan: outfeed to the right, table side up
        line 6 4 34 4
        words 10 3 blade
        line 40 4 56 4
        words 44 3 riving knife
        line 4 5 60 5
        words 6 6 straightedge along the teeth,
        words 6 7 then on the other side
        arrow 48 7 48 6
        words 42 8 feeler: the gap
        words 34 1 gap
        line 35 2 39 2
    """,
    "toe": """
        plan: outfeed to the right, table side up
        words 6 0 the same tooth, turned from front to rear
        line 24 4 42 4
        words 30 2 blade
        dial 24 6 up 1
        dial 42 6 up 1
        words 16 6 front
        words 46 6 rear
        box 2 7 58 2
        words 4 6 carriage
    """,
    "scoring": """
        a test cut's end, from infeed: table side to the right
        box 4 0 24 7 board
        box 34 0 26 7 board
        line 26 5 26 7
        line 36 5 36 7
        words 29 3 kerf
        arrow 17 8 26 8
        words 3 8 carriage_step
        arrow 45 8 36 8
        words 47 8 table_step
    """,
    "outrigger": """
        from the infeed end: table side to the right
        line 2 3 60 3
        words 4 2 straightedge, from the carriage out
        box 38 4 22 3 carriage
        box 4 5 12 2
        words 4 7 outrigger
        arrow 18 5 18 4
        words 20 5 height, + up
        line 10 8 46 8
        words 20 7 arm on its pivot
    """,
    "fence": """
        plan: table side to the right, outfeed up
        line 50 0 50 8
        words 52 0 blade
        box 14 1 35 5 panel
        line 4 6 49 6
        line 4 7 49 7
        words 14 8 fence, behind the panel
        words 5 4 travel
        arrow 10 3 10 1
        words 52 3 fresh edge: turn it
        words 52 4 to the fence
    """,
    "length": """
        plan: table side to the right, outfeed up
        line 50 0 50 8
        words 52 0 blade
        box 14 2 35 3 part
        box 9 2 4 3
        words 9 1 stop
        line 4 5 49 5
        words 52 5 fence
        line 14 6 48 6 thin
        words 14 7 set, cut, measure, refit, repeat
    """,
    "rip": """
        plan: outfeed to the right, table side up
        line 6 1 58 1
        line 6 2 58 2
        words 8 0 rip fence
        arrow 20 5 20 3
        arrow 50 5 50 3
        words 23 4 distance at two or more x
        line 18 6 52 6
        words 30 7 blade
        words 6 8 growing toward outfeed is opening, +
    """,
    "final": """
        from the carriage side: outfeed to the right
        box 6 0 38 3 carriage
        line 0 4 62 4
        dial 52 1 left 4
        arrow 8 6 44 6
        arrow 44 7 8 7
        words 47 6 the same sweep
        words 47 7 as when accepted
        words 1 5 rail
    """,
}


def drawing_of(check: str, text: str) -> Drawing:
    """A drawing from its lines; ValueError for one that is no part."""
    view, *lines = [line.strip() for line in text.strip().splitlines()]
    view, _, rows = view.partition(" | ")
    return Drawing(check, view, WIDTH, int(rows or HEIGHT), tuple(_part(line) for line in lines))


def _part(line: str) -> Part:
    kind, *rest = line.split(" ", 5)
    if kind in ("line", "arrow"):
        x1, y1, x2, y2 = (float(each) for each in rest[:4])
        return Arrow(x1, y1, x2, y2) if kind == "arrow" else Line(x1, y1, x2, y2, thin=rest[4:] == ["thin"])
    x, y = float(rest[0]), float(rest[1])
    if kind == "words":
        return Words(x, y, line.split(" ", 3)[3])
    if kind == "box":
        return Box(x, y, float(rest[2]), float(rest[3]), " ".join(rest[4:]))
    if kind == "dial":
        return Dial(x, y, rest[2], int(rest[3]))  # type: ignore[arg-type]  # a way no dial has draws nothing: the tests
    if kind == "round":
        return Round(x, y, float(rest[2]))
    if kind == "bubble":
        return Bubble(x, y, int(rest[2]))
    raise ValueError(f"'{line}' is no part of a drawing.")


DRAWINGS = {check: drawing_of(check, text) for check, text in TEXTS.items()}
