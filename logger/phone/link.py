"""The address a phone opens, with its token, as text and as a QR code.

Why it exists: nobody types 22 random characters with dirty hands, and nobody must be able to guess them. The token is
made anew each time the view is opened and dies with it.
"""

from __future__ import annotations

import contextlib
import secrets
import socket

TOKEN_BYTES = 16
"""128 bits: as many guesses as a key of that length would take."""
QUIET_ZONE = 2
"""Light modules round the code. The standard (ISO/IEC 18004) asks for 4; phones read 2, and a terminal is small."""


def new_token() -> str:
    """A token that can stand in an address."""
    return secrets.token_urlsafe(TOKEN_BYTES)


def network_address() -> str | None:
    """This computer's address on the local network, or None without one. No packet is sent: a UDP socket only has to
    be told where it would send to (an address reserved for documentation, RFC 5737) to know where it would send from.
    """
    with contextlib.suppress(OSError), socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
        probe.connect(("192.0.2.1", 9))
        address = str(probe.getsockname()[0])
        if address and not address.startswith(("127.", "0.")):
            return address
    return None


def qr_lines(text: str, *, ascii_only: bool = False) -> list[str]:
    """``text`` as a QR code in rows of characters, for a terminal with light writing on a dark ground.

    Light modules are written, dark ones left out; two rows share a line where half blocks can be drawn.
    """
    import segno

    matrix = [
        [bool(module) for module in row]
        for row in segno.make(text, micro=False, error="m").matrix_iter(border=QUIET_ZONE)
    ]
    if ascii_only:
        return ["".join("  " if dark else "##" for dark in row) for row in matrix]
    if len(matrix) % 2:
        matrix.append([True] * len(matrix[0]))
    signs = {(False, False): "█", (False, True): "▀", (True, False): "▄", (True, True): " "}
    return [
        "".join(signs[upper, lower] for upper, lower in zip(top, bottom, strict=True))
        for top, bottom in zip(matrix[::2], matrix[1::2], strict=True)
    ]
