"""Bytes as text that is safe on a screen, in a CSV cell and in a spreadsheet, and can be turned back.

Why it exists: a wire may carry terminal codes, commas, quotes or ``=HYPERLINK(...)``. The mistake prevented: letting
any of that reach a terminal, break a row or start a formula. One escaping for all three, ASCII only, reversible:
backslash, CR, LF, TAB as ``\\\\ \\r \\n \\t``, everything else outside printable ASCII and the double quote as
``\\xHH``, and a first character that starts a spreadsheet formula (``= + - @``) as ``\\xHH`` as well.
"""

from __future__ import annotations

import re

_ESCAPED = re.compile(r"(?:[ !#-\[\]-~]|\\[\\rnt]|\\x[0-9a-f]{2})*")
_FORMULA = "=+-@"


def escape_bytes(raw: bytes) -> str:
    """``raw`` as one line of printable ASCII; :func:`unescape_bytes` turns it back."""
    if b"'" in raw:  # the interpreter's own form would put a backslash before it where a double quote is there too
        text = raw.decode("latin-1").encode("unicode_escape").decode("ascii").replace('"', "\\x22")
    else:
        text = repr(raw)[2:-1].replace('"', "\\x22")
    if text and text[0] in _FORMULA:
        text = f"\\x{ord(text[0]):02x}{text[1:]}"
    return text


def unescape_bytes(text: str) -> bytes:
    """The bytes behind ``text``. Raises ValueError where ``text`` was not made by :func:`escape_bytes`."""
    if _ESCAPED.fullmatch(text) is None:
        raise ValueError("not escaped bytes")
    return text.encode("ascii").decode("unicode_escape").encode("latin-1")


def show_bytes(raw: bytes, at_most: int = 60) -> str:
    """``raw`` for a person: no byte of it can reach the terminal as a code; cut with an ellipsis."""
    text = raw[:at_most].decode("latin-1").encode("unicode_escape").decode("ascii")
    return text + ("…" if len(raw) > at_most else "")


def safe_cell(text: str) -> str:
    """``text`` for a CSV cell between double quotes: one line, no quote, no formula, no control code."""
    shown = "".join(c if c.isprintable() else " " for c in text).replace('"', "'")
    return f"'{shown}" if shown[:1] and shown[0] in _FORMULA else shown
