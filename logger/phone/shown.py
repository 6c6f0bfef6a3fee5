"""What the phone shows at one moment.

Why it exists: the page must not know machines, set-ups or signs; it draws what it is told. Words are made here, by the
same functions as on the command line, so that two people under one machine never read two different sentences.
"""

from __future__ import annotations

import json
import math
from dataclasses import asdict, dataclass
from typing import Literal

Link = Literal["opening", "receiving", "quiet", "lost", "ended"]
Kind = Literal["inside", "high", "low", "none"]
LONGEST_TEXT = 120


@dataclass(frozen=True, slots=True)
class Shown:
    """One moment. ``height`` in ``unit`` with its own words ``number``; between ``low`` and ``high`` nothing is to do.

    ``state`` decides shape and colour, ``text`` is the sentence (``▼ 0.013 to go, raise``), ``display`` what the
    instrument's own display shows. Without a reading ``height`` is None.
    """

    title: str = ""
    number: str = "no reading"
    unit: str = "mm"
    height: float | None = None
    low: float | None = None
    high: float | None = None
    target: float | None = None
    state: Kind = "none"
    text: str = ""
    bolt: str = ""
    how: str = ""
    display: str = ""
    link: Link = "opening"

    def as_json(self) -> str:
        """One line; what is no number is null, and no text is longer than the page has room for."""
        fields = {
            key: None if isinstance(value, float) and not math.isfinite(value) else _short(value)
            for key, value in asdict(self).items()
        }
        return json.dumps(fields, ensure_ascii=True, separators=(",", ":"))


def _short(value: object) -> object:
    return value[:LONGEST_TEXT] if isinstance(value, str) else value


def state_of(height: float | None, low: float | None, high: float | None) -> Kind:
    """Where a height stands against its two limits."""
    if height is None or low is None or high is None or not math.isfinite(height):
        return "none"
    return "high" if height > high else "low" if height < low else "inside"
