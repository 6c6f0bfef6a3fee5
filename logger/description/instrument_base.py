"""What every instrument file says, whatever it speaks: name, link, unit, resolution, how it is asked, examples.

Why it exists: the recorder, the screen and the simulator treat all instruments alike. It prevents each family from
inventing its own words for the same thing, and an instrument file that was never tried: a file must carry examples of
its bytes, and they must decode to what it says they mean.

Attributes are the YAML keys. A family of frames is one subclass in ``instrument_frames``.
"""

from __future__ import annotations

from abc import abstractmethod
from collections.abc import Sequence
from typing import TYPE_CHECKING, Annotated, Any, Literal

from pydantic import BeforeValidator, Field, PrivateAttr

from analysis.units import SLOPE_UNITS, base_unit, to_base
from logger.decode import make_decoder
from logger.description.yaml_files import shown
from logger.description.yaml_models import Name, Positive, Problem, Strict, Text, refuse
from logger.readings import Gap, Garbage, Index, Mark, Reading, Record

if TYPE_CHECKING:
    from logger.decode import FrameSpec

Unit = Literal["mm", "in", "mm/m", "in/ft", "arcsec", "deg"]
MAX_POLL_BYTES = 64
MAX_WIRE_BYTES = 1024


def wire_bytes(value: Any) -> Any:
    """YAML text as bytes, one for each character; text that was meant to hold escapes is refused."""
    if not isinstance(value, str):
        return value
    if any(escape in value for escape in ("\\r", "\\n", "\\x", "\\t")):
        raise refuse(shown(value), 'escapes such as \\r only inside double quotes: "..."')
    if any(ord(character) > 0xFF for character in value):
        raise refuse(shown(value), "characters that are one byte on the wire")
    return value.encode("latin-1")


def _hex_bytes(value: Any) -> Any:
    if isinstance(value, str):
        try:
            return bytes.fromhex(value)
        except ValueError:
            raise refuse(shown(value), 'pairs of hexadecimal digits, as "01 04 02"') from None
    return value


WireBytes = Annotated[bytes, Field(max_length=MAX_WIRE_BYTES), BeforeValidator(wire_bytes)]
HexBytes = Annotated[bytes, Field(max_length=MAX_WIRE_BYTES), BeforeValidator(_hex_bytes)]


class Link(Strict):
    """The serial line's settings; a USB device that is no real serial line ignores them."""

    baud: Annotated[int, Field(strict=True, ge=50, le=4_000_000, description="bits a second")] = 9600
    bits: Literal[7, 8] = 8
    parity: Literal["none", "even", "odd"] = "none"
    stop: Literal[1, 2] = 1
    flow: Literal["none", "rts_cts", "xon_xoff"] = "none"
    dtr: bool | None = Field(default=None, description="true or false: hold this line so (some leads live on it)")
    rts: bool | None = Field(default=None, description="true or false: hold this line so")


class Example(Strict):
    """Bytes as the instrument sends them, and what they mean. ``value`` is in the instrument's own unit."""

    bytes: WireBytes | None = Field(default=None, description="as text in double quotes")
    hex: HexBytes | None = Field(default=None, description="for frames that are no text")
    value: float | None = Field(default=None, description="the last reading, in its own unit")
    value_mm: float | None = Field(default=None, description="the last reading, in mm")
    value_mm_per_m: float | None = Field(default=None, description="the last reading, in mm/m")
    position: float | None = Field(default=None, description="its position field, as sent")
    channel: str | None = Field(default=None, description="its channel")
    mark: bool = Field(default=False, description="true: it carries a mark")
    index: bool = Field(default=False, description="true: the encoder's index was passed")
    no_value: bool = Field(default=False, description="true: it says there is no reading")

    @property
    def wire(self) -> WireBytes:
        return self.bytes or self.hex or b""


Examples = Annotated[tuple[Example, ...], Field(min_length=1, max_length=40)]


class Instrument(Strict):
    """One instrument profile. ``load_instrument`` makes it; ``frame`` names the family and so the subclass."""

    name: Name = Field(description="what kind of instrument this is")
    link: Link = Field(default_factory=Link, description="serial line settings")
    frame: str = Field(description="the family of frames")
    unit: Unit = Field(description="the unit it speaks, or falls back on where its line names one")
    resolution: Positive | None = Field(default=None, description="smallest step it shows, in its unit")
    resolution_mm: Positive | None = Field(default=None, description="the same, in mm")
    poll: WireBytes | None = Field(default=None, description="what to send to get one reading; none: it streams")
    poll_interval_s: Annotated[float, Field(strict=True, ge=0.001, le=60)] = Field(
        default=0.1, description="how often to ask"
    )
    counts_per_mm: float | None = Field(default=None, description="where its position field counts, not mm")
    settle_s: Annotated[float, Field(strict=True, ge=0, le=60)] = Field(
        default=0.0, description="time constant of its damping; a level is read after six of them"
    )
    examples: Examples = Field(description="bytes it sends and what they mean")
    notes: Annotated[str, Field(max_length=4000)] = ""

    _source_text: str = PrivateAttr("")

    @property
    def source_text(self) -> str:
        """The YAML text this profile was read from, for a recording's descriptor."""
        return self._source_text

    @property
    def base_unit(self) -> Literal["mm", "mm/m"]:
        """mm for lengths, mm/m for slopes: the unit its values have inside."""
        return base_unit(self.unit)

    @property
    def step(self) -> float | None:
        """Its resolution in mm or mm/m; None where the file does not say."""
        if self.resolution_mm is not None:
            return self.resolution_mm
        return None if self.resolution is None else float(to_base(self.resolution, self.unit))

    @property
    def requests(self) -> tuple[bytes, ...]:
        """What to send, in turn, to get readings; empty for an instrument that streams."""
        return (self.poll,) if self.poll else ()

    @abstractmethod
    def frame_spec(self) -> FrameSpec:
        """How to decode its bytes, as the decoders want it."""

    def frame_problems(self) -> list[Problem]:
        """What is wrong with the family's own keys."""
        return []


def instrument_problems(instrument: Instrument) -> list[Problem]:
    """The checks that need more than one key; the examples are decoded only by a frame that is sound."""
    problems = [*instrument.frame_problems(), *_unit_problems(instrument), *_poll_problems(instrument)]
    if not problems:
        for index, example in enumerate(instrument.examples):
            problems += example_problems(instrument, example, ("examples", index))
    return problems


def _unit_problems(instrument: Instrument) -> list[Problem]:
    problems = []
    if instrument.resolution_mm is not None and instrument.unit in SLOPE_UNITS:
        found = f"resolution_mm with unit {instrument.unit}"
        problems.append(Problem(("resolution_mm",), found, "resolution, in the instrument's own unit"))
    if instrument.resolution_mm is not None and instrument.resolution is not None:
        problems.append(Problem(("resolution_mm",), "both resolution and resolution_mm", "one of them"))
    if instrument.counts_per_mm == 0:
        problems.append(Problem(("counts_per_mm",), "0", "counts for one millimetre, not zero"))
    return problems


def _poll_problems(instrument: Instrument) -> list[Problem]:
    if instrument.poll is not None and not 0 < len(instrument.poll) <= MAX_POLL_BYTES:
        return [Problem(("poll",), f"{len(instrument.poll)} bytes", f"1 to {MAX_POLL_BYTES} bytes")]
    return []


def decode_once(instrument: Instrument, raw: bytes) -> list[Record]:
    """Everything ``raw`` says, by a fresh decoder of this instrument."""
    decoder = make_decoder(instrument.frame_spec())
    return [*decoder.feed(raw, 1_000_000_000), *decoder.flush(2_000_000_000)]


def example_problems(instrument: Instrument, example: Example, path: tuple[str | int, ...]) -> list[Problem]:
    """Why an example does not mean what its file says it means; empty when it does."""
    if (example.bytes is None) == (example.hex is None):
        return [Problem(path, "both bytes and hex, or neither", 'one of them, as bytes: "+0.123\\r\\n"')]
    records = decode_once(instrument, example.wire)
    readings = [record for record in records if isinstance(record, Reading)]
    dirt = [record.why for record in records if isinstance(record, Garbage)]
    if dirt:
        return [Problem(path, f"{shown(example.wire)}: {dirt[0]}", "bytes that this file's own rules can read")]
    if example.no_value:
        silent = any(isinstance(record, Gap) for record in records) and not readings
        return [] if silent else [Problem(path, "a line that gives a reading", "a line that gives none (no_value)")]
    if not readings:
        return [Problem(path, f"{shown(example.wire)}, which gives no reading", "bytes that give one")]
    return _reading_problems(example, readings[-1], path) + _mark_problems(example, records, path)


def _reading_problems(example: Example, reading: Reading, path: Sequence[str | int]) -> list[Problem]:
    base = float(to_base(reading.value, reading.unit))
    unit = base_unit(reading.unit)
    means: list[tuple[str, Any, Any]] = [
        ("value", example.value, reading.value),
        ("value_mm", example.value_mm, base if unit == "mm" else None),
        ("value_mm_per_m", example.value_mm_per_m, base if unit == "mm/m" else None),
        ("position", example.position, reading.position),
        ("channel", example.channel, reading.channel),
    ]
    if all(said is None for _, said, _ in means[:3]):
        return [Problem(tuple(path), "no value", "value, value_mm or value_mm_per_m: what these bytes mean")]
    return [
        Problem((*path, key), f"{shown(said)}, decoded {shown(got)}", "what the bytes decode to")
        for key, said, got in means
        if said is not None and not _same(said, got)
    ]


def _same(said: Any, got: Any) -> bool:
    if isinstance(said, float) and isinstance(got, float):
        return abs(said - got) <= 1e-6 * max(1.0, abs(said))
    return bool(said == got)


def _mark_problems(example: Example, records: list[Record], path: Sequence[str | int]) -> list[Problem]:
    said = (("mark", example.mark, Mark), ("index", example.index, Index))
    got = [(key, wanted, any(isinstance(record, kind) for record in records)) for key, wanted, kind in said]
    return [
        Problem((*path, key), f"{key} {shown(wanted)}, decoded {shown(found)}", "what the bytes decode to")
        for key, wanted, found in got
        if wanted != found
    ]


__all__ = [
    "Example",
    "Instrument",
    "Link",
    "Text",
    "Unit",
    "decode_once",
    "example_problems",
    "instrument_problems",
]
