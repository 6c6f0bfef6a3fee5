"""The families of frames an instrument file may name, each with its own keys: one model a family.

Why it exists: a new family must be one class here and one decoder, and nothing else in the program. It prevents keys of
one family from being silently accepted, and ignored, in another.

A family is a subclass of ``Instrument`` whose ``frame`` is a Literal with the family's name, and which says what its
decoder needs (``frame_spec``), what is wrong with its keys (``frame_problems``) and, where it is polled by frames it
builds itself, what to send (``requests``). ``FAMILIES`` is the registry.
"""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field

from logger.decode.gauge_bits import BITS_AT_MOST, BitFrame
from logger.decode.modbus_rtu import ModbusSpec, Register, spec_of
from logger.decode.nmea import NmeaSpec
from logger.decode.node import NodeSpec
from logger.decode.scpi import ScpiItem, ScpiSpec
from logger.decode.typed import TypedSpec
from logger.decode.value_line import ValueLineSpec, spec_faults
from logger.description.instrument_base import Instrument, Unit
from logger.description.yaml_models import Channel, Number, Positive, Problem, Strict, Whole

SEE = "see hardware/README.md"


class LineInstrument(Instrument):
    """A line of text with a number in it, streaming or asked for."""

    frame: Literal["line"] = Field(description="a line of text")
    pattern: Annotated[str, Field(min_length=1, max_length=1000)] = Field(
        description="regular expression for the whole line, with a group (?P<value>...)"
    )
    no_value: Annotated[str | None, Field(max_length=1000)] = Field(
        default=None, description="regular expression for lines that say there is no reading"
    )
    clock: Literal["host", "device"] = Field(
        default="host", description="device: the time group, device seconds, is the sweep's time base"
    )
    units: dict[str, Unit] = Field(default_factory=dict, description="what its unit group says, and which unit that is")

    def frame_spec(self) -> ValueLineSpec:
        return ValueLineSpec(self.pattern, self.unit, self.no_value, self.clock, tuple(self.units.items()))

    def frame_problems(self) -> list[Problem]:
        allowed = "see hardware/README.md, 'A line of text'"
        return [Problem((key,), what, allowed) for key, what in spec_faults(self.frame_spec())]


class ScpiItemKeys(Strict):
    """One comma-separated item of an answer: value = number x scale + offset."""

    channel: Channel = ""
    unit: Unit | None = Field(default=None, description="null or absent: the instrument's unit")
    used: bool = Field(default=True, description="false: this item is not looked at")
    scale: Number = Field(default=1.0, description="the unit for one of what it answers (metres to mm: 1000)")
    offset: Number = 0.0


class ScpiInstrument(Instrument):
    """A laboratory instrument asked by an SCPI query, answering IEEE 488.2 numbers."""

    frame: Literal["scpi"] = Field(description="answers to an SCPI query")
    query: Annotated[str, Field(min_length=2, max_length=64)] = Field(
        default="READ?", description="what is asked; it ends in a question mark"
    )
    items: Annotated[tuple[ScpiItemKeys, ...], Field(min_length=1, max_length=16)] = (ScpiItemKeys(),)

    @property
    def requests(self) -> tuple[bytes, ...]:
        return self.frame_spec().requests()

    def frame_spec(self) -> ScpiSpec:
        items = tuple(
            ScpiItem(item.channel, (item.unit or self.unit) if item.used else None, item.scale, item.offset)
            for item in self.items
        )
        return ScpiSpec(self.query, items)

    def frame_problems(self) -> list[Problem]:
        return [*_no_poll(self), *(Problem(("query",), fault, SEE) for fault in self.frame_spec().faults())]


class NmeaInstrument(Instrument):
    """NMEA 0183 / IEC 61162-1 transducer sentences: angles in degrees, displacements in metres."""

    frame: Literal["nmea_xdr"] = Field(description="XDR sentences with a checksum")
    transducers: Annotated[dict[Channel, Channel], Field(max_length=16)] = Field(
        default_factory=dict, description="its name in the sentence, and the channel it becomes; none: all of them"
    )

    def frame_spec(self) -> NmeaSpec:
        return NmeaSpec(tuple(self.transducers.items()))

    def frame_problems(self) -> list[Problem]:
        if self.unit not in ("deg", "mm"):
            return [Problem(("unit",), self.unit, "deg for an inclinometer, mm for a displacement probe")]
        return []


class RegisterKeys(Strict):
    """One quantity in a Modbus register map; registers count from 0, as on the wire."""

    channel: Channel = ""
    address: Annotated[int, Field(strict=True, ge=1, le=247)] = Field(default=1, description="the device's address")
    table: Literal["input", "holding"] = "input"
    register_: Annotated[int, Field(strict=True, ge=0, le=65535, alias="register")] = Field(
        description="counted from 0: a manual's 30009 or 40009 is 8"
    )
    type: Literal["int16", "uint16", "int32", "uint32", "float32"] = "int16"
    word_order: Literal["high first", "low first"] = "high first"
    scale: Number = Field(default=1.0, description="the unit for one count")
    unit: Unit | None = Field(default=None, description="absent: the instrument's unit")
    no_value: Annotated[tuple[Whole, ...], Field(max_length=8)] = Field(
        default=(), description="raw numbers that mean there is no reading"
    )


class ModbusInstrument(Instrument):
    """A device on RS-485 whose registers are read by Modbus RTU, functions 03 and 04 only."""

    frame: Literal["modbus_rtu"] = Field(description="Modbus RTU answers")
    registers: Annotated[tuple[RegisterKeys, ...], Field(min_length=1, max_length=32)] = Field(
        description="the quantities to read, of one device or several on the line"
    )

    @property
    def requests(self) -> tuple[bytes, ...]:
        return self.frame_spec().requests()

    def frame_spec(self) -> ModbusSpec:
        return spec_of(
            Register(
                keys.channel,
                keys.address,
                keys.table,
                keys.register_,
                keys.type,
                keys.unit or self.unit,
                keys.scale,
                keys.word_order,
                keys.no_value,
            )
            for keys in self.registers
        )

    def frame_problems(self) -> list[Problem]:
        return [*_no_poll(self), *(Problem(("registers",), fault, SEE) for fault in self.frame_spec().faults())]


class GaugeKeys(Strict):
    """A frame of clocked bits, places counted in the order of transmission from 0 (see ``BitFrame``)."""

    bits: Annotated[int, Field(strict=True, ge=1, le=BITS_AT_MOST)] = Field(description="length of a frame")
    first_bit: Whole = Field(description="where the magnitude begins")
    width: Whole = Field(description="bits of the magnitude, 4 for each digit")
    bit_order: Literal["low first", "high first"] = "low first"
    digits: Annotated[int, Field(strict=True, ge=0, le=12)] = Field(default=0, description="0: one binary number")
    digit_order: Literal["high first", "low first"] = "high first"
    sign_at: Whole | None = Field(default=None, description="bit that is 1 for minus")
    inch_at: Whole | None = Field(default=None, description="bit that is 1 for inch")
    places_at: Whole | None = Field(default=None, description="where four bits give the decimal places")
    scale: Positive = Field(default=0.01, description="one count, in the instrument's unit")
    inch_scale: Positive = Field(default=0.0005, description="one count in inch")
    inverted: bool = Field(default=False, description="true: 0 and 1 are the other way round")
    must_be: Annotated[dict[int, Literal[0, 1]], Field(max_length=BITS_AT_MOST)] = Field(
        default_factory=dict, description="bits that never change, and what they are"
    )


class NodeInstrument(Instrument):
    """The sensor node: a gauge's data port, an encoder and a foot switch."""

    frame: Literal["node"] = Field(description="lines of the sensor node")
    gauge: GaugeKeys | None = Field(default=None, description="the gauge's frame; absent: no gauge")
    position_channel: Channel = Field(
        default="", description="name under which the encoder's position is a reading of its own"
    )
    clock: Literal["host", "device"] = Field(default="host", description="device: the node's clock is the time base")

    def frame_spec(self) -> NodeSpec:
        frame = None
        if self.gauge is not None:
            keys = self.gauge.model_dump()
            frame = BitFrame(**{**keys, "must_be": tuple(self.gauge.must_be.items()), "unit": self.unit})
        encoder = self.counts_per_mm is not None
        return NodeSpec(frame, encoder, self.counts_per_mm, "", self.position_channel, self.clock)

    def frame_problems(self) -> list[Problem]:
        frame = self.frame_spec().frame
        problems = [Problem(("gauge",), fault, SEE) for fault in (frame.faults() if frame else [])]
        if frame is None and not self.position_channel:
            problems.append(Problem(("gauge",), "no gauge and no position_channel", "one of them, or nothing is read"))
        if self.position_channel and self.counts_per_mm is None:
            problems.append(Problem(("counts_per_mm",), "nothing", "the encoder's counts for one millimetre"))
        return problems


class TypedInstrument(Instrument):
    """Numbers typed by hand, or by a gauge whose cable types like a keyboard."""

    frame: Literal["typed"] = Field(description="digits and Enter")
    smallest: Number = Field(default=-50.0, description="anything below is a slip of the finger")
    largest: Number = Field(default=50.0, description="anything above is a slip of the finger")

    def frame_spec(self) -> TypedSpec:
        return TypedSpec(self.unit, self.smallest, self.largest)

    def frame_problems(self) -> list[Problem]:
        if not self.smallest < self.largest:
            return [Problem(("smallest",), f"{self.smallest:g} to {self.largest:g}", "smallest below largest")]
        return []


def _no_poll(instrument: Instrument) -> list[Problem]:
    if instrument.poll is None:
        return []
    return [Problem(("poll",), "a request written out", "none here: this family makes its own requests")]


FAMILIES: dict[str, type[Instrument]] = {
    "line": LineInstrument,
    "scpi": ScpiInstrument,
    "nmea_xdr": NmeaInstrument,
    "modbus_rtu": ModbusInstrument,
    "node": NodeInstrument,
    "typed": TypedInstrument,
}
"""``frame:`` in the file -> the model of its keys."""
