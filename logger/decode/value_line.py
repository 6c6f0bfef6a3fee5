"""A line of text with a number in it: the family most indicators and levels with a USB serial output speak.

::

    +0.123,1480.50,M\\r\\n          pattern  ^(?P<value>[+-]?\\d+\\.\\d+),(?P<position>\\d+\\.\\d+)(?P<mark>,M)?$
    ERR,t12.510\\r\\n               no_value ^ERR,t(?P<time>\\d+\\.\\d+)$

Named groups: ``value``, ``unit``, ``position`` (mm or counts), ``mark``, ``time`` (device seconds), ``mark_time``
(device seconds: when the key went down), ``channel``, ``index`` (not empty, or 1 after 0: the encoder's index was
passed) and ``index_position`` (the count at the index, where the line's own is of another moment). A pattern must fit
the whole line.

What a cable does to a line, and what becomes of it: cut or dirty lines do not fit and become ``Garbage``, whole; a line
that fits but whose number is none (``nan``, ``1e999``), whose unit is unknown or whose device time is no time is
``Garbage`` too. With ``clock: device`` a time that steps back, or far ahead, waits for the next line: if that goes on
from it, the device restarted (a ``Gap`` says so) or really paused; if not, the time was damaged and its line is
``Garbage``. No recovery is tried inside a line: half a number looks like a number.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Literal

from logger.clock import LONGEST_DEVICE_TIME_S, DeviceTimeBase, SharpenedStamps
from logger.decode.lines import LONGEST_LINE, LineSplitter
from logger.readings import Gap, Garbage, Index, Mark, Reading, Record

GROUPS = ("value", "position", "mark", "unit", "channel", "time", "mark_time", "index", "index_position")
UNITS = ("mm", "in", "mm/m", "in/ft", "arcsec", "deg")
LARGEST_VALUE = 1e9
"""No instrument shows more; a larger number is a damaged one."""
MARK_WINDOW_S = 60.0
"""A key went down at most this long before its line (and at most a second after)."""
_CHANNEL = re.compile(rb"[A-Za-z0-9_][A-Za-z0-9_.#:/-]{0,15}|")

Groups = tuple[bytes | None, ...]


@dataclass(frozen=True, slots=True)
class ValueLineSpec:
    """How to read such a line. ``units`` says what the unit group may hold and which unit that means; units that are
    spelled as in ``UNITS`` need no entry. ``unit`` is the unit of a line that names none."""

    pattern: str
    unit: str = "mm"
    no_value: str | None = None
    clock: Literal["host", "device"] = "host"
    units: tuple[tuple[str, str], ...] = ()


def spec_faults(spec: ValueLineSpec) -> list[tuple[str, str]]:
    """Everything wrong with a spec as ``(key, what)``; an instrument file with any of these is refused."""
    faults = _pattern_faults("pattern", spec.pattern, spec)
    if spec.no_value is not None:
        faults += _pattern_faults("no_value", spec.no_value, spec)
    if spec.unit not in UNITS:
        faults.append(("unit", f"unit {spec.unit!r}; allowed: {', '.join(UNITS)}"))
    faults += [("units", f"{said!r} means {unit!r}") for said, unit in spec.units if unit not in UNITS]
    return faults


def _pattern_faults(key: str, pattern: str, spec: ValueLineSpec) -> list[tuple[str, str]]:
    from logger.decode.pattern_safety import pattern_fault  # only a file being loaded needs it, not the reader

    fault = pattern_fault(pattern)
    if fault:
        return [(key, fault)]
    compiled = re.compile(pattern.encode("ascii"))
    faults = [
        (key, f"unknown group {name!r}; allowed: {', '.join(GROUPS)}")
        for name in compiled.groupindex
        if name not in GROUPS
    ]
    if key == "pattern" and "value" not in compiled.groupindex:
        faults.append((key, "no group (?P<value>...)"))
    if key == "no_value" and "value" in compiled.groupindex:
        faults.append((key, "a group (?P<value>...) in a line that says there is none"))
    if "index" in compiled.groupindex and not {"position", "index_position"} & set(compiled.groupindex):
        faults.append((key, "a group (?P<index>...) without (?P<position>...) or (?P<index_position>...)"))
    if spec.clock == "device" and "time" not in compiled.groupindex:
        faults.append((key, "no group (?P<time>...), which clock: device needs"))
    if compiled.fullmatch(b"") is not None:
        faults.append((key, "it fits an empty line"))
    return faults


class _LinePattern:
    """A pattern that always answers with all groups asked for, in the order of ``GROUPS`` unless said otherwise."""

    def __init__(self, pattern: str, groups: tuple[str, ...] = GROUPS) -> None:
        own = re.compile(pattern.encode("ascii")).groupindex
        never = "".join(f"(?P<{name}>(?!))?" for name in groups if name not in own)
        compiled = re.compile(f"(?:{pattern}){never}".encode("ascii"))
        self.fullmatch = compiled.fullmatch
        if groups is not GROUPS:
            self.numbers = tuple(compiled.groupindex[name] for name in groups)
            return
        # A time when the key went down is a mark, also where the pattern has no mark of its own.
        mark = "mark_time" if "mark" not in own and "mark_time" in own else "mark"
        index = "index_position" if "index" not in own and "index_position" in own else "index"
        taken = {"mark": mark, "index": index}
        self.numbers = tuple(compiled.groupindex[taken.get(name, name)] for name in GROUPS)


class ValueLineDecoder:
    """Bytes in, records out; see the module's docstring for the frame and for what becomes of dirt."""

    def __init__(self, spec: ValueLineSpec) -> None:
        self._spec = spec
        self._lines = LineSplitter()
        self._pattern = _LinePattern(spec.pattern)
        self._plain = _plain(spec)
        self._no_value = _LinePattern(spec.no_value) if spec.no_value is not None else None
        self._units = {unit.encode(): unit for unit in UNITS} | {said.encode(): unit for said, unit in spec.units}
        self._channels: dict[bytes | None, str] = {None: ""}
        self._mark_level = self._index_level = False
        self._stamps = SharpenedStamps()
        self._base = DeviceTimeBase() if spec.clock == "device" else None
        self._held: tuple[bytes, Groups, bool, float, int] | None = None
        self._keys: list[int] = []

    def feed(self, chunk: bytes, t_ns: int) -> list[Record]:
        return self._decode(self._lines.feed(chunk, t_ns))

    def flush(self, t_ns: int) -> list[Record]:
        records: list[Record] = [
            Garbage(self.in_time_base(at_ns), line[:LONGEST_LINE], "cut off before its line end")
            for at_ns, line in self._lines.flush(t_ns)
        ]
        if self._held is not None:
            records += self._settle_held(believe=self._held[3] >= self._base.last_s if self._base else False)
        records += self._marks_from_keys(at_end=True)
        return records

    def key(self, t_ns: int) -> list[Record]:
        """The operator's key went down at host time ``t_ns``. With the device's clock the mark waits for the line
        after it, to be placed between two lines."""
        if self._base is None:
            return [Mark(t_ns, "key")]
        self._keys.append(t_ns)
        return self._marks_from_keys()

    def in_time_base(self, t_ns: int) -> int:
        return t_ns if self._base is None else self._base.from_host(t_ns)

    # -- one line ----------------------------------------------------------------------------------------------------

    def _decode(self, lines: list[tuple[int, bytes]]) -> list[Record]:
        records: list[Record] = []
        fullmatch, numbers = self._pattern.fullmatch, self._pattern.numbers
        own_time, plain = self._base is not None, self._plain
        for t_ns, line in lines:
            if plain is not None and not self._mark_level:
                reading = _plain_reading(plain, t_ns, line, self._spec.unit)
                if reading is not None:
                    records.append(reading)
                    continue
            match = fullmatch(line) if len(line) <= LONGEST_LINE else None
            if match is None:
                self._other_line(t_ns, line, records)
                continue
            groups: Groups = match.group(*numbers)
            if own_time:
                self._device_line(t_ns, line, groups, True, records)
                continue
            if groups[5] is not None:
                t_ns = self._sharpened(groups[5], t_ns)
            self._value(t_ns, line, groups, records)
        if self._keys:
            records += self._marks_from_keys()
        return records

    def _value(self, t_ns: int, line: bytes, groups: Groups, records: list[Record]) -> None:
        value_text, position_text, mark, unit_text, channel_text, _, _, index, _ = groups
        if value_text is None:
            self._gap(t_ns, line, groups, records)
            return
        value = _number(value_text)
        position = None if position_text is None else _number(position_text)
        unit = self._spec.unit if unit_text is None else self._units.get(unit_text.strip())
        channel = self._channels.get(channel_text)
        if channel is None:
            channel = self._new_channel(channel_text)
        if value is None or unit is None or channel is None or (position is None and position_text is not None):
            why = _why(value is None, unit is None, channel is None)
            records.append(Garbage(t_ns, line, why))
            return
        records.append(Reading(t_ns, value, unit, channel, position))
        if index or self._index_level:
            self._index(t_ns, groups, position, records)
        if mark or self._mark_level:
            self._mark(t_ns, groups, records)

    def _gap(self, t_ns: int, line: bytes, groups: Groups, records: list[Record]) -> None:
        position = None if groups[1] is None else _number(groups[1])
        if position is None and groups[1] is not None:
            records.append(Garbage(t_ns, line, "its position is no number"))
            return
        records.append(Gap(t_ns, t_ns, "no value", position))
        if groups[7] or self._index_level:
            self._index(t_ns, groups, position, records)
        if groups[2] or self._mark_level:
            self._mark(t_ns, groups, records)

    def _other_line(self, t_ns: int, line: bytes, records: list[Record]) -> None:
        if len(line) > LONGEST_LINE:
            records.append(Garbage(t_ns, line[:LONGEST_LINE], f"no line end within {LONGEST_LINE} bytes"))
            return
        match = self._no_value.fullmatch(line) if self._no_value is not None else None
        if match is None or self._no_value is None:
            records.append(Garbage(t_ns, line, "does not fit the pattern"))
            return
        groups: Groups = match.group(*self._no_value.numbers)
        if self._base is not None:
            self._device_line(t_ns, line, groups, False, records)
            return
        self._gap(t_ns if groups[5] is None else self._sharpened(groups[5], t_ns), line, groups, records)

    def _new_channel(self, text: bytes | None) -> str | None:
        if text is None or len(self._channels) > 64 or _CHANNEL.fullmatch(text) is None:
            return None
        return self._channels.setdefault(text, text.decode("ascii"))

    # -- marks ---------------------------------------------------------------------------------------------------------

    def _mark(self, t_ns: int, groups: Groups, records: list[Record]) -> None:
        """A mark field that is not empty marks; one that shows a switch as 0 and 1 marks when it goes to 1."""
        text = (groups[2] or b"").strip(b" ,;")
        pressed, before = text not in (b"", b"0"), self._mark_level
        self._mark_level = pressed and text == b"1"
        if pressed and not before:
            records.append(Mark(self._mark_ns(t_ns, groups), "line"))

    def _index(self, t_ns: int, groups: Groups, position: float | None, records: list[Record]) -> None:
        """As a mark field is read. A count at the index that is no number leaves the line's own."""
        text = (groups[7] or b"").strip(b" ,;")
        own = None if groups[8] is None else _number(groups[8])
        switch = groups[8] is None  # a switch shown as 0 and 1; a count at the index may well be 0
        passed, before = text != b"" and not (switch and text == b"0"), self._index_level
        self._index_level = switch and passed and text == b"1"
        if passed and not before:
            records.append(Index(t_ns, position if own is None else own))

    def _mark_ns(self, t_ns: int, groups: Groups) -> int:
        pressed_s = None if groups[6] is None else _device_seconds(groups[6])
        line_s = None if groups[5] is None else _device_seconds(groups[5])
        if pressed_s is None:
            return t_ns
        if self._base is not None:
            line_s = self._base.last_s
        if line_s is None or not -MARK_WINDOW_S <= pressed_s - line_s <= 1.0:
            return t_ns
        return max(0, t_ns + round((pressed_s - line_s) * 1e6) * 1000)

    def _marks_from_keys(self, *, at_end: bool = False) -> list[Record]:
        base = self._base
        if base is None:
            return []
        ready = [t_ns for t_ns in self._keys if at_end or base.covers(t_ns)]
        self._keys = [t_ns for t_ns in self._keys if t_ns not in ready]
        return [Mark(base.from_host(t_ns), "key") for t_ns in ready]

    # -- the device's clock --------------------------------------------------------------------------------------------

    def _sharpened(self, time_text: bytes, t_ns: int) -> int:
        device_s = _device_seconds(time_text)
        return t_ns if device_s is None else self._stamps.stamp(device_s, t_ns)

    def _device_line(self, host_ns: int, line: bytes, groups: Groups, has_value: bool, records: list[Record]) -> None:
        base = self._base
        device_s = None if groups[5] is None else _device_seconds(groups[5])
        if base is None or device_s is None:
            records.append(Garbage(self.in_time_base(host_ns), line, "its device time is no time"))
            return
        if self._held is not None:
            goes_on = not base.fits(device_s) and base.follows(self._held[3], device_s)
            records += self._settle_held(believe=goes_on)
        if not base.fits(device_s):
            self._held = (line, groups, has_value, device_s, host_ns)
            return
        self._placed(base.place(device_s, host_ns), line, groups, has_value, records)

    def _settle_held(self, *, believe: bool) -> list[Record]:
        held, base = self._held, self._base
        self._held = None
        if held is None or base is None:
            return []
        line, groups, has_value, device_s, host_ns = held
        if not believe:
            return [Garbage(base.from_host(host_ns), line, "its device time does not fit the lines around it")]
        records: list[Record] = []
        if device_s < base.last_s:
            before_ns, after_ns = base.restart(device_s, host_ns)
            records.append(Gap(before_ns, after_ns, "device restarted"))
        self._placed(base.place(device_s, host_ns), line, groups, has_value, records)
        return records

    def _placed(self, t_ns: int, line: bytes, groups: Groups, has_value: bool, records: list[Record]) -> None:
        (self._value if has_value else self._gap)(t_ns, line, groups, records)


_PLAIN = ("value", "position", "mark")


def _plain(spec: ValueLineSpec) -> _LinePattern | None:
    """The everyday kind: a value, perhaps a position, and a mark now and then; None for a pattern that says more."""
    own = set(re.compile(spec.pattern.encode("ascii")).groupindex)
    return _LinePattern(spec.pattern, _PLAIN) if spec.clock == "host" and own <= set(_PLAIN) else None


def _plain_reading(pattern: _LinePattern, t_ns: int, line: bytes, unit: str) -> Reading | None:
    """The reading of an everyday line, at half the price; None where there is anything else to it."""
    match = pattern.fullmatch(line) if len(line) <= LONGEST_LINE else None
    if match is None:
        return None
    value_text, position_text, mark = match.group(*pattern.numbers)
    if mark:
        return None
    try:
        value = float(value_text)
        position = None if position_text is None else float(position_text)
    except (TypeError, ValueError):
        return None
    if not -LARGEST_VALUE < value < LARGEST_VALUE:
        return None
    if position is not None and not -LARGEST_VALUE < position < LARGEST_VALUE:
        return None
    return Reading(t_ns, value, unit, "", position)


def _number(text: bytes) -> float | None:
    """A finite number of believable size; a decimal comma and blanks inside are allowed."""
    try:
        value = float(text)
    except ValueError:
        try:
            value = float(text.replace(b",", b".").replace(b" ", b""))
        except ValueError:
            return None
    return value if -LARGEST_VALUE < value < LARGEST_VALUE else None


def _device_seconds(text: bytes) -> float | None:
    seconds = _number(text)
    return None if seconds is None or abs(seconds) > LONGEST_DEVICE_TIME_S else seconds


def _why(no_value: bool, no_unit: bool, no_channel: bool) -> str:
    if no_value:
        return "its value is no number"
    if no_unit:
        return "its unit is unknown"
    return "its channel is no name" if no_channel else "its position is no number"
