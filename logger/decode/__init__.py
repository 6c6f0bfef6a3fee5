"""Bytes in, events out, no port: one module for each family of frames.

Why it exists: whatever comes down a wire is hostile and cut anywhere. A decoder here never raises, never blocks, never
keeps more than a bounded tail, and turns what it cannot understand into ``Garbage`` so that nothing is lost silently.
It is also deterministic: the same chunks with the same stamps give the same records, which is how a recording's
readings are made again from its bytes.
"""

from __future__ import annotations

from typing import Protocol

from logger.decode.escaped import escape_bytes, show_bytes, unescape_bytes
from logger.decode.value_line import ValueLineDecoder, ValueLineSpec, spec_faults
from logger.readings import Record

FrameSpec = ValueLineSpec
"""What an instrument file says about its frames; each family has its own frozen dataclass."""


class Decoder(Protocol):
    """``t_ns`` is always the host's stamp; what comes out is in the recording's time base (the device's clock where the
    instrument file says so)."""

    def feed(self, chunk: bytes, t_ns: int) -> list[Record]:
        """``t_ns``: host stamp of the chunk's last byte."""

    def flush(self, t_ns: int) -> list[Record]:
        """The far end closed or went away: what is left. Feeding may go on afterwards."""

    def key(self, t_ns: int) -> list[Record]:
        """The operator's key went down."""

    def in_time_base(self, t_ns: int) -> int:
        """A host stamp in the recording's time base."""


def make_decoder(frame: FrameSpec) -> Decoder:
    """The decoder for a frame spec that ``spec_faults`` found nothing wrong with."""
    return ValueLineDecoder(frame)


__all__ = ["Decoder", "FrameSpec", "escape_bytes", "make_decoder", "show_bytes", "spec_faults", "unescape_bytes"]
