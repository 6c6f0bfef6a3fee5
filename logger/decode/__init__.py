"""Bytes in, events out, no port: one module for each family of frames.

Why it exists: whatever comes down a wire is hostile and cut anywhere. A decoder here never raises, never blocks, never
keeps more than a bounded tail, and turns what it cannot understand into ``Garbage`` so that nothing is lost silently.
It is also deterministic: the same chunks with the same stamps give the same records, which is how a recording's
readings are made again from its bytes.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any, Protocol, runtime_checkable

from logger.decode.escaped import escape_bytes, show_bytes, unescape_bytes
from logger.readings import Record

if TYPE_CHECKING:
    from logger.decode.modbus_rtu import ModbusSpec
    from logger.decode.nmea import NmeaSpec
    from logger.decode.node import NodeSpec
    from logger.decode.scpi import ScpiSpec
    from logger.decode.typed import TypedSpec
    from logger.decode.value_line import ValueLineSpec

    FrameSpec = ValueLineSpec | ScpiSpec | NmeaSpec | ModbusSpec | NodeSpec | TypedSpec
    """What an instrument file says about its frames; each family has its own frozen dataclass."""

DECODERS = {
    "ValueLineSpec": ("value_line", "ValueLineDecoder"),
    "ModbusSpec": ("modbus_rtu", "ModbusDecoder"),
    "NmeaSpec": ("nmea", "NmeaDecoder"),
    "NodeSpec": ("node", "NodeDecoder"),
    "ScpiSpec": ("scpi", "ScpiDecoder"),
    "TypedSpec": ("typed", "TypedDecoder"),
}
"""The class of a spec -> the module and class of its decoder: the reading process loads the one family it needs."""


class Decoder(Protocol):
    """``t_ns`` is always the host's stamp; what comes out is in the recording's time base (the device's clock where the
    instrument file says so)."""

    def feed(self, chunk: bytes, t_ns: int) -> list[Record]:
        """``t_ns``: host stamp of the chunk's last byte."""

    def flush(self, t_ns: int) -> list[Record]:
        """The far end closed or went away: what is left. Feeding may go on afterwards."""


@runtime_checkable
class DeviceTimed(Protocol):
    """A decoder whose time base may be the device's clock also places what only the host saw."""

    def key(self, t_ns: int) -> list[Record]:
        """The operator's key went down at host time ``t_ns``; the mark may come later, with the line after it."""

    def in_time_base(self, t_ns: int) -> int:
        """A host stamp in the recording's time base."""


def make_decoder(frame: FrameSpec, **more: Any) -> Decoder:
    """The decoder for a frame spec in which nothing wrong was found when its instrument file was loaded."""
    module, name = DECODERS[type(frame).__name__]
    decoder: Decoder = getattr(import_module(f"logger.decode.{module}"), name)(frame, **more)
    return decoder


__all__ = [
    "Decoder",
    "DeviceTimed",
    "escape_bytes",
    "make_decoder",
    "show_bytes",
    "unescape_bytes",
]
