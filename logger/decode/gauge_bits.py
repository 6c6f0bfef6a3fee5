"""Frames of clocked bits from a gauge's data port: the 24-bit port, and any digit frame the user describes.

Why it exists: low-cost indicators and calipers send bits on a clock line, each kind with its own order of bits and
digits. All of them are one description (:class:`BitFrame`), so a new kind is a YAML file and no code. It prevents the
mistake of reading a frame by the wrong layout: a frame with the wrong number of bits, a digit above nine or a bit set
that must be clear is refused, never repaired.

The 24-bit port (four independent public descriptions agree, but for one that puts the sign at bit 21; 20 is used)::

    bit   0 ................. 19   20    21 22   23
          magnitude, bit 0 first   sign  0  0    inch      0.01 mm or 0.0005 in a count; about 1.5 V

A digit frame is groups of 4 bits (BCD), for example::

    group   0       1 ............. 6    7        8
            sign    six digits           places   unit

What a cable does to it: a lost clock edge shortens the frame, a spike lengthens it, noise on the data line flips a bit.
There is no checksum, so a flipped bit *inside* the magnitude of a frame of the right length cannot be seen here: it is
a spike for the spike filter, which is why the node's own line carries a checksum and the gauge lead must be short.

Bits arrive in the order of transmission, written as text of 0 and 1 or as hexadecimal digits whose highest bit came
first (the sensor node's way).
"""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal
from typing import Literal

BITS_AT_MOST = 64
"""Longest frame the node catches."""

BitOrder = Literal["low first", "high first"]
DigitOrder = Literal["high first", "low first"]


@dataclass(frozen=True, slots=True)
class BitFrame:
    """The layout of one frame. Places count bits in the order of transmission, the first bit being 0.

    ``digits`` 0: the magnitude is one binary number; otherwise so many groups of 4 bits (BCD) starting at
    ``first_bit``. ``bit_order`` is that inside the magnitude or inside each digit, ``digit_order`` that of the digits.
    ``places_at``: first bit of a 4-bit group giving the number of decimal places (1 to 5 mean divide by 10 to 100000);
    None: ``scale`` and ``inch_scale`` are the value of one count. ``unit`` is that of a frame without the
    inch bit. ``inverted``: every bit is turned over first. ``must_be``: (place, 0 or 1) pairs that are fixed.
    """

    bits: int
    first_bit: int
    width: int
    bit_order: BitOrder = "low first"
    digits: int = 0
    digit_order: DigitOrder = "high first"
    sign_at: int | None = None
    inch_at: int | None = None
    places_at: int | None = None
    scale: float = 0.01
    inch_scale: float = 0.0005
    unit: str = "mm"
    inverted: bool = False
    must_be: tuple[tuple[int, int], ...] = ()

    def faults(self) -> list[str]:
        """What makes this layout unusable, each in a sentence; empty when it is sound."""
        faults = []
        if not 1 <= self.bits <= BITS_AT_MOST:
            faults.append(f"a frame of {self.bits} bits; 1 to {BITS_AT_MOST} can be caught")
        if self.digits and self.width != 4 * self.digits:
            faults.append(f"{self.digits} digits take {4 * self.digits} bits, not {self.width}")
        faults += self._places_outside()
        faults += self._shared_places()
        if self.scale <= 0 or self.inch_scale <= 0:
            faults.append("one count must be worth more than nothing")
        return faults

    def _parts(self) -> dict[str, range]:
        parts = {"the magnitude": range(self.first_bit, self.first_bit + self.width)}
        if self.sign_at is not None:
            parts["the sign"] = range(self.sign_at, self.sign_at + 1)
        if self.inch_at is not None:
            parts["the unit"] = range(self.inch_at, self.inch_at + 1)
        if self.places_at is not None:
            parts["the decimal places"] = range(self.places_at, self.places_at + 4)
        for place, _ in self.must_be:
            parts[f"the fixed bit {place}"] = range(place, place + 1)
        return parts

    def _places_outside(self) -> list[str]:
        return [
            f"{name}: bits {span.start} to {span.stop - 1} are not all in a frame of {self.bits}"
            for name, span in self._parts().items()
            if not span or span.start < 0 or span.stop > self.bits
        ]

    def _shared_places(self) -> list[str]:
        owner: dict[int, str] = {}
        faults = []
        for name, span in self._parts().items():
            taken = next((owner[place] for place in span if place in owner), None)
            if taken is not None:
                faults.append(f"{name} and {taken} share a bit")
            owner.update(dict.fromkeys(span, name))
        return faults


PORT_24 = BitFrame(bits=24, first_bit=0, width=20, sign_at=20, inch_at=23, must_be=((21, 0), (22, 0)))
"""The 24-bit gauge data port."""


def bits_from_hex(text: str, count: int) -> str | None:
    """``count`` bits as 0 and 1 from hexadecimal digits (highest bit of a digit came first), None if they differ."""
    if not 1 <= count <= BITS_AT_MOST or len(text) != (count + 3) // 4:
        return None
    if any(digit not in "0123456789ABCDEFabcdef" for digit in text):
        return None
    bits = f"{int(text, 16):0{4 * len(text)}b}"
    return bits[:count] if "1" not in bits[count:] else None


def read_frame(frame: BitFrame, bits: str) -> tuple[float, str] | str:
    """``(value, unit)`` of a frame of 0 and 1 in the order of transmission, or why it is refused.

    ``unit`` is ``in`` or the layout's own; the sign is the gauge's own.
    """
    if len(bits) != frame.bits:
        return f"gauge frame of {len(bits)} bits instead of {frame.bits}"
    if frame.inverted:
        bits = bits.translate(_FLIP)
    for place, wanted in frame.must_be:
        if bits[place] != str(wanted):
            return f"gauge frame with bit {place} not {wanted}"
    count = _magnitude(frame, bits)
    if isinstance(count, str):
        return count
    inch = frame.inch_at is not None and bits[frame.inch_at] == "1"
    scale = _scale(frame, bits, inch)
    if isinstance(scale, str):
        return scale
    negative = frame.sign_at is not None and bits[frame.sign_at] == "1" and count
    return float(-count * scale if negative else count * scale), "in" if inch else frame.unit


_FLIP = str.maketrans("01", "10")


def _number(bits: str, order: BitOrder) -> int:
    return int(bits[::-1] if order == "low first" else bits, 2)


def _magnitude(frame: BitFrame, bits: str) -> int | str:
    body = bits[frame.first_bit : frame.first_bit + frame.width]
    if not frame.digits:
        return _number(body, frame.bit_order)
    digits = [_number(body[at : at + 4], frame.bit_order) for at in range(0, frame.width, 4)]
    if max(digits) > 9:
        return f"gauge frame with a digit of {max(digits)}"
    if frame.digit_order == "low first":
        digits.reverse()
    return int("".join(map(str, digits)))


def _scale(frame: BitFrame, bits: str, inch: bool) -> Decimal | str:
    if frame.places_at is None:
        return Decimal(str(frame.inch_scale if inch else frame.scale))
    places = _number(bits[frame.places_at : frame.places_at + 4], frame.bit_order)
    if places > 5:
        return f"gauge frame with {places} decimal places"
    return Decimal(1).scaleb(-places)
