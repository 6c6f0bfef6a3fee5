"""A table from elsewhere, read as its owner says: which column is the position, which the value, in which unit.

Why it exists: other people's measurements come as CSV of every habit: semicolons and decimal commas, a byte order mark,
lines of talk above the header, blanks where nothing was read. It prevents a column taken for another, inches taken for
millimetres, a thousands comma taken for a decimal one, and a file that fills the memory: everything is bounded, what is
doubtful is refused with its line, and nothing is guessed about what a column means.

(RFC 4180 is what is written; what is read is wider. Nothing in the file is executed or looked up.)
"""

from __future__ import annotations

import csv
import io
import math
import re
from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from logger.errors import BadFile, Fault, NotAllowed
from logger.wording import nearest, plural

LARGEST_BYTES = 64_000_000
MOST_ROWS = 1_000_000
MOST_CELLS = 1000
LONGEST_CELL = 10_000
HEADER_WITHIN = 60
"""Lines of talk above the header that are passed over."""
MOST_BAD = 0.1
"""Share of rows that may be unreadable before the file is refused."""
MOST_SHOWN = 5

SEPARATORS = (",", ";", "\t", "|")
LENGTHS = {"mm": 1.0, "cm": 10.0, "m": 1000.0, "um": 0.001, "µm": 0.001, "in": 25.4, "inch": 25.4, "thou": 0.0254}
SLOPES = {"mm/m": 1.0, "in/ft": 1000.0 / 12.0, "arcsec": math.pi / 648.0, "deg": math.pi / 0.18}
"""Small angles: 1 arcsec is pi/648 mm/m, as near as matters below 50 mm/m."""
TIMES = {"s": 1.0, "ms": 0.001, "min": 60.0}
ROLES = {"position": LENGTHS, "value": {**LENGTHS, **SLOPES}, "time": TIMES}
LARGEST_VALUE = {"mm": 50.0, "mm/m": 50.0}
NOTHING = frozenset({"", "-", "--", "err", "nan", "na", "n/a", "null", "none", "#n/a"})
_NUMBER = re.compile(r"[+\-−]?(?:\d+(?:\.\d*)?|\.\d+)(?:[eE][+-]?\d{1,3})?")


@dataclass(frozen=True, slots=True)
class Column:
    """One column as named by its owner: by its heading or its number from 1, and the unit of what is in it."""

    role: str
    name: str
    unit: str

    @property
    def factor(self) -> float:
        """From ``unit`` to mm, mm/m or s."""
        return ROLES[self.role][self.unit]

    @property
    def base(self) -> str:
        """What a value is once it is read: mm, mm/m or s."""
        return "s" if self.role == "time" else "mm/m" if self.unit in SLOPES else "mm"


@dataclass(frozen=True)
class Table:
    """What was read: positions (mm), values (mm or mm/m, None where nothing was read there) and times (s) by row.

    ``step`` is the last digit the values were written with, in the base unit.
    """

    position_mm: tuple[float, ...]
    value: tuple[float | None, ...]
    t_s: tuple[float, ...]
    unit: str
    step: float
    notes: tuple[str, ...] = field(default=())


def columns_of(texts: Sequence[str]) -> dict[str, Column]:
    """``position=NAME[:UNIT] value=NAME[:UNIT] time=NAME[:UNIT]`` by role; NotAllowed says what is allowed."""
    found: dict[str, Column] = {}
    for text in texts:
        role, equals, rest = text.partition("=")
        role = role.strip().casefold()
        if not equals or role not in ROLES or not rest:
            raise NotAllowed(
                f"--columns '{text[:60]}' is not understood{nearest(role, ROLES)}.",
                "Write position=NAME:UNIT value=NAME:UNIT, and time=NAME:UNIT where there is one.",
            )
        if role in found:
            raise NotAllowed(f"--columns names the {role} twice.", "Name each column once.")
        name, colon, unit = rest.rpartition(":")
        if not colon or unit.casefold() not in {each.casefold() for each in ROLES[role]}:
            if colon and name and re.fullmatch(r"[a-z/]{1,8}", unit, re.IGNORECASE):
                raise NotAllowed(
                    f"--columns {role}: the unit '{unit}' is not known{nearest(unit, ROLES[role])}.",
                    f"Allowed: {', '.join(ROLES[role])}.",
                )
            name, unit = rest, "s" if role == "time" else "mm"
        unit = next(each for each in ROLES[role] if each.casefold() == unit.casefold())
        found[role] = Column(role, name.strip(), unit)
    missing = [role for role in ("position", "value") if role not in found]
    if missing:
        raise NotAllowed(
            f"--columns does not name the {' and the '.join(missing)}.", "Add position=NAME and value=NAME."
        )
    return found


def read_table(
    path: Path, columns: dict[str, Column], *, separator: str | None = None, decimal: str | None = None
) -> Table:
    """The table in ``path``. BadFile with the first faulty lines where too much of it makes no sense."""
    text, notes = _text(path)
    separator, header, wanted = _layout(path, text, columns, separator)
    rows = _rows(path, text, separator, header, wanted)
    decimal = decimal or _decimal(path, [cell for _, cells in rows for cell in cells.values()], separator)
    return _numbers(path, rows, columns, decimal, notes)


# -- text --------------------------------------------------------------------------------------------------------------


def _text(path: Path) -> tuple[str, list[str]]:
    try:
        with path.open("rb") as file:
            raw = file.read(LARGEST_BYTES + 1)
    except OSError as error:
        raise BadFile(f"{path} cannot be read: {error.strerror or error}.", "Name a file that is there.") from error
    if len(raw) > LARGEST_BYTES:
        raise BadFile(f"{path} is larger than {LARGEST_BYTES // 1_000_000} MB, the most allowed.", "Cut it in parts.")
    if raw[:2] in (b"\xff\xfe", b"\xfe\xff"):
        text, notes = raw.decode("utf-16", "replace"), ["The file is UTF-16."]
    else:
        try:
            text, notes = raw.decode("utf-8-sig"), []
        except UnicodeDecodeError:
            text, notes = raw.decode("cp1252", "replace"), ["The file is not UTF-8; it was read as Windows-1252."]
    if "\0" in text:
        raise BadFile(f"{path} holds zero bytes: it is no text table.", "Save it as CSV first.")
    if not text.strip():
        raise BadFile(f"{path} is empty.", "Name the file that holds the readings.")
    return text, notes


def _reader(text: str, separator: str) -> Any:
    return csv.reader(io.StringIO(text, newline=""), delimiter=separator)


def _layout(
    path: Path, text: str, columns: dict[str, Column], separator: str | None
) -> tuple[str, int, dict[str, int]]:
    """(separator, row number of the header or -1, place of each column by role)."""
    best: list[str] = []
    for each in (separator,) if separator else SEPARATORS:
        try:
            head = [row for row, _ in zip(_reader(text, each), range(HEADER_WITHIN), strict=False)]
        except csv.Error as error:
            raise BadFile(f"{path} is no table: {error}.", "Save it as CSV first.") from error
        for number, row in enumerate(head):
            cells = [cell.strip().casefold() for cell in row]
            places = {role: cells.index(c.name.casefold()) for role, c in columns.items() if c.name.casefold() in cells}
            if len(places) == len(columns):
                return each, number, places
            if len(row) > len(best):
                best = row
        numbered = {
            role: int(c.name) - 1 for role, c in columns.items() if c.name.isdecimal() and 0 < int(c.name) <= MOST_CELLS
        }
        if len(numbered) == len(columns) and any(len(row) > max(numbered.values()) for row in head):
            return each, -1, numbered
    headings = [cell.strip()[:40] for cell in best if cell.strip()][:20]
    absent = next((c for c in columns.values() if c.name.casefold() not in [h.casefold() for h in headings]), None)
    name = absent.name if absent is not None else next(iter(columns.values())).name
    raise NotAllowed(
        f"{path} has no column '{name[:40]}'{nearest(name, headings)}.",
        f"Its first row of headings may be: {', '.join(headings) or 'none'}. A column's number from 1 will do too.",
    )


def _is_place(name: str) -> bool:
    return 0 < int(name[:6]) <= MOST_CELLS


def _rows(
    path: Path, text: str, separator: str, header: int, wanted: dict[str, int]
) -> list[tuple[int, dict[str, str]]]:
    """(line, cell by role) of every row below the header that is not blank."""
    reader = _reader(text, separator)
    rows: list[tuple[int, dict[str, str]]] = []
    try:
        for number, row in enumerate(reader):
            if number <= header or not any(cell.strip() for cell in row):
                continue
            if len(rows) >= MOST_ROWS:
                raise BadFile(f"{path} has more than {MOST_ROWS} rows.", "Cut it in parts.")
            if len(row) > MOST_CELLS:
                raise BadFile(f"{path} line {reader.line_num} has {len(row)} cells; {MOST_CELLS} are allowed.", "")
            cells = {
                role: row[place].strip()[:LONGEST_CELL] if place < len(row) else "" for role, place in wanted.items()
            }
            rows.append((reader.line_num, cells))
    except csv.Error as error:
        raise BadFile(f"{path} line {reader.line_num}: {error}.", "Save it as CSV first.") from error
    return rows


# -- numbers -----------------------------------------------------------------------------------------------------------

_COMMA = re.compile(r"[+\-−]?\d*,\d+")
_THOUSANDS = re.compile(r"[+\-−]?[1-9]\d{0,2}(?:,\d{3})+(?:\.\d+)?")


def _decimal(path: Path, cells: Sequence[str], separator: str) -> str:
    """``,`` or ``.``: what the numbers are written with. A comma that may part thousands as well is asked about."""
    commas = [cell for cell in cells if "," in cell]
    if separator == "," and not commas:
        return "."
    if not commas:
        return "."
    decimal = [cell for cell in commas if _COMMA.fullmatch(cell)]
    if any(not _THOUSANDS.fullmatch(cell) for cell in decimal):
        return ","
    if decimal:
        raise NotAllowed(
            f"{path}: '{decimal[0][:20]}' may be a thousand and more, or less than a thousandth of it.",
            "Say which with --decimal , or --decimal .",
        )
    return "."


def _number(text: str, decimal: str) -> float | None:
    """The number in a cell; None where there is none."""
    text = text.replace("\u00a0", "").replace(" ", "").replace("−", "-")
    text = text.replace(".", "").replace(",", ".") if decimal == "," else text.replace(",", "")
    if not _NUMBER.fullmatch(text):
        return None
    value = float(text)
    return value if math.isfinite(value) else None


def _numbers(
    path: Path, rows: Sequence[tuple[int, dict[str, str]]], columns: dict[str, Column], decimal: str, notes: list[str]
) -> Table:
    positions: list[float] = []
    values: list[float | None] = []
    times: list[float] = []
    faults: list[Fault] = []
    finest = 0
    unit = columns["value"].base
    for line, cells in rows:
        fault, position, value, t_s = _row(line, cells, columns, decimal, times[-1] if times else None)
        if fault is not None:
            faults.append(fault)
            continue
        positions.append(position)
        values.append(value)
        if t_s is not None:
            times.append(t_s)
        if value is not None and len(values) <= 1000:
            finest = max(finest, _decimals(cells["value"], decimal))
    if len(faults) > MOST_BAD * len(rows) or sum(value is not None for value in values) < 3:
        raise BadFile(
            f"{path}: {len(faults)} of {plural(len(rows), 'row')} cannot be read, and "
            f"{sum(value is not None for value in values)} hold a value; at least 3 are needed.",
            "Check --columns, their units, --separator and --decimal.",
            faults[:MOST_SHOWN],
        )
    if faults:
        first = faults[0]
        notes.append(f"{plural(len(faults), 'row')} could not be read and were left out; the first is {first}.")
    return Table(
        tuple(positions), tuple(values), tuple(times), unit, 10.0**-finest * columns["value"].factor, tuple(notes)
    )


def _row(
    line: int, cells: dict[str, str], columns: dict[str, Column], decimal: str, before_s: float | None
) -> tuple[Fault | None, float, float | None, float | None]:
    """(fault, position in mm, value or None, time in s) of one row."""
    nothing = (0.0, None, None)
    position = _number(cells["position"], decimal)
    if position is None:
        return Fault(line, columns["position"].name, _shown(cells["position"]), "a number"), *nothing
    value = None
    if cells["value"].casefold() not in NOTHING:
        number = _number(cells["value"], decimal)
        if number is None:
            return Fault(line, columns["value"].name, _shown(cells["value"]), "a number, or nothing"), *nothing
        value = number * columns["value"].factor
        most = LARGEST_VALUE[columns["value"].base]
        if abs(value) > most:
            allowed = f"at most {most:g} {columns['value'].base}; is it the right column and unit"
            return Fault(line, columns["value"].name, _shown(cells["value"]), allowed), *nothing
    t_s = None
    if "time" in columns:
        number = _number(cells["time"], decimal)
        if number is None:
            return Fault(line, columns["time"].name, _shown(cells["time"]), "a number"), *nothing
        t_s = number * columns["time"].factor
        if before_s is not None and t_s <= before_s:
            return Fault(line, columns["time"].name, _shown(cells["time"]), "later than the row before"), *nothing
    return None, position * columns["position"].factor, value, t_s


def _shown(cell: str) -> str:
    return repr(cell[:30]) if cell else "nothing"


def _decimals(cell: str, decimal: str) -> int:
    """Decimals a value was written with: what its instrument could show."""
    mantissa = re.split(r"[eE]", cell)[0]
    return min(6, len(mantissa.partition(decimal)[2].strip()))
